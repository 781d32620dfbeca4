"""Interrupted moves: the rule of the table's specification for arrays, its limits, the search."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sim.model import (
    Binding,
    Board,
    Cue,
    FourBar,
    Gear,
    InTurn,
    Law,
    LeverPair,
    Load,
    Move,
    PointMass,
    Rig,
    Score,
    Servo,
    Show,
    Wearer,
)
from sim.rehearsal.fixed_motion import angle_steps, limits_of, start_motion
from sim.rehearsal.motion import kinematics
from sim.rehearsal.takeover import POSITIONS_PER_DEG, Takeover
from sim.rulebook import ANGLE_BITS, CLOCK_PER_MS
from sim.score.fixed_laws import fixed_law
from sim.score.laws import shape
from sim.score.planned_moves import PlannedMove, motion_limits
from sim.strain.envelope import operate
from sim.strain.interruption import (
    _BRAKING,
    _MOVING,
    STOP,
    Interruption,
    _outcomes,
    _search,
    bound_share,
    hardest_nm,
    interruptions,
    taken_over,
)
from sim.strain.reachable import Reachable
from tests.sim.jaw import JAW as STRONG_JAW

JAW = replace(STRONG_JAW, safe_deg=4.0)

LAWS = [
    Law("uniform"),
    Law("parabolic"),
    Law("harmonic"),
    Law("cycloidal"),
    Law("3-4-5"),
    Law("modified sine"),
    Law("double-S", 0.4, 0.25),
]


def show_of(*cues: Cue, servo: Servo = JAW, idle: tuple[str, ...] = ()) -> Show:
    rig = Rig((), (Board("b", "atmega328p", 1),), (servo,), wearer=Wearer(tilt_deg=20.0))
    return Show(rig, Score("s", cues, idle=idle))


def cue(name: str, *moves: Move, conflict: str = "take") -> Cue:
    return Cue(name, "", InTurn(moves), conflict)  # type: ignore[arg-type]


def motion(
    target: float, run: Takeover, law: Law, times: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Angle, speed and acceleration at times (s) after an interruption."""
    to_go, speed, acceleration = kinematics(run, law, times)
    return target - to_go, speed, acceleration


@settings(max_examples=150)
@given(
    st.floats(5.0, 55.0),
    st.floats(-250.0, 250.0),
    st.floats(0.0, 60.0),
    st.integers(60, 1500),
    st.sampled_from(LAWS),
    st.integers(300, 4000),
)
def test_taking_over_is_what_the_player_does(
    angle: float, speed: float, target: float, nominal: int, law: Law, accel: int
) -> None:
    """One rule serves both; the player's durations are whole units of its clock."""
    here = round(angle * POSITIONS_PER_DEG)
    pace = round(speed / 1000.0 * POSITIONS_PER_DEG)
    goal = angle_steps(target) << ANGLE_BITS
    limits = limits_of(JAW, (300, accel))
    theirs = start_motion(limits, here, pace, 0, goal, nominal * CLOCK_PER_MS, fixed_law(law))
    target = goal / POSITIONS_PER_DEG
    ours = taken_over(
        JAW, *(np.array([v]) for v in (angle, speed, target, nominal / 1000.0)), law, (300, accel)
    )
    assume(abs(float(ours.way[0])) > 1e-6)  # nearer, rounding decides which way is ahead
    span = theirs.end / CLOCK_PER_MS
    assert 1000.0 * float(ours.end[0]) == pytest.approx(span, rel=3e-4, abs=4.0 / CLOCK_PER_MS)
    for share in (0.0, 0.1, 0.3, 0.5, 0.8):
        time = int(share * theirs.end)
        there, _, _ = motion(target, ours, law, np.array([time / CLOCK_PER_MS / 1000.0]))
        expected = theirs.position(time) / POSITIONS_PER_DEG
        assert float(there[0]) == pytest.approx(expected, abs=0.01)


