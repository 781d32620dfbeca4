"""Power may fail at any instant of a transfer: the board then plays the old show or the new one."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import ReportedMode, RequestKind, ResetCause, State
from firmware_gen.table.encode import encode
from firmware_gen.table.records import LampRecord, Table
from tests.emulator.emulated import (
    BROWN_OUT,
    EEPROM,
    EXTERNAL,
    FRAME_CYCLES,
    WATCHDOG,
)
from tests.emulator.emulated_port import EmulatedPort, PowerCutError
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import ADDRESS, in_slot, one_move_table
from tests.emulator.readings import driven
from tests.emulator.test_emulator_edges import A_WINDOW, WINDOW
from tests.unchecked import transfer_unchecked

WRITE_CYCLES = 54_400
"""3.4 ms (data sheet table 8-1)."""


def small(firmware: Firmware, level: int) -> bytes:
    """A table short enough to cut its transfer at every write."""
    lamp = LampRecord(firmware.wiring.lamps[0], level)
    return encode(Table(firmware.chip.chip_id, ADDRESS, outputs=(lamp,), show=level))


def state_of(link: HostLink) -> State:
    return State.unpack(link.ask(RequestKind.STATUS).rest)


def writes_of(firmware: Firmware, eeprom: bytes, table: bytes) -> list[int]:
    """Cycles at which the EEPROM writes of a clean transfer end."""
    with firmware.board(eeprom) as board:
        board.run(ms=200)
        transfer_unchecked(HostLink(EmulatedPort(board)), table)
        return [int(cycle) for cycle in board.events(EEPROM)["cycle"]]


def show_after_cut(
    firmware: Firmware, eeprom: bytes, table: bytes, cycle: int, torn: int | None
) -> int:
    with firmware.board(eeprom) as board:
        board.run(ms=200)
        port = EmulatedPort(board)
        port.cut_at = cycle
        with pytest.raises(PowerCutError):
            transfer_unchecked(HostLink(port), table)
        board.cut_power(torn)
        board.run(ms=300)
        hello = HostLink(EmulatedPort(board)).greet()
        assert hello.refusal == 0
        return hello.show


@pytest.mark.parametrize("torn", [None, 0x00, 0xFF, 0x5A])
def test_a_cut_at_every_single_write_leaves_the_old_show_or_the_new_one(
    firmware: Firmware, torn: int | None
) -> None:
    old, new = small(firmware, 60), small(firmware, 140)
    eeprom = in_slot(old)
    ends = writes_of(firmware, eeprom, new)
    assert len(ends) >= len(new) - 4
    seen = set()
    for end in ends:
        # Half-way through the write for a torn cell, right behind it otherwise.
        cycle = end + 100 if torn is None else end - WRITE_CYCLES // 2
        seen.add(show_after_cut(firmware, eeprom, new, cycle, torn))
    assert seen <= {60, 140}
    assert 60 in seen


def test_with_both_slots_bad_the_board_is_silent_and_still_reachable(firmware: Firmware) -> None:
    with firmware.board(bytes(range(256)) * 4) as board:
        board.run(ms=500)
        link = HostLink(EmulatedPort(board))
        hello = link.greet()
        assert (hello.mode, hello.current_slot) == (ReportedMode.BLANK, 255)
        assert hello.refusal != 0
        assert driven(board) == 0, "a pin is driven"
        transfer_unchecked(link, small(firmware, 80))
        assert HostLink(EmulatedPort(board)).greet().show == 80


def test_a_bad_slot_falls_back_to_the_other(firmware: Firmware) -> None:
    cells = bytearray(in_slot(small(firmware, 60), 0))
    cells[504 : 504 + len(small(firmware, 140))] = small(firmware, 140)
    cells[1004] = 0xC3
    cells[504 + 10] ^= 1
    with firmware.board(bytes(cells)) as board:
        board.run(ms=300)
        hello = HostLink(EmulatedPort(board)).greet()
        assert (hello.show, hello.current_slot) == (60, 0)


def test_unchanged_bytes_are_not_written_again(firmware: Firmware) -> None:
    eeprom = in_slot(small(firmware, 60))
    with firmware.board(eeprom) as board:
        board.run(ms=200)
        transfer_unchecked(HostLink(EmulatedPort(board)), small(firmware, 140))
        board.forget()
        transfer_unchecked(HostLink(EmulatedPort(board)), small(firmware, 140))
        cells = board.events(EEPROM)
        assert len(cells) > 0
        assert all(row["b"] & 0xFF != row["b"] >> 8 for row in cells)


def test_pins_are_quiet_until_the_servos_come_one_after_another(firmware: Firmware) -> None:
    with firmware.board(in_slot(one_move_table(chip=firmware.chip))) as board:
        board.run(ms=500)
        first = [int(board.pulses(pin)[0][0]) for pin in firmware.servos]
        gaps = np.diff(first)
        windows = np.diff(np.arange(len(first)) // A_WINDOW) * WINDOW
        assert all(np.abs(gaps - windows - FRAME_CYCLES) < 5000), gaps
        for pin in firmware.servos:
            _, levels = board.edges(pin)
            assert levels[0] == 1, "something moved before the first pulse"


@pytest.mark.parametrize(
    ("cause", "bit"),
    [
        (EXTERNAL, ResetCause.EXTERNAL),
        (BROWN_OUT, ResetCause.BROWN_OUT),
        (WATCHDOG, ResetCause.WATCHDOG),
    ],
)
def test_the_state_tells_why_the_board_started_and_how_often(
    firmware: Firmware, cause: int, bit: ResetCause
) -> None:
    with firmware.board(in_slot(small(firmware, 60))) as board:
        board.run(ms=200)
        link = HostLink(EmulatedPort(board))
        link.greet()
        assert state_of(link).reset_cause == ResetCause.POWER_ON
        for times in (1, 2):
            board.reset(cause)
            board.run(ms=200)
            link = HostLink(EmulatedPort(board))
            link.greet()
            state = state_of(link)
            assert state.reset_cause == bit
            assert state.watchdog_resets == (times if cause == WATCHDOG else 0)
            assert state.brown_out_resets == (times if cause == BROWN_OUT else 0)


def test_a_program_that_hangs_is_started_again_by_the_watchdog(firmware: Firmware) -> None:
    with firmware.board(in_slot(small(firmware, 60))) as board:
        board.run(ms=300)
        board.poke(0x6F, 0)  # TIMSK1: no ticks any more, so no frame is played
        board.run(ms=400)
        link = HostLink(EmulatedPort(board))
        link.greet()
        state = state_of(link)
        assert state.reset_cause == ResetCause.WATCHDOG
        assert state.watchdog_resets == 1


def test_a_reset_board_refuses_triggers_until_it_is_greeted(firmware: Firmware) -> None:
    with firmware.board(in_slot(one_move_table(chip=firmware.chip))) as board:
        board.run(ms=600)
        link = HostLink(EmulatedPort(board))
        link.greet()
        board.reset(EXTERNAL)
        board.run(ms=600)
        with pytest.raises(LinkFailure) as failure:
            link.ask(RequestKind.STOP)
        assert failure.value.reason == "board-reset"
