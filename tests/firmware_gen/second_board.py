"""A second board's end of the link, written from `firmware_gen/LINK.md`.

It shares no code with the tool. Its player and its check of tables are the second ones too, so it
is a whole board from the pages alone. `variations/board.txt` changes its rules one by one; the
recorded link must notice each change.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from tests.firmware_gen.second_check import crc, refusal
from tests.firmware_gen.second_player import SecondPlayer

HELLO, OPEN, DATA, VERIFY, COMMIT, READ = range(1, 7)
TRIGGER, BUTTON, STOP, LIMP, STANDBY, STATUS, BEACON, JOG, PULSE = range(0x10, 0x19)
ORDERED = {OPEN, COMMIT, TRIGGER, BUTTON, STOP, LIMP, STANDBY, JOG}
MAY_BE_ONE_WAY = {TRIGGER, BUTTON, STOP, LIMP, STANDBY, BEACON}
LENGTHS = {HELLO: 2, OPEN: 5, READ: 3, TRIGGER: 2, BUTTON: 2, JOG: 3, PULSE: 1}  # of payloads
ONE_WAY, REPLY = 0x40, 0x80

(
    DONE,
    MALFORMED,
    UNKNOWN_KIND,
    BUSY,
    TOO_LARGE,
    WRONG_ADDRESS,
    OUT_OF_ORDER,
    CRC_DIFFERS,
    TABLE_REFUSED,
    NO_SUCH_CUE,
    NOT_IN_THIS_MODE,
    NOT_GREETED,
    STOPPED,
) = range(13)
BLANK_MODE, READY_MODE, LIMP_MODE = 0, 2, 4

SLOT_BYTES, CHUNK, WINDOW = 500, 16, 2
SLOTS, MARK, MARKS = (4, 504), 1004, (0x3C, 0xC3)
WITNESS = 1005
MERGED, NO_SLOT, NO_ADDRESS, EVERYBODY = 254, 255, 255, 0
HELD_FRAMES = 50
FIRMWARE = (1, 0)  # major and minor; the recorded link holds these


class PowerFailsError(Exception):
    """The power failed during a write."""


@dataclass(frozen=True)
class Frame:
    to: int
    kind: int
    seq: int
    payload: bytes


# Section 1: frames


def stuffed(data: bytes) -> bytes:
    """COBS."""
    found, block = b"", b""
    for byte in data + b"\0":
        if byte:
            block += bytes((byte,))
        if byte == 0 or len(block) == 254:
            found += bytes((len(block) + 1,)) + block
            block = b""
    return found


def unstuffed(data: bytes) -> bytes | None:
    found, at = b"", 0
    while at < len(data):
        code = data[at]
        if at + code > len(data):
            return None
        found += data[at + 1 : at + code] + (b"\0" if code < 255 else b"")
        at += code
    return found[:-1] if found else None


def frame_bytes(frame: Frame) -> bytes:
    body = bytes((frame.to, frame.kind, frame.seq)) + frame.payload
    return b"\0" + stuffed(body + struct.pack("<H", crc(body))) + b"\0"


def frame_of(block: bytes) -> Frame | None:
    """The frame between two zeros; None if it is a bad one."""
    if len(block) > 86:
        return None
    data = unstuffed(block)
    if data is None or len(data) < 5 or crc(data[:-2]) != data[-2] | data[-1] << 8:
        return None
    return Frame(data[0], data[1], data[2], data[3:-2])


# Section 6: slots


class Store:
    """The cells, and the writes that wait."""

    def __init__(self, cells: bytearray, merged: bytes) -> None:
        self.cells, self.merged = cells, merged
        self.pending: list[tuple[int, int, int]] = []  # cell, value, number of its piece
        self.piece = 0
        self.first = 0xFF
        self.cut_after: int | None = None
        self.torn = -1
        self.choose()

    def slot(self, number: int) -> bytes:
        """What a slot holds, as long as its table says."""
        at = SLOTS[number]
        held = bytes(self.cells[at : at + SLOT_BYTES])
        length = held[2] | held[3] << 8
        return held[:length] if length <= SLOT_BYTES else held

    def stamp(self) -> bytes:
        """Of the merged table; empty if there is none that is accepted."""
        length = int.from_bytes(self.merged[2:4], "little")
        if not 26 <= length <= len(self.merged) - 2 or refusal(self.merged[:length]):
            return b""
        return self.merged[length : length + 2]

    def choose(self) -> None:
        named = 1 if self.cells[MARK] == MARKS[1] else 0
        stamp = self.stamp()
        merged = self.merged[:-2][: int.from_bytes(self.merged[2:4], "little")]
        self.refusal = 0
        if stamp and stamp != bytes(self.cells[WITNESS : WITNESS + 2]):
            self.current, self.table = MERGED, merged
            return
        for number in (named, 1 - named):
            if refusal(self.slot(number)) == 0:
                self.current, self.table = number, self.slot(number)
                return
        if stamp:
            self.current, self.table = MERGED, merged
            return
        self.current, self.table, self.refusal = NO_SLOT, b"", refusal(self.slot(named))

    @property
    def target(self) -> int:
        return 1 if self.current == 0 else 0

    def open(self) -> None:
        self.pending.clear()
        self.first = 0xFF
        if self.current < 2 and self.cells[MARK] != MARKS[self.current]:
            self.pending.append((MARK, MARKS[self.current], 0))
        self.pending.append((SLOTS[self.target], 0xFF, 0))

    def has_room(self) -> bool:
        return len({piece for _, _, piece in self.pending} - {0}) < WINDOW

    def put(self, offset: int, data: bytes) -> None:
        self.piece += 1
        for place, value in enumerate(data, offset):
            if place == 0:
                self.first = value
            else:
                self.pending.append((SLOTS[self.target] + place, value, self.piece))

    def held(self, length: int) -> bytes:
        """The bytes stored, with the first one kept in RAM in its place."""
        at = SLOTS[self.target]
        return bytes((self.first,)) + bytes(self.cells[at + 1 : at + length])

    def commit(self) -> None:
        self.pending.append((SLOTS[self.target], self.first, 0))
        self.pending.append((MARK, MARKS[self.target], 0))
        for place, value in enumerate(self.stamp()):
            self.pending.append((WITNESS + place, value, 0))

    def is_idle(self) -> bool:
        """No write waits that changes a cell."""
        return all(self.cells[cell] == value for cell, value, _ in self.pending)

    def write(self) -> bool:
        """The next write that changes a cell; False if there is none."""
        while self.pending:
            cell, value, _ = self.pending[0]
            if self.cells[cell] != value:
                self.change(cell, value)
                self.pending.pop(0)
                return True
            self.pending.pop(0)
        return False

    def change(self, cell: int, value: int) -> None:
        if self.cut_after == 0:
            if self.torn >= 0:
                self.cells[cell] = self.torn
            raise PowerFailsError
        if self.cut_after is not None:
            self.cut_after -= 1
        self.cells[cell] = value


# Sections 2, 3 and 5


class SecondBoard:
    """One board from its start to the end of its power."""

    def __init__(self, cells: bytearray, merged: bytes = b"") -> None:
        self.store = Store(cells, merged)
        self.bad_frames = 0
        self.silent = 0  # frames since the last valid frame
        self.block = b""
        self.out = b""
        self.session: bytes | None = None
        self.last: tuple[int, int] | None = None  # seq and kind
        self.last_reply: bytes | None = None
        self.last_one_way: tuple[int, int] | None = None
        self.transfer: tuple[int, int, int] | None = None  # length, CRC, address
        self.verified = False
        self.waits: Frame | None = None  # the verify or commit that waits to be answered
        self.start_show()

    def start_show(self) -> None:
        self.player = SecondPlayer(self.store.table) if self.store.table else None
        self.asked: list[tuple[str, int, int]] = []
        self.held: set[int] = set()

    @property
    def address(self) -> int:
        return self.store.table[5] if self.store.table else NO_ADDRESS

    @property
    def mode(self) -> int:
        return self.player.mode if self.player else BLANK_MODE

    # What happens to it

    def receive(self, data: bytes) -> None:
        for byte in data:
            if byte:
                self.block += bytes((byte,))
            elif self.block:
                frame = frame_of(self.block)
                self.block = b""
                self.bad_frames += frame is None
                if frame is not None:
                    self.take(frame)

    def sent(self) -> bytes:
        out, self.out = self.out, b""
        return out

    def store_all(self) -> None:
        """All writes that wait, and the answers that wait for them."""
        while self.store.write() or self.answer_waiting():
            pass

    def frame(self) -> bytes:
        self.silent += 1
        if self.silent == HELD_FRAMES:
            self.asked += [("button", button, 0) for button in self.held]
            self.held.clear()
        asked, self.asked = self.asked, []
        return self.player.frame(asked) if self.player else b""

    # Frames

    def take(self, frame: Frame) -> None:
        if frame.to not in (EVERYBODY, self.address) or frame.kind & REPLY:
            return
        self.silent = 0
        self.asked.append(("heard", 0, 0))
        if frame.kind & ONE_WAY:
            self.take_one_way(frame)
        elif frame.kind in ORDERED:
            self.take_ordered(frame)
        else:
            self.obey_and_reply(frame)

    def take_one_way(self, frame: Frame) -> None:
        kind = frame.kind & ~ONE_WAY
        if kind not in MAY_BE_ONE_WAY or self.last_one_way == (kind, frame.seq):
            return
        self.last_one_way = (kind, frame.seq)
        self.obey(Frame(frame.to, kind, frame.seq, frame.payload))

    def take_ordered(self, frame: Frame) -> None:
        if self.session is None:
            self.reply(frame, NOT_GREETED)
            return
        if self.last is not None:
            d = (frame.seq - self.last[0]) % 256
            if d == 0 and frame.kind == self.last[1]:
                self.out += self.last_reply or b""
                return
            if d == 0 or d >= 128:
                self.reply(frame, OUT_OF_ORDER)
                return
        before = self.last, self.last_reply
        self.last, self.last_reply = (frame.seq, frame.kind), None
        if self.obey_and_reply(frame) == BUSY:
            self.last, self.last_reply = before

    def obey_and_reply(self, frame: Frame) -> int | None:
        answer = self.obey(frame)
        if answer is None:
            self.waits = frame
            return None
        status, rest = answer
        self.reply(frame, status, rest)
        return status

    def reply(self, frame: Frame, status: int, rest: bytes = b"") -> None:
        payload = bytes((status,)) + rest
        data = frame_bytes(Frame(self.address, frame.kind | REPLY, frame.seq, payload))
        if frame.kind in ORDERED and self.last == (frame.seq, frame.kind):
            self.last_reply = data
        self.out += data

    # Requests

    def obey(self, frame: Frame) -> tuple[int, bytes] | None:
        """Status and the rest of the reply; None if the answer comes later."""
        kind, payload = frame.kind, frame.payload
        if kind not in {*range(HELLO, READ + 1), *range(TRIGGER, PULSE + 1)}:
            return UNKNOWN_KIND, b""
        if kind != DATA and len(payload) != LENGTHS.get(kind, 0):
            return MALFORMED, b""
        if kind == HELLO:
            return DONE, self.hello(payload)
        if kind == OPEN:
            return self.open(payload), b""
        if kind == DATA:
            return self.piece(payload), b""
        if kind in (VERIFY, COMMIT):
            return self.later(kind)
        if kind == READ:
            return self.read(payload)
        if kind == STATUS:
            return DONE, self.status()
        if kind == JOG:
            return self.jog(payload), b""
        if kind == PULSE:
            return self.pulse(payload)
        return (DONE if kind == BEACON else self.ask(kind, payload)), b""

    def hello(self, payload: bytes) -> bytes:
        if payload != self.session:
            self.session, self.last, self.last_reply = payload, None, None
        show = self.store.table[6:10] or bytes(4)
        return (
            bytes((1, *FIRMWARE, 1, self.mode, 2))
            + struct.pack("<HBB", SLOT_BYTES, self.store.current, self.store.refusal)
            + show
            + bytes((CHUNK, WINDOW))
        )

    def open(self, payload: bytes) -> int:
        length, stated, address = struct.unpack("<HHB", payload)
        if self.waits is not None and self.waits.kind == COMMIT:
            return BUSY
        if length < 26 or address == NO_ADDRESS:
            return MALFORMED
        if length > SLOT_BYTES:
            return TOO_LARGE
        if address not in (EVERYBODY, self.address) and self.address != NO_ADDRESS:
            return WRONG_ADDRESS
        self.transfer, self.verified, self.waits = (length, stated, address), False, None
        self.store.open()
        return DONE

    def piece(self, payload: bytes) -> int:
        if len(payload) < 2:
            return MALFORMED
        if self.waits is not None:
            return BUSY
        if self.transfer is None:
            return OUT_OF_ORDER
        offset, data = payload[0] | payload[1] << 8, payload[2:]
        if not 1 <= len(data) <= CHUNK or offset + len(data) > self.transfer[0]:
            return MALFORMED
        if not self.store.has_room():
            return BUSY
        self.verified = False
        self.store.put(offset, data)
        return DONE

    def later(self, kind: int) -> tuple[int, bytes] | None:
        """A verify or a commit: None if it is answered when all is stored."""
        if kind == VERIFY and self.waits is not None and self.waits.kind == COMMIT:
            return BUSY, b""
        if self.transfer is None:
            return OUT_OF_ORDER, b""
        if kind == COMMIT:
            if not self.verified or self.waits is not None:
                return OUT_OF_ORDER, b""
            self.store.commit()
        return None

    def answer_waiting(self) -> bool:
        """Answer the verify or commit that waits; False if none does."""
        frame, self.waits = self.waits, None
        if frame is None:
            return False
        if frame.kind == VERIFY:
            self.reply(frame, *self.verdict())
        else:
            self.reply(frame, DONE)
            self.transfer = None
            self.store.choose()
            self.start_show()
        return True

    def verdict(self) -> tuple[int, bytes]:
        assert self.transfer is not None
        length, stated, address = self.transfer
        table = self.store.held(length)
        found, code = crc(table[:-2]), refusal(table)
        if code == 0 and address not in (EVERYBODY, table[5]):
            code = 6
        status = DONE
        if found != stated or found != table[-2] | table[-1] << 8:
            status = CRC_DIFFERS
        elif code:
            status = TABLE_REFUSED
        self.verified = status == DONE
        return status, struct.pack("<HB", found, code)

    def read(self, payload: bytes) -> tuple[int, bytes]:
        offset, count = struct.unpack("<HB", payload)
        if not 1 <= count <= CHUNK:
            return MALFORMED, b""
        if self.mode == BLANK_MODE:
            return NOT_IN_THIS_MODE, b""
        return DONE, self.store.table[offset : offset + count]

    def ask(self, kind: int, payload: bytes) -> int:
        """A request to the player."""
        a, b = (*payload, 0, 0)[:2]
        if kind == BUTTON and not (1 <= a <= 31 and b <= 1):
            return MALFORMED
        needed = {TRIGGER: READY_MODE, STANDBY: LIMP_MODE}.get(kind)
        if kind == BUTTON and b:
            needed = READY_MODE
        if self.player is None or needed not in (None, self.mode):
            return NOT_IN_THIS_MODE
        if kind == TRIGGER:
            tag = a | b << 8
            if all(cue.tag != tag for cue in self.player.table.cues):
                return NO_SUCH_CUE
            self.asked.append(("trigger", tag, 0))
        elif kind == BUTTON:
            self.asked.append(("button", a, b))
            (self.held.add if b else self.held.discard)(a)
        else:
            self.asked.append(({STOP: "stop", LIMP: "limp", STANDBY: "standby"}[kind], 0, 0))
        return DONE

    def jog(self, payload: bytes) -> int:
        servo, pulse = struct.unpack("<BH", payload)
        if self.player is None or self.mode != LIMP_MODE:
            return NOT_IN_THIS_MODE
        if servo >= len(self.player.last_pulses) or not 800 <= pulse <= 5200:
            return MALFORMED
        if self.player.refuses_jog():
            return STOPPED
        self.asked.append(("jog", servo, pulse))
        return DONE

    def pulse(self, payload: bytes) -> tuple[int, bytes]:
        if self.player is None:
            return NOT_IN_THIS_MODE, b""
        if payload[0] >= len(self.player.last_pulses):
            return MALFORMED, b""
        return DONE, struct.pack("<H", self.player.last_pulses[payload[0]])

    def status(self) -> bytes:
        mode, live, cues, refused, overruns = self.player.end_state() if self.player else [0] * 5
        frames = self.player.next_frame if self.player else 0
        counters = (min(n, 65535) for n in (self.bad_frames, 0, refused, overruns, 0, 0))
        return struct.pack("<BBBBII6H", mode, 1, live, self.store.refusal, frames, cues, *counters)
