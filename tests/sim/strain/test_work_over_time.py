"""Power-up, and what parts on parts ask at an instant, with sums that can be checked."""

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
    Electrics,
    Fade,
    Grip,
    Lamp,
    Load,
    Mount,
    Move,
    PointMass,
    Rating,
    Rig,
    Rod,
    Score,
    Servo,
    Show,
    Spring,
    Strip,
    StripLight,
    Supply,
    Switch,
    Wearer,
    Wire,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import LampSamples, Samples, ServoSamples, StripSamples, sample
from sim.rig.battery import EMPTY_CHARGE, rest_v
from sim.rig.wire import loop_ohm
from sim.strain.coupling import coupled_show
from sim.strain.sag import sags, start_sags
from sim.strain.shortest import Impossible
from sim.strain.torque_and_current import demand_of, moving_in, work

POINTS = (CalibrationPoint(-90.0, 900.0), CalibrationPoint(90.0, 2100.0))
WALL = Supply("p", Adapter(6.0, 50.0))


def servo(name: str, stall_a: float, board: str = "b") -> Servo:
    rating = Rating(6.0, 400.0, 1.0, stall_a)
    return Servo(name, board, 1, POINTS, (-60.0, 60.0), (rating,), idle_a=0.02)


STRIP = Strip("belly", "b", 3, pixels=10, channel_a=0.02)
FAN = Switch("fan", "b", 4, current_a=0.7, safe_on=True)
OFF = Switch("off", "b", 5, current_a=0.9)
LURE = Lamp("lure", "b", 9, safe_pct=80.0)
BOARDS = (
    Board("b", "any", 1, "p", electrics=Electrics(0.03)),
    Board("c", "any", 2, "p", electrics=Electrics(0.04)),
)


def show(*outputs: Servo | Strip | Switch | Lamp, cues: tuple[Cue, ...] = ()) -> Show:
    return Show(Rig((WALL,), BOARDS, outputs), Score("t", cues))


@pytest.mark.parametrize("turned", [False, True])
def test_at_power_up_the_thirstiest_servo_is_the_one_that_starts(turned: bool) -> None:
    """4 A stalled and 30 mA of the board; the other board 40 mA.

    The small one holds with 20 mA, or, where it started before, is still on its way: 35 % of 1 A.
    Nothing sags here, so that the current alone tells them apart.
    """
    pair = (servo("small", 1.0), servo("large", 4.0))
    here, there = start_sags(show(*(pair[::-1] if turned else pair)))
    assert (here.starting, here.voltage_v) == ("large", 6.0)
    assert here.board_a == pytest.approx(4.0 + 0.03 + (0.02 if turned else 0.35))
    assert there.board_a == pytest.approx(0.04)
    assert here.supply_a == pytest.approx(here.board_a + 0.04)


@pytest.mark.parametrize("turned", [False, True])
def test_behind_a_wire_the_start_that_sags_most_counts(turned: bool) -> None:
    """1.5 ohm stalled behind 1 m of 24 AWG, there and back; beside it 30 mA and the small one."""
    pair = (servo("small", 1.0), servo("large", 4.0))
    plain = show(*(pair[::-1] if turned else pair))
    boards = (replace(BOARDS[0], wire=Wire(1.0, 24, solid=True)), BOARDS[1])
    here, _ = start_sags(replace(plain, rig=replace(plain.rig, boards=boards)))
    assert here.starting == "large"
    ohm = loop_ohm(boards[0].wire, 25.0)
    beside_a = 0.03 + (0.02 if turned else 0.35)
    assert here.voltage_v == pytest.approx(1.5 * (6.0 - beside_a * ohm) / (1.5 + ohm), rel=1e-6)


def test_of_two_boards_each_is_told_of_the_start_of_its_own_servo() -> None:
    """Nothing sags, and the supply gives 4 A and 70 mA at either start: on that board it is most.

    10 deg at 400 deg/s are over in 25 ms, long before the second servo starts: what spins waits for
    no jump and holds its place in the row.
    """
    short = (-5.0, 5.0)
    first = replace(servo("first", 4.0), travel_deg=short, idle_a=0.0, rotor_kg_m2=0.0)
    second = replace(first, name="second", board="c")
    wheel = servo("wheel", 1.0, "c")
    wheel = replace(wheel, load=Load(spins=True), idle_a=0.0)
    here, there = start_sags(show(first, wheel, second))
    assert (here.starting, here.board_a) == ("first", pytest.approx(4.03))
    assert (there.starting, there.board_a) == ("second", pytest.approx(4.04))
    assert here.supply_a == pytest.approx(there.supply_a)
    assert here.voltage_v == there.voltage_v == 6.0


