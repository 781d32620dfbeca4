"""Trying many inputs on a target, and keeping those that break it."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from random import Random
from time import monotonic
from typing import Final

from tests.fuzz.spoiling import spoilt_bytes, spoilt_text
from tests.fuzz.targets import FuzzTarget

KEPT: Final = Path(__file__).with_name("kept")
"""Inputs that once broke a target, by target: they are tried first, for ever."""

MOST_SHORTENING_S: Final = 60.0
"""On the clock: a server that does not answer takes none of this program's own time."""


@dataclass(frozen=True)
class Broke:
    """An input that broke its target, and how."""

    data: bytes
    how: str

    @property
    def kind(self) -> str:
        """The error's name: inputs of one kind most likely show one mistake."""
        return self.how.splitlines()[-1].partition(":")[0]


def inputs(target: FuzzTarget, seed: int) -> Iterator[bytes]:
    """Endless inputs made of the target's seeds; the same ones for the same number."""
    chance = Random(seed)
    seeds = target.seeds()
    plain = [one.decode("utf-8") for one in seeds] if target.is_text else []
    while True:
        if plain and chance.random() < 0.9:
            yield spoilt_text(chance, plain).encode("utf-8", "surrogatepass")
        else:
            yield spoilt_bytes(chance, seeds)


def tried(target: FuzzTarget, data: bytes) -> Broke | None:
    """The input with what it broke, if it did."""
    try:
        target.run(data)
    except Exception:
        return Broke(data, traceback.format_exc())
    return None


def shortest(data: bytes, breaks: Callable[[bytes], bool]) -> bytes:
    """The input with as many pieces left out as it can be without ceasing to break."""
    size, end = max(1, len(data) // 2), monotonic() + MOST_SHORTENING_S
    while size and monotonic() < end:
        at, before = 0, len(data)
        while at < len(data) and monotonic() < end:
            less = data[:at] + data[at + size :]
            if breaks(less):
                data = less
            else:
                at += size
        size = size // 2 if len(data) == before else min(size, max(1, len(data) // 2))
    return data


def keep(target: FuzzTarget, broke: Broke, folder: Path = KEPT) -> Path:
    """Write an input to where the tests try it again; its name is that of its content."""
    path = folder / target.name / sha256(broke.data).hexdigest()[:16]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(broke.data)
    return path
