"""Times of moves `as fast as it can` that also pass beside the other parts of their show.

The shortest time of a move hangs on the voltage that arrives, that on what the other parts ask at
their hardest, and that on how fast they are. So the show is made a few times. First with times of
servos that move alone: no time that passes is shorter, so the others can never take more voltage
than they do then. With the times that pass at that least voltage all moves pass. They may be longer
than they need to be, because the others are slower now: the voltage is raised from there, as far as
all moves go on passing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final, TypeAlias, TypeVar

from sim.model import Law, Servo, Show
from sim.rig.supply import FallingVoltage

if TYPE_CHECKING:
    from collections.abc import Iterable

Searched: TypeAlias = tuple[str, float, float, Law]
"""A servo's name, where it comes from and goes to (deg), and how."""

Fastest: TypeAlias = Mapping[Searched, int]
"""The shortest durations (ms) that were taken in a show."""

Beside: TypeAlias = Mapping[str, FallingVoltage]
"""By servo, what arrives while all the others are at their hardest."""

Made = TypeVar("Made")

TRIES: Final = 5
"""The show is made at most so many times more to raise the voltage: to 1/32 of the way."""


def in_company(
    make: Callable[[Beside], tuple[Made, Show, Fastest]], alone: tuple[Made, Show, Fastest]
) -> Made:
    """What `make` makes with the shortest times found that pass beside all other parts.

    `alone`: the same with times of servos that move alone.
    """
    made, show, fastest = alone
    least = _beside(show, fastest)
    if _pass(show, fastest, least):
        return made
    best, show, fastest = make(least)
    most = _beside(show, fastest)
    low, high, part = 0.0, 1.0, 1.0
    for _ in range(TRIES):
        tried, show, fastest = make(_between(least, most, part))
        if _pass(show, fastest, _beside(show, fastest)):
            best, low = tried, part
        else:
            high = part
        if low == high:
            break
        part = (low + high) / 2.0
    return best


def _between(least: Beside, most: Beside, part: float) -> Beside:
    return {
        name: FallingVoltage(
            low.torque_nm, low.voltage_v + part * (most[name].voltage_v - low.voltage_v)
        )
        if name in most
        else low
        for name, low in least.items()
    }


def _beside(show: Show, fastest: Iterable[Searched]) -> Beside:
    from sim.strain.hardest_torque import hardest_torques
    from sim.strain.sag import beside_others
    from sim.strain.soundness import sound_moves, sound_show

    sound = sound_show(show)
    hardest = hardest_torques(sound, sound_moves(show), {})
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
