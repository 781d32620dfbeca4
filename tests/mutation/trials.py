"""Tries mutants on tests: a clean run first, then each mutant in a forked process of its own.

All this happens inside one pytest session, after collection: the tests are imported once, so a
mutant costs little more than the tests that find it. A change inside a function is put into the
function that is already there; any other change (a constant, a class) is tried in a process that
imports the project anew. Only tests that reach the changed lines run: those that found something
before first, then the quickest. The first failure ends a trial.
"""

from __future__ import annotations

import ast
import functools
import gc
import importlib
import importlib.abc
import importlib.util
import os
import pickle
import resource
import select
import signal
import sys
import time
from bisect import bisect
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from itertools import accumulate
from math import ceil
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import coverage
import pytest
from hypothesis import Phase, settings

from firmware_gen.chips import CHIPS_BY_ID
from tests.mutation import c_mutants, clean_runs
from tests.mutation.clean_runs import CleanRun
from tests.mutation.mutants import Mutant, changed_source, module_files
from tests.mutation.nearest import ROOT

PROJECT = ("sim", "seqlang", "firmware_gen", "shows", "tests")
MEMORY_BYTES = 4 << 30
"""A mutant may not take more: a loop that fills lists must not take the machine with it."""

PATIENCE = 20.0
"""How much longer than its limit of processor time a process may take on the clock."""

PLANTED = "raise AssertionError('planted')"
CORE = "tests.firmware_gen.host.core"
BOARDS = "tests.firmware_gen.host.boards"
OBJECTS = clean_runs.KEPT / "objects"
"""Files of the core as they are, compiled."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one mutant: `found` by a test, `slow`, `unborn` (does not build), `missed`."""

    mutant: Mutant
    verdict: str
    by: str
    """The test that found it; of a missed one, how many tests looked."""


