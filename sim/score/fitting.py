"""Moves with laws found again in a motion that was sampled: the fewest that stay close to it.

A motion of one part is cut into stretches: a move from rest to rest by one of the language's laws,
or standing. Three steps find them.

1. A grid of moments is laid over the samples. Between any two of them the samples are held against
   every law; where one stays within the tolerance, a move may lie there. The way through the grid
   with the fewest moves (then the fewest stands, then the least misses) is sought by dynamic
   programming.
2. Where moves begin, end and lead is then free of the grid: damped least squares (Levenberg 1944,
   Marquardt 1963). Two neighbours that one move can stand for become one.
3. Times and places are rounded to what people write, as coarsely as the tolerance allows.

Plain laws go before others: a law that has to be named must be visibly nearer to the samples.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array
from sim.model import MINIMUM_JERK, UNIFORM, Law
from sim.score.laws import position

SHORTEST_S: Final = 0.02
"""A move lasts a frame at least."""
LONGEST_S: Final = 120.0
"""Of a motion that is fitted (own limit): the grid becomes too coarse beyond."""
MOST_MOMENTS: Final = 1500
"""Of the grid, which is no finer than a frame."""
_SHARES: Final = np.linspace(0.0, 1.0, 25)[1:-1]
"""Of a stretch's time, at which the samples are held against laws."""
_NAMED, _SHARED, _SHIFTED = 0.04, 0.08, 0.08
"""How much nearer, in tolerances, a law must come that is named, has shares, a peak aside."""
_ROUNDINGS: Final = ((0.05, 1.0), (0.01, 1.0), (0.01, 0.5), (0.01, 0.1), (0.001, 0.01))
"""Steps of times (s) and places, from coarse to fine: the last is the finest one writes."""
_COARSER: Final = 0.25
"""What rounding may add to the worst miss, in tolerances."""
_LEAST_DAMPING: Final = 1e-9
"""Where samples are few, the equations have no single solution without it."""
_TIGHTER: Final = (1.0, 0.7, 0.45, 0.25)


class NotFittedError(Exception):
    """No moves stay within the tolerance; its words say why."""


@dataclass(frozen=True, slots=True)
class FittedStep:
    """A move from wherever the part is to `place` (deg, mm, rpm), or standing there."""

    place: float
    duration_ms: int
    law: Law | None
    """None: it stands."""


@dataclass(frozen=True, slots=True)
class FittedMotion:
    """Stretches one after another, the first from `start`, and how far samples lie from them."""

    start: float
    start_s: float
    """When the first stretch begins, by the samples' clock; before it the part stands."""
    stretches: tuple[FittedStep, ...]
    worst_miss: float
    """The most by which a sample lies beside the moves (deg, mm, rpm)."""
    worst_s: float
    """When that is, by the samples' clock."""

    @property
    def moves(self) -> int:
        return sum(one.law is not None for one in self.stretches)


@dataclass(frozen=True, slots=True)
class _CutStretches:
    """Stretches with free times and places: `times` and `places` have one more than `laws`.

    Where a law is None the part stands: both places there are one.
    """

    times: Array
    places: Array
    laws: tuple[Law | None, ...]

    def at(self, times_s: Array) -> Array:
        """Where the part is; before and behind all stretches it stands."""
        found = np.full(times_s.shape, self.places[0])
        for number, law in enumerate(self.laws):
            start, end = self.times[number], self.times[number + 1]
            inside = times_s >= start
            way = self.places[number + 1] - self.places[number]
            if law is None:
                found[inside] = self.places[number]
            else:
                share = (times_s[inside] - start) / max(end - start, 1e-9)
                found[inside] = self.places[number] + way * position(law, share)
        found[times_s >= self.times[-1]] = self.places[-1]
        return found


