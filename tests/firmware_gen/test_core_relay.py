"""The core passes requests on, and answers those that came over the line, as the reference does."""

from __future__ import annotations

from random import Random

import pytest

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.wired import stored
from firmware_gen.chips.atmega2560 import CHIP as LARGE
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import DATA, HELLO, OPEN, READ, REPLY, RequestKind
from firmware_gen.table.decode import decode
from tests.firmware_gen.answering_boards import ADDRESS, LEAD, NEW, OLD
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.unchecked import unchecked

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

CELLS = LARGE.memory.eeprom


class Twins:
    """The reference and the core of a large board, with the same table; what is done is done to
    both, and they answer alike."""

    def __init__(self, name: str) -> None:
        eeprom = stored(unchecked(OLD[name], LARGE.name), LARGE)
        self.core = ApartPlayer(decode(OLD[name]))
        core, ffi = self.core, self.core._ffi
        ffi.buffer(core.lib.host_cells(), CELLS)[:] = bytes(eeprom.cells)
        ffi.buffer(core.lib.host_merged(), 16384)[:] = b"\xff" * 16384
        core.start()
        self.board = ReferenceBoard(eeprom, LARGE)

    def hear(self, data: bytes, *, from_line: bool) -> tuple[list[LinkFrame], list[LinkFrame]]:
        """Bytes from the host or from the line; what went to the host, and out on the line."""
        if from_line:
            self.board.receive_line(data)
            self.core.receive_apart(data)
        else:
            self.board.receive(data)
            self.core.lib.host_feed(self.core._ffi.from_buffer(data), len(data))
        while self.board.storing:
            self.board.work()
        ours = (self.board.take_output(), self.board.take_line_output())
        theirs = [b"", b""]
        for _ in range(4):
            assert self.core.lib.host_settle() == 0
            theirs = [theirs[0] + self.core.answered(), theirs[1] + self.core.told_bytes()]
        frames = [Receiver().feed(said) for said in ours]
        assert [Receiver().feed(said) for said in theirs] == frames
        return frames[0], frames[1]


def some_payload(dice: Random, kind: int, name: str) -> bytes:
    table = dice.choice((OLD[name], NEW[name]))
    offset = dice.randrange(len(table))
    known = {
        RequestKind.HELLO: HELLO.pack(dice.randrange(3)),
        RequestKind.OPEN: OPEN.pack(
            len(table), int.from_bytes(table[-2:], "little"), dice.choice((0, ADDRESS[name], 9))
        ),
        RequestKind.DATA: DATA.pack(offset) + table[offset : offset + dice.choice((1, 16, 17))],
        RequestKind.READ: READ.pack(offset, dice.choice((1, 16, 17))),
        RequestKind.TRIGGER: b"\1\2",
        RequestKind.BUTTON: b"\1\1",
        RequestKind.PULSE: b"\0",
    }
    wild = dice.randbytes(dice.choice((0, 2, 5, 18, 32, 33, 80)))
    return wild if dice.random() < 0.2 else known.get(RequestKind(kind), b"")


@pytest.mark.parametrize("name", [LEAD, "part"])
@pytest.mark.parametrize("seed", range(6))
def test_whatever_comes_from_host_and_line_the_core_does_as_the_reference(
    name: str, seed: int
) -> None:
    dice = Random(seed)
    twins = Twins(name)
    passed = answered = 0
    seq = 0
    for _ in range(250):
        kind = dice.choice(list(RequestKind))
        from_line = dice.random() < 0.5
        seq = (seq + dice.choice((0, 1, 1, 1, 200))) & 0xFF
        payload = some_payload(dice, kind, name)
        bits = dice.choice((0, 0, REPLY, 0x40)) if from_line else dice.choice((0, 0, 0, 0x40))
        to = dice.choice((0, 1, 2, 2, 3, 4, 255))
        if bits & 0x40 and to in (0, ADDRESS[name]):
            continue  # what a player does with it is tested elsewhere
        if kind in (RequestKind.STOP, RequestKind.LIMP, RequestKind.STANDBY):
            continue
        data = encode(LinkFrame(to, kind | bits, seq, payload))
        to_host, on_line = twins.hear(data, from_line=from_line)
        if from_line:
            passed += len(to_host)
            answered += len(on_line)
        else:
            passed += len(on_line)
            answered += len(to_host)
    assert answered > 10
    assert passed > 10 if name == LEAD else passed == 0


def test_a_board_that_follows_takes_a_whole_table_over_the_line() -> None:
    twins = Twins("part")
    table, to = NEW["part"], ADDRESS["part"]
    crc = int.from_bytes(table[-2:], "little")
    script = [
        (RequestKind.HELLO, HELLO.pack(7)),
        (RequestKind.OPEN, OPEN.pack(len(table), crc, to)),
        *(
            (RequestKind.DATA, DATA.pack(at) + table[at : at + 16])
            for at in range(0, len(table), 16)
        ),
        (RequestKind.VERIFY, b""),
        (RequestKind.COMMIT, b""),
        (RequestKind.READ, READ.pack(0, 16)),
    ]
    for seq, (kind, payload) in enumerate(script, 1):
        frame = LinkFrame(to, kind, seq, payload)
        to_host, (reply,) = twins.hear(encode(frame), from_line=True)
        assert (reply.to, reply.kind, reply.payload[0]) == (to, kind | REPLY, 0)
        assert to_host == []
    assert reply.payload[1:] == table[:16]
