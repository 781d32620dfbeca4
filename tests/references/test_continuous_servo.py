"""Parts that turn round and round, against elementary mechanics and a numeric reference.

Newton's second law for rotation and the work of a torque (handbook mechanics: Young and Freedman,
University Physics, chapters 9 and 10, from memory); the motor's equation of motion on its straight
torque-speed line, solved by scipy; moments of inertia of a plate worked by hand.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sim.model import (
    Adapter,
    Binding,
    Board,
    CalibrationPoint,
    Cue,
    Gear,
    InTurn,
    Law,
    Load,
    Move,
    Plate,
    PointMass,
    Press,
    Rating,
    Rig,
    Score,
    Servo,
    Show,
    Supply,
    Wearer,
    Wire,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rig.holding_torque import holding_nm, worst_hold
from sim.rig.pinch import pinch
from sim.rig.servo import current_a, line, share
from sim.rig.standstill import pulse_us, slowest_rpm, stands_still
from sim.rig.supply import moving_v
from sim.rig.wire import loop_ohm
from sim.score.planned_moves import motion_limits, planned_moves
from sim.strain.envelope import asked_of_horn, assess, operate, passage
from sim.strain.hardest_torque import hardest_torques
from sim.strain.heat import heats
from sim.strain.sag import start_sags
from sim.strain.shortest import Impossible, shortest_duration_ms
from sim.strain.spin_response import spun_rpm, time_constant_s, top_rpm
from sim.strain.torque_and_current import work

G = 9.80665
RAD_S = 2.0 * pi / 60.0
"""One turn a minute in rad/s."""

RATING = Rating(6.0, 600.0, 0.4, 1.5, 0.2)
"""100 rpm, 0.4 N.m, 1.5 A."""

POINTS = (
    CalibrationPoint(-80.0, 1300.0),
    CalibrationPoint(0.0, 1500.0),
    CalibrationPoint(80.0, 1700.0),
)
PLATE = Plate(0.06, 0.2, 0.1, -0.1)
"""60 g, 200 mm by 100 mm, hinged at its middle: m (a2 + b2) / 12 = 2.5e-4 kg.m2."""
INERTIA = 0.06 * (0.2**2 + 0.1**2) / 12.0

ROTOR = Servo(
    *("rotor", "b", 1, POINTS, (-70.0, 70.0), (RATING,)),
    load=Load((PLATE,), friction_nm=0.02, spins=True),
    idle_a=0.0,
    tip_m=0.1,
)
RIG = Rig((), (Board("b", "any", 1),), (ROTOR,))


def with_load(**changes: object) -> Servo:
    return replace(ROTOR, load=replace(ROTOR.load, **changes))  # type: ignore[arg-type]


# -- torque and speed ------------------------------------------------------------------------


def test_a_rise_of_speed_takes_inertia_times_its_angular_acceleration() -> None:
    """From rest to 60 rpm in 0.5 s by 3-4-5: 15/8 of 2 pi rad/s over 0.5 s at its steepest."""
    _, rpm, rise, second = passage(0.0, 60.0, 500.0, Law("3-4-5"))
    low, high, horn = asked_of_horn(ROTOR, rpm, rise, second, Wearer())
    steepest = 15.0 / 8.0 * 60.0 * RAD_S / 0.5
    assert high.max() == pytest.approx(INERTIA * steepest + 0.02, rel=1e-9)
    assert low.max() == pytest.approx(high.max())
    assert horn.max() == pytest.approx(6.0 * 60.0)


def test_the_servo_s_own_inertia_is_turned_up_by_its_gear_and_the_speed_too() -> None:
    one = replace(ROTOR, drive=Gear(2.0), rotor_kg_m2=3e-4)
    low, _, horn = asked_of_horn(one, 30.0, 50.0, 0.0, Wearer())
    alpha = 50.0 * RAD_S
    assert float(low) == pytest.approx((INERTIA * alpha + 0.02) / 2.0 + 3e-4 * 2.0 * alpha)
    assert float(horn) == pytest.approx(2.0 * 6.0 * 30.0)


def test_a_steady_speed_takes_its_friction_and_its_share_of_the_line() -> None:
    """0.02 / 0.4 of the torque and 60 / 100 of the speed."""
    found = operate(RIG, ROTOR, 60.0, 0.0, 0.0, 6.0)
    assert float(found.share) == pytest.approx(0.02 / 0.4 + 0.6)
    assert float(holding_nm(ROTOR, 60.0, Wearer())) == pytest.approx(0.02)
    assert float(holding_nm(ROTOR, -60.0, Wearer())) == pytest.approx(0.02)
    assert float(holding_nm(ROTOR, 0.0, Wearer())) == 0.0


def test_slowing_down_gives_the_friction_back() -> None:
    low, _, _ = asked_of_horn(ROTOR, 30.0, -200.0, 0.0, Wearer())
    assert float(low) == pytest.approx(0.02 - INERTIA * 200.0 * RAD_S)


@given(st.floats(-70.0, 70.0), st.floats(0.0, 40.0), st.floats(0.0, 360.0))
def test_out_of_balance_no_angle_takes_more_or_less(rpm: float, tilt: float, angle: float) -> None:
    """5 g at 30 mm: its weight as a vector, at any angle, stays between the two ends."""
    one = with_load(bodies=(PLATE, PointMass(0.005, 0.03)), friction_nm=0.0)
    low, high, _ = asked_of_horn(one, rpm, 0.0, 0.0, Wearer(tilt_deg=tilt))
    pulls = 0.005 * G * 0.03 * np.cos(radians(angle))
    assert low - 1e-12 <= pulls <= high + 1e-12
    assert float(high) == pytest.approx(0.005 * G * 0.03)


def test_with_an_upright_shaft_only_a_lean_is_felt() -> None:
    one = with_load(bodies=(PointMass(0.005, 0.03),), axis="upright", friction_nm=0.0)
    assert worst_hold(one, Wearer()).torque_nm == pytest.approx(0.0, abs=1e-15)
    leaned = worst_hold(one, Wearer(tilt_deg=30.0)).torque_nm
    assert leaned == pytest.approx(0.005 * G * 0.03 / 2.0)


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize(("rpm", "goes"), [(74.9, True), (75.1, False)])
def test_no_time_brings_a_part_to_a_speed_that_its_servo_does_not_have(
    rpm: float, goes: bool, way: float
) -> None:
    """With 20 % kept and 0.02 of 0.4 N.m of friction, 75 of 100 rpm are left."""
    one, to = replace(ROTOR, travel_deg=(-80.0, 80.0)), way * rpm
    if goes:
        assert shortest_duration_ms(RIG, one, 0.0, to, Law("3-4-5"), 6.0) > 20
    else:
        told = f"turning at {to:g} rpm takes the horn to 75.1 rpm with 0.020 N.m"
        with pytest.raises(Impossible, match=told):
            shortest_duration_ms(RIG, one, 0.0, to, Law("3-4-5"), 6.0)


def test_the_shortest_rise_is_on_the_line_less_its_margin() -> None:
    last = shortest_duration_ms(RIG, ROTOR, 0.0, 60.0, Law("3-4-5"), 6.0)
    found = assess(RIG, ROTOR, 0.0, 60.0, [last - 1, last], Law("3-4-5"), 6.0)
    assert found.passes.tolist() == [False, True]
    assert float(found.peak_share[1]) == pytest.approx(0.8, abs=0.02)


# -- a whole show: power-up, interruption, stop ----------------------------------------------


def show(*rows: tuple[float, int], safe: float = 0.0) -> Show:
    moves = tuple(Move("rotor", rpm, lasts) for rpm, lasts in rows)
    cues = (
        Cue("whirl", "", InTurn(moves)),
        Cue("back", "", InTurn((Move("rotor", -50.0, 700), Move("rotor", 0.0, 700)))),
    )
    supply = Supply("wall", Adapter(6.0, 8.0))
    rig = Rig((supply,), (Board("b", "any", 1, "wall"),), (replace(ROTOR, safe_deg=safe),))
    return Show(rig, Score("", cues, (Binding(1, "whirl"), Binding(2, "back")), 9, stop_ms=900))


def test_at_power_up_nothing_turns() -> None:
    run = rehearse(show((60.0, 500), (0.0, 500)), (), 2000)
    seen = sample(run, np.arange(0.0, 2000.0, 5.0)).servos["rotor"]
    assert not seen.angle_deg.any()
    assert not seen.velocity_deg_s.any()


@given(st.integers(0, 900), st.booleans())
def test_whatever_interrupts_it_the_speed_never_jumps(late: int, stops: bool) -> None:
    """Taken over or stopped at any moment, speed and rise are continuous and keep the limits."""
    whole = show((60.0, 500), (0.0, 500))
    begin = 1000
    after = Press(begin + late, action="stop") if stops else Press(begin + late, button=2)
    run = rehearse(whole, (Press(begin, button=1), after), 6000)
    seen = sample(run, np.arange(0.0, 6000.0, 1.0)).servos["rotor"]
    rise, change = motion_limits(whole)["rotor"]
    assert np.abs(seen.velocity_deg_s).max() <= rise * 1.01
    assert np.abs(np.diff(seen.angle_deg)).max() <= rise / 1000.0 * 1.02
    # the board takes a move over from its whole steps: a step of rise more is rounding
    assert np.abs(np.diff(seen.velocity_deg_s)).max() <= change / 1000.0 * 1.05 + 0.5
    assert seen.angle_deg[-1] == pytest.approx(0.0, abs=0.005)
    assert seen.powered[-1] != stops


def test_the_work_of_the_motor_is_kinetic_energy_and_friction() -> None:
    """Up to 60 rpm and on for a second: I w2 / 2 and friction times the angle turned."""
    run = rehearse(show((60.0, 500), (60.0, 1000)), (Press(1000, button=1),), 3000)
    times = np.arange(1000.0, 2400.0, 0.5)
    samples = sample(run, times)
    done = work(run.show.rig, samples).servos["rotor"]
    power = done.torque_nm * np.radians(done.speed_deg_s)
    turned = np.radians(6.0 * samples.servos["rotor"].angle_deg)
    seconds = times / 1000.0
    kinetic = INERTIA * (60.0 * RAD_S) ** 2 / 2.0
    rubbed = 0.02 * np.trapezoid(turned, seconds)
    assert np.trapezoid(power, seconds) == pytest.approx(kinetic + rubbed, rel=1e-3)


def test_a_part_that_turns_steadily_draws_running_current() -> None:
    """I0 + (Is - I0) T / Ts, with I0 of a motor that turns (MIT, as in `sim.rig.servo`)."""
    run = rehearse(show((60.0, 500), (60.0, 3000)), (Press(1000, button=1),), 4000)
    samples = sample(run, np.array([2500.0]))
    done = work(run.show.rig, samples)
    volts = done.board_v["b"][0]
    at = line(ROTOR, volts)
    assert done.servos["rotor"].current_a[0] == pytest.approx(
        float(current_a(at, 0.02, 1.0)), rel=1e-6
    )
    assert done.servos["rotor"].share[0] == pytest.approx(float(share(at, 0.02, 360.0)), rel=1e-6)


def test_a_show_s_bound_of_torque_holds_in_rehearsal() -> None:
    whole = show((60.0, 300), (-60.0, 500), (0.0, 300))
    bound = hardest_torques(whole, planned_moves(whole))["rotor"]
    assert bound.moves
    for late in range(0, 1100, 50):
        presses = (Press(1000, button=1), Press(1000 + late, button=2))
        run = rehearse(whole, presses, 5000)
        samples = sample(run, np.arange(0.0, 5000.0, 2.0))
        seen = work(whole.rig, samples).servos["rotor"]
        assert np.abs(seen.torque_nm).max() <= bound.torque_nm * 1.01


def test_heat_counts_turning_as_motion_and_its_friction_as_torque() -> None:
    (found,) = heats(show((60.0, 500), (60.0, 20_000), (0.0, 500)))
    assert found.duty > 0.9
    assert found.rms_share == pytest.approx(0.02 / 0.4, rel=0.1)
    (left,) = heats(show((60.0, 500)))
    assert (left.hold_share, left.hold_deg) == (pytest.approx(0.02 / 0.4), 60.0)


def test_what_is_caught_feels_the_stall_torque_and_the_energy_of_the_spin() -> None:
    found = pinch(ROTOR, 6.0, 6.0 * 60.0)
    assert found is not None
    assert found.nip is None
    assert found.tip.force_n == pytest.approx(0.4 / 0.1)
    assert found.energy_j == pytest.approx(INERTIA * (60.0 * RAD_S) ** 2 / 2.0)


# -- how it will really turn -----------------------------------------------------------------


def test_the_real_speed_is_that_of_the_motor_s_equation() -> None:
    """J w' = Ts (u - w / w0) - F, integrated by scipy over steps of the command."""
    one = replace(ROTOR, rotor_kg_m2=4e-4)
    command = np.repeat([0.0, 60.0, -40.0, 0.0], 400)
    ours = spun_rpm(RIG, one, command, 6.0)
    top, inertia = 100.0 * RAD_S, INERTIA + 4e-4

    def bend(wanted_rpm: float):
        wanted = wanted_rpm * RAD_S

        def rhs(_: float, w: list[float]) -> list[float]:
            # the friction cancels: the pulse was measured with it
            return [0.4 * (wanted - w[0]) / top / inertia]

        return rhs

    now, expected = 0.0, []
    for wanted in (0.0, 60.0, -40.0, 0.0):
        part = solve_ivp(
            bend(wanted), (0.0, 0.4), [now], t_eval=np.arange(400) / 1000.0, rtol=1e-9, atol=1e-12
        )
        expected.append(part.y[0] / RAD_S)
        now = float(solve_ivp(bend(wanted), (0.0, 0.4), [now], rtol=1e-9, atol=1e-12).y[0, -1])
    assert ours == pytest.approx(np.concatenate(expected), abs=1e-4)


