"""Byte stuffing on the wire against published vectors and the paper's bound."""

from __future__ import annotations

import math

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from firmware_gen.link.frames import LinkFrame, decode, encode
from firmware_gen.link.protocol import MAX_ENCODED, MAX_PAYLOAD

# Cheshire and Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Transactions on Networking 7(2),
# 1999. The packet with 45 00 00 2C is the paper's example, from memory; the others are the pairs
# of the encyclopedia article on COBS, seen in public test files that quote them.
VECTORS = [
    ("", "01"),
    ("00", "01 01"),
    ("00 00", "01 01 01"),
    ("00 11 00", "01 02 11 01"),
    ("11 22 00 33", "03 11 22 02 33"),
    ("11 22 33 44", "05 11 22 33 44"),
    ("11 00 00 00", "02 11 01 01 01"),
    ("45 00 00 2C 4C 79 00 00 40 06 4F 37", "02 45 01 04 2C 4C 79 01 05 40 06 4F 37"),
    (bytes(range(1, 255)).hex(), "FF" + bytes(range(1, 255)).hex()),
    (bytes(range(255)).hex(), "01 FF" + bytes(range(1, 255)).hex()),
    (bytes(range(1, 256)).hex(), "FF" + bytes(range(1, 255)).hex() + "02 FF"),
    (bytes([*range(2, 256), 0]).hex(), "FF" + bytes(range(2, 256)).hex() + "01 01"),
    (bytes([*range(3, 256), 0, 1]).hex(), "FE" + bytes(range(3, 256)).hex() + "02 01"),
]


@pytest.mark.parametrize(("data", "stuffed"), VECTORS)
def test_the_library_stuffs_as_published(data: str, stuffed: str) -> None:
    assert cobs.encode(bytes.fromhex(data)) == bytes.fromhex(stuffed)
    assert cobs.decode(bytes.fromhex(stuffed)) == bytes.fromhex(data)


def stuff(data: bytes) -> bytes:
    """COBS written down from the paper's definition, apart from the library."""
    out = bytearray()
    for block in (data + b"\0").split(b"\0")[:-1]:
        while len(block) > 253:
            out += b"\xff" + block[:254]
            block = block[254:]
        out += bytes([len(block) + 1]) + block
    return bytes(out)


@given(
    st.integers(0, 255), st.integers(0, 255), st.integers(0, 255), st.binary(max_size=MAX_PAYLOAD)
)
def test_a_frame_on_the_wire_is_its_bytes_stuffed_between_zeros(
    to: int, kind: int, seq: int, payload: bytes
) -> None:
    wire = encode(LinkFrame(to, kind, seq, payload))
    body = cobs.decode(wire[1:-1])
    assert wire == b"\0" + stuff(body) + b"\0"
    assert body[:3] == bytes((to, kind, seq))
    assert 0 not in wire[1:-1]
    assert decode(wire[1:-1]) == LinkFrame(to, kind, seq, payload)


@given(st.binary(min_size=5, max_size=85))
def test_stuffing_costs_no_more_than_the_paper_says(body: bytes) -> None:
    """One byte in 254, rounded up (the paper's bound)."""
    assert len(cobs.encode(body)) - len(body) <= math.ceil(len(body) / 254)
    assert len(cobs.encode(body)) <= MAX_ENCODED
