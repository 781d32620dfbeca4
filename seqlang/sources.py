"""Where a channel or a sensor is put, as people write it: `stick 1700 us`, `voice 40 %`.

In a rehearsal a time stands behind it (`seqlang.presses`); beside virtual boards it is typed.
"""

from __future__ import annotations

import re
from typing import Final

from seqlang.text.names import nearest
from seqlang.text.units import NUMBER, PERCENT, TIME, parse_quantity
from sim.model import Channel, Sensor, Show
from sim.rulebook import CHANNEL_RANGE_US

NOTHING: Final = "none"
"""A channel that gives no pulses: the sender is off, or out of reach."""


def sources(show: Show) -> dict[str, Channel | Sensor]:
    """The channels and sensors of a show by name."""
    found: list[Channel | Sensor] = [*show.rig.channels, *show.rig.sensors]
    return {one.name: one for one in found}


def names_source(text: str, show: Show) -> bool:
    """Whether a line begins with the name of a channel or a sensor."""
    return text.strip().partition(" ")[0] in sources(show)


def parse_setting(text: str, show: Show) -> tuple[str, float | None]:
    """The source that is put somewhere, and where: a channel's pulse in us (None: none), a sensor's
    share.

    A number without a unit is in us and in percent. Raises ValueError, which says what would do.
    """
    name, *rest = text.split(maxsplit=1)
    written = rest[0].strip() if rest else ""
    found = sources(show).get(name)
    if found is None:
        raise ValueError(_unknown(name, show))
    if isinstance(found, Sensor):
        return name, share(written, f"of sensor `{name}`")
    return name, None if written == NOTHING else pulse_us(written, f"of channel `{name}`", name)


def written_setting(show: Show, name: str, value: float | None) -> str:
    """The same in words, without the name."""
    if value is None:
        return NOTHING
    if isinstance(sources(show).get(name), Sensor):
        return f"{100 * value:g} %"
    return f"{value:g} us"


def _unknown(name: str, show: Show) -> str:
    known = list(sources(show))
    near = nearest(name, known)
    has = f"the show has {', '.join(known)}" if known else "the show has none"
    return f"there is no channel or sensor `{name}`; " + (
        f"did you mean `{near}`?" if near else has
    )


def pulse_us(written: str, of: str, order: str) -> float:
    """A channel's pulse. `of`: which, in words; `order`: what is typed before it.

    Raises ValueError, which says what would do.
    """
    low, high = CHANNEL_RANGE_US
    would = f"write {low} us to {high} us, or `{order} {NOTHING}`"
    written = _with_a_point(written)
    if not written:
        raise ValueError(f"the pulse {of} is missing; {would}")
    no_pulse = f"`{written}` is not a pulse {of}; {would}"
    try:
        value, dimension = parse_quantity(written)
    except (KeyError, ValueError, ZeroDivisionError):
        raise ValueError(no_pulse) from None
    us = float(value if dimension == NUMBER else value * 10**6)
    if dimension not in (NUMBER, TIME) or not low <= us <= high:
        raise ValueError(no_pulse)
    return us


def _with_a_point(written: str) -> str:
    """A number with the decimal comma that a hand may type."""
    return re.sub(r"^(-?[0-9]+),([0-9]+)", r"\1.\2", written)


def share(written: str, of: str) -> float:
    """What a sensor gives, of its chip's supply. Raises ValueError, which says what would do."""
    would = "write 0 % to 100 % of the chip's supply"
    written = _with_a_point(written)
    if not written:
        raise ValueError(f"the place {of} is missing; {would}")
    no_place = f"`{written}` is not a place {of}; {would}"
    try:
        value, dimension = parse_quantity(written)
    except (KeyError, ValueError, ZeroDivisionError):
        raise ValueError(no_place) from None
    if dimension not in (NUMBER, PERCENT) or not 0 <= value <= 100:
        raise ValueError(no_place)
    return float(value / 100)
