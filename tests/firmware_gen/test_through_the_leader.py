"""A host reaches boards through the one that leads them: virtual boards, a line with faults."""

from __future__ import annotations

import pytest

from firmware_gen.board.wired import LineTrouble
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import ReportedMode, RequestKind, Status
from firmware_gen.link.transfer import ShowOn, transfer
from tests.firmware_gen.answering_boards import (
    ADDRESS,
    LEAD,
    NEW,
    NEW_SHOW,
    OLD,
    answering,
    host_of,
)
from tests.unchecked import unchecked

NODES = ("part", "small")


@pytest.mark.parametrize("name", NODES)
def test_each_board_says_its_show_and_its_state_through_the_one_that_leads(name: str) -> None:
    wired = answering()
    link = host_of(wired).through(ADDRESS[name])
    hello = link.greet()
    assert (link.address, hello.chip_id) == (ADDRESS[name], wired.boards[name].chip.chip_id)
    assert link.table() == OLD[name]
    assert link.state().mode == ReportedMode.READY
    assert link.name == "lead through board 1"


@pytest.mark.parametrize("trouble", [None, LineTrouble(0.2, 0.002)], ids=["whole", "lossy"])
@pytest.mark.parametrize("name", NODES)
def test_a_table_goes_through_the_board_that_leads(name: str, trouble: LineTrouble | None) -> None:
    wired = answering(trouble, write_s=0.0)
    link = host_of(wired).through(ADDRESS[name])
    done = transfer(link, unchecked(NEW[name], wired.boards[name].chip.name))
    assert done.address == ADDRESS[name]
    assert wired.boards[name].board.slots.table == NEW[name]
    for other in {"part", "small", LEAD} - {name}:
        assert wired.boards[other].board.slots.table == OLD[other]


@pytest.mark.parametrize("name", NODES)
def test_nothing_passes_that_starts_or_moves_something(name: str) -> None:
    wired = answering()
    link = host_of(wired).through(ADDRESS[name])
    link.greet()
    for kind in (RequestKind.TRIGGER, RequestKind.STOP, RequestKind.LIMP, RequestKind.STANDBY):
        with pytest.raises(LinkFailure, match="stopped answering"):
            link.ask(kind, b"\1\1" if kind == RequestKind.TRIGGER else b"")
    assert wired.boards[name].board.mode == ReportedMode.READY


def test_a_board_without_a_wire_back_does_not_answer() -> None:
    wired = answering()
    wired.deaf.add("part")
    with pytest.raises(LinkFailure, match="board 2 does not answer through the board on lead"):
        host_of(wired).through(ADDRESS["part"]).greet()


def test_boards_that_answer_one_another_s_host_keep_following() -> None:
    wired = answering()
    link = host_of(wired).through(ADDRESS["part"])
    link.greet()
    for _ in range(30):
        link.table()
        assert all(
            board.board.player is not None and board.board.player.follows
            for name, board in wired.boards.items()
            if name != LEAD
        )


@pytest.mark.parametrize("name", NODES)
def test_a_stop_at_the_board_that_leads_reaches_all_in_the_middle_of_a_transfer(name: str) -> None:
    wired = answering()
    lead = host_of(wired)
    link = lead.through(ADDRESS[name])
    stopped: list[float] = []

    def watch(step: str, done: int, total: int) -> None:
        if done > total // 2 and not stopped:
            stopped.append(wired.time_s)
            lead.stop()

    transfer(link, unchecked(NEW[name], wired.boards[name].chip.name), progress=watch)
    assert stopped
    wired.advance(wired.time_s + 2.0)
    assert [board.board.mode for board in wired.boards.values()] == [ReportedMode.LIMP] * 3


@pytest.mark.parametrize("write_s", [0.0, None], ids=["quick cells", "cells as they are"])
@pytest.mark.parametrize("who", [LEAD, "part"])
def test_a_board_that_loses_power_at_any_moment_of_a_transfer_has_the_old_show_or_the_new(
    who: str, write_s: float | None
) -> None:
    """The one that leads, or the one that is written; what the host knows is so."""
    facts, reasons = [], set()
    for cut_ms in range(0, 400, 10 if write_s is None else 4):
        wired = answering(write_s=write_s)
        link = host_of(wired).through(ADDRESS["part"])
        cut_s = wired.time_s + cut_ms / 1000
        known = ShowOn()

        def cut(
            step: str,
            done: int,
            total: int,
            wired=wired,
            cut_s=cut_s,  # type: ignore[no-untyped-def]
        ) -> None:
            if wired.time_s >= cut_s:
                wired.unplug(who)

        try:
            transfer(link, unchecked(NEW["part"], "atmega2560"), progress=cut, show_on=known)
        except LinkFailure as failure:
            reasons.add(failure.reason)
        wired.plug(who)
        wired.advance(wired.time_s + 1.0)
        has = wired.boards["part"].board.slots.table
        assert has in (OLD["part"], NEW["part"])
        if known.fact != "unknown":
            assert has == (NEW["part"] if known.fact == "new" else OLD["part"])
        facts.append(known.fact)
    assert "old" in facts
    assert reasons == {"no-answer"}


def test_a_board_that_leads_and_restarts_in_the_middle_lets_the_transfer_go_on() -> None:
    wired = answering(write_s=0.0)
    link = host_of(wired).through(ADDRESS["part"])
    hit: list[bool] = []

    def reset(step: str, done: int, total: int) -> None:
        if done > total // 2 and not hit:
            hit.append(True)
            wired.boards[LEAD].restart()

    transfer(link, unchecked(NEW["part"], "atmega2560"), progress=reset)
    assert hit
    assert wired.boards["part"].board.slots.table == NEW["part"]


def test_a_whole_creature_gets_a_new_show_over_one_plug_and_plays_it_together() -> None:
    wired = answering(LineTrouble(0.1, 0.0), write_s=0.0)
    lead = host_of(wired)
    transfer(lead, unchecked(NEW[LEAD], "atmega2560"))
    for name in NODES:
        transfer(lead.through(ADDRESS[name]), unchecked(NEW[name], wired.boards[name].chip.name))
    wired.trouble.lost = 0.0
    wired.advance(wired.time_s + 3.0)
    assert {lead.greet().show} | {lead.through(ADDRESS[name]).greet().show for name in NODES} == {
        NEW_SHOW
    }
    players = [board.board.player for board in wired.boards.values()]
    assert all(player is not None and player.follows for player in players[1:])


def test_two_hosts_at_a_board_are_told_apart_as_ever() -> None:
    """A second session at the board itself: the first is told that somebody else spoke to it."""
    wired = answering()
    link = host_of(wired).through(ADDRESS["part"])
    link.greet()
    reply = link.ask(RequestKind.COMMIT)
    assert reply.status == Status.OUT_OF_ORDER