def fitted(times_s: ArrayLike, places: ArrayLike, tolerance: float) -> FittedMotion:
    """The fewest moves and stands that no sample lies more than `tolerance` beside.

    Standing before the first move and behind the last one is left out.

    Args:
        times_s: moments (s) that rise, at most `LONGEST_S` from first to last.
        places: where the part was (deg, mm, rpm), of the same shape.
        tolerance: in the unit of places, over 0.

    Raises:
        NotFittedError: no moves stay so close to the samples.
        ValueError: the arguments are none of that.
    """
    when, where = np.asarray(times_s, dtype=np.float64), np.asarray(places, dtype=np.float64)
    if when.ndim != 1 or when.shape != where.shape or when.size < 2 or tolerance <= 0.0:
        raise ValueError("samples are two rows of one length, and the tolerance is over 0")
    if not (np.isfinite(where).all() and (np.diff(when) > 0.0).all()):
        raise ValueError("times must rise, and places be numbers")
    if when[-1] - when[0] > LONGEST_S:
        raise NotFittedError(
            f"it lasts {when[-1] - when[0]:.0f} s, and at most {LONGEST_S:.0f} s are fitted"
        )
    samples = _TakenSamples(when, where, tolerance)
    best: FittedMotion | None = None
    for share in _TIGHTER:
        cut = _searched(when, where, share * tolerance)
        if cut is None:
            continue
        cut = _joined(_settled(cut, samples), samples)
        made = _rounded(_plainer(_settled(cut, samples), samples), samples)
        if made is not None and (best is None or made.moves < best.moves):
            best = made
        if best is not None:
            break
    if best is None:
        raise NotFittedError(
            f"no moves stay within {tolerance:g} of it: it is too rough, or has too few samples"
        )
    return best


# -- laws ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Laws:
    """What a move may be: laws, how much plainer others are (in tolerances), and their shapes."""

    laws: tuple[Law, ...]
    handicaps: Array
    shapes: Array
    """(laws, shares)."""


_PLAIN: Final = (
    MINIMUM_JERK,
    UNIFORM,
    Law("parabolic"),
    Law("harmonic"),
    Law("cycloidal"),
    Law("4-5-6-7"),
    Law("modified sine"),
    Law("modified trapezoid"),
)
"""Laws without shares: the usual one needs no name."""


def _handicap(law: Law | None) -> float:
    known = _candidates()
    return 0.0 if law is None else float(known.handicaps[known.laws.index(law)])


@cache
def _candidates() -> _Laws:
    found: list[tuple[Law, float]] = []
    for law, handicap in _even_laws():
        found.append((law, handicap))
        if law.name != "uniform":
            found += [
                (replace(law, peak=peak), handicap + _SHIFTED)
                for peak in (0.3, 0.35, 0.4, 0.45, 0.55, 0.6, 0.65, 0.7)
            ]
    shapes = np.array([position(law, _SHARES) for law, _ in found])
    return _Laws(tuple(law for law, _ in found), np.array([more for _, more in found]), shapes)


def _even_laws() -> Iterator[tuple[Law, float]]:
    for law in _PLAIN:
        yield law, 0.0 if law == MINIMUM_JERK else _NAMED
    for alpha in (0.1, 0.2, 0.3, 0.4):
        yield Law("trapezoid", alpha), _SHARED
        yield Law("double-S", alpha, 0.5), _SHARED


# -- the search ------------------------------------------------------------------------------------


_StretchEnds: TypeAlias = "tuple[NDArray[np.int64], Array, NDArray[np.int64]]"
"""Numbers of moments, the price of ending there, and by which of the laws."""
_MISS, _STAND = 5e-3, 1e-3
"""What a miss of a whole tolerance costs, and what it costs to stand at all; a move costs 1."""


