"""Slots: whatever happens to the power, a board plays its old show or its new one."""

from __future__ import annotations

import random
from contextlib import suppress

import pytest
from small_tables import NEW, OLD, small_table

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.slots import FIRST_BYTE, MARKS
from firmware_gen.board.storage import Eeprom, PowerLossError
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import NO_SLOT
from firmware_gen.table.layout import BAD_CRC, BAD_MAGIC, LENGTH
from tests.unchecked import transfer_unchecked

SLOT = ATMEGA328P.slot_bytes
MARK_AT = FIRST_BYTE + 2 * SLOT
TORN = (None, 0x00, 0xFF, 0x5A, *MARKS)
"""What a byte may hold whose write was cut: its old value, erased, or anything."""


def send(eeprom: Eeprom, table: bytes) -> None:
    transfer_unchecked(HostLink(LocalPort(VirtualBoard(eeprom, write_s=0.0))), table)


def copy_of(eeprom: Eeprom) -> Eeprom:
    return Eeprom(eeprom.size, bytes(eeprom.cells))


def board_with(table: bytes) -> Eeprom:
    eeprom = Eeprom()
    send(eeprom, table)
    return eeprom


def writes_of(eeprom: Eeprom, table: bytes) -> int:
    trial = copy_of(eeprom)
    send(trial, table)
    return trial.writes


@pytest.mark.parametrize("torn", TORN)
@pytest.mark.parametrize("history", [(OLD,), (NEW, OLD), (OLD, NEW, OLD)])
def test_power_cut_at_every_byte_leaves_the_old_show_or_the_new_one(
    history: tuple[bytes, ...], torn: int | None
) -> None:
    start = Eeprom()
    for table in history:
        send(start, table)
    new = small_table(safe=-2000, interval=7)
    total = writes_of(start, new)
    assert total > 5
    played = []
    for cut in range(total):
        eeprom = copy_of(start)
        eeprom.cut_after, eeprom.torn = cut, torn
        with pytest.raises(PowerLossError):
            send(eeprom, new)
        again = copy_of(eeprom)
        played.append(ReferenceBoard(again).slots.table)
        assert played[-1] in (OLD, new), f"neither show after {cut} writes"
        send(again, new)
        assert ReferenceBoard(again).slots.table == new, f"cannot be flashed after {cut} writes"
    assert set(played[:-1]) == {OLD}, "the new show plays before the mark is written"


def test_power_cut_twice_in_a_row_still_leaves_the_old_show_or_the_new_one() -> None:
    start = board_with(OLD)
    total = writes_of(start, NEW)
    rng = random.Random(7)
    for _ in range(500):
        eeprom = start
        for _ in range(2):
            eeprom = copy_of(eeprom)
            eeprom.cut_after, eeprom.torn = rng.randrange(total), rng.choice(TORN)
            with suppress(PowerLossError):
                send(eeprom, NEW)
            assert ReferenceBoard(copy_of(eeprom)).slots.table in (OLD, NEW)


def test_power_cut_on_a_blank_board_leaves_it_blank_or_with_the_new_show() -> None:
    total = writes_of(Eeprom(), NEW)
    for torn in TORN:
        for cut in range(total):
            eeprom = Eeprom()
            eeprom.cut_after, eeprom.torn = cut, torn
            with pytest.raises(PowerLossError):
                send(eeprom, NEW)
            assert ReferenceBoard(copy_of(eeprom)).slots.table in (b"", NEW)


def test_a_spoilt_mark_is_mended_before_the_next_transfer_can_make_it_matter() -> None:
    """With no mark and a complete but uncommitted table in slot 0, slot 1 must still win."""
    start = board_with(OLD)
    send(start, OLD)
    assert ReferenceBoard(start).slots.current == 1
    start.cells[FIRST_BYTE] = 0xFF
    start.cells[MARK_AT] = 0x00
    assert ReferenceBoard(start).slots.table == OLD
    total = writes_of(start, NEW)
    for cut in range(1, total - 1):
        eeprom = copy_of(start)
        eeprom.cut_after = cut
        with pytest.raises(PowerLossError):
            send(eeprom, NEW)
        assert ReferenceBoard(copy_of(eeprom)).slots.table == OLD


def test_bytes_that_do_not_change_are_not_written() -> None:
    eeprom = board_with(OLD)
    send(eeprom, OLD)
    before = eeprom.writes
    send(eeprom, NEW)
    differing = sum(old != new for old, new in zip(OLD[1:], NEW[1:], strict=True))
    first_byte_twice_and_mark = 3
    assert eeprom.writes - before == differing + first_byte_twice_and_mark


def test_no_cell_before_the_slots_or_behind_the_mark_is_ever_written() -> None:
    eeprom = Eeprom()
    rng = random.Random(1)
    for _ in range(6):
        send(eeprom, small_table(safe=rng.randrange(-4000, 4000), interval=rng.randrange(20)))
    assert not any(eeprom.wear[:FIRST_BYTE])
    assert not any(eeprom.wear[MARK_AT + 1 :])


def test_a_bad_slot_falls_back_to_the_other() -> None:
    eeprom = board_with(OLD)
    send(eeprom, NEW)
    board = ReferenceBoard(eeprom)
    assert board.slots.table == NEW
    eeprom.cells[FIRST_BYTE + board.slots.current * SLOT + 40] ^= 1
    assert ReferenceBoard(eeprom).slots.table == OLD


def test_two_bad_slots_leave_a_board_that_is_silent_and_still_reachable() -> None:
    eeprom = board_with(OLD)
    send(eeprom, NEW)
    for slot in range(2):
        eeprom.cells[FIRST_BYTE + slot * SLOT + 40] ^= 1
    board = ReferenceBoard(eeprom)
    assert (board.slots.current, board.slots.refusal) == (NO_SLOT, BAD_CRC)
    assert board.frame() is None
    send(eeprom, NEW)
    assert ReferenceBoard(eeprom).slots.table == NEW


@pytest.mark.parametrize(
    ("cell", "value", "refusal"), [(0, 0, BAD_MAGIC), (2, 11, LENGTH), (30, 1, BAD_CRC)]
)
def test_the_refusal_told_is_that_of_the_slot_the_mark_names(
    cell: int, value: int, refusal: int
) -> None:
    eeprom = board_with(OLD)
    eeprom.cells[FIRST_BYTE + cell] = value
    assert ReferenceBoard(eeprom).slots.refusal == refusal


def test_any_stored_bytes_at_all_give_a_board_that_starts() -> None:
    rng = random.Random(3)
    for _ in range(200):
        eeprom = Eeprom(contents=rng.randbytes(1024))
        board = ReferenceBoard(eeprom)
        assert board.slots.table == b""
        assert board.frame() is None
