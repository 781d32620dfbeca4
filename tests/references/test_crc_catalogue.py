"""The check sum against the CRC catalogue and a general CRC library."""

from __future__ import annotations

import pytest
from crccheck.crc import Crc16Ibm3740
from hypothesis import given
from hypothesis import strategies as st

from firmware_gen.crc import crc16

# CRC-16/IBM-3740. The check value of "123456789" is the one in Greg Cook's catalogue of
# parametrised CRC algorithms, reveng.sourceforge.io/crc-catalogue (seen quoted with its link).
# The other rows were recomputed with three independent implementations, not seen in print.
VECTORS = [
    (b"123456789", 0x29B1),
    (b"", 0xFFFF),
    (b"\0", 0xE1F0),
    (b"\0\0\0\0", 0x84C0),
    (b"\xff\xff\xff\xff", 0x1D0F),
    (b"A", 0xB915),
    (bytes(range(256)), 0x3FBD),
]


@pytest.mark.parametrize(("data", "check"), VECTORS)
def test_check_values_are_those_of_the_catalogue(data: bytes, check: int) -> None:
    assert crc16(data) == check


@given(st.binary(max_size=600))
def test_it_equals_a_general_library(data: bytes) -> None:
    assert crc16(data) == Crc16Ibm3740.calc(data)


@given(st.binary(max_size=90), st.binary(max_size=90))
def test_it_goes_on_where_it_stopped(first: bytes, rest: bytes) -> None:
    assert crc16(rest, crc16(first)) == crc16(first + rest)


@pytest.mark.parametrize("length", range(1, 90))
def test_zeroed_data_never_passes(length: int) -> None:
    assert crc16(bytes(length)) != 0


def test_up_to_three_flipped_bits_in_a_frame_are_always_found() -> None:
    """Hamming distance 4 up to 32751 data bits.

    The polynomial is 0x8810 in Koopman's notation; the distance was recomputed, the length not
    seen in print. CRCs are linear, so an error pattern is missed exactly if its own CRC with
    start value 0 is 0: three bits somewhere in the 85 bytes of the longest frame.
    """
    bits = 85 * 8
    syndromes = [crc16((1 << bit).to_bytes(85, "big"), 0) for bit in range(bits)]
    seen = set(syndromes)
    assert len(seen) == bits
    assert 0 not in seen
    for first in range(bits):
        for second in range(first):
            assert syndromes[first] ^ syndromes[second] not in seen