def _searched(when: Array, where: Array, tolerance: float) -> _CutStretches | None:
    """The way through a grid of moments with the fewest moves; None if there is none."""
    span = when[-1] - when[0]
    count = int(min(MOST_MOMENTS, max(2, span / SHORTEST_S))) + 1
    moments = np.linspace(when[0], when[-1], count)
    stands = np.interp(moments, when, where)
    # Two rows: how a moment is reached, by a move or by standing. Nobody stands twice in a row, or
    # the part would creep away unseen.
    cost = np.full((2, count), np.inf)
    cost[0, 0] = 0.0
    came = np.zeros((2, count, 2), dtype=np.int64)
    by = np.zeros((2, count), dtype=np.int64)
    for i in range(count - 1):
        reached = int(cost[:, i].argmin())
        if not np.isfinite(cost[reached, i]):
            continue
        stays, moves = _from(i, moments, stands, when, where, tolerance)
        for row, (ends, price, law) in ((1, stays), (0, moves)):
            before = 0 if row == 1 else reached
            total = cost[before, i] + price
            better = total < cost[row, ends]
            cost[row, ends[better]] = total[better]
            came[row, ends[better]] = i, before
            by[row, ends[better]] = law[better]
    row = int(cost[:, -1].argmin())
    if not np.isfinite(cost[row, -1]):
        return None
    nodes: list[int] = [count - 1]
    laws: list[Law | None] = []
    while nodes[0]:
        node = nodes[0]
        laws.insert(0, None if row == 1 else _candidates().laws[by[row, node]])
        nodes.insert(0, int(came[row, node, 0]))
        row = int(came[row, node, 1])
    places = stands[nodes]
    for number, one in enumerate(laws):
        if one is None:
            places[number + 1] = places[number]
    return _CutStretches(moments[nodes], places, tuple(laws))


def _from(
    i: int, moments: Array, stands: Array, when: Array, where: Array, tolerance: float
) -> tuple[_StretchEnds, _StretchEnds]:
    """Where standing, and where a move, that begins at moment i may end."""
    ends = np.arange(i + 1, min(moments.size, _turns_back(i, stands, tolerance)))
    way = stands[ends] - stands[i]
    at = moments[i] + np.multiply.outer(moments[ends] - moments[i], _SHARES)
    seen = np.interp(at, when, where) - stands[i]
    strays = np.maximum(np.abs(seen).max(axis=1), np.abs(way)) / tolerance
    stays = strays <= 1.0
    known = _candidates()
    low, high = known.shapes.min(axis=0), known.shapes.max(axis=0)
    bounds = np.sort(np.stack([np.outer(way, low), np.outer(way, high)]), axis=0)
    maybe = ((seen >= bounds[0] - tolerance) & (seen <= bounds[1] + tolerance)).all(axis=1)
    standing = ends[stays], _STAND + _MISS * strays[stays], np.zeros(int(stays.sum()), int)
    which = np.flatnonzero(maybe & (np.abs(way) > 0.5 * tolerance))
    misses = np.abs(seen[which, None, :] - way[which, None, None] * known.shapes[None, :, :]).max(
        axis=2
    )
    weighed = np.where(misses <= tolerance, misses / tolerance + known.handicaps, np.inf)
    law = weighed.argmin(axis=1)
    price = 1.0 + _MISS * weighed[np.arange(which.size), law]
    passes = np.isfinite(price)
    return standing, (ends[which][passes], price[passes], law[passes])


def _turns_back(i: int, stands: Array, tolerance: float) -> int:
    """The first moment that no move from i can reach: the part has turned back before it."""
    after = stands[i:]
    rises = np.maximum.accumulate(after) - after > 2.0 * tolerance
    falls = after - np.minimum.accumulate(after) > 2.0 * tolerance
    both = np.flatnonzero(
        rises & falls | np.logical_or.accumulate(rises) & np.logical_or.accumulate(falls)
    )
    return i + int(both[0]) + 1 if both.size else stands.size


# -- off the grid ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _TakenSamples:
    when: Array
    where: Array
    tolerance: float

    def between(self, start_s: float, end_s: float) -> _TakenSamples:
        inside = (self.when >= start_s) & (self.when <= end_s)
        return replace(self, when=self.when[inside], where=self.where[inside])

    def misses(self, cut: _CutStretches) -> Array:
        """In tolerances."""
        return np.abs(cut.at(self.when) - self.where) / self.tolerance

    def worst(self, cut: _CutStretches) -> float:
        return float(self.misses(cut).max(initial=0.0))

    def weighed(self, cut: _CutStretches) -> float:
        """The worst miss of each stretch, and how much plainer its law could be, summed up."""
        misses = self.misses(cut)
        on = np.clip(np.searchsorted(cut.times, self.when, "right") - 1, 0, len(cut.laws) - 1)
        worst = np.zeros(len(cut.laws))
        np.maximum.at(worst, on, misses)
        return float(worst.sum()) + sum(map(_handicap, cut.laws))


