"""Sharing a board's line: who waits, who does not, and what a client's end releases."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shared_line import SharedLine
from small_tables import BUTTON as HELD_BUTTON
from small_tables import NEW, NOD, OLD

from firmware_gen.link.awaiting import Reply
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.greeting import Greeted
from firmware_gen.link.owner.arbiter import MOST_ASKS, TRANSFER_IDLE_S
from firmware_gen.link.protocol import (
    BUTTON,
    DATA,
    JOG,
    OPEN,
    TRIGGER,
    ReportedMode,
    RequestKind,
    ResetCause,
    Status,
)
from tests.firmware_gen.link_cases import servo_table

STOP_S = 0.050
"""What is promised: a stop acts within this time, whatever else goes on."""
CHUNK = 16


def opening(table: bytes) -> bytes:
    return OPEN.pack(len(table), int.from_bytes(table[-2:], "little"), table[5])


def begin_transfer(line: SharedLine, client: int, table: bytes = NEW) -> list[int]:
    """Greet, open and ask for all data at once; the numbers of the data's answers."""
    line.greet(client)
    opened = line.ask(client, RequestKind.OPEN, OPEN.pack(len(table), _crc(table), 0))
    line.run(0.02)
    assert line.outcome(client, opened) == Reply(Status.DONE)
    return [
        line.ask(client, RequestKind.DATA, DATA.pack(at) + table[at : at + CHUNK])
        for at in range(0, len(table), CHUNK)
    ]


def _crc(table: bytes) -> int:
    return int.from_bytes(table[-2:], "little")


def failure(line: SharedLine, client: int, number: int) -> LinkFailure:
    found = line.outcome(client, number)
    assert isinstance(found, LinkFailure)
    return found


# -- sharing -------------------------------------------------------------------------------------


def test_a_greeting_tells_every_client_of_the_same_board_and_session() -> None:
    line = SharedLine(OLD)
    numbers = {client: line.greet(client) for client in (1, 2, 3)}
    line.run(0.1)
    found = [line.outcome(client, number) for client, number in numbers.items()]
    assert all(isinstance(each, Greeted) and each.address == 1 for each in found)
    # an ordered request of the first client is still known after the others' greetings
    nod = line.ask(1, RequestKind.TRIGGER, TRIGGER.pack(NOD))
    line.run(0.1)
    assert line.outcome(1, nod) == Reply(Status.DONE)


def test_requests_of_all_clients_are_answered_once_each_to_whom_asked() -> None:
    line = SharedLine(OLD)
    asked = [
        (client, line.ask(client, kind))
        for client in range(1, 20)
        for kind in (RequestKind.STATUS, RequestKind.BEACON, RequestKind.STATUS)
    ]
    line.run(0.5)
    assert all(isinstance(line.outcome(*one), Reply) and line.outcome(*one).done for one in asked)
    assert sum(map(len, line.outcomes.values())) == len(asked)


def test_one_answer_serves_all_who_ask_the_same_at_once() -> None:
    line = SharedLine(OLD)
    line.greet(1)
    line.run(0.1)
    before = len(line.sent)
    numbers = [line.ask(client, RequestKind.STATUS) for client in range(1, 51)]
    line.run(0.1)
    assert len(line.sent) - before == 2  # the first goes out at once, one more for all others
    assert all(line.outcome(client, numbers[client - 1]) for client in range(1, 51))


def test_a_client_that_asks_without_end_delays_others_by_a_turn_only() -> None:
    line = SharedLine(OLD)
    line.greet(1)
    line.run(0.1)
    read = b"\0\0\x10"
    greedy = [line.ask(1, RequestKind.READ, read) for _ in range(MOST_ASKS + 2)]
    assert line.outcome(1, greedy[-1]) == Reply(Status.BUSY)
    other = line.ask(2, RequestKind.READ, read)
    before = len(line.sent)
    while line.outcome(2, other) is None:
        line.run(0.001)
    assert len(line.sent) - before <= 3


