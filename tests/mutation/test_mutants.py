"""The command's changes: each operator makes its own, and the list of known ones keeps up."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest

from tests.mutation import c_mutants, clean_runs, known
from tests.mutation.__main__ import groups_of, mutants_of, table
from tests.mutation.mutants import Mutant, changed_source, mutants
from tests.mutation.nearest import ROOT, nearest
from tests.mutation.trials import Outcome, at_most, names_given, words_of


def changes(text: str) -> list[str]:
    return [one.change for one in mutants("module.py", text)]


@pytest.mark.parametrize(
    ("statement", "expected"),
    [
        ("x = a < b", ["a < b -> a <= b", "a < b -> a >= b"]),
        ("x = a == b", ["a == b -> a != b"]),
        ("x = a * b", ["a * b -> a / b"]),
        ("x = 2", ["2 -> 3"]),
        ("x = 2.0", ["2.0 -> 2.5"]),
        ("x = True", ["True -> False"]),
        ("x = a and b", ["a and b -> a or b"]),
        ("x = not a", ["not a -> a"]),
        ("x = min(a, b)", ["min(a, b) -> max(a, b)", "min(a, b) -> a"]),
        ("x = abs(a)", ["abs(a) -> a"]),
        ("return x", ["return x -> return None"]),
        ("return None", []),
        ("tell(x)", ["tell(x) -> pass"]),
        ("x += 1", ["x += 1 -> x -= 1", "x += 1 -> pass", "1 -> 2"]),
        ("assert a < b", []),
        ("raise ValueError(a + 1)", []),
        ("x = f'{a} deg'", []),
        ("x = f'{a + b} deg'", ["a + b -> a - b"]),
    ],
)
def test_an_operator_makes_its_changes(statement: str, expected: list[str]) -> None:
    assert changes(f"def act(a, b, x):\n    {statement}\n") == expected


def test_a_change_is_made_where_it_is_said_and_nowhere_else() -> None:
    text = "def act(a):\n    b = a + 1\n    return a + 1\n"
    last = [one for one in mutants("module.py", text) if one.change.startswith("a + 1")][-1]
    assert (last.line, last.key) == (3, "act: a + 1 -> a - 1 (2)")
    assert changed_source(text, last.number) == "def act(a):\n    b = a + 1\n    return a - 1"


def test_a_change_outside_of_functions_has_no_scope() -> None:
    text = (
        "LIMIT = 3\nclass Servo:\n    size: int = 4\n    def turn(self, by=1):\n        by += 2\n"
    )
    scopes = [(one.line, one.scope) for one in mutants("module.py", text)]
    assert scopes == [(1, ""), (3, ""), (4, ""), *[(5, "Servo.turn")] * 3]


def test_c_is_changed_in_code_and_not_in_its_comments() -> None:
    text = "/* a < b */\nint act(int a) {\n    return a < 3;\n}\n"
    assert [one.key for one in c_mutants.mutants("core.c", text)] == [
        "act: return a < 3; -> return a <= 3;",
        "act: return a < 3; -> return a >= 3;",
        "act: return a < 3; -> return a < 4;",
    ]
    assert c_mutants.changed_source(text, 0) == text.replace("return a < 3", "return a <= 3")


@pytest.mark.parametrize("module", sorted(known.reasons().by_module))
def test_the_list_of_known_changes_names_changes_that_exist(module: str) -> None:
    listed = known.reasons().by_module[module]
    missing = set(listed) - {one.key for one in mutants_of(module)}
    assert not missing
    assert all(reason.strip() for reason in listed.values())


@pytest.mark.parametrize("room", ["sim", "seqlang", "firmware_gen"])
def test_every_module_has_nearest_tests(room: str) -> None:
    modules = [str(path.relative_to(ROOT)) for path in (ROOT / room).rglob("*.py")]
    assert [module for module in modules if not nearest(module)] == []


@pytest.mark.parametrize(
    ("module", "test"),
    [
        ("sim/score/fitting.py", "tests/sim/test_fitting.py"),
        ("firmware_gen/player/bar.py", "tests/firmware_gen/test_bars.py"),
        ("firmware_gen/player/channels.py", "tests/firmware_gen/test_channels.py"),
    ],
)
def test_tests_that_import_a_module_are_near_where_no_other_does(module: str, test: str) -> None:
    """Nothing that is planted in these modules is found by the tests of their rooms."""
    assert test in nearest(module)


def test_a_change_at_import_is_looked_for_by_the_tests_that_ask_for_its_name() -> None:
    text = "LIMIT = 3\n\nWAYS: tuple[int, ...] = (\n    1,\n)\nclass Servo:\n    size: int = 4\n"
    at = {one.change: names_given(text, one.lines.start) for one in mutants("module.py", text)}
    assert at == {"3 -> 4": {"LIMIT"}, "1 -> 2": {"WAYS"}, "4 -> 5": {"size"}}

    def asks() -> None:
        def inside() -> int:
            return LIMIT.size  # type: ignore[name-defined,no-any-return]  # noqa: F821

        inside()

    assert {"LIMIT", "size"} <= words_of(asks.__code__)
    assert "WAYS" not in words_of(asks.__code__)


def test_each_room_has_its_share_of_what_is_found() -> None:
    def outcome(module: str, verdict: str, key: str = "1 -> 2") -> Outcome:
        return Outcome(Mutant(module, 0, 1, range(1, 2), "", key), verdict, "")

    listed = known.Reasons({"sim/rig/b.py": {"module: 3 -> 4": "it makes no difference"}})
    outcomes = [
        *(outcome("sim/rig/a.py", "found"), outcome("sim/rig/b.py", "slow")),
        *(outcome("sim/rig/b.py", "missed"), outcome("sim/rig/b.py", "missed", "3 -> 4")),
        *(outcome("sim/light/c.py", "found"), outcome("sim/light/c.py", "unborn")),
    ]
    assert [line.split() for line in table(outcomes, listed)] == [
        ["room", "tried", "found", "known", "score"],
        ["sim/light", "1", "1", "0", "100.0%"],
        ["sim/rig", "4", "2", "1", "66.7%"],
    ]
    assert table(outcomes[:2], listed) == []


def test_a_room_is_tried_in_one_session_and_c_by_its_nearest_tests() -> None:
    def mutant(module: str) -> Mutant:
        return Mutant(module, 0, 1, range(1, 2), "", "1 -> 2")

    core = ["firmware_gen/core/bc_bar.c", "firmware_gen/core/bc_watch.c"]
    rooms = ["sim/rig/fuse.py", "sim/rig/wire.py", "seqlang/checks/light/idle_unseen.py"]
    found = [mutant(module) for module in (*rooms, "seqlang/checks/alike.py", *core)]
    groups = [[one.module for one in mine] for mine in groups_of(found, None)]
    assert groups == [rooms[:2], [rooms[2], "seqlang/checks/alike.py"], core[:1], core[1:]]
    assert [len(mine) for mine in groups_of(found, ["tests/test_readme.py"])] == [2, 2, 2]


def test_what_takes_too_long_is_ended_and_nothing_else() -> None:
    with at_most(60.0) as ran_out:
        pass
    assert not ran_out
    with suppress(BaseException), at_most(0.05) as ran_out:
        while True:
            pass
    assert ran_out


def test_a_test_s_clean_run_is_kept_until_its_file_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clean_runs, "KEPT", tmp_path / "kept")
    name, modules = "tests/mutation/test_mutants.py::test_it", ["sim/rig/fuse.py"]
    run = clean_runs.CleanRun(clean_runs.file_of(name), 0.5, {modules[0]: frozenset({3})})
    stale = clean_runs.CleanRun("another", 0.5, {})
    assert clean_runs.load(modules, 10.0) == {}
    clean_runs.save(modules, 10.0, {name: run, f"{name}_too": stale})
    assert clean_runs.load(modules, 10.0) == {name: run}
    assert clean_runs.load(modules, 5.0) == {}
    assert clean_runs.load(["sim/rig/wire.py"], 10.0) == {}
