"""What tests took and reached without any change, kept from one run of the command to the next.

A clean run of a room's tests takes longer than a sample of changes. What is kept holds as long as
nothing differs but files of tests, and of those only the files that differ are run again.
"""

from __future__ import annotations

import hashlib
import pickle
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from firmware_gen.files import write_whole
from tests.mutation.nearest import ROOT

KEPT: Final = ROOT / ".mutation_cache"
SOURCES: Final = (".py", ".c", ".h", ".cues", ".lark", ".toml", ".json", ".md", ".bin", ".hex")
ROOMS: Final = ("sim", "seqlang", "firmware_gen", "shows", "tests")


@dataclass(frozen=True, slots=True)
class CleanRun:
    """Of one test."""

    file: str
    """A digest of its file as it was."""
    seconds: float | None
    """Of the processor; None: it was given up."""
    reached: Mapping[str, frozenset[int]]
    """Lines by module."""


def load(modules: Iterable[str], most_seconds: float) -> dict[str, CleanRun]:
    """What is kept of the tests' runs by their names, of files that have not changed."""
    path = _path(modules, most_seconds)
    found: dict[str, CleanRun] = pickle.loads(path.read_bytes()) if path.exists() else {}
    return {name: run for name, run in found.items() if run.file == file_of(name)}


def save(modules: Iterable[str], most_seconds: float, runs: Mapping[str, CleanRun]) -> None:
    # another run of the command may read it meanwhile
    write_whole(_path(modules, most_seconds), pickle.dumps(dict(runs)))


def file_of(name: str) -> str:
    return _digest((ROOT / name.split("::")[0]).read_bytes())


def _path(modules: Iterable[str], most_seconds: float) -> Path:
    parts = [sys.version, repr(most_seconds), *sorted(modules), _project()]
    return KEPT / f"{_digest(chr(10).join(parts).encode())}.pickle"


@cache
def _project() -> str:
    """A digest of all that tests may read, but for the files of tests themselves."""
    return _digest("".join(_digest(path.read_bytes()) for path in _sources()).encode())


def _sources() -> Iterator[Path]:
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*")):
            is_test = room == "tests" and path.name.startswith("test_")
            about = path.suffix in SOURCES and "mutation" not in path.parts
            if about and not is_test:
                yield path


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
