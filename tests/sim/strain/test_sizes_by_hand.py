"""What to buy, where every figure can be read off: a fan of 0.97 A and a board of 30 mA make 1 A.

Weights in kgf.cm are read off as well: 100 g at 100 mm is 1 kgf.cm.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cells,
    Cue,
    Drawn,
    Electrics,
    Grip,
    Hold,
    InTurn,
    Lamp,
    Law,
    Load,
    Move,
    OnBoard,
    PointMass,
    Rating,
    Regulator,
    Repeat,
    Rig,
    Score,
    Servo,
    Show,
    Slide,
    Strip,
    Supply,
    Switch,
    Throw,
    Together,
    Usage,
    Wearer,
    Wire,
)
from sim.rig.battery import USABLE
from sim.rig.slide import PINION_M
from sim.score.draws import ways_to_look
from sim.strain.envelope import passage
from sim.strain.heat import heats
from sim.strain.servo_sizes import ServoSize, least_power
from sim.strain.sizing import size
from sim.strain.supply_sizes import SupplySize

FAN = Switch("fan", "b", 4, current_a=0.97)


def supply_size(supply: Supply, feed: Wire | None = None, **score: object) -> SupplySize:
    board = Board("b", "any", 1, "p", feed, electrics=Electrics(0.03))
    cue = Cue("blow", "", InTurn((Throw("fan", True), Hold(60_000))))
    usage = (Usage("blow", 30.0),)
    show = Show(Rig((supply,), (board,), (FAN,)), Score("s", (cue,), usage=usage, **score))  # type: ignore[arg-type]
    (found,) = size(show).supplies
    return found


def test_currents_of_half_an_hour_of_one_ampere() -> None:
    found = supply_size(Supply("p", Adapter(6.0, 9.0)))
    assert found.peak_a == pytest.approx(1.0)
    assert found.mean_a == pytest.approx(0.515, rel=1e-3)
    assert found.rms_a == pytest.approx(((1.0 + 0.03**2) / 2.0) ** 0.5, rel=1e-3)
    assert found.reversal_a == found.peak_a
    assert (found.run_time_h, found.capacity_ah, found.has_ah, found.regulator_a) == (None,) * 4
    assert found.cautions == ()


def test_a_regulator_is_sized_by_the_peak_or_by_what_it_carries_for_long() -> None:
    """12 V in, 5 V out, 80 %: 1 A are 0.5208 A before it."""
    found = supply_size(Supply("p", Adapter(12.0, 9.0), Regulator(5.0, 9.0, 0.3, 0.8)))
    assert found.source_peak_a == pytest.approx(5.0 / 0.8 / 12.0)
    assert found.regulator_a == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("supply", "words"),
    [
        (Supply("p", Adapter(6.0, 1.01)), ()),
        (Supply("p", Adapter(6.0, 1.0)), ()),
        (Supply("p", Adapter(6.0, 0.99)), ("adapter", "0.99 A", "1.00 A")),
        # the regulator asks for 0.5208 A, whatever it gives
        (Supply("p", Adapter(12.0, 0.53), Regulator(5.0, 9.0, 0.3, 0.8)), ()),
        (Supply("p", Adapter(12.0, 0.51), Regulator(5.0, 9.0, 0.3, 0.8)), ("adapter", "0.52 A")),
        (Supply("p", Adapter(12.0, 9.0), Regulator(5.0, 1.01, 0.3, 0.8)), ()),
        (Supply("p", Adapter(12.0, 9.0), Regulator(5.0, 0.99, 0.3, 0.8)), ("regulator", "1.00 A")),
        # alkaline cells stand 0.4 of their capacity an hour
        (Supply("p", Cells("alkaline", 4, 2.6)), ()),
        (Supply("p", Cells("alkaline", 4, 2.4)), ("battery", "1.00 A", "about 1.0 A")),
        # a blade fuse carries 75 % for long, 135 % at a peak
        (Supply("p", Adapter(6.0, 9.0), fuse_a=1.0), ()),
        (Supply("p", Adapter(6.0, 9.0), fuse_a=0.9), ("carries 0.71 A for long",)),
    ],
)
def test_what_is_too_small_is_told(supply: Supply, words: tuple[str, ...]) -> None:
    cautions = supply_size(supply).cautions
    if not words:
        assert cautions == ()
        return
    assert any(all(word in caution for word in words) for caution in cautions), cautions


@pytest.mark.parametrize(("capacity_ah", "enough"), [(1.3, True), (1.28, False)])
def test_a_wanted_run_time_asks_for_its_capacity(capacity_ah: float, enough: bool) -> None:
    """2 h at 0.515 A, of which four fifths count: 1.2875 Ah."""
    found = supply_size(Supply("p", Cells("li-ion", 2, capacity_ah)), run_time_h=2.0)
    assert found.capacity_ah == pytest.approx(2.0 * 0.515 / USABLE, rel=1e-3)
    assert found.wanted_h == 2.0
    assert found.has_ah == capacity_ah
    assert found.run_time_h == pytest.approx(capacity_ah * USABLE / 0.515, rel=1e-3)
    assert ("run time" in " ".join(found.cautions)) is not enough


def test_a_feed_is_as_thick_as_its_fuse_asks() -> None:
    """18 AWG carries 16 A, 20 AWG 11 A; without a stated fuse the one that fits 1 A."""
    long = Wire(0.1, 28)
    (fused,) = supply_size(Supply("p", Adapter(6.0, 9.0), fuse_a=15.0), long).feeds
    assert (fused.gauge_awg, fused.has_gauge_awg, fused.length_m) == (18, 28, 0.1)
    assert fused.rms_a == pytest.approx(0.7074, rel=1e-3)
    (free,) = supply_size(Supply("p", Adapter(6.0, 9.0)), long).feeds
    assert free.gauge_awg == 28  # carries 1.4 A, and its fuse is for 1 A
    (none,) = supply_size(Supply("p", Adapter(6.0, 9.0))).feeds
    assert (none.gauge_awg, none.reason) == (None, "no feed is stated")
    assert none.peak_a == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("ends", "rms_a"), [(True, ((1.0 + 59.0 * 0.03**2) / 60.0) ** 0.5), (False, 1.0)]
)
def test_a_feed_carries_what_goes_on_without_an_end_for_the_rest_of_the_hour(
    ends: bool, rms_a: float
) -> None:
    """A minute of 1 A and 59 of 30 mA; or, where nobody turns the fan off again, an hour of 1 A."""
    last = Throw("fan", False) if ends else Repeat(Hold(500), None)
    cue = Cue("blow", "", InTurn((Throw("fan", True), Hold(60_000), last)))
    board = Board("b", "any", 1, "p", Wire(0.1, 18), electrics=Electrics(0.03))
    rig = Rig((Supply("p", Adapter(6.0, 9.0)),), (board,), (FAN,))
    (found,) = size(Show(rig, Score("s", (cue,), usage=(Usage("blow", 1.0),)))).supplies
    assert found.feeds[0].rms_a == pytest.approx(rms_a, rel=2e-3)


# -- servos ---------------------------------------------------------------------------------------

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
RATING = Rating(6.0, 400.0, 0.980665, 2.0)


def servo_size(grams: float, *moves: Move, margin: float = 0.2) -> ServoSize:
    """A weight at 100 mm, level at 0 deg, no friction, no rotor."""
    load = Load((PointMass(grams / 1000.0, 0.1),))
    jaw = Servo(
        "jaw", "b", 1, POINTS, (0.0, 60.0), (RATING,), load=load, rotor_kg_m2=0.0, safe_deg=0.0,
        accel_deg_s2=50.0,
    )  # fmt: skip
    cues = (Cue("c", "", InTurn(moves)),)
    rig = Rig((), (Board("b", "any", 1),), (jaw,), wearer=Wearer(margin=margin))
    (found,) = size(Show(rig, Score("s", cues))).servos
    return found


def test_a_part_that_is_held_is_sized_by_its_heat() -> None:
    """A third of the stall torque for long: 3 kgf.cm for 1 kgf.cm."""
    found = servo_size(100.0)
    assert found.hold_kgf_cm == pytest.approx(1.0)
    assert found.hold_deg == 0.0
    assert found.rms_kgf_cm == pytest.approx(1.0)
    assert (found.set_by, found.torque_kgf_cm) == ("heat", 3.0)
    assert (found.peak_kgf_cm, found.peak_deg_s, found.seconds_per_60deg) == (0.0, 0.0, None)
    assert found.has_kgf_cm == pytest.approx(10.0)
    assert found.has_seconds_per_60deg == pytest.approx(0.15)
    assert found.enough
    assert not servo_size(334.0).enough
    assert servo_size(333.0).enough


@pytest.mark.parametrize(
    ("feed_v", "rated_v", "has_kgf_cm", "has_s"),
    [(4.0, 4.8, 8.0, 0.2), (5.3, 4.8, 8.0, 0.2), (5.5, 6.0, 10.0, 0.15), (7.4, 6.0, 10.0, 0.15)],
)
def test_a_servo_is_sized_at_the_printed_voltage_nearest_to_its_fullest_feed(
    feed_v: float, rated_v: float, has_kgf_cm: float, has_s: float
) -> None:
    """5.3 V lie nearer to 4.8 V than to 6 V, 5.5 V do not."""
    ratings = (Rating(4.8, 300.0, 8.0 * 0.0980665, 1.6), RATING)
    jaw = Servo("jaw", "b", 1, POINTS, (0.0, 60.0), ratings, load=Load((PointMass(0.1, 0.1),)))
    board = Board("b", "any", 1, "p", electrics=Electrics(0.0))
    rig = Rig((Supply("p", Adapter(feed_v, 50.0)),), (board,), (jaw,))
    (found,) = size(Show(rig, Score("s", (Cue("c", "", Hold(1000)),)))).servos
    assert found.voltage_v == rated_v
    assert found.has_kgf_cm == pytest.approx(has_kgf_cm)
    assert found.has_seconds_per_60deg == pytest.approx(has_s)


def test_a_move_asks_for_its_speed_and_a_move_of_no_time_for_nothing() -> None:
    """Minimum jerk: 1.875 * 60 deg in 3 s."""
    slow = Move("jaw", 60.0, 3000, Law("3-4-5")), Move("jaw", 0.0, 3000, Law("3-4-5"))
    found = servo_size(100.0, *slow)
    # the stop may cut it short a little faster than it is written
    assert 1.875 * 60.0 / 3.0 <= found.peak_deg_s <= 1.05 * 1.875 * 60.0 / 3.0
    assert found.peak_kgf_cm == pytest.approx(1.0, rel=0.02)
    at_once = servo_size(100.0, Move("jaw", 30.0, 0), *slow)
    assert at_once.peak_deg_s <= found.peak_deg_s * 1.001
    assert np.isfinite(at_once.stall_nm)


def test_each_servo_is_sized_by_its_own_moves_only() -> None:
    """Minimum jerk, 1.875 of the mean speed: 60 deg in 400 ms, 20 deg in 2 s, and none at all."""
    law = Law("3-4-5")
    names = ("quick", "slow", "still")
    servos = tuple(
        Servo(name, "b", pin, POINTS, (0.0, 60.0), (RATING,), rotor_kg_m2=0.0, accel_deg_s2=50.0)
        for pin, name in enumerate(names, start=1)
    )
    moves = (
        Move("quick", 60.0, 400, law), Move("slow", 20.0, 2000, law),
        Move("quick", 0.0, 400, law), Move("slow", 0.0, 2000, law),
    )  # fmt: skip
    for row in (servos, servos[::-1]):
        rig = Rig((), (Board("b", "any", 1),), row)
        found = size(Show(rig, Score("s", (Cue("c", "", InTurn(moves)),)))).servos
        speeds = {one.servo: one.peak_deg_s for one in found}
        # the stop may cut it short a little faster than it is written
        assert 1.0 <= speeds["quick"] / (1.875 * 60.0 / 0.4) <= 1.1
        assert 1.0 <= speeds["slow"] / (1.875 * 20.0 / 2.0) <= 1.1
        assert speeds["still"] == 0.0


def test_the_least_line_over_one_point_and_over_two() -> None:
    """T / (k - w / w0) times w0 is least at w0 = 2 w / k: then the stall torque is 2 T / k."""
    driving = np.array([[0.4], [100.0]])
    none = np.zeros((2, 0))
    stall, speed = least_power(driving, none, 0.8)
    assert stall == pytest.approx(2 * 0.4 / 0.8, rel=0.01)
    assert speed == pytest.approx(2 * 100.0 / 0.8, rel=0.01)
    # what only brakes asks for its own torque and speed, margin kept
    stall, speed = least_power(none, np.array([[0.4], [100.0]]), 0.8)
    assert (stall, speed) == (pytest.approx(0.5), pytest.approx(125.0, rel=1e-3))
    assert least_power(np.array([[0.4], [0.0]]), none, 0.8) == (pytest.approx(0.5), 0.0)
    stall, _ = least_power(driving, none, 0.8, floor_nm=3.0)
    assert stall == pytest.approx(3.0)


def test_a_uniform_move_jumps_to_its_speed_within_a_frame() -> None:
    """50 deg in 1 s: 50 deg/s at once, so 2500 deg/s2 over 20 ms, and back at its end."""
    _, angle, speed, accel = passage(10.0, 60.0, 1000.0, Law("uniform"))
    assert (angle[0], angle[-1]) == (10.0, 60.0)
    assert speed == pytest.approx(50.0)
    assert accel[0] == pytest.approx(2500.0)
    assert accel[-1] == pytest.approx(-2500.0)
    assert accel[len(accel) // 2] == pytest.approx(0.0)


# -- linear servos, grips and what is thrown back -------------------------------------------------


def rod_size(kg: float, *moves: Move) -> ServoSize:
    """A mass lifted straight up: m g, whatever the place."""
    points = (CalibrationPoint(0.0, 1000.0), CalibrationPoint(50.0, 2000.0))
    rod = Servo(
        "rod", "b", 1, points, (0.0, 50.0), (Rating(6.0, 40.0, 60.0 * PINION_M, 2.0, 0.0),),
        load=Load(slide=Slide(kg, 90.0)), rotor_kg_m2=0.0, safe_deg=0.0, linear=True,
    )  # fmt: skip
    rig = Rig((), (Board("b", "any", 1),), (rod,), wearer=Wearer(margin=0.2))
    (found,) = size(Show(rig, Score("s", (Cue("c", "", InTurn(moves)),)))).servos
    return found


def test_a_linear_servo_is_sized_in_newtons_and_millimetres_a_second() -> None:
    """1 kg straight up: 9.80665 N held, three times that for heat; 20 mm in 2 s by minimum jerk."""
    up, down = Move("rod", 20.0, 2000, Law("3-4-5")), Move("rod", 0.0, 2000, Law("3-4-5"))
    found = rod_size(1.0, up, down)
    straight = found.straight
    assert straight is not None
    assert straight.hold_n == pytest.approx(9.80665)
    assert (straight.has_n, straight.has_mm_s) == (pytest.approx(60.0), 40.0)
    assert straight.rms_n == pytest.approx(9.80665, rel=1e-3)
    assert found.set_by == "heat"
    assert straight.force_n == 30.0
    peak_mm_s = 1.875 * 20.0 / 2.0
    assert peak_mm_s / 0.8 <= straight.speed_mm_s <= 3.0 * peak_mm_s
    assert straight.speed_mm_s == round(straight.speed_mm_s)
    # the peak is the weight and the mass times the law's acceleration, 5.7735 * 20 mm / (2 s)**2
    assert straight.peak_n == pytest.approx(9.80665 + 5.7735 * 0.020 / 4.0, rel=0.02)
    assert found.enough
    assert not rod_size(2.1, up, down).enough
    assert servo_size(100.0).straight is None


def gripping_sizes(lasts_s: float, fuse_a: float | None, force_n: float = 4.9) -> SupplySize:
    """Five fingers of 0.98 A each while they grip; nothing else takes current."""
    rating = Rating(6.0, 400.0, 1.0, 2.0, 0.0)
    fingers = tuple(
        Servo(
            f"f{n}", "b", n, POINTS, (0.0, 80.0), (rating,), idle_a=0.0,
            load=Load((PointMass(1e-6, 0.01),)), grip=Grip(50.0, 1, lasts_s, force_n, 0.1),
        )
        for n in range(5)
    )  # fmt: skip
    close = Together(tuple(Move(one.name, 60.0, 1000) for one in fingers))
    cues = (Cue("close", "", close), Cue("rest", "", Hold(60_000)))
    supply = Supply("p", Adapter(6.0, 50.0), fuse_a=fuse_a)
    rig = Rig((supply,), (Board("b", "any", 1, "p", electrics=Electrics(0.0)),), fingers)
    usage = (Usage("close", 1.0), Usage("rest", 50.0))
    (found,) = size(Show(rig, Score("s", cues, usage=usage))).supplies
    return found


def test_a_fuse_carries_grips_for_as_long_as_they_last() -> None:
    """A blade fuse carries 135 % for 0.75 s, 100 % for hours: 4.9 A ask for 3.6 A or for 4.9.

    The fingers pass 50 of 60 deg 0.697 of the way through the second of their move: 10 x**3 - 15
    x**4 + 6 x**5 = 5 / 6. So they press for 0.303 s and for as long as they grip afterwards, of
    each round of a second and that. A fuse that warms with tau = 0.943 s, which 135 % for 0.75 s
    leave, gets as hot as from 4.9 A times the root of (1 - exp(-on / tau)) / (1 - exp(-round /
    tau)): 0.813 with 0.36 s, 3.98 A; 0.819 with 0.38 s, 4.01 A.
    """
    assert gripping_sizes(0.36, None).fuse.rating_a == 4.0
    assert gripping_sizes(0.38, None).fuse.rating_a == 5.0
    assert gripping_sizes(0.75, None).fuse.rating_a == 5.0
    assert gripping_sizes(0.76, None).fuse.rating_a == 5.0
    assert gripping_sizes(3.0, None).fuse.rating_a == 5.0


@pytest.mark.parametrize(
    ("lasts_s", "fuse_a", "told"),
    [
        (3.0, 4.0, True),
        (3.0, 5.0, False),
        (0.5, 4.0, False),
        (0.7, 4.0, False),
        # at 3 A the peak itself is too much, which is told already
        (3.0, 3.0, False),
    ],
)
def test_a_fuse_that_may_open_during_a_long_grip_is_told(
    lasts_s: float, fuse_a: float, told: bool
) -> None:
    cautions = gripping_sizes(lasts_s, fuse_a).cautions
    words = f"the {fuse_a:g} A fuse may open while parts grip for {lasts_s:g} s"
    assert (words in cautions) is told
    assert any("at the peak" in one for one in cautions) is (fuse_a == 3.0)


def test_a_servo_that_stalls_on_what_it_holds_sets_no_torque() -> None:
    """What it gives is what it has: only what it holds and moves counts."""
    rating = Rating(6.0, 400.0, 1.0, 2.0, 0.0)
    one = Servo(
        "f", "b", 1, POINTS, (0.0, 80.0), (rating,), idle_a=0.0, safe_deg=0.0,
        load=Load((PointMass(1e-6, 0.01),)), grip=Grip(50.0, 1, 0.1), tip_m=0.1,
    )  # fmt: skip
    cue = Cue("close", "", InTurn((Move("f", 40.0, 2000),)))
    rig = Rig((), (Board("b", "any", 1),), (one,))
    (found,) = size(Show(rig, Score("s", (cue,)))).servos
    assert found.set_by != "gripping"
    assert found.stall_nm < 0.1


def test_a_servo_thrown_back_counts_on_top_of_the_peak_of_its_own_supply() -> None:
    """2 A stalled, 0.5 A without a load: 2 * 2 - 0.5 = 3.5 A (`sim.rig.servo.reversal_a`)."""

    def one(name: str, board: str, stall_a: float) -> Servo:
        rating = Rating(6.0, 400.0, 1.0, stall_a, 0.5)
        return Servo(name, board, 1, POINTS, (0.0, 60.0), (rating,), idle_a=0.0)

    boards = (Board("b", "any", 1, "p"), Board("c", "any", 2, "q"))
    supplies = (Supply("p", Adapter(6.0, 50.0)), Supply("q", Adapter(6.0, 50.0)))
    rig = Rig(supplies, boards, (one("a", "b", 2.0), one("z", "b", 1.0), one("y", "c", 9.0)))
    cue = Cue("c", "", InTurn((Move("a", 50.0, 2000), Move("y", 50.0, 2000))))
    found, other = size(Show(rig, Score("s", (cue,)))).supplies
    assert found.reversal_a - found.peak_a == pytest.approx(3.5)
    assert other.reversal_a - other.peak_a == pytest.approx(17.5)


def test_a_battery_that_cannot_give_the_power_is_told_to_collapse() -> None:
    """V0**2 / (4 R) is the most a source gives: of 5 nearly empty NiMH cells 36 / 16 = 2.3 W."""
    cells = Cells("nimh", 5, 50.0, resistance_ohm=4.0)
    found = supply_size(Supply("p", cells, Regulator(5.0, 9.0, 0.1, 0.8)))
    assert any("the supply collapses" in one for one in found.cautions)
    good = replace(cells, resistance_ohm=0.1)
    assert supply_size(Supply("p", good, Regulator(5.0, 9.0, 0.1, 0.8))).cautions == ()


@pytest.mark.parametrize(
    ("fuse_a", "gauge", "words"),
    [
        # 1.35 A: a blade fuse of 1 A carries the peak of 1 A up to 135 %
        (0.75, 20, ("may open at the peak of 1.00 A", False)),
        (0.74, 20, ("may open at the peak of 1.00 A", True)),
        # 28 AWG carries 1.4 A
        (1.4, 28, ("does not protect a wire that carries 1.4 A", False)),
        (1.41, 28, ("does not protect a wire that carries 1.4 A", True)),
        # 0.7074 A for long are 75 % of 0.9432 A; in air of 25 deg C 98.3 % of that are left
        (0.96, 20, ("for long", False)),
        (0.95, 20, ("carries 0.71 A for long", True)),
    ],
)
def test_a_present_fuse_is_held_to_its_kind(
    fuse_a: float, gauge: int, words: tuple[str, bool]
) -> None:
    found = supply_size(Supply("p", Adapter(6.0, 9.0), fuse_a=fuse_a), Wire(0.1, gauge))
    told = [one for one in found.cautions if words[0] in one]
    assert bool(told) is words[1]
    assert all(one.startswith(f"the {fuse_a:g} A fuse ") for one in told)


def test_a_feed_that_no_wire_serves_is_told_so_and_one_that_fits_says_how_well() -> None:
    (far,) = supply_size(Supply("p", Adapter(6.0, 9.0)), Wire(200.0, 20)).feeds
    assert far.gauge_awg is None
    assert far.reason == "no gauge keeps the drop under 5 %: shorten it"
    (near,) = supply_size(Supply("p", Adapter(6.0, 9.0)), Wire(1.0, 20, solid=True)).feeds
    # 22 AWG loses 0.11 V of 0.30 V that may be lost; its fuse is the least that carries 1 A
    assert near.gauge_awg is not None
    assert near.reason.startswith("drops 0.")
    assert "V of 6.0 V at 1.00 A, there and back; carries" in near.reason
    assert near.reason.endswith("its fuse needs 1 A")
    assert near.lowest_v < 6.0
    assert near.peak_a == pytest.approx(1.0)


@pytest.mark.parametrize(("volts", "needs"), [(5.3, False), (5.31, True)])
def test_pixels_stand_a_feed_up_to_their_own_highest(volts: float, needs: bool) -> None:
    """A common 5 V pixel stands 5.3 V (data sheets of that class, from memory)."""
    strip = Strip("belly", "b", 3, pixels=10, channel_a=0.02)
    rig = Rig((Supply("p", Adapter(volts, 9.0)),), (Board("b", "any", 1, "p"),), (strip,))
    (found,) = size(Show(rig, Score("s"))).strips
    assert found.needs_converter is needs
    assert found.white_a == pytest.approx(10 * (3 * 0.02 + 0.001))
    assert found.show_a == pytest.approx(0.01)
    assert (found.pixels, found.voltage_v) == (10, volts)


def regulated(*outputs: Servo | Switch, per_hour: float) -> SupplySize:
    supply = Supply("p", Adapter(12.0, 50.0), Regulator(6.0, 50.0, 0.3, 0.8))
    board = Board("b", "any", 1, "p", electrics=Electrics(0.03))
    cue = Cue("blow", "", InTurn((Throw("fan", True), Hold(60_000))))
    rig = Rig((supply,), (board,), (FAN, *outputs))
    (found,) = size(Show(rig, Score("s", (cue,), usage=(Usage("blow", per_hour),)))).supplies
    return found


def test_a_regulator_carries_its_mean_square_at_four_fifths_and_a_start_in_full() -> None:
    """1 A all the hour long asks for 1.25 A; for a quarter of it the peak of 1 A counts.

    A servo that starts stalls at 3 A, beside 30 mA of the board, with the fan off.
    """
    assert regulated(per_hour=60.0).regulator_a == pytest.approx(1.25, rel=1e-3)
    assert regulated(per_hour=15.0).regulator_a == pytest.approx(1.0)
    strong = Servo(
        "jaw", "b", 1, POINTS, (0.0, 60.0), (Rating(6.0, 400.0, 1.0, 3.0, 0.0),), idle_a=0.0
    )
    started = regulated(strong, per_hour=15.0)
    assert started.regulator_a == pytest.approx(3.03)
    assert started.peak_a == pytest.approx(1.0)


def test_each_lamp_is_sized_with_its_resistor_and_where_it_hangs() -> None:
    """3.2 V and 20 mA from 5 V: (5 - 3.2) / 0.02 = 90 ohm, so 91 (E24): 19.78 mA each."""
    lamps = (Lamp("one", "b", 9, 3.2), Lamp("many", "b", 10, 3.2, count=9), Lamp("hi", "b", 8, 6.0))
    board = Board("b", "any", 1, "p", electrics=Electrics(pin_a=0.04))
    rig = Rig((Supply("p", Adapter(5.0, 9.0)),), (board,), lamps)
    one, many, high = size(Show(rig, Score("s"))).lamps
    assert one.resistor is not None
    assert one.resistor.preferred_ohm == 91.0
    assert one.total_a == pytest.approx(1.8 / 91.0)
    assert (one.leds, one.needs_driver, one.voltage_v) == (1, False, 5.0)
    assert many.total_a == pytest.approx(9 * 1.8 / 91.0)
    assert many.needs_driver
    assert (high.resistor, high.total_a, high.needs_driver) == (None, 0.0, True)


def moved(load: Load, *moves: Move, **more: object) -> ServoSize:
    """A servo of 10 kgf.cm and 400 deg/s whose part makes these moves; no rotor."""
    jaw = Servo(
        "jaw", "b", 1, POINTS, (0.0, 60.0), (RATING,), load=load, rotor_kg_m2=0.0, safe_deg=0.0,
        **more,
    )  # fmt: skip
    rig = Rig((), (Board("b", "any", 1),), (jaw,), wearer=Wearer(margin=0.2))
    (found,) = size(Show(rig, Score("s", (Cue("c", "", InTurn(moves)),)))).servos
    return found


def test_a_small_torque_that_drives_takes_its_share_of_speed_as_a_large_one_does() -> None:
    """Friction alone, 2 mN.m: a third of what its heat asks for, so w / w0 may be 0.8 - 1/3."""
    law = Law("3-4-5")
    found = moved(
        Load(friction_nm=0.002), Move("jaw", 60.0, 400, law), Move("jaw", 0.0, 400, law),
        accel_deg_s2=50.0,
    )  # fmt: skip
    peak_deg_s = 1.875 * 60.0 / 0.4
    assert found.peak_deg_s == pytest.approx(peak_deg_s, rel=0.02)
    assert found.set_by == "heat"
    assert found.stall_nm == pytest.approx(3 * 0.002, rel=0.02)
    assert found.speed_deg_s >= 0.99 * found.peak_deg_s / (0.8 - 0.002 / found.stall_nm)


@pytest.mark.parametrize(("lasts_ms", "enough"), [(380, True), (330, False)])
def test_a_part_that_its_weight_lowers_too_fast_asks_for_a_faster_servo(
    lasts_ms: int, enough: bool
) -> None:
    """250 g at 100 mm brake all the way down; 1.875 * 60 deg in 330 ms are 341 of 320 deg/s."""
    law = Law("3-4-5")
    found = moved(
        Load((PointMass(0.25, 0.1),)),
        Move("jaw", 60.0, 3000, law), Move("jaw", 0.0, lasts_ms, law),
        accel_deg_s2=4000.0,
    )  # fmt: skip
    assert found.enough is enough


def test_what_a_stop_asks_in_the_middle_of_a_move_counts_for_what_to_buy() -> None:
    """A slow move is no effort; braked at 20000 deg/s2 it takes I a: 1 kg at 50 mm."""
    load = Load((PointMass(1.0, 0.05),), level_deg=-90.0)
    gentle = moved(load, Move("jaw", 10.0, 400), Move("jaw", 0.0, 400), accel_deg_s2=1000.0)
    hard = moved(load, Move("jaw", 10.0, 400), Move("jaw", 0.0, 400), accel_deg_s2=20_000.0)
    braked_nm = 1.0 * 0.05**2 * np.radians(20_000.0)
    assert hard.peak_kgf_cm * 0.0980665 > 0.9 * braked_nm
    assert hard.stall_nm > 1.5 * gentle.stall_nm


def test_a_start_on_another_supply_asks_nothing_of_this_one() -> None:
    """12 A of a stalled servo on `q`; 1 A on `p`, whose regulator and fuse are for that."""
    boards = (
        Board("b", "any", 1, "p", electrics=Electrics(0.03)),
        Board("c", "any", 2, "q", electrics=Electrics(0.0)),
    )
    regulator = Regulator(6.0, 50.0, 0.3, 0.8)
    supplies = (
        Supply("p", Adapter(12.0, 50.0), regulator),
        Supply("q", Adapter(6.0, 50.0), fuse_a=1.0),
    )
    strong = Servo("jaw", "c", 1, POINTS, (0.0, 60.0), (Rating(6.0, 400.0, 1.0, 12.0, 0.0),))
    cue = Cue("blow", "", InTurn((Throw("fan", True), Hold(60_000))))
    show = Show(Rig(supplies, boards, (FAN, strong)), Score("s", (cue,), usage=(Usage("blow", 1),)))
    first, second = size(show).supplies
    assert first.regulator_a == pytest.approx(1.0)
    assert first.cautions == ()
    assert first.fuse.rating_a is not None
    assert first.fuse.rating_a <= 1.0
    assert any("may open at the peak of 12" in one for one in second.cautions)


@pytest.mark.parametrize(
    ("chip_v", "shifter", "needs"),
    [(3.5, False, False), (3.49, False, True), (3.49, True, False), (5.0, False, False)],
)
def test_pixels_need_seven_tenths_of_their_own_supply_on_the_data_line(
    chip_v: float, shifter: bool, needs: bool
) -> None:
    """3.5 V of 5 V (data sheets of that class, from memory)."""
    strip = Strip("belly", "b", 3, pixels=10, shifter=shifter)
    board = Board("b", "any", 1, "p", logic=OnBoard(chip_v, 0.3))
    rig = Rig((Supply("p", Adapter(5.0, 9.0)),), (board,), (strip,))
    (found,) = size(Show(rig, Score("s"))).strips
    assert found.needs_shifter is needs


@pytest.mark.parametrize(
    ("waits_deg", "mean_square"),
    [
        # the longest wait, level: of 17 s 9 at all of the weight, 8 at its half in the mean square
        (0.0, (9.0 + 8.0 * 0.5) / 17.0),
        # the shortest wait, straight up: of 8.1 s 8 at the half
        (90.0, 8.0 * 0.5 / 8.1),
    ],
)
def test_of_shortest_and_longest_waits_those_count_that_heat_a_servo_more(
    waits_deg: float, mean_square: float
) -> None:
    """100 g at 100 mm, 1 kgf.cm level, nothing straight up, where the cue begins and ends.

    Whatever is symmetric about its middle goes as long at p as at 90 deg - p, and cos2 p + sin2 p
    is 1: half of the square in the mean.
    """
    wait = Hold(100, drawn=Drawn(1, 9000))
    law = Law("3-4-5")
    down, up = Move("jaw", 0.0, 4000, law), Move("jaw", 90.0, 4000, law)
    steps = (down, wait, up) if waits_deg == 0.0 else (down, up, wait)
    jaw = Servo(
        "jaw", "b", 1, POINTS, (0.0, 90.0), (RATING,), load=Load((PointMass(0.1, 0.1),)),
        rotor_kg_m2=0.0, safe_deg=90.0, accel_deg_s2=200.0,
    )  # fmt: skip
    rig = Rig((), (Board("b", "any", 1),), (jaw,))
    show = Show(rig, Score("s", (Cue("c", "", InTurn(steps)),)))
    ways = [heats(way)[0] for way in ways_to_look(show)]
    assert [way.hold_share for way in ways] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert (ways[0].rms_share < ways[1].rms_share) is (waits_deg == 0.0)
    (found,) = size(show).servos
    assert found.rms_kgf_cm == pytest.approx(mean_square**0.5, rel=0.01)


def test_a_supply_that_feeds_nothing_asks_for_the_least_of_everything() -> None:
    """Cartridges begin at 0.5 A here; an ampere that no one draws would ask for more."""
    spare = Supply("spare", Adapter(12.0, 9.0), Regulator(5.0, 9.0, 0.3, 0.8), fuse_kind="IEC fast")
    used = Supply("p", Adapter(6.0, 9.0))
    board = Board("b", "any", 1, "p", electrics=Electrics(0.03))
    _, found = size(Show(Rig((used, spare), (board,), (FAN,)), Score("s"))).supplies
    amps = (found.peak_a, found.mean_a, found.rms_a, found.reversal_a, found.regulator_a)
    assert amps == (0.0,) * 5
    assert (found.source_peak_a, found.source_mean_a, found.source_rms_a) == (0.0,) * 3
    assert (found.fuse.rating_a, found.feeds, found.cautions) == (0.5, (), ())
    assert "one servo stalled" not in found.fuse.reason


@pytest.mark.parametrize(("fan_a", "rating_a"), [(40.0, 40.0), (41.0, None)])
def test_where_no_fuse_is_large_enough_a_feed_says_so_and_carries_its_own_current(
    fan_a: float, rating_a: float | None
) -> None:
    """Blade fuses end at 40 A, which they carry for an hour. The chip beside draws 30 mA."""
    boards = (
        Board("b", "any", 1, "p", Wire(0.1, 10), electrics=Electrics(0.0)),
        Board("chip", "any", 2, "p", Wire(0.1, 10), electrics=Electrics(0.03)),
    )
    fan = replace(FAN, current_a=fan_a - 0.03)
    rig = Rig((Supply("p", Adapter(6.0, 90.0)),), boards, (fan,))
    cues = (Cue("blow", "", InTurn((Throw("fan", True), Hold(1000)))), Cue("r", "", Hold(60_000)))
    usage = (Usage("blow", 1.0), Usage("r", 59.0))
    (found,) = size(Show(rig, Score("s", cues, usage=usage))).supplies
    assert found.fuse.rating_a == rating_a
    (_, chip) = found.feeds
    if rating_a is None:
        assert chip.gauge_awg == 30  # the thinnest
        assert chip.reason.endswith("carries 0.86 A, and no fuse is large enough")
    else:
        assert chip.gauge_awg == 12
        assert chip.reason.endswith("carries 41 A, and its fuse needs 40 A")
