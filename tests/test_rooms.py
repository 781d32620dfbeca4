"""The rooms depend on one another one way only, and heavy imports stay out of the check."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
MAY_IMPORT = {
    "sim": set(),
    "firmware_gen": {"sim"},
    "seqlang": {"firmware_gen", "sim", "shows"},
    "shows": set(),
}


def imported_rooms(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.split(".")[0])
    return found & set(MAY_IMPORT)


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_a_room_imports_only_from_the_rooms_below_it(room: str) -> None:
    modules = sorted((ROOT / room).rglob("*.py"))
    assert modules
    wrong = {
        str(path.relative_to(ROOT)): sorted(extra)
        for path in modules
        if (extra := imported_rooms(path) - MAY_IMPORT[room] - {room})
    }
    assert wrong == {}


def imported_modules(path: Path) -> set[Path]:
    """The project's own modules that a module imports anywhere, for types as well."""
    found: set[Path] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        else:
            continue
        for name in names:
            place = ROOT.joinpath(*name.split("."))
            found |= {place.with_suffix(".py")} if place.with_suffix(".py").is_file() else set()
    return found - {path}


def test_no_modules_import_one_another_in_a_circle() -> None:
    modules = sorted(path for room in MAY_IMPORT for path in (ROOT / room).rglob("*.py"))
    order = TopologicalSorter({path: imported_modules(path) for path in modules})
    circle: list[str] = []
    try:
        order.prepare()
    except CycleError as error:
        circle = [str(path.relative_to(ROOT)) for path in error.args[1]]
    assert circle == []