def test_status_is_answered_in_mid_transfer_and_the_transfer_goes_on() -> None:
    line = SharedLine(OLD, write_s=0.01)
    data = begin_transfer(line, 1)
    asked = line.ask(2, RequestKind.STATUS)
    line.run(0.03)
    assert isinstance(line.outcome(2, asked), Reply)
    assert line.outcome(1, data[-1]) is None
    line.run(2.0)
    assert line.outcome(1, data[-1]) == Reply(Status.DONE)
    line.ask(1, RequestKind.VERIFY)
    line.run(1.0)
    commit = line.ask(1, RequestKind.COMMIT)
    line.run(1.0)
    assert line.outcome(1, commit) == Reply(Status.DONE)
    assert line.virtual.board.slots.table == NEW


def test_two_transfers_at_once_do_not_mix() -> None:
    line = SharedLine(OLD, write_s=0.01)
    begin_transfer(line, 1)
    for kind, payload in (
        (RequestKind.OPEN, OPEN.pack(len(OLD), _crc(OLD), 0)),
        (RequestKind.DATA, DATA.pack(0) + b"x"),
        (RequestKind.COMMIT, b""),
    ):
        asked = line.ask(2, kind, payload)
        assert failure(line, 2, asked).reason == "transfer-under-way"


def test_nobody_can_commit_what_another_left_behind() -> None:
    line = SharedLine(OLD)
    begin_transfer(line, 1)
    line.run(1.0)
    line.ask(1, RequestKind.VERIFY)
    line.run(1.0)
    line.arbiter.leave(1, line.now)
    commit = line.ask(2, RequestKind.COMMIT)
    line.run(1.0)
    assert line.outcome(2, commit) == Reply(Status.OUT_OF_ORDER)
    assert line.virtual.board.slots.table == OLD


def test_a_transfer_whose_client_says_nothing_is_over_after_a_while() -> None:
    line = SharedLine(OLD)
    begin_transfer(line, 1)
    line.run(TRANSFER_IDLE_S - 1.0)
    assert isinstance(line.outcome(2, line.ask(2, RequestKind.OPEN, b"")), LinkFailure)
    line.run(1.5)
    opened = line.ask(2, RequestKind.OPEN, OPEN.pack(len(NEW), _crc(NEW), 0))
    line.run(0.1)
    assert line.outcome(2, opened) == Reply(Status.DONE)


# -- stop and limp ---------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [RequestKind.STOP, RequestKind.LIMP])
@pytest.mark.parametrize("after_s", [0.0, 0.004, 0.021, 0.1, 0.5])
def test_a_stop_acts_within_its_time_in_mid_transfer_and_ends_it(
    kind: RequestKind, after_s: float
) -> None:
    line = SharedLine(OLD, write_s=0.02)
    data = begin_transfer(line, 1)
    line.run(after_s)
    pressed = line.now
    stopped = line.ask(9, kind)
    line.run(STOP_S)
    assert line.noted.times(kind)[0] - pressed <= STOP_S
    assert line.outcome(9, stopped) == Reply(Status.DONE)
    line.run(3.0)
    if after_s <= 0.004:  # later all data is taken
        assert failure(line, 1, data[-1]).reason == "overtaken"
    commit = line.ask(1, RequestKind.COMMIT)
    assert failure(line, 1, commit).reason == "overtaken"
    assert line.virtual.board.slots.table == OLD
    assert line.virtual.board.mode == ReportedMode.LIMP


def test_a_stop_while_the_commit_is_stored_stops_the_new_show_too() -> None:
    line = SharedLine(OLD)
    begin_transfer(line, 1)
    line.run(0.5)
    line.ask(1, RequestKind.VERIFY)
    line.run(0.5)
    line.virtual._write_s = 0.2
    commit = line.ask(1, RequestKind.COMMIT)
    line.run(0.05)
    assert line.outcome(1, commit) is None
    line.ask(9, RequestKind.LIMP)
    line.run(3.0)
    assert line.virtual.board.slots.table == NEW
    assert line.virtual.board.mode == ReportedMode.LIMP


def test_two_stops_are_two_and_the_second_ends_the_pulses() -> None:
    line = SharedLine(OLD)
    line.greet(1)
    nod = line.ask(1, RequestKind.TRIGGER, TRIGGER.pack(NOD))
    line.run(0.4)
    assert line.outcome(1, nod) == Reply(Status.DONE)
    for client in (1, 2):
        stopped = line.ask(client, RequestKind.STOP)
        line.run(0.03)
        assert line.outcome(client, stopped) == Reply(Status.DONE)
    assert len(line.noted.times(RequestKind.STOP)) == 2
    assert line.virtual.board.mode == ReportedMode.LIMP


