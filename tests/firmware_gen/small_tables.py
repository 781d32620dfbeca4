"""Small real tables for the tests of link and board."""

from __future__ import annotations

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import cue_tag
from firmware_gen.table.encode import encode
from firmware_gen.table.ops import ActOp, Delay
from firmware_gen.table.records import BindingRecord, CueRecord, LampRecord, ServoRecord, Table

NOD, GLOW = cue_tag("nod"), cue_tag("glow")
BUTTON = 3
"""Starts `nod`, again and again while it is held."""


def small_table(address: int = 1, safe: int = 0, interval: int = 2) -> bytes:
    """A servo that nods and a lamp that glows, 0.8 s each."""
    servo = ServoRecord(
        pin=ATMEGA328P.pin("PB1"),
        travel=(-4000, 4000),
        speed_limit=300,
        acceleration_limit=3000,
        safe=safe,
        points=((-4500, 2000), (4500, 4000)),
    )
    nod = (ActOp(0, 3000, 400, wait=True), ActOp(0, -3000, 400, wait=True))
    glow = (ActOp(1, 160, 500, wait=True), Delay(300))
    return encode(
        Table(
            chip=ATMEGA328P.chip_id,
            address=address,
            outputs=(servo, LampRecord(ATMEGA328P.pin("PD6"), 40)),
            cues=(CueRecord(NOD, 1, 0, 1, 0), CueRecord(GLOW, 2, 0, 1, 1)),
            bindings=(BindingRecord(BUTTON, 0, True),),
            threads=(nod, glow),
            enable_interval=interval,
        )
    )


OLD = small_table(safe=0)
NEW = small_table(safe=1500, interval=3)
"""Another show for the same board; seven bytes or so differ."""