def test_the_time_constant_is_that_of_motor_and_load() -> None:
    bare = replace(ROTOR, load=Load(spins=True), rotor_kg_m2=0.4 * 0.015 / (100.0 * RAD_S))
    assert time_constant_s(bare, 6.0) == pytest.approx(0.015)
    assert time_constant_s(ROTOR, 6.0) == pytest.approx(INERTIA * 100.0 * RAD_S / 0.4)


def test_a_tired_battery_does_not_give_the_speed_that_was_asked_for() -> None:
    """At half the voltage the line is half as long: 50 rpm, less what friction takes."""
    assert top_rpm(ROTOR, 3.0) == pytest.approx(50.0 * (1.0 - 0.02 / 0.2))
    ours = spun_rpm(RIG, ROTOR, np.full(2000, 60.0), 3.0)
    assert ours[-1] == pytest.approx(45.0, rel=1e-3)


# -- standstill ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rpm", "stands"), [(3.9, True), (4.1, False), (-3.9, True), (-4.1, False)]
)
def test_within_the_dead_band_it_stands(rpm: float, stands: bool) -> None:
    """200 us for 80 rpm: 10 us, half a dead band of 20 us, are 4 rpm."""
    one = replace(ROTOR, dead_band_us=20.0)
    assert bool(stands_still(one, rpm)) is stands
    assert slowest_rpm(one, 1) == pytest.approx(4.0)
    assert slowest_rpm(one, -1) == pytest.approx(4.0)
    assert float(pulse_us(one, 40.0)) == pytest.approx(1600.0)
    assert spun_rpm(RIG, one, np.full(500, rpm), 6.0).any() != stands


