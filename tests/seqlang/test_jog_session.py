"""Servos of a limp board turned by keys, on the virtual board in fast time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
from flap_show import FLAP, SHOW, table_of
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import HELD_FRAMES, ReportedMode
from firmware_gen.player.outputs import Frame
from seqlang.command._jog_session import LONGEST_FIELD, REST_S, JogSession
from seqlang.command._jogged import servos_on
from seqlang.jogging import IDLE_S
from seqlang.loading import load
from seqlang.recording import fitted_part
from sim.model import Hold, Law, Move
from sim.rulebook import FRAME_S, JOG_STEP
from sim.score.fitting import LONGEST_S
from sim.score.laws import position
from tests.seqlang.show_text import servo
from tests.unchecked import transfer_unchecked

TEXT = SHOW.format(address=1, far=40).replace(
    "cue wave", servo("fin", "PB2", FLAP, "box") + "cue wave"
)
STOP_BUTTON = 2


class Pulses(Witness):
    """The pulses of every frame."""

    def __init__(self) -> None:
        self.frames: list[tuple[int, ...]] = []

    def played(self, frame: Frame | None) -> None:
        self.frames.append(frame.pulses if frame else ())


class Bench:
    """A session, its board, and hands that press a key and wait."""

    def __init__(self, table: bytes, path: Path, is_limp: bool = True) -> None:
        self.pulses = Pulses()
        self.virtual = VirtualBoard(write_s=0.0, witness=self.pulses)
        self.link = HostLink(LocalPort(self.virtual))
        transfer_unchecked(self.link, table)
        self.wait(1.5)
        self.link.greet()
        if is_limp:
            self.link.limp()
            self.wait(0.1)
        show = load(path).show
        assert show is not None
        self.pulses.frames.clear()
        self.session = JogSession(servos_on(self.link, show.rig), self.now)

    @property
    def now(self) -> float:
        return self.virtual.time_s

    def wait(self, seconds: float) -> None:
        """Nobody looks after the session meanwhile."""
        self.virtual.advance(self.now + seconds)

    def run(self, seconds: float = 0.3) -> None:
        end_s = self.now + seconds
        while self.now < end_s:
            self.wait(0.05)
            self.session.tick(self.now)

    def press(self, *keys: str, then_s: float = 0.3) -> None:
        for key in keys:
            self.session.press([key], self.now)
            self.session.tick(self.now)
            self.run(then_s)

    def given(self) -> list[tuple[int, ...]]:
        """Frames with pulses since the last look."""
        found = [frame for frame in self.pulses.frames if any(frame)]
        self.pulses.frames.clear()
        return found


@pytest.fixture(scope="module")
def show(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    path = tmp_path_factory.mktemp("show") / "flap.cues"
    path.write_text(TEXT)
    return path, table_of(path)


@pytest.fixture
def bench(show: tuple[Path, bytes]) -> Bench:
    return Bench(show[1], show[0])


def test_nothing_has_pulses_until_somebody_wants_them(bench: Bench) -> None:
    bench.run(2.0)
    bench.press("up", "2", "x", "m", "e")
    assert bench.given() == []
    assert bench.session.view().jog.is_limp


def test_the_servo_starts_where_it_stood_and_only_that_one(bench: Bench) -> None:
    bench.press("enter")
    assert set(bench.given()) == {(2000, 0)}
    bench.press("up")
    assert set(bench.given()) == {(2020, 0)}
    bench.press("n", "enter", then_s=REST_S)
    assert set(bench.given()) == {(0, 2000)}
    assert bench.session.view().servo.name == "fin"


def test_a_board_that_is_not_limp_is_made_so_by_a_key_of_its_own(show: tuple[Path, bytes]) -> None:
    bench = Bench(show[1], show[0], is_limp=False)
    bench.run(1.0)
    bench.press("up")
    assert bench.virtual.board.mode == ReportedMode.READY
    assert not bench.session.view().board_is_limp
    bench.press("enter")
    assert bench.virtual.board.mode == ReportedMode.LIMP
    bench.given()
    bench.run(0.5)
    assert bench.given() == []
    bench.press("enter")
    assert set(bench.given()) == {(2000, 0)}


def test_the_stop_key_goes_before_keys_that_came_with_it(bench: Bench) -> None:
    bench.press("enter")
    bench.session.press(["3", "up", " ", "up"], bench.now)
    bench.wait(0.06)
    bench.given()
    bench.run(1.0)
    assert bench.given() == []
    assert bench.session.view().jog.held_us == 1000


def test_the_stop_key_stops_while_a_mark_is_typed_and_what_was_typed_is_kept(bench: Bench) -> None:
    bench.press("enter", "m", "4", " ")
    bench.given()
    bench.run(2.0)
    assert bench.given() == []
    assert "SPACE stops, also here" in bench.session.view().message
    bench.press("5")
    assert bench.session.view().field == "45"
    bench.press("enter", then_s=REST_S)
    assert set(bench.given()) == {(2000, 0)}
    assert "look again" in bench.session.view().message
    assert bench.session.points() == {}
    bench.press("enter")
    assert bench.session.points() == {"flap": ("1000 us at 45 deg",)}


# -- recording ------------------------------------------------------------------------------------


def follow(bench: Bench, places: Callable[[float], float], lasts_s: float) -> None:
    """A hand that keeps the part near to where it is to be, by steps of 10 us."""
    start_s = bench.now
    while bench.now < start_s + lasts_s:
        wanted_us = 1000.0 + 1000.0 * places(bench.now - start_s) / 90.0
        off_us = wanted_us - bench.session.view().jog.held_us
        if abs(off_us) >= 5.0:
            bench.session.press(["up" if off_us > 0 else "down"], bench.now)
        bench.session.tick(bench.now)
        bench.wait(0.04)


def nod(at_s: float) -> float:
    """40 deg up in 4 s, 1 s there, 25 deg down in 3 s."""
    law = Law("3-4-5")
    up, down = (position(law, [at_s / 4.0]), position(law, [(at_s - 5.0) / 3.0]))
    return float(40.0 * up[0] - 25.0 * down[0])


FIRST_S = 1.3
"""Of the recording, before the hand begins."""


def test_a_known_gesture_that_is_played_by_steps_comes_back_as_its_moves(
    bench: Bench, show: tuple[Path, bytes]
) -> None:
    bench.press("enter", "r")
    assert bench.session.view().is_recording
    bench.run(FIRST_S - 0.3)
    follow(bench, nod, 9.0)
    bench.press("r")
    assert not bench.session.view().is_recording
    assert_is_the_nod(bench, show[0])


def test_a_known_gesture_that_is_made_with_a_slider_comes_back_as_its_moves(
    bench: Bench, show: tuple[Path, bytes]
) -> None:
    session = bench.session
    session.grasp(bench.now)
    bench.run(0.1)
    session.record(bench.now)
    start_s = bench.now + FIRST_S
    while bench.now < start_s + 9.0:
        session.slide(1000.0 + 1000.0 * nod(max(0.0, bench.now - start_s)) / 90.0, bench.now)
        session.tick(bench.now)
        bench.wait(0.04)
    session.record(bench.now)
    session.loose(bench.now)
    assert_is_the_nod(bench, show[0])
    bench.given()
    bench.run(0.5)
    assert bench.given() == []


def assert_is_the_nod(bench: Bench, path: Path) -> None:
    """The fewest moves for what was recorded are those that it was made of."""
    (take,) = bench.session.takes().values()
    assert take.lasts_s > 10.0
    rig = load(path).show
    assert rig is not None
    one = bench.session.view().servo
    part = fitted_part(rig.rig, one, take, 1.5)
    assert part.told == ()
    assert part.motion.worst_miss <= 1.5
    up, stand, down = part.steps
    assert isinstance(up, Move)
    assert isinstance(stand, Hold)
    assert isinstance(down, Move)
    assert up.angle_deg == pytest.approx(40.0, abs=1.0)
    assert down.angle_deg == pytest.approx(15.0, abs=1.0)
    # Steps are 0.9 deg, and of slow beginnings and ends they show nothing.
    assert up.duration_ms == pytest.approx(4000, rel=0.2)
    assert down.duration_ms == pytest.approx(3000, rel=0.2)
    begins_s = part.motion.start_s - FIRST_S
    for at_s in np.arange(0.0, 9.0, 0.1):
        share = (position(up.law, [(at_s - begins_s) / (up.duration_ms / 1000.0)]))[0]
        back_s = begins_s + (up.duration_ms + stand.duration_ms) / 1000.0
        back = position(down.law, [(at_s - back_s) / (down.duration_ms / 1000.0)])[0]
        place = up.angle_deg * share + (down.angle_deg - up.angle_deg) * back
        # Hand and board lag by up to a tenth of a second, at 19 deg/s.
        assert place == pytest.approx(nod(at_s), abs=1.5 + 1.9)


def test_a_recording_ends_with_the_pulses_and_is_kept(bench: Bench) -> None:
    bench.press("enter", "r", "up", "up", " ")
    view = bench.session.view()
    assert not view.is_recording
    assert "; recording ended" in view.message
    assert view.recorded_s == pytest.approx(1.0, abs=0.2)
    before = bench.session.takes()
    bench.run(2.0)
    assert bench.session.takes() == before


def test_why_a_recording_ended_fits_the_narrowest_usual_screen(bench: Bench) -> None:
    bench.press("enter", "r", "up", "up")
    bench.wait(2.0)
    bench.run(0.1)
    message = bench.session.view().message
    assert message.startswith("this computer was busy")
    assert message.endswith("; recording ended")
    assert len(message) < 80


def test_a_recording_ends_with_the_servo_that_is_left_and_with_the_session(bench: Bench) -> None:
    bench.press("enter", "r", "up", "n")
    assert list(bench.session.takes()) == ["flap"]
    assert bench.session.view().recorded_s is None
    bench.press("enter", then_s=REST_S)
    bench.press("r", "up")
    bench.session.leave()
    assert list(bench.session.takes()) == ["flap", "fin"]


def test_a_limp_part_is_not_recorded_and_nothing_that_stood(bench: Bench) -> None:
    bench.press("r")
    assert "give it pulses before you record" in bench.session.view().message
    bench.press("enter", "r", "r")
    assert "nothing moved" in bench.session.view().message
    assert bench.session.takes() == {}


def test_a_second_recording_takes_the_place_of_the_first(bench: Bench) -> None:
    bench.press("enter", "r", "up", "r", "r", "up", "up", "up", "r")
    (take,) = bench.session.takes().values()
    assert take.pulses_us[0] == 1010.0
    assert take.pulses_us[-1] == 1040.0


def test_a_recording_ends_by_itself_when_it_is_as_long_as_can_be_fitted(bench: Bench) -> None:
    bench.press("enter", "r", "up")
    for _ in range(13):
        bench.run(10.0)
        bench.press("2", then_s=0.0)
    assert not bench.session.view().is_recording
    (take,) = bench.session.takes().values()
    assert take.lasts_s <= LONGEST_S


# -- stops that somebody else presses -------------------------------------------------------------


@pytest.mark.parametrize("down_s", [0.02, 0.5, 3.0])
def test_a_stop_button_at_the_board_ends_the_pulses_until_a_key(
    down_s: float, bench: Bench
) -> None:
    player = bench.virtual.board.player
    assert player is not None
    bench.press("enter", "up")
    player.button(STOP_BUTTON, True)
    bench.wait(0.02)
    bench.given()
    bench.run(down_s)
    player.button(STOP_BUTTON, False)
    bench.run(4.0)
    assert bench.given() == []
    view = bench.session.view()
    assert view.was_stopped
    assert "stop was pressed at the board" in view.message
    bench.press("enter")
    assert set(bench.given()) == {(2020, 0)}
    assert not bench.session.view().was_stopped


def test_while_the_stop_button_is_down_a_key_gives_no_pulses(bench: Bench) -> None:
    player = bench.virtual.board.player
    assert player is not None
    bench.press("enter")
    player.button(STOP_BUTTON, True)
    bench.run(0.5)
    bench.given()
    for _ in range(3):
        bench.press("enter", "enter", "up", then_s=REST_S)
        assert bench.given() == []
        assert bench.session.view().was_stopped
    player.button(STOP_BUTTON, False)
    bench.run(0.1)
    bench.press("enter")
    assert bench.given()


def test_a_stop_that_is_pressed_while_this_computer_is_busy_is_not_made_undone(
    bench: Bench,
) -> None:
    player = bench.virtual.board.player
    assert player is not None
    bench.press("enter")
    player.button(STOP_BUTTON, True)
    player.button(STOP_BUTTON, False)
    bench.wait(2.0)
    bench.given()
    bench.run(2.0)
    assert bench.given() == []
    assert "the board ended the pulses by itself" in bench.session.view().message
    bench.press("enter")
    assert bench.given()


def test_pulses_come_a_second_after_the_stop_key_and_not_before(bench: Bench) -> None:
    bench.press("enter", " ")
    bench.given()
    bench.press("enter")
    assert bench.given() == []
    assert bench.session.view().rests
    bench.run(REST_S)
    assert bench.given()
    assert not bench.session.view().rests


def test_without_a_key_the_pulses_end(bench: Bench) -> None:
    bench.press("enter", "up")
    bench.run(IDLE_S - 1.0)
    assert bench.given()
    bench.run(1.5)
    bench.given()
    bench.run(1.0)
    assert bench.given() == []
    assert "nobody pressed anything" in bench.session.view().message


def test_a_session_that_hangs_leaves_the_servo_limp_within_a_second(bench: Bench) -> None:
    bench.press("enter")
    bench.given()
    bench.wait(3.0)
    assert len(bench.given()) < HELD_FRAMES


def test_marks_are_points_of_the_text(bench: Bench) -> None:
    bench.press("enter", "m", *"1.5", "enter", then_s=0.1)
    bench.press("3", *["up"] * 10, then_s=0.2)
    bench.press("m", *"44 deg".replace(" ", ""), "enter", then_s=0.1)
    bench.press("n", "enter", "m", *"x", "enter", then_s=0.1)
    assert "is not a place" in bench.session.view().message
    bench.press("m", *"3mm", "enter", then_s=0.1)
    assert "is something else" in bench.session.view().message
    assert bench.session.points() == {"flap": ("1000 us at 1.5 deg", "1500 us at 44 deg")}


def test_what_is_typed_can_be_taken_back_left_and_is_never_too_long(bench: Bench) -> None:
    bench.press("enter", "m", *"12x", "backspace", "left", then_s=0.1)
    assert bench.session.view().field == "12"
    bench.press(*["3"] * LONGEST_FIELD, then_s=0.1)
    assert bench.session.view().field == "12" + "3" * (LONGEST_FIELD - 2)
    bench.press("escape", "3", then_s=0.1)
    assert bench.session.view().field is None
    assert bench.session.view().jog.step == "coarse"
    bench.press("m", "enter", then_s=0.1)
    assert bench.session.points() == {}


def test_who_types_is_there(bench: Bench) -> None:
    bench.press("enter", "m")
    for _ in range(2):
        bench.run(0.6 * IDLE_S)
        bench.press("9")
    assert bench.session.view().field == "99"
    bench.given()
    bench.run(0.5)
    assert bench.given()


def test_a_message_stays_until_the_next_key(bench: Bench) -> None:
    bench.press("m")
    assert "may have sunk" in bench.session.view().message
    bench.run(1.0)
    assert "may have sunk" in bench.session.view().message
    bench.press("2")
    assert bench.session.view().message == ""


def test_the_next_and_the_previous_servo_go_round(show: tuple[Path, bytes], tmp_path: Path) -> None:
    path = tmp_path / "three.cues"
    path.write_text(TEXT.replace("cue wave", servo("tail", "PB3", FLAP, "box") + "cue wave"))
    bench = Bench(table_of(path), path)
    found = []
    for key in ("n", "n", "n", "p", "p"):
        bench.press(key)
        found.append(bench.session.view().servo.name)
    assert found == ["fin", "tail", "flap", "tail", "fin"]


def test_the_servo_that_is_left_has_no_pulses_from_the_key_on(bench: Bench) -> None:
    bench.press("enter")
    bench.session.press(["n"], bench.now)
    bench.wait(2.5 * FRAME_S)
    bench.given()
    bench.wait(0.5)
    assert bench.given() == []


def test_a_part_that_is_still_on_its_way_is_not_marked(bench: Bench) -> None:
    bench.press("enter", "3", then_s=0.1)
    bench.session.press(["up"], bench.now)
    bench.session.tick(bench.now)
    bench.session.press(["m", "9", "enter"], bench.now)
    assert bench.session.points() == {}
    assert "still on its way" in bench.session.view().message
    bench.run(0.5)
    bench.press("enter")
    assert bench.session.points() == {"flap": ("1050 us at 9 deg",)}


def test_a_place_far_beyond_the_travel_is_marked_only_if_it_is_said_twice(bench: Bench) -> None:
    bench.press("enter", "m", *"700", "enter", then_s=0.1)
    assert "far beyond the travel (0 to 70 deg)" in bench.session.view().message
    assert bench.session.points() == {}
    bench.press("backspace", "1", "enter", then_s=0.1)
    assert bench.session.points() == {}
    bench.press("enter", then_s=0.1)
    assert bench.session.points() == {"flap": ("1000 us at 701 deg",)}
    bench.press("m", *"140", "enter", then_s=0.1)
    assert bench.session.points() == {"flap": ("1000 us at 140 deg",)}


def test_no_mark_is_made_beyond_the_limits_of_the_servo(
    show: tuple[Path, bytes], tmp_path: Path
) -> None:
    path = tmp_path / "limited.cues"
    limited = "2000 us at 90 deg\n    limits 1200 us to 2000 us"
    path.write_text(TEXT.replace("2000 us at 90 deg", limited, 1))
    bench = Bench(show[1], path)
    bench.press("enter", "m")
    assert bench.session.view().field is None
    assert "limits this servo to 1200 us to 2000 us" in bench.session.view().message


def test_a_servo_that_was_stopped_on_its_way_goes_on_from_where_it_stopped(bench: Bench) -> None:
    bench.press("enter", "3", then_s=0.1)
    bench.session.press(["up"], bench.now)
    bench.session.tick(bench.now)
    bench.wait(2.5 * FRAME_S)
    bench.press(" ")
    stopped = bench.given()[-1]
    assert 2000 < stopped[0] < 2100
    bench.press("enter", then_s=REST_S)
    assert set(bench.given()) == {stopped}


def test_somebody_who_gets_the_board_ready_takes_it(bench: Bench) -> None:
    bench.press("enter")
    bench.link.standby()
    bench.run(0.5)
    view = bench.session.view()
    assert view.jog.is_limp
    assert not view.board_is_limp
    assert "got ready by somebody else" in view.message
    assert bench.virtual.board.mode in (ReportedMode.STARTING, ReportedMode.READY)


def test_leaving_ends_the_pulses(bench: Bench) -> None:
    bench.press("enter", "q")
    assert bench.session.is_over
    bench.session.leave()
    bench.wait(0.06)
    bench.given()
    bench.wait(0.5)
    assert bench.given() == []


def test_a_board_with_another_show_is_not_turned(show: tuple[Path, bytes], tmp_path: Path) -> None:
    bench = Bench(show[1], show[0])
    for change, words in (
        (("box pin PB2", "box pin PB4"), "has no servo on the pin of `fin`"),
        (("address 1", "address 7"), "is not a board of this show"),
    ):
        other = tmp_path / "other.cues"
        other.write_text(TEXT.replace(*change))
        rig = load(other).show
        assert rig is not None
        with pytest.raises(LinkFailure) as refused:
            servos_on(bench.link, rig.rig)
        assert words in refused.value.message


KEYS: Sequence[str] = ("up", "down", "1", "2", "3", "e", "m", "u", "n", "p", "enter", "escape", " ")


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.sampled_from((*KEYS, *"9")), st.sampled_from((0.0, 0.1, 0.4)))))
def test_whatever_is_pressed_no_pulse_jumps_and_one_servo_has_pulses_at_a_time(
    show: tuple[Path, bytes], pressed: list[tuple[str, float]]
) -> None:
    bench = Bench(show[1], show[0])
    for key, then_s in pressed:
        bench.press(key, then_s=then_s)
    bench.session.leave()
    bench.wait(0.2)
    last = [2000, 2000]
    for frame in bench.given():
        assert sum(pulse != 0 for pulse in frame) == 1
        (on,) = [number for number, pulse in enumerate(frame) if pulse]
        assert abs(frame[on] - last[on]) <= JOG_STEP
        assert 1000 <= frame[on] <= 5000
        last[on] = frame[on]
    assert not any(bench.virtual.board.frame().pulses)  # type: ignore[union-attr]
