"""Ratings that cannot be: what a brushed motor can do at most with the current it draws.

On the straight line a motor's stall torque times its no-load speed, Ts w0, is what it would do
without losses. From the electric side: torque is k (I - I0), the motor's own voltage k w is
V - I R, and V = Is R at a stall. So k w0 = V (1 - I0 / Is) and Ts = k (Is - I0), and

    Ts w0 = V Is (1 - I0 / Is)**2 .

Gears only take from that. A sheet that prints more has a stall current that is too low, or a torque
or a speed that is too high (MIT, Understanding D.C. Motor Characteristics, for the line; the rest
is algebra).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians, sqrt
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from sim.model import Rating

SOUND: Final = 0.5
"""Ts w0 / (V Is) of hobby servos whose sheets are sound, at the most (eight sheets, 0.29 to 0.50,
read)."""


@dataclass(frozen=True, slots=True)
class Claim:
    """Ts w0 / (V Is) of a rating, and the most it can be with the stated no-load current.

    Without one the motor is taken to run free without any: the most is then 1.
    """

    claimed: float
    most: float

    @property
    def can_be(self) -> bool:
        return self.claimed <= self.most * (1.0 + 1e-9)


def claim(rating: Rating) -> Claim:
    """What a rating claims of its motor; see the module's head."""
    power = rating.stall_nm * radians(rating.speed_deg_s)
    free = 0.0 if rating.no_load_a is None else min(rating.no_load_a / rating.stall_a, 1.0)
    return Claim(power / (rating.voltage_v * rating.stall_a), (1.0 - free) ** 2)


def sound_stall_a(rating: Rating) -> float:
    """The stall current (A) that a sound sheet would print beside that torque and speed.

    With a stated no-load current I0 it is also one that can be: with a = Ts w0 / V, the greater
    root of (Is - I0)**2 = a Is.
    """
    a = rating.stall_nm * radians(rating.speed_deg_s) / rating.voltage_v
    free = rating.no_load_a or 0.0
    return max(a / SOUND, free + a / 2.0 + sqrt(a * free + a * a / 4.0))
