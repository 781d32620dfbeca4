"""Parts that grip: what they take of supply, fuse, heat and sizes, several fingers at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cue,
    Gear,
    Grip,
    Hold,
    InTurn,
    Load,
    Mount,
    Move,
    PointMass,
    Rating,
    Repeat,
    Rig,
    Score,
    Servo,
    Show,
    Supply,
    Together,
    Usage,
    Wearer,
)
from sim.rehearsal.sampling import Samples, ServoSamples
from sim.rig.servo import current_a, line
from sim.score.planned_moves import planned_moves
from sim.strain.hardest_torque import hardest_torques
from sim.strain.heat import heats, overstays
from sim.strain.sag import sags
from sim.strain.sizing import size
from sim.strain.torque_and_current import work
from sim.strain.usage import Book, currents

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
RATING = Rating(6.0, 400.0, 1.0, 2.0, 0.0)
WALL = Supply("wall", Adapter(6.0, 20.0))


def finger(number: int, grip: Grip | None) -> Servo:
    return Servo(
        *(f"finger_{number}", "hand", number, POINTS, (0.0, 80.0), (RATING,)),
        load=Load((PointMass(1e-6, 0.01),)),
        idle_a=0.0,
        grip=grip,
    )


def hand(grip: Grip | None, fingers: int = 1, usage: tuple[Usage, ...] = (), hold_ms: int = 0):
    servos = tuple(finger(n, grip) for n in range(fingers))

    def all_to(angle: float) -> Together:
        return Together(tuple(Move(s.name, angle, 1000) for s in servos))

    held = (Hold(hold_ms),) if hold_ms else ()
    cues = (
        Cue("close", "", InTurn((all_to(60.0), *held))),
        Cue("open", "", InTurn((all_to(0.0),))),
    )
    rig = Rig((WALL,), (Board("hand", "any", 1, "wall"),), servos)
    return Show(rig, Score("s", cues, usage=usage))


GRIP = Grip(50.0, 1, 3.0, 5.0, 0.1)
"""5 N at 100 mm: half of the stall torque, so 1 A of the 2 A."""


PAST_S = 0.303
"""How long a closing by 3-4-5, 60 deg in 1 s, is past 50 deg: 10 x3 - 15 x4 + 6 x5 is 5/6 at x =
0.697."""


@pytest.mark.parametrize("fingers", [1, 2, 5])
def test_the_supply_s_bound_has_all_fingers_gripping_at_once(fingers: int) -> None:
    (sag,) = sags(hand(GRIP, fingers))
    assert sag.source_a == pytest.approx(fingers * 1.0, rel=1e-3)
    (free,) = sags(hand(None, fingers))
    assert free.source_a < 0.1 * fingers


def test_a_finger_that_stalls_takes_its_stall_current() -> None:
    (sag,) = sags(hand(Grip(50.0, 1, 0.5), 3))
    assert sag.source_a == pytest.approx(6.0)


def test_a_finger_that_no_cue_moves_is_counted_too() -> None:
    show = hand(GRIP)
    still = replace(show, score=replace(show.score, cues=()))
    assert hardest_torques(still, planned_moves(still))["finger_0"].torque_nm == pytest.approx(
        0.5, rel=1e-4
    )


def test_a_cue_that_closes_grips_on_for_the_declared_time() -> None:
    """A second of closing, the last part of it past the contact, then 3 s: 1 A all the while."""
    run = Book(hand(GRIP))["close"]
    assert run.lasts_s == pytest.approx(4.0)
    work = run.settled.servos["finger_0"]
    past = run.samples.servos["finger_0"].angle_deg > 50.0
    assert past.mean() > 0.75
    drawn = float(current_a(line(finger(0, GRIP), 6.0), 0.5))
    assert work.current_a[past] == pytest.approx(drawn, rel=1e-3)
    assert np.abs(work.torque_nm[past]) == pytest.approx(0.5, rel=1e-4)
    assert np.abs(work.torque_nm[~past]).max() < 0.01


def test_a_cue_that_leaves_it_open_lasts_as_long_as_it_is() -> None:
    assert Book(hand(GRIP))["open"].lasts_s == pytest.approx(1.0)


def test_heat_is_that_of_the_grips_in_ten_minutes() -> None:
    """20 an hour are 4 in the busiest ten minutes (3.3, rounded up): half the torque for 12 s, the
    last part of each closing and the first of each opening, of 600 s. Torque by the root of the
    mean square."""
    uses = (Usage("close", 20.0), Usage("open", 20.0))
    (found,) = heats(hand(GRIP, usage=uses))
    closing = 4 * PAST_S
    assert found.rms_share == pytest.approx(0.5 * ((12.0 + 2 * closing) / 600.0) ** 0.5, rel=0.03)
    (free,) = heats(hand(None, usage=uses))
    assert free.rms_share < 0.01


def test_the_mean_current_counts_the_grips() -> None:
    uses = (Usage("close", 100.0), Usage("open", 100.0))
    show = hand(GRIP, usage=uses)
    book = Book(show)
    found = currents(book, show.rig.supplies[0], book.mix())
    closing = 100 * PAST_S
    assert found.mean_a == pytest.approx((300.0 + closing) / 3600.0, rel=0.05)
    assert found.peak_a == pytest.approx(1.0, rel=1e-3)


def test_a_servo_to_buy_can_grip() -> None:
    uses = (Usage("close", 1.0), Usage("open", 1.0))
    (one,) = size(hand(GRIP, usage=uses)).servos
    assert one.set_by == "gripping"
    assert one.stall_nm == pytest.approx(0.5 / 0.8, rel=1e-2)
    assert one.enough
    (weak,) = size(hand(replace(GRIP, force_n=9.0), usage=uses)).servos
    assert not weak.enough


def test_a_grip_that_closes_downwards_counts_below_its_contact() -> None:
    down = replace(GRIP, contact_deg=20.0, side=-1)
    work = Book(hand(down))["open"]
    past = work.samples.servos["finger_0"].angle_deg < 20.0
    assert work.settled.servos["finger_0"].torque_nm[past] == pytest.approx(-0.5, rel=1e-4)


def test_a_reversed_gear_grips_with_the_horn_turning_back() -> None:
    show = hand(GRIP)
    (one,) = show.rig.outputs
    assert isinstance(one, Servo)
    geared = replace(one, drive=Gear(-2.0))
    back = replace(show, rig=replace(show.rig, outputs=(geared,)))
    run = Book(back)["close"]
    past = run.samples.servos["finger_0"].angle_deg > 50.0
    assert run.settled.servos["finger_0"].torque_nm[past] == pytest.approx(-0.25, rel=1e-4)


@pytest.mark.parametrize(("hold_ms", "told"), [(2500, False), (3500, True)])
def test_a_cue_that_holds_on_for_longer_than_declared_is_told(hold_ms: int, told: bool) -> None:
    show = hand(GRIP, hold_ms=hold_ms)
    found = overstays(show, Book(show))
    assert bool(found) == told
    if told:
        assert (found[0].servo, found[0].cue) == ("finger_0", "close")
        assert found[0].seconds == pytest.approx(3.86, abs=0.1)


def test_a_loop_that_closes_at_its_very_end_and_stays_so_grips_for_ever() -> None:
    """It is past its contact for the last few ms of the first pass, and then for all of the next.

    One that opens again in each pass grips for as long as it is closed there.
    """
    late = hand(Grip(69.9999, 1, 0.5, 5.0, 0.1))
    stays, opens = (
        Cue("loop", "", Repeat(InTurn(tuple(Move("finger_0", to, 1000) for to in ways)), None))
        for ways in ((70.0,), (70.0, 70.0, 0.0))
    )
    for loop, held_s in ((stays, float("inf")), (opens, pytest.approx(1.0, abs=0.03))):
        show = replace(late, score=replace(late.score, cues=(loop,)))
        (found,) = overstays(show, Book(show))
        assert (found.cue, found.seconds) == ("loop", held_s)


@pytest.mark.parametrize("is_first", [True, False])
def test_a_loop_beside_a_quicker_one_grips_for_as_long_as_it_is_closed(is_first: bool) -> None:
    """2 s of each 4 s closed, for four passes of the other finger: not for ever."""
    late = hand(Grip(69.9999, 1, 0.5, 0.8, 0.1), 2)
    ways = (Move("finger_0", 0.0, 1000), Move("finger_0", 70.0, 1000), Hold(2000))
    quick = (Move("finger_1", 10.0, 250), Move("finger_1", 0.0, 250))
    loops = (Repeat(InTurn(ways), None), Repeat(InTurn(quick), None))
    loop = Cue("loop", "", Together(loops if is_first else loops[::-1]))
    show = replace(late, score=replace(late.score, cues=(loop,)))
    (found,) = overstays(show, Book(show))
    assert (found.servo, found.cue) == ("finger_0", "loop")
    assert found.seconds == pytest.approx(2.0, abs=0.05)


def test_a_safe_pose_that_is_closed_grips_for_ever() -> None:
    show = hand(GRIP)
    (one,) = show.rig.outputs
    assert isinstance(one, Servo)
    closed = replace(show, rig=replace(show.rig, outputs=(replace(one, safe_deg=60.0),)))
    found = overstays(closed, Book(closed))
    assert found[0].cue is None
    assert found[0].seconds == float("inf")


# -- several grips on one servo, over time ---------------------------------------------------------

PALM = Servo(
    *("palm", "hand", 9, POINTS, (0.0, 80.0), (RATING,)),
    load=Load((PointMass(1e-6, 0.01),)),
    idle_a=0.0,
)


def at_angles(*servos: Servo, powered: dict[str, list[bool]] | None = None, **angles: list[float]):
    """What these servos take at rest at these angles, one column an instant."""
    rig = Rig((WALL,), (Board("hand", "any", 1, "wall"),), servos)
    count = len(next(iter(angles.values())))
    seen = {
        name: ServoSamples(
            np.array(row),
            np.zeros(count),
            np.zeros(count),
            np.zeros(count),
            np.array((powered or {}).get(name, [True] * count)),
            np.zeros(count, dtype=bool),
        )
        for name, row in angles.items()
    }
    samples = Samples(np.arange(float(count)), seen, {}, {}, {})
    return work(rig, samples).servos


def test_a_carrier_is_worked_by_each_grip_while_that_one_presses() -> None:
    """Two fingers of 2 N at 100 mm, hinged 50 mm out on the palm: 0.2 N.m each, 0.3 on the palm."""
    grip = Grip(50.0, 1, 3.0, 2.0, 0.1)
    one = replace(finger(1, grip), mount=Mount("palm", 0.05))
    other = replace(finger(2, grip), mount=Mount("palm", 0.05))
    found = at_angles(
        PALM, one, other,
        palm=[10.0] * 4, finger_1=[40.0, 60.0, 60.0, 60.0], finger_2=[40.0, 40.0, 60.0, 60.0],
        powered={"finger_1": [True, True, True, False], "finger_2": [True, True, True, True]},
    )  # fmt: skip
    assert found["palm"].torque_nm == pytest.approx([0.0, 0.3, 0.6, 0.3], abs=1e-4)
    assert found["finger_1"].torque_nm == pytest.approx([0.0, 0.2, 0.2, 0.0], abs=1e-4)
    assert found["finger_2"].torque_nm == pytest.approx([0.0, 0.0, 0.2, 0.2], abs=1e-4)


def test_a_limp_carrier_gives_nothing_against_a_grip() -> None:
    one = replace(finger(1, Grip(50.0, 1, 3.0, 2.0, 0.1)), mount=Mount("palm", 0.05))
    found = at_angles(
        PALM, one, palm=[10.0, 10.0], finger_1=[60.0, 60.0], powered={"palm": [False, True]}
    )
    assert found["palm"].torque_nm == pytest.approx([0.0, 0.3], abs=1e-4)


def test_what_holds_is_added_to_a_grip_but_not_to_a_stall() -> None:
    """100 g at 100 mm, level at 60 deg: 0.098 N.m beside 5 N at 100 mm; a stall is 1 N.m."""
    heavy = Load((PointMass(0.1, 0.1),), level_deg=60.0)
    pressing_on = replace(finger(1, GRIP), load=heavy)
    found = at_angles(pressing_on, finger_1=[45.0, 60.0])["finger_1"]
    held = 0.1 * 9.80665 * 0.1
    assert found.torque_nm == pytest.approx([held * np.cos(np.radians(15.0)), 0.5 + held])
    assert found.share == pytest.approx(found.torque_nm)
    stalls = replace(pressing_on, grip=Grip(50.0, 1, 3.0), tip_m=0.1)
    found = at_angles(stalls, finger_1=[45.0, 60.0])["finger_1"]
    assert found.torque_nm == pytest.approx([held * np.cos(np.radians(15.0)), 1.0])
    assert found.current_a[1] == pytest.approx(2.0)


def test_a_grip_of_a_part_that_is_not_sampled_presses_on_nothing() -> None:
    one = replace(finger(1, GRIP), mount=Mount("palm", 0.05))
    assert at_angles(PALM, one, palm=[10.0])["palm"].torque_nm == pytest.approx([0.0], abs=1e-4)


def test_two_samples_longer_than_declared_are_no_overstay() -> None:
    """Times are known to a sample of 10 ms at either end."""
    show = hand(GRIP, hold_ms=3500)
    (found,) = overstays(show, Book(show))
    assert (found.seconds - 0.02) + 0.02 == found.seconds
    for short_s, told in ((0.015, False), (0.02, False), (0.025, True)):
        grip = replace(GRIP, lasts_s=found.seconds - short_s)
        longer = hand(grip, hold_ms=3500)
        assert bool(overstays(longer, Book(longer))) is told


@pytest.mark.parametrize("angle", [60.0, 75.0])
def test_a_grip_is_taken_against_the_harder_of_all_postures(angle: float) -> None:
    """Level at 90 deg, leaning 40 deg any way: the weight may pull at cos(|90 - angle| - 40), and
    where closing lowers it, it helps with cos(|90 - angle| + 40) at the least."""
    heavy = Load((PointMass(0.1, 0.1),), level_deg=90.0)
    for lowers in (False, True):
        part = replace(finger(1, GRIP), load=replace(heavy, lowers=lowers))
        rig = Rig(
            (WALL,), (Board("hand", "any", 1, "wall"),), (part,), wearer=Wearer(tilt_deg=40.0)
        )
        seen = ServoSamples(
            np.array([angle]), *[np.zeros(1)] * 3, np.array([True]), np.array([False])
        )
        found = work(rig, Samples(np.zeros(1), {"finger_1": seen}, {}, {}, {})).servos["finger_1"]
        lean = 90.0 - angle
        hardest = np.cos(np.radians(max(lean - 40.0, 0.0)))
        easiest = np.cos(np.radians(lean + 40.0))
        pull = 0.1 * 9.80665 * 0.1 * (-easiest if lowers else hardest)
        assert found.torque_nm == pytest.approx([0.5 + pull])


def test_a_part_that_presses_is_stopped_there_and_takes_no_share_of_its_servo_s_speed() -> None:
    """Told to go on at 200 deg/s past its contact: 0.5 N.m of 1 N.m at standstill are half of what
    the servo has, where the speed would add 200 of 400 deg/s; before the contact it does."""
    rig = Rig((WALL,), (Board("hand", "any", 1, "wall"),), (finger(0, GRIP),))
    seen = ServoSamples(
        np.array([40.0, 55.0]),
        np.array([200.0, 200.0]),
        *[np.zeros(2)] * 2,
        *[np.array([True] * 2)] * 2,
    )
    found = work(rig, Samples(np.arange(2.0), {"finger_0": seen}, {}, {}, {})).servos["finger_0"]
    assert found.speed_deg_s == pytest.approx([200.0, 0.0])
    assert found.share == pytest.approx([0.5, 0.5], abs=2e-3)


def test_a_cue_that_closes_before_it_opens_is_not_run_from_a_grip() -> None:
    """How long it grips is counted with itself; one that only opens is run from the grip too."""
    show = hand(GRIP)
    (close, opens) = show.score.cues
    pump = Cue("pump", "", InTurn((Move("finger_0", 70.0, 1000), Move("finger_0", 0.0, 1000))))
    show = replace(show, score=replace(show.score, cues=(close, opens, pump)))
    book = Book(show)

    def starts(cue: str) -> set[float]:
        runs = book.from_every_pose(cue)
        return {round(float(run.samples.servos["finger_0"].angle_deg[0])) for run in runs}

    assert starts("open") == {0.0, 60.0}
    assert starts("pump") == {0.0}


def test_what_pulls_the_other_way_draws_as_much_from_the_supply() -> None:
    """100 g at 100 mm: 0.098 N.m of a stall of 1 N.m at 2 A, however its turning lifts it."""
    drawn = []
    for lowers in (False, True):
        part = replace(finger(0, None), load=Load((PointMass(0.1, 0.1),), lowers=lowers))
        rig = Rig((WALL,), (Board("hand", "any", 1, "wall"),), (part,))
        seen = ServoSamples(np.zeros(1), *[np.zeros(1)] * 3, np.array([True]), np.array([False]))
        done = work(rig, Samples(np.zeros(1), {"finger_0": seen}, {}, {}, {}))
        assert np.sign(done.servos["finger_0"].torque_nm[0]) == (-1.0 if lowers else 1.0)
        drawn.append(float(done.supplies["wall"].source_a[0]))
    assert drawn[0] == pytest.approx(drawn[1], rel=1e-9)
    assert drawn[0] >= 2.0 * 0.1 * 9.80665 * 0.1


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(("force_n", "pressed_nm"), [(5.0, 0.5), (None, 1.0)])
def test_a_part_presses_past_its_contact_while_powered_and_at_no_other_instant(
    force_n: float | None, pressed_nm: float, side: int
) -> None:
    """5 N at 100 mm, or all of its 1 N.m. At its contact it only touches; no weight, so nothing
    else is asked before it, nor of a part beside it without a grip."""
    grip = Grip(50.0, side, 3.0, force_n, 0.1)
    past = [50.0 + side * beyond for beyond in (-10.0, 0.0, 0.01, 20.0, 20.0)]
    powered = [True, True, True, True, False]
    one, beside = replace(finger(1, grip), tip_m=0.1), finger(2, None)
    found = at_angles(
        one, beside, finger_1=past, finger_2=past,
        powered={"finger_1": powered, "finger_2": [True] * 5},
    )  # fmt: skip
    expected = [0.0, 0.0, side * pressed_nm, side * pressed_nm, 0.0]
    assert found["finger_1"].torque_nm == pytest.approx(expected, abs=1e-6)
    assert found["finger_1"].share == pytest.approx(np.abs(expected), abs=1e-6)
    assert found["finger_2"].torque_nm == pytest.approx([0.0] * 5, abs=1e-6)


def test_of_two_fingers_that_stall_only_the_one_that_presses_works_the_palm() -> None:
    """A stall of 1 N.m at a tip of 100 mm is 10 N, on the palm at 50 mm more: 1.5 N.m each."""
    grip = Grip(50.0, 1, 3.0)
    one, other = (replace(finger(n, grip), mount=Mount("palm", 0.05), tip_m=0.1) for n in (1, 2))
    found = at_angles(
        PALM, one, other,
        palm=[10.0] * 3, finger_1=[40.0, 60.0, 60.0], finger_2=[40.0, 40.0, 60.0],
    )  # fmt: skip
    assert found["palm"].torque_nm == pytest.approx([0.0, 1.5, 3.0], abs=1e-4)
    assert found["finger_1"].torque_nm == pytest.approx([0.0, 1.0, 1.0], abs=1e-4)
    assert found["finger_2"].torque_nm == pytest.approx([0.0, 0.0, 1.0], abs=1e-4)


@pytest.mark.parametrize("lowers", [False, True])
@pytest.mark.parametrize("angle", [80.0, 100.0])
def test_the_supply_gives_what_the_harder_posture_takes(lowers: bool, angle: float) -> None:
    """Leaning 30 deg either way, 10 deg off straight up: the weight pulls at cos 50 deg at most,
    and at 110 deg to the other side. 2 A for each N.m, whichever end of the two it is."""
    load = Load((PointMass(0.4, 0.1),), lowers=lowers)
    part = replace(finger(0, None), load=load, travel_deg=(0.0, 110.0))
    rig = Rig((WALL,), (Board("hand", "any", 1, "wall"),), (part,), wearer=Wearer(tilt_deg=30.0))
    seen = ServoSamples(np.array([angle]), *[np.zeros(1)] * 3, np.array([True]), np.array([False]))
    done = work(rig, Samples(np.zeros(1), {"finger_0": seen}, {}, {}, {}))
    idle = Board("hand", "any", 1).electrics.idle_a
    hardest = 0.4 * 9.80665 * 0.1 * np.cos(np.radians(50.0))
    assert np.abs(done.servos["finger_0"].torque_nm) == pytest.approx([hardest])
    assert done.supplies["wall"].source_a == pytest.approx([idle + 2.0 * hardest], rel=1e-4)
