"""Writing a number that passes in the place, the unit and the resolution of one that does not."""

from __future__ import annotations

import re
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING, Literal

from seqlang.diagnostics import Fix

if TYPE_CHECKING:
    from collections.abc import Mapping

    from seqlang.checks.scene import Scene
    from seqlang.diagnostics import Span

_NUMBER = re.compile(r"(?P<lead>\D*?)(?P<number>-?\d+(?:\.\d+)?)(?P<gap>\s*)(?P<unit>\S*)\Z")

MILLISECONDS: Mapping[str, Decimal] = {
    "ms": Decimal(1),
    "s": Decimal(1000),
    "min": Decimal(60_000),
}
DEGREES: Mapping[str, Decimal] = {"deg": Decimal(1)}


def rewritten(
    scene: Scene,
    span: Span,
    value: float,
    units: Mapping[str, Decimal],
    direction: Literal["up", "down"],
) -> Fix:
    """A fix that puts `value` (in the base unit of `units`) at `span`.

    It is rounded in `direction` to the last digit the text shows, in the text's own unit. A
    text that is no plain quantity (a constant's name, a sum) is replaced by one in the base unit.
    """
    base = next(iter(units))
    match = _NUMBER.fullmatch(scene.text(span))
    if match is None or match["unit"] not in units:
        return Fix(span, f"{_rounded(Decimal(repr(value)), Decimal(1), direction):f} {base}")
    exponent = Decimal(match["number"]).as_tuple().exponent
    step = Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)
    number = _rounded(Decimal(repr(float(value))) / units[match["unit"]], step, direction)
    return Fix(span, f"{match['lead']}{number:f}{match['gap']}{match['unit']}")


def _rounded(value: Decimal, step: Decimal, direction: Literal["up", "down"]) -> Decimal:
    mode = ROUND_CEILING if direction == "up" else ROUND_FLOOR
    return (value / step).to_integral_value(mode) * step
