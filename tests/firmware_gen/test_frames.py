"""Frames: found in any stream, never invented, never taken if damaged."""

from __future__ import annotations

import random

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from firmware_gen.crc import crc16
from firmware_gen.link.frames import FrameError, LinkFrame, Receiver, decode, encode
from firmware_gen.link.protocol import MAX_ENCODED, MAX_PAYLOAD

BYTE = st.integers(0, 255)
FRAMES = st.builds(LinkFrame, BYTE, BYTE, BYTE, st.binary(max_size=MAX_PAYLOAD))


@given(st.lists(FRAMES, max_size=6), st.data())
def test_frames_are_found_however_the_stream_is_cut(
    frames: list[LinkFrame], data: st.DataObject
) -> None:
    stream = b"".join(map(encode, frames))
    receiver = Receiver()
    found = []
    while stream:
        size = data.draw(st.integers(1, 50))
        found += receiver.feed(stream[:size])
        stream = stream[size:]
    assert found == frames
    assert (receiver.good, receiver.bad, receiver.noise) == (len(frames), 0, 0)


@given(st.binary(max_size=300), FRAMES)
def test_a_frame_is_found_after_any_rubbish(rubbish: bytes, frame: LinkFrame) -> None:
    receiver = Receiver()
    receiver.feed(rubbish)
    assert receiver.feed(encode(frame)) == [frame]


@given(FRAMES, st.integers(0, 90))
def test_a_frame_cut_short_does_not_spoil_the_next(frame: LinkFrame, cut: int) -> None:
    whole = encode(frame)
    receiver = Receiver()
    receiver.feed(whole[: min(cut, len(whole) - 2)])
    assert receiver.feed(whole) == [frame]
    assert receiver.bad <= 1


def test_a_frame_is_never_taken_with_up_to_three_flipped_bits_after_unstuffing() -> None:
    rng = random.Random(4)
    body = bytes((1, 0x10, 7)) + b"\x12\x34"
    body += crc16(body).to_bytes(2, "little")
    for _ in range(2000):
        spoilt = bytearray(body)
        for bit in rng.sample(range(8 * len(body)), rng.randint(1, 3)):
            spoilt[bit // 8] ^= 1 << bit % 8
        with pytest.raises(FrameError):
            decode(cobs.encode(bytes(spoilt)))


def test_the_longest_payload_fits_and_one_more_byte_does_not() -> None:
    longest = LinkFrame(1, 2, 3, bytes(range(1, MAX_PAYLOAD + 1)))
    assert len(encode(longest)) == MAX_ENCODED + 2
    assert Receiver().feed(encode(longest)) == [longest]
    with pytest.raises(FrameError, match="81 bytes of payload, at most 80 fit"):
        encode(LinkFrame(1, 2, 3, bytes(MAX_PAYLOAD + 1)))


def test_a_frame_longer_than_any_is_dropped_even_if_its_crc_is_right() -> None:
    body = bytes(range(1, 84)) + b"\x01"
    body += crc16(body).to_bytes(2, "little")
    receiver = Receiver()
    assert receiver.feed(b"\0" + cobs.encode(body) + b"\0") == []
    assert receiver.bad == 1


def test_endless_bytes_without_a_zero_take_no_memory() -> None:
    receiver = Receiver()
    for _ in range(1000):
        receiver.feed(b"\x55" * 1000)
    assert len(receiver._held) == MAX_ENCODED + 1
    assert receiver.unfinished == 1_000_000
    receiver.feed(b"\0")
    assert (receiver.bad, receiver.noise) == (1, 1_000_000)


@pytest.mark.parametrize("size", [0, 1, 4])
def test_a_frame_too_short_to_hold_its_header_and_crc_is_bad(size: int) -> None:
    body = bytes([9] * size)
    if size >= 2:
        body = body[:-2] + crc16(body[:-2]).to_bytes(2, "little")
    with pytest.raises(FrameError, match="too short"):
        decode(cobs.encode(body))


def test_zeros_alone_are_neither_frames_nor_bad() -> None:
    receiver = Receiver()
    assert receiver.feed(bytes(500)) == []
    assert (receiver.good, receiver.bad) == (0, 0)


def test_zeroed_frames_do_not_pass() -> None:
    for size in range(5, 86):
        with pytest.raises(FrameError):
            decode(cobs.encode(bytes(size)))
