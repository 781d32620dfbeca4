"""Servos of emulated boards are turned through the one that leads, and every way that ends it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack

import numpy as np
import pytest

from firmware_gen.chips import CHIPS
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import HELD_FRAMES, STOP_TELLINGS, ReportedMode, Status
from sim.rulebook import JOG_STEP
from tests.emulator.emulated import CLOCK_HZ, LINE_LOST, PORT, RESET, RX_LOST, TX, WATCHDOG
from tests.emulator.led_boards import HUB, LedPort, led
from tests.emulator.load_show import load_servos

TOGETHER = (HUB, HUB, CHIPS["atmega328p"])
FRAME_S = 0.02
SECOND_S = HELD_FRAMES * FRAME_S
TICK_CYCLES = 8
READY_S = 1.5
NODES = pytest.mark.parametrize("number", [1, 2], ids=["large", "small"])


class Bench:
    """Three limp boards, a host at the one that leads, and a way through it."""

    def __init__(self, stack: ExitStack, number: int) -> None:
        self.boards = led(stack, TOGETHER, loaded=False, answers=True)
        self.board = self.boards.boards[number]
        for board in self.boards.boards:
            board.log(PORT, TX, RX_LOST, LINE_LOST, RESET)
        self.run(READY_S)
        self.lead = HostLink(LedPort(self.boards))
        self.lead.greet()
        self.node = self.lead.through(number + 1)
        self.node.greet()
        assert self.lead.limp().done
        self.run(0.1)
        self.since = {board: board.cycle for board in self.boards.boards}

    def run(self, seconds: float) -> None:
        self.boards.run(seconds)

    def jog_for(self, seconds: float, ticks: int = 2600) -> None:
        end_s = self.boards.seconds + seconds
        while self.boards.seconds < end_s:
            assert self.node.jog(0, ticks).done
            self.run(0.15)

    def widths(self, board: object = None, servo: int = 0) -> tuple[list[float], list[int]]:
        """Since it is limp: when pulses began (s), and how wide they were (ticks)."""
        asked = self.board if board is None else board
        at, widths = asked.pulses(load_servos(asked.chip)[servo])  # type: ignore[attr-defined]
        later = at > self.since[asked]  # type: ignore[index]
        return list(at[later] / CLOCK_HZ), list(widths[later] // TICK_CYCLES)

    def assert_ended_by(self, limit_s: float) -> None:
        at, _ = self.widths()
        assert at[-1] <= limit_s


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as opened:
        yield opened


@NODES
def test_one_servo_is_turned_slowly_and_nothing_else_has_pulses(
    stack: ExitStack, number: int
) -> None:
    bench = Bench(stack, number)
    bench.jog_for(1.5)
    at, widths = bench.widths()
    assert widths[-1] == bench.node.pulse(0) == 2600
    assert np.abs(np.diff(widths)).max() <= JOG_STEP
    assert np.diff(at).max() < 1.5 * FRAME_S
    for board in bench.boards.boards:
        assert len(board.events(RX_LOST, LINE_LOST)) == 0
        others = range(len(load_servos(board.chip)))
        for servo in others[1:] if board is bench.board else others:
            assert bench.widths(board, servo) == ([], [])


@NODES
@pytest.mark.parametrize("what", ["stop", "limp"])
def test_a_stop_at_the_limp_board_that_leads_ends_it_within_three_frames(
    stack: ExitStack, number: int, what: str
) -> None:
    bench = Bench(stack, number)
    bench.jog_for(0.6)
    pressed_s = getattr(bench.boards, what)()
    bench.run(0.3)
    assert bench.node.jog(0, 2600).status == Status.STOPPED
    bench.run(SECOND_S - 0.2)
    bench.assert_ended_by(pressed_s + 3 * FRAME_S)
    bench.run(STOP_TELLINGS * FRAME_S)
    assert bench.node.jog(0, 2600).done


@NODES
def test_a_wire_that_is_cut_ends_it_within_a_second(stack: ExitStack, number: int) -> None:
    bench = Bench(stack, number)
    bench.jog_for(0.6)
    cut_s = bench.boards.seconds
    bench.boards.wires[number - 1].cut()
    with pytest.raises(LinkFailure, match="stopped answering"):
        bench.node.jog(0, 2600)
    bench.run(0.5)
    bench.assert_ended_by(cut_s + SECOND_S)


@NODES
def test_a_hub_that_its_watchdog_resets_passes_no_jog_before_it_is_greeted(
    stack: ExitStack, number: int
) -> None:
    bench = Bench(stack, number)
    bench.jog_for(0.6)
    reset_s = bench.boards.seconds
    bench.boards.hub.reset(WATCHDOG)
    bench.run(0.2)
    with pytest.raises(LinkFailure, match="restarted"):
        bench.node.jog(0, 2600)
    bench.run(SECOND_S)
    bench.assert_ended_by(reset_s + SECOND_S)
    assert bench.node.state().mode == ReportedMode.LIMP


@NODES
def test_wires_that_lose_frames_both_ways_make_no_jog_late(stack: ExitStack, number: int) -> None:
    bench = Bench(stack, number)
    for seed, wire in enumerate([*bench.boards.wires, *bench.boards.backs], 1):
        wire.trouble(seed, lost=0.05, flipped=0.001)
    bench.jog_for(1.0)
    pressed_s = bench.boards.stop()
    bench.run(0.2)
    for _ in range(4):
        bench.node.jog(0, 4000)
        bench.run(0.1)
    bench.assert_ended_by(pressed_s + (STOP_TELLINGS + 2) * FRAME_S)