@dataclass(frozen=True, slots=True)
class _Window:
    """Some stretches in a row of a cut, whose neighbours stay where they are."""

    cut: _CutStretches
    first: int
    last: int

    @property
    def part(self) -> _CutStretches:
        times = self.cut.times[self.first : self.last + 2]
        places = self.cut.places[self.first : self.last + 2]
        return _CutStretches(times, places, self.cut.laws[self.first : self.last + 1])

    def samples(self, whole: _TakenSamples) -> _TakenSamples:
        start_s = -np.inf if self.first == 0 else self.cut.times[self.first]
        end = self.last == len(self.cut.laws) - 1
        return whole.between(start_s, np.inf if end else self.cut.times[self.last + 1])

    @property
    def held(self) -> tuple[bool, bool]:
        """Whether a neighbour holds its beginning and its end."""
        return self.first > 0, self.last < len(self.cut.laws) - 1

    def with_part(self, part: _CutStretches) -> _CutStretches:
        cut = self.cut
        return _CutStretches(
            np.concatenate([cut.times[: self.first], part.times, cut.times[self.last + 2 :]]),
            np.concatenate([cut.places[: self.first], part.places, cut.places[self.last + 2 :]]),
            (*cut.laws[: self.first], *part.laws, *cut.laws[self.last + 1 :]),
        )


def _around(cut: _CutStretches, first: int, last: int) -> _Window:
    """Stretches from `first` to `last`, and one neighbour on either side."""
    return _Window(cut, max(0, first - 1), min(len(cut.laws) - 1, last + 1))


def _settled(cut: _CutStretches, samples: _TakenSamples) -> _CutStretches:
    """Times, places and laws that lie nearer to the samples, one move after the other."""
    for number, law in enumerate(cut.laws):
        if law is None:
            continue
        window = _around(cut, number, number)
        here, was = window.samples(samples), window.part
        one = _with_laws(_least_squares(was, here, window.held), here)
        if here.worst(one) < here.worst(was):
            cut = window.with_part(one)
    return cut


def _with_laws(cut: _CutStretches, samples: _TakenSamples) -> _CutStretches:
    """For each move the law that lies nearest to the samples of its time."""
    known = _candidates()
    laws = list(cut.laws)
    for number, law in enumerate(laws):
        start, end = cut.times[number], cut.times[number + 1]
        if law is None or end - start < 2.0 * SHORTEST_S:
            continue
        seen = np.interp(start + (end - start) * _SHARES, samples.when, samples.where)
        way = cut.places[number + 1] - cut.places[number]
        misses = np.abs(seen - cut.places[number] - way * known.shapes).max(axis=1)
        laws[number] = known.laws[int((misses / samples.tolerance + known.handicaps).argmin())]
    return replace(cut, laws=tuple(laws))


def _joined(cut: _CutStretches, samples: _TakenSamples) -> _CutStretches:
    """Moves with nothing but standing between them become one, where one stays close enough."""
    first = 0
    while first < len(cut.laws):
        last = next((n for n in range(first + 1, len(cut.laws)) if cut.laws[n] is not None), 0)
        if cut.laws[first] is None or not last:
            first += 1
            continue
        between = list(range(first + 1, last + 1))
        one = _CutStretches(
            np.delete(cut.times, between),
            np.delete(cut.places, between),
            (*cut.laws[:first], MINIMUM_JERK, *cut.laws[last + 1 :]),
        )
        window = _around(one, first, first)
        here = window.samples(samples)
        part = _with_laws(window.part, here)
        part = _with_laws(_least_squares(part, here, window.held), here)
        part = _least_squares(part, here, window.held)
        if here.worst(part) <= 1.0:
            cut = window.with_part(part)
        else:
            first += 1
    return cut


def _plainer(cut: _CutStretches, samples: _TakenSamples) -> _CutStretches:
    """Each move by the law that comes nearest when times and places may follow it.

    Times that one law asks for hide that another one, with its own, comes nearer.
    """
    for number, law in enumerate(cut.laws):
        for other in () if law is None else _PLAIN:
            window = _around(cut, number, number)
            here, was = window.samples(samples), window.part
            laws = list(was.laws)
            laws[number - window.first] = other
            one = _least_squares(replace(was, laws=tuple(laws)), here, window.held)
            if here.weighed(one) < here.weighed(was) - 1e-3:
                cut = window.with_part(one)
    return cut


