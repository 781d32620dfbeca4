"""Quantities with units, converted exactly.

Numbers are fractions until the very end, so that a conversion is right to the last bit of the
float it ends in. The only constant that is not a ratio of whole numbers is pi, taken to 60 digits.

Sources: SI brochure, 9th edition (prefixes, units); NIST SP 811, appendix B.8 (standard gravity
9.80665 m/s2, inch 25.4 mm, avoirdupois ounce 28.349523125 g: all exact by definition).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Final, NamedTuple, TypeAlias

Dimension: TypeAlias = tuple[int, int, int, int, int, int, int, int]
"""Powers of degree, second, metre, kilogram, ampere, percent, Celsius and wire gauge."""

PI: Final = Fraction(3141592653589793238462643383279502884197169399375105820974944, 10**60)
_RAD: Final = 180 / PI
_GRAVITY: Final = Fraction(980665, 100000)
_INCH: Final = Fraction(254, 10000)
_OUNCE: Final = Fraction(28349523125, 10**12)


class Quantity(NamedTuple):
    """A value in the coherent unit of its dimension: deg, s, m, kg, A and their products."""

    value: Fraction
    dimension: Dimension


def _dimension(
    deg: int = 0,
    s: int = 0,
    m: int = 0,
    kg: int = 0,
    a: int = 0,
    percent: int = 0,
    celsius: int = 0,
    gauge: int = 0,
) -> Dimension:
    return (deg, s, m, kg, a, percent, celsius, gauge)


NUMBER: Final = _dimension()
ANGLE: Final = _dimension(deg=1)
TIME: Final = _dimension(s=1)
SPEED: Final = _dimension(deg=1, s=-1)
ACCELERATION: Final = _dimension(deg=1, s=-2)
JERK: Final = _dimension(deg=1, s=-3)
LENGTH: Final = _dimension(m=1)
WAY_SPEED: Final = _dimension(m=1, s=-1)
MASS: Final = _dimension(kg=1)
FORCE: Final = _dimension(m=1, kg=1, s=-2)
TORQUE: Final = _dimension(m=2, kg=1, s=-2)
RATE: Final = _dimension(m=2, kg=1, s=-2, deg=-1)
INERTIA: Final = _dimension(m=2, kg=1)
CURRENT: Final = _dimension(a=1)
CHARGE: Final = _dimension(a=1, s=1)
STIFFNESS: Final = _dimension(kg=1, s=-2)
WAY_ACCELERATION: Final = _dimension(m=1, s=-2)
WAY_JERK: Final = _dimension(m=1, s=-3)
VOLTAGE: Final = _dimension(m=2, kg=1, s=-3, a=-1)
RESISTANCE: Final = _dimension(m=2, kg=1, s=-3, a=-2)
SYMBOL_RATE: Final = _dimension(s=-1)
PERCENT: Final = _dimension(percent=1)
TEMPERATURE: Final = _dimension(celsius=1)
GAUGE: Final = _dimension(gauge=1)
AREA: Final = _dimension(m=2)

_MILLI: Final = Fraction(1, 1000)

UNITS: Final[dict[str, tuple[Fraction, Dimension]]] = {
    "deg": (Fraction(1), ANGLE),
    "rad": (_RAD, ANGLE),
    "us": (Fraction(1, 10**6), TIME),
    "ms": (_MILLI, TIME),
    "s": (Fraction(1), TIME),
    "min": (Fraction(60), TIME),
    "h": (Fraction(3600), TIME),
    "deg/s": (Fraction(1), SPEED),
    "rad/s": (_RAD, SPEED),
    "rpm": (Fraction(6), SPEED),
    "s/60deg": (Fraction(60), SPEED),
    "deg/s2": (Fraction(1), ACCELERATION),
    "rad/s2": (_RAD, ACCELERATION),
    "rpm/s": (Fraction(6), ACCELERATION),
    "deg/s3": (Fraction(1), JERK),
    "rad/s3": (_RAD, JERK),
    "mm": (_MILLI, LENGTH),
    "cm": (Fraction(1, 100), LENGTH),
    "m": (Fraction(1), LENGTH),
    "in": (_INCH, LENGTH),
    "inch": (_INCH, LENGTH),
    "mm/s": (_MILLI, WAY_SPEED),
    "m/s": (Fraction(1), WAY_SPEED),
    "km/h": (Fraction(10, 36), WAY_SPEED),
    "g": (_MILLI, MASS),
    "kg": (Fraction(1), MASS),
    "oz": (_OUNCE, MASS),
    "N": (Fraction(1), FORCE),
    "mN": (_MILLI, FORCE),
    "kgf": (_GRAVITY, FORCE),
    "gf": (_GRAVITY / 1000, FORCE),
    "mN.m": (_MILLI, TORQUE),
    "N.mm": (_MILLI, TORQUE),
    "N.cm": (Fraction(1, 100), TORQUE),
    "N.m": (Fraction(1), TORQUE),
    "kgf.cm": (_GRAVITY / 100, TORQUE),
    "ozf.in": (_OUNCE * _GRAVITY * _INCH, TORQUE),
    "mm/s2": (_MILLI, WAY_ACCELERATION),
    "m/s2": (Fraction(1), WAY_ACCELERATION),
    "mm/s3": (_MILLI, WAY_JERK),
    "N/mm": (Fraction(1000), STIFFNESS),
    "N/m": (Fraction(1), STIFFNESS),
    "mN.m/deg": (_MILLI, RATE),
    "N.mm/deg": (_MILLI, RATE),
    "N.m/deg": (Fraction(1), RATE),
    "mN.m/rad": (_MILLI / _RAD, RATE),
    "N.mm/rad": (_MILLI / _RAD, RATE),
    "N.m/rad": (1 / _RAD, RATE),
    "g.cm2": (Fraction(1, 10**7), INERTIA),
    "kg.m2": (Fraction(1), INERTIA),
    "mA": (_MILLI, CURRENT),
    "A": (Fraction(1), CURRENT),
    "mAh": (Fraction(36, 10), CHARGE),
    "Ah": (Fraction(3600), CHARGE),
    "mV": (_MILLI, VOLTAGE),
    "V": (Fraction(1), VOLTAGE),
    "mohm": (_MILLI, RESISTANCE),
    "ohm": (Fraction(1), RESISTANCE),
    "kohm": (Fraction(1000), RESISTANCE),
    "%": (Fraction(1), PERCENT),
    "C": (Fraction(1), TEMPERATURE),
    "AWG": (Fraction(1), GAUGE),
    "mm2": (Fraction(1, 10**6), AREA),
    "baud": (Fraction(1), SYMBOL_RATE),
    "kbaud": (Fraction(1000), SYMBOL_RATE),
}
"""Every unit by its spelling: its size in the coherent unit, and its dimension."""

INVERSE: Final = frozenset({"s/60deg"})
"""Units that say how long a way takes: the number stands under the line."""


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """What a place in the language is written in and what the model keeps."""

    title: str
    """With its article: `an angle`."""
    dimension: Dimension
    scale: Fraction
    """Model value of one coherent unit."""
    unit: str
    """The unit that a hint suggests."""
    model_unit: str = ""
    """The unit of the model value."""


DURATION: Final = Measure("a time", TIME, Fraction(1000), "ms", "ms")
PULSE: Final = Measure("a pulse width", TIME, Fraction(10**6), "us", "us")
SECONDS: Final = Measure("a time", TIME, Fraction(1), "s", "s")
RUN_TIME: Final = Measure("a time", TIME, Fraction(1, 3600), "h", "h")
DEGREES: Final = Measure("an angle", ANGLE, Fraction(1), "deg", "deg")
TURN_SPEED: Final = Measure("a speed", SPEED, Fraction(1), "deg/s", "deg/s")
TURN_ACCELERATION: Final = Measure("an acceleration", ACCELERATION, Fraction(1), "deg/s2", "deg/s2")
TURN_JERK: Final = Measure("a jerk", JERK, Fraction(1), "deg/s3", "deg/s3")
METRES: Final = Measure("a length", LENGTH, Fraction(1), "mm", "m")
METRES_A_SECOND: Final = Measure("a speed", WAY_SPEED, Fraction(1), "m/s", "m/s")
KILOGRAMS: Final = Measure("a mass", MASS, Fraction(1), "g", "kg")
NEWTONS: Final = Measure("a force", FORCE, Fraction(1), "N", "N")
NEWTON_METRES: Final = Measure("a torque", TORQUE, Fraction(1), "kgf.cm", "N.m")
SPRING_RATE: Final = Measure("a spring rate", RATE, _RAD, "mN.m/deg", "N.m/rad")
INERTIAS: Final = Measure("an inertia", INERTIA, Fraction(1), "g.cm2", "kg.m2")
AMPERES: Final = Measure("a current", CURRENT, Fraction(1), "A", "A")
AMPERE_HOURS: Final = Measure("a capacity", CHARGE, Fraction(1, 3600), "mAh", "Ah")
VOLTS: Final = Measure("a voltage", VOLTAGE, Fraction(1), "V", "V")
OHMS: Final = Measure("a resistance", RESISTANCE, Fraction(1), "mohm", "ohm")
LEVEL: Final = Measure("a share", PERCENT, Fraction(1), "%", "%")
SHARE: Final = Measure("a share", PERCENT, Fraction(1, 100), "%", "")
CELSIUS: Final = Measure("a temperature", TEMPERATURE, Fraction(1), "C", "C")
AWG: Final = Measure("a wire gauge", GAUGE, Fraction(1), "AWG", "AWG")
SQUARE_MM: Final = Measure("a section", AREA, Fraction(10**6), "mm2", "mm2")
BAUDS: Final = Measure("a rate of a line", SYMBOL_RATE, Fraction(1), "baud", "baud")
PLAIN: Final = Measure("a plain number", NUMBER, Fraction(1), "")

PINION: Final = _RAD / 1000
"""Metres of a pinion's radius that turns 1 deg on 1 mm: how `sim.rig.slide` tells of lines."""


