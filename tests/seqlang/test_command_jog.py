"""`bellcrank jog` on a pseudo-terminal with keys that are pressed, and a virtual board."""

from __future__ import annotations

import os
import re
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from flap_show import SECOND_BOARD, SHOW, Outcome, table_of

from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner.client import press
from firmware_gen.link.protocol import ReportedMode
from sim.rulebook import JOG_STEP
from tests import waiting
from tests.seqlang.hands import ENTER, LONGEST_S, UP, Hands, assert_soon
from tests.seqlang.terminal import ROOT
from tests.unchecked import transfer_unchecked

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are POSIX's")

END_US = 1777.5
"""The last half microsecond before 70 deg: 1000 + 1000 * 70 / 90 = 1777.8."""
PULSES = "    pulse 1000 us at 0 deg, 2000 us at 90 deg\n"


def board_with(table: bytes) -> VirtualBoard:
    virtual = VirtualBoard(write_s=0.0)
    transfer_unchecked(HostLink(LocalPort(virtual)), table)
    virtual.advance(2.0)
    virtual.board.take_output()
    return virtual


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=1, far=40))
    return path


@pytest.fixture
def served(show: Path) -> Iterator[Server]:
    with Server(board_with(table_of(show))) as server:
        yield server


def has_pulses(server: Server) -> bool:
    player = server.virtual.board.player
    assert player is not None
    return player._jog is not None


def turned(hands: Hands, key: str, until: Callable[[str], bool]) -> float:
    """Press a key again and again until the screen shows something; the board's pulse then.

    A busy machine may keep the command from the board for a second, whereupon the board ends the
    pulses by itself: then ENTER gives them again, from where the servo stands.
    """
    end_s = time.monotonic() + 3 * LONGEST_S
    while not until(hands.shown()):
        assert time.monotonic() < end_s, hands.shown()
        before = hands.shown()
        hands.press(ENTER if "LIMP." in before else key, "")
        waiting.until(lambda before=before: hands.shown() != before, 2.0)  # type: ignore[misc]
        assert_soon(lambda: is_settled(hands.shown()), hands.shown)
    return pulse_us(hands.shown())


def pulse_us(shown: str) -> float:
    found = re.search(r"the board: ([\d.]+) us", shown)
    assert found, shown
    return float(found[1])


def is_settled(shown: str) -> bool:
    """The board has come to the pulse that was wanted, or has none."""
    found = re.search(r"pulse +([\d.]+) us +the board: ([\d.]+) us", shown)
    return "LIMP." in shown or (found is not None and found[1] == found[2])


def marked(hands: Hands, place: str) -> str:
    """Mark where it stands; the point as the text has it."""
    while "marked: " not in hands.shown():
        turned(hands, ENTER, lambda shown: "LIMP." not in shown)
        hands.press("m", "")
        if "a limp part may have sunk" in hands.shown():
            continue
        hands.press(place, f"it stands at (deg): {place}_")
        while "marked: " not in hands.shown():
            hands.press(ENTER, "")
            time.sleep(0.1)
    found = re.search(r"marked: ([\d.]+ us at [\d.]+ deg)", hands.shown())
    assert found
    hands.press("x", "")
    assert_soon(lambda: "marked: " not in hands.shown(), hands.shown)
    return found[1]


def test_two_points_are_measured_by_keys_and_written(show: Path, served: Server) -> None:
    before = show.read_text()
    assert before.count(PULSES) == 1
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.begin()
        low_us = turned(hands, UP, lambda shown: pulse_us(shown) > 1000.0)
        first = marked(hands, "1")
        hands.press("3", "step       50 us")
        while "2500.0 us hold now" not in hands.shown():
            end_us = turned(hands, UP, lambda shown: "It stands at an end" in shown)
            hands.press("e", "")
            waiting.until(lambda: "It stands at an end" not in hands.shown(), 2.0)
        high_us = turned(hands, UP, lambda shown: pulse_us(shown) > END_US)
        second = marked(hands, "77")
        hands.leave("q", "write this into")
        assert_soon(lambda: not has_pulses(served))  # the next frame at the latest
        hands.leave("y\r", "; boards play the old points")
        assert "no servo has pulses" in hands.all.decode()
        assert hands.ended() == 1
    assert end_us == END_US
    assert low_us <= 1010.0
    assert high_us <= END_US + 50.0
    assert (first, second) == (f"{low_us:g} us at 1 deg", f"{high_us:g} us at 77 deg")
    now = show.read_text()
    assert now == before.replace(PULSES, f"    pulse {first}, {second}\n")
    assert "found now:" in hands.all.decode()
    assert "calibration point at 1 deg" in " ".join(hands.all.decode().split())


