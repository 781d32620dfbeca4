"""Only the check makes tables: what compiles, flashes and merges takes a `CheckedShow`."""

from __future__ import annotations

import ast
from inspect import signature
from pathlib import Path

import pytest

from seqlang.check import CheckedShow, check
from seqlang.load import load

ROOT = Path(__file__).parents[1]
MAKERS = {"compile_show", "faults", "CompiledShow", "CompiledBoard"}
"""Names of the compiler with which tables could be made."""

MAY_COMPILE = {Path("seqlang/checks/wiring/table_too_large.py")}
"""Besides the compiler itself: the check that a table fits makes it."""


def modules() -> list[Path]:
    rooms = ("seqlang", "firmware_gen", "sim")
    return [path.relative_to(ROOT) for room in rooms for path in (ROOT / room).rglob("*.py")]


def called(path: Path) -> set[str]:
    """Names that a module calls, or refers to under another name."""
    found: set[str] = set()
    for node in ast.walk(ast.parse((ROOT / path).read_text())):
        if isinstance(node, ast.Call):
            name = node.func
            found.add(name.id if isinstance(name, ast.Name) else getattr(name, "attr", ""))
        elif isinstance(node, ast.ImportFrom):
            found |= {one.name for one in node.names if one.name == "compile_show" or one.asname}
    return found


def test_no_module_but_the_check_calls_the_compiler() -> None:
    makers = {path for path in modules() if called(path) & (MAKERS - {"faults"})}
    assert makers - MAY_COMPILE == {Path("firmware_gen/compiler/show.py")}
    assert makers >= MAY_COMPILE


def test_the_commands_ask_the_check_and_nothing_else_for_tables() -> None:
    for path in (ROOT / "seqlang" / "command").glob("*.py"):
        imported = [
            f"{node.module}.{one.name}"
            for node in ast.walk(ast.parse(path.read_text()))
            if isinstance(node, ast.ImportFrom)
            for one in node.names
        ]
        compiler = [name for name in imported if name.startswith("firmware_gen.compiler")]
        assert {name.rpartition(".")[2] for name in compiler} <= {"CompiledShow", "CompiledBoard"}


def test_nobody_else_can_make_a_checked_show() -> None:
    checked = check(load(ROOT / "shows" / "first" / "first.cues")).show
    assert checked is not None
    with pytest.raises(TypeError):
        CheckedShow(checked.show, checked.origins, checked.compiled, object())


def test_a_checked_show_cannot_be_changed() -> None:
    checked = check(load(ROOT / "shows" / "first" / "first.cues")).show
    assert checked is not None
    with pytest.raises(AttributeError):
        checked.compiled = checked.compiled


def test_what_transfers_takes_a_checked_show() -> None:
    from seqlang.command.flash import put

    assert signature(put).parameters["show"].annotation == "CheckedShow"