def test_limp_waits_for_no_stop_whose_frames_are_lost() -> None:
    line = SharedLine(OLD)
    line.greet(1)
    line.run(0.1)
    line.is_cut = True
    stopped = line.ask(1, RequestKind.STOP)
    line.run(0.02)
    line.is_cut = False
    pressed = line.now
    limp = line.ask(2, RequestKind.LIMP)
    line.run(STOP_S)
    assert line.noted.times(RequestKind.LIMP)[0] - pressed <= STOP_S
    assert (line.outcome(1, stopped), line.outcome(2, limp)) == (Reply(0), Reply(0))
    assert line.noted.times(RequestKind.STOP) == []


def test_what_was_asked_before_a_stop_does_not_start_after_it() -> None:
    line = SharedLine(OLD)
    line.greet(1)
    line.run(0.1)
    line.is_cut = True
    under_way = line.ask(1, RequestKind.TRIGGER, TRIGGER.pack(NOD))
    queued = line.ask(2, RequestKind.TRIGGER, TRIGGER.pack(NOD))
    line.ask(3, RequestKind.STOP)
    line.is_cut = False
    line.run(3.0)
    assert failure(line, 2, queued).reason == "overtaken"
    assert failure(line, 1, under_way).reason == "overtaken"
    assert line.noted.times(RequestKind.TRIGGER) == []
    assert len(line.noted.times(RequestKind.STOP)) == 1


def test_a_stop_reaches_a_board_that_was_reset_in_between() -> None:
    line = SharedLine(OLD)
    line.greet(1)
    line.run(0.1)
    line.virtual.restart(ResetCause.BROWN_OUT)
    line.run(0.1)
    pressed = line.now
    stopped = line.ask(1, RequestKind.STOP)
    line.run(STOP_S)
    assert line.noted.times(RequestKind.STOP)[0] - pressed <= STOP_S
    assert line.outcome(1, stopped) == Reply(Status.DONE)
    assert "restarted" in [event.what for event in line.events]


def test_a_client_that_dies_after_pressing_stop_has_stopped_the_board() -> None:
    line = SharedLine(OLD)
    line.ask(1, RequestKind.STOP)  # the board is not even greeted yet
    line.arbiter.leave(1, line.now)
    line.run(0.1)
    assert len(line.noted.times(RequestKind.STOP)) == 1


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.sampled_from([0.0, 0.05, 0.15]))
def test_whatever_clients_do_a_stop_acts_and_everybody_is_answered_once(
    seed: int, faults: float
) -> None:
    """The time for a stop holds on a whole line; on a spoilt one it is repeated until it acts."""
    rng = random.Random(seed)
    line = SharedLine(OLD, faults=faults, seed=seed, write_s=0.003)
    asked: list[tuple[int, int]] = []
    gone: set[int] = set()
    begin = [line.greet(client) for client in range(1, 6)]
    line.run(0.3 if faults else 0.1)
    for _ in range(rng.randrange(5, 60)):
        client = rng.randrange(1, 6)
        if client in gone:
            continue
        deed = rng.randrange(8)
        if deed == 0:
            asked.append((client, line.press(client, HELD_BUTTON, rng.random() < 0.5)))
        elif deed == 1:
            asked.append((client, line.ask(client, RequestKind.TRIGGER, TRIGGER.pack(NOD))))
        elif deed == 2:
            payload = OPEN.pack(len(NEW), _crc(NEW), 0)
            asked.append((client, line.ask(client, RequestKind.OPEN, payload)))
        elif deed == 3:
            at = rng.randrange(0, len(NEW), CHUNK)
            payload = DATA.pack(at) + NEW[at : at + CHUNK]
            asked.append((client, line.ask(client, RequestKind.DATA, payload)))
        elif deed == 4 and rng.random() < 0.1:
            line.arbiter.leave(client, line.now)
            gone.add(client)
        else:
            kind = rng.choice((RequestKind.STATUS, RequestKind.BEACON, RequestKind.VERIFY))
            asked.append((client, line.ask(client, kind)))
        if rng.random() < 0.5:
            line.run(rng.random() * 0.02)
    pressed = line.now
    stopped = line.ask(99, RequestKind.STOP)
    line.run(1.0 if faults else STOP_S)
    acted = line.noted.times(RequestKind.STOP)
    assert len(acted) == 1
    assert faults or acted[0] - pressed <= STOP_S
    assert line.outcome(99, stopped) == Reply(Status.DONE)
    line.run(12.0)
    for client, number in asked:
        if client not in gone:
            assert line.outcome(client, number) is not None, number
    assert len(begin) == 5