def test_a_calibration_that_ends_in_the_dead_band_turns_nothing() -> None:
    assert slowest_rpm(replace(ROTOR, dead_band_us=500.0), 1) == float("inf")


def test_at_power_up_it_draws_no_stall_current() -> None:
    """Its first pulse is that of standstill: nothing jumps, and the feed hardly sags."""
    (sag,) = start_sags(show((60.0, 500), (0.0, 500)))
    assert sag.starting is None
    assert sag.board_a < RATING.stall_a / 4.0


@pytest.mark.parametrize(("ratio", "efficiency"), [(2.0, 0.5), (4.0, 0.5), (-4.0, 0.8), (0.5, 1.0)])
def test_a_gear_s_loss_makes_friction_dearer_and_the_part_slower(
    ratio: float, efficiency: float
) -> None:
    """100 rpm at the horn; 0.02 N.m behind 2:1 at 50 % are 0.02 N.m at the horn, of 0.4: 95 rpm."""
    geared = replace(ROTOR, drive=Gear(ratio), drive_efficiency=efficiency)
    at_horn_nm = 0.02 / abs(ratio) / efficiency
    expected = 100.0 * (1.0 - at_horn_nm / 0.4) / abs(ratio)
    assert top_rpm(geared, 6.0) == pytest.approx(expected)
    assert top_rpm(replace(ROTOR, drive=Gear(2.0), drive_efficiency=0.5), 6.0) == 47.5