@pytest.mark.parametrize("boards", [1, 2, 3])
def test_a_board_draws_most_from_a_full_pack_while_the_others_do_nothing(boards: int) -> None:
    """Each stalls on what it grips: 2 A at 6 V are 3 ohm; with 0.5 ohm of the pack, U / 3.5 ohm.

    All together take n U / (3 + 0.5 n), and a nearly empty pack has less to give.
    """
    cells = Cells("li-ion", 2, 50.0, resistance_ohm=0.5)
    grip = Grip(50.0, 1, 0.5)
    jaws = tuple(
        replace(
            servo(f"jaw{n}", 2.0, f"b{n}"), grip=grip, idle_a=0.0, rotor_kg_m2=0.0, tip_m=0.1,
            ratings=(Rating(6.0, 400.0, 1.0, 2.0, 0.0), Rating(12.0, 800.0, 2.0, 4.0, 0.0)),
        )
        for n in range(boards)
    )  # fmt: skip
    rig = Rig(
        (Supply("p", cells),),
        tuple(Board(f"b{n}", "any", n + 1, "p", electrics=Electrics(0.0)) for n in range(boards)),
        jaws,
    )
    full_v, empty_v = (float(rest_v(cells, charge)) for charge in (1.0, EMPTY_CHARGE))
    for found in sags(Show(rig, Score("t"))):
        assert found.board_a == pytest.approx(full_v / 3.5, rel=1e-3)
        assert found.supply_a == pytest.approx(boards * full_v / (3.0 + 0.5 * boards), rel=1e-3)
        assert found.voltage_v == pytest.approx(3.0 * empty_v / (3.0 + 0.5 * boards), rel=1e-3)


def test_at_power_up_lights_are_dark_and_switches_safe() -> None:
    """Ten dark pixels of 1 mA, and the fan that is on in the safe pose."""
    (here, _) = start_sags(show(servo("jaw", 2.0), STRIP, FAN, OFF, LURE))
    assert here.starting == "jaw"
    assert here.board_a == pytest.approx(2.0 + 0.03 + 0.01 + 0.7)
    (still, _) = start_sags(show(STRIP, FAN))
    assert (still.starting, still.cues) == (None, ())
    assert still.board_a == pytest.approx(0.03 + 0.01 + 0.7)


def test_a_show_takes_its_brightest_light_and_all_its_switches() -> None:
    """Ten red pixels of 20 mA and their 10 mA, both switches, no servo."""
    red = Cue("red", "", Fade("belly", StripLight((255, 0, 0), 100.0), 100))
    (here, _) = sags(show(STRIP, FAN, OFF, cues=(red,)))
    assert here.board_a == pytest.approx(0.03 + 0.2 + 0.01 + 0.7 + 0.9)
    assert (here.cues, here.collapsed) == ((), False)


# -- parts on parts -------------------------------------------------------------------------------

ROOT = Servo(
    "root", "b", 1, POINTS, (-20.0, 60.0), (Rating(6.0, 300.0, 3.0, 3.0),),
    load=Load((Rod(0.060, 0.300),)),
)  # fmt: skip
TIP = Servo(
    "tip", "b", 2, POINTS, (-60.0, 60.0), (Rating(6.0, 300.0, 3.0, 3.0),),
    load=Load((Rod(0.030, 0.250),), springs=(Spring(0.02, 30.0),)),
    mount=Mount("root", 0.300, mass_kg=0.020),
)  # fmt: skip
G = 9.80665
ROOT_NM = (0.060 * 0.150 + 0.020 * 0.300 + 0.030 * (0.300 + 0.125)) * G
TIP_NM = 0.030 * 0.125 * G
SPRING_NM = 0.02 * np.radians(30.0)
"""Slack at 30 deg: at 0 deg it pulls the part up."""


@pytest.mark.parametrize(
    ("wearer", "pushed"),
    [
        (Wearer(), 0.0),
        # a walking wearer adds 0.8 g either way (`sim.rig.disturbance`), beside the weight
        (Wearer(gait="walks"), 0.8),
    ],
)
def test_a_wing_at_rest_bears_its_weights_and_what_pushes_it(wearer: Wearer, pushed: float) -> None:
    """Stretched and level: every mass times its distance from the hinge, times g."""
    cues = (Cue("c", "", Move("root", 1e-6, 9000)),)
    wing = coupled_show(Show(Rig((), BOARDS, (ROOT, TIP), wearer=wearer), Score("t", cues)))
    samples = sample(rehearse(wing, (), 3000), np.array([2000.0, 2500.0]))
    done = work(wing.rig, samples)
    root, tip = done.servos["root"].torque_nm, done.servos["tip"].torque_nm
    assert root == pytest.approx(ROOT_NM * (1.0 + pushed), rel=1e-6)
    assert tip == pytest.approx(TIP_NM * (1.0 + pushed) - SPRING_NM, rel=1e-6)


