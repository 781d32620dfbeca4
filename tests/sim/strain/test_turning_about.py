"""A servo that turns about draws running current at the turn: closed forms of short moves."""

from __future__ import annotations

from dataclasses import replace
from math import radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.model import (
    MINIMUM_JERK,
    Adapter,
    Board,
    CalibrationPoint,
    Cells,
    Cue,
    Electrics,
    Hold,
    InTurn,
    Law,
    Load,
    Move,
    Press,
    Rating,
    Repeat,
    Rig,
    Score,
    Servo,
    Show,
    Supply,
    Usage,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import Samples, sample
from sim.score.laws import LAW_NAMES, coefficients
from sim.strain.heat import heats
from sim.strain.torque_and_current import moving_in, work
from sim.strain.usage import Book, run_time, source_mean_a

IDLE_A, RUNNING_A, STALL_A, STALL_NM, ROTOR = 0.02, 0.4, 2.0, 1.0, 0.0005
BOARD_A = 0.03
POINTS = (CalibrationPoint(-90.0, 900.0), CalibrationPoint(90.0, 2100.0))
TAIL = Servo(
    "tail", "b", 1, POINTS, (-60.0, 60.0), (Rating(6.0, 600.0, STALL_NM, STALL_A, RUNNING_A),),
    idle_a=IDLE_A, rotor_kg_m2=ROTOR,
)  # fmt: skip
BODY = Board("b", "any", 1, "p", electrics=Electrics(BOARD_A))
WALL = Supply("p", Adapter(6.0, 50.0))


def wagging(*steps: Move | Hold, tail: Servo = TAIL, supply: Supply = WALL) -> Show:
    wag = Cue("wag", "", Repeat(InTurn(steps), None))
    return Show(Rig((supply,), (BODY,), (tail,)), Score("t", (wag,), usage=(Usage("wag", 1.0),)))


def wag(way_deg: float, lasts_ms: int, law: Law) -> Show:
    to, back = (Move("tail", end, lasts_ms, law) for end in (way_deg, 0.0))
    return wagging(to, back)


def seen(show: Show, times_ms: np.ndarray) -> tuple[Samples, np.ndarray]:
    """Samples of a wag that starts at 1000 ms, and the tail's current."""
    last = int(times_ms[-1]) + 100
    samples = sample(rehearse(show, [Press(1000, cue="wag")], last), times_ms)
    return samples, work(show.rig, samples).servos["tail"].current_a


def started_ms(show: Show) -> float:
    """When the first move of the wag takes over."""
    row = rehearse(show, [Press(1000, cue="wag")], 2000).motions["tail"]
    return next(piece.begin_ms for piece in row if piece.cue == "wag")


@pytest.mark.parametrize("lasts_ms", [100, 150, 230, 1000])
@pytest.mark.parametrize("step_ms", [1.0, 2.5])
def test_the_mean_current_of_a_wag_is_that_of_running_and_of_turning_its_rotor(
    lasts_ms: int, step_ms: float
) -> None:
    """Without a load all torque is J a. From rest to its peak the speed grows to cv h / T and falls
    again, so the mean of |a| over a move is 2 cv h / T**2 (a law's coefficient of speed, as in the
    cam handbooks); the current is I0 + (Is - I0) J |a| / Ts (the line of `sim.rig.servo`)."""
    law, way_deg = MINIMUM_JERK, 10.0
    show = wag(way_deg, lasts_ms, law)
    times = started_ms(show) + np.arange(0.0, 8.0 * 2.0 * lasts_ms, step_ms)
    _, current = seen(show, times)
    mean_accel = 2.0 * coefficients(law).cv * radians(way_deg) / (lasts_ms / 1000.0) ** 2
    by_hand = RUNNING_A + (STALL_A - RUNNING_A) * ROTOR * mean_accel / STALL_NM
    assert float(np.mean(current)) == pytest.approx(by_hand, rel=2e-3)
    assert float(np.min(current)) >= RUNNING_A


@given(
    name=st.sampled_from(LAW_NAMES),
    way_deg=st.floats(0.5, 40.0),
    lasts_ms=st.integers(60, 3000),
    step_ms=st.sampled_from((1.0, 2.5, 10.0)),
)
def test_a_part_that_turns_about_never_stands(
    name: str, way_deg: float, lasts_ms: int, step_ms: float
) -> None:
    """By every law, also one whose speed, acceleration and jerk are all zero at the turn."""
    law = Law(name, *((0.3, 0.3) if name in ("trapezoid", "double-S") else ()))  # type: ignore[arg-type]
    show = wag(way_deg, lasts_ms, law)
    start = started_ms(show)
    times = start + np.arange(-5.0 * step_ms, 6.0 * lasts_ms, step_ms)
    samples, current = seen(show, times)
    before = times < start
    moves = moving_in(TAIL, samples.servos["tail"])
    assert moves.tolist() == (~before).astype(float).tolist()
    assert np.all(current[~before] >= RUNNING_A)
    assert current[before] == pytest.approx(IDLE_A)


def test_a_part_that_rests_between_its_moves_stands_there_and_nowhere_else() -> None:
    """100 ms each way and 60 ms of rest at one end: 200 of 260 ms in motion."""
    show = wagging(Move("tail", 10.0, 100), Hold(60), Move("tail", 0.0, 100))
    times = started_ms(show) + np.arange(0.0, 2600.0, 1.0)
    samples, current = seen(show, times)
    phase = np.arange(0.0, 2600.0, 1.0) % 260.0
    resting = (phase >= 100.0) & (phase < 160.0)
    assert (current < RUNNING_A).tolist() == resting.tolist()
    assert current[resting] == pytest.approx(IDLE_A)
    assert float(np.mean(moving_in(TAIL, samples.servos["tail"]))) == pytest.approx(200 / 260)


def test_a_move_to_where_the_part_is_turns_no_motor() -> None:
    show = wagging(Move("tail", 0.0, 400), Hold(60))
    _, current = seen(show, np.arange(900.0, 2000.0, 10.0))
    assert current == pytest.approx(IDLE_A)


def test_a_part_that_brakes_and_goes_back_does_not_stand_in_between() -> None:
    """Stopped in the middle of its way: from the start of its first move up to the end of its way
    back to the safe pose it moves, without a gap."""
    show = wagging(Move("tail", 50.0, 600), Hold(5000), tail=replace(TAIL, accel_deg_s2=900.0))
    played = rehearse(show, [Press(1000, cue="wag"), Press(1300, action="stop")], 5000)
    samples = sample(played, np.arange(900.0, 5000.0, 1.0))
    moves = moving_in(TAIL, samples.servos["tail"])
    assert int(np.sum(np.abs(np.diff(moves)))) == 2
    there = samples.servos["tail"].angle_deg[moves == 0.0]
    assert np.ptp(there) == pytest.approx(0.0, abs=1e-9)


def test_a_part_that_turns_round_and_round_moves_wherever_it_has_a_speed_or_changes_it() -> None:
    spins = replace(TAIL, load=Load(spins=True))
    show = wagging(
        Move("tail", 40.0, 200), Hold(100), Move("tail", -40.0, 300), Move("tail", 0.0, 200),
        Hold(200), tail=spins,
    )  # fmt: skip
    start = started_ms(show)
    samples, _ = seen(show, start + np.arange(0.0, 1000.0, 1.0))
    moves = moving_in(spins, samples.servos["tail"])
    assert moves.tolist() == [1.0] * 800 + [0.0] * 200


def test_run_time_and_heat_of_a_wag_are_on_the_safe_side_of_the_closed_form() -> None:
    """Both from the mean and the mean square of |a| over a minimum-jerk move: 2 cv h / T**2, and
    a**2 of 30 (x - x**2) (2 - 4 x) over 0 to 1, integrated by hand: 120 / 7 (h / T**2)**2."""
    pack = Supply("p", Cells("li-ion", 2, 2.0, resistance_ohm=1e-6))
    way, lasts_s = radians(10.0), 0.15
    to, back = (Move("tail", end, 150, MINIMUM_JERK) for end in (10.0, 0.0))
    show = wagging(to, back, supply=pack)
    book = Book(show)
    (supply,) = show.rig.supplies
    mean = source_mean_a(book, supply, book.mix())
    volts = float(np.mean(book["wag"].upright.board_v["b"]))
    drive_a = ROTOR * 2.0 * 1.875 * way / lasts_s**2 / (STALL_NM * volts / 6.0)
    by_hand = BOARD_A + RUNNING_A + (STALL_A * volts / 6.0 - RUNNING_A) * drive_a
    assert by_hand * (1.0 - 1e-4) < mean < by_hand * 1.01
    found = run_time((book,), supply)
    assert found is not None
    assert found.hours <= 2.0 * 0.8 / by_hand * (1.0 + 1e-4)
    (hot,) = heats(show, book)
    rms_nm = ROTOR * (120.0 / 7.0) ** 0.5 * way / lasts_s**2
    assert hot.rms_share == pytest.approx(rms_nm / STALL_NM, rel=5e-3)


@pytest.mark.parametrize("share", [0.2, 0.3])
def test_a_wag_whose_acceleration_jumps_has_the_rms_torque_of_its_closed_form(share: float) -> None:
    """Without a load the torque is J a, and a trapezoid gives a = h / (p (1 - p) T**2) over two
    shares p of its time: its RMS is that times the root of 2 p (any textbook of cams)."""
    lasts_s, way = 0.12, radians(30.0)
    show = wag(30.0, 120, Law("trapezoid", share))
    (found,) = heats(show)
    accel = way / (share * (1.0 - share) * lasts_s**2)
    by_hand = ROTOR * accel * (2.0 * share) ** 0.5
    assert found.rms_share * STALL_NM == pytest.approx(by_hand, rel=5e-3)


def test_a_cue_that_ends_is_averaged_from_its_beginning_to_its_end() -> None:
    """Four moves of 200 ms: running current all along, and that of turning the rotor."""
    show = wag(10.0, 200, MINIMUM_JERK)
    (cue,) = show.score.cues
    assert isinstance(cue.body, Repeat)
    ends = replace(cue, body=replace(cue.body, times=2))
    show = replace(show, score=replace(show.score, cues=(ends,)))
    run = Book(show)["wag"]
    assert np.all(moving_in(TAIL, run.samples.servos["tail"]) == 1.0)
    mean_accel = 2.0 * coefficients(MINIMUM_JERK).cv * radians(10.0) / 0.2**2
    by_hand = RUNNING_A + (STALL_A - RUNNING_A) * ROTOR * mean_accel / STALL_NM
    mean_a = float(np.mean(run.upright.servos["tail"].current_a))
    assert mean_a == pytest.approx(by_hand, rel=1e-3)
