"""Only the check seals tables: what flashes and merges takes what a `CheckedShow` holds.

A table is compiled once, within the check that says whether it fits.
"""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import replace
from inspect import signature
from pathlib import Path
from typing import NamedTuple, cast

import pytest

from firmware_gen.build.image import merge
from firmware_gen.checked_table import CheckedTable
from firmware_gen.compiler import show as compiler
from firmware_gen.link.host import HostLink
from firmware_gen.link.transfer import choose_table, transfer
from seqlang.check import CheckedShow, check
from seqlang.command import main
from seqlang.command._merged import put_merged
from seqlang.command._upload import write_merged
from seqlang.command.flash import put
from seqlang.loading import Loaded, load
from sim.model import Board, Show

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
        CheckedShow(checked.show, checked.origins, checked.compiled, checked.tables, object())
    with pytest.raises(TypeError):
        CheckedTable("head", "atmega328p", b"", object())


def test_a_checked_show_cannot_be_changed() -> None:
    checked = check(load(ROOT / "shows" / "first" / "first.cues")).show
    assert checked is not None
    with pytest.raises(AttributeError):
        checked.compiled = checked.compiled


class LooksLikeATable(NamedTuple):
    board: str
    chip: str
    data: bytes


def test_what_only_looks_like_a_checked_table_gets_nowhere() -> None:
    fake = cast("CheckedTable", LooksLikeATable("box", "atmega328p", b"any bytes"))
    with pytest.raises(TypeError, match="only a checked table"):
        merge({}, fake)
    with pytest.raises(TypeError, match="only a checked table"):
        transfer(cast("HostLink", None), fake)


@pytest.mark.parametrize("sealed", [CheckedShow, CheckedTable])
def test_no_kind_of_its_own_gets_round_the_seal(sealed: type) -> None:
    with pytest.raises(TypeError, match="round the seal"):
        type("Unsealed", (sealed,), {"__post_init__": lambda self, seal: None})


def test_a_table_of_a_checked_show_cannot_be_exchanged_or_changed() -> None:
    checked = check(load(ROOT / "shows" / "first" / "first.cues")).show
    assert checked is not None
    (name, table), *_ = checked.tables.items()
    with pytest.raises(TypeError):
        cast("dict[str, CheckedTable]", checked.tables)[name] = table
    with pytest.raises(ValueError, match="seal"):
        replace(table, data=b"any bytes")
    assert isinstance(table.data, bytes)


def names_of(path: Path) -> set[str]:
    """Every name that a module mentions, imported names and attributes as well."""
    found: set[str] = set()
    for node in ast.walk(ast.parse((ROOT / path).read_text())):
        if isinstance(node, ast.Name):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.alias):
            found.add(node.name)
    return found


def test_the_seal_is_in_the_hands_of_the_check_and_of_one_module_of_the_tests() -> None:
    tests = [path.relative_to(ROOT) for path in (ROOT / "tests").rglob("*.py")]
    holders = {path for path in [*modules(), *tests] if "SEAL" in names_of(path)}
    assert holders == {
        Path("firmware_gen/checked_table.py"),
        Path("seqlang/check.py"),
        Path("tests/unchecked.py"),
    }


@pytest.mark.parametrize(
    ("function", "parameter", "taken"),
    [
        (transfer, "checked", "CheckedTable"),
        (merge, "checked", "CheckedTable"),
        (choose_table, "tables", "Mapping[str, CheckedTable]"),
        (write_merged, "table", "CheckedTable"),
        (put, "show", "CheckedShow"),
        (put_merged, "show", "CheckedShow"),
    ],
)
def test_what_flashes_and_merges_takes_what_is_sealed(
    function: Callable[..., object], parameter: str, taken: str
) -> None:
    assert signature(function).parameters[parameter].annotation == taken


@pytest.mark.parametrize("words", [["compile", "--listing"], ["firmware", "--with"], ["check"]])
def test_the_tables_of_a_show_are_made_once(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[str] = []
    draft = compiler._draft

    def counted(show: Show, board: Board, limits: dict[str, tuple[int, int]]) -> object:
        made.append(board.name)
        return draft(show, board, limits)

    monkeypatch.setattr(compiler, "_draft", counted)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as end:
        main([*words, str(ROOT / "shows" / "first" / "first.cues")])
    assert not end.value.code
    assert len(made) == 1


def test_a_file_that_fails_its_check_is_read_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    read: list[str] = []

    def counted(path: str) -> Loaded:
        read.append(path)
        return load(path)

    monkeypatch.setattr("seqlang.loading.load", counted)
    file = tmp_path / "broken.cues"
    file.write_text('show "s"\ncue nod:\n    jaw to 3 deg in 1 s\n')
    with pytest.raises(SystemExit) as end:
        main(["compile", str(file)])
    assert end.value.code == 1
    assert "error" in capsys.readouterr().err
    assert read == [str(file)]