@settings(max_examples=150)
@given(
    st.floats(0.0, 60.0),
    st.floats(0.0, 60.0),
    st.floats(0.0, 60.0),
    st.floats(0.0, 1.0),
    st.integers(60, 1500),
    st.integers(60, 1500),
    st.sampled_from(LAWS[1:]),
    st.sampled_from(LAWS[1:]),
)
def test_an_interrupted_part_keeps_speed_acceleration_and_travel(
    start: float,
    end: float,
    target: float,
    at: float,
    first_ms: int,
    second_ms: int,
    law: Law,
    then_law: Law,
) -> None:
    assume(abs(end - start) > 1.0)
    show = show_of(
        cue("a", Move("jaw", start, 3000), Move("jaw", end, first_ms, law)),
        cue("b", Move("jaw", target, second_ms, then_law)),
    )
    top, accel = motion_limits(show)["jaw"]
    form = shape(law, at)
    here = start + (end - start) * float(form.s)
    speed = (end - start) * float(form.v) / first_ms * 1000.0
    run = taken_over(
        JAW,
        *(np.array([v]) for v in (here, speed, target, second_ms / 1000.0)),
        then_law,
        (top, accel),
    )
    times = np.linspace(0.0, float(run.end[0]), 2001)
    angle, going, pull = motion(target, run, then_law, times)
    assert angle[0] == pytest.approx(here, abs=1e-6)
    # so slow a part that its brake takes under a tick of the player counts as at rest
    assert going[0] == pytest.approx(speed, abs=1e-6 * max(1.0, abs(speed)) + accel * 4e-6)
    assert angle[-1] == pytest.approx(target, abs=1e-6)
    assert np.abs(going).max() <= top * (1.0 + 1e-6)
    assert angle.min() >= -1e-6
    assert angle.max() <= 60.0 + 1e-6
    clamped = float(run.residual[0]) != speed * abs(speed) / accel / 2.0
    if not clamped:
        assert np.abs(pull).max() <= accel * (1.0 + 1e-6)


def test_the_search_finds_the_worst_of_all_instants() -> None:
    """Against 4,001 instants of the interrupted move by the rule itself."""
    show = show_of(
        cue("open", Move("jaw", 55.0, 380, Law("cycloidal"))),
        cue("shut", Move("jaw", 8.0, 420, Law("parabolic"))),
    )
    (cuts,) = interruptions(show)
    found = next(c for c in cuts.found if (c.cue, c.by) == ("open", "shut"))
    moving = found.moving
    x = np.linspace(0.0, 1.0, 4001)[1:-1]
    way, form = 55.0 - moving.from_deg, shape(Law("cycloidal"), x)
    run = taken_over(
        JAW,
        moving.from_deg + way * form.s,
        way * form.v / 0.38,
        np.full(x.shape, 8.0),
        np.full(x.shape, 0.42),
        Law("parabolic"),
        motion_limits(show)["jaw"],
    )
    worst = 0.0
    for share in np.linspace(0.0, 1.0, 201):
        points = operate(show.rig, JAW, *motion(8.0, run, Law("parabolic"), share * run.end))
        worst = max(worst, float(points.share.max()))
    assert found.share == pytest.approx(worst, rel=0.01)
    assert found.share >= worst * (1.0 - 0.01)


@pytest.mark.parametrize("level_deg", [13.0, 37.25, 61.5])
def test_the_bound_meets_the_hardest_angle_wherever_it_lies_in_the_travel(level_deg: float) -> None:
    """m g r where the arm is level. A quarter of a degree beside it are 1e-5 of that missing."""
    arm = Load((PointMass(0.1, 0.1),), level_deg=level_deg)
    one = replace(JAW, load=arm, travel_deg=(0.0, 80.0), drive=Gear(1.0), drive_efficiency=1.0)
    rig = Rig(boards=(Board("head", "any", 1),), outputs=(one,), wearer=Wearer())
    assert hardest_nm(rig, one, (0.0, 0.0)) == pytest.approx(0.1 * 9.80665 * 0.1, rel=1.1e-5)