def kinds_defined(path: Path) -> set[str]:
    """Names of the classes and types that a module defines."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ClassDef):
            found.add(node.name)
        elif isinstance(node, ast.AnnAssign) and ast.unparse(node.annotation) == "TypeAlias":
            found.add(ast.unparse(node.target))
    return found


def test_no_name_of_a_class_or_a_type_means_two_things() -> None:
    homes: dict[str, list[str]] = {}
    for room in ("sim", "firmware_gen", "seqlang"):
        for path in sorted((ROOT / room).rglob("*.py")):
            for name in kinds_defined(path):  # those of one module alone as well
                homes.setdefault(name.lstrip("_"), []).append(str(path.relative_to(ROOT)))
    assert len(homes) > 300
    assert {name: where for name, where in homes.items() if len(where) > 1} == {}


APART = {"second_player.py", "second_board.py", "second_check.py"}
"""Written from the specification alone: they use its words, and no class of the rooms."""


def test_no_class_of_the_tests_has_the_name_of_one_in_the_rooms() -> None:
    rooms: set[str] = set()
    for room in MAY_IMPORT:
        rooms.update(*(kinds_defined(path) for path in (ROOT / room).rglob("*.py")))
    taken = {
        f"{path.relative_to(ROOT)}: {node.name}"
        for path in (ROOT / "tests").rglob("*.py")
        if path.name not in APART
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ClassDef) and node.name in rooms
    }
    assert taken == set()


def test_checking_a_show_imports_neither_plots_nor_ports() -> None:
    show = next((ROOT / "shows").glob("anglerfish/*.cues"))
    script = (
        "import sys\n"
        "from seqlang.command import main\n"
        f"try: main(['check', {str(show)!r}])\n"
        "except SystemExit as end: print('status', end.code)\n"
        "print('heavy', sorted({'matplotlib', 'serial', 'scipy'} & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT)
    assert "status 0" in done.stdout, done.stdout + done.stderr
    assert "heavy []" in done.stdout


@pytest.mark.parametrize("words", [["--help"], ["flash", "--help"], ["explain", "servo-speed"]])
def test_help_does_not_wait_for_what_only_a_show_needs(words: list[str]) -> None:
    script = (
        "import sys\n"
        "from seqlang.command import main\n"
        f"try: main({words!r})\n"
        "except SystemExit as end: print('status', end.code)\n"
        "heavy = {'numpy', 'lark', 'serial', 'asyncio', 'seqlang.check', 'firmware_gen.player'}\n"
        "print('heavy', sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT)
    assert "status 0" in done.stdout, done.stdout + done.stderr
    assert "heavy []" in done.stdout


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs /proc to count threads")
@pytest.mark.parametrize(("asked", "threads"), [(None, 1), ("2", 2)])
def test_a_check_keeps_no_threads_for_its_algebra_unless_it_is_asked_to(
    asked: str | None, threads: int
) -> None:
    if threads > (os.cpu_count() or 1):
        pytest.skip("this machine has one processor, so the library starts one thread")
    show = next((ROOT / "shows").glob("anglerfish/*.cues"))
    script = (
        "import os\n"
        "from seqlang.command import main\n"
        f"try: main(['check', {str(show)!r}])\n"
        "except SystemExit: print('threads', len(os.listdir('/proc/self/task')))\n"
    )
    variable = "OPENBLAS_NUM_THREADS"
    others = {name: value for name, value in os.environ.items() if name != variable}
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=others if asked is None else {**others, variable: asked},
    )
    assert f"threads {threads}\n" in done.stdout, done.stdout + done.stderr


def test_the_top_level_holds_only_what_it_should() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=True
    ).stdout.splitlines()
    allowed = {
        *("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".gitignore", ".ci"),
        *("seqlang", "sim", "firmware_gen", "tests", "shows"),
    }
    assert {name.split("/")[0] for name in listed} <= allowed


def test_everything_imports_where_only_windows_modules_are() -> None:
    script = (
        "import importlib, pkgutil, sys\n"
        "for name in ('fcntl', 'termios', 'pty', 'tty', 'resource', 'pwd', 'grp'):\n"
        "    sys.modules[name] = None\n"
        "rooms = [importlib.import_module(name) for name in ('sim', 'firmware_gen', 'seqlang')]\n"
        "for room in rooms:\n"
        "    for found in pkgutil.walk_packages(room.__path__, room.__name__ + '.'):\n"
        "        if not found.name.endswith('__main__'):\n"
        "            importlib.import_module(found.name)\n"
        "print('all of', len(rooms))\n"
    )
    # pyserial's own port classes are chosen by the system it runs on, so they are loaded first
    script = "import serial\n" + script
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT)
    assert done.stdout.strip() == "all of 3", done.stderr[-600:]


def readers(names: set[str]) -> set[Path]:
    """Modules of the rooms in which one of these names, or attributes, stands for its value."""
    found = set()
    for path in (path for room in MAY_IMPORT for path in (ROOT / room).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "super()":
                continue
            name = getattr(node, "id", getattr(node, "attr", None))
            if name in names and isinstance(getattr(node, "ctx", None), ast.Load):
                found.add(path.relative_to(ROOT))
    return found


def test_one_loop_decides_which_thread_comes_next() -> None:
    """Boards alone, boards that follow and the count of a frame's ops play threads by it."""
    players = readers({"Scheduler"})
    home = Path("sim/rehearsal/scheduler.py")
    assert Path("sim/rehearsal/following.py") in players
    assert readers({"_step"}) & (players | {home}) == {home}


def test_one_module_has_the_numbers_that_the_rule_of_takeover_alone_needs() -> None:
    """The core gets them by the generated header: its rule stands in one file as well."""
    alone = {"SHORTEST_MOTION_CLOCK", "AHEAD_BITS", "BRAKE_SLACK_BITS"}
    rule, header = Path("sim/rehearsal/takeover.py"), Path("firmware_gen/build/generate.py")
    assert readers(alone) == {rule, header}
    core = (ROOT / "firmware_gen" / "core").glob("*.c")
    given = {path.name for path in core if "BC_AHEAD_BITS" in path.read_text(encoding="utf-8")}
    assert given == {"bc_servo.c"}