# -- what a client's end releases ----------------------------------------------------------------


def is_down(line: SharedLine) -> bool:
    presses = [payload for _, kind, payload in line.noted.asked_at if kind == RequestKind.BUTTON]
    return bool(presses) and presses[-1][1] == 1


def test_the_end_of_a_client_lets_its_button_go() -> None:
    line = SharedLine(OLD)
    line.press(1, HELD_BUTTON, True)
    line.run(0.2)
    assert is_down(line)
    line.arbiter.leave(1, line.now)
    line.run(0.1)
    assert not is_down(line)
    assert line.arbiter.is_idle
    assert [event.what for event in line.events if event.what == "let-go"] == ["let-go"]


def test_a_button_that_two_hold_is_up_when_both_have_let_go() -> None:
    line = SharedLine(OLD)
    for client in (1, 2):
        line.press(client, HELD_BUTTON, True)
    line.run(0.1)
    up = line.press(1, HELD_BUTTON, False)
    line.run(0.1)
    assert line.outcome(1, up) == Reply(Status.DONE)
    assert is_down(line)
    line.arbiter.leave(2, line.now)
    line.run(0.1)
    assert not is_down(line)


@pytest.mark.parametrize("ends", ["leaves", "greets anew"])
def test_a_release_whose_frame_is_lost_comes_through_although_its_client_ended(ends: str) -> None:
    """Others keep the line busy, so the board itself would never let go."""
    line = SharedLine(OLD)
    line.press(1, HELD_BUTTON, True)
    line.run(0.2)
    line.is_cut = True
    line.press(1, HELD_BUTTON, False)
    if ends == "leaves":
        line.arbiter.leave(1, line.now)
    else:
        line.greet(1)
    line.run(0.01)
    line.is_cut = False
    for _ in range(10):
        line.ask(2, RequestKind.STATUS)
        line.run(0.1)
    assert not is_down(line)


@pytest.mark.parametrize("others_press", [False, True])
def test_a_release_that_waits_is_not_dropped_with_its_client(others_press: bool) -> None:
    """It waits for a trigger that is lost. Who presses the button anew meanwhile holds it."""
    line = SharedLine(OLD)
    line.press(2, HELD_BUTTON, True)
    line.run(0.2)
    line.is_cut = True
    line.ask(1, RequestKind.TRIGGER, TRIGGER.pack(NOD))
    line.press(2, HELD_BUTTON, False)
    line.arbiter.leave(2, line.now)
    if others_press:
        line.press(3, HELD_BUTTON, True)
    line.run(0.01)
    line.is_cut = False
    for _ in range(10):
        line.ask(3, RequestKind.STATUS)
        line.run(0.1)
    presses = [one[1] for _, kind, one in line.noted.asked_at if kind == RequestKind.BUTTON]
    assert presses == ([1, 0, 1] if others_press else [1, 0])


def test_a_client_that_falls_silent_holds_no_button_although_others_keep_the_line_busy() -> None:
    line = SharedLine(OLD)
    line.press(1, HELD_BUTTON, True)
    for _ in range(20):
        line.ask(2, RequestKind.STATUS)
        line.run(0.1)
    assert not is_down(line)
    beacon = line.ask(1, RequestKind.BEACON)
    assert failure(line, 1, beacon).reason == "let-go"
    assert line.press(1, HELD_BUTTON, True)
    line.run(0.1)
    assert is_down(line)


def test_a_client_that_says_something_often_enough_goes_on_holding() -> None:
    line = SharedLine(OLD)
    line.press(1, HELD_BUTTON, True)
    for _ in range(12):
        line.run(0.3)
        beacon = line.ask(1, RequestKind.BEACON)
        line.run(0.01)
        assert line.outcome(1, beacon) == Reply(Status.DONE)
    assert is_down(line)


