"""Virtual boards on one line: what the one that leads tells, losses, and parts that come off."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from random import Random

import pytest

from firmware_gen.board.virtual import VirtualBoard
from firmware_gen.board.wired import LineTrouble, WiredBoards, WiredServer, stored
from firmware_gen.chips import CHIPS_BY_ID
from firmware_gen.chips.atmega328p import CHIP as SMALL
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.ports import open_port
from firmware_gen.link.protocol import ReportedMode
from firmware_gen.player.in_step import ARRIVAL
from firmware_gen.table.encode import encode
from firmware_gen.table.records import Table
from sim.rulebook import FRAME_CLOCK, FRAME_S
from tests.firmware_gen.test_following import HOLD, WAVE, boards
from tests.unchecked import unchecked

LONGEST_S = 20


def virtual(table: Table) -> VirtualBoard:
    chip = CHIPS_BY_ID[table.chip]
    return VirtualBoard(stored(unchecked(encode(table), chip.name), chip), chip)


def creature(trouble: LineTrouble | None = None, count: int = 3) -> WiredBoards:
    """A board that leads, `lead`, and others, `part1` and so on; all are ready."""
    lead, parts = boards(count)
    found = {"lead": virtual(lead)} | {f"part{n}": virtual(t) for n, t in enumerate(parts, 1)}
    wired = WiredBoards(found, "lead", trouble, Random(1))
    wired.advance(1.0)
    return wired


def press(wired: WiredBoards, tag: int) -> None:
    player = wired.boards["lead"].board.player
    assert player is not None
    player.trigger(tag)


def running(wired: WiredBoards) -> list[int]:
    """The cues that run on each board, without its idle."""
    players = [board.board.player for board in wired.boards.values()]
    return [player.running_cues & 0b11 if player else 0 for player in players]


def wait(wired: WiredBoards, seconds: float) -> None:
    wired.advance(wired.time_s + seconds)


def test_a_press_at_the_board_that_leads_plays_on_all() -> None:
    wired = creature()
    press(wired, WAVE)
    wait(wired, 3 * FRAME_S)
    assert running(wired) == [1, 1, 1]


def test_boards_whose_frames_lie_apart_come_into_step_by_making_them_longer() -> None:
    lead, (part,) = boards(2)
    wired = WiredBoards({"lead": virtual(lead), "part": virtual(part)}, "lead")
    wired.unplug("part")
    wired.advance(1.0 + FRAME_S / 3)
    wired.plug("part")
    wait(wired, 3.0)
    assert abs(wired.boards["part"].board.moment - ARRIVAL) < FRAME_CLOCK / 100


def test_a_lossy_and_noisy_line_is_made_good() -> None:
    wired = creature(LineTrouble(lost=0.3, spoilt=0.01))
    for tag, runs in ((HOLD, 2), (WAVE, 1)):
        press(wired, tag)
        wait(wired, 0.5)
        assert running(wired) == [runs] * 3


def test_on_a_dead_line_no_board_follows() -> None:
    wired = creature()
    wired.trouble.lost = 1.0
    wait(wired, 1.5)
    press(wired, WAVE)
    wait(wired, 0.2)
    assert running(wired) == [1, 0, 0]


def test_a_part_that_was_unplugged_joins_and_the_others_do_not_notice() -> None:
    wired, twin = creature(), creature()
    for one in (wired, twin):
        press(one, WAVE)
        wait(one, 0.7)
    wired.unplug("part1")
    for one in (wired, twin):
        wait(one, 0.4)
    assert not wired.boards["part1"].has_power
    wired.plug("part1")
    assert wired.boards["part1"].board.mode == ReportedMode.STARTING
    for one in (wired, twin):
        wait(one, 0.6)
    assert running(wired) == [1, 1, 1]
    for name in ("lead", "part2"):
        mine, theirs = wired.boards[name].board.player, twin.boards[name].board.player
        assert mine is not None
        assert theirs is not None
        assert (mine.stood(0), mine.frames) == (theirs.stood(0), theirs.frames)


def test_a_part_without_feed_answers_nobody() -> None:
    wired = creature()
    wired.unplug("part1")
    board = wired.boards["part1"]
    frames = board.frames
    board.receive(b"\0\1\2\0")
    wait(wired, 1.0)
    assert (board.frames, board.board.take_output()) == (frames, b"")


def test_a_part_whose_signal_wire_is_cut_is_alone_until_it_is_mended() -> None:
    wired = creature()
    wired.deaf.add("part1")
    wait(wired, 1.5)
    press(wired, HOLD)
    wait(wired, 0.5)
    assert running(wired) == [2, 0, 2]
    wired.deaf.discard("part1")
    wait(wired, 1.0)
    assert running(wired) == [2, 2, 2]


def test_a_chip_without_a_port_for_the_line_hears_it_on_its_link() -> None:
    lead, (part,) = boards(2)
    servo = replace(part.outputs[0], pin=SMALL.pin("PB1"))
    small = replace(part, chip=SMALL.chip_id, outputs=(servo,))
    wired = WiredBoards({"lead": virtual(lead), "part": virtual(small)}, "lead")
    wired.advance(1.0)
    press(wired, WAVE)
    wait(wired, 3 * FRAME_S)
    assert running(wired) == [1, 1]
    board = wired.boards["part"].board
    assert (board.receiver.good > 40, board.frame_stretch) == (True, 0)


def test_boards_of_which_none_leads_hear_nothing_of_one_another() -> None:
    lead, (part,) = boards(2)
    wired = WiredBoards({"lead": virtual(lead), "part": virtual(part)}, None)
    wired.advance(1.0)
    press(wired, WAVE)
    wait(wired, 0.2)
    assert running(wired) == [1, 0]


def assert_soon(what: Callable[[], bool]) -> None:
    end_s = time.monotonic() + LONGEST_S
    while not what():
        assert time.monotonic() < end_s
        time.sleep(0.01)


@pytest.mark.parametrize(
    "pseudo_terminal",
    [
        False,
        pytest.param(True, marks=pytest.mark.skipif(os.name != "posix", reason="needs ptys")),
    ],
)
def test_each_board_has_a_port_and_a_trigger_at_the_leaders_shows_at_the_others(
    pseudo_terminal: bool,
) -> None:
    over = threading.Event()
    server = WiredServer(creature(), pseudo_terminal=pseudo_terminal)
    played = threading.Thread(target=server.serve, args=(lambda: not over.is_set(),))
    played.start()
    ports = {name: open_port(url) for name, url in server.urls.items()}
    try:
        links = {name: HostLink(port) for name, port in ports.items()}
        assert [link.greet().mode for link in links.values()] == [ReportedMode.READY] * 3
        assert not links["part1"].trigger(WAVE).done
        assert links["lead"].trigger(WAVE).done
        followers = (links["part1"], links["part2"])
        assert_soon(lambda: all(link.state().running_cues & 1 for link in followers))
    finally:
        for port in ports.values():
            port.close()
        over.set()
        played.join()


def test_the_ports_of_a_show_have_numbers_one_behind_the_other() -> None:
    wired = creature()
    first = WiredServer(wired)
    number = int(first.urls["part2"].rsplit(":", 1)[1])
    with pytest.raises(LinkFailure) as caught:
        WiredServer(wired, tcp_port=number - 1)
    assert (caught.value.reason, f"at {number}" in caught.value.message) == ("no-port", True)
    first.close()
    numbered = WiredServer(wired, tcp_port=number)
    assert [int(url.rsplit(":", 1)[1]) - number for url in numbered.urls.values()] == [0, 1, 2]
    numbered.close()