@pytest.mark.parametrize("ratio", [0.5, -2.0, 3.0])
def test_a_gear_slows_the_part_and_turns_the_servo_s_own_inertia_up(ratio: float) -> None:
    """n turns of the horn for one of the part: an nth of the speed, and J w0 / (n**2 Ts)."""
    plain = replace(ROTOR, load=replace(ROTOR.load, friction_nm=0.0))
    geared = replace(plain, drive=Gear(ratio), rotor_kg_m2=1e-4)
    assert top_rpm(geared, 6.0) == pytest.approx(top_rpm(plain, 6.0) / abs(ratio))
    inertia = INERTIA + 1e-4 * ratio**2
    expected_s = inertia * 100.0 * RAD_S / (ratio**2 * 0.4)
    assert time_constant_s(geared, 6.0) == pytest.approx(expected_s)


def test_a_part_without_any_inertia_turns_at_once_as_it_is_told() -> None:
    """A millisecond later, as everything; still no faster than the servo turns."""
    bare = replace(ROTOR, load=Load(spins=True), rotor_kg_m2=0.0)
    assert time_constant_s(bare, 6.0) == 0.0
    ours = spun_rpm(RIG, bare, [30.0, -50.0, 200.0, -200.0, 0.0], 6.0)
    assert ours.tolist() == pytest.approx([0.0, 30.0, -50.0, 100.0, -100.0])


