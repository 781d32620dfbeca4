"""Animation practice as plain moves: drawing back before a move, going too far and settling, and
breathing in a pose.

A move starts and ends at rest, so drawing back and settling are moves of their own, and the board
needs nothing new. The time that is written is divided so that all of them reach the same peak
acceleration: a way h in a time T asks for Ca h / T**2, so the times go as the roots of the ways
(the definition of Ca; `sim.score.laws`).

How far, where nothing is written:

* drawing back: 10 % of the way, as far as the back ease of computer animation dips under its start
  (its constant 1.70158 from memory; the dip -4 s**3 / (27 (s + 1)**2) is worked out);
* going too far: 5 % of the way, as a second-order system of damping 0.69 does (Mp =
  exp(-pi z / sqrt(1 - z**2)), control textbooks, such as Ogata, Modern Control Engineering). The
  next swing would be 5 % of that, which nobody sees: one move settles it;
* breathing: one breath in 4 s, within the 12 to 20 a minute of an adult at rest, a third of it in
  and two thirds out (teaching texts of physiology).
"""

from __future__ import annotations

from itertools import pairwise
from math import ceil, sqrt
from typing import Final, NamedTuple

from sim.rulebook import ANGLE_STEP_DEG, FRAME_MS

ANTICIPATION: Final = 0.10
"""Share of the way by which a move draws back, where none is written."""

OVERSHOOT: Final = 0.05
"""Share of the way by which a move goes too far, where none is written."""

MOST: Final = 0.5
"""Own limit: more is a move of its own."""

BREATH_MS: Final = 4000
IN_SHARE: Final = 1.0 / 3.0
"""Of a breath: the part comes back to the pose in the rest of it."""

SHORTEST_BREATH_MS: Final = 3 * FRAME_MS
"""A frame in, two out."""

SHORTEST_BREATHING_MS: Final = 2 * SHORTEST_BREATH_MS
"""Whole breaths fill a hold, so one may take two thirds of the period that is asked for."""


class SwingMove(NamedTuple):
    """One plain move: where to, and over how long."""

    to_deg: float
    duration_ms: int


def pieces(
    from_deg: float, to_deg: float, duration_ms: int, back: float, beyond: float
) -> tuple[SwingMove, ...]:
    """The moves that make up one with `back` and `beyond`, shares of its way.

    Their times add up to `duration_ms`. What is less than the finest step of an angle is left out.
    Raises ValueError where one would be shorter than a frame.
    """
    targets = _targets(from_deg, to_deg, back, beyond)
    shares = _shares(from_deg, targets)
    times = [round(duration_ms * one) for one in shares]
    middle = shares.index(max(shares))
    times[middle] += duration_ms - sum(times)
    if min(times) < FRAME_MS and len(times) > 1:
        raise ValueError(f"{min(times)} ms is shorter than a frame")
    return tuple(SwingMove(*one) for one in zip(targets, times, strict=True))


def least_ms(from_deg: float, to_deg: float, back: float, beyond: float) -> int:
    """The shortest duration from which on `pieces` takes every one."""
    shortest = min(_shares(from_deg, _targets(from_deg, to_deg, back, beyond)))
    duration = ceil(FRAME_MS / shortest)
    while duration > FRAME_MS:
        try:
            pieces(from_deg, to_deg, duration - 1, back, beyond)
        except ValueError:
            break
        duration -= 1
    return duration


def _targets(from_deg: float, to_deg: float, back: float, beyond: float) -> list[float]:
    """Where the moves lead: back, beyond and home, as far as a step of an angle lets them."""
    way = to_deg - from_deg
    low, high = round(from_deg - back * way, 2), round(to_deg + beyond * way, 2)
    draws_back = abs(low - from_deg) > ANGLE_STEP_DEG / 2
    goes_beyond = abs(high - to_deg) > ANGLE_STEP_DEG / 2
    return [*([low] if draws_back else []), *([high] if goes_beyond else []), to_deg]


def _shares(from_deg: float, targets: list[float]) -> list[float]:
    """The shares of the time that let all moves reach the same peak acceleration."""
    if len(targets) == 1:
        return [1.0]
    ways = [abs(b - a) for a, b in pairwise([from_deg, *targets])]
    whole = sum(map(sqrt, ways))
    return [sqrt(one) / whole for one in ways]


def breaths(hold_ms: int, period_ms: int) -> tuple[int, int, int]:
    """How many whole breaths a hold takes that come nearest to the period; ms in, and ms out."""
    count = max(1, round(hold_ms / period_ms))
    each = hold_ms // count
    into = round(each * IN_SHARE)
    return count, into, each - into
