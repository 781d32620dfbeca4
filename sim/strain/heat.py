"""Heat in servos: holding and RMS torque against what a hobby servo stands for long.

A motor's heat is the square of its current, its current follows its torque, so over minutes the RMS
torque counts. No maker states what a hobby servo stands continuously; common practice says a third
of its stall torque at most, and less in a closed case.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.model import Servo, Show, Wearer
from sim.rig.disturbance import settled
from sim.rig.holding_torque import holding_nm
from sim.score.tree import rest_angles
from sim.strain.usage import Book, Mix

CONTINUOUS: Final = 1.0 / 3.0
"""Share of stall torque that a hobby servo stands continuously (common practice, from memory: a
fifth to a third; no source)."""

WINDOW_S: Final = 600.0
"""The busiest ten minutes are judged: a small servo's case warms up in a few (common practice)."""

MOVING_DEG_S: Final = 1.0
"""A part slower than this counts as holding."""


@dataclass(frozen=True, slots=True)
class Heat:
    """One servo in the show's busiest ten minutes.

    `hold_share`: the hardest pose in which the show leaves the part, as a share of the stall torque
    at the lowest rating, and `hold_deg` that pose. `rms_share`: RMS torque over the ten minutes,
    likewise; `duty`: share of the time in motion. `limit`: what either may reach. Where the score
    states no mix, the cue that heats most runs over and over: `cue` names it.
    """

    servo: str
    hold_share: float
    hold_deg: float
    rms_share: float
    duty: float
    limit: float
    cue: str | None


@dataclass(frozen=True, slots=True)
class Hold:
    """A pose that a servo holds, and its torque there as a share of the stall torque."""

    share: float
    angle_deg: float


def hardest_hold(one: Servo, rest: tuple[float, ...], wearer: Wearer) -> Hold:
    """Of the poses in which a show leaves a rated servo, the hardest to hold for minutes.

    A pose that its linkage cannot hold counts as nothing: that it locks is another fault.
    """
    torques = np.nan_to_num(holding_nm(one, np.array(rest), settled(wearer)), posinf=0.0)
    hardest = int(np.argmax(torques))
    return Hold(float(torques[hardest]) / one.ratings[0].stall_nm, rest[hardest])


def heats(show: Show, book: Book | None = None) -> tuple[Heat, ...]:
    """The heat of every servo that carries a rating."""
    book = Book(show) if book is None else book
    rest = rest_angles(show)
    mix = book.mix(WINDOW_S)
    servos = (o for o in show.rig.outputs if isinstance(o, Servo) and o.ratings)
    return tuple(_heat(show, book, mix, one, rest.get(one.name, (one.safe_deg,))) for one in servos)


def _heat(show: Show, book: Book, mix: Mix, one: Servo, rest: tuple[float, ...]) -> Heat:
    stall = one.ratings[0].stall_nm
    hold = hardest_hold(one, rest, show.rig.wearer)
    squares = {name: _mean_square(book, name, one) for name in (*book.cues, None)}
    cue: str | None = None
    if mix.stated:
        square = sum(share.share * squares[share.cue] for share in mix.shares)
        duty = sum(share.share * _moving(book, share.cue, one) for share in mix.shares)
    else:
        cue = max(squares, key=lambda name: squares[name])
        square, duty = squares[cue], _moving(book, cue, one)
    return Heat(
        one.name,
        hold.share,
        hold.angle_deg,
        square**0.5 / stall,
        duty,
        CONTINUOUS,
        cue,
    )


def _mean_square(book: Book, cue: str | None, one: Servo) -> float:
    """Mean square horn torque (N2.m2) over one run of a cue, in the worst posture."""
    return float(np.mean(book[cue].settled.servos[one.name].torque_nm ** 2))


def _moving(book: Book, cue: str | None, one: Servo) -> float:
    speed = np.abs(book[cue].samples.servos[one.name].velocity_deg_s)
    return float(np.mean(speed > MOVING_DEG_S))
