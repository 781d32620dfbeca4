"""DEVELOPERS.md leads to everything: each room, what stands in it, each command and each page."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
ROOMS = ("sim", "firmware_gen", "seqlang")

STARTED_BY_OTHERS = {"tests.fuzz.led_by_coverage"}
"""`python -m tests.fuzz --coverage` starts it as a process of its own."""


def files() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=True
    )
    return [Path(name) for name in listed.stdout.splitlines()]


def table_of(room: str) -> str:
    """The names in a room's own table: its rows, first column."""
    rows = PAGE.partition(f"| `{room}/` | |\n")[2].partition("\n\n")[0]
    return " ".join(row.split("|")[1] for row in rows.splitlines())


@pytest.mark.parametrize("room", ROOMS)
def test_what_stands_in_a_room_is_listed(room: str) -> None:
    parts = [path.parts for path in files() if path.parts[0] == room]
    there = {second for _, second, *rest in parts if rest or second.endswith(".py")}
    # the page says `a folder per chip`
    chips = {path.stem for path in (ROOT / "firmware_gen" / "chips").glob("*.py")}
    due = there - {"__init__.py", "__main__.py"} - chips
    assert {name.rstrip("/") for name in re.findall(r"`([\w./]+)`", table_of(room))} == due


def runs_by_itself(path: Path) -> bool:
    tests = [n.test for n in ast.parse((ROOT / path).read_text()).body if isinstance(n, ast.If)]
    return path.name == "__main__.py" or any("__main__" in ast.unparse(test) for test in tests)


def test_every_module_that_can_be_run_is_named() -> None:
    modules = {
        ".".join(path.with_suffix("").parts).removesuffix(".__main__")
        for path in files()
        if path.suffix == ".py" and runs_by_itself(path)
    }
    named = set(re.findall(r"python -m ([\w.]+\w)", PAGE))
    # `python -m seqlang` is `bellcrank`
    assert named - {"pytest"} == modules - STARTED_BY_OTHERS - {"seqlang"}


def test_every_page_is_named() -> None:
    pages = {str(path) for path in files() if path.suffix == ".md" and path.parts[0] in ROOMS}
    pages -= {"firmware_gen/core/README.md"}
    assert {page for page in pages if f"`{page}`" not in PAGE} == set()
