"""Transfers: done, or the old show still plays, and why."""

from __future__ import annotations

import random
import struct
from contextlib import suppress
from dataclasses import replace

import pytest
from faulty_port import FAULTS, GOOD, FaultyPort
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tables import NEW, OLD, small_table

from firmware_gen.board.slots import FIRST_BYTE
from firmware_gen.board.storage import Eeprom
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import crc16
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import NO_ADDRESS, Hello, ReportedMode, RequestKind
from firmware_gen.link.transfer import check_board, choose_table
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import VERSION
from firmware_gen.table.records import Table
from tests.unchecked import transfer_unchecked, unchecked

WRITE_S = ATMEGA328P.memory.write_s


def board_with(table: bytes, write_s: float = 0.0) -> VirtualBoard:
    virtual = VirtualBoard(write_s=write_s)
    if table:
        transfer_unchecked(HostLink(LocalPort(virtual)), table)
    return virtual


def long_table() -> bytes:
    rng = random.Random(2)
    colours = tuple((rng.randrange(201), rng.randrange(201), rng.randrange(201)) for _ in range(64))
    return encode(Table(ATMEGA328P.chip_id, 1, colours=colours))


def test_a_transfer_puts_the_table_into_the_other_slot_and_reads_it_back() -> None:
    virtual = board_with(OLD)
    steps: list[tuple[str, int, int]] = []
    done = transfer_unchecked(
        HostLink(LocalPort(virtual)), NEW, progress=lambda *step: steps.append(step)
    )
    assert virtual.board.slots.table == NEW
    assert (done.slot, done.address, done.length, done.repeats, done.restarts) == (
        1,
        1,
        len(NEW),
        0,
        0,
    )
    assert done.crc == int.from_bytes(NEW[-2:], "little")
    assert [step[0] for step in steps if step[1] in (0, len(NEW))] == [
        "transfer",
        "transfer",
        "verify",
        "read back",
        "done",
    ]
    counts = [count for step, count, _ in steps if step == "transfer"]
    assert counts == sorted(counts)


def test_storing_is_what_takes_the_time() -> None:
    """Within 1.1 times the 3.4 ms that each changed byte takes."""
    virtual = board_with(b"", write_s=WRITE_S)
    table = long_table()
    transfer_unchecked(HostLink(LocalPort(virtual)), table)
    assert virtual.time_s < 1.1 * WRITE_S * virtual.eeprom.writes


@settings(max_examples=150)
@given(st.lists(st.sampled_from((GOOD, *FAULTS)), max_size=120))
def test_whatever_happens_to_frames_the_new_show_plays_or_the_old_one_does(
    faults: list[str],
) -> None:
    virtual = board_with(OLD)
    link = HostLink(FaultyPort(LocalPort(virtual), faults))
    try:
        transfer_unchecked(link, NEW)
    except LinkFailure:
        assert virtual.board.slots.table in (OLD, NEW)
    else:
        assert virtual.board.slots.table == NEW
    virtual.restart()
    assert virtual.board.slots.table in (OLD, NEW)


@settings(max_examples=150)
@given(st.lists(st.tuples(st.sampled_from(FAULTS), st.integers(2, 6)), max_size=40))
def test_a_transfer_survives_every_third_frame_spoilt(faults: list[tuple[str, int]]) -> None:
    script = [each for fault, good in faults for each in [fault, *[GOOD] * good]]
    virtual = board_with(OLD)
    transfer_unchecked(HostLink(FaultyPort(LocalPort(virtual), script)), NEW)
    assert virtual.board.slots.table == NEW


@pytest.mark.parametrize("seed", range(12))
def test_a_board_that_restarts_on_the_way_is_flashed_all_the_same(seed: int) -> None:
    virtual = board_with(OLD, write_s=WRITE_S)
    rng = random.Random(seed)

    class Restarting(LocalPort):
        restarts = 0

        def write(self, data: bytes) -> None:
            if self.restarts < 2 and rng.random() < 0.08:
                self.restarts += 1
                self.virtual.restart()
            super().write(data)

    port = Restarting(virtual)
    done = transfer_unchecked(HostLink(port), NEW)
    assert virtual.board.slots.table == NEW
    assert done.restarts <= port.restarts


def test_a_board_that_restarts_after_it_took_the_show_is_not_sent_it_again() -> None:
    """Its reply to commit is lost with the restart: what it plays says that all is done."""
    virtual = board_with(OLD)
    opened: list[RequestKind] = []

    class RestartingOnce(LocalPort):
        has_restarted = False

        def write(self, data: bytes) -> None:
            if data[3] == RequestKind.OPEN:
                opened.append(RequestKind.OPEN)
            super().write(data)

        def read(self, timeout_s: float) -> bytes:
            found = super().read(timeout_s)
            if self.virtual.board.slots.table != NEW or self.has_restarted:
                return found
            self.has_restarted = True
            self.virtual.restart()
            return b""

    done = transfer_unchecked(HostLink(RestartingOnce(virtual)), NEW)
    assert (done.restarts, len(opened)) == (1, 1)
    assert virtual.board.slots.table == NEW


def test_a_board_that_restarts_again_and_again_is_given_up_and_plays_the_old_show() -> None:
    virtual = board_with(OLD)

    class Restarting(LocalPort):
        def write(self, data: bytes) -> None:
            if data[3] == RequestKind.VERIFY:
                self.virtual.restart()
            super().write(data)

    with pytest.raises(LinkFailure, match="lost the transfer: it restarted") as failure:
        transfer_unchecked(HostLink(Restarting(virtual)), NEW)
    assert failure.value.reason == "board-reset"
    assert virtual.board.slots.table == OLD