@pytest.mark.parametrize(("times", "looks"), [(1.0, 3), (40.0, 1)])
def test_only_where_the_bound_keeps_the_margin_one_look_is_enough(times: float, looks: int) -> None:
    """Fastest at 0.31 of its time, between the instants of the first look. Of a servo of forty
    times the torque and the speed no motion comes near the margin."""
    (rating,) = JAW.ratings
    more = replace(rating, stall_nm=rating.stall_nm * times, speed_deg_s=rating.speed_deg_s * times)
    strong = replace(JAW, ratings=(more,))
    show = show_of(
        cue("open", Move("jaw", 55.0, 380, Law("3-4-5", peak=0.31))),
        cue("shut", Move("jaw", 8.0, 420, Law("parabolic"))),
        servo=strong,
    )
    (cuts,) = interruptions(show)
    assert cuts.bound_keeps is (looks == 1)
    found = next(c for c in cuts.found if (c.cue, c.by) == ("open", "shut"))
    pair = found.moving, "shut", found.then
    limits = Reachable(show).table["jaw"]
    shares = [_search(show.rig, strong, [pair], limits, None, n)[0].share for n in (1, 2, 3)]
    assert shares == sorted(shares)
    assert shares[0] < shares[2]
    assert found.share == pytest.approx(shares[looks - 1], rel=1e-12)


def test_nothing_found_is_worse_than_the_bound() -> None:
    show = show_of(
        cue("a", Move("jaw", 55.0, 300), Move("jaw", 2.0, 500, Law("parabolic"))),
        cue("b", Move("jaw", 30.0, 200, Law("cycloidal"))),
    )
    (cuts,) = interruptions(show)
    assert cuts.found
    assert max(c.share for c in cuts.found) <= cuts.bound_share + 1e-9
    assert cuts.bound_share == pytest.approx(
        bound_share(show.rig, JAW, motion_limits(show)["jaw"]), rel=1e-9
    )
    shares = [c.share for c in cuts.found]
    assert shares == sorted(shares, reverse=True)


def test_a_cue_that_waits_or_is_refused_cuts_nothing_but_idle() -> None:
    for conflict in ("wait", "refuse"):
        polite = cue("polite", Move("jaw", 8.0, 420), conflict=conflict)
        show = show_of(cue("open", Move("jaw", 55.0, 380)), polite)
        (cuts,) = interruptions(show)
        assert {c.by for c in cuts.found if c.cue == "open"} == {"open", STOP}
        (idle,) = interruptions(replace(show, score=replace(show.score, idle=("open",))))
        glides = {"open"}
        assert {c.by for c in idle.found if c.cue == "open"} == {"polite", STOP} | glides


def test_idle_cuts_another_cue_only_where_something_starts_it() -> None:
    show = show_of(
        cue("open", Move("jaw", 50.0, 200)), cue("rest", Move("jaw", 4.0, 200)), idle=("rest",)
    )
    bound = replace(show, score=replace(show.score, bindings=(Binding(1, "rest"),)))
    lost = replace(show, score=replace(show.score, lost_cue="rest"))
    for one, starts in ((show, False), (bound, True), (lost, True)):
        (cuts,) = interruptions(one)
        assert ("rest" in {cut.by for cut in cuts.found if cut.cue == "open"}) == starts


def test_the_stop_cuts_every_cue() -> None:
    show = show_of(cue("open", Move("jaw", 55.0, 380)))
    (cuts,) = interruptions(show)
    stop = next(c for c in cuts.found if c.by == STOP)
    assert stop.then.angle_deg == JAW.safe_deg
    assert stop.then.duration_ms == show.score.stop_ms


def test_a_servo_that_never_moves_has_nothing_to_cut() -> None:
    (cuts,) = interruptions(show_of(cue("still", Move("jaw", 4.0, 500))))
    assert cuts.found == ()
    assert cuts.bound_keeps


