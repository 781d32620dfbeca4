"""Tries small wrong changes on the tests: `python -m tests.mutation MODULE... [OPTIONS]`.

MODULE is a file, a folder or a dotted name: `sim/rig`, `sim.rig.drive`, `firmware_gen/core`.
Every change that no test of the nearest ones finds is printed with its place: it is either a
missing test, or makes no difference. Those that make none stand in `known.toml` with the reason.

A run first checks itself: the tests must find a change planted in every function; a test that fails
without any change is left out and named. Ends with status 0, 1 where a change was missed or a test
was left out, or 2 for wrong usage.
"""

from __future__ import annotations

import argparse
import importlib
import io
import multiprocessing
import random
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from multiprocessing.connection import Connection
from pathlib import Path

from tests.mutation import c_mutants, known
from tests.mutation.mutants import Mutant, module_files, mutants
from tests.mutation.nearest import ROOT, nearest
from tests.mutation.trials import WORDS, Outcome, Trials

PRELOADED = (
    *("numpy", "lark", "hypothesis", "hypothesis.strategies", "pytest", "click", "cffi", "scipy"),
    *("scipy.integrate", "scipy.optimize", "colour", "serial", "cobs.cobs", "matplotlib", "ruckig"),
)
"""Libraries that are imported once, before any process is forked."""


def arguments_of(words: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m tests.mutation",
        description="Try small wrong changes of modules on their nearest tests.",
    )
    parser.add_argument("modules", nargs="*", metavar="MODULE", help="a file, a folder or a name")
    parser.add_argument(
        "--changed",
        nargs="?",
        const="HEAD",
        metavar="COMMIT",
        help="only lines that differ from COMMIT (HEAD); without MODULE in all modules",
    )
    parser.add_argument("--seconds", type=float, metavar="N", help="begin no trial after N seconds")
    parser.add_argument("--sample", type=int, metavar="N", help="try N changes, chosen by --seed")
    parser.add_argument("--seed", type=int, default=1, metavar="N")
    parser.add_argument("--only", metavar="TEXT", help="only changes whose description has TEXT")
    parser.add_argument(
        "--tests", action="append", metavar="PATH", help="run these instead of the nearest"
    )
    parser.add_argument("--at-once", type=int, default=1, metavar="N", help="N trials at a time")
    parser.add_argument(
        "--most",
        type=float,
        default=10.0,
        metavar="N",
        help="a trial runs the quickest tests, N seconds of them (10)",
    )
    parser.add_argument("--list", action="store_true", help="print the changes, try none")
    arguments = parser.parse_args(words)
    if not arguments.modules and not arguments.changed:
        parser.error("name a MODULE, or use --changed")
    return arguments


def chosen(arguments: argparse.Namespace) -> list[Mutant]:
    """The mutants that the arguments ask for, in the order of their places."""
    names = arguments.modules or ["sim", "seqlang", "firmware_gen"]
    found: list[Mutant] = []
    touched = None if arguments.changed is None else changed_lines(arguments.changed)
    for module in module_files(ROOT, names):
        if touched is None or module in touched:
            found += mutants_of(module)
    if touched is not None:
        found = [one for one in found if not touched[one.module].isdisjoint(one.lines)]
    if arguments.only:
        found = [one for one in found if arguments.only in one.key]
    if arguments.sample is not None and arguments.sample < len(found):
        picked = random.Random(arguments.seed).sample(range(len(found)), arguments.sample)
        found = [found[at] for at in sorted(picked)]
    return found


def mutants_of(module: str) -> list[Mutant]:
    text = (ROOT / module).read_text()
    return (c_mutants.mutants if module.endswith(".c") else mutants)(module, text)


def changed_lines(commit: str) -> dict[str, set[int]]:
    """Lines of the files as they are now that differ from a commit."""
    words = ["git", "diff", "--unified=0", "--no-color", "--no-ext-diff", commit]
    done = subprocess.run(words, capture_output=True, text=True, cwd=ROOT)
    if done.returncode:
        raise LookupError(done.stderr.strip())
    lines: dict[str, set[int]] = {}
    now = ""
    for line in done.stdout.splitlines():
        if line.startswith("+++ "):
            now = line[4:].removeprefix("b/")
        elif match := re.match(r"@@ -\S+ \+(\d+)(?:,(\d+))? @@", line):
            first, count = int(match[1]), int(match[2] or 1)
            lines.setdefault(now, set()).update(range(first, first + count))
    return lines


# -- the run --------------------------------------------------------------------------------------


def outcomes_of(
    found: list[Mutant], arguments: argparse.Namespace, bytecode: str
) -> Iterator[Outcome | str]:
    """What became of each mutant; a text where a group of modules cannot be tried at all.

    `bytecode`: a folder for compiled modules, so that those that no mutant changes compile once.
    """
    ends = None if arguments.seconds is None else time.monotonic() + arguments.seconds
    sys.dont_write_bytecode, sys.pycache_prefix = False, bytecode
    for name in PRELOADED:
        importlib.import_module(name)
    fork = multiprocessing.get_context("fork")
    for mine in groups_of(found, arguments.tests):
        tests = arguments.tests or sorted({name for one in mine for name in nearest(one.module)})
        reading, writing = fork.Pipe(duplex=False)
        process = fork.Process(target=session, args=(tests, mine, ends, arguments, writing))
        process.start()
        writing.close()
        try:
            while True:
                yield reading.recv()
        except EOFError:
            process.join()


