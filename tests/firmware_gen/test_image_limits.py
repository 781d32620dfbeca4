"""Where an image's records break, and how much can be merged behind it, from both sides."""

from __future__ import annotations

import pytest

from firmware_gen.build.image import (
    ImageError,
    flash_bytes,
    merged_room,
    shipped,
    write_hex,
)
from firmware_gen.chips import CHIPS
from tests.unchecked import merge_unchecked

CHIP = "atmega328p"
START = CHIPS[CHIP].memory.merged_start
STAMP = 2
"""Bytes behind a merged table (LINK.md, 6)."""


def records(memory: dict[int, int]) -> list[tuple[int, int]]:
    """Address and length of each data record."""
    lines = write_hex(memory).splitlines()
    assert lines[-1] == ":00000001FF"
    return [(int(line[3:7], 16), int(line[1:3], 16)) for line in lines[:-1]]


@pytest.mark.parametrize(
    ("addresses", "expected"),
    [
        (range(16), [(0, 16)]),
        (range(17), [(0, 16), (16, 1)]),
        (range(8, 24), [(8, 16)]),
        ([0, 1, 3], [(0, 2), (3, 1)]),
        ([5], [(5, 1)]),
        ([], []),
        (range(0x100, 0x120), [(0x100, 16), (0x110, 16)]),
    ],
)
def test_records_hold_sixteen_bytes_at_most_and_no_gap(
    addresses: range | list[int], expected: list[tuple[int, int]]
) -> None:
    assert records(dict.fromkeys(addresses, 7)) == expected


def test_flash_between_the_stated_bytes_is_erased() -> None:
    assert flash_bytes({0: 1, 3: 2}) == bytes([1, 0xFF, 0xFF, 2])
    assert flash_bytes({}) == b""


def test_the_room_ends_at_the_boot_loader_or_with_the_flash() -> None:
    """32 KB of flash, of which the boot loader has the last 512 bytes (ATmega328P data sheet)."""
    assert merged_room(CHIP, boot_loader=False) == 0x8000 - START - STAMP
    assert merged_room(CHIP) == 0x7E00 - START - STAMP


@pytest.mark.parametrize("boot_loader", [True, False])
def test_a_table_as_large_as_the_room_is_merged_and_one_byte_more_is_not(boot_loader: bool) -> None:
    room = merged_room(CHIP, boot_loader=boot_loader)
    whole = merge_unchecked({0: 1}, bytes([5]) * room, boot_loader=boot_loader, stamp=0x0102)
    end = 0x7E00 if boot_loader else 0x8000
    assert sorted(whole) == [0, *range(START, end)]
    assert [whole[end - n] for n in (3, 2, 1)] == [5, 2, 1]
    hint = r" \(without a boot loader" if boot_loader else "$"
    with pytest.raises(ImageError, match=f"has {room + 1} bytes; {room} can be merged{hint}"):
        merge_unchecked({0: 1}, bytes(room + 1), boot_loader=boot_loader)


def test_a_firmware_may_reach_up_to_the_merged_table_and_no_farther() -> None:
    assert merge_unchecked({START - 1: 1}, b"t", stamp=0)[START] == ord("t")
    with pytest.raises(ImageError, match=f"beyond 0x{START:04x}"):
        merge_unchecked({START: 1}, b"t", stamp=0)


def test_a_stamp_is_drawn_where_none_is_given() -> None:
    drawn = {bytes(merge_unchecked({}, b"")[START + n] for n in range(STAMP)) for _ in range(20)}
    assert len(drawn) > 15


def test_a_chip_without_an_image_is_told_which_have_one() -> None:
    with pytest.raises(ImageError, match=f"no firmware for `none`; there is one for .*{CHIP}"):
        shipped("none")
    assert shipped(CHIP).is_file()
