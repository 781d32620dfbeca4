"""Records of outputs, colours, laws, inputs and bindings at the limits that TABLE.md 1.2 and 1.3
state, and one step beyond: the reference and the core."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import TableError
from firmware_gen.table.records import (
    BindingRecord,
    CueRecord,
    InputRecord,
    LampRecord,
    LawRecord,
    ServoRecord,
    StripRecord,
    Table,
)
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.make_vectors import code_of

SERVO = ServoRecord(CHIP.pin("PA0"), (-4000, 6000), 200, 900, 0, ((-4500, 1600), (6500, 4400)))
STRIP = StripRecord(CHIP.pin("PA1"), 4, 0, 0, 0)
GOOD = Table(
    *(CHIP.chip_id, 1),
    outputs=(SERVO, STRIP, LampRecord(CHIP.pin("PB4"), 20)),
    colours=((0, 0, 0),),
    cues=(CueRecord(7, 0, 0, 1, 0),),
    threads=((),),
)


def servo(**changes: object) -> Table:
    return replace(GOOD, outputs=(replace(SERVO, **changes), *GOOD.outputs[1:]))  # type: ignore[arg-type]


def pulses(*points: tuple[int, int]) -> Table:
    return servo(points=points)


def strips(*pixels: int) -> Table:
    pins = [CHIP.pin(f"PA{n + 1}") for n in range(len(pixels))]
    made = [replace(STRIP, pin=pin, pixels=count) for pin, count in zip(pins, pixels, strict=True)]
    return replace(GOOD, outputs=(SERVO, *made))


def law(law_id: int, alpha: int = 0, beta: int = 0, peak: int = 32_768) -> Table:
    return replace(GOOD, laws=(LawRecord(law_id, alpha, beta, peak),))


def line(count: int) -> tuple[tuple[int, int], ...]:
    """So many points from -45 to 65 deg."""
    return tuple((-4500 + 11_000 * n // (count - 1), 1600 + 200 * n) for n in range(count))


MOST_PIXELS = CHIP.pixels

BOTH_SIDES: dict[str, tuple[Table, Table]] = {
    "first pulse, least": (pulses((-4500, 800), (6500, 4400)), pulses((-4500, 799), (6500, 4400))),
    "first pulse, most": (pulses((-4500, 5200), (6500, 900)), pulses((-4500, 5201), (6500, 900))),
    "next pulse, most": (pulses((-4500, 1600), (6500, 5200)), pulses((-4500, 1600), (6500, 5201))),
    "next pulse, least": (pulses((-4500, 1600), (6500, 800)), pulses((-4500, 1600), (6500, 799))),
    "middle pulse, most": (
        pulses((-4500, 1600), (0, 5199), (6500, 5200)),
        pulses((-4500, 1600), (0, 5201), (6500, 5200)),
    ),
    "pulses that rise": (
        pulses((-4500, 1600), (0, 1601), (6500, 4400)),
        pulses((-4500, 1600), (0, 1600), (6500, 4400)),
    ),
    "pulses that rise and fall": (
        pulses((-4500, 4400), (0, 4399), (6500, 4398)),
        pulses((-4500, 4400), (0, 4399), (6500, 4400)),
    ),
    "pulses that fall and rise": (
        pulses((-4500, 1600), (0, 1601), (6500, 1602)),
        pulses((-4500, 1600), (0, 1601), (6500, 1600)),
    ),
    "angles that rise": (
        pulses((-4500, 1600), (-4499, 1700), (6500, 4400)),
        pulses((-4500, 1600), (-4500, 1700), (6500, 4400)),
    ),
    "the first point at the travel's end": (
        pulses((-4000, 1600), (6500, 4400)),
        pulses((-3999, 1600), (6500, 4400)),
    ),
    "the last point at the travel's end": (
        pulses((-4500, 1600), (6000, 4400)),
        pulses((-4500, 1600), (5999, 4400)),
    ),
    "fewest points": (pulses(*line(2)), pulses((-4500, 1600))),
    "most points": (pulses(*line(8)), pulses(*line(9))),
    "safe, low": (servo(safe=-4000), servo(safe=-4001)),
    "safe, high": (servo(safe=6000), servo(safe=6001)),
    "speed": (servo(speed_limit=1), servo(speed_limit=0)),
    "acceleration": (servo(acceleration_limit=1), servo(acceleration_limit=0)),
    "pixels, fewest": (strips(1), strips(0)),
    "pixels of one strip": (strips(MOST_PIXELS), strips(MOST_PIXELS + 1)),
    "pixels of two strips": (strips(MOST_PIXELS - 1, 1), strips(MOST_PIXELS - 1, 2)),
    "strips": (strips(*[1] * CHIP.strips), strips(*[1] * (CHIP.strips + 1))),
    "colour, red": (
        replace(GOOD, colours=((200, 0, 0),)),
        replace(GOOD, colours=((201, 0, 0),)),
    ),
    "colour, green": (
        replace(GOOD, colours=((0, 200, 0),)),
        replace(GOOD, colours=((0, 201, 0),)),
    ),
    "colour, blue": (
        replace(GOOD, colours=((0, 0, 200),)),
        replace(GOOD, colours=((0, 0, 201),)),
    ),
    "law": (law(8), law(10)),
    "alpha, least": (law(2, 64), law(2, 63)),
    "alpha, most": (law(2, 32_768), law(2, 32_769)),
    "alpha of a double-S": (law(9, 64, 500), law(9, 63, 500)),
    "beta, least": (law(9, 500, 1), law(9, 500, 0)),
    "beta, most": (law(9, 500, 32_768), law(9, 500, 32_769)),
    "peak, least": (law(5, peak=17_039), law(5, peak=17_038)),
    "peak, most": (law(5, peak=48_497), law(5, peak=48_498)),
    "button of an input, least": (
        replace(GOOD, inputs=(InputRecord(CHIP.pin("PC0"), 1, True),)),
        replace(GOOD, inputs=(InputRecord(CHIP.pin("PC0"), 0, True),)),
    ),
    "button, least": (
        replace(GOOD, bindings=(BindingRecord(1, 0, while_held=False),)),
        replace(GOOD, bindings=(BindingRecord(0, 0, while_held=False),)),
    ),
    "cue of a binding": (
        replace(GOOD, bindings=(BindingRecord(31, 0, while_held=False),)),
        replace(GOOD, bindings=(BindingRecord(31, 1, while_held=False),)),
    ),
}


def bytes_of(table: Table, monkeypatch: pytest.MonkeyPatch) -> bytes:
    """The table's bytes, though no board would play it."""
    monkeypatch.setattr("firmware_gen.table.encode.decode", lambda data: None)
    return encode(table)


@pytest.mark.parametrize("sides", BOTH_SIDES.values(), ids=BOTH_SIDES)
def test_what_is_at_a_limit_is_played_and_what_is_beyond_is_refused(
    sides: tuple[Table, Table], monkeypatch: pytest.MonkeyPatch
) -> None:
    at, beyond = (bytes_of(table, monkeypatch) for table in sides)
    assert decode(at) == sides[0]
    with pytest.raises(TableError):
        decode(beyond)
    if available():
        core = ApartPlayer(GOOD)
        assert core.lib.host_check(at, len(at)) == 0
        assert core.lib.host_check(beyond, len(beyond)) == code_of(beyond) != 0
