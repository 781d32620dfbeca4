"""`bellcrank board` without a show: what is typed while one virtual board runs."""

from __future__ import annotations

import pytest

from firmware_gen.board.storage import Eeprom
from firmware_gen.board.virtual import VirtualBoard
from firmware_gen.chips import CHIPS
from firmware_gen.table.encode import encode
from firmware_gen.table.ops import ActOp
from firmware_gen.table.records import (
    BandRecord,
    BindingRecord,
    ChannelRecord,
    CueRecord,
    LampRecord,
    SensorRecord,
    Table,
)
from seqlang.command._one_board import obey
from tests.emulator.load_show import in_slot

CHIP = CHIPS["atmega2560"]


def board() -> VirtualBoard:
    """A lamp that a channel's upper end turns on, and a sensor."""
    table = Table(
        *(CHIP.chip_id, 1),
        outputs=(LampRecord(CHIP.pin("PB4"), 0),),
        cues=(CueRecord(77, 1, 0, 1, 0),),
        threads=((ActOp(0, 200, 5000, wait=True),),),
        bindings=(BindingRecord(1, 0, while_held=False),),
        senses=(
            ChannelRecord(CHIP.pin("PL0")),
            BandRecord(0, 3400, 4400, 1),
            SensorRecord(CHIP.pin("PF0"), 0, 0, 0),
        ),
    )
    return VirtualBoard(Eeprom(CHIP.memory.eeprom, in_slot(encode(table))), CHIP)


def test_a_typed_channel_starts_the_cue_of_its_band() -> None:
    virtual = board()
    assert obey(virtual, "channel 0 1200 us\n").endswith("channel 0: gives 1200 us")
    virtual.advance(1.0)
    player = virtual.board.player
    assert player is not None
    assert player.running_cues == 0
    obey(virtual, "channel 0 1900")
    virtual.advance(2.0)
    assert player.running_cues == 1


def test_a_typed_sensor_is_what_the_board_measures() -> None:
    virtual = board()
    assert obey(virtual, " sensor 0 40 ").endswith("sensor 0: gives 40 %")
    virtual.advance(0.5)
    player = virtual.board.player
    assert player is not None
    assert player.sensor(0) == round(0.4 * 1024)


def test_a_channel_without_pulses_is_lost() -> None:
    virtual = board()
    obey(virtual, "channel 0 1200")
    virtual.advance(1.0)
    assert virtual.pulses == {0: 2400}
    assert obey(virtual, "channel 0 none").endswith("channel 0: gives no pulses")
    assert virtual.pulses == {}


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("stick 1700", "there is no order `stick 1700`; there is channel NUMBER MICROSECONDS"),
        ("channel stick 1700", "there is no order"),
        ("channel", "there is no order `channel`"),
        ("channel -1 1700", "there is no order"),
        (
            "channel 0",
            "the pulse of channel 0 is missing; write 800 us to 2200 us, or `channel 0 none`",
        ),
        ("channel 0 3 ms", "is not a pulse of channel 0"),
        ("sensor 0 140 %", "`140 %` is not a place of sensor 0; write 0 % to 100 %"),
        ("channel 1 1700", "gives 1700 us; the show on the board has no channel 1"),
        ("sensor 1 17", "the show on the board has no sensor 1"),
    ],
)
def test_what_cannot_be_done_is_answered_in_words(line: str, words: str) -> None:
    assert words in obey(board(), line)


def test_a_board_without_a_show_takes_what_is_typed_for_the_show_to_come() -> None:
    virtual = VirtualBoard(chip=CHIP)
    assert obey(virtual, "channel 2 1500").endswith("the show on the board has no channel 2")
    assert virtual.pulses == {2: 3000}
