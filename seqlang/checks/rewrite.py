"""Writing a number that passes in the place, the unit and the resolution of one that does not."""

from __future__ import annotations

import re
from fractions import Fraction
from math import ceil, floor
from typing import TYPE_CHECKING, Literal, TypeAlias

from seqlang.text import units
from seqlang.text.findings import Fix

if TYPE_CHECKING:
    from seqlang.checks.context import Context
    from seqlang.text.findings import Span
    from sim.model import Servo

Direction: TypeAlias = Literal["up", "down"]

_WRITTEN = re.compile(r"(?P<number>-?[0-9]+(?:\.(?P<decimals>[0-9]+))?)(?P<gap> *)(?P<unit>\S*)")


def measures(servo: Servo) -> units.PartMeasures:
    """The measures in which the part of a servo is written."""
    if servo.load.spins:
        return units.SPINNING
    return units.TURNING if servo.load.slide is None else units.SLIDING


def rewritten(
    context: Context, span: Span, value: float, measure: units.Measure, direction: Direction
) -> Fix:
    """A fix that puts `value` (as the model keeps it, see `measure`) at `span`.

    It is rounded in `direction` (of the value, not of the number: more seconds per 60 deg are less
    speed) to the last digit the text shows, in the text's own unit. What is drawn between two ends
    stays drawn: the end that does not pass is moved, and where both do not the range is. A text
    that is no plain quantity (a constant's name, a sum), or that would be rounded to nothing, is
    replaced by one in the unit the measure suggests.
    """
    coherent = Fraction(value) / measure.scale
    text = context.text(span)
    if ".." in text:
        return Fix(span, _range_moved(text, coherent, measure, direction))
    return Fix(span, _spelled(text, coherent, measure, direction))


def _spelled(text: str, coherent: Fraction, measure: units.Measure, direction: Direction) -> str:
    """A value in coherent units, written as the text in its place is."""
    written = _WRITTEN.fullmatch(text)
    if written is not None and _dimension(written["unit"]) == measure.dimension:
        decimals = len(written["decimals"] or "")
        number = _number(coherent, written["unit"], decimals, direction)
        if coherent == 0 or float(number) != 0.0:
            return f"{number}{written['gap']}{written['unit']}"
    return f"{_number(coherent, measure.unit, 0, direction)} {measure.unit}".rstrip()


def _amount(text: str, measure: units.Measure) -> Fraction | None:
    """A plain quantity in coherent units; None for anything else."""
    written = _WRITTEN.fullmatch(text)
    if written is None or not written["unit"] or _dimension(written["unit"]) != measure.dimension:
        return None
    unit = written["unit"]
    return None if unit in units.INVERSE else Fraction(written["number"]) * units.UNITS[unit][0]


def _range_moved(
    text: str, coherent: Fraction, measure: units.Measure, direction: Direction
) -> str:
    """A range whose least (up) or greatest value (down) is now that one."""
    least, most = (end.strip() for end in text.split("..", 1))
    moved, kept = (least, most) if direction == "up" else (most, least)
    before, other = _amount(moved, measure), _amount(kept, measure)
    passed = other is not None and (other < coherent if direction == "up" else other > coherent)
    if passed and other is not None:
        shift = coherent - (other if before is None else before)
        kept = _spelled(kept, other + shift, measure, direction)
    moved = _spelled(moved, coherent, measure, direction)
    return f"{moved} .. {kept}" if direction == "up" else f"{kept} .. {moved}"


def _dimension(unit: str) -> units.Dimension | None:
    if not unit:
        return units.NUMBER
    return units.UNITS[unit][1] if unit in units.UNITS else None


def _number(coherent: Fraction, unit: str, decimals: int, direction: Direction) -> str:
    size = units.UNITS[unit][0] if unit else Fraction(1)
    value = size / coherent if unit in units.INVERSE else coherent / size
    upward = (direction == "up") != (unit in units.INVERSE)
    # a value that is a hair off a written digit only by binary rounding stays on that digit
    scaled = value * 10**decimals
    nearest = round(scaled)
    if abs(scaled - nearest) > Fraction(1, 10**6):
        nearest = ceil(scaled) if upward else floor(scaled)
    whole, part = divmod(abs(nearest), 10**decimals)
    sign = "-" if nearest < 0 else ""
    return f"{sign}{whole}" + (f".{part:0{decimals}d}" if decimals else "")