def test_a_computer_that_slept_for_an_hour_holds_nothing_when_it_wakes() -> None:
    """The board let go by itself after a second; it plays on. Nobody is told that all went well."""
    line = SharedLine(OLD)
    line.press(1, HELD_BUTTON, True)
    line.run(0.2)
    line.virtual.advance(line.now + 3600.0)
    line.arbiter.slept(3600.0, line.now)
    beacon = line.ask(1, RequestKind.BEACON)
    assert "slept for 3600 s" in failure(line, 1, beacon).message
    line.run(0.5)
    assert not is_down(line)
    nod = line.ask(1, RequestKind.TRIGGER, TRIGGER.pack(NOD))
    line.run(0.1)
    assert line.outcome(1, nod) == Reply(Status.DONE)


def test_a_board_that_heard_nothing_for_a_second_has_let_go_and_its_holders_are_told() -> None:
    """The owner itself was held up, though not for so long that the computer must have slept."""
    line = SharedLine(OLD)
    line.press(1, HELD_BUTTON, True)
    line.run(0.2)
    line.virtual.advance(line.now + 1.1)
    assert not is_down(line)
    beacon = line.ask(1, RequestKind.BEACON)
    assert "heard nothing for" in failure(line, 1, beacon).message


def test_a_press_that_waits_does_not_follow_its_own_release() -> None:
    line = SharedLine(OLD)
    begin_transfer(line, 1)
    line.run(0.5)
    line.ask(1, RequestKind.VERIFY)
    line.run(0.5)
    line.virtual._write_s = 0.9
    line.ask(1, RequestKind.COMMIT)
    line.run(0.01)
    down = line.press(2, HELD_BUTTON, True)  # waits for the commit
    line.run(1.2)
    assert failure(line, 2, down).reason == "let-go"
    line.run(3.0)
    assert not is_down(line)
    assert line.arbiter.is_idle


def test_a_transfer_over_an_hour_of_sleep_goes_on() -> None:
    """The computer's own clock stood still meanwhile, and the board waited."""
    line = SharedLine(OLD)
    data = begin_transfer(line, 1)
    line.virtual.advance(line.now + 1.0)
    line.arbiter.slept(3600.0, line.now)
    line.run(1.0)
    assert line.outcome(1, data[-1]) == Reply(Status.DONE)


# -- a line that fails -----------------------------------------------------------------------------


def test_a_silent_board_is_told_to_everybody_who_waits_and_greeted_again_later() -> None:
    line = SharedLine(OLD)
    line.greet(1)
    line.run(0.1)
    line.is_cut = True
    asked = [(client, line.ask(client, RequestKind.STATUS)) for client in (1, 2)]
    line.run(8.0)
    assert {failure(line, *one).reason for one in asked} == {"no-answer"}
    line.is_cut = False
    again = line.ask(1, RequestKind.STATUS)
    line.run(0.5)
    assert isinstance(line.outcome(1, again), Reply)


def test_a_lost_port_fails_all_that_wait_and_forgets_what_was_held() -> None:
    line = SharedLine(OLD)
    line.press(1, HELD_BUTTON, True)
    line.run(0.1)
    asked = {
        2: line.ask(2, RequestKind.STATUS),
        3: line.greet(3),
        4: line.ask(4, RequestKind.STOP),
    }
    line.arbiter.fail(LinkFailure("port-lost", "gone"))
    line.run(0.0)
    line._pass_on()
    assert {failure(line, *one).reason for one in asked.items()} == {"port-lost"}
    assert line.arbiter.is_idle


def test_a_payload_that_the_board_finds_malformed_is_the_boards_to_refuse() -> None:
    line = SharedLine(OLD)
    asked = line.ask(1, RequestKind.BUTTON, BUTTON.pack(HELD_BUTTON, True) + b"x")
    line.run(0.1)
    assert line.outcome(1, asked) == Reply(Status.MALFORMED)


# -- a servo that is jogged ----------------------------------------------------------------------


def limp_line() -> SharedLine:
    line = SharedLine(servo_table())
    line.ask(9, RequestKind.LIMP)
    line.run(0.1)
    assert line.virtual.board.mode == ReportedMode.LIMP
    return line


def jog(line: SharedLine, client: int, pulse: int = 3000) -> int:
    return line.ask(client, RequestKind.JOG, JOG.pack(0, pulse))


