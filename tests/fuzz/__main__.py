"""`python -m tests.fuzz [TARGET ...]`: throw inputs at what reads texts, tables and frames.

    python -m tests.fuzz                          # 10,000 inputs to each target
    python -m tests.fuzz --long                   # a million in all
    python -m tests.fuzz table --seed 7
    python -m tests.fuzz show --coverage          # atheris: towards code not reached yet

What breaks a target is made as short as it can be and written to `tests/fuzz/kept/TARGET`, where
`tests/fuzz/test_fuzz.py` tries it from then on. Ends with status 1 if anything broke, or if the
run took more memory than 500 MB.
"""

from __future__ import annotations

import argparse
import re
import resource
import subprocess
import sys
from collections.abc import Callable
from itertools import islice
from pathlib import Path
from time import monotonic

from tests.fuzz.targets import TARGETS, FuzzTarget
from tests.fuzz.trying import Broke, inputs, keep, shortest, tried

MOST_MB = 500


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("targets", nargs="*", metavar="TARGET", help=", ".join(TARGETS))
    parser.add_argument("--inputs", type=int, default=10_000, help="for each target [10000]")
    parser.add_argument("--long", action="store_true", help="a million inputs for all targets")
    parser.add_argument("--seed", type=int, default=1, help="same number, same inputs [1]")
    parser.add_argument("--coverage", action="store_true", help="be led by coverage (atheris)")
    asked = parser.parse_args()
    unknown = [name for name in asked.targets if name not in TARGETS]
    if unknown:
        parser.error(f"no target {unknown[0]}; there are {', '.join(TARGETS)}")
    names = asked.targets or list(TARGETS)

    def count(name: str) -> int:
        return TARGETS[name].long_run if asked.long else int(asked.inputs)

    if asked.coverage:
        return max(_led(name, count(name), asked.seed) for name in names)
    broken = sum(_fuzzed(TARGETS[name], count(name), asked.seed) for name in names)
    used_mb = _most_mb()
    print(f"memory: {used_mb:.0f} MB of {MOST_MB}")
    return int(broken > 0 or used_mb > MOST_MB)


def _most_mb() -> float:
    """The most memory that this program held. The system's own count of it may go on from the
    program that started this one."""
    status = Path("/proc/self/status")
    if status.exists():
        found = re.search(r"^VmHWM:\s+(\d+) kB", status.read_text(), re.MULTILINE)
        if found is not None:
            return int(found[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _fuzzed(target: FuzzTarget, count: int, seed: int) -> int:
    start, broken, seen = monotonic(), 0, set[str]()
    for number, data in enumerate(islice(inputs(target, seed), count), 1):
        broke = tried(target, data)
        if broke and broke.kind not in seen:
            seen.add(broke.kind)
            broken += 1
            print(f"{target.name}: input {number} of seed {seed} broke it\n{broke.how}")
            print(
                "kept as",
                keep(target, Broke(shortest(data, _again(target, broke.kind)), broke.how)),
            )
        if number % 1000 == 0 and sys.stderr.isatty():
            print(f"\r{target.name}: {number:,}", end="", file=sys.stderr)
    rate = count / max(monotonic() - start, 1e-9)
    print(f"{target.name}: {count:,} inputs, {rate:.0f} a second, {broken} broke it", flush=True)
    return broken


def _again(target: FuzzTarget, kind: str) -> Callable[[bytes], bool]:
    def breaks(data: bytes) -> bool:
        broke = tried(target, data)
        return broke is not None and broke.kind == kind

    return breaks


def _led(name: str, count: int, seed: int) -> int:
    """Run one target under atheris, in a process of its own: it never comes back."""
    command = [sys.executable, "-m", "tests.fuzz.led_by_coverage", name, str(count), str(seed)]
    return int(subprocess.run(command, check=False).returncode != 0)


if __name__ == "__main__":
    sys.exit(main())