def groups_of(found: Iterable[Mutant], tests: Sequence[str] | None) -> list[list[Mutant]]:
    """Mutants that are tried in one session, after one clean run; `tests`: those that are named.

    Python modules of a room go together: the clean run notes which tests reach a line, so tests
    that stand near another module of the room cost nothing more. Of C nobody knows what a test
    reaches, so there each change meets the nearest tests alone.
    """
    groups: dict[tuple[str, ...], list[Mutant]] = {}
    for one in found:
        if one.module.endswith(".c"):
            key = tuple(tests or nearest(one.module))
        else:
            key = Path(one.module).parts[:2]
        groups.setdefault(key, []).append(one)
    return list(groups.values())


def session(
    tests: list[str],
    mine: list[Mutant],
    ends: float | None,
    arguments: argparse.Namespace,
    out: Connection,
) -> None:
    """One pytest session that tries the mutants whose nearest tests are the same."""
    import pytest  # not before it is preloaded, in its order

    said, sys.stdout = sys.stdout, io.StringIO()
    trials = Trials(mine, ends, arguments.at_once, arguments.most, out.send)
    try:
        pytest.main([*WORDS, *tests], plugins=[trials])
    finally:
        printed, sys.stdout = sys.stdout.getvalue(), said
    if not trials.seconds:
        trials.trouble = trials.trouble or f"the tests cannot be collected\n{printed}"
    if trials.trouble:
        out.send(trials.trouble)
    for module in trials.unwatched:
        out.send(f"a mutant planted in every function of {module} is not found")
    for name in trials.red:
        out.send(f"{name}: it fails without any change")
    out.close()


def describe(one: Outcome) -> str:
    mutant = one.mutant
    return f"{mutant.module}:{mutant.line}: {mutant.key}   [{one.by}]"


def main(words: Sequence[str]) -> int:
    arguments = arguments_of(words)
    try:
        found = chosen(arguments)
        reasons = known.reasons()
    except (LookupError, FileNotFoundError, ValueError) as error:
        print(f"tests.mutation: {error}", file=sys.stderr)
        return 2
    if arguments.list:
        for one in found:
            print(f"{one.module}:{one.line}: {one.key}")
        print(f"{len(found)} changes")
        return 0
    missed, troubles, outcomes = 0, 0, []
    with tempfile.TemporaryDirectory() as bytecode:
        for one in outcomes_of(found, arguments, bytecode):
            if isinstance(one, str):
                print(f"left out: {one}", flush=True)
                troubles += 1
                continue
            outcomes.append(one)
            if one.verdict == "missed" and reasons.get(one.mutant) is None:
                print(describe(one), flush=True)
                missed += 1
    return 1 if summary(found, outcomes, reasons, missed) or troubles else 0


def summary(
    found: list[Mutant], outcomes: list[Outcome], reasons: known.Reasons, missed: int
) -> bool:
    """Print the figures, and what the list of known survivors says wrongly; whether all is well."""
    tried = [one for one in outcomes if one.verdict != "unborn"]
    caught = [one for one in tried if one.verdict != "missed"]
    for one in caught:
        if reasons.get(one.mutant) is not None:
            print(f"known.toml lists what a test finds: {describe(one)}")
    listed = len(tried) - len(caught) - missed
    for line in table(outcomes, reasons):
        print(line)
    share = 100.0 * len(caught) / max(1, len(tried) - listed)
    print(
        f"{len(tried)} of {len(found)} changes tried: {len(caught)} found, {missed} missed, "
        f"{listed} known to make no difference; {share:.1f} % of those that make one are found"
    )
    return missed > 0


def table(outcomes: Iterable[Outcome], reasons: known.Reasons) -> list[str]:
    """Of each room, if there are several: tried, found, known, and the share that is found."""
    rooms: dict[str, list[str]] = {}
    for one in outcomes:
        if one.verdict != "unborn":
            is_known = one.verdict == "missed" and reasons.get(one.mutant) is not None
            kind = "known" if is_known else one.verdict
            rooms.setdefault(str(Path(one.mutant.module).parent), []).append(kind)
    if len(rooms) < 2:
        return []
    lines = [f"{'room':34} tried found known  score"]
    for room, kinds in sorted(rooms.items()):
        known_ones, missed = kinds.count("known"), kinds.count("missed")
        found = len(kinds) - known_ones - missed
        score = f"{100.0 * found / (found + missed):5.1f}%" if found + missed else "    -"
        lines.append(f"{room:34} {len(kinds):5} {found:5} {known_ones:5} {score}")
    return lines


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