def has_pulses(line: SharedLine) -> bool:
    frame = line.virtual.board.frame()
    return frame is not None and any(frame.pulses)


def test_a_client_that_ends_leaves_the_servo_limp_that_it_jogged() -> None:
    line = limp_line()
    asked = jog(line, 1)
    line.run(0.1)
    assert line.outcome(1, asked) == Reply(Status.DONE)
    assert has_pulses(line)
    limps = len(line.noted.times(RequestKind.LIMP))
    left = line.now
    line.arbiter.leave(1, line.now)
    line.run(STOP_S)
    times = line.noted.times(RequestKind.LIMP)
    assert len(times) == limps + 1
    assert times[-1] - left <= STOP_S
    assert not has_pulses(line)
    assert [event.words for event in line.events if event.what == "let-go"] == [
        "the servo that was jogged is limp: its client ended"
    ]
    line.run(1.0)
    assert line.arbiter.is_idle


def test_a_client_that_jogged_long_ago_leaves_nothing_to_be_made_limp() -> None:
    for end in (RequestKind.STOP, None):
        line = limp_line()
        jog(line, 1)
        line.run(0.1)
        if end is not None:
            line.ask(2, end)
        line.run(0.1 if end is not None else 1.0)
        limps = len(line.noted.times(RequestKind.LIMP))
        line.arbiter.leave(1, line.now)
        line.run(0.2)
        assert len(line.noted.times(RequestKind.LIMP)) == limps


def test_two_do_not_jog_the_servos_of_one_board() -> None:
    line = limp_line()
    jog(line, 1)
    line.run(0.1)
    second = jog(line, 2)
    assert "another program turns a servo" in failure(line, 2, second).message
    assert not line.arbiter.is_idle
    line.run(1.0)
    later = jog(line, 2)
    line.run(0.1)
    assert line.outcome(2, later) == Reply(Status.DONE)


def assert_jogs_after_a_second(line: SharedLine) -> None:
    """The board itself refuses a jog for a second after what ended one; then the way is free."""
    early = jog(line, 1)
    line.run(0.1)
    assert line.outcome(1, early) == Reply(Status.STOPPED)
    line.run(1.0)
    later = jog(line, 1)
    line.run(0.1)
    assert line.outcome(1, later) == Reply(Status.DONE)


@pytest.mark.parametrize("pressed", [RequestKind.STOP, RequestKind.LIMP])
def test_a_jog_that_is_repeated_does_not_begin_anew_after_somebody_elses_stop(
    pressed: RequestKind,
) -> None:
    line = limp_line()
    jog(line, 1)
    line.run(0.1)
    line.ask(2, pressed)
    line.run(0.1)
    again = jog(line, 1)
    assert failure(line, 1, again).reason == "overtaken"
    line.run(0.1)
    assert not has_pulses(line)
    assert_jogs_after_a_second(line)  # it was told: whoever turns it wants it now


def test_after_its_own_limp_a_client_jogs_on() -> None:
    line = limp_line()
    jog(line, 1)
    line.run(0.1)
    line.ask(1, RequestKind.LIMP)
    line.run(0.1)
    assert_jogs_after_a_second(line)


@pytest.mark.parametrize("pressed", [RequestKind.STOP, RequestKind.LIMP])
def test_a_client_that_pressed_by_the_other_way_is_not_told_that_somebody_did(
    pressed: RequestKind,
) -> None:
    line = limp_line()
    jog(line, 1)
    line.run(0.1)
    line.ask(2, pressed)  # stop and limp come by a connection of their own
    line.run(0.1)
    line.arbiter.knows_of_stop(3)
    line.arbiter.knows_of_stop(1)
    assert_jogs_after_a_second(line)


def test_a_jog_that_has_not_gone_out_does_not_follow_a_limp() -> None:
    line = limp_line()
    numbers = [jog(line, 1, pulse) for pulse in (2500, 2600, 2700)]
    line.ask(2, RequestKind.LIMP)
    line.run(0.2)
    assert [
        number
        for number in numbers
        if isinstance(found := line.outcome(1, number), LinkFailure) and found.reason == "overtaken"
    ] == numbers[1:]
    assert not has_pulses(line)
    assert_jogs_after_a_second(line)  # told already