class PartMeasures(NamedTuple):
    """The measures of a part or a servo.

    Of one that turns, of one that moves along a line, or of one that turns round and round: its
    place is a speed, and so on (`sim.rig.spin`).
    """

    place: Measure
    speed: Measure
    acceleration: Measure
    jerk: Measure
    effort: Measure
    rate: Measure
    rotor: Measure


TURNING: Final = PartMeasures(
    *(DEGREES, TURN_SPEED, TURN_ACCELERATION, TURN_JERK, NEWTON_METRES, SPRING_RATE, INERTIAS)
)
SLIDING: Final = PartMeasures(
    Measure("a place on a line", LENGTH, Fraction(1000), "mm", "mm"),
    Measure("a speed", WAY_SPEED, Fraction(1000), "mm/s", "mm/s"),
    Measure("an acceleration", WAY_ACCELERATION, Fraction(1000), "mm/s2", "mm/s2"),
    Measure("a jerk", WAY_JERK, Fraction(1000), "mm/s3", "mm/s3"),
    Measure("a force", FORCE, PINION, "N", "N"),
    Measure("a spring rate", STIFFNESS, PINION**2, "N/mm", "N/mm"),
    Measure("a mass", MASS, PINION**2, "g", "g"),
)

_ROUND: Final = Fraction(1, 6)
"""Turns a minute of one deg/s."""

