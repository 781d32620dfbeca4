"""Boards that follow one that leads: emulated chips, wired together, clocks apart.

The figures stand in FIRMWARE.md.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import ExitStack

import numpy as np
import pytest

from firmware_gen.link.protocol import BAUD
from firmware_gen.player.hub_state import LINE_BYTES
from firmware_gen.serial_rates import BITS_OF_A_BYTE, RADIO_BAUDS
from firmware_gen.table.records import RadioRecord
from tests.emulator.emulated import LINE_LOST, PORT, RESET, RX_LOST
from tests.emulator.led_boards import HUB, MOVE_MS, Led, apart, last_servo, led, rests, starts
from tests.emulator.load_show import load_servos

FRAME_S = 0.02
LATENCY_S = 0.04
TICK_CYCLES = 8
"""Of the processor's in half a microsecond, the unit of pulses."""
FAST, SLOW = 10_000.0, -10_000.0
"""Clocks 1 % fast and slow (ppm)."""
BOARDS = (HUB, HUB, HUB)
READY_S = 2.0


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as opened:
        yield opened


def started(
    stack: ExitStack,
    ppm: tuple[float, ...] = (0.0, FAST, SLOW),
    radio: RadioRecord | None = None,
    move_ms: int = MOVE_MS,
) -> Led:
    """A board that leads two others, at full load; all are ready and in step."""
    boards = led(stack, BOARDS, ppm, radio=radio, move_ms=move_ms)
    for board in boards.boards:
        board.log(PORT, RX_LOST, LINE_LOST, RESET)
    boards.run(READY_S)
    for board in boards.boards:
        assert len(board.events(RESET)) == 1, "power-up and no other reset"
    return boards


def play(boards: Led, seconds: float, pause: float, seed: int = 1) -> list[float]:
    """Cues one after another, at changing moments of the frame; when each was asked for."""
    draw = random.Random(seed)
    end, asked = boards.seconds + seconds, []
    while boards.seconds < end:
        asked.append(boards.trigger(("go", "back")[len(asked) % 2]))
        boards.run(pause + draw.uniform(0, FRAME_S))
    return asked


def lost_bytes(boards: Led) -> int:
    return sum(len(board.events(RX_LOST, LINE_LOST)) for board in boards.boards)


def test_a_cue_shows_on_every_board_within_40_ms_and_on_two_at_most_a_frame_apart(
    stack: ExitStack,
) -> None:
    boards = started(stack)
    asked = np.array(play(boards, 8.0, 0.2))
    boards.run(0.3)
    for board, ppm in zip(boards.boards, boards.ppm, strict=True):
        shown = starts(board, ppm)
        assert len(shown) == len(asked)
        assert (shown - asked).min() > 0
        assert (shown - asked).max() <= LATENCY_S
    assert apart(boards).max() <= FRAME_S
    assert lost_bytes(boards) == 0


