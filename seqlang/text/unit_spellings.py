"""Units as people write them: other spellings of ours, and units that the language does not have.

`spelt` tells which unit of the language a spelling means, `converted` what an amount in a foreign
unit comes to. Sources of the conversions: NIST SP 811 (2008), appendix B.8 (mile, knot, foot, yard,
pound, degree Fahrenheit, pound-force inch); SI brochure, 9th edition (hertz, prefixes).
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache
from typing import Final

from seqlang.text.units import UNITS

_ATOMS: Final[dict[str, str]] = {
    **dict.fromkeys(("sec", "secs", "second", "seconds", "sek"), "s"),
    **dict.fromkeys(("msec", "msecs", "millisecond", "milliseconds", "millis"), "ms"),
    **dict.fromkeys(("usec", "microsecond", "microseconds", "micros"), "us"),
    **dict.fromkeys(("minute", "minutes", "mins"), "min"),
    **dict.fromkeys(("hour", "hours", "hr", "hrs"), "h"),
    **dict.fromkeys(("degree", "degrees", "degs", "grad"), "deg"),
    **dict.fromkeys(("radian", "radians", "rads"), "rad"),
    **dict.fromkeys(("gram", "grams", "gramm", "gr"), "g"),
    **dict.fromkeys(("kilo", "kilos", "kgs", "kilogram", "kilograms"), "kg"),
    **dict.fromkeys(("ounce", "ounces", "ozs"), "oz"),
    **dict.fromkeys(("millimetre", "millimetres", "millimeter", "millimeters", "mms"), "mm"),
    **dict.fromkeys(("centimetre", "centimetres", "centimeter", "centimeters", "cms"), "cm"),
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("inches", "ins", "zoll"), "inch"),
    **dict.fromkeys(("newton", "newtons"), "N"),
    **dict.fromkeys(("kilopond", "kp"), "kgf"),
    **dict.fromkeys(("amp", "amps", "ampere", "amperes"), "A"),
    **dict.fromkeys(("milliamp", "milliamps", "milliampere", "milliamperes"), "mA"),
    **dict.fromkeys(("volt", "volts"), "V"),
    **dict.fromkeys(("millivolt", "millivolts"), "mV"),
    **dict.fromkeys(("ohms",), "ohm"),
    **dict.fromkeys(("kiloohm", "kiloohms", "kohms", "kilohm", "kilohms", "kr"), "kohm"),
    **dict.fromkeys(("milliohm", "milliohms", "mohms"), "mohm"),
    **dict.fromkeys(("percent", "pct", "percents", "procent", "prozent"), "%"),
    **dict.fromkeys(("celsius", "centigrade", "degc", "deg.c"), "C"),
    **dict.fromkeys(("gauge", "ga", "gage"), "AWG"),
    **dict.fromkeys(("sqmm", "mmsq", "qmm", "mm.mm"), "mm2"),
    **dict.fromkeys(("Bd", "bd", "bauds", "bps", "bit/s", "bits/s", "Baud", "baudrate"), "baud"),
    **dict.fromkeys(("kBd", "kbd", "kbps", "kbit/s"), "kbaud"),
}
"""One unit by itself, in small letters."""

_WHOLE: Final[dict[str, str]] = {
    **dict.fromkeys(("kg.cm", "kgcm", "kgfcm", "kg/cm", "kgf/cm", "kp.cm"), "kgf.cm"),
    **dict.fromkeys(("oz.in", "ozin", "oz/in", "ozf/in", "ozfin", "oz.inch", "ozf.inch"), "ozf.in"),
    **dict.fromkeys(("in.oz", "in.ozf", "inoz"), "ozf.in"),
    **dict.fromkeys(("nm", "n/m.m"), "N.m"),
    **dict.fromkeys(("ncm", "n/cm"), "N.cm"),
    "nmm": "N.mm",
    "mnm": "mN.m",
    "mnm/deg": "mN.m/deg",
    "nmm/deg": "N.mm/deg",
    "nm/deg": "N.m/deg",
    "nm/rad": "N.m/rad",
    **dict.fromkeys(("gcm2", "g/cm2"), "g.cm2"),
    "kgm2": "kg.m2",
    **dict.fromkeys(("s/60", "s/60.deg", "s/deg60"), "s/60deg"),
    "deg/s/s": "deg/s2",
    "rad/s/s": "rad/s2",
    "mm/s/s": "mm/s2",
    **dict.fromkeys(("dps", "deg.s"), "deg/s"),
    **dict.fromkeys(("mps", "m.s"), "m/s"),
    **dict.fromkeys(("kmh", "kph", "km.h", "kmph"), "km/h"),
    **dict.fromkeys(("u/min", "1/min", "r/min", "rev/min"), "rpm"),
    **dict.fromkeys(("a.h",), "Ah"),
    **dict.fromkeys(("ma.h",), "mAh"),
}
"""Units of several parts, in small letters, their parts joined by `.` and `/`."""

_SIGNS: Final = str.maketrans(
    {
        **dict.fromkeys("\u00b5\u03bc", "u"),
        **dict.fromkeys("\u03a9\u2126", "ohm"),
        **dict.fromkeys("\u00b0\u00ba\u02da", "deg"),
        "\u2103": "C",
        "\u00b2": "2",
        "\u00b3": "3",
        **dict.fromkeys("\u00b7\u22c5\u2219\u2022*\u00d7-", "."),
        "^": "",
    }
)

_FOREIGN: Final[dict[str, tuple[Fraction, str]]] = {
    **dict.fromkeys(("ft", "foot", "feet", "'", "\u2032"), (Fraction(3048, 10), "mm")),
    **dict.fromkeys(("yd", "yard", "yards"), (Fraction(9144, 10), "mm")),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), (Fraction(45359237, 100000), "g")),
    **dict.fromkeys(("mph",), (Fraction(1609344, 10**6), "km/h")),
    **dict.fromkeys(("kn", "knot", "knots", "kt", "kts"), (Fraction(1852, 1000), "km/h")),
    "cm/s": (Fraction(10), "mm/s"),
    "in/s": (Fraction(254, 10), "mm/s"),
    **dict.fromkeys(("cm/s2", "cm/s/s"), (Fraction(10), "mm/s2")),
    **dict.fromkeys(("kn.m",), (Fraction(1000), "N.m")),
    "mn.mm": (Fraction(1, 1000), "mN.m"),
    "gf.cm": (Fraction(1, 1000), "kgf.cm"),
    "g.cm": (Fraction(1, 1000), "kgf.cm"),
    "kgf.mm": (Fraction(1, 10), "kgf.cm"),
    "kg.mm": (Fraction(1, 10), "kgf.cm"),
    "kgf.m": (Fraction(100), "kgf.cm"),
    "kg.m": (Fraction(100), "kgf.cm"),
    "ua": (Fraction(1, 1000), "mA"),
    "km": (Fraction(1000), "m"),
    "dm": (Fraction(10), "cm"),
    "um": (Fraction(1, 1000), "mm"),
    "mg": (Fraction(1, 1000), "g"),
    **dict.fromkeys(("day", "days", "d"), (Fraction(24), "h")),
    **dict.fromkeys(("rev", "turn", "turns"), (Fraction(360), "deg")),
    **dict.fromkeys(("rps", "rev/s"), (Fraction(360), "deg/s")),
    **dict.fromkeys(
        ("lb.in", "lbf.in", "in.lb", "in.lbf"), (Fraction(1129848290276167, 10**16), "N.m")
    ),
    "k.ohm": (Fraction(1), "kohm"),
}
"""Units that the language does not have: how much of which of ours one of them is."""

_INSTEAD: Final[dict[str, str]] = {
    **dict.fromkeys(("w", "watt", "watts", "mw"), "write the current: watts divided by volts"),
    **dict.fromkeys(("wh", "mwh"), "write the capacity in `mAh`: watt hours divided by volts"),
    **dict.fromkeys(
        ("frame", "frames", "fps", "tick", "ticks", "step", "steps"),
        "times are written in `ms` or `s`",
    ),
    **dict.fromkeys(
        ("beat", "beats", "bar", "bars"),
        "give its length a name: `given beat = 500 ms`, then `(2 * beat)`",
    ),
    **dict.fromkeys(("ml", "l"), "write what it weighs, in `g`"),
    "x": "`3 times` for how often, `90 mm by 50 mm` for sizes, `(2 * 400 ms)` for sums",
    "hz": "write how long one period takes, such as `500 ms` for two a second",
}
"""What to do where nothing can be converted."""


def tidied(spelling: str) -> str:
    """A spelling with plain signs: parts joined by `.` and `/`, in small letters."""
    plain = spelling.translate(_SIGNS).strip(" .")
    plain = re.sub(r"\s*\b(?:per|an?)\b\s*", "/", plain)
    plain = re.sub(r"\s*([./])\s*", r"\1", plain)
    return re.sub(r"\s+", ".", plain).lower()


@cache
def _small() -> dict[str, str]:
    return {unit.lower(): unit for unit in UNITS}


def spelt(spelling: str) -> str | None:
    """The unit that a spelling means, if it is another spelling of one of ours."""
    if spelling in UNITS:
        return spelling
    plain = tidied(spelling)
    found = _known(plain)
    if found is not None:
        return found
    parts = re.split(r"([./])", plain)
    whole = "".join(part if part in "./" else (_known(part) or part) for part in parts)
    return whole if whole in UNITS else _known(whole.lower())


def _known(plain: str) -> str | None:
    found = _WHOLE.get(plain) or _ATOMS.get(plain) or _small().get(plain)
    return found if found in UNITS else None


def converted(number: str, spelling: str) -> str | None:
    """The same amount in a unit of the language, if `spelling` is a foreign unit."""
    plain = tidied(spelling)
    value = Fraction(number)
    if plain in ("f", "degf", "fahrenheit"):
        return f"{_digits((value - 32) * Fraction(5, 9), 1)} C"
    if plain in ("k", "kelvin"):
        return f"{_digits(value - Fraction(27315, 100), 1)} C"
    if plain == "bpm" and value > 0:
        return f"{_digits(60000 / value, 0)} ms"
    found = _FOREIGN.get(plain)
    if found is None:
        return None
    size, unit = found
    return f"{_digits(value * size, 4)} {unit}"


def _digits(value: Fraction, places: int) -> str:
    text = f"{float(round(value, places)):.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def instead_of(spelling: str) -> str | None:
    """What to write instead of a foreign unit that nothing of ours is equal to."""
    return _INSTEAD.get(tidied(spelling))