def _least_squares(
    cut: _CutStretches, samples: _TakenSamples, held: tuple[bool, bool]
) -> _CutStretches:
    """Damped least squares over times and places; stands keep one place.

    `held`: whether the beginning and the end stay where and when they are.
    """
    count = cut.times.size
    owner = np.zeros(count, dtype=np.int64)  # which free place each place is
    for number, law in enumerate(cut.laws):
        owner[number + 1] = owner[number] + (law is not None)
    values = np.concatenate([cut.times, cut.places[np.searchsorted(owner, range(owner[-1] + 1))]])
    steps = np.where(np.arange(values.size) < count, 1e-4, 1e-3)
    still = [n for n, holds in ((0, held[0]), (count - 1, held[1])) if holds]
    still += [count + int(owner[n]) for n in still]
    free = np.setdiff1d(np.arange(values.size), still)

    earliest = cut.times[0] if held[0] else samples.when[0]
    latest = cut.times[-1] if held[1] else samples.when[-1]

    def made(values: Array) -> _CutStretches:
        times = np.clip(np.maximum.accumulate(values[:count]), earliest, latest)
        return _CutStretches(times, values[count:][owner], cut.laws)

    def misses(values: Array) -> Array:
        return made(values).at(samples.when) - samples.where

    now, damping = misses(values), 1e-3
    for _ in range(25):
        slopes = np.zeros((free.size, now.size))
        for row, at in enumerate(free):
            beside = values.copy()
            beside[at] += steps[at]
            slopes[row] = (misses(beside) - now) / steps[at]
        square = slopes @ slopes.T
        scale = np.diag(square).copy()
        scale[scale <= 0.0] = 1.0
        then_values = values.copy()
        then_values[free] -= np.linalg.solve(square + damping * np.diag(scale), slopes @ now)
        then = misses(then_values)
        if not then @ then < now @ now:
            damping *= 8.0
            if damping > 1e6:
                break
            continue
        gain = 1.0 - (then @ then) / (now @ now)
        values, now = then_values, then
        damping = max(damping / 5.0, _LEAST_DAMPING)
        if gain < 1e-3:
            break
    return made(values)


# -- as people write it ----------------------------------------------------------------------------


def _rounded(cut: _CutStretches, samples: _TakenSamples) -> FittedMotion | None:
    """With round times and places, the coarsest that stay within the tolerance; None: none do."""
    cut = _without_ends(cut)
    bound = min(1.0, samples.worst(cut) + _COARSER)
    for time_step, place_step in _ROUNDINGS:
        start = cut.times[0]
        times = start + time_step * np.round((cut.times - start) / time_step)
        places = np.round(np.round(cut.places / place_step) * place_step, 6) + 0.0
        least = SHORTEST_S * np.arange(times.size)
        times = np.maximum.accumulate(times - least) + least
        made = _CutStretches(times, places, cut.laws)
        misses = samples.misses(made)
        worst = int(misses.argmax())
        if misses[worst] <= (1.0 if place_step == _ROUNDINGS[-1][1] else bound):
            return _motion(
                made, float(misses[worst]) * samples.tolerance, float(samples.when[worst])
            )
    return None


def _without_ends(cut: _CutStretches) -> _CutStretches:
    """Without standing at the beginning and the end."""
    laws = list(cut.laws)
    first = next((n for n, law in enumerate(laws) if law is not None), len(laws))
    last = len(laws) - next((n for n, law in enumerate(laws[::-1]) if law is not None), 0)
    last = max(first, last)
    keep: Sequence[int] = range(first, last + 1)
    return _CutStretches(cut.times[list(keep)], cut.places[list(keep)], tuple(laws[first:last]))


def _motion(cut: _CutStretches, worst: float, worst_s: float) -> FittedMotion:
    durations = np.round(1000.0 * np.diff(cut.times)).astype(int).tolist()
    stretches = tuple(
        FittedStep(float(place), int(ms), law)
        for place, ms, law in zip(cut.places[1:], durations, cut.laws, strict=True)
    )
    return FittedMotion(float(cut.places[0]), float(cut.times[0]), stretches, worst, worst_s)
