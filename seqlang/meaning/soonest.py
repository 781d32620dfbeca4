"""Times of moves `as fast as it can` that also pass beside the other parts of their show.

The shortest time of a move hangs on the voltage that arrives, that on what the other parts ask at
their hardest, and that on how fast they are. So the show is made a few times. First with times of
servos that move alone: no time that passes is shorter, so the others can never take more voltage
than they do then. With the times that pass at that least voltage all moves pass. They may be longer
than they need to be, because the others are slower now: the voltage is raised from there, as far as
all moves go on passing.

Where the supply cannot give what such moves take together, they are slowed down until it can: they
are made as of servos at ever lower voltages. If no such time helps, a check of supplies says so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final, TypeAlias, TypeVar

import numpy as np

from sim.model import Law, Servo, Show
from sim.rig.supply import FallingVoltage

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sim.strain.hardest_torque import Hardest

Searched: TypeAlias = tuple[str, float, float, Law]
"""A servo's name, where it comes from and goes to (deg), and how."""

Fastest: TypeAlias = Mapping[Searched, int]
"""The shortest durations (ms) that were taken in a show."""

Beside: TypeAlias = Mapping[str, FallingVoltage]
"""By servo, what arrives while all the others are at their hardest."""

Asking: TypeAlias = "tuple[Show, Mapping[str, Hardest]]"
"""A show without servos that make no sense, and what it asks of the others at the hardest."""

Made = TypeVar("Made")

_SLOWER: Final = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2)
"""Shares of the rated voltage at which servos are slow enough for their supply, tried in turn."""

_NEARER: Final = 3
"""Times that the way between two of them is halved."""

TRIES: Final = 5
"""The show is made at most so many times more to raise the voltage: to 1/32 of the way."""


def in_company(
    make: Callable[[Beside], tuple[Made, Show, Fastest]], alone: tuple[Made, Show, Fastest]
) -> Made:
    """What `make` makes with the shortest times found that pass beside all other parts.

    `alone`: the same with times of servos that move alone.
    """
    made, show, fastest = alone
    asked = _asked(show)
    slowed = _slowed(make, show, fastest) if _overloads(asked) else None
    if slowed is not None:
        return slowed
    least = _beside(asked, fastest)
    if _pass(show, fastest, least):
        return made
    best, show, fastest = make(least)
    most = _beside(_asked(show), fastest)
    low, high, part = 0.0, 1.0, 1.0
    for _ in range(TRIES):
        tried, show, fastest = make(_between(least, most, part))
        if _pass(show, fastest, _beside(_asked(show), fastest)):
            best, low = tried, part
        else:
            high = part
        if low == high:
            break
        part = (low + high) / 2.0
    return best


def _slowed(
    make: Callable[[Beside], tuple[Made, Show, Fastest]], show: Show, fastest: Fastest
) -> Made | None:
    """What `make` makes with the quickest times whose currents the supplies can give, if any."""
    rated = {
        servo.name: max(rating.voltage_v for rating in servo.ratings)
        for servo in show.rig.outputs
        if isinstance(servo, Servo) and any(key[0] == servo.name for key in fastest)
    }

    def at(share: float) -> tuple[Made, bool]:
        volts = {
            name: FallingVoltage(np.array([0.0]), np.array([share * volts]))
            for name, volts in rated.items()
        }
        tried, slower, times = make(volts)
        asked = _asked(slower)
        return tried, not _overloads(asked) and _pass(slower, times, _beside(asked, times))

    too_quick = 1.0
    for share in _SLOWER:
        tried, fits = at(share)
        if not fits:
            too_quick = share
            continue
        for _ in range(_NEARER):
            middle = (share + too_quick) / 2.0
            quicker, fits = at(middle)
            if fits:
                tried, share = quicker, middle
            else:
                too_quick = middle
        return tried
    return None


def _overloads(asked: Asking) -> bool:
    """Whether a supply cannot give what the show may take, or leaves a chip too little."""
    from sim.rig.supply import at_chip_v
    from sim.strain.sag import sags_at

    show, hardest = asked
    boards = {board.name: board for board in show.rig.boards}
    return any(
        sag.collapsed
        or at_chip_v(show.rig, boards[sag.board], sag.voltage_v)
        < boards[sag.board].electrics.clock_v
        for sag in sags_at(show, hardest)
    )


def _between(least: Beside, most: Beside, part: float) -> Beside:
    return {
        name: FallingVoltage(
            low.torque_nm, low.voltage_v + part * (most[name].voltage_v - low.voltage_v)
        )
        if name in most
        else low
        for name, low in least.items()
    }


def _asked(show: Show) -> Asking:
    """What a show asks of its servos at the hardest."""
    from sim.strain.hardest_torque import hardest_torques
    from sim.strain.soundness import sound_moves, sound_show

    sound = sound_show(show)
    return sound, hardest_torques(sound, sound_moves(show), {})


def _beside(asked: Asking, fastest: Iterable[Searched]) -> Beside:
    from sim.strain.sag import beside_others

    sound, hardest = asked
    found = {
        name: beside_others(sound, hardest, name)
        for name in dict.fromkeys(searched[0] for searched in fastest)
        if name in hardest
    }
    return {name: volts for name, volts in found.items() if volts is not None}


def _pass(show: Show, fastest: Fastest, beside: Beside) -> bool:
    from sim.strain.envelope import assess

    servos = {o.name: o for o in show.rig.outputs if isinstance(o, Servo)}
    for name, volts in beside.items():
        rows = [(*key[1:], ms) for key, ms in fastest.items() if key[0] == name]
        starts, ends, laws, lasts = zip(*rows, strict=True)
        if not assess(show.rig, servos[name], starts, ends, lasts, laws, volts).passes.all():
            return False
    return True