def test_an_interruption_tells_how_much_later_the_part_arrives() -> None:
    """A new move the other way waits for the brake and is then as long as its limits ask."""
    show = show_of(
        cue("open", Move("jaw", 55.0, 380)), cue("shut", Move("jaw", 4.0, 380)), servo=JAW
    )
    (cuts,) = interruptions(show)
    shut = next(c for c in cuts.found if (c.cue, c.by) == ("open", "shut"))
    assert shut.delay_ms > 0.0
    slow = show_of(
        cue("open", Move("jaw", 55.0, 380)), cue("shut", Move("jaw", 4.0, 3000)), servo=JAW
    )
    (cuts,) = interruptions(slow)
    assert next(c for c in cuts.found if c.by == "shut" and c.cue == "open").delay_ms < 1.0


@pytest.mark.parametrize(
    ("first", "then"),
    [
        (Law("trapezoid", 0.23), Law("trapezoid", 0.17)),
        (Law("trapezoid", 0.08), Law("3-4-5")),
        (Law("parabolic"), Law("parabolic")),
        (Law("3-4-5"), Law("parabolic")),
        (Law("double-S", 0.3, 0.2), Law("trapezoid", 0.31)),
    ],
)
def test_the_corners_of_laws_that_jump_are_not_missed(first: Law, then: Law) -> None:
    """Against a dense look at the instants of the cut and at the times after it."""
    show = show_of(
        Cue("there", "", Move("jaw", 55.0, 420, first)),
        Cue("back", "", Move("jaw", 3.0, 410, then)),
    )
    (cuts,) = interruptions(show, {"b": 6.0})
    one = next(o for o in show.rig.outputs if isinstance(o, Servo))
    for found in (cut for cut in cuts.found if cut.by != STOP):
        assert found.share >= dense_share(show, one, found) - 3e-3, (found.cue, found.by)


def dense_share(show: Show, one: Servo, found: Interruption) -> float:
    """The hardest that cutting the same move by the same move works the servo, on a dense grid."""
    limits, start = motion_limits(show)[one.name], found.moving.from_deg
    moving, then = found.moving.move, found.then
    stroke, seconds = moving.angle_deg - start, moving.duration_ms / 1000.0
    target, nominal = np.array([then.angle_deg]), np.array([then.duration_ms / 1000.0])
    worst = 0.0
    for cut in np.linspace(1e-6, 1.0 - 1e-6, 241):
        at = shape(moving.law, cut)
        angle, speed = np.array([start + stroke * at.s]), np.array([stroke * at.v / seconds])
        run = taken_over(one, angle, speed, target, nominal, then.law, limits)
        times = np.linspace(1e-6, float(run.end[0]) - 1e-6, 601)
        to_go, v, a = kinematics(run, then.law, times)
        share = operate(show.rig, one, then.angle_deg - to_go, v, a, 6.0).share
        worst = max(worst, float(share.max()))
    return worst


@pytest.mark.parametrize("crossed", [False, True])
@pytest.mark.parametrize("friction_nm", [0.0, 0.02])
def test_no_slower_motion_of_a_linkage_asks_for_more_than_the_bound(
    crossed: bool, friction_nm: float
) -> None:
    """The bend of a linkage takes from the torque what the servo's own mass asks at speed."""
    servo = replace(
        JAW,
        travel_deg=(-30.0, 30.0),
        drive=FourBar(0.06, 0.02, 0.063, 0.03, arm_zero_deg=75.0, crossed=crossed),
        load=replace(JAW.load, friction_nm=friction_nm),
        rotor_kg_m2=1e-3,
        drive_efficiency=0.8,
    )
    rig = show_of(servo=servo).rig
    speeds = np.linspace(-400.0, 400.0, 41)[:, None]
    angles = np.linspace(-30.0, 30.0, 121)
    for accel in (-900.0, 900.0):
        seen = operate(rig, servo, *np.broadcast_arrays(angles, speeds, accel))
        assert seen.greatest_nm.max() <= hardest_nm(rig, servo, (400.0, 900.0)) * (1.0 + 1e-6)
        assert seen.share.max() <= bound_share(rig, servo, (400.0, 900.0)) * (1.0 + 1e-6)


