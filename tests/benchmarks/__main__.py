"""Prints every benchmark as a ratio or count against its limit: `python -m tests.benchmarks`.

Each `bench_*.py` here has `run()`, which gives rows (what, measured, limit[, direction]); the
direction is "<=" unless it says ">=". Ratios are taken against a baseline in the same run.
"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path


def rows_of(module: str) -> list[tuple[str, float, float, str]]:
    found = importlib.import_module(f"tests.benchmarks.{module}").run()
    return [(what, value, limit, *(rest or ["<="])) for what, value, limit, *rest in found]


def main(names: list[str]) -> int:
    modules = sorted(path.stem for path in Path(__file__).parent.glob("bench_*.py"))
    missed = 0
    for module in modules:
        if names and module.removeprefix("bench_") not in names:
            continue
        for what, value, limit, direction in rows_of(module):
            met = value <= limit if direction == "<=" else value >= limit
            missed += not met
            verdict = "" if met else "  MISSED"
            print(f"{what:<72} {value:>9.2f}  {direction} {limit:g}{verdict}", flush=True)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
