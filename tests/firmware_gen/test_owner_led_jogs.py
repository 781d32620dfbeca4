"""Clients that share a port, and jog boards behind the one that leads there."""

from __future__ import annotations

import pytest

from firmware_gen.link.awaiting import Reply
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.greeting import Greeted
from firmware_gen.link.owner.arbiter import Arbiter
from firmware_gen.link.protocol import JOG, RequestKind, Status
from sim.rulebook import FRAME_S
from tests.firmware_gen.answering_boards import ADDRESS, LEAD, answering

STEP_S = 0.001
NODES = pytest.mark.parametrize("name", ["part", "small"])


class LedLine:
    """Arbiters of the board that leads and of one that it leads, and the boards, in fast time."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.wired = answering(write_s=0.0)
        behind: dict[int, Arbiter] = {}
        self.lead = Arbiter("shared", 250_000, behind=behind)
        self.node = behind[ADDRESS[name]] = Arbiter(
            "shared", 250_000, ADDRESS[name], lead=self.lead
        )
        self.outcomes: dict[int, Reply | Greeted | LinkFailure] = {}
        self._number = 0
        for one in self.arbiters:
            one.opened(self.now)
            one.greet(1, 0, self.now)
        self.ask(9, RequestKind.LIMP, at=self.lead)
        self.run(0.2)

    @property
    def arbiters(self) -> tuple[Arbiter, Arbiter]:
        return self.lead, self.node

    @property
    def now(self) -> float:
        return self.wired.time_s

    @property
    def is_jogged(self) -> bool:
        player = self.wired.boards[self.name].board.player
        assert player is not None
        return player._jog is not None

    def ask(
        self, client: int, kind: RequestKind, payload: bytes = b"", *, at: Arbiter | None = None
    ) -> int:
        self._number += 1
        (at or self.node).ask(client, self._number, kind, payload, self.now)
        self._pass_on()
        return self._number

    def jog(self, client: int, at: Arbiter | None = None) -> int:
        return self.ask(client, RequestKind.JOG, JOG.pack(0, 3000), at=at)

    def run(self, seconds: float) -> None:
        end_s = self.now + seconds
        while self.now < end_s:
            self.wired.advance(self.now + STEP_S)
            for one in self.arbiters:
                one.tick(self.now)
            self._pass_on()

    def leave(self, client: int) -> None:
        for one in self.arbiters:
            one.leave(client, self.now)
        self._pass_on()

    def failure(self, number: int) -> LinkFailure:
        found = self.outcomes[number]
        assert isinstance(found, LinkFailure)
        return found

    def _pass_on(self) -> None:
        for one in self.arbiters:
            for frame in one.output:
                self.wired.receive(LEAD, frame)
            one.output.clear()
        heard = self.wired.take_output(LEAD)
        for one in self.arbiters:
            if heard:
                one.hear(heard, self.now)
            self.outcomes |= {each.number: each.outcome for each in one.answers}
            one.answers.clear()


@NODES
@pytest.mark.parametrize("what", [RequestKind.STOP, RequestKind.LIMP])
def test_a_stop_that_another_client_presses_ends_it_and_who_jogs_is_told(
    name: str, what: RequestKind
) -> None:
    line = LedLine(name)
    first = line.jog(1)
    line.run(0.1)
    assert line.outcomes[first] == Reply(Status.DONE)
    assert line.is_jogged
    line.ask(2, what, at=line.lead)
    line.run(4 * FRAME_S)
    assert not line.is_jogged
    again = line.jog(1)
    assert line.failure(again).reason == "overtaken"
    line.run(1.3)
    later = line.jog(1)
    line.run(0.1)
    assert line.outcomes[later] == Reply(Status.DONE)


@NODES
def test_a_jog_that_waits_in_a_queue_when_a_stop_comes_is_never_sent(name: str) -> None:
    line = LedLine(name)
    numbers = [line.jog(1) for _ in range(5)]
    line.ask(2, RequestKind.STOP, at=line.lead)
    line.run(0.1)
    found = [line.outcomes[number] for number in numbers]
    assert [one.reason for one in found[1:] if isinstance(one, LinkFailure)] == ["overtaken"] * 4
    line.run(3.0)
    assert not line.is_jogged


@NODES
def test_a_client_that_ends_leaves_the_servo_limp(name: str) -> None:
    line = LedLine(name)
    line.jog(1)
    line.run(0.1)
    assert line.is_jogged
    line.leave(1)
    line.run(4 * FRAME_S)
    assert not line.is_jogged
    line.run(1.0)
    assert all(one.is_idle for one in line.arbiters)


@NODES
def test_one_client_at_a_time_turns_servos_of_the_whole_creature(name: str) -> None:
    line = LedLine(name)
    line.jog(1)
    line.run(0.1)
    for at in line.arbiters:
        assert "another program turns a servo" in line.failure(line.jog(2, at)).message
    line.run(1.2)
    later = line.jog(2, line.lead)
    line.run(0.1)
    assert line.outcomes[later] == Reply(Status.DONE)
