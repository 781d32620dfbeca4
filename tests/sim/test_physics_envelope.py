"""Moves against the servo's line: many at once, one by one, and by dense sampling."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.model import (
    Adapter,
    Board,
    FourBar,
    Gear,
    Law,
    LeverPair,
    Load,
    PointMass,
    Rating,
    Rig,
    Servo,
    Spring,
    Supply,
    Wearer,
    Wire,
)
from sim.rig import servo
from sim.score.laws import shape
from sim.strain.envelope import Assessment, asked_of_horn, assess, operate, passage
from tests.sim.jaw import JAW

DRIVES = [
    Gear(),
    Gear(-1.8),
    LeverPair(0.03, 0.02),
    FourBar(0.06, 0.02, 0.063, 0.03, arm_zero_deg=55.0),
]

LAWS = [
    Law("parabolic"),
    Law("trapezoid", 0.3),
    Law("harmonic"),
    Law("cycloidal"),
    Law("3-4-5"),
    Law("4-5-6-7"),
    Law("modified sine"),
    Law("modified trapezoid"),
    Law("double-S", 0.4, 0.25),
]


LEANING = Wearer(tilt_deg=20.0)


def rig_of(one: Servo, wearer: Wearer = LEANING, supply: bool = False) -> Rig:
    supplies = (Supply("p", Adapter(6.0, 5.0)),) if supply else ()
    board = Board("b", "atmega328p", 1, "p" if supply else None, Wire(1.0, 24) if supply else None)
    return Rig(supplies, (board,), (one,), wearer=wearer)


servos = st.builds(
    lambda drive, mass, radius, level, spring, lowers, size: replace(
        JAW,
        drive=drive,
        load=Load(
            (PointMass(size * mass, radius),),
            level,
            springs=(Spring(size * spring, 20.0),),
            lowers=lowers,
        ),
        ratings=(Rating(6.0, 353.0, 0.92 * size, 2.1 * size),),
        rotor_kg_m2=2e-5 * size,
    ),
    st.sampled_from(DRIVES),
    st.floats(0.01, 0.3),
    st.floats(0.02, 0.15),
    st.floats(-40.0, 60.0),
    st.floats(0.0, 0.3),
    st.booleans(),
    st.sampled_from([1.0, 30.0]),
)
"""Also large ones, so that a torque is not always the smaller number than its share."""


@settings(max_examples=60)
@given(
    servos,
    st.floats(0.0, 60.0),
    st.floats(0.0, 60.0),
    st.floats(80.0, 2000.0),
    st.sampled_from(LAWS),
    st.floats(0.0, 60.0),
)
def test_no_instant_of_a_move_is_harder_than_its_assessment(
    one: Servo, start: float, end: float, milliseconds: float, law: Law, tilt: float
) -> None:
    """20,001 instants by the models themselves, against the peak that was closed in on."""
    rig = rig_of(one, Wearer(tilt_deg=tilt))
    found = assess(rig, one, start, end, milliseconds, law, 6.0)
    x = np.linspace(0.0, 1.0, 20001)[1:-1]
    form, seconds = shape(law, x), milliseconds / 1000.0
    dense = operate(
        rig,
        one,
        start + (end - start) * form.s,
        (end - start) * form.v / seconds,
        (end - start) * form.a / seconds**2,
        6.0,
    )
    hardest = float(dense.share.max())
    assert float(found.peak_share[0]) >= hardest * (1.0 - 1e-6) - 1e-9
    assert float(found.peak_share[0]) <= hardest * (1.0 + 2e-3) + 1e-3
    assert 0.0 <= float(found.at_ms[0]) <= milliseconds
    assert float(found.peak_torque_nm[0]) >= dense.greatest_nm.max() * (1.0 - 1e-2)
    rms = np.sqrt(np.mean(dense.greatest_nm**2))
    assert float(found.rms_torque_nm[0]) == pytest.approx(rms, rel=0.02, abs=1e-4)


@pytest.mark.parametrize(
    ("start", "end", "mass_kg", "lasts_ms"),
    [(20.0, 40.0, 0.2, 800.0), (0.0, 60.0, 0.15, 1500.0), (60.0, 0.0, 0.2, 800.0)],
)
def test_at_an_even_speed_both_ends_count_with_the_jump_and_without(
    start: float, end: float, mass_kg: float, lasts_ms: float
) -> None:
    """A part that its weight pulls along is eased by taking up speed: the worst is just behind."""
    one = replace(JAW, load=Load((PointMass(mass_kg, 0.1),), -30.0, lowers=True))
    rig = rig_of(one)
    found = assess(rig, one, start, end, lasts_ms, Law("uniform"), 6.0)
    angles = np.linspace(start, end, 4001)
    steady = operate(rig, one, angles, (end - start) / lasts_ms * 1e3, 0.0, 6.0)
    assert float(found.peak_share[0]) >= float(steady.share.max()) * (1.0 - 1e-6)


WHEEL = replace(
    JAW,
    drive=Gear(),
    load=Load((PointMass(0.2, 0.1), PointMass(0.2, 0.1, 180.0))),
    ratings=(Rating(6.0, 9000.0, 2.0, 2.0),),
    rotor_kg_m2=0.0,
    drive_efficiency=1.0,
)
"""Balanced, so it asks for torque as it accelerates and for nothing else."""


@pytest.mark.parametrize(
    ("law", "corner", "speed", "accel"),
    [
        # speed up at a constant rate, or with its ends rounded over a share of the ramp: integrals
        (Law("parabolic"), 0.5, 2.0, 4.0),
        (Law("trapezoid", 0.3), 0.3, 1 / 0.7, 1 / (0.7 * 0.3)),
        (Law("double-S", 0.4, 0.25), 0.3, 1 / 0.6 - 0.05 / 0.18, 1 / 0.18),
        (Law("double-S", 0.3, 0.3), 0.21, 1 / 0.7 - 0.045 / 0.147, 1 / 0.147),
    ],
)
def test_the_worst_instant_is_the_corner_where_a_ramp_is_fastest_at_full_acceleration(
    law: Law, corner: float, speed: float, accel: float
) -> None:
    """A ramp of the share a, whose ends take a share b of it each: the acceleration is
    1 / ((1 - a) a (1 - b)), and the corner is at a (1 - b), half an end of it below full speed."""
    found = assess(rig_of(WHEEL, Wearer()), WHEEL, 0.0, 50.0, 300.0, law, 6.0)
    inertia = 2 * 0.2 * 0.1**2
    assert float(found.at_ms[0]) == pytest.approx(300.0 * corner, rel=1e-7)
    assert float(found.angle_deg[0]) < 50.0
    assert float(found.speed_deg_s[0]) == pytest.approx(speed * 50.0 / 0.3, rel=1e-6)
    torque = inertia * np.radians(50.0) * accel / 0.3**2
    assert float(found.torque_nm[0]) == pytest.approx(torque, rel=1e-6)
    assert float(found.peak_torque_nm[0]) == pytest.approx(torque, rel=1e-6)


@pytest.mark.parametrize("law", [one for one in LAWS if "4-5" in one.name or "c" in one.name[:3]])
def test_a_peak_between_two_looks_is_closed_in_on(law: Law) -> None:
    """Against 100,001 instants by the models themselves, to a millionth."""
    rig = rig_of(WHEEL, Wearer())
    form = shape(law, np.linspace(0.0, 1.0, 100001))
    dense = operate(rig, WHEEL, 50.0 * form.s, 50.0 * form.v / 0.3, 50.0 * form.a / 0.09, 6.0)
    found = assess(rig, WHEEL, 0.0, 50.0, 300.0, law, 6.0)
    at = int(np.argmax(dense.share))
    assert float(found.peak_share[0]) == pytest.approx(float(dense.share[at]), rel=1e-6)
    assert float(found.at_ms[0]) == pytest.approx(300.0 * at / 100000, abs=0.5)
    assert float(found.speed_deg_s[0]) == pytest.approx(float(dense.speed_deg_s[at]), rel=5e-3)


def test_many_moves_at_once_are_as_one_by_one() -> None:
    rig = rig_of(JAW)
    moves = [(0.0, 50.0, 400, LAWS[0]), (50.0, 3.0, 300, LAWS[4]), (10.0, 11.0, 90, LAWS[0])]
    starts, ends, times, laws = zip(*moves, strict=True)
    together = assess(rig, JAW, starts, ends, times, list(laws))
    for n, (start, end, milliseconds, law) in enumerate(moves):
        alone = assess(rig, JAW, start, end, milliseconds, law)
        for name in Assessment.__slots__:
            assert getattr(together, name)[n] == getattr(alone, name)[0], name


def test_the_worst_instant_lies_on_the_margin_where_a_move_just_passes() -> None:
    """The reported torque is all that the line leaves there, less the margin."""
    rig = rig_of(JAW)
    low, high = 100.0, 2000.0
    for _ in range(60):
        middle = (low + high) / 2.0
        share = float(assess(rig, JAW, 2.0, 55.0, middle, Law("3-4-5"), 6.0).peak_share[0])
        low, high = (low, middle) if share < 1.0 - rig.wearer.margin else (middle, high)
    edge = assess(rig, JAW, 2.0, 55.0, high, Law("3-4-5"), 6.0)
    assert float(edge.peak_share[0]) == pytest.approx(0.8, abs=1e-6)
    assert abs(float(edge.torque_nm[0])) == pytest.approx(float(edge.allowed_nm[0]), rel=1e-4)
    assert bool(edge.passes[0])
    assert not bool(assess(rig, JAW, 2.0, 55.0, high * 0.99, Law("3-4-5"), 6.0).passes[0])


def test_a_lower_voltage_works_the_servo_harder() -> None:
    rig = rig_of(JAW)
    volts = np.array([4.5, 5.0, 5.5, 6.0])
    shares = assess(rig, JAW, [0.0] * 4, 50.0, 500.0, Law("3-4-5"), volts).peak_share
    assert (np.diff(shares) < 0.0).all()


def test_a_servo_s_own_current_sags_its_feed() -> None:
    rig = rig_of(JAW, supply=True)
    alone = operate(rig, JAW, 10.0, 0.0, [0.0, 20000.0, 60000.0])
    assert (np.diff(alone.voltage_v) < 0.0).all()
    assert float(alone.voltage_v[0]) < 6.0


def test_more_tilt_never_helps() -> None:
    shares = [
        float(
            assess(
                rig_of(JAW, Wearer(tilt_deg=tilt)), JAW, 0, 50, 500, Law("cycloidal"), 6.0
            ).peak_share[0]
        )
        for tilt in (0.0, 10.0, 45.0, 90.0, 180.0)
    ]
    assert all(b >= a - 1e-12 for a, b in pairwise(shares))


def test_a_stated_acceleration_is_a_limit_of_its_own() -> None:
    slow = replace(JAW, accel_deg_s2=1000.0)
    law = Law("parabolic")
    just = np.sqrt(4.0 * 50.0 / 1000.0) * 1000.0  # Ca h / T2 = a
    rig = rig_of(slow)
    assert bool(assess(rig, slow, 0.0, 50.0, just + 0.01, law, 6.0).passes[0])
    assert not bool(assess(rig, slow, 0.0, 50.0, just - 0.5, law, 6.0).passes[0])


@pytest.mark.parametrize("law", [Law("3-4-5", peak=0.3), Law("double-S", 0.3, 0.2, peak=0.3)])
def test_braking_late_is_as_hard_as_starting_so_fast(law: Law) -> None:
    """Played backwards, a move that is fastest at 0.3 of its time is one that is so at 0.7."""
    rig = rig_of(JAW)
    for way in ((0.0, 40.0), (40.0, 0.0)):
        early = assess(rig, JAW, *way, 400.0, law)
        late = assess(rig, JAW, *way, 400.0, replace(law, peak=0.7))
        even = assess(rig, JAW, *way, 400.0, replace(law, peak=0.5))
        assert late.peak_accel_deg_s2 == pytest.approx(early.peak_accel_deg_s2, rel=0.02)
        assert (late.peak_accel_deg_s2 > 1.3 * even.peak_accel_deg_s2).all()


def test_a_jump_of_speed_costs_torque_in_a_frame() -> None:
    rig = rig_of(JAW)
    uniform = assess(rig, JAW, 0.0, 40.0, 400.0, Law("uniform"), 6.0)
    speed = 100.0
    inertia = 0.14 * 0.08**2
    jolt = inertia * np.radians(speed / 0.02)
    assert float(uniform.peak_torque_nm[0]) >= jolt


def test_a_pose_out_of_the_drive_s_reach_is_infinitely_hard() -> None:
    stuck = replace(JAW, drive=LeverPair(0.01, 0.03))
    found = assess(rig_of(stuck), stuck, 0.0, 55.0, 900.0, Law("3-4-5"), 6.0)
    assert np.isinf(found.peak_share[0])
    assert not found.passes[0]


def test_braking_never_counts_less_than_the_gears_stand() -> None:
    line = servo.line(JAW, 6.0)
    assert float(servo.share(line, -0.92, 100.0)) == pytest.approx(1.0)
    assert float(servo.share(line, -0.1, 353.0)) == pytest.approx(1.0)
    assert float(servo.share(line, 0.46, 176.5)) == pytest.approx(1.0)
    assert float(servo.share(line, 0.0, 0.0)) == 0.0


def test_a_move_s_passage_meets_its_ends() -> None:
    times, angle, speed, accel = passage(4.0, 50.0, 300.0, Law("parabolic"))
    assert (times[0], times[-1]) == (0.0, 300.0)
    assert (angle[0], angle[-1]) == pytest.approx((4.0, 50.0))
    assert speed.max() == pytest.approx(2.0 * 46.0 / 0.3, rel=1e-6)
    peak = 4.0 * 46.0 / 0.09
    assert (accel.max(), accel.min()) == pytest.approx((peak, -peak))
    low, high, horn = asked_of_horn(JAW, angle, speed, accel, Wearer(tilt_deg=20.0))
    assert (low <= high).all()
    assert horn == pytest.approx(speed)


@settings(max_examples=80)
@given(
    servos,
    st.floats(0.0, 60.0),
    st.floats(-200.0, 200.0),
    st.floats(-3000.0, 3000.0),
    st.floats(0.0, 60.0),
)
def test_a_gear_that_turns_the_other_way_asks_for_the_same(
    one: Servo, angle: float, speed: float, accel: float, tilt: float
) -> None:
    """The horn turns and pushes the other way; how hard it is worked is the same."""
    rig = rig_of(one, Wearer(tilt_deg=tilt))
    there, back = (
        operate(rig, replace(one, drive=Gear(ratio)), angle, speed, accel, 6.0)
        for ratio in (1.7, -1.7)
    )
    assert float(back.torque_nm) == pytest.approx(-float(there.torque_nm), abs=1e-12)
    assert float(back.speed_deg_s) == -float(there.speed_deg_s)
    for name in ("share", "greatest_nm", "allowed_nm", "voltage_v"):
        assert float(getattr(back, name)) == pytest.approx(float(getattr(there, name)))
    assert float(back.greatest_nm) >= abs(float(back.torque_nm))


@settings(max_examples=80)
@given(servos, st.floats(0.0, 60.0), st.floats(-200.0, 200.0), st.floats(-3000.0, 3000.0))
def test_an_operating_point_lies_on_the_line_as_torque_and_speed_say(
    one: Servo, angle: float, speed: float, accel: float
) -> None:
    """Driving, the shares of torque and speed add up; braking, the greater counts (MIT, as in
    `sim.rig.servo`). Upright, one posture alone: least and greatest torque are the same."""
    at = operate(rig_of(one, Wearer()), one, angle, speed, accel, 6.0)
    (rating,) = one.ratings
    torque, horn = float(at.torque_nm), float(at.speed_deg_s)
    shares = abs(torque) / rating.stall_nm, abs(horn) / rating.speed_deg_s
    drives = torque * horn >= 0.0
    assert float(at.share) == pytest.approx(sum(shares) if drives else max(shares))
    assert float(at.greatest_nm) == pytest.approx(abs(torque))
    left = max(1.0 - Wearer().margin - shares[1], 0.0)
    assert float(at.allowed_nm) == pytest.approx(rating.stall_nm * left)


def test_a_pose_out_of_reach_has_no_speed_and_nothing_left() -> None:
    locked = replace(JAW, drive=LeverPair(0.01, 0.04, square_deg=0.0))
    at = operate(rig_of(locked), locked, [60.0, 5.0], 20.0, 0.0)
    assert np.isinf(at.share).tolist() == [True, False]
    assert np.isinf(at.torque_nm).tolist() == [True, False]
    assert np.isinf(at.greatest_nm).tolist() == [True, False]
    assert (at.speed_deg_s[0], at.allowed_nm[0]) == (0.0, 0.0)
    assert at.speed_deg_s[1] > 20.0


def test_the_greatest_speed_is_that_of_the_law_wherever_the_worst_instant_is() -> None:
    """Heavy and quick: worst while it speeds up. 3-4-5 is fastest half way, 15/8 of the mean."""
    one = replace(JAW, load=Load((PointMass(1.0, 0.1),), axis="upright"))
    found = assess(rig_of(one, Wearer()), one, 0.0, 50.0, [400.0], Law("3-4-5"), 6.0)
    assert found.at_ms[0] < 150.0
    assert found.speed_deg_s[0] < 0.9 * 15 / 8 * 50.0 / 0.4
    assert found.peak_speed_deg_s[0] == pytest.approx(15 / 8 * 50.0 / 0.4, rel=1e-3)


@settings(max_examples=60)
@given(
    servos,
    st.floats(0.0, 60.0),
    st.floats(0.0, 60.0),
    st.floats(0.0, 60.0),
    st.integers(100, 2000),
    st.sampled_from([Law("uniform"), *LAWS]),
)
def test_no_place_of_a_way_is_harder_to_leave_than_five_of_it(
    one: Servo, end: float, other: float, to_deg: float, duration_ms: int, law: Law
) -> None:
    """A part that follows a source may be anywhere on its way when a cue moves it."""
    few, many = (
        float(
            assess(
                rig_of(one), one, np.linspace(end, other, count), to_deg, duration_ms, law, 6.0
            ).peak_share.max()
        )
        for count in (5, 61)
    )
    assert many <= few * 1.01
