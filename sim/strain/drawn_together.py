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
from sim.strain.drawn_times import InTime, surely_apart
from sim.strain.light_bound import WINDOW_MS, together

MOST_IN_A_SECOND: Final = 11
"""If a second has more fades, each one counts by how much it can change (own limit)."""

MOST_JOINED: Final = MOST_IN_A_SECOND - TOO_MANY + 1
"""Fades in a row that may make one change together, where none of them makes one alone: as many as
are left over where each of the other changes takes one."""

Range: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _LightFade:
    """One light's fade: from which values to which, and how soon it counts at best."""

    light: str
    before: Range
    after: Range
    soonest_ms: float
    overlaps: bool

    @property
    def most(self) -> float:
        """By how much it can change its light at most."""
        return max(self.after[1] - self.before[0], self.before[1] - self.after[0])


def most_changes_together(
    times: InTime,
    stands: Mapping[str, Sequence[Stand]],
    values: Mapping[str, Callable[[Array], Array]],
    least: float,
) -> int:
    """The most changes of at least `least` in the sum of all values, as far as they are too many.

    `stands`: by light those of its row, `values`: by light what it adds to the sum.
    """
    fades = _in_order(times, stands, values, least)
    most = 0
    for n in range(len(fades)):
        near = np.flatnonzero(times.least_ms[n] < WINDOW_MS)
        until = int(max(near, default=n)) + 1
        if until - n < TOO_MANY:
            continue
        if until - n > MOST_IN_A_SECOND:
            room = sum(min(1.0, fade.most / (least - ROUND)) for fade in fades[n:until])
            most = max(most, int(room) if room >= TOO_MANY else 0)
            continue
        found = _Split(fades[n:until], times.least_ms[n, n:until], least)
        most = max(most, found.most(True), found.most(False))
    return most


def most_turns_of_overlapping(
    times: InTime,
    stands: Mapping[str, Sequence[Stand]],
    values: Mapping[str, Callable[[Array], Array]],
    least: float,
) -> int:
    """The same where fades overlap: a looser count, which holds however they lie to each other.

    While one light goes slowly up, each short fade of another down turns the sum twice.
    """
    fades = _in_order(times, stands, values, least)
    most = 0
    for n in range(len(fades)):
        met = [fades[m] for m in _met(times, n)]
        if any(fade.overlaps for fade in met):
            room = sum(fade.most for fade in met) / (least - ROUND)
            most = max(most, int(min(together(float(len(met))), room)))
    return most if most >= TOO_MANY else 0


def most_turns_of_drifting(
    times: InTime,
    stands: Mapping[str, Sequence[Stand]],
    values: Mapping[str, Callable[[Array], Array]],
    least: float,
) -> int:
    """The same where repeats go on side by side: the busiest second of each light meets the others.

    No pass need lie to another as it does in the first passes.
    """
    fades = _in_order(times, stands, values, least)
    ways = room = 0.0
    for name in stands:
        own = [n for n, fade in enumerate(fades) if fade.light == name]
        met = [[fades[m] for m in _met(times, n) if fades[m].light == name] for n in own]
        ways += max(map(len, met), default=0)
        room += max((sum(fade.most for fade in several) for several in met), default=0.0)
    most = int(min(together(ways), room / (least - ROUND)))
    return most if most >= TOO_MANY else 0


def _met(times: InTime, n: int) -> list[int]:
    """The fades that a second may meet which starts where a fade ends."""
    to, back = times.least_ms[n], times.least_ms[:, n]
    over = (back >= -ROUND) & (to < -ROUND)
    over[n] = False
    return [int(m) for m in np.flatnonzero((to < WINDOW_MS) & ~over)]


class _Split:
    """The fades that a second may meet; the first one is where the first change comes to its end.

    It is known to be worth looking for only where it leads to too many.
    """

    def __init__(self, fades: Sequence[_LightFade], after_ms: Array, least: float) -> None:
        """`after_ms`: the least time from the end of the first fade to the beginning of each."""
        self._fades = fades
        self._after_ms = after_ms
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
            seen = count + 1 if self._in_time(n) else count
            if then == len(self._fades):
                found = max(found, seen if seen >= TOO_MANY else 0)
            else:
                found = max(found, self._onward(then, after, not up, seen))
        return found

    def _in_time(self, n: int) -> bool:
        return bool(self._after_ms[n] + self._fades[n].soonest_ms < WINDOW_MS)

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

    def _far_enough(self, fade: _LightFade, at: Range, up: bool) -> Range:
        low, high = fade.after
        if up:
            return max(low, at[0] + self._least), high
        return low, min(high, at[1] - self._least)


def _in_order(
    times: InTime,
    stands: Mapping[str, Sequence[Stand]],
    values: Mapping[str, Callable[[Array], Array]],
    least: float,
) -> list[_LightFade]:
    found: list[_LightFade] = []
    ways = {name: pairwise(row[1:]) for name, row in stands.items()}
    for n, one in enumerate(times.fades):
        name = one.act.output
        before, stand = next(ways[name])
        overlaps = any(
            other.act.output != name and not surely_apart(times, n, m)
            for m, other in enumerate(times.fades)
        )
        soonest = 0.0 if overlaps else _soonest_ms(before, stand, values[name], least)
        ends = _range(before, values[name]), _range(stand, values[name])
        found.append(_LightFade(name, *ends, soonest, overlaps))
    return found


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
        shares += [reached(row, start, least, up) for row, start in zip(way, starts, strict=True)]
    soonest = min(shares)
    return 0.0 if soonest > 1.0 else soonest * stand.lasts_ms
