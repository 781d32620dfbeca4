"""A hundred thousand spoilt frames: none is taken for a good one, none hangs the board."""

from __future__ import annotations

from random import Random

import pytest
from cobs import cobs

from firmware_gen.crc import crc16
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import RequestKind, State, Status
from tests.firmware_gen.host.core import Core, available, library
from tests.firmware_gen.small_tables import GLOW, NOD, OLD

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

FRAMES = 100_000


def good(dice: Random, seq: int) -> bytes:
    kind = dice.choice(
        (
            RequestKind.TRIGGER,
            RequestKind.BUTTON,
            RequestKind.STATUS,
            RequestKind.DATA,
            RequestKind.READ,
            RequestKind.HELLO,
        )
    )
    payload = {
        RequestKind.TRIGGER: dice.choice((NOD, GLOW)).to_bytes(2, "little"),
        RequestKind.BUTTON: bytes((3, dice.randrange(2))),
        RequestKind.STATUS: b"",
        RequestKind.DATA: b"\0\0" + dice.randbytes(30),
        RequestKind.READ: b"\0\0\x20",
        RequestKind.HELLO: b"\1\0",
    }[kind]
    return encode(LinkFrame(0, kind, seq & 0xFF, payload))[1:-1]


def bad(dice: Random, seq: int) -> bytes:
    """What stands between two zeros and is no frame."""
    while True:
        encoded = bytearray(good(dice, seq))
        match dice.randrange(6):
            case 0:
                for _ in range(dice.randint(1, 3)):
                    encoded[dice.randrange(len(encoded))] ^= 1 << dice.randrange(8)
            case 1:
                del encoded[dice.randrange(len(encoded)) :]
            case 2:
                encoded = bytearray(dice.randbytes(dice.randint(1, 120)))
            case 3:
                body = bytearray(cobs.decode(bytes(encoded)))
                body[dice.randrange(len(body))] ^= dice.randint(1, 255)
                encoded = bytearray(cobs.encode(bytes(body)))
            case 4:
                encoded += good(dice, seq)
            case _:
                body = dice.randbytes(dice.choice((0, 1, 2, 82, 90, 200)))
                encoded = bytearray(cobs.encode(body + crc16(body).to_bytes(2, "little")))
        encoded = bytearray(byte or 1 for byte in encoded)
        if encoded and not Receiver().feed(bytes(encoded) + b"\0"):
            return bytes(encoded)


def state(core: Core, seq: int) -> State:
    answered = core.exchange(encode(LinkFrame(0, RequestKind.STATUS, seq & 0xFF)))
    (reply,) = Receiver().feed(answered)
    assert reply.seq == seq & 0xFF
    assert reply.payload[0] == Status.DONE
    return State.unpack(reply.payload[1:])


def test_of_100_000_spoilt_frames_none_is_accepted_and_good_ones_are_answered_after() -> None:
    dice = Random(26)
    core = Core(OLD)
    core.start()
    rows = FRAMES // 100
    for row in range(rows):
        core.feed(b"".join(bad(dice, n) + b"\0" for n in range(100)))
        core.settle()
        assert core.take() == b""
        if row % 10 == 0:
            core.frame()
            found = state(core, row)
            assert found.bad_frames == min(65535, 100 * (row + 1))
            assert found.refused == found.live_runs == 0
    assert library().host_bad() == 65535
    last = state(core, 7)
    assert last.frames == rows // 10


def test_arbitrary_bytes_in_rows_of_any_length_never_hang_the_board() -> None:
    dice = Random(27)
    core = Core(OLD)
    core.start()
    reference = Receiver()
    for number in range(3000):
        library().host_slow_line(dice.choice((0, 0, 5)), dice.randint(1, 90))
        noise = dice.randbytes(dice.randint(1, 300))
        assert reference.feed(noise) == []
        core.feed(noise)
        core.settle()
        core.take()
        if number % 20 == 0:
            assert reference.feed(b"\0") == []
            core.feed(b"\0")
            core.settle()
            core.take()
            library().host_slow_line(0, 50)
            state(core, number)
    assert reference.feed(b"\0") == []  # as the zero before the next frame ends what is left over
    before = state(core, 1)
    core.frames(50)
    after = state(core, 2)
    assert after.frames == before.frames + 50
    assert (after.live_runs, after.refusal) == (0, 0)
    assert before.bad_frames == reference.bad > 1500


@pytest.mark.parametrize(("payload", "is_good"), [(80, True), (81, False)])
def test_a_frame_holds_just_so_much(payload: int, is_good: bool) -> None:
    """80 bytes of payload fit (LINK.md, 2); one more makes the frame a bad one."""
    core = Core(OLD)
    core.start()
    body = bytes((0, RequestKind.STATUS, 9)) + bytes(range(1, payload + 1))
    core.exchange(b"\0" + cobs.encode(body + crc16(body).to_bytes(2, "little")) + b"\0")
    assert state(core, 3).bad_frames == (0 if is_good else 1)
