"""A host reaches boards through the one that leads them: emulated chips, wired both ways.

The figures stand in FIRMWARE.md.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from typing import Any

import numpy as np
import pytest

from firmware_gen.chips import CHIPS, Chip
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.frames import decode
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import HUB_KIND, ONE_WAY, ReportedMode
from firmware_gen.link.transfer import ShowOn, Transferred, transfer
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import FOLLOWS
from tests.emulator.emulated import (
    BYTE_CYCLES,
    CLOCK_HZ,
    LINE,
    LINE_LOST,
    PORT,
    RESET,
    RX_LOST,
    TX,
    EmulatedBoard,
)
from tests.emulator.led_boards import HUB, SHOW, Led, LedPort, answering_of, led, led_table
from tests.emulator.load_show import load_servos
from tests.unchecked import unchecked

SMALL = CHIPS["atmega328p"]
CHIPS_TOGETHER = (HUB, HUB, SMALL)
NEW_SHOW = SHOW + 1
READY_S = 1.5
FRAME_S = 0.02
TICK_CYCLES = 8
"""Of the processor's in half a microsecond, the unit of pulses."""


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as opened:
        yield opened


def started(stack: ExitStack, *, loaded: bool, ppm: Sequence[float] = ()) -> Led:
    boards = led(stack, CHIPS_TOGETHER, ppm, loaded=loaded, answers=True)
    for board in boards.boards:
        board.log(PORT, TX, LINE, RX_LOST, LINE_LOST, RESET)
    boards.run(READY_S)
    return boards


def new_table(number: int, *, loaded: bool) -> bytes:
    """Of a board, by its number among them: another version of the same show."""
    chip: Chip = CHIPS_TOGETHER[number]
    return encode(
        led_table(
            *(chip, number + 1, FOLLOWS),
            loaded=loaded,
            answering=answering_of(CHIPS_TOGETHER, number),
            show=NEW_SHOW,
        )
    )


@pytest.mark.parametrize("number", [1, 2], ids=["large", "small"])
@pytest.mark.parametrize("loaded", [False, True], ids=["at rest", "at full load"])
def test_a_board_says_its_show_through_the_one_that_leads(
    stack: ExitStack, number: int, loaded: bool
) -> None:
    boards = started(stack, loaded=loaded)
    lead = HostLink(LedPort(boards))
    assert lead.greet().show == SHOW
    node = lead.through(number + 1)
    assert node.greet().show == SHOW
    state = node.state()
    assert (state.mode, state.bad_frames, state.lost_bytes) == (ReportedMode.READY, 0, 0)


def put(boards: Led, number: int, **more: Any) -> Transferred:
    """A new table, which rests, goes to a board through the one that leads."""
    lead = HostLink(LedPort(boards))
    lead.greet()
    table = unchecked(new_table(number, loaded=False), CHIPS_TOGETHER[number].name)
    return transfer(lead.through(number + 1), table, **more)


@pytest.mark.parametrize("number", [1, 2], ids=["large", "small"])
def test_a_table_goes_through_the_board_that_leads_at_full_load_and_nothing_else_notices(
    stack: ExitStack, number: int
) -> None:
    boards = started(stack, loaded=True)
    done = put(boards, number)
    assert (done.address, done.repeats, done.restarts) == (number + 1, 0, 0)
    for board in boards.boards:
        assert len(board.events(RX_LOST, LINE_LOST)) == 0
        assert len(board.events(RESET)) == 1
    assert_states_go_first(boards)
    for other in (0, 3 - number):
        assert_pulses_are_exact(boards.boards[other])


def assert_states_go_first(boards: Led) -> None:
    """What passes has left the line before the next state begins: that waits for nothing."""
    rows = boards.hub.events(LINE)
    data, at = bytes(rows["a"].astype("u1")), rows["cycle"].astype(np.int64)
    whole = [n for n, byte in enumerate(data) if byte == 0]
    frames = [
        (at[first], at[last], decode(data[first + 1 : last]).kind)
        for first, last in itertools.pairwise(whole)
        if last - first > 1
    ]
    kinds = [kind for _, _, kind in frames]
    assert kinds.count(HUB_KIND | ONE_WAY) > 50
    passed = [n for n, kind in enumerate(kinds[:-1]) if kind != HUB_KIND | ONE_WAY]
    assert len(passed) > 30
    before_states = [n for n in passed if kinds[n + 1] == HUB_KIND | ONE_WAY]
    assert before_states
    for n in before_states:
        assert frames[n + 1][0] - frames[n][1] > BYTE_CYCLES * 2


def assert_pulses_are_exact(board: EmulatedBoard) -> None:
    for pin in load_servos(board.chip):
        _, widths = board.pulses(pin)
        assert len(widths) > 50
        assert np.all(widths % TICK_CYCLES == 0)


def test_a_limp_in_the_middle_of_a_transfer_reaches_every_board_within_two_frames(
    stack: ExitStack,
) -> None:
    boards = started(stack, loaded=True)
    at: list[float] = []

    def limp(step: str, done: int, total: int) -> None:
        if done > total // 2:
            at.append(boards.limp())
            raise LinkFailure("overtaken", "a stop came first")  # as the owner of the ports ends it

    with pytest.raises(LinkFailure):
        put(boards, 1, progress=limp)
    boards.run(0.5)
    for board in boards.boards:
        begins, _ = board.pulses(load_servos(board.chip)[0])
        assert at[0] - 2 * FRAME_S <= begins[-1] / CLOCK_HZ <= at[0] + 2 * FRAME_S


@pytest.mark.parametrize("number", [1, 2], ids=["large", "small"])
def test_a_table_arrives_over_wires_that_lose_frames_both_ways(
    stack: ExitStack, number: int
) -> None:
    boards = started(stack, loaded=False)
    for seed, wire in enumerate([*boards.wires, *boards.backs], 1):
        wire.trouble(seed, lost=0.05, flipped=0.001)
    assert put(boards, number).address == number + 1


@pytest.mark.parametrize("who", ["the one that leads", "the one that is written"])
@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 1.0])
def test_a_board_that_loses_its_power_in_mid_transfer_has_a_whole_show_in_the_end(
    stack: ExitStack, who: str, share: float
) -> None:
    """It comes back soon, and the host goes on or begins anew; a hub's host greets it by itself."""
    boards = started(stack, loaded=False)
    hit: list[bool] = []

    def cut(step: str, done: int, total: int) -> None:
        if done >= share * total and not hit:
            hit.append(True)
            (boards.hub if who == "the one that leads" else boards.nodes[0]).off(0.1)

    known = ShowOn()
    try:
        put(boards, 1, progress=cut, show_on=known)
    except LinkFailure as failure:
        assert failure.reason == "no-answer"  # noqa: PT017 - it may or may not come
    assert hit
    boards.run(1.0)
    node = HostLink(LedPort(boards))
    node.greet()
    has = node.through(2).greet().show
    assert has in (SHOW, NEW_SHOW)
    assert known.fact == "unknown" or has == (NEW_SHOW if known.fact == "new" else SHOW)
