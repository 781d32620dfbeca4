"""Each kind of finding that a check can give has a small broken show of its own."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOM = Path(__file__).parents[2] / "seqlang"
SHOWS = sorted((Path(__file__).parent / "findings").glob("*.cues"))

ELSEWHERE = {
    "general-flash": "its name is put together from the kind of flash",
    "red-flash": "its name is put together from the kind of flash",
}
"""Kinds that the code does not spell out; they need a show all the same."""

WITHOUT = {
    "table-refused": "no show that passes the other checks is known to bring it about",
}
"""Kinds without a broken show, and why."""


def kinds() -> set[str]:
    """Names given to `Finding` in the checks: the second argument, when it is spelt out."""
    found: set[str] = set(ELSEWHERE)
    for path in (ROOM / "checks").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
                continue
            if node.func.id != "Finding" or len(node.args) < 2:
                continue
            name = node.args[1]
            if isinstance(name, ast.Constant):
                found.add(name.value)
    return {name for name in found if not name.startswith("caution-")}


def shown() -> set[str]:
    found: set[str] = set()
    for path in SHOWS:
        line = re.search(r"^# finds: (.*)$", path.read_text(), re.MULTILINE)
        assert line is not None, path
        found |= set(line[1].split(", "))
    return found


def test_the_checks_spell_out_most_of_their_kinds() -> None:
    assert len(kinds()) > 30


def test_every_kind_of_finding_has_a_broken_show() -> None:
    assert kinds() - shown() - set(WITHOUT) == set()
