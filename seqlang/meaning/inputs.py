"""What a board hears: channels of a radio, sensors, wired buttons."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from lark import Token

from seqlang.meaning.entry import Sheet, changed_round, item_of
from seqlang.meaning.notes import Fault
from seqlang.meaning.plugs import plug
from seqlang.meaning.sources import CHANNEL, SourceMeasure
from seqlang.meaning.sources import value as value_of
from seqlang.meaning.values import Reading
from seqlang.text.syntax import Line
from seqlang.text.units import (
    DURATION,
    SHARE,
)
from sim.model import (
    Band,
    Channel,
    Input,
    Sensor,
)
from sim.rulebook import (
    BUTTONS,
    LONGEST_FILTER_MS,
    LONGEST_SETTLE_MS,
    SETTLE_MS,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from firmware_gen.chips import Chip


QUIETEST = 0.95
"""As a share: what lets less than a twentieth of a sensor's way through lets nothing through."""


def channel(reading: Reading, entry: Line, boards: Mapping[str, Chip]) -> Channel:
    """A channel of a radio on a pin, and the buttons that its bands hold down. Raises Fault."""
    _, name, board, pin, *lines = entry.items
    pin_number = reading.tried(
        plug, reading, cast("Token", board), cast("Token", pin), boards, "channel"
    )
    bands = [
        reading.tried(_band, reading, line)
        for line in lines
        if isinstance(line, Line) and line.kind == "band"
    ]
    if pin_number is None:
        raise Fault
    return Channel(
        str(name),
        str(board),
        pin_number,
        tuple(band for band in bands if band is not None),
        mark=reading.origins.mark(
            *(entry.items[0], pin),
            ("name", name),
            ("board", board),
            ("pin", pin),
        ),
    )


def _band(reading: Reading, line: Line) -> Band:
    number = reading.tried(reading.count, line.amount(1), "a button's number", 1, BUTTONS[-1])
    ends = [reading.tried(value_of, reading, line.amount(at), CHANNEL) for at in (3, 4)]
    low_us, high_us = ends
    if number is None or low_us is None or high_us is None:
        raise Fault
    if low_us > high_us:
        reading.error(
            "number-out-of-range",
            f"the band ends at {high_us:g} us, below {low_us:g} us, where it begins",
            line,
            help="the shorter pulse comes first",
            fix=changed_round(reading, line, 3),
        )
        raise Fault
    mark = reading.origins.mark(line, line, ("button", line.items[1]))
    return Band(low_us, high_us, number, mark)


def sensor(reading: Reading, entry: Line, boards: Mapping[str, Chip]) -> Sensor:
    """A voltage at an analog pin. Raises Fault."""
    sheet = Sheet(reading, entry)
    name, board, pin = entry.token(1), entry.token(2), entry.token(3)
    pin_number = reading.tried(plug, reading, board, pin, boards, "sensor")
    quiet, rises, falls = (sheet.get(kind) for kind in ("quiet", "rises", "falls"))
    share = quiet and reading.tried(
        value_of,
        reading,
        quiet.amount(2),
        SourceMeasure(SHARE, "what counts as quiet", (0, QUIETEST)),
    )
    rises_s, falls_s = (_filter_s(reading, line) for line in (rises, falls))
    if pin_number is None:
        raise Fault
    return Sensor(
        str(name),
        str(board),
        pin_number,
        share or 0.0,
        rises_s,
        falls_s,
        mark=reading.origins.mark(
            *(entry.items[0], pin),
            ("name", name),
            ("board", board),
            ("pin", pin),
            ("quiet", item_of(quiet, 2)),
            ("rises", item_of(rises, 2)),
            ("falls", item_of(falls, 2)),
        ),
    )


def _filter_s(reading: Reading, line: Line | None) -> float:
    """The time constant of a line, or 0: at once."""
    if line is None:
        return 0.0
    what = "a sensor's time constant"
    ms = reading.tried(reading.within, line.amount(2), DURATION, what, 0, LONGEST_FILTER_MS)
    return 0.0 if ms is None else ms / 1000.0


def wired_button(reading: Reading, entry: Line, boards: Mapping[str, Chip]) -> Input:
    """A button or receiver output on an input pin. Raises Fault."""
    _, button, board, pin, *level = (item for item in entry.items if not isinstance(item, Line))
    settles = next(iter(entry.lines()), None)
    settle_ms: float | None = SETTLE_MS
    if settles is not None:
        settle_ms = reading.tried(
            reading.within,
            *(settles.amount(1), DURATION, "the time until a level counts"),
            *(SETTLE_MS, LONGEST_SETTLE_MS),
        )
    pin_number = reading.tried(plug, reading, cast("Token", board), cast("Token", pin), boards)
    number = reading.count(cast("Token", button), "a button's number", 1, BUTTONS[-1])
    if pin_number is None or settle_ms is None:
        raise Fault
    return Input(
        number,
        str(board),
        pin_number,
        active_low=not level or cast("Token", level[-1]).type == "LOW",
        mark=reading.origins.mark(
            *(entry, entry),
            ("button", button),
            ("board", board),
            ("pin", pin),
            ("active", level[-1] if level else None),
            ("settles", settles),
        ),
        settle_ms=round(settle_ms),
    )