@pytest.mark.parametrize("count", range(0, 40, 3))
def test_a_cable_pulled_at_any_time_leaves_the_old_show_or_the_new_one(count: int) -> None:
    virtual = board_with(OLD)
    link = HostLink(FaultyPort(LocalPort(virtual), [GOOD] * count + ["drop"] * 500))
    with suppress(LinkFailure):
        transfer_unchecked(link, NEW)
    virtual.restart()
    assert virtual.board.slots.table in (OLD, NEW)
    assert transfer_unchecked(HostLink(LocalPort(virtual)), NEW).length == len(NEW)


def test_worn_out_memory_ends_in_verify_failed_and_the_old_show_plays() -> None:
    class Worn(Eeprom):
        def write(self, address: int, value: int) -> None:
            super().write(address, value)
            if address == FIRST_BYTE + ATMEGA328P.slot_bytes + 14:
                self.cells[address] = 0x77

    virtual = VirtualBoard(Worn(), write_s=0.0)
    transfer_unchecked(HostLink(LocalPort(virtual)), OLD)
    with pytest.raises(LinkFailure, match="verify failed") as failure:
        transfer_unchecked(HostLink(LocalPort(virtual)), NEW)
    assert failure.value.reason == "verify-failed"
    virtual.restart()
    assert virtual.board.slots.table == OLD


def test_a_byte_that_was_stored_wrongly_once_is_sent_again() -> None:
    class SpoilsOnce(Eeprom):
        has_spoilt = False

        def write(self, address: int, value: int) -> None:
            super().write(address, value)
            if address == FIRST_BYTE + ATMEGA328P.slot_bytes + 14 and not self.has_spoilt:
                self.has_spoilt = True
                self.cells[address] ^= 0x10

    virtual = VirtualBoard(SpoilsOnce(), write_s=0.0)
    transfer_unchecked(HostLink(LocalPort(virtual)), OLD)
    assert transfer_unchecked(HostLink(LocalPort(virtual)), NEW).restarts == 1
    assert virtual.board.slots.table == NEW


def test_too_large_a_table_is_told_with_both_sizes_and_nothing_is_sent() -> None:
    small_chip = replace(ATMEGA328P, memory=replace(ATMEGA328P.memory, slot=60))
    virtual = VirtualBoard(chip=small_chip, write_s=0.0)
    with pytest.raises(LinkFailure, match="79 bytes, the board's slots hold 60") as failure:
        transfer_unchecked(HostLink(LocalPort(virtual)), OLD)
    assert failure.value.reason == "table-too-large"
    assert virtual.eeprom.writes == 0


def test_a_board_with_another_address_keeps_its_show() -> None:
    virtual = board_with(small_table(address=7))
    with pytest.raises(LinkFailure, match="address 7, the table is for address 1") as failure:
        transfer_unchecked(HostLink(LocalPort(virtual)), NEW)
    assert failure.value.reason == "wrong-address"
    assert "--readdress" in (failure.value.help or "")
    assert virtual.board.slots.table == small_table(address=7)


def test_a_spare_board_takes_another_address_on_purpose() -> None:
    virtual = board_with(small_table(address=7))
    done = transfer_unchecked(HostLink(LocalPort(virtual)), NEW, readdress=True)
    assert done.address == 1
    assert virtual.board.slots.table == NEW


def test_another_chip_is_told() -> None:
    hello = Hello(1, 1, 0, 9, ReportedMode.BLANK, 2, 500, 255, 1, 0, 32, 2)
    with pytest.raises(LinkFailure, match="made for the ATmega328P, the board's chip is chip 9"):
        check_board(hello, NO_ADDRESS, OLD)


def test_a_table_that_the_firmware_refuses_is_told_with_the_reason() -> None:
    """A later program's table on an earlier firmware: made by turning the version up."""
    later = bytearray(NEW)
    later[1] = VERSION + 1
    later[-2:] = struct.pack("<H", crc16(bytes(later[:-2])))
    virtual = board_with(OLD)
    with pytest.raises(LinkFailure, match="a version that the firmware does not know") as failure:
        transfer_unchecked(HostLink(LocalPort(virtual)), bytes(later))
    assert failure.value.reason == "table-refused"
    assert virtual.board.slots.table == OLD


# -- which board of the show is it -------------------------------------------------------------

TABLES = {
    "head": unchecked(small_table(address=1)),
    "tail": unchecked(small_table(address=2)),
}
ONLY = {"only": unchecked(OLD)}


def test_the_connected_board_is_found_by_its_address() -> None:
    assert choose_table(TABLES, 2, None) == "tail"
    assert choose_table(ONLY, NO_ADDRESS, None) == "only"
    assert choose_table(ONLY, 9, None) == "only"
    assert choose_table(TABLES, NO_ADDRESS, "head") == "head"


@pytest.mark.parametrize(
    ("address", "wanted", "readdress", "reason", "words"),
    [
        (NO_ADDRESS, None, False, "board-unclear", "2 boards, and the connected one has no addre"),
        (2, None, True, "board-unclear", "the show has 2 boards"),
        (5, None, False, "wrong-address", "address 5, which no board of the show has"),
        (1, "fin", False, "board-unclear", "no board `fin`"),
    ],
)
def test_an_unclear_board_is_asked_for_with_the_names_there_are(
    address: int, wanted: str | None, readdress: bool, reason: str, words: str
) -> None:
    with pytest.raises(LinkFailure, match=words) as failure:
        choose_table(TABLES, address, wanted, readdress=readdress)
    assert failure.value.reason == reason
    assert "head (address 1), tail (address 2)" in (failure.value.help or "")
