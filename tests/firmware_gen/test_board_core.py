"""The firmware's core, compiled for this machine, answers the link as the reference board does."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tables import BUTTON, GLOW, NEW, NOD, OLD, small_table

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.storage import Eeprom
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import crc16
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import ONE_WAY, ReportedMode, RequestKind, Status
from tests.firmware_gen.host.core import Core, available
from tests.unchecked import transfer_unchecked

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

CHUNK = ATMEGA328P.chunk_bytes
OTHER = small_table(address=9, safe=700)
PIECES = -(-len(NEW) // CHUNK)
"""Of any of the small tables, which are all of one length."""


class TwinBoards:
    """The reference and the core with the same cells; whatever is done is done to both."""

    def __init__(self, cells: bytes = b"") -> None:
        self.eeprom = Eeprom(contents=cells)
        self.core = Core(cells=bytes(self.eeprom.cells))
        self.core.start()
        self.board = ReferenceBoard(self.eeprom)

    def say(self, data: bytes) -> list[LinkFrame]:
        """Bytes to both; their answers once all is stored, which must be the same."""
        self.board.receive(data)
        while self.board.storing:
            self.board.work()
        ours = Receiver().feed(self.board.take_output())
        theirs = Receiver().feed(self.core.exchange(data))
        assert theirs == ours
        return ours

    def frames(self, count: int) -> None:
        for _ in range(count):
            played = self.board.frame()
            raw = self.core.frame()
            if played is not None:
                assert raw == played.raw
            assert self.core.mode == self.board.mode

    def settled(self) -> None:
        assert bytes(self.core.cells) == bytes(self.eeprom.cells)
        assert self.core.mode == self.board.mode


def cells_with(*tables: bytes) -> bytes:
    virtual = VirtualBoard(write_s=0.0)
    for table in tables:
        transfer_unchecked(HostLink(LocalPort(virtual)), table)
    return bytes(virtual.eeprom.cells)


CELLS = {"blank": b"", "one show": cells_with(OLD), "two shows": cells_with(OLD, NEW)}


def opened(table: bytes, address: int) -> bytes:
    return struct.pack("<H", len(table)) + table[-2:] + bytes([address])


def chunk(table: bytes, number: int) -> bytes:
    offset = CHUNK * number
    return struct.pack("<H", offset) + table[offset : offset + CHUNK]


TABLES = st.sampled_from((OLD, NEW, OTHER))
PLAUSIBLE = st.one_of(
    st.tuples(st.just(RequestKind.HELLO), st.sampled_from((b"\x01\x00", b"\x02\x00"))),
    st.builds(
        lambda t, a: (RequestKind.OPEN, opened(t, a)), TABLES, st.sampled_from((0, 1, 9, 255))
    ),
    st.builds(lambda t, n: (RequestKind.DATA, chunk(t, n)), TABLES, st.integers(0, PIECES - 1)),
    st.tuples(
        st.sampled_from((RequestKind.VERIFY, RequestKind.COMMIT, RequestKind.STATUS)), st.just(b"")
    ),
    st.builds(
        lambda at, n: (RequestKind.READ, struct.pack("<HB", at, n)),
        st.sampled_from((0, CHUNK, 64, 78, 79, 500, 65535)),
        st.sampled_from((0, 1, CHUNK, CHUNK + 1)),
    ),
    st.builds(
        lambda tag: (RequestKind.TRIGGER, struct.pack("<H", tag)), st.sampled_from((NOD, GLOW, 7))
    ),
    st.builds(
        lambda *pair: (RequestKind.BUTTON, bytes(pair)),
        st.sampled_from((0, 1, BUTTON, 31, 32)),
        st.sampled_from((0, 1, 2)),
    ),
    st.tuples(
        st.sampled_from(
            (RequestKind.STOP, RequestKind.LIMP, RequestKind.STANDBY, RequestKind.BEACON)
        ),
        st.just(b""),
    ),
)
ANY = st.tuples(st.sampled_from([*RequestKind, 0x00, 0x07, 0x19, 0x3F]), st.binary(max_size=40))


Said = tuple[int, bytes]

TRANSFERS = st.builds(
    lambda table, left_out: [
        said
        for number, said in enumerate(
            [
                (RequestKind.OPEN, opened(table, 0)),
                *((RequestKind.DATA, chunk(table, n)) for n in range(PIECES)),
                (RequestKind.VERIFY, b""),
                (RequestKind.COMMIT, b""),
            ]
        )
        if number != left_out
    ],
    TABLES,
    st.sampled_from((None, None, None, 1, PIECES + 1)),
)
SPEECHES = st.one_of(PLAUSIBLE.map(lambda said: [said]), ANY.map(lambda said: [said]), TRANSFERS)


@st.composite
def frames_of(draw: st.DrawFn, said: list[Said], seq: int) -> list[bytes]:
    """Frames: usually in order to everybody, sometimes one-way, to another, late or spoilt."""
    frames = []
    odd = draw(st.sampled_from((False, False, True)))
    for number, (kind, payload) in enumerate(said):
        one_way = ONE_WAY if odd and draw(st.booleans()) else 0
        to = draw(st.sampled_from((0, 1, 9, 255))) if odd else 0
        late = draw(st.sampled_from((0, 1, 2, 128, 250))) if odd else 0
        frame = LinkFrame(to, kind | one_way, (seq + number - late) & 0xFF, payload)
        sent = bytearray(encode(frame))
        if odd and draw(st.integers(0, 4)) == 0:
            sent[draw(st.integers(1, len(sent) - 2))] ^= 1 << draw(st.integers(0, 7))
        frames.append(bytes(sent))
    return frames


@st.composite
def conversations(draw: st.DrawFn) -> list[tuple[bytes, int]]:
    """Frames, each with how many frames are played after it."""
    steps = []
    if draw(st.integers(0, 4)):
        steps.append((encode(LinkFrame(0, RequestKind.HELLO, 1, b"\x01\x00")), 0))
    seq = draw(st.integers(0, 255))
    for said in draw(st.lists(SPEECHES, max_size=12)):
        frames = draw(frames_of(said, seq))
        steps += [(frame, draw(st.integers(0, 6))) for frame in frames]
        seq += len(frames)
    return steps


@pytest.mark.parametrize("cells", CELLS.values(), ids=CELLS.keys())
@settings(max_examples=120)
@given(steps=conversations())
def test_any_conversation_goes_the_same_way(cells: bytes, steps: list[tuple[bytes, int]]) -> None:
    pair = TwinBoards(cells)
    for data, frames in steps:
        pair.say(data)
        pair.frames(frames)
    (reply,) = pair.say(encode(LinkFrame(0, RequestKind.STATUS, 99)))
    assert (reply.seq, reply.payload[0]) == (99, Status.DONE)
    pair.settled()


def test_a_whole_transfer_stores_the_same_cells_and_starts_the_same_show() -> None:
    pair = TwinBoards(cells_with(OLD))
    pair.say(encode(LinkFrame(0, RequestKind.HELLO, 1, b"\x01\x00")))
    pair.say(encode(LinkFrame(0, RequestKind.OPEN, 2, opened(NEW, 1))))
    for number in range(PIECES):
        pair.say(encode(LinkFrame(1, RequestKind.DATA, number, chunk(NEW, number))))
    pair.say(encode(LinkFrame(1, RequestKind.VERIFY, 3)))
    (reply,) = pair.say(encode(LinkFrame(1, RequestKind.COMMIT, 4)))
    assert reply.payload == b"\0"
    pair.settled()
    pair.frames(60)
    assert pair.board.mode == ReportedMode.READY
    assert pair.board.slots.table == NEW


def test_a_button_of_a_dead_host_is_let_go_in_the_same_frame() -> None:
    pair = TwinBoards(cells_with(OLD))
    pair.frames(20)
    pair.say(encode(LinkFrame(0, RequestKind.HELLO, 1, b"\x01\x00")))
    pair.say(encode(LinkFrame(0, RequestKind.BUTTON, 1, bytes((BUTTON, 1)))))
    pair.frames(200)
    (reply,) = pair.say(encode(LinkFrame(0, RequestKind.STATUS, 1)))
    assert reply.payload[3] == 0


@settings(max_examples=60)
@given(st.binary(max_size=1024), st.sampled_from(list(CELLS.values())), st.integers(0, 1023))
def test_any_cells_start_the_same_show_or_none(noise: bytes, cells: bytes, at: int) -> None:
    spoilt = bytearray(cells.ljust(1024, b"\xff"))
    spoilt[at : at + len(noise)] = noise[: 1024 - at]
    pair = TwinBoards(bytes(spoilt[:1024]))
    (reply,) = pair.say(encode(LinkFrame(0, RequestKind.HELLO, 1, b"\x01\x00")))
    assert reply.payload[0] == Status.DONE
    assert pair.board.slots.table in (None, b"", OLD, NEW)
    pair.settled()


def test_the_check_sum_is_the_same() -> None:
    from tests.firmware_gen.host.core import library

    for data in (b"", b"123456789", OLD):
        assert library().host_crc(data, len(data)) == crc16(data)
