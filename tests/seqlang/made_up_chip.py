"""A chip that does not exist: whatever needs more than an entry to know a chip fails on it.

Every figure differs from those of the real ones: ports that begin with A and leave letters out,
more servos, larger slots, other voltages.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager

import pytest

from firmware_gen import chips
from firmware_gen.chips.chip import Chip, Memory, Tools, named, package
from sim.model import Electrics

_PINS = package(A=range(8), C=range(8), E=range(2, 8), K=range(8))

MADE_UP = Chip(
    name="madeup7",
    title="MadeUp7",
    chip_id=77,
    clock_hz=12_000_000,
    memory=Memory(
        flash=0x10000,
        merged_start=0x8000,
        boot_start=0xF000,
        ram=8192,
        eeprom=4096,
        slots=2,
        slot=2000,
        chunk=24,
        write_s=0.005,
    ),
    electrics=Electrics(idle_a=0.07, brown_out_v=4.1, clock_v=5.5, pin_a=0.008),
    tools=Tools("madeup7", "mu7", b"\x1e\x77\x07", "boot7", 38_400, 19_200, {"fuse7": 0x5A}),
    servos=16,
    strips=3,
    pixels=150,
    serial_ports=("USART0", "USART1", "USART2", "USART3"),
    leads=False,
    line_in=None,
    line_out=None,
    link_out="PD1",
    follows=False,
    joins=False,
    channels={},
    analog={},
    senses=False,
    keeps=False,
    pins=_PINS,
    reserved=named(_PINS, PA0="the made-up link is on it"),
    pwm=named(_PINS, PE2="X", PE3="X", PE4="X", PE5="X", PE6="X", PE7="X"),
    timed=named(_PINS, PK7="the made-up timer has it"),
)


@contextmanager
def another(chip: Chip) -> Iterator[Chip]:
    """A chip among the others, as if its module stood beside theirs."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(chips._BY_NAME, chip.name, chip)
        patch.setitem(chips._BY_ID, chip.chip_id, chip)
        yield chip


def made_up_chip() -> AbstractContextManager[Chip]:
    return another(MADE_UP)
