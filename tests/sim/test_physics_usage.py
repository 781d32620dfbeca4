"""Mixes of cues: shares of the hour, currents, run time, heat."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    Board,
    CalibrationPoint,
    Cells,
    Cue,
    Electrics,
    Hold,
    InTurn,
    Load,
    Move,
    PointMass,
    Rating,
    Repeat,
    Rig,
    Score,
    Servo,
    Show,
    Supply,
    Switch,
    Throw,
    Usage,
    Wearer,
)
from sim.rig import battery
from sim.rig.holding_torque import holding_nm
from sim.strain.heat import CONTINUOUS, heats
from sim.strain.usage import Book, currents, run_time

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))

FAN = Switch("fan", "b", 4, current_a=0.5)
BOARD_A = 0.03
PACK = Supply("pack", Cells("li-ion", 2, 2.0))


def on_for(seconds: int) -> InTurn:
    return InTurn((Throw("fan", True), Hold(1000 * seconds), Throw("fan", False)))


def fan_show(usage: tuple[Usage, ...] = (), **score: object) -> Show:
    cues = (Cue("blow", "", on_for(60)), Cue("puff", "", on_for(6)))
    rig = Rig((PACK,), (Board("b", "any", 1, "pack", electrics=Electrics(BOARD_A)),), (FAN,))
    return Show(rig, Score("s", cues, usage=usage, **score))  # type: ignore[arg-type]


def test_a_stated_mix_is_weighted_by_its_time() -> None:
    """30 runs of a minute in an hour: half the time 0.5 A more."""
    book = Book(fan_show((Usage("blow", 30.0),)))
    mix = book.mix()
    assert mix.stated
    assert not mix.crowded
    assert {s.cue: s.share for s in mix.shares} == pytest.approx({"blow": 0.5, None: 0.5})
    found = currents(book, PACK, mix)
    assert found.mean_a == pytest.approx(BOARD_A + 0.25, rel=2e-3)
    rms = np.sqrt(0.5 * (BOARD_A + 0.5) ** 2 + 0.5 * BOARD_A**2)
    assert found.rms_a == pytest.approx(rms, rel=2e-3)
    assert found.peak_a == pytest.approx(BOARD_A + 0.5, rel=1e-6)


def test_run_time_is_what_the_mean_current_leaves() -> None:
    book = Book(fan_show((Usage("blow", 30.0),)))
    found = run_time((book,), PACK)
    assert found is not None
    assert found.hours == pytest.approx(2.0 * battery.USABLE / (BOARD_A + 0.25), rel=2e-3)


def test_a_mix_beyond_the_hour_is_scaled_and_told() -> None:
    mix = Book(fan_show((Usage("blow", 90.0), Usage("puff", 300.0)))).mix()
    assert mix.crowded
    assert sum(share.share for share in mix.shares) == pytest.approx(1.0)
    shares = {share.cue: share.share for share in mix.shares}
    assert shares["blow"] == pytest.approx(0.75)


def test_without_a_stated_mix_all_cues_run_one_after_another() -> None:
    mix = Book(fan_show()).mix()
    assert not mix.stated
    assert {s.cue: s.share for s in mix.shares} == pytest.approx({"blow": 60 / 66, "puff": 6 / 66})


def test_without_a_stated_mix_what_never_ends_counts_alone_if_it_takes_more() -> None:
    """A minute of the fan out of 66 s beside 0.53 A without an end, or 0.03 A without an end."""
    whirl = Cue("whirl", "", InTurn((Throw("fan", True), Repeat(Hold(1000), None))))
    rest = Cue("rest", "", Hold(60_000))
    plain = fan_show()
    for more, idle, mean_a in (
        ((whirl,), (), 0.53),
        ((rest,), ("rest",), 0.53),
        ((), (), 0.53),
    ):
        cues = (Cue("blow", "", on_for(60)), *more)
        book = Book(replace(plain, score=Score("s", cues, idle=idle)))
        assert [one.cue for one in book.mix().shares] == ["blow"]
        assert currents(book, PACK, book.mix()).mean_a == pytest.approx(mean_a, rel=2e-3)
    half = Cue("half", "", InTurn((on_for(30), Hold(30_000))))
    book = Book(replace(plain, score=Score("s", (half, whirl))))
    assert currents(book, PACK, book.mix()).mean_a == pytest.approx(0.53, rel=2e-3)
    book = Book(replace(plain, score=Score("s", (half, rest), idle=("rest",))))
    assert currents(book, PACK, book.mix()).mean_a == pytest.approx(0.28, rel=2e-3)
    book = Book(replace(plain, score=Score("s", (whirl,))))
    assert currents(book, PACK, book.mix()).mean_a == pytest.approx(0.53, rel=2e-3)
    book = Book(replace(plain, score=Score("s")))
    assert currents(book, PACK, book.mix()).mean_a == pytest.approx(BOARD_A, rel=2e-3)


def test_the_busiest_ten_minutes_round_runs_up() -> None:
    book = Book(fan_show((Usage("blow", 7.0),)))
    shares = {s.cue: s.share for s in book.mix(600.0).shares}
    assert shares["blow"] == pytest.approx(2 * 60.0 / 600.0)


def test_idle_fills_the_rest() -> None:
    mix = Book(fan_show((Usage("puff", 60.0),), idle=("blow",))).mix()
    assert {s.cue: s.share for s in mix.shares} == pytest.approx({"puff": 0.1, "blow": 0.9})


def servo_show(mass_kg: float, usage: tuple[Usage, ...] = ()) -> Show:
    jaw = Servo(
        "jaw",
        "b",
        1,
        POINTS,
        (0.0, 60.0),
        (Rating(6.0, 353.0, 0.92, 2.1),),
        load=Load((PointMass(mass_kg, 0.08),), level_deg=10.0),
    )
    work = Repeat(InTurn((Move("jaw", 50.0, 500), Move("jaw", 5.0, 500))), 4)
    cues = (Cue("chew", "", work), Cue("gape", "", Move("jaw", 12.0, 900)))
    rig = Rig((), (Board("b", "atmega328p", 1),), (jaw,), wearer=Wearer(tilt_deg=10.0))
    return Show(rig, Score("s", cues, usage=usage))


def test_a_held_pose_is_set_against_a_third_of_the_stall_torque() -> None:
    (cool,) = heats(servo_show(0.1))
    (hot,) = heats(servo_show(0.5))
    assert cool.limit == CONTINUOUS == pytest.approx(1 / 3)
    assert cool.hold_share < cool.limit < hot.hold_share
    servo = servo_show(0.5).rig.outputs[0]
    assert isinstance(servo, Servo)
    held = float(holding_nm(servo, hot.hold_deg, Wearer(tilt_deg=10.0))) / 0.92
    assert hot.hold_share == pytest.approx(held)
    assert hot.hold_share == pytest.approx(0.5 * 9.80665 * 0.08 / 0.92, rel=0.02)


def test_without_a_mix_the_hottest_cue_runs_over_and_over() -> None:
    (found,) = heats(servo_show(0.1))
    assert found.cue is not None
    (mixed,) = heats(servo_show(0.1, (Usage("chew", 6.0),)))
    assert mixed.cue is None
    assert mixed.rms_share < found.rms_share
    assert mixed.duty == pytest.approx(4.0 / 600.0, rel=0.1)


def test_a_part_that_nobody_moves_is_heated_by_its_pose_alone() -> None:
    show = servo_show(0.2)
    still = replace(show, score=Score("s"))
    (found,) = heats(still)
    assert found.duty == 0.0
    assert found.rms_share == pytest.approx(found.hold_share, rel=1e-6)