def test_of_a_chain_that_is_sampled_in_part_the_worst_of_the_rest_is_taken() -> None:
    """The tip at 60 deg is lighter than stretched; unseen, it may be as a cue stretches it."""
    bent, stretch = replace(TIP, safe_deg=60.0), Cue("c", "", Move("tip", 0.0, 9000))
    wing = coupled_show(Show(Rig((), BOARDS, (ROOT, bent)), Score("t", (stretch,))))
    whole = sample(rehearse(wing, (), 3000), np.array([2000.0]))
    part = replace(whole, servos={"root": whole.servos["root"]})
    known, bound = (work(wing.rig, one).servos["root"].torque_nm[0] for one in (whole, part))
    folded = ROOT_NM - 0.030 * 0.125 * (1.0 - 0.5) * G
    assert known == pytest.approx(folded, rel=1e-6)
    assert bound >= ROOT_NM * (1.0 - 1e-9)


def test_a_part_that_hangs_limp_takes_no_torque() -> None:
    plain = Servo(
        "jaw", "b", 1, POINTS, (-20.0, 60.0), (Rating(6.0, 300.0, 3.0, 3.0),),
        load=Load((PointMass(0.1, 0.1),)), idle_a=0.02,
    )  # fmt: skip
    there = Show(Rig((), BOARDS, (plain,)), Score("t"))
    samples = sample(rehearse(there, (), 3000), np.array([2000.0]))
    samples.servos["jaw"].powered[:] = False
    done = work(there.rig, samples).servos["jaw"]
    assert done.torque_nm.tolist() == [0.0]
    assert done.share.tolist() == [0.0]
    assert done.current_a.tolist() == [0.02]


def test_why_no_duration_passes_can_be_read_off_the_error() -> None:
    assert str(Impossible("the part is too heavy")) == "the part is too heavy"


# -- what a board's outputs ask -------------------------------------------------------------------


def test_each_output_asks_at_every_instant_what_its_samples_say() -> None:
    """Board 30 mA; ten pixels of 1 mA and 20 mA a channel; a fan of 0.7 A; a lamp's own duty."""
    lit = np.zeros((3, 10, 3))
    lit[1, :4, 0] = 1.0
    lit[2, :, :] = 0.5
    samples = Samples(
        np.arange(3.0),
        {
            "jaw": ServoSamples(
                np.zeros(3), np.array([0.0, 0.011, -30.0]), np.zeros(3), np.zeros(3),
                np.array([True, True, False]), np.array([False, True, True]),
            )
        },
        {"lure": LampSamples(np.array([0.0, 50.0, 100.0]), np.array([0.0, 0.2, 1.0]))},
        {"belly": StripSamples(100.0 * lit, lit)},
        {"fan": np.array([False, True, True]), "off": np.array([False, False, True])},
    )  # fmt: skip
    rig = show(servo("jaw", 2.0), servo("other", 2.0), STRIP, FAN, OFF, LURE).rig
    torques = {"jaw": np.array([0.1, 0.2, 0.3])}
    asked = demand_of(rig, BOARDS[0], samples, torques)
    assert np.asarray(asked.fixed_a) == pytest.approx(
        [0.03 + 0.01, 0.03 + 0.01 + 4 * 0.02 + 0.7, 0.03 + 0.01 + 15 * 0.02 + 0.7 + 0.9]
    )
    assert list(asked.torque_nm) == list(asked.moving) == ["jaw"]
    assert np.asarray(asked.torque_nm["jaw"]).tolist() == [0.1, 0.2, 0.3]
    assert np.asarray(asked.moving["jaw"]).tolist() == [0.0, 1.0, 0.0]
    assert np.asarray(asked.duty["lure"]).tolist() == [0.0, 0.2, 1.0]
    elsewhere = demand_of(rig, BOARDS[1], samples, torques)
    assert np.asarray(elsewhere.fixed_a) == pytest.approx([0.04] * 3)
    assert not elsewhere.torque_nm


