"""The search for changes that make a line readable."""

from __future__ import annotations

from functools import lru_cache
from itertools import islice
from typing import TYPE_CHECKING, Final, NamedTuple

from seqlang.text.slips import (
    alike,
    characters,
    colours,
    draws,
    gestures,
    joints,
    live,
    names,
    numbers,
    packs_and_fuses,
    plugs,
    presses,
    rows,
    senses,
    shapes,
    statements,
    units,
    words,
)
from seqlang.text.slips.written import Asked, Slip, Surroundings, Written

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_TRIED: Final = 160
"""Changed lines that are read again for one line at fault."""

_DEEPEST: Final = 8
"""Slips in one line."""

_WIDEST: Final = 6
"""Changes that are followed further where none alone is enough."""


class Mended(NamedTuple):
    """What is wrong first in a line, and the line with everything undone, if that was found."""

    slip: Slip
    line: Written | None
    several: bool
    """More than one slip was undone."""


def mended(line: Written) -> Mended | None:
    """The slip to tell of, or None if the line shows none that is known.

    A text is read again with its changes: lines that stay, in the same surroundings, are not
    searched again.
    """
    around = line.around
    names = frozenset(around.names.items())
    played = tuple((name, tuple(one.items())) for name, one in around.gestures.items())
    return _mended(line.text, around.head, around.has_block, names, played, around.body)


@lru_cache(maxsize=2000)
def _mended(
    text: str,
    head: str | None,
    has_block: bool,
    names: frozenset[tuple[str, frozenset[str]]],
    played: tuple[tuple[str, tuple[tuple[str, Asked], ...]], ...],
    body: str,
) -> Mended | None:
    known = {name: dict(parameters) for name, parameters in played}
    line = Written(text, Surroundings(head, has_block, dict(names), known, body))
    only_said = next((slip for slip in _slips(line) if slip.certain and not slip.edits), None)
    if only_said is not None and only_said.name == "syntax":
        return Mended(only_said, None, False)
    search = _Search()
    chain = search.chain(line, _DEEPEST)
    if chain is not None:
        (slip, _), (_, last) = chain[0], chain[-1]
        return Mended(slip, last, len(chain) > 1)
    sure = next((slip for slip in _slips(line) if slip.certain), None) or units.unknown(line)
    sure = statements.call(line) or sure
    return None if sure is None else Mended(sure, None, False)


def _slips(line: Written) -> Iterator[Slip]:
    yield from draws.slips(line)
    yield from presses.slips(line)
    yield from live.slips(line)
    yield from senses.slips(line)
    yield from characters.slips(line)
    yield from gestures.slips(line)
    yield from rows.slips(line)
    yield from shapes.slips(line)
    yield from numbers.slips(line)
    yield from units.slips(line)
    yield from colours.slips(line)
    yield from alike.slips(line)
    yield from statements.only_said(line)
    yield from packs_and_fuses.slips(line)
    yield from words.in_other_words(line)
    yield from statements.rearranged(line)
    yield from names.slips(line)
    yield from words.at_the_start(line)
    yield from joints.slips(line)
    yield from plugs.slips(line)
    last = units.unknown(line)
    if last is not None:
        yield last


class _Search:
    def __init__(self) -> None:
        self._tried = 0
        self._seen: set[str] = set()

    def chain(self, line: Written, deepest: int) -> list[tuple[Slip, Written]] | None:
        """Slips with the line after each, the last of which can be read."""
        halt = line.halt
        if halt is None or deepest == 0:
            return None
        further: list[tuple[Slip, Written]] = []
        for slip in _slips(line):
            if not slip.edits or self._tried >= MOST_TRIED:
                continue
            new = line.changed(slip.edits)
            if new.text in self._seen:
                continue
            if not new.text.strip():
                return [(slip, new)] if slip.certain else None
            self._seen.add(new.text)
            self._tried += 1
            if new.halt is None:
                if new.makes_sense:
                    return [(slip, new)]
                continue
            left, right = len(line.text) - halt.at, len(new.text) - new.halt.at
            if right < left or (slip.certain and right <= left):
                further.append((slip, new))
        for slip, new in islice(further, _WIDEST):
            rest = self.chain(new, deepest - 1)
            if rest is not None:
                return [(slip, new), *rest]
        return None
