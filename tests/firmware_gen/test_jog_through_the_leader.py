"""A servo of a limp board is turned through the one that leads, and every way that ends it."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest

from firmware_gen.board.board import Witness
from firmware_gen.board.wired import LineTrouble, WiredPort
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import (
    DATA,
    EVERYBODY,
    HELD_FRAMES,
    JOG,
    ONE_WAY,
    OPEN,
    REPLY,
    STOP_TELLINGS,
    ReportedMode,
    RequestKind,
    ResetCause,
    Status,
)
from firmware_gen.player.outputs import Frame
from sim.rulebook import FRAME_S
from tests.firmware_gen.answering_boards import ADDRESS, LEAD, NEW, STOP_BUTTON, answering, host_of
from tests.unchecked import unchecked

NODES = ("part", "small")
TICKS = 2400
SECOND_S = HELD_FRAMES * FRAME_S
NEXT_FRAMES_S = 3 * FRAME_S
"""In which what is asked of the board that leads has reached the others."""


class Pulses(Witness):
    """When each pulse of a board was given, and how wide it was."""

    def __init__(self) -> None:
        self.now: Callable[[], float] = float
        self.given: list[tuple[float, int]] = []

    def played(self, frame: Frame | None) -> None:
        if frame and any(frame.pulses):
            self.given.append((self.now(), max(frame.pulses)))

    @property
    def last_s(self) -> float:
        return self.given[-1][0]


class Creature:
    """Boards that are limp, a host at the one that leads, and a way through it."""

    def __init__(self, name: str, trouble: LineTrouble | None = None) -> None:
        self.name = name
        self.pulses = {board: Pulses() for board in (LEAD, *NODES)}
        self.wired = answering(trouble, 0.0, self.pulses)
        for board, pulses in self.pulses.items():
            pulses.now = lambda board=board: self.wired.boards[board].time_s  # type: ignore[misc]
        self.lead = host_of(self.wired)
        self.node = self.lead.through(ADDRESS[name])
        self.node.greet()
        self.lead.limp()
        self.wait(0.1)
        for pulses in self.pulses.values():
            pulses.given.clear()

    @property
    def now(self) -> float:
        return self.wired.time_s

    def wait(self, seconds: float) -> None:
        self.wired.advance(self.now + seconds)

    def jog(self, ticks: int = TICKS) -> int:
        return self.node.jog(0, ticks).status

    def jog_for(self, seconds: float) -> None:
        end_s = self.now + seconds
        while self.now < end_s:
            assert self.jog() == Status.DONE
            self.wait(0.1)

    def mode(self, name: str) -> ReportedMode:
        return self.wired.boards[name].board.mode

    def press_button_at(self, name: str, *, down: bool = True) -> None:
        player = self.wired.boards[name].board.player
        assert player is not None
        player.button(STOP_BUTTON, down)

    def assert_ended(self, by_s: float) -> None:
        """No board gives a pulse after that moment, though the host asks again and again."""
        self.wait(max(0.0, by_s - self.now))
        seen = len(self.pulses[self.name].given)
        for _ in range(4):
            assert self.jog() != Status.DONE
            self.wait(0.05)
        assert len(self.pulses[self.name].given) == seen
        assert not self.pulses[LEAD].given


@pytest.mark.parametrize("name", NODES)
def test_a_servo_of_a_limp_board_is_turned_and_only_that_one(name: str) -> None:
    creature = Creature(name)
    stood = creature.node.pulse(0)
    creature.jog_for(1.0)
    widths = [ticks for _, ticks in creature.pulses[name].given]
    assert abs(widths[0] - stood) <= 20
    assert max(abs(b - a) for a, b in itertools.pairwise(widths)) <= 20
    assert creature.node.pulse(0) == widths[-1] == TICKS
    assert not any(creature.pulses[other].given for other in {LEAD, *NODES} - {name})


@pytest.mark.parametrize("name", NODES)
@pytest.mark.parametrize("what", ["stop", "limp", "standby"])
def test_a_stop_at_the_limp_board_that_leads_ends_it_in_the_next_frames(
    name: str, what: str
) -> None:
    creature = Creature(name)
    creature.jog_for(0.5)
    assert getattr(creature.lead, what)().done
    if what == "standby":
        creature.wait(NEXT_FRAMES_S)
        assert creature.mode(name) == ReportedMode.STARTING
        assert creature.jog() == Status.NOT_IN_THIS_MODE
    else:
        creature.assert_ended(creature.now + NEXT_FRAMES_S)
        assert creature.mode(name) == creature.mode(LEAD) == ReportedMode.LIMP


@pytest.mark.parametrize("name", NODES)
def test_it_is_taken_again_when_a_second_has_passed_since_the_stop_was_told(name: str) -> None:
    creature = Creature(name)
    creature.jog_for(0.3)
    creature.lead.stop()
    creature.wait(SECOND_S - 4 * FRAME_S)
    assert creature.jog() == Status.STOPPED
    creature.wait((STOP_TELLINGS + 6) * FRAME_S)
    assert creature.jog() == Status.DONE
    creature.wait(0.1)
    assert creature.pulses[name].last_s > creature.now - 2 * FRAME_S


@pytest.mark.parametrize("name", NODES)
@pytest.mark.parametrize("where", [LEAD, "there"])
def test_a_stop_button_ends_it_and_holds_it_off_as_long_as_it_is_down(
    name: str, where: str
) -> None:
    creature = Creature(name)
    at = name if where == "there" else LEAD
    creature.jog_for(0.5)
    creature.press_button_at(at)
    creature.assert_ended(creature.now + NEXT_FRAMES_S)
    creature.wait(3.0)
    assert creature.jog() == Status.STOPPED
    creature.press_button_at(at, down=False)
    creature.wait(0.1)
    assert creature.jog() == Status.DONE


@pytest.mark.parametrize("name", NODES)
def test_a_stop_is_told_over_a_line_that_loses_half_of_all(name: str) -> None:
    creature = Creature(name)
    creature.jog_for(0.3)
    creature.wired.trouble.lost = 0.5
    creature.lead.stop()
    told_s = creature.now
    creature.wait(SECOND_S)
    assert creature.pulses[name].last_s <= told_s + STOP_TELLINGS * FRAME_S


@pytest.mark.parametrize("name", NODES)
@pytest.mark.parametrize("what", ["the wire is cut", "the host dies", "the hub loses its power"])
def test_what_goes_missing_ends_it_within_a_second(name: str, what: str) -> None:
    creature = Creature(name)
    creature.jog_for(0.5)
    gone_s = creature.now
    if what == "the wire is cut":
        creature.wired.deaf.add(name)
        with pytest.raises(LinkFailure, match="stopped answering"):
            creature.jog()
    elif what == "the hub loses its power":
        creature.wired.unplug(LEAD)
    creature.wait(3 * SECOND_S)
    assert creature.pulses[name].last_s <= gone_s + SECOND_S
    assert creature.mode(name) == ReportedMode.LIMP


@pytest.mark.parametrize("name", NODES)
def test_a_hub_that_was_reset_passes_no_jog_before_it_is_greeted_anew(name: str) -> None:
    creature = Creature(name)
    creature.jog_for(0.5)
    creature.wired.boards[LEAD].restart(ResetCause.WATCHDOG)
    # as the chip does after a watchdog, before its first frame
    limp = LinkFrame(EVERYBODY, RequestKind.LIMP | ONE_WAY, 1, b"")
    creature.wired.receive(LEAD, encode(limp))
    reset_s = creature.now
    for _ in range(3):
        with pytest.raises(LinkFailure, match="restarted"):
            creature.jog()
    creature.wait(2.0)
    assert creature.mode(LEAD) == creature.mode(name) == ReportedMode.LIMP
    assert creature.pulses[name].last_s <= reset_s + SECOND_S
    creature.lead.greet()
    assert creature.jog() == Status.DONE


@pytest.mark.parametrize("name", NODES)
def test_it_is_refused_unless_both_boards_are_limp(name: str) -> None:
    creature = Creature(name)
    creature.lead.standby()
    creature.wait(1.0)
    assert creature.jog() == Status.NOT_IN_THIS_MODE
    own = HostLink(WiredPort(creature.wired, name))
    own.greet()
    assert own.limp().done
    creature.wait(0.1)
    assert creature.mode(name) == ReportedMode.LIMP
    assert creature.mode(LEAD) == ReportedMode.READY
    assert creature.jog() == Status.NOT_IN_THIS_MODE


@pytest.mark.parametrize("name", NODES)
def test_a_copy_of_a_jog_that_was_refused_after_a_stop_never_comes_true(name: str) -> None:
    creature = Creature(name)
    creature.jog_for(0.3)
    creature.lead.stop()
    creature.wait(0.1)
    copy = encode(LinkFrame(ADDRESS[name], RequestKind.JOG, 77, JOG.pack(0, 5000)))
    creature.wired.take_output(LEAD)
    for _ in range(30):
        creature.wired.receive(LEAD, copy)
        creature.wait(0.1)
    replies = [
        (frame.to, frame.payload[0])
        for frame in Receiver().feed(creature.wired.take_output(LEAD))
        if frame.kind == RequestKind.JOG | REPLY
    ]
    assert replies == [(ADDRESS[name], Status.STOPPED)] * 30
    widths = [ticks for _, ticks in creature.pulses[name].given]
    assert widths == sorted(widths, reverse=True)
    fresh = encode(LinkFrame(ADDRESS[name], RequestKind.JOG, 78, JOG.pack(0, TICKS)))
    creature.wired.receive(LEAD, fresh)
    creature.wait(0.1)
    assert creature.pulses[name].last_s > creature.now - 2 * FRAME_S


@pytest.mark.parametrize("name", NODES)
def test_lost_replies_do_not_make_a_jog_twice_or_late(name: str) -> None:
    creature = Creature(name, LineTrouble(0.1, 0.002))
    for ticks in range(3000, 3400, 20):
        assert creature.jog(ticks) == Status.DONE
    creature.wait(0.1)
    widths = [ticks for _, ticks in creature.pulses[name].given]
    assert widths == sorted(widths)


@pytest.mark.parametrize("name", NODES)
def test_a_limp_while_a_commit_passes_leaves_the_new_show_a_few_frames_at_most(name: str) -> None:
    """The new show starts as any show does, and the next state says that all are limp."""
    news = 0
    for after_ms in range(0, 60, 2):
        creature = Creature(name)
        creature.lead.standby()
        creature.wait(2.0)
        table = unchecked(NEW[name], creature.wired.boards[name].chip.name)
        staged(creature, table.data)
        commit = LinkFrame(ADDRESS[name], RequestKind.COMMIT, 99, b"")
        creature.wired.receive(LEAD, encode(commit))
        creature.wait(after_ms / 1000)
        limp = LinkFrame(EVERYBODY, RequestKind.LIMP | ONE_WAY, 1, b"")
        creature.wired.receive(LEAD, encode(limp))
        pressed_s = creature.now
        creature.wait(2.0)
        assert creature.mode(name) == ReportedMode.LIMP
        assert creature.pulses[name].last_s <= pressed_s + NEXT_FRAMES_S
        news += creature.wired.boards[name].board.slots.table == NEW[name]
    assert news > 20


def staged(creature: Creature, data: bytes) -> None:
    """Everything of a transfer but its commit."""
    crc = int.from_bytes(data[-2:], "little")
    payload = OPEN.pack(len(data), crc, creature.node.address)
    assert creature.node.ask(RequestKind.OPEN, payload).done
    for at in range(0, len(data), 16):
        piece = DATA.pack(at) + data[at : at + 16]
        assert creature.node.ask(RequestKind.DATA, piece).done
    assert creature.node.ask(RequestKind.VERIFY).done