def test_a_supplys_boards_add_up_and_a_board_without_one_has_its_rated_voltage() -> None:
    """Two boards, 0.73 A and 0.04 A; a third stands by itself at the servos' 6 V."""
    boards = (*BOARDS, Board("d", "any", 3))
    rig = Rig((WALL,), boards, (FAN, servo("loose", 2.0, "d")))
    samples = Samples(
        np.arange(2.0),
        {"loose": ServoSamples(*[np.zeros(2)] * 4, np.array([True, True]), np.array([False] * 2))},
        {},
        {},
        {"fan": np.array([True, False])},
    )
    done = work(rig, samples)
    assert done.supplies["p"].feed_a == pytest.approx([0.77, 0.07])
    assert done.supplies["p"].source_v == pytest.approx([6.0, 6.0])
    assert done.board_a["b"] == pytest.approx([0.73, 0.03])
    assert done.board_a["c"] == pytest.approx([0.04, 0.04])
    assert done.board_v["d"].tolist() == [6.0, 6.0]
    assert not done.supplies["p"].collapsed.any()


def test_the_share_of_a_servo_is_that_of_its_harder_posture() -> None:
    """Leaning 30 deg either way from 80 deg: 50 deg is harder than 110; at rest, no speed."""
    jaw = Servo(
        "jaw", "b", 1, POINTS, (-20.0, 89.0), (Rating(6.0, 300.0, 3.0, 3.0),),
        load=Load((PointMass(0.4, 0.1),)), idle_a=0.02,
    )  # fmt: skip
    rig = Rig((), BOARDS, (jaw,), wearer=Wearer(tilt_deg=30.0, margin=0.1))
    seen = ServoSamples(np.array([80.0]), *[np.zeros(1)] * 3, np.array([True]), np.array([False]))
    samples = Samples(np.arange(1.0), {"jaw": seen}, {}, {}, {})
    done = work(rig, samples).servos["jaw"]
    hardest = 0.4 * G * 0.1 * np.cos(np.radians(50.0))
    assert done.torque_nm == pytest.approx([hardest])
    assert done.share == pytest.approx([hardest / 3.0])
    assert done.allowed_nm == pytest.approx([0.9 * 3.0])
    assert done.speed_deg_s.tolist() == [0.0]
    assert done.current_a == pytest.approx([0.02 + (3.0 - 0.02) * hardest / 3.0])


def samples_of(one: Servo, speeds: list[float], powered: list[bool], way: list[bool]) -> Samples:
    rows = np.array(speeds), np.zeros(len(speeds)), np.zeros(len(speeds))
    seen = ServoSamples(np.array(speeds), *rows, np.array(powered), np.array(way))
    return Samples(np.arange(float(len(speeds))), {one.name: seen}, {}, {}, {})


def test_a_part_that_turns_round_moves_wherever_it_turns_however_slowly() -> None:
    """The place of such a part is its speed, in rpm: a sixth of one is a degree a second."""
    one = servo("wheel", 2.0)
    wheel = replace(one, load=replace(one.load, spins=True))
    speeds = [0.0, 0.1, -0.1, 30.0, 30.0]
    powered, way = [True, True, True, True, False], [False] * 5
    samples = samples_of(wheel, speeds, powered, way)
    assert moving_in(wheel, samples.servos["wheel"]).tolist() == [0.0, 1.0, 1.0, 1.0, 0.0]
    # of any other part only what it is told counts
    assert moving_in(one, samples.servos["wheel"]).tolist() == [0.0] * 5
    told = samples_of(one, speeds, powered, [True] * 5)
    assert moving_in(one, told.servos["wheel"]).tolist() == [1.0, 1.0, 1.0, 1.0, 0.0]


def test_a_part_without_pulses_or_pressed_against_what_it_grips_turns_no_horn() -> None:
    """A gripping part goes no farther than its contact, whatever it is told."""
    jaw = servo("jaw", 2.0)
    claw = replace(jaw, name="claw", grip=Grip(20.0, 1, 1.0, 1.0, 0.1))
    for one, speeds in ((jaw, [10.0, 30.0, 0.0]), (claw, [10.0, 0.0, 0.0])):
        angle, speed = np.array([10.0, 30.0, 10.0]), np.array([10.0, 30.0, 30.0])
        powered = np.array([True, True, False])
        seen = ServoSamples(angle, speed, np.zeros(3), np.zeros(3), powered, powered)
        rig = Rig((), BOARDS, (one,))
        done = work(rig, Samples(np.arange(3.0), {one.name: seen}, {}, {}, {})).servos[one.name]
        assert done.speed_deg_s.tolist() == speeds
        assert done.share[2] == 0.0
