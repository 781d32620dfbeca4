"""`bellcrank jog` of a creature with one plug, at the board that leads: a session in fast time, and
the command at a keyboard."""

from __future__ import annotations

import os
from collections.abc import Callable

import pytest
from flap_show import Outcome

from firmware_gen.board.wired import WiredBoards, WiredPort
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner.client import press
from firmware_gen.link.protocol import HELD_FRAMES, STOP_TELLINGS, ReportedMode
from seqlang.check import check
from seqlang.command._jog_session import JogSession
from seqlang.command._jogged import servos_on, source_on
from seqlang.command._wired import wired_boards
from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.rulebook import FRAME_S
from tests.seqlang.hands import ENTER, UP, Hands, assert_soon
from tests.seqlang.test_reached_through_the_leader import ANSWERING, Creature, creature, said

__all__ = ["creature"]

STICK = "channel stick: trunk pin PL0\n    button 1 from 2100 us to 2200 us\n"
SECOND_S = HELD_FRAMES * FRAME_S


class Bench:
    """A session whose stick is at the board that leads, and whose servo is at another one."""

    def __init__(self) -> None:
        show = check(load_text(Source("newt.cues", ANSWERING + STICK))).show
        assert show is not None
        self.wired: WiredBoards = wired_boards(show, say=lambda words: None)
        self.wired.advance(1.0)
        self.lead = HostLink(WiredPort(self.wired, "trunk"))
        self.lead.greet()
        self.node = self.lead.through(2)
        self.node.greet()
        links = [self.lead, self.node]
        self.lead.limp()
        self.wait(0.1)
        rig = show.show.rig
        self.servos = [one for link in links for one in servos_on(link, rig)]
        self.at = next(n for n, one in enumerate(self.servos) if one.servo.board == "tail")
        self.session = JogSession(self.servos, self.now, source_on(links, rig, "stick"))
        self.session.turn_to(self.at, self.now)

    @property
    def now(self) -> float:
        return self.wired.time_s

    def wait(self, seconds: float) -> None:
        self.wired.advance(self.now + seconds)

    def run(self, seconds: float = 0.3) -> None:
        end_s = self.now + seconds
        while self.now < end_s:
            self.wait(0.04)
            self.session.tick(self.now)

    def press(self, *keys: str) -> None:
        for key in keys:
            self.session.press([key], self.now)
            self.session.tick(self.now)
            self.run()

    @property
    def is_jogged(self) -> bool:
        return jogs(self.wired, "tail")

    @property
    def message(self) -> str:
        return self.session.view().message


def jogs(wired: WiredBoards, name: str) -> bool:
    player = wired.boards[name].board.player
    assert player is not None
    return player._jog is not None


def test_a_stick_at_the_board_that_leads_turns_a_servo_of_another_one() -> None:
    bench = Bench()
    servo = bench.servos[bench.at].servo
    bench.wired.put_channel("stick", 3000)
    bench.press("enter", "c")
    for ticks in (*range(3000, 2000, -50), *range(2000, 4001, 50)):
        bench.wired.put_channel("stick", ticks)
        bench.run(0.08)
    bench.run(3.0)
    assert bench.is_jogged
    low, high = servo.pulse_range_us
    stood = bench.servos[bench.at].pulse_us()
    assert stood == bench.session.view().jog.held_us
    assert low <= stood <= high
    bench.wired.put_channel("stick", 2500)
    bench.run(3.0)
    assert bench.servos[bench.at].pulse_us() != stood


def test_the_stop_key_goes_to_the_board_that_leads_and_enter_gives_pulses_again() -> None:
    bench = Bench()
    bench.press("enter", "up")
    assert bench.is_jogged
    bench.session.press([" "], bench.now)
    bench.wait(3 * FRAME_S)
    assert not bench.is_jogged
    bench.press("enter")
    bench.run(SECOND_S + STOP_TELLINGS * FRAME_S)
    assert bench.is_jogged
    assert "stop" not in bench.message


def test_a_stop_that_somebody_else_presses_at_the_board_that_leads_is_told() -> None:
    bench = Bench()
    bench.press("enter")
    bench.lead.stop()
    bench.run(0.5)
    assert not bench.is_jogged
    assert "stop was pressed at the board" in bench.message


def test_a_creature_that_is_not_limp_is_made_so_by_a_key_of_its_own() -> None:
    bench = Bench()
    bench.lead.standby()
    bench.run(2.0)
    bench.press("enter")
    assert {board.board.mode for board in bench.wired.boards.values()} == {ReportedMode.LIMP}
    assert not bench.is_jogged
    bench.press("enter")
    assert bench.is_jogged


def test_the_servos_of_all_boards_are_listed_with_the_way_to_each(
    creature: Creature, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "jog", str(creature.file), "--list", "--port", creature.port)
    assert done.status == 0
    assert f"board 1 on {creature.port}" in said(done)
    assert f"board 2 on {creature.port} through board 1" in said(done)


def test_a_board_that_does_not_answer_is_left_out_in_words(
    creature: Creature, capsys: pytest.CaptureFixture[str]
) -> None:
    creature.wired.deaf.add("tail")
    done = Outcome(capsys, "jog", str(creature.file), "--list", "--port", creature.port)
    assert done.status == 0
    assert "note: board `tail` is left out: board 2 does not answer through" in said(done)
    assert f"board 2 on {creature.port}" not in done.out


ENDS: dict[str, Callable[[Hands, Creature], object]] = {
    "another program presses stop": lambda hands, creature: press("stop", [creature.port]),
    "the command is killed": lambda hands, creature: hands.command.kill(),
    "the space bar": lambda hands, creature: hands.press(" ", "LIMP."),
}


@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX's")
@pytest.mark.parametrize("how", ENDS)
def test_keys_turn_a_servo_behind_the_leader_until_it_ends(creature: Creature, how: str) -> None:
    with Hands("jog", str(creature.file), "--port", creature.port) as hands:
        hands.begin()
        for _ in range(4):
            if "through board 1" in hands.shown():
                break
            hands.press("n", "LIMP.")
        assert "through board 1" in hands.shown()
        hands.press(ENTER, "PULSES.")
        hands.press(UP, "PULSES.")
        nodes = ("tail", "crest")
        assert_soon(lambda: any(jogs(creature.wired, name) for name in nodes), hands.shown)
        ENDS[how](hands, creature)
        assert_soon(lambda: not any(jogs(creature.wired, name) for name in nodes), hands.shown)
        if how == "another program presses stop":
            assert_soon(lambda: "somebody else pressed stop" in hands.shown(), hands.shown)
    assert creature.wired.boards["tail"].board.mode == ReportedMode.LIMP