@pytest.mark.parametrize("seconds", [20, pytest.param(600, marks=pytest.mark.long)])
def test_boards_with_clocks_1_percent_apart_stay_within_a_frame(
    stack: ExitStack, seconds: int
) -> None:
    boards = started(stack)
    for _ in range(seconds // 10):
        for board in boards.boards:
            board.forget()
        asked = play(boards, 10.0, 1.0)
        boards.run(0.3)
        assert len(apart(boards)) == len(asked)
        assert apart(boards).max() <= FRAME_S
        assert lost_bytes(boards) == 0


@pytest.mark.parametrize("baud", [19_200, 57_600])
def test_boards_that_hear_the_leader_over_a_radio_end_a_move_within_a_frame_of_it(
    stack: ExitStack, baud: int
) -> None:
    """At the slowest rate, and at one that ports make at double speed; full load, clocks apart.

    Nobody hears of a cue before the radio brings it, so it starts later and catches up.
    """
    bits = BITS_OF_A_BYTE * LINE_BYTES
    late = round(256_000 * bits * (1 / baud - 1 / BAUD))
    radio = RadioRecord(RADIO_BAUDS.index(baud), late)
    boards = started(stack, radio=radio, move_ms=300)
    asked = np.array(play(boards, 6.0, 0.5))
    boards.run(0.3)
    for board, ppm in zip(boards.boards, boards.ppm, strict=True):
        shown = starts(board, ppm)
        assert len(shown) == len(asked)
        assert (shown - asked).max() <= LATENCY_S + FRAME_S
    assert apart(boards).max() <= 2 * FRAME_S
    assert apart(boards, rests).max() <= FRAME_S
    assert lost_bytes(boards) == 0


def test_pulses_are_exact_while_frames_are_made_longer_and_shorter(stack: ExitStack) -> None:
    boards = started(stack)
    for board in boards.boards:
        board.forget()
    boards.run(4.0)
    for board in boards.boards:
        pins = load_servos(board.chip)
        for pin in pins:
            _, widths = board.pulses(pin)
            assert len(widths) > 150
            assert np.all(widths % TICK_CYCLES == 0)
        _, resting = board.pulses(last_servo(board))
        assert np.ptp(resting) == 0
        begins, _ = board.pulses(pins[0])
        away = np.abs(np.diff(begins) - 0.02 * 16e6)
        assert np.median(np.diff(begins)) == pytest.approx(0.02 * 16e6, rel=0.02)
        assert np.mean(away <= 0.02 * 0.02 * 16e6 + 2 * 32000) == 1


@pytest.mark.parametrize("seed", [1, 2])
def test_boards_are_in_step_within_a_second_of_the_last_loss(stack: ExitStack, seed: int) -> None:
    boards = started(stack)
    for wire in boards.wires:
        wire.trouble(seed, lost=0.3, flipped=0.002)
    play(boards, 3.0, 0.15, seed)
    for wire in boards.wires:
        wire.cut()
    play(boards, 0.5, 0.15, seed)
    noise = random.Random(seed)
    for node in boards.nodes:
        node.hear(noise.randbytes(200))
    boards.run(0.2)
    for wire in boards.wires:
        wire.cut(False)
        wire.trouble(seed)
    back = boards.seconds
    boards.run(0.4)
    for name in ("go", "back"):  # what was over before the line came back is not made up
        boards.trigger(name)
        boards.run(0.25)
    boards.run(max(0.0, back + 1.0 - boards.seconds))
    for board in boards.boards:
        board.forget()
    asked = np.array(play(boards, 2.0, 0.25, seed))
    boards.run(0.3)
    assert apart(boards).max() <= FRAME_S
    for board, ppm in zip(boards.boards, boards.ppm, strict=True):
        assert len(starts(board, ppm)) == len(asked)
        assert (starts(board, ppm) - asked).max() <= LATENCY_S
    for board in boards.boards:
        assert len(board.events(RESET)) == 0


@pytest.mark.parametrize("off_s", [0.05, 0.7, 1.6])
def test_a_board_that_loses_power_comes_back_quietly_and_the_others_do_not_notice(
    stack: ExitStack, off_s: float
) -> None:
    boards = started(stack)
    play(boards, 0.6, 0.3)
    for board in boards.boards:
        board.forget()
    at = boards.seconds
    boards.nodes[0].off(off_s)
    asked = play(boards, off_s + 2.5, 0.25)
    boards.run(0.3)
    node = boards.nodes[0]
    back = (at + off_s) * 16e6 * 1.01
    first = {
        pin: int(node.pulses(pin)[0][node.pulses(pin)[0] > back][0]) for pin in load_servos(HUB)
    }
    between = np.diff(sorted(first.values()))
    assert between.min() > 0.5 * FRAME_S * 16e6, "one by one"
    hub, other = starts(boards.hub), starts(boards.nodes[1], SLOW)
    assert len(hub) == len(other) == len(asked)
    assert (hub - asked).max() <= LATENCY_S
    assert np.abs(hub - other).max() <= FRAME_S
    late = hub[hub > at + off_s + 1.5]
    again = starts(node, FAST)
    for each in late:
        assert np.abs(again - each).min() <= FRAME_S
    for board in (boards.hub, boards.nodes[1]):
        assert len(board.events(RESET)) == 0


def test_stop_and_limp_at_the_board_that_leads_reach_every_board(stack: ExitStack) -> None:
    boards = started(stack)
    boards.limp()
    boards.run(0.04 + FRAME_S)
    for board in boards.boards:
        board.forget()
    boards.run(0.5)
    for board in boards.boards:
        for pin in load_servos(board.chip):
            assert len(board.pulses(pin)[0]) == 0
