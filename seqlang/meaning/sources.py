"""Values of channels and sensors: what each is told in, and what is said where another is written.

Also the ends of a line `follows`, whose values and targets are easily confused.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, Final, NamedTuple

from seqlang.meaning.notes import Fault
from seqlang.text.findings import Fix
from seqlang.text.syntax import place
from seqlang.text.units import PERCENT, PULSE, SHARE, VOLTAGE, Measure
from sim.rulebook import CHANNEL_RANGE_US

if TYPE_CHECKING:
    from collections.abc import Sequence

    from seqlang.meaning.values import Reading
    from seqlang.text.syntax import Amount, Line
    from seqlang.text.units import Dimension

USUAL_US: Final = (1000.0, 2000.0)
"""The way of a stick (common practice, no source)."""

USUAL_V: Final = 5.0
"""The supply of a chip, in a proposal for a voltage at a sensor's pin."""

_BELOW_ZERO: Final = re.compile(r"(?<![\w.])-[0-9.]+ *%")


class SourceMeasure(NamedTuple):
    """In what a source's value is told, and between which values."""

    measure: Measure
    what: str
    range: tuple[float, float]


CHANNEL: Final = SourceMeasure(PULSE, "a channel's pulse", CHANNEL_RANGE_US)
SENSOR: Final = SourceMeasure(SHARE, "a sensor's value", (0.0, 1.0))


def value(reading: Reading, amount: Amount, source: SourceMeasure) -> float:
    """A value of a source. Raises Fault."""
    quantity = reading.quantity(amount, source.measure)
    if source is CHANNEL and quantity.dimension == PERCENT:
        _share_of_a_way(reading, amount, quantity.value)
    if source.measure is SHARE and quantity.dimension == VOLTAGE:
        share_of_supply(reading, amount, quantity.value)
    return reading.within(amount, source.measure, source.what, *source.range)


def _share_of_a_way(reading: Reading, amount: Amount, percent: Fraction) -> None:
    """A finding if a pulse is written in percent of a stick's way. Raises Fault then."""
    source = reading.source
    line = source.line_text(source.line_number(place(amount).start))
    low, high = (Fraction(end) for end in USUAL_US)
    about_middle = _BELOW_ZERO.search(line) is not None
    if not (-100 if about_middle else 0) <= percent <= 100:
        return
    share = (percent + 100) / 200 if about_middle else percent / 100
    pulse_us = f"{float(low + (high - low) * share):g} us"
    reading.error(
        "unit-mismatch",
        f"a channel's value is the width of its pulse, but `{reading.text(amount)}` is a share",
        amount,
        help=f"of the usual way, {USUAL_US[0]:g} to {USUAL_US[1]:g} us, that is `{pulse_us}`",
        fix=pulse_us,
    )
    raise Fault


def share_of_supply(reading: Reading, amount: Amount, volts: Fraction) -> None:
    """A finding if a sensor's share is written in volts. Raises Fault if so; `volts`: in V."""
    text = reading.text(amount)
    message = f"a sensor's value is a share of its chip's supply, but `{text}` is a voltage"
    if not 0 <= volts <= USUAL_V:
        reading.error("unit-mismatch", message, amount, help="from 0 % (ground) to 100 %")
        raise Fault
    share = f"{float(round(100 * volts / Fraction(USUAL_V), 1)):g} %"
    reading.error(
        "unit-mismatch",
        message,
        amount,
        help=f"of a supply of {USUAL_V:g} V that is `{share}`",
        fix=share,
    )
    raise Fault


def changed_places(
    reading: Reading, line: Line, values: Dimension, targets: Dimension, said: str
) -> None:
    """A finding if targets stand where the values should, and the values behind them.

    `line`: `follows`, with the values as its items 3 and 4 and the targets as 5 and 6. Raises
    Fault if so.
    """
    first, last = (tuple(line.amount(at) for at in pair) for pair in ((3, 4), (5, 6)))
    if values == targets or not (_are(reading, first, targets) and _are(reading, last, values)):
        return
    spans = [reading.span(one) for one in (*first, *last)]
    texts = [reading.text(one) for one in (*last, *first)]
    (span, text), *more = zip(spans, texts, strict=True)
    reading.error(
        "unit-mismatch",
        said,
        first[0],
        help=f"write `from {texts[0]} to {texts[1]}, {texts[2]} to {texts[3]}`",
        fix=Fix(span, text, tuple(more)),
    )
    raise Fault


def _are(reading: Reading, amounts: Sequence[Amount], dimension: Dimension) -> bool:
    return all(reading.is_of(amount, dimension) for amount in amounts)


def shares_of_travel(
    reading: Reading, line: Line, name: str, travel: tuple[Amount, Amount] | None
) -> None:
    """A finding if a servo's targets are written in percent of its travel. Raises Fault if so."""
    targets = tuple(line.amount(at) for at in (5, 6))
    if travel is None or not _are(reading, targets, PERCENT):
        return
    ends = [reading.exact(end, reading.motion(name).place) for end in travel]
    shares = [reading.quantity(one).value / 100 for one in targets]
    if not all(0 <= share <= 1 for share in shares):
        return
    unit = reading.motion(name).place.model_unit
    texts = [f"{float(ends[0] + (ends[1] - ends[0]) * share):g} {unit}" for share in shares]
    spans = [reading.span(one) for one in targets]
    reading.error(
        "unit-mismatch",
        f"{reading.motion(name).place.title} is needed here, but `{reading.text(targets[0])}` is a "
        "share",
        targets[0],
        help=f"of its travel, that is `{texts[0]} to {texts[1]}`",
        fix=Fix(spans[0], texts[0], ((spans[1], texts[1]),)),
    )
    raise Fault