@dataclass
class Trials:
    """A pytest plugin: tries `mutants` on the session's tests and keeps the outcomes."""

    mutants: list[Mutant]
    deadline: float | None
    at_once: int
    most_seconds: float
    report: Callable[[Outcome], None]
    trouble: str = ""
    red: list[str] = field(default_factory=list)
    """Tests that fail without any mutant: they are left out."""
    unwatched: list[str] = field(default_factory=list)
    """Modules in which nothing that is planted is found: they are left out."""
    seconds: dict[str, float] = field(default_factory=dict)
    """Of the processor: what else runs on the machine must not change which tests are chosen."""
    reached: dict[str, dict[int, set[str]]] = field(default_factory=dict)
    finders: Counter[str] = field(default_factory=Counter)

    def pytest_configure(self) -> None:
        """A failure is enough: hypothesis need not look for the smallest one."""
        phases = (Phase.explicit, Phase.reuse, Phase.generate)
        settings.register_profile(
            "mutation", settings(phases=phases, report_multiple_bugs=False, print_blob=False)
        )
        settings.load_profile("mutation")

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self.items = {item.nodeid: item for item in session.items}
        warm_up(all(one.module.endswith(".py") for one in self.mutants))
        with mutants_forgotten():
            self.trouble = self._clean_run()
            if not self.trouble:
                self._try_all()
        return True

    # -- before the mutants ------------------------------------------------------------------

    def _clean_run(self) -> str:
        """Time the tests and note what they reach; why it cannot go on, or nothing.

        A test that takes far longer than a trial may is given up: no trial would run it.
        """
        modules = self._watched()
        kept = clean_runs.load(modules, self.most_seconds)
        new = [item for name, item in self.items.items() if name not in kept]
        answer = in_a_fork(lambda: self._measure(new, modules), 1800.0) if new else ([], {})
        if not isinstance(answer, tuple):
            return f"the clean run did not end: {answer}"
        self.red, runs = answer
        runs = {**kept, **runs}
        clean_runs.save(modules, self.most_seconds, runs)
        self._take(modules, {name: run for name, run in runs.items() if name in self.items})
        if not self.seconds:
            return f"all tests fail without any mutant: {', '.join(self.red)}"
        for module in sorted({one.module for one in self.mutants}):
            if not self.planted_is_found(module):
                self.unwatched.append(module)
        self.mutants = [one for one in self.mutants if one.module not in self.unwatched]
        return ""

    def _watched(self) -> list[str]:
        """The Python modules of the mutants' rooms: so a run serves for other samples as well."""
        modules = {one.module for one in self.mutants if one.module.endswith(".py")}
        rooms = {"/".join(Path(module).parts[:2]) for module in modules}
        return sorted({*modules, *module_files(ROOT, sorted(rooms))})

    def _take(self, modules: Collection[str], runs: Mapping[str, CleanRun]) -> None:
        self.seconds = {name: run.seconds for name, run in runs.items() if run.seconds is not None}
        self.reached = {module: {} for module in modules}
        for name in self.seconds:
            for module, lines in runs[name].reached.items():
                for line in lines:
                    self.reached[module].setdefault(line, set()).add(name)

    def _measure(
        self, items: list[pytest.Item], modules: list[str]
    ) -> tuple[list[str], dict[str, CleanRun]]:
        """The tests that fail, and the runs of all others."""
        watch = coverage.Coverage(
            data_file=None,
            config_file=False,
            include=[str(ROOT / module) for module in modules],
        )
        watch.set_option("run:disable_warnings", ["module-not-measured", "no-data-collected"])
        red: list[str] = []
        seconds: dict[str, float | None] = {}
        if modules:
            watch.start()
        for item in items:
            if modules:
                watch.switch_context(item.nodeid)
            started = time.process_time()
            with at_most(2.0 * self.most_seconds) as ran_out:
                is_red = runs_red(item)
            if is_red and not ran_out:
                red.append(item.nodeid)
            else:
                seconds[item.nodeid] = None if ran_out else time.process_time() - started
        reached: dict[str, dict[str, set[int]]] = {name: {} for name in seconds}
        if modules:
            watch.stop()
            data = watch.get_data()
            for module in modules:
                for line, names in data.contexts_by_lineno(str(ROOT / module)).items():
                    for name in reached.keys() & names:
                        reached[name].setdefault(module, set()).add(line)
        return red, {
            name: CleanRun(
                clean_runs.file_of(name),
                took,
                {module: frozenset(lines) for module, lines in reached[name].items()},
            )
            for name, took in seconds.items()
        }

    def planted_is_found(self, module: str) -> bool:
        """Whether the tests notice a module whose every function only fails."""
        if module.endswith(".py") and not _functions(module):
            return True  # constants alone
        names = self.in_order(
            [name for name in self.seconds if self._touches(name, module)], module
        )
        planting = c_planted if module.endswith(".c") else plant
        answer = in_a_fork(lambda: planting(module) or self._first_red(names), 300.0)
        return answer not in ("", c_mutants.UNBORN)  # None: the process died, as in C it will

    def _touches(self, name: str, module: str) -> bool:
        lines = self.reached.get(module)
        return lines is None or any(name in names for names in lines.values())

    # -- the mutants -------------------------------------------------------------------------

    def _try_all(self) -> None:
        waiting = list(reversed(self.mutants))
        running: dict[int, tuple[Mutant, _Fork, int]] = {}
        while waiting or running:
            late = self.deadline is not None and time.monotonic() > self.deadline
            while waiting and not late and len(running) < self.at_once:
                mutant = waiting.pop()
                names = self.in_order(self.tests_of(mutant), mutant.module, self._asked(mutant))
                if not names:
                    self.report(Outcome(mutant, "missed", "no test reaches it"))
                    continue
                work = functools.partial(self._trial, mutant, names)
                fork = _Fork(work, 20.0 + 5.0 * sum(self.seconds[name] for name in names))
                running[fork.reading] = mutant, fork, len(names)
            if late and not running:
                return
            ready, _, _ = select.select(list(running), [], [], 0.5)
            for key, (mutant, fork, count) in list(running.items()):
                if key in ready or fork.is_late:
                    del running[key]
                    self._close(mutant, fork.answer(), count)

    def tests_of(self, mutant: Mutant) -> list[str]:
        """The tests that reach the mutant's lines; all, where nobody can tell."""
        lines = self.reached.get(mutant.module)
        if lines is None or not mutant.scope:
            return list(self.seconds)
        return sorted(set().union(*(lines.get(line, set()) for line in mutant.lines)))

    def _asked(self, mutant: Mutant) -> tuple[set[str], set[str]]:
        """Tests that name what a change at import gives a name to, and those that reach a function
        of the module that does."""
        if mutant.scope:
            return set(), set()
        given = names_given((ROOT / mutant.module).read_text(), mutant.lines.start)
        naming = {
            name
            for name, item in self.items.items()
            if given & words_of(_inner(getattr(item, "function", None)))
        }
        reaching: set[str] = set()
        lines = self.reached.get(mutant.module, {})
        for one in _functions(mutant.module):
            if given & words_of(one.__code__):
                first = one.__code__.co_firstlineno
                body = {line for *_, line in one.__code__.co_lines() if line and line != first}
                reaching |= set().union(*(lines.get(line, set()) for line in body))
        return naming, reaching

    def in_order(
        self,
        names: list[str],
        module: str,
        asked: tuple[Collection[str], Collection[str]] = ((), ()),
    ) -> list[str]:
        """Those `asked` first; then half for what reaches most of a module, half for the quickest.

        Nearly every test of a check only passes through its first lines; the few that go on to its
        message know more of it. Finders come sooner than others. As many as take no more than
        `most_seconds`: a slow finder must not leave out all the rest.
        """
        reach = Counter(name for tests in self.reached.get(module, {}).values() for name in tests)
        most = max(reach.values(), default=0)

        def rank(name: str, nearness: int) -> tuple[float, ...]:
            seconds = self.seconds[name] / (1 + self.finders[name])
            return (*(name not in some for some in asked), nearness, seconds)

        far = sorted(names, key=lambda name: rank(name, -4 * reach[name] // (most + 1)))
        near = self._affordable(far, self.most_seconds / 2.0) if most else []
        rest = set(names) - set(near)
        quick = sorted(rest, key=lambda name: rank(name, not self._touches(name, module)))
        return self._affordable([*near, *quick], self.most_seconds)

    def _affordable(self, ordered: list[str], most_seconds: float) -> list[str]:
        ends = list(accumulate(self.seconds[name] for name in ordered))
        return ordered[: max(1, bisect(ends, most_seconds))]

    def _trial(self, mutant: Mutant, names: list[str]) -> str:
        if mutant.module.endswith(".c"):
            return c_trial(mutant) or self._first_red(names)
        source = changed_source((ROOT / mutant.module).read_text(), mutant.number)
        if mutant.scope and put_in_place(mutant, source):
            return self._first_red(names)
        return anew(mutant.module, source, names)

    def _first_red(self, names: list[str]) -> str:
        return next((name for name in names if runs_red(self.items[name])), "")

    def _close(self, mutant: Mutant, answer: object, count: int) -> None:
        if answer is None:
            self.report(Outcome(mutant, "slow", "the tests did not end, or the process died"))
        elif answer == c_mutants.UNBORN:
            self.report(Outcome(mutant, "unborn", "does not compile"))
        elif answer:
            self.finders[str(answer)] += 1
            self.report(Outcome(mutant, "found", str(answer)))
        else:
            self.report(Outcome(mutant, "missed", f"{count} tests passed"))


# -- one test -------------------------------------------------------------------------------------


class _TooSlow(BaseException):
    """A test has had its time."""


@contextmanager
def at_most(seconds: float) -> Iterator[list[float]]:
    """Ends what runs in it after so many seconds of the processor; then the list is not empty."""
    ran_out: list[float] = []

    def end(*_: object) -> None:
        ran_out.append(seconds)
        raise _TooSlow

    before = signal.signal(signal.SIGPROF, end)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield ran_out
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


class _Red:
    """Notes whether a test failed."""

    def __init__(self) -> None:
        self.failed = False

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.failed |= report.failed


def runs_red(item: pytest.Item) -> bool:
    """Run one test with its own setup and teardown; whether it failed."""
    red = _Red()
    item.config.pluginmanager.register(red)
    try:
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
    finally:
        item.config.pluginmanager.unregister(red)
    return red.failed


def warm_up(keeps_core: bool) -> None:
    """Compile the C core once for all trials, where a test drives it.

    `keeps_core`: no mutant changes it, so that it is linked once as well.
    """
    core: Any = sys.modules.get(CORE)
    if core is None or not core.available():
        return
    OBJECTS.mkdir(parents=True, exist_ok=True)
    core.OBJECTS = OBJECTS
    if keeps_core:
        link_core()
    else:
        in_a_fork(link_core, 300.0)


@contextmanager
def mutants_forgotten() -> Iterator[None]:
    """Of objects that are kept, those of mutants serve once."""
    before = set(OBJECTS.glob("*"))
    try:
        yield
    finally:
        for path in set(OBJECTS.glob("*")) - before:
            path.unlink(missing_ok=True)


def link_core() -> None:
    for module, arguments in ((CORE, [()]), (BOARDS, [(one,) for one in CHIPS_BY_ID])):
        if module in sys.modules:
            for words in arguments:
                sys.modules[module].built(*words)


def forget_core() -> None:
    """What is asked for next is linked anew."""
    for name in (CORE, BOARDS):
        if module := sys.modules.get(name):
            module.built.cache_clear()


# -- processes ------------------------------------------------------------------------------------


class _Fork:
    """`work` in a process of its own; `answer` is what it gave, None where it gave nothing.

    It may take so many `seconds` of the processor. On the clock it has `PATIENCE` times as long, so
    that a machine with much else to do does not end what only waits for its turn.
    """

    def __init__(self, work: Callable[[], object], seconds: float) -> None:
        self.ends = time.monotonic() + PATIENCE * seconds
        self.reading, writing = os.pipe()
        sys.stdout.flush()
        self.pid = os.fork()
        if self.pid:
            os.close(writing)
            return
        code = 1
        try:
            os.setsid()
            os.close(self.reading)
            _be_quiet()
            resource.setrlimit(resource.RLIMIT_DATA, (MEMORY_BYTES, MEMORY_BYTES))
            resource.setrlimit(resource.RLIMIT_CPU, (ceil(seconds), ceil(seconds)))
            data = pickle.dumps(work())
            with os.fdopen(writing, "wb") as pipe:
                pipe.write(data)
            code = 0
        finally:
            os._exit(code)

    @property
    def is_late(self) -> bool:
        return time.monotonic() > self.ends

    def answer(self) -> Any:
        data = b""
        while select.select([self.reading], [], [], max(0.0, self.ends - time.monotonic()))[0]:
            piece = os.read(self.reading, 1 << 16)
            data += piece
            if not piece:
                break
        with suppress(ProcessLookupError):
            os.killpg(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.reading)
        return pickle.loads(data) if data else None


def in_a_fork(work: Callable[[], object], seconds: float) -> Any:
    return _Fork(work, seconds).answer()


def _be_quiet() -> None:
    nowhere = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(nowhere, number)


# -- changed code in place ------------------------------------------------------------------------


def put_in_place(mutant: Mutant, source: str) -> bool:
    """Give the mutant's function its new code, wherever it is held; False where that cannot be."""
    name = mutant.module.removesuffix(".py").replace("/", ".")
    importlib.import_module(name)
    new = _codes(compile(source, str(ROOT / mutant.module), "exec")).get(mutant.scope, [])
    old = functions_of(name, mutant.scope)
    if len(new) != 1 or len({one.__code__ for one in old}) != 1:
        return False
    if any(one.__code__.co_freevars != new[0].co_freevars for one in old):
        return False
    for one in old:
        one.__code__ = new[0]
    clear_caches()
    return True


def functions_of(module: str, scope: str | None = None) -> list[FunctionType]:
    """The functions a module defines, also those that a decorator holds."""
    return [
        one
        for one in gc.get_objects()
        if isinstance(one, FunctionType)
        and one.__module__ == module
        and one.__code__.co_filename == str(ROOT / (module.replace(".", "/") + ".py"))
        and (scope is None or one.__code__.co_qualname == scope)
    ]


def _codes(code: CodeType) -> dict[str, list[CodeType]]:
    found: dict[str, list[CodeType]] = {}
    for const in code.co_consts:
        if isinstance(const, CodeType):
            found.setdefault(const.co_qualname, []).append(const)
            for name, codes in _codes(const).items():
                found.setdefault(name, []).extend(codes)
    return found


def names_given(text: str, line: int) -> set[str]:
    """What the statements of a module or of its classes that begin at a line give a name to."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(text)):
        if getattr(node, "lineno", 0) == line and isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            found |= {one.id for one in targets if isinstance(one, ast.Name)}
    return found


def words_of(code: CodeType | None) -> set[str]:
    """All names that a code object looks up, also those of functions inside it."""
    if code is None:
        return set()
    inner = (words_of(const) for const in code.co_consts if isinstance(const, CodeType))
    return {*code.co_names, *code.co_freevars}.union(*inner)


def _inner(function: object) -> CodeType | None:
    """The code of a test, also of one that hypothesis holds."""
    held = getattr(function, "hypothesis", None)
    return getattr(getattr(held, "inner_test", function), "__code__", None)


def clear_caches() -> None:
    for one in gc.get_objects():
        if isinstance(one, functools._lru_cache_wrapper) and str(one.__module__).startswith(
            ("sim", "seqlang", "firmware_gen")
        ):
            one.cache_clear()


def _functions(module: str) -> list[FunctionType]:
    name = module.removesuffix(".py").replace("/", ".")
    importlib.import_module(name)
    return functions_of(name)


def plant(module: str) -> None:
    """Make every function of a module fail."""
    for one in _functions(module):
        free = one.__code__.co_freevars
        parameters = ", ".join(free)
        lines = [f"def outer({parameters}):", " def failing(*a, **k):", f"  {PLANTED}"]
        lines += [f"  return ({parameters},)"] if free else []
        lines += [" return failing"]
        outer = compile("\n".join(lines), str(ROOT / module), "exec")
        one.__code__ = _codes(outer)["outer.<locals>.failing"][0]
    clear_caches()


# -- changed code imported anew -------------------------------------------------------------------


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.SourceLoader):
    """Finds one module and gives its changed source."""

    def __init__(self, name: str, path: str, source: str) -> None:
        self.name, self.path, self.source = name, path, source

    def find_spec(self, fullname: str, path: object = None, target: object = None) -> Any:
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, self.path, loader=self)

    def get_filename(self, fullname: str) -> str:
        return self.path

    def get_data(self, path: str | bytes) -> bytes:
        return self.source.encode()


class _InOrder:
    """Runs the named tests in their order."""

    def __init__(self, names: list[str]) -> None:
        self.place = {name: at for at, name in enumerate(names)}
        self.first = ""

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = [item for item in items if item.nodeid in self.place]
        items.sort(key=lambda item: self.place[item.nodeid])

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.first:
            self.first = report.nodeid


def anew(module: str, source: str, names: list[str]) -> str:
    """The first test that fails where the whole project is imported with the changed module."""
    for name, loaded in list(sys.modules.items()):
        # test modules are known by their bare names
        path = str(getattr(loaded, "__file__", None) or "")
        own = any(path.startswith(f"{ROOT / room}/") for room in PROJECT)
        if (own or name.split(".")[0] in PROJECT) and not name.startswith("tests.mutation"):
            del sys.modules[name]
    dotted = module.removesuffix(".py").replace("/", ".")
    sys.meta_path.insert(0, _Changed(dotted, str(ROOT / module), source))
    order = _InOrder(names)
    files = sorted({name.split("::")[0] for name in names})
    status = pytest.main([*WORDS, "-x", *files], plugins=[order])
    return order.first or ("" if status == 0 else "collecting the tests")


WORDS = (
    *("-q", "--tb=no", "--no-header", "-s", "-p", "no:cacheprovider", "-p", "no:xdist"),
    *("-p", "no:faulthandler"),
    *("-W", "ignore::pytest.PytestAssertRewriteWarning"),
)
"""Words for every pytest session; `-s`: what tests print goes nowhere already."""


# -- C --------------------------------------------------------------------------------------------


def c_trial(mutant: Mutant) -> str:
    """Build the core with the mutant; says `UNBORN` where it does not build."""
    text = (ROOT / mutant.module).read_text()
    return c_build(Path(mutant.module).name, c_mutants.changed_source(text, mutant.number))


def c_planted(module: str) -> str:
    text = (ROOT / module).read_text()
    return c_build(Path(module).name, c_mutants.planted(text))


def c_build(name: str, source: str) -> str:
    core: Any = importlib.import_module(CORE)
    core.CORE = c_mutants.copied(core.CORE, name, source)
    forget_core()
    try:
        core.library()
    except (AssertionError, OSError):
        return c_mutants.UNBORN
    return ""
