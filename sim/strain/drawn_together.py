"""How many changes several lights of a strand may make together within a second, whatever it draws.

The light of all is the sum of theirs. A row of changes is split among the fades in their order:
each change is made by one fade or by a few in a row, the others go along. A light that makes a
change alone must have room for it: of what it may be at, only what is far enough from where it may
have been is kept. So two lights of which the one always rises while the other always falls soon
have no room left. Fades that overlap, and those that go along, may end anywhere in their ranges.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, TypeAlias

import numpy as np

from sim.arrays import Array
from sim.light.counting import TOO_MANY
from sim.strain.drawn_stands import ROUND, Stand, reached, way_to
from sim.strain.light_bound import WINDOW_MS, together

MOST_IN_A_SECOND: Final = 11
"""Of more fades within a second every one counts by how much it can change (own limit)."""

MOST_JOINED: Final = 3
"""Fades in a row that make one change together, where none of them makes one alone."""

Range: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Fade:
    """One light's fade: when, from which values to which, and how soon it counts at best."""

    light: str
    begins_ms: float
    ends_ms: float
    before: Range
    after: Range
    soonest_ms: float
    overlaps: bool

    @property
    def most(self) -> float:
        """By how much it can change its light at most."""
        return max(self.after[1] - self.before[0], self.before[1] - self.after[0])


def most_changes_together(
    rows: Mapping[str, Sequence[Stand]],
    values: Mapping[str, Callable[[Array], Array]],
    least: float,
) -> int:
    """The most changes of at least `least` in the sum of all values, as far as they are too many.

    `rows`: by light its stands, `values`: by light what it adds to the sum.
    """
    fades = _in_order(rows, values, least)
    most = 0
    for n in range(len(fades)):
        until = n + 1
        while until < len(fades) and fades[until].begins_ms - fades[n].ends_ms < WINDOW_MS:
            until += 1
        if until - n < TOO_MANY:
            continue
        if until - n > MOST_IN_A_SECOND:
            room = sum(min(1.0, fade.most / (least - ROUND)) for fade in fades[n:until])
            most = max(most, int(room) if room >= TOO_MANY else 0)
            continue
        found = _Split(fades[n:until], least)
        most = max(most, found.most(True), found.most(False))
    return most


def most_turns_of_overlapping(
    rows: Mapping[str, Sequence[Stand]],
    values: Mapping[str, Callable[[Array], Array]],
    least: float,
) -> int:
    """The same where fades overlap: a looser count, which holds however they lie to each other.

    While one light goes slowly up, each short fade of another down turns the sum twice.
    """
    fades = _in_order(rows, values, least)
    most = 0
    for until in {fade.ends_ms for fade in fades}:
        met = [f for f in fades if f.begins_ms < until + WINDOW_MS and f.ends_ms >= until]
        if any(fade.overlaps for fade in met):
            room = sum(fade.most for fade in met) / (least - ROUND)
            most = max(most, int(min(together(float(len(met))), room)))
    return most if most >= TOO_MANY else 0


class _Split:
    """The fades that a second may meet; the first one is where the first change comes to its end.

    It is known to be worth looking for only where it leads to too many.
    """

    def __init__(self, fades: Sequence[_Fade], least: float) -> None:
        self._fades = fades
        self._least = least - ROUND

    def most(self, up: bool) -> int:
        """The most changes if the first one goes up, or down."""
        first = self._fades[0]
        standing: dict[str, Range] = {}
        for fade in self._fades[1:]:
            standing.setdefault(fade.light, fade.before)
        return self._onward(1, {**standing, first.light: first.after}, up, 1)

    def _onward(self, n: int, at: dict[str, Range], up: bool, count: int) -> int:
        """The most changes of the row from its fade `n` on, where `count` came before it."""
        if count + len(self._fades) - n < TOO_MANY:
            return 0
        if n == len(self._fades):
            return count
        fade = self._fades[n]
        found = self._onward(n + 1, {**at, fade.light: fade.after}, up, count)
        for after, then in self._turns(n, at, not up):
            seen = count + 1 if self._in_time(fade) else count
            if then == len(self._fades):
                found = max(found, seen if seen >= TOO_MANY else 0)
            else:
                found = max(found, self._onward(then, after, not up, seen))
        return found

    def _in_time(self, fade: _Fade) -> bool:
        return fade.begins_ms + fade.soonest_ms - self._fades[0].ends_ms < WINDOW_MS

    def _turns(
        self, n: int, at: dict[str, Range], up: bool
    ) -> Iterator[tuple[dict[str, Range], int]]:
        """Where the lights are after a change that begins with fade `n`, and the next fade."""
        fade = self._fades[n]
        if not fade.overlaps:
            kept = self._far_enough(fade, at[fade.light], up)
            if kept[0] <= kept[1]:
                yield {**at, fade.light: kept}, n + 1
                return
        first = n if fade.overlaps else n + 1
        after = at
        for m in range(n, min(n + MOST_JOINED, len(self._fades))):
            after = {**after, self._fades[m].light: self._fades[m].after}
            if m >= first and self._change(at, after, up) >= self._least:
                yield after, m + 1
                return

    def _change(self, at: dict[str, Range], after: dict[str, Range], up: bool) -> float:
        """By how much lights that come from `at` to `after` change together at most."""
        moved = [(at[name], to) for name, to in after.items() if to is not at[name]]
        return sum(to[1] - low if up else high - to[0] for (low, high), to in moved)

    def _far_enough(self, fade: _Fade, at: Range, up: bool) -> Range:
        low, high = fade.after
        if up:
            return max(low, at[0] + self._least), high
        return low, min(high, at[1] - self._least)


def _in_order(
    rows: Mapping[str, Sequence[Stand]],
    values: Mapping[str, Callable[[Array], Array]],
    least: float,
) -> list[_Fade]:
    spans = [(name, one.begins_ms, one.ends_ms) for name, row in rows.items() for one in row[2:]]
    found: list[_Fade] = []
    for name, row in rows.items():
        for before, stand in pairwise(row[1:]):
            own = stand.begins_ms, stand.ends_ms
            overlaps = any(
                other != name and ((begins < own[1] and own[0] < ends) or begins == own[0])
                for other, begins, ends in spans
            )
            soonest = _soonest_ms(before, stand, values[name], least)
            found.append(
                _Fade(
                    name,
                    *own,
                    _range(before, values[name]),
                    _range(stand, values[name]),
                    0.0 if overlaps else soonest,
                    overlaps,
                )
            )
    return sorted(found, key=lambda fade: (fade.begins_ms, fade.ends_ms))


def _range(stand: Stand, value: Callable[[Array], Array]) -> Range:
    several = np.atleast_1d(value(stand.levels))
    return float(several.min()), float(several.max())


def _soonest_ms(
    before: Stand, stand: Stand, value: Callable[[Array], Array], least: float
) -> float:
    """How long after its beginning a fade may count as a change at the earliest.

    At once where it makes none alone: others may have gone most of the way.
    """
    starts = np.atleast_1d(value(before.levels))
    ends = np.atleast_1d(value(stand.levels))
    shares = []
    for up in (True, False):
        far = stand.levels[int(np.argmax(ends) if up else np.argmin(ends))]
        way = value(way_to(before.levels, far, stand.law))
        shares += [
            reached(row, start, least, up, 0) for row, start in zip(way, starts, strict=True)
        ]
    soonest = min(shares)
    return 0.0 if soonest > 1.0 else soonest * (stand.ends_ms - stand.begins_ms)