def test_without_any_voltage_nothing_turns() -> None:
    assert time_constant_s(ROTOR, 0.0) == 0.0
    assert not spun_rpm(RIG, ROTOR, [60.0, 60.0, -60.0], 0.0).any()


def test_what_is_not_said_to_arrive_is_what_the_supply_gives_to_the_part_alone() -> None:
    """Behind 5 m of 28 AWG the running current alone costs voltage."""
    wire = Wire(5.0, 28)
    rig = Rig((Supply("p", Adapter(6.0, 9.0)),), (Board("b", "any", 1, "p", wire),), (ROTOR,))
    at_part_v = float(moving_v(rig, ROTOR, 0.0))
    # running current alone, and no torque
    assert at_part_v == pytest.approx(
        6.0 - loop_ohm(wire, 25.0) * (0.2 + Board("b", "any", 1).electrics.idle_a), abs=0.05
    )
    command = np.full(500, 200.0)
    alone = spun_rpm(rig, ROTOR, command)
    assert alone.tolist() == spun_rpm(rig, ROTOR, command, at_part_v).tolist()
    assert alone[-1] == pytest.approx(top_rpm(ROTOR, at_part_v), rel=1e-3)
    assert top_rpm(ROTOR, at_part_v) < top_rpm(ROTOR, 6.0)