SPINNING: Final = PartMeasures(
    Measure("a speed of turning", SPEED, _ROUND, "rpm", "rpm"),
    Measure("a rise of speed", ACCELERATION, _ROUND, "rpm/s", "rpm/s"),
    Measure("a change of that rise", JERK, _ROUND, "deg/s3", "rpm/s2"),
    *(TURN_JERK, NEWTON_METRES, SPRING_RATE, INERTIAS),
)

_MEASURES: Final = (
    *(DURATION, DEGREES, TURN_SPEED, TURN_ACCELERATION, TURN_JERK, METRES, KILOGRAMS),
    *(NEWTON_METRES, SPRING_RATE, INERTIAS, AMPERES, AMPERE_HOURS, VOLTS, OHMS, LEVEL),
    *(CELSIUS, AWG, SQUARE_MM, PLAIN, METRES_A_SECOND, NEWTONS),
    *(SLIDING.acceleration, SLIDING.jerk, SLIDING.rate, BAUDS),
)

_QUANTITY: Final = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?) *(\S*)")


@lru_cache(maxsize=4096)
def parse_quantity(text: str) -> Quantity:
    """The quantity that `text` (a number, maybe with a unit) writes.

    Raises ZeroDivisionError for zero seconds per 60 deg, KeyError for an unknown unit and
    ValueError for text that is not a quantity at all.
    """
    found = _QUANTITY.fullmatch(text)
    if found is None:
        raise ValueError(f"`{text}` is not a quantity")
    number, unit = Fraction(found[1]), found[2]
    if not unit:
        return Quantity(number, NUMBER)
    size, dimension = UNITS[unit]
    return Quantity(size / number if unit in INVERSE else number * size, dimension)


def multiplied(a: Quantity, b: Quantity, power: int = 1) -> Quantity:
    """`a * b`, or `a / b` for power -1 (ZeroDivisionError).

    A percentage of something is a share of it: `2 s * 50 %` is a second.
    """
    value = a.value * b.value if power > 0 else a.value / b.value
    left, right = a.dimension, b.dimension
    dimension = _dimension(*(p + power * q for p, q in zip(left, right, strict=True)))
    percents = dimension[5]
    if dimension != PERCENT:
        spare = min(percents, 1)  # 2, of a percentage of a percentage, leaves a percentage
        value /= Fraction(100) ** spare
        dimension = (*dimension[:5], percents - spare, *dimension[6:])
    return Quantity(value, dimension)


def units_of(dimension: Dimension) -> tuple[str, ...]:
    """Spellings of all units of a dimension, the handy ones first."""
    return tuple(unit for unit, (_, of) in UNITS.items() if of == dimension)


def measure_of(dimension: Dimension) -> Measure:
    """A measure for amounts of a dimension that no place in the language is known for."""
    for measure in _MEASURES:
        if measure.dimension == dimension:
            return measure
    return Measure(title_of(dimension), dimension, Fraction(1), "")


def title_of(dimension: Dimension) -> str:
    """What a dimension is called, with its article."""
    for measure in _MEASURES:
        if measure.dimension == dimension:
            return measure.title
    return "a mixture of units"
