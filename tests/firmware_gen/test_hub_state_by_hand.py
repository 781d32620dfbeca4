"""The state that a board that leads tells, byte by byte, and staying in step (LINK.md, section 7),
worked out by hand."""

from __future__ import annotations

import pytest

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.player.hub_state import LINE_BYTES, PAYLOAD_BYTES, pack, unpack
from firmware_gen.player.in_step import InStep, radio_late
from firmware_gen.table.records import RadioRecord, SensorRecord
from sim.rehearsal.leading import HubRun, HubState

RUN = HubRun(5, 0x4321, 200, 0x010203, held=True, again=False, let_go=False)
READY = HubState(0x12345, "ready", False, frozenset({0, 5}), 0x040506, RUN)


def test_each_field_has_its_place() -> None:
    assert pack(0xABCD_1234, READY).hex(" ") == ("45 23 34 12 02 21 06 05 04 0d 21 43 c8 03 02 01")
    assert PAYLOAD_BYTES == 16
    # a zero before and behind, COBS' byte; address, kind, seq, 16, CRC of two bytes
    assert LINE_BYTES == 2 + 1 + 3 + 16 + 2


def test_a_state_that_is_heard_is_the_one_that_was_told_but_for_the_high_bits() -> None:
    show, heard = unpack(pack(0xABCD_1234, READY))
    assert show == 0x1234
    assert heard == HubState(0x2345, "ready", False, frozenset({0, 5}), 0x040506, RUN)


@pytest.mark.parametrize(
    ("mode", "asked", "byte"),
    [
        ("starting", False, 1),
        ("ready", False, 2),
        ("stopping", False, 3),
        ("limp", False, 4),
        ("limp", True, 12),
    ],
)
def test_a_mode_is_three_bits_and_one_for_who_asked(mode: str, asked: bool, byte: int) -> None:
    state = HubState(1, mode, asked, frozenset(), 0, None)  # type: ignore[arg-type]
    data = pack(0, state)
    assert data.hex(" ") == f"01 00 00 00 {byte:02x} 00 00 00 00 80 00 00 00 00 00 00"
    assert unpack(data) == (0, state)


@pytest.mark.parametrize(
    ("held", "again", "let_go", "bits"),
    [(True, False, False, 0x08), (False, True, False, 0x10), (False, False, True, 0x20)],
)
def test_each_thing_that_is_told_of_a_run_has_its_bit(
    held: bool, again: bool, let_go: bool, bits: int
) -> None:
    run = HubRun(3, 7, 255, 0, held=held, again=again, let_go=let_go)
    state = HubState(1, "ready", False, frozenset({3}), 0, run)
    data = pack(0, state)
    assert data[9] == 3 | bits
    assert unpack(data) == (0, state)


@pytest.mark.parametrize(
    ("age", "told"),
    [
        (0xFFFF, "ff ff 00"),
        (0x10000, "00 00 01"),
        (16_777_214, "fe ff ff"),
        (16_777_215, "ff ff ff"),
        (16_777_216, "ff ff ff"),
        (40_000_000, "ff ff ff"),
    ],
)
def test_an_age_is_told_in_three_bytes_and_as_the_oldest_beyond_them(age: int, told: str) -> None:
    run = HubRun(0, 1, 0, age, held=False, again=False, let_go=False)
    data = pack(0, HubState(0, "ready", False, frozenset({0}), 0, run))
    assert data[13:].hex(" ") == told
    heard = unpack(data)[1].run
    assert heard is not None
    assert heard.age == min(age, 16_777_215)


def test_live_runs_are_a_bit_each() -> None:
    for number in range(8):
        data = pack(0, HubState(0, "ready", False, frozenset({number}), 0, None))
        assert data[5] == 1 << number
        assert unpack(data)[1].live == {number}


# -- in step: late = 5120 w + m - 4096 ------------------------------------------------------------


@pytest.mark.parametrize(
    ("moment", "stretch"),
    [
        (4096, 0),
        (4099, 0),  # 3 >> 2
        (4100, 1),
        (4095, -1),
        (4092, -1),
        (4091, -2),
        (4503, 101),  # 407 >> 2
        (4504, 102),
        (5119, 102),
        (3688, -102),
        (3687, -102),  # -409 >> 2 is -103
    ],
)
def test_a_frame_makes_good_a_quarter_of_what_is_wrong_and_2_percent_at_most(
    moment: int, stretch: int
) -> None:
    step = InStep()
    step.arrived(10, 10, 4096, follows=False)
    assert step.arrived(11, 11, moment, follows=True) == (11, False)
    assert step.stretch == stretch


@pytest.mark.parametrize(
    ("moment", "own", "stretch"),
    # 5120 + 1535 - 4096 = 2559 and 1536 - 4096 = -2560: both beyond 2 %
    [(1535, 99, 102), (1536, 100, -102), (0, 99, 102), (4096, 100, 0)],
)
def test_who_did_not_follow_takes_the_nearer_frame(moment: int, own: int, stretch: int) -> None:
    step = InStep()
    assert step.arrived(100, 40, moment, follows=False) == (own, True)
    assert step.stretch == stretch
    # the count stays: a frame later the same moment is as far off
    assert step.arrived(101, 41, moment, follows=True) == (own + 1, False)
    assert step.stretch == stretch


@pytest.mark.parametrize(
    ("frames", "moment", "jumps"),
    [
        # late = 5120 * 1 + m - 4096 within -7680 to 7680
        (12, 5119, False),  # 6143
        # late = 5120 * 2 + m - 4096
        (13, 1536, False),  # 7680
        (13, 1537, True),
        # late = -5120 + m - 4096
        (10, 1536, False),  # -7680
        (10, 1535, True),
    ],
)
def test_what_is_more_than_a_frame_and_a_half_off_is_counted_anew(
    frames: int, moment: int, jumps: bool
) -> None:
    step = InStep()
    step.arrived(10, 10, 4096, follows=False)
    assert step.arrived(frames, 11, moment, follows=True)[1] is jumps


@pytest.mark.parametrize(("frames", "hub"), [(70_000, 3), (5, 65_000), (65_536, 0), (32_768, 0)])
def test_frames_are_counted_modulo_65536(frames: int, hub: int) -> None:
    step = InStep()
    assert step.arrived(frames, hub, 4096, follows=False) == (frames, True)
    for later in (1, 40_000, 65_535):
        heard = (hub + later) % 65_536
        assert step.arrived(frames + later, heard, 4096, follows=True) == (frames + later, False)
        assert step.stretch == 0


def test_over_a_radio_a_state_counts_from_so_much_earlier() -> None:
    """Late by 6000: 5120 * 10 + 4976 - 6000 is 4096 in frame 9."""
    senses = (SensorRecord(CHIP.pin("PF0"), 0, 0, 0), RadioRecord(1, 6000))
    assert radio_late(senses) == 6000
    assert radio_late(senses[:1]) == 0
    step = InStep(6000)
    assert step.arrived(10, 3, 4976, follows=False) == (9, True)
    assert step.stretch == 0
    assert step.arrived(11, 4, 4980, follows=True) == (10, False)
    assert step.stretch == 1
