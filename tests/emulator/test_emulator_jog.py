"""A servo of a limp board is jogged on the emulated chip: the pulses on its pin, to the cycle."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from firmware_gen.chips import FIRST, Chip
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import HELD_FRAMES, ReportedMode, Status
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.records import InputRecord
from sim.rulebook import JOG_STEP
from tests.emulator.emulated import CYCLES_US, EmulatedBoard, Running
from tests.emulator.emulated_port import EmulatedPort
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import in_slot, one_move_table
from tests.seqlang.flap_show import SHOW, table_of
from tests.seqlang.hands import UP, Hands

TICK_CYCLES = CYCLES_US // 2
STOP_PIN = "PC5"


def test_a_jogged_servo_gets_each_step_from_where_it_stood_and_no_other_servo_a_pulse(
    firmware: Firmware,
) -> None:
    with firmware.board(in_slot(one_move_table(chip=firmware.chip))) as board:
        port = EmulatedPort(board)
        link = HostLink(port)
        link.greet()
        board.run(ms=1000)
        assert link.state().mode == ReportedMode.READY
        assert link.jog(1, 3000).status == Status.NOT_IN_THIS_MODE
        assert link.limp().done
        board.run(ms=60)
        stood = link.pulse(1)
        port.forget()
        board.run(ms=100)
        assert [len(board.pulses(pin)[1]) for pin in firmware.servos] == [0] * len(firmware.servos)
        port.forget()
        wanted = stood + 5 * JOG_STEP + 7
        assert link.jog(1, wanted).done
        board.run(ms=20 * (HELD_FRAMES + 20))
        widths = board.pulses(firmware.servos[1])[1].tolist()
        rising = [stood + JOG_STEP * step for step in range(1, 6)]
        ticks = [*rising, *[wanted] * (HELD_FRAMES - 1 - len(rising))]
        assert widths == [TICK_CYCLES * one for one in ticks]
        assert [len(board.pulses(pin)[1]) for pin in firmware.servos[2:]] == [0] * (
            len(firmware.servos) - 2
        )
        assert link.pulse(1) == wanted


def test_limp_ends_a_jog_on_the_chip_within_a_frame(firmware: Firmware) -> None:
    with firmware.board(in_slot(one_move_table(chip=firmware.chip))) as board:
        port = EmulatedPort(board)
        link = HostLink(port)
        link.greet()
        board.run(ms=1000)
        link.limp()
        board.run(ms=60)
        assert link.jog(0, 800).done
        board.run(ms=100)
        asked = board.cycle
        assert link.limp().done
        board.run(ms=300)
        starts = board.pulses(firmware.servos[0])[0]
        assert len(starts) > 4
        assert starts[-1] <= asked + 2 * 20_000 * CYCLES_US


def stoppable(chip: Chip) -> bytes:
    """The small table, with a stop button on a pin."""
    table = decode(one_move_table(chip=chip))
    inputs = (InputRecord(chip.pin(STOP_PIN), 2, active_low=True),)
    return encode(replace(table, inputs=inputs, stop_button=2))


def test_a_wired_stop_button_ends_a_jog_on_the_chip_although_the_host_goes_on_asking(
    firmware: Firmware,
) -> None:
    pin, stop = firmware.servos[0], firmware.chip.pin(STOP_PIN)
    with firmware.board(in_slot(stoppable(firmware.chip))) as board:
        board.press(stop, 1)
        port = EmulatedPort(board)
        link = HostLink(port)
        link.greet()
        board.run(ms=1000)
        link.limp()
        board.run(ms=60)
        assert link.jog(0, 5000).done
        board.run(ms=100)
        asked = board.cycle
        board.press(stop, 0, asked)
        board.run(ms=100)
        for ms in (200, 200, 200, 200, 0):
            assert link.jog(0, 5000).status == Status.STOPPED
            board.run(ms=ms)
        assert board.pulses(pin)[0][-1] <= asked + 3 * 20_000 * CYCLES_US  # seen 20 ms later
        board.run(ms=600)
        assert link.jog(0, 5000).status == Status.STOPPED  # the button is down
        board.press(stop, 1, board.cycle)
        board.run(ms=60)
        port.forget()
        assert link.jog(0, 5000).done
        board.run(ms=100)
        assert len(board.pulses(pin)[0]) > 2


def test_the_command_turns_a_servo_of_the_chip_over_its_serial_port(
    flash: bytes, tmp_path: Path
) -> None:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=1, far=40))
    with EmulatedBoard(flash, in_slot(table_of(path))) as board:
        port = board.pty(pace=1.0)
        with Running(board), Hands("jog", str(path), "--port", port) as hands:
            hands.begin()
            hands.press(UP, "the board: 1010.0 us")
            hands.press("3", "step       50 us")
            hands.press(UP, "the board: 1060.0 us")
            hands.press(" ", "LIMP.")
            hands.leave("q", "no servo has pulses")
            assert hands.ended() == 0
        starts, widths = board.pulses(FIRST.pin("PB1"))
        ticks = widths // TICK_CYCLES
        assert set((widths % TICK_CYCLES).tolist()) == {0}
        assert ticks[-1] == 2 * 1060
        assert abs(np.diff(ticks)).max() <= JOG_STEP
        assert (board.cycle - starts[-1]) > 2 * 20_000 * CYCLES_US
