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

from math import sqrt
from typing import Final, NamedTuple

from sim.rulebook import FRAME_MS

ANTICIPATION: Final = 0.10
"""Share of the way by which a move draws back, where none is written."""

OVERSHOOT: Final = 0.05
"""Share of the way by which a move goes too far, where none is written."""

MOST: Final = 0.5
"""Own limit: more is a move of its own."""

BREATH_MS: Final = 4000
IN_SHARE: Final = 1.0 / 3.0
"""Of a breath: the part comes back to the pose in the rest of it."""


class SwingMove(NamedTuple):
    """One plain move: where to, and over how long."""

    to_deg: float
    duration_ms: int


def pieces(
    from_deg: float, to_deg: float, duration_ms: int, back: float, beyond: float
) -> tuple[SwingMove, ...]:
    """The moves that make up one with `back` and `beyond`, shares of its way.

    Their times add up to `duration_ms`. Raises ValueError where one would be shorter than a frame.
    """
    way = to_deg - from_deg
    if way == 0.0 or not (back or beyond):
        return (SwingMove(to_deg, duration_ms),)
    low, high = round(from_deg - back * way, 2), round(to_deg + beyond * way, 2)
    targets = [*([low] if back else []), high, *([to_deg] if beyond else [])]
    ways = [abs(b - a) for a, b in zip([from_deg, *targets], targets, strict=False)]
    whole = sum(map(sqrt, ways))
    times = [round(duration_ms * sqrt(one) / whole) for one in ways]
    middle = 1 if back else 0
    times[middle] += duration_ms - sum(times)
    if min(times) < FRAME_MS:
        raise ValueError(f"{min(times)} ms is shorter than a frame")
    return tuple(SwingMove(*one) for one in zip(targets, times, strict=True))


def least_ms(from_deg: float, to_deg: float, back: float, beyond: float) -> int:
    """The shortest duration that `pieces` takes."""
    duration = FRAME_MS
    while True:
        try:
            pieces(from_deg, to_deg, duration, back, beyond)
        except ValueError:
            duration += FRAME_MS
        else:
            return duration


def breaths(hold_ms: int, period_ms: int) -> tuple[int, int, int]:
    """How many whole breaths a hold takes that come nearest to the period; ms in, and ms out."""
    count = max(1, round(hold_ms / period_ms))
    each = hold_ms // count
    into = round(each * IN_SHARE)
    return count, into, each - into
