"""The core's end of the link answers as the reference board does, byte for byte."""

from __future__ import annotations

from random import Random

import pytest

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.storage import Eeprom
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.records import SwitchRecord
from tests.firmware_gen.host.core import Core, available
from tests.firmware_gen.link_streams import Talker
from tests.firmware_gen.random_tables import random_table

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")


def tables_that_fit(dice: Random, count: int) -> list[bytes]:
    found: list[bytes] = []
    while len(found) < count:
        data = encode(random_table(dice))
        if len(data) <= 500:
            found.append(data)
    return found


def stored(board: ReferenceBoard) -> bytes:
    while board.storing:
        board.work()
    return board.take_output()


def outputs_of(board: ReferenceBoard, core: Core) -> tuple[bytes, bytes]:
    """One frame of both; the core's switches as states, not levels."""
    frame = board.frame()
    raw = core.frame()
    if frame is None:
        return b"", b""
    flips = bytes(
        not output.active_high
        for output in decode(board.slots.table).outputs
        if isinstance(output, SwitchRecord)
    )
    cut = len(raw) - len(flips)
    switches = bytes(a ^ b for a, b in zip(raw[cut:], flips, strict=True))
    return frame.raw, raw[:cut] + switches


def pieces(data: bytes) -> list[bytes]:
    """The bytes cut behind each zero: which of two requests is done with first is not compared."""
    *ended, rest = data.split(b"\0")
    return [piece + b"\0" for piece in ended] + [rest]


def talk(seed: int, requests: int) -> int:
    """A random stream of requests to board and core; how many answers they gave, all alike."""
    dice = Random(seed)
    tables = tables_that_fit(dice, 3)
    first = tables[0] if dice.random() < 0.7 else b""
    core = Core(*([first] if first else []))
    storage = Eeprom(contents=bytes(core.cells))
    core.start()
    board = ReferenceBoard(storage)
    answers = 0
    for number, data in enumerate(Talker(dice, tables).frames(requests)):
        for piece in pieces(data):
            board.receive(piece)
            wanted = stored(board)
            found = core.exchange(piece)
            assert found.hex() == wanted.hex(), (number, piece.hex())
            answers += bool(found)
        for _ in range(dice.choice((0, 1, 1, 2, 5, 60))):
            one, other = outputs_of(board, core)
            assert one == other, number
        if dice.random() < 0.02:
            core.start()
            board = ReferenceBoard(storage)
    assert bytes(core.cells) == bytes(storage.cells)
    return answers


@pytest.mark.parametrize("seed", range(12))
def test_a_board_answers_a_random_stream_of_requests_as_the_reference_does(seed: int) -> None:
    assert talk(seed, 250) > 100


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 120))
def test_many_more_streams_are_answered_alike(seed: int) -> None:
    assert talk(seed, 1500) > 600
