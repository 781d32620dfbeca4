"""A host asks what a channel or a sensor stands at (LINK.md 2.3): reference board and core."""

from __future__ import annotations

from random import Random
from typing import Protocol

import pytest

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.slots import FIRST_BYTE, MARKS
from firmware_gen.board.storage import Eeprom
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.chips.atmega328p import CHIP as FIRST
from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import SOURCE_REPLY, RequestKind, Status
from firmware_gen.table.encode import encode as table_bytes
from firmware_gen.table.records import ChannelRecord, LampRecord, SensorRecord, Table
from sim.rulebook import CHANNEL_GOOD, CHANNEL_LOST_FRAMES
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available

TABLE = Table(
    *(CHIP.chip_id, 1),
    outputs=(LampRecord(CHIP.pin("PB4"), 0),),
    senses=(
        SensorRecord(CHIP.pin("PF0")),
        ChannelRecord(CHIP.pin("PL0")),
        SensorRecord(CHIP.pin("PF1"), 100, 20_000, 9_000),
        ChannelRecord(CHIP.pin("PL1")),
    ),
)
SENSORS, CHANNELS = (0, 2), (1, 3)


class BoardWithSources(Protocol):
    """A board with two sensors and two channels."""

    def frame(self, widths: list[int], readings: list[int]) -> None: ...

    def answer(self, asked: bytes) -> bytes: ...


class Reference:
    def __init__(self) -> None:
        cells = bytearray(b"\xff" * CHIP.memory.eeprom)
        data = table_bytes(TABLE)
        cells[FIRST_BYTE : FIRST_BYTE + len(data)] = data
        cells[FIRST_BYTE + len(MARKS) * CHIP.slot_bytes] = MARKS[0]
        self._pulses: dict[int, int] = {}
        self._readings: dict[int, int] = {}
        self._board = ReferenceBoard(
            *(Eeprom(len(cells), bytes(cells)), CHIP),
            pulses=self._pulses,
            readings=self._readings,
        )

    def frame(self, widths: list[int], readings: list[int]) -> None:
        self._pulses.update(enumerate(widths))
        self._readings.update(enumerate(readings))
        self._board.frame()

    def answer(self, asked: bytes) -> bytes:
        self._board.receive(asked)
        return self._board.take_output()


class OfTheCore:
    def __init__(self) -> None:
        self._core = ApartPlayer(TABLE)

    def frame(self, widths: list[int], readings: list[int]) -> None:
        for number, width in enumerate(widths):
            self._core.channel(number, width)
        for number, reading in enumerate(readings):
            self._core.voltage(number, reading)
        self._core.frame()

    def answer(self, asked: bytes) -> bytes:
        self._core.receive(asked)
        return self._core.answered()


BOARDS = (
    Reference,
    pytest.param(
        OfTheCore, marks=pytest.mark.skipif(not available(), reason="there is no C compiler")
    ),
)


def said(board: BoardWithSources, number: int, payload: bytes | None = None) -> tuple[int, bytes]:
    """Status and rest of the reply."""
    asked = bytes([number]) if payload is None else payload
    (reply,) = Receiver().feed(board.answer(encode(LinkFrame(1, RequestKind.SOURCE, 9, asked))))
    return reply.payload[0], reply.payload[1:]


def stands(board: BoardWithSources, number: int) -> tuple[bool, int]:
    status, rest = said(board, number)
    assert status == Status.DONE
    live, value = SOURCE_REPLY.unpack(rest)
    return bool(live), value


@pytest.mark.parametrize("make", BOARDS)
def test_sources_are_counted_in_the_order_of_the_table(make: type[BoardWithSources]) -> None:
    board = make()
    for _ in range(CHANNEL_GOOD + 3):
        board.frame([2100, 3900], [512, 1023])
    assert [stands(board, number) for number in range(4)] == [
        (True, 512),
        (True, 2100),
        (True, 1023),
        (True, 3900),
    ]
    assert said(board, 4) == (Status.MALFORMED, b"")
    assert said(board, 0, b"") == (Status.MALFORMED, b"")
    assert said(board, 0, b"\0\0") == (Status.MALFORMED, b"")


@pytest.mark.parametrize("make", BOARDS)
def test_a_channel_tells_nothing_unless_it_is_live(
    make: type[BoardWithSources],
) -> None:
    board = make()
    assert stands(board, 1) == (False, 0)
    for _ in range(CHANNEL_GOOD - 1):
        board.frame([3000, 0], [0, 0])
    assert stands(board, 1) == (False, 0)
    board.frame([3000, 0], [0, 0])
    assert stands(board, 1) == (True, 3000)
    assert stands(board, 3) == (False, 0)
    for _ in range(CHANNEL_LOST_FRAMES - 1):
        board.frame([0, 0], [0, 0])
    assert stands(board, 1) == (True, 3000)
    board.frame([0, 0], [0, 0])
    assert stands(board, 1) == (False, 0)


@pytest.mark.skipif(not available(), reason="there is no C compiler")
@pytest.mark.parametrize("seed", range(6))
def test_the_core_tells_what_the_reference_does(seed: int) -> None:
    dice = Random(seed)
    boards: tuple[BoardWithSources, BoardWithSources] = (Reference(), OfTheCore())
    live = 0
    for _ in range(200):
        silent = dice.random() < 0.02
        for _ in range(30 if silent else 1):
            widths = [0 if silent else dice.choice((0, *range(1900, 4000))) for _ in CHANNELS]
            readings = [dice.randrange(1024) for _ in SENSORS]
            for board in boards:
                board.frame(widths, readings)
        found = [[stands(board, number) for number in range(4)] for board in boards]
        assert found[0] == found[1]
        live += found[0][1][0]
    assert 0 < live < 200


def test_a_blank_board_and_a_chip_without_senses_say_why_they_tell_nothing() -> None:
    blank = HostLink(LocalPort(VirtualBoard(chip=CHIP)))
    blank.greet()
    with pytest.raises(LinkFailure, match="in its present mode"):
        blank.source(0)
    bare = HostLink(LocalPort(VirtualBoard(chip=FIRST)))
    bare.greet()
    with pytest.raises(LinkFailure, match="its firmware does not know this request"):
        bare.source(0)
