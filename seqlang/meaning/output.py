"""Outputs: a servo or a lamp, a strip, a switch, each where it is plugged in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, cast

from firmware_gen.chips import FIRST
from seqlang.meaning.entry import Sheet, item_of, options, single
from seqlang.meaning.mounted import light_place
from seqlang.meaning.notes import Fault
from seqlang.meaning.plugs import Plug, output_mark, plug
from seqlang.meaning.pose import colour
from seqlang.meaning.servo import servo
from seqlang.meaning.values import Reading
from seqlang.text.syntax import Line
from seqlang.text.units import (
    AMPERES,
    DURATION,
    LEVEL,
    METRES,
    VOLTS,
)
from sim.model import (
    BLACK,
    Lamp,
    Output,
    Strip,
    StripLight,
    Switch,
)
from sim.rulebook import (
    TRIM_ONE,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from firmware_gen.chips import Chip
    from seqlang.meaning.pose import Setting


LONGEST_START_MS = 10_000
"""What takes longer to start after its switch is on is not in step with a cue anyway."""


def output(
    reading: Reading, entry: Line, boards: Mapping[str, Chip], safe: Mapping[str, Setting]
) -> Output:
    """A servo, lamp, strip or switch with its place in the safe pose. Raises Fault."""
    makers = {"servo": servo, "lamp": _lamp, "strip": _strip, "switch": _switch}
    name, board = entry.token(1), entry.token(2)
    pin = reading.tried(plug, reading, board, entry.token(3), boards)
    spot = Plug(
        str(name),
        str(board),
        -1 if pin is None else pin,
        boards.get(str(board), FIRST),
        safe.get(str(name)),
    )
    made = reading.tried(makers[entry.kind], reading, entry, spot)
    if made is None or pin is None:
        raise Fault
    return cast("Output", made)


# -- lights and switches -----------------------------------------------------------------------


def _lamp(reading: Reading, entry: Line, spot: Plug) -> Lamp:
    sheet = Sheet(reading, entry)
    leds, tint = sheet.get("leds"), sheet.get("colour")
    usual = Lamp("", "", 0)
    count, forward, current = usual.count, usual.forward_v, usual.current_a
    if leds is not None:
        count = reading.count(leds.amount(1), "the number of LEDs", 1, 1000)
        forward = reading.within(leds.amount(2), VOLTS, "the forward voltage", above=0)
        current = reading.within(leds.amount(3), AMPERES, "the current", above=0)
    return Lamp(
        name=spot.name,
        board=spot.board,
        pin=spot.pin,
        forward_v=forward,
        current_a=current,
        count=count,
        colour=usual.colour if tint is None else colour(reading, tint.token(1)),
        safe_pct=spot.safe.level_pct if spot.safe else usual.safe_pct,
        rides=light_place(reading, sheet),
        trims=_trims(reading, sheet, 1),
        mark=output_mark(
            reading,
            sheet,
            spot,
            ("count", item_of(leds)),
            ("voltage", item_of(leds, 2)),
            ("current", item_of(leds, 3)),
            ("colour", item_of(tint)),
            ("trim", item_of(sheet.get("trim"))),
        ),
    )


def _trims(reading: Reading, sheet: Sheet, channels: int) -> tuple[float, ...]:
    """The share of its light that each channel gives, in the steps of a table; none: all."""
    whole, balance = sheet.get("trim"), sheet.get("balance")
    amounts = [] if balance is None else [balance.amount(n) for n in (1, 2, 3)]
    shares = [1.0] * channels
    for line_amounts in ([whole.amount(1)] * channels if whole else [], amounts):
        for n, amount in enumerate(line_amounts):
            pct = reading.tried(reading.within, amount, LEVEL, "a share of the light", 1, 100)
            shares[n] *= 1.0 if pct is None else pct / 100.0
    steps = [max(1, round(TRIM_ONE * share)) for share in shares]
    return tuple(n / TRIM_ONE for n in steps) if min(steps) < TRIM_ONE else ()


def _strip(reading: Reading, entry: Line, spot: Plug) -> Strip:
    sheet = Sheet(reading, entry)
    line = sheet.need("pixels", "pixels 30, order grb, each 20 mA")
    more = options(reading, line)
    order, each, pitch = (
        cast("Line | None", more.get(kind)) for kind in ("order", "channel", "pitch")
    )
    pixels = reading.tried(
        reading.count, line.amount(1), "the number of pixels", 1, spot.chip.pixels
    )
    usual = Strip("", "", 0, 1)
    pitch_m = pitch and reading.tried(reading.within, pitch.amount(1), METRES, "the pitch", above=0)
    channel = each and reading.tried(
        reading.within, each.amount(1), AMPERES, "the current of one colour", above=0
    )
    cap = single(reading, sheet, "cap", AMPERES, above=0)
    if pixels is None:
        raise Fault
    light = spot.safe.strip if spot.safe else None
    return Strip(
        name=spot.name,
        board=spot.board,
        pin=spot.pin,
        pixels=pixels,
        order=cast("Literal['grb']", str(order.items[1])) if order else usual.order,
        channel_a=usual.channel_a if channel is None else channel,
        pitch_m=usual.pitch_m if pitch_m is None else pitch_m,
        cap_a=cap,
        safe=light if isinstance(light, StripLight) else BLACK,
        shifter=sheet.get("shifter") is not None,
        feed_v=single(reading, sheet, "own_feed", VOLTS, above=0),
        rides=light_place(reading, sheet),
        trims=_trims(reading, sheet, 3),
        mark=output_mark(
            reading,
            sheet,
            spot,
            ("pixels", line.items[1]),
            ("order", item_of(order)),
            ("current", item_of(each)),
            ("pitch", item_of(pitch)),
            ("cap", item_of(sheet.get("cap"))),
            ("feed", item_of(sheet.get("own_feed"))),
            ("trim", item_of(sheet.get("trim"))),
            *((f"balance {n}", item_of(sheet.get("balance"), n)) for n in (1, 2, 3)),
        ),
    )


def _switch(reading: Reading, entry: Line, spot: Plug) -> Switch:
    sheet = Sheet(reading, entry)
    active = sheet.get("active")
    draws = single(reading, sheet, "draws", AMPERES, low=0)
    return Switch(
        name=spot.name,
        board=spot.board,
        pin=spot.pin,
        active_high=active is None or active.token(1).type == "HIGH",
        safe_on=spot.safe.on if spot.safe else False,
        current_a=draws or 0.0,
        mark=output_mark(
            reading,
            sheet,
            spot,
            ("active", item_of(active)),
            ("current", item_of(sheet.get("draws"))),
        ),
    )


def start_delays(reading: Reading, lines: Iterable[Line]) -> dict[str, int]:
    """How long after it is switched on that which a switch drives starts, in ms, by name."""
    found: dict[str, int] = {}
    for entry in (line for line in lines if line.kind == "switch"):
        for line in (line for line in entry.lines() if line.kind == "starts"):
            delay = reading.tried(_start_delay, reading, line)
            if delay is not None:
                found.setdefault(str(entry.items[1]), delay)
    return found


def _start_delay(reading: Reading, line: Line) -> int:
    what = "the time until it starts"
    return round(reading.within(line.amount(2), DURATION, what, 1, LONGEST_START_MS))