def test_a_motion_is_recorded_by_keys_and_written_as_a_gesture(show: Path, served: Server) -> None:
    before = show.read_bytes()
    with Hands("jog", str(show), "--port", served.url, "--record", "nod") as hands:
        hands.begin()
        hands.press("3", "step       50 us")
        hands.press("r", "RECORDS")
        for pulse in (1050, 1100, 1150):
            hands.press(UP, f"the board: {pulse}.0 us")
        hands.press("r", "recorded ")
        hands.leave("q", "write this gesture into")
        hands.leave("y\r", "a cue plays it with `play nod`")
        assert hands.ended() == 0
    told = hands.all.decode().replace("\r\n", "\n")
    assert "the worst miss is" in told
    assert "and 1.5 deg is allowed" in told
    written = show.read_bytes()
    assert written.startswith(before + b"\ngesture nod\n    # by hand: flap from 0 deg")
    assert b"    flap to 1" in written


def test_a_name_that_is_taken_or_a_distance_that_is_none_is_told_before_anything_moves(
    show: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, served: Server
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    for option, value, words in (
        ("--record", "wave", "a cue or a gesture of that name"),
        ("--record", "play", "a word of the language"),
        ("--within", "3", "is not a distance"),
        ("--within", "3 mm", "`flap` is measured in deg"),
        ("--within", "0 deg", "must be over 0"),
    ):
        refused = Outcome(capsys, "jog", str(show), "--port", served.url, option, value)
        assert refused.status == 2
        assert words in " ".join(refused.err.split())
    assert served.virtual.board.mode == ReportedMode.READY


def test_what_is_not_to_be_written_is_not_and_its_line_is_told(show: Path, served: Server) -> None:
    before = show.read_bytes()
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.begin()
        hands.press("m", "it stands at")
        hands.press(f"0{ENTER}", "marked: 1000 us at 0 deg")
        hands.press("3", "step       50 us")
        hands.press(UP, "the board: 1050.0 us")
        hands.press("m", "it stands at")
        hands.press(f"4{ENTER}", "marked: 1050 us at 4 deg")
        hands.leave("q", "write this into")
        hands.leave("n\r", "nothing written")
        assert hands.ended() == 0
    assert show.read_bytes() == before
    told = hands.all.decode().replace("\r\n", "")
    assert "flap '1000 us at 0 deg' '1050 us at 4 deg' --write" in told


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL, signal.SIGHUP])
def test_a_command_that_ends_anyhow_leaves_the_servo_limp(
    number: int, show: Path, served: Server
) -> None:
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.begin()
        assert_soon(lambda: has_pulses(served))
        hands.command.send_signal(number)
        hands.command.wait(timeout=LONGEST_S)
        assert_soon(lambda: not has_pulses(served))
        assert served.virtual.board.mode == ReportedMode.LIMP


def test_after_the_space_bar_enter_gives_pulses_again(show: Path, served: Server) -> None:
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.begin()
        assert_soon(lambda: has_pulses(served))
        hands.press(" ", "LIMP.")
        assert_soon(lambda: not has_pulses(served))
        hands.press(ENTER, "PULSES.")
        assert_soon(lambda: has_pulses(served))
        assert "somebody else" not in hands.shown()
        hands.leave("q", "no servo has pulses")
        assert hands.ended() == 0


def test_the_space_bar_ends_the_pulses_at_once(show: Path, served: Server) -> None:
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.begin()
        assert_soon(lambda: has_pulses(served))
        hands.press(" ", "LIMP.")
        assert_soon(lambda: not has_pulses(served))  # the next frame at the latest
        hands.leave("q", "no servo has pulses")
        assert hands.ended() == 0


def test_a_stop_of_another_program_ends_the_pulses_until_somebody_wants_them(
    show: Path, served: Server
) -> None:
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.begin()
        assert_soon(lambda: has_pulses(served))
        press("stop", [served.url], everywhere=True, name="a test")
        hands.sees("somebody else pressed stop")
        end_s = time.monotonic() + 1.0
        while time.monotonic() < end_s:
            assert not has_pulses(served)
            time.sleep(0.01)
        hands.press(ENTER, "PULSES.")
        assert_soon(lambda: has_pulses(served))


def test_a_stop_button_at_the_board_ends_the_pulses_until_somebody_wants_them(
    show: Path, served: Server
) -> None:
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.begin()
        assert_soon(lambda: has_pulses(served))
        player = served.virtual.board.player
        assert player is not None
        player.button(2, True)
        player.button(2, False)
        hands.sees("STOPPED: somebody pressed stop. ENTER: pulses, when you know why.")
        assert "stop was pressed at the board" in hands.shown()
        end_s = time.monotonic() + 1.5
        while time.monotonic() < end_s:
            assert not has_pulses(served)
            time.sleep(0.01)
        hands.press(ENTER, "PULSES.")
        assert_soon(lambda: has_pulses(served))


def test_keys_that_never_cease_do_not_hide_the_space_bar(show: Path, served: Server) -> None:
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.begin()
        assert_soon(lambda: has_pulses(served))
        with hands.flood("x"):
            time.sleep(1.5)
            assert has_pulses(served)  # the board is looked after all the time
            hands.press(" ", "LIMP.")
            assert_soon(lambda: not has_pulses(served))
            hands.leave("q", "no servo has pulses")
        assert hands.ended() == 0


