"""The shortest duration of a move that the servo can really do.

Gravity and springs do not fade with a longer duration, so a move whose slow passage already
breaks the margin is impossible. Otherwise some duration passes, and the one returned is the
least from which on every longer one passes too: the board may stretch a move, and a move that
only passes because its deceleration happens to cancel the weight must not be broken by that.

The full model (`sim.strain.envelope`) is asked for all of a geometric row of durations at once,
the last failing one is closed in on by sections, to the millisecond. A failing stretch between two
neighbours of the row, 1.5 % apart, can be missed only if it breaks the margin by under 1e-4.
"""

from __future__ import annotations

from math import log2
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from sim.arrays import Array
from sim.model import Law, Rig, Servo
from sim.rig.drive import horn
from sim.rig.servo import line
from sim.rig.slide import of_horn, of_part
from sim.rig.supply import FallingVoltage, highest_v
from sim.strain.envelope import TOLERANCE, assess, operate

STEPS_AN_OCTAVE: Final = 46
"""The row's durations are 1.5 % apart."""

LONGEST_MS: Final = 60_000
"""No move is sought longer than a minute (own limit)."""


OneFeed: TypeAlias = "float | FallingVoltage | None"
"""What arrives at the board of one servo; see `sim.strain.envelope.Feed`."""


STARVED: Final = (
    "its supply cannot give what servos take as soon as they move, so nothing arrives at it"
)
FEED_MORE: Final = "use a stronger supply, or a supply of its own for the board"


class Impossible(Exception):  # noqa: N818 (reads as what it is where it is raised)
    """No duration passes. `reason` says why, in plain words with numbers and limits, `remedy` what
    helps."""

    def __init__(
        self, reason: str, remedy: str = "take a lighter part, a stronger servo or a gear"
    ) -> None:
        super().__init__(reason)
        self.reason = reason
        self.remedy = remedy


def shortest_duration_ms(
    rig: Rig,
    one: Servo,
    from_deg: float,
    to_deg: float,
    law: Law,
    voltage_v: OneFeed = None,
) -> int:
    """The least whole milliseconds in which the servo can make the move, with the rig's margin.

    `voltage_v`: what arrives at the board. 1 for a move of no length. Raises `Impossible`.
    """
    _reject_impossible(rig, one, from_deg, to_deg, voltage_v)
    if from_deg == to_deg:
        return 1
    low, high = _too_fast_ms(rig, one, from_deg, to_deg, voltage_v), LONGEST_MS
    count = 2 + round(STEPS_AN_OCTAVE * log2(LONGEST_MS / (low + 1)))
    row = _whole_ms(np.round(np.geomspace(low + 1, LONGEST_MS, count)))
    while True:
        fails = ~assess(rig, one, from_deg, to_deg, row, law, voltage_v).passes
        failing = row[fails]
        if failing.size:
            low = max(low, int(failing[-1]))
        later = row[row > low]
        if later.size:
            high = min(high, int(later[0]))
        if low >= LONGEST_MS:
            raise Impossible(f"even {LONGEST_MS / 1000:g} s is too short for the servo")
        if high - low <= 1:
            return high
        row = _whole_ms(np.linspace(low, high, min(34, high - low + 1)))


def _whole_ms(row_ms: Array) -> NDArray[np.int_]:
    return np.array(sorted(set(row_ms.astype(int).tolist())))


def _too_fast_ms(rig: Rig, one: Servo, from_deg: float, to_deg: float, voltage_v: OneFeed) -> int:
    """Whole milliseconds that fail for certain: on average the horn would outrun its no-load speed.

    Some instant is at least as fast as the average, and no line reaches over its no-load speed.
    Places out of the drive's reach and feeds without any voltage are rejected before.
    """
    if one.load.spins:  # no way is turned; `_reject_impossible` has looked at the speeds
        return 0
    way = abs(float(np.diff(horn(one, [from_deg, to_deg]).angle_deg)[0]))
    if voltage_v is None or isinstance(voltage_v, FallingVoltage):
        volts = highest_v(rig, one.board)
    else:
        volts = voltage_v
    fastest = float(line(one, volts).speed_deg_s)
    return min(int(1000.0 * way / fastest * (1.0 - TOLERANCE)), LONGEST_MS - 1)


def _reject_impossible(
    rig: Rig, one: Servo, from_deg: float, to_deg: float, voltage_v: OneFeed
) -> None:
    """Raise `Impossible` if even an endlessly slow move, either way, breaks the margin."""
    angles = np.linspace(from_deg, to_deg, 181)
    creep = np.copysign(1e-9, to_deg - from_deg)
    slow = operate(rig, one, angles, creep, 0.0, voltage_v)
    worst = int(np.argmax(slow.share))
    share, limit = float(slow.share[worst]), 1.0 - rig.wearer.margin
    part, told = of_part(one), of_horn(one)
    where = f"at {angles[worst]:g} {part.place}"
    if float(slow.voltage_v[worst]) <= 0.0:
        raise Impossible(STARVED, FEED_MORE)
    if not np.isfinite(share):
        raise Impossible(
            f"the drive cannot bring the part there: it locks or ends {where}",
            "stay off that place, or change the lengths of the levers",
        )
    if share > limit + TOLERANCE:
        needs = told.of_torque(abs(float(slow.torque_nm[worst])))
        has = told.of_torque(float(slow.allowed_nm[worst]))
        effort, kind = told.effort, "force" if one.linear else "torque"
        if one.load.spins:
            turns = told.of_speed(abs(float(slow.speed_deg_s[worst])))
            raise Impossible(
                f"turning {where} takes the horn to {turns:.1f} rpm with {needs:.3f} {effort}, and "
                f"there the servo has {has:.3f} {effort} with the margin",
                "turn it more slowly, or take a stronger servo or another gear",
            )
        raise Impossible(
            f"carrying the part slowly {where} needs {needs:.3f} {effort} of {kind} {told.where}, "
            f"and the servo has {has:.3f} {effort} with the margin"
        )