@pytest.mark.parametrize(
    "drive",
    [Gear(), Gear(-1.8), LeverPair(0.03, 0.02), FourBar(0.06, 0.02, 0.063, 0.03, 55.0)],
    ids=["gear", "reversed", "levers", "bar"],
)
@given(st.floats(1.0, 300.0), st.floats(0.0, 5000.0), st.floats(0.0, 60.0))
@settings(max_examples=25)
def test_a_part_that_sinks_as_it_turns_is_bounded_as_one_that_rises(
    drive: Gear | LeverPair | FourBar, speed: float, accel: float, tilt: float
) -> None:
    """The weight pulls the other way, and so does the worst motion: both ways are looked at."""
    rising = replace(JAW, drive=drive)
    sinking = replace(rising, load=replace(rising.load, lowers=True))
    rig = Rig((), (Board("b", "any", 1),), (rising,), wearer=Wearer(tilt_deg=tilt))
    other = replace(rig, outputs=(sinking,))
    for limits in ((speed, accel), (speed, 0.0), (0.0, 0.0)):
        for bound in (hardest_nm, bound_share):
            up, down = bound(rig, rising, limits), bound(other, sinking, limits)
            assert up == pytest.approx(down, rel=1e-9)


def test_a_uniform_move_that_cuts_in_jumps_to_its_speed_and_off_it_within_a_frame() -> None:
    """From rest, 30 deg in 1.5 s: 20 deg/s, so 1000 deg/s2 over 20 ms, and back at its end."""
    still = PlannedMove("a", Move("jaw", 10.0, 1000, Law("3-4-5")), 10.0, 0.0, False)
    then = Move("jaw", 40.0, 1500, Law("uniform"))
    shares = np.array([[0.5]])
    angle, speed, accel, delay = _outcomes(JAW, [(still, "b", then)], (100, 2000), shares)
    moving = slice(_BRAKING.size, _BRAKING.size + _MOVING.size)
    assert angle[0, 0, moving][[0, -1]] == pytest.approx([10.0, 40.0], abs=1e-6)
    assert speed[0, 0, moving] == pytest.approx(20.0)
    row = accel[0, 0, moving]
    assert (row[0], row[-1]) == (pytest.approx(1000.0), pytest.approx(-1000.0))
    assert row[1:-1] == pytest.approx(0.0, abs=1e-9)
    assert delay[0, 0] == pytest.approx(0.0, abs=1e-6)


def test_beside_a_smooth_move_one_that_jumps_is_still_looked_at_on_both_sides_of_its_jumps() -> (
    None
):
    """A trapezoid that speeds up for a tenth of its time: there its acceleration falls to none."""
    still = PlannedMove("a", Move("jaw", 10.0, 1000, Law("3-4-5")), 10.0, 0.0, False)
    jumping = Move("jaw", 40.0, 1500, Law("trapezoid", 0.1))
    smooth = Move("jaw", 40.0, 1500, Law("3-4-5"))
    for row, laws in ((0, (jumping, smooth)), (1, (smooth, jumping))):
        pairs = [(still, "b", then) for then in laws]
        speed, accel = _outcomes(JAW, pairs, (100, 2000), np.full((2, 1), 0.5))[1:3]
        corners = slice(_BRAKING.size + _MOVING.size, None)
        # 20 deg/s over the ramps' share of 0.9, and that within 150 ms
        assert speed[row, 0, corners] == pytest.approx(20.0 / 0.9, rel=1e-4)
        up = 20.0 / 0.9 / 0.15
        assert accel[row, 0, corners] == pytest.approx([up, 0.0, 0.0, -up], rel=1e-4, abs=1e-9)