@pytest.mark.parametrize("begun", [False, True])
def test_a_terminal_that_is_closed_ends_the_command_and_the_pulses(
    begun: bool, show: Path, served: Server
) -> None:
    with Hands("jog", str(show), "--port", served.url) as hands:
        if begun:
            hands.begin()
            assert_soon(lambda: has_pulses(served))
        else:
            hands.sees("hold or prop what hangs on a part")
        hands.close()
        hands.command.wait(timeout=LONGEST_S)
        assert_soon(lambda: not has_pulses(served))


def test_what_was_recorded_is_written_though_the_terminal_closes(
    show: Path, served: Server
) -> None:
    with Hands("jog", str(show), "--port", served.url, "--record", "nod", "--write") as hands:
        hands.begin()
        hands.press("3", "step       50 us")
        hands.press("r", "RECORDS")
        for pulse in (1050, 1100, 1150):
            hands.press(UP, f"the board: {pulse}.0 us")
        hands.press("r", "recorded ")
        hands.close()
        hands.command.wait(timeout=LONGEST_S)
    assert "gesture nod" in show.read_text(encoding="utf-8")


def test_leaving_at_the_cautions_changes_nothing(show: Path, served: Server) -> None:
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.sees("hold or prop what hangs on a part")
        hands.leave(" ", "no servo has pulses")
        assert hands.ended() == 0
    assert served.virtual.board.mode == ReportedMode.READY


def test_keys_pressed_before_the_cautions_are_shown_start_nothing(
    show: Path, served: Server
) -> None:
    with Hands("jog", str(show), "--port", served.url) as hands:
        hands.type_ahead("y\r\ry")
        hands.sees("hold or prop what hangs on a part")
        time.sleep(0.5)
        assert "hold or prop what hangs on a part" in hands.shown()
        assert served.virtual.board.mode == ReportedMode.READY
        hands.press("y", "The board is not limp")


def test_what_was_marked_outlasts_the_loss_of_the_board(show: Path) -> None:
    server = Server(board_with(table_of(show)))
    with server, Hands("jog", str(show), "--port", server.url) as hands:
        hands.begin()
        hands.press("m", "it stands at")
        hands.press(f"2{ENTER}", "marked: 1000 us at 2 deg")
        server.stop()
        hands.leave("", "in place of the dots")
        hands.leave("", "nothing written")
        assert hands.ended() == 3
    told = hands.all.decode()
    assert "error:" in told
    assert "flap '1000 us at 2 deg' '... us at ... deg' --write" in told
    assert "writes it later" not in told  # that line would be refused
    assert "is one point, and a calibration needs two or more" in told


def test_boards_of_a_show_come_one_after_another(tmp_path: Path) -> None:
    path = tmp_path / "both.cues"
    path.write_text(SHOW.format(address=1, far=40).replace("cue wave", SECOND_BOARD + "cue wave"))
    one, two = (board_with(table_of(path, name)) for name in ("box", "tail"))
    with Server(one) as first, Server(two) as second:
        ports = ("--port", second.url, "--port", first.url)
        with Hands("jog", str(path), *ports) as hands:
            hands.begin()
            assert "flap, servo 1 of 2, on board 1 (box)" in hands.shown()
            hands.press("n", "tip, servo 2 of 2, on board 2 (tail)")
            assert second.virtual.board.mode == ReportedMode.READY
            hands.press(ENTER, "LIMP.")
            assert second.virtual.board.mode == ReportedMode.LIMP
            hands.press(ENTER, "PULSES.")
            assert_soon(lambda: has_pulses(second))
            assert not has_pulses(first)
            hands.leave("q", "no servo has pulses")
            assert hands.ended() == 0
        assert_soon(lambda: not has_pulses(second))


def test_the_list_says_where_servos_stand_and_turns_nothing(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    found = Outcome(capsys, "jog", str(show), "--list", "--port", served.url)
    assert (found.status, found.err) == (0, "")
    assert (
        f"flap: 1000.0 us, 0.0 deg by its points; travel 0 to 70 deg; board 1 on {served.url}"
        in (found.out)
    )
    assert served.virtual.board.mode == ReportedMode.READY


def test_without_a_terminal_it_says_what_it_needs(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    refused = Outcome(capsys, "jog", str(show), "--port", served.url)
    assert refused.status == 2
    assert "keys need a terminal" in refused.err


def test_a_board_of_another_show_is_a_failure_of_the_board(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    show.write_text(SHOW.format(address=5, far=40))
    refused = Outcome(capsys, "jog", str(show), "--list", "--port", served.url)
    assert refused.status == 3
    assert "is not a board of this show" in refused.err


def test_the_pages_state_the_step_of_a_jog() -> None:
    page = (ROOT / "firmware_gen" / "TABLE.md").read_text(encoding="utf-8")
    assert f"by {JOG_STEP} ticks at most" in page
