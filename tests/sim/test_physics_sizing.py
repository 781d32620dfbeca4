"""What to buy: what is named would do, and a little less would not."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.chips.atmega328p import CHIP
from seqlang.command import SHOW_HAS_ERRORS
from seqlang.command.size import command
from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cells,
    Cue,
    Fade,
    InTurn,
    Lamp,
    Law,
    LeverPair,
    Load,
    Move,
    PointMass,
    Rating,
    Regulator,
    Rig,
    Score,
    Servo,
    Show,
    Strip,
    StripLight,
    Supply,
    Usage,
    Wearer,
    Wire,
)
from sim.rig.servo import KGF_CM_NM
from sim.rig.supply import highest_v
from sim.strain.envelope import assess
from sim.strain.heat import CONTINUOUS
from sim.strain.sag import lowest_voltages
from sim.strain.servo_sizes import least_power
from sim.strain.sizing import size

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))


def show_of(rating: Rating, mass_kg: float = 0.14, **score: object) -> Show:
    jaw = Servo(
        "jaw",
        "b",
        1,
        POINTS,
        (0.0, 60.0),
        (rating,),
        load=Load((PointMass(mass_kg, 0.08),), level_deg=10.0, friction_nm=0.01),
        accel_deg_s2=2000.0,
    )
    lamp = Lamp("eye", "b", 2, forward_v=3.2, count=2)
    pack = Supply("pack", Cells("li-ion", 2, 3.0), Regulator(6.0, 5.0), 5.0)
    board = Board("b", CHIP.name, 1, "pack", Wire(0.6, 20), electrics=CHIP.electrics)
    cue = Cue("snap", "", InTurn((Move("jaw", 50.0, 700, Law("cycloidal")), Move("jaw", 3.0, 800))))
    rig = Rig((pack,), (board,), (jaw, lamp), wearer=Wearer(tilt_deg=20.0, margin=0.25))
    return Show(rig, Score("s", (cue,), **score))  # type: ignore[arg-type]


STRONG = Rating(6.0, 353.0, 0.92, 2.1)
WEAK = Rating(6.0, 150.0, 0.2, 0.6)


def fits(show: Show, stall_nm: float, speed_deg_s: float) -> bool:
    """Whether a servo of that line makes every move, at the lowest voltage, with the margin."""
    volts = lowest_voltages(show)["b"]
    jaw = show.rig.outputs[0]
    assert isinstance(jaw, Servo)
    bought = replace(jaw, ratings=(Rating(6.0, speed_deg_s, stall_nm, 2.1),))
    law = Law("cycloidal")
    one = assess(show.rig, bought, 0.0, 50.0, 700, law, volts).passes[0]
    other = assess(show.rig, bought, 50.0, 3.0, 800, Law(), volts).passes[0]
    return bool(one and other)


@pytest.mark.parametrize("rating", [STRONG, WEAK])
def test_the_named_servo_makes_the_show_whatever_is_there_now(rating: Rating) -> None:
    show = show_of(rating)
    (named,) = size(show).servos
    assert named.seconds_per_60deg is not None
    assert named.torque_kgf_cm is not None
    assert named.enough is (rating is STRONG)
    torque, speed = named.torque_kgf_cm * KGF_CM_NM, 60.0 / named.seconds_per_60deg
    assert torque >= named.stall_nm * (1.0 - 1e-9)
    assert speed >= named.speed_deg_s * (1.0 - 1e-9)
    assert fits(show, torque, speed)


def test_a_servo_slower_and_weaker_than_named_fails() -> None:
    show = show_of(STRONG, mass_kg=0.02)
    (named,) = size(show).servos
    assert named.set_by == "moves"
    assert fits(show, named.stall_nm * 1.001, named.speed_deg_s * 1.001)
    assert not fits(show, named.stall_nm * 0.9, named.speed_deg_s * 0.9)


def test_holding_a_heavy_part_is_set_by_heat() -> None:
    (named,) = size(show_of(STRONG, mass_kg=0.3)).servos
    assert named.set_by == "heat"
    assert named.stall_nm >= named.hold_kgf_cm * KGF_CM_NM / CONTINUOUS * (1.0 - 1e-9)
    assert named.hold_kgf_cm == pytest.approx(0.3 * 100.0 * 0.08, rel=0.05)


def test_no_servo_helps_a_drive_that_locks() -> None:
    show = show_of(STRONG)
    jaw = show.rig.outputs[0]
    assert isinstance(jaw, Servo)
    stuck = replace(jaw, drive=LeverPair(0.01, 0.03))
    (named,) = size(replace(show, rig=replace(show.rig, outputs=(stuck,)))).servos
    assert named.torque_kgf_cm is None
    assert not named.enough


points = st.lists(
    st.tuples(st.floats(0.0, 2.0), st.floats(1.0, 500.0)), min_size=1, max_size=8
).map(lambda rows: np.array(rows).T)


@settings(max_examples=60)
@given(points, points, st.floats(0.5, 1.0), st.floats(0.0, 3.0))
def test_no_line_of_less_power_holds_all_points(
    driving: np.ndarray, braking: np.ndarray, kept: float, floor: float
) -> None:
    stall, speed = least_power(driving, braking, kept, floor)

    def holds(torque: float, top: float) -> bool:
        if torque < floor * (1.0 - 1e-9) or torque <= 0.0:
            return False
        drives = driving[0] / torque + driving[1] / top <= kept + 1e-6
        brakes = np.maximum(braking[0] / torque, braking[1] / top) <= kept + 1e-6
        return bool(drives.all() and brakes.all())

    if stall > 1e-6:
        assert holds(stall, speed)
        for slower in np.geomspace(0.02, 50.0, 200):
            assert not holds(stall / slower * 0.985, speed * slower)


def test_capacity_is_for_the_wanted_run_time() -> None:
    usage = (Usage("snap", 120.0),)
    (wanted,) = size(show_of(STRONG, usage=usage, run_time_h=3.0)).supplies
    assert wanted.capacity_ah == pytest.approx(3.0 * wanted.source_mean_a / 0.8)
    assert wanted.run_time_h == pytest.approx(3.0 * 0.8 / wanted.source_mean_a)
    assert not any("run time" in caution for caution in wanted.cautions)
    (long,) = size(show_of(STRONG, usage=usage, run_time_h=300.0)).supplies
    assert any("run time takes" in caution for caution in long.cautions)


def test_peak_is_over_rms_over_mean() -> None:
    (supply,) = size(show_of(STRONG, usage=(Usage("snap", 600.0),))).supplies
    assert supply.peak_a > supply.rms_a > supply.mean_a > 0.0
    assert supply.regulator_a is not None
    assert supply.regulator_a >= supply.peak_a
    assert supply.feeds[0].lowest_v < 6.0


def test_a_servo_that_is_thrown_back_is_named_on_top_of_the_peak() -> None:
    """2 Is - I0 at the highest voltage; the usual I0 is 35 % of the stall current."""
    show = show_of(STRONG)
    (supply,) = size(show).supplies
    stall_a = STRONG.stall_a * highest_v(show.rig, "b") / STRONG.voltage_v
    thrown = 2.0 * stall_a - 0.35 * STRONG.stall_a
    assert supply.reversal_a == pytest.approx(supply.peak_a + thrown)


def test_a_wire_must_carry_the_fuse_before_it() -> None:
    (supply,) = size(show_of(STRONG)).supplies
    (feed,) = supply.feeds
    assert feed.gauge_awg == 22  # the thinnest that carries the 5 A fuse: 7 A in free air
    thin = show_of(STRONG)
    board = replace(thin.rig.boards[0], wire=Wire(0.6, 28))
    (supply,) = size(replace(thin, rig=replace(thin.rig, boards=(board,)))).supplies
    assert any("does not protect a wire" in caution for caution in supply.cautions)


def test_an_adapter_too_small_is_told() -> None:
    show = show_of(STRONG)
    small = Supply("pack", Adapter(6.0, 0.5))
    (supply,) = size(replace(show, rig=replace(show.rig, supplies=(small,)))).supplies
    assert supply.run_time_h is None
    assert any("the adapter gives 0.5 A" in caution for caution in supply.cautions)


def test_each_led_gets_its_resistor() -> None:
    (lamp,) = size(show_of(STRONG)).lamps
    assert lamp.resistor is not None
    assert lamp.resistor.exact_ohm == pytest.approx(140.0)
    assert lamp.resistor.preferred_ohm == 150.0
    assert lamp.total_a == pytest.approx(2 * 2.8 / 150.0)
    assert lamp.needs_driver


def test_a_strip_is_sized_for_white_and_for_the_show() -> None:
    """20 mA a colour and 60 mA white a pixel: common practice; 60 pixels are 3.6 A, recomputed."""
    show = show_of(STRONG)
    strip = Strip("belly", "b", 3, 60)
    cue = Cue("glow", "", Fade("belly", StripLight((255, 0, 0)), 500))
    rig = replace(show.rig, outputs=(*show.rig.outputs, strip))
    show = Show(rig, replace(show.score, cues=(*show.score.cues, cue)))
    (found,) = size(show).strips
    assert found.white_a == pytest.approx(3.6 + 0.06)
    assert found.show_a == pytest.approx(1.2 + 0.06)
    assert found.needs_converter
    fed = replace(show.rig.supplies[0], regulator=Regulator(5.0, 5.0))
    (found,) = size(replace(show, rig=replace(rig, supplies=(fed,)))).strips
    assert not found.needs_converter


SHOWS = sorted((Path(__file__).parents[2] / "shows").glob("*/*.cues"))


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.parent.name)
def test_the_command_sizes_every_demo_show(path: Path) -> None:

    run = CliRunner()
    told = run.invoke(command, [str(path)])
    assert told.exit_code == 0, told.output
    assert "servos: buy at least" in told.output
    assert "local codes" in told.output
    data = json.loads(run.invoke(command, [str(path), "--format", "json"]).output)
    rows = told.output.partition("servos: buy")[2].partition("\n\n")[0].split("\n")
    assert max(map(len, rows)) <= 80
    for servo in data["servos"]:
        (row,) = (row for row in rows if row.startswith(f"  {servo['servo']} "))
        assert row.endswith("  enough")
        assert servo["enough"], servo["servo"]
        rod = servo["straight"]
        needs = f"{servo['torque_kgf_cm']:.1f} kgf.cm" if rod is None else f"{rod['force_n']:.0f} N"
        assert needs in told.output
    for supply in data["supplies"]:
        assert supply["cautions"] == [], supply["supply"]


def test_a_show_that_cannot_be_read_is_not_sized(tmp_path: Path) -> None:

    path = tmp_path / "broken.cues"
    path.write_text("show 'half a quote\n", encoding="utf-8")
    told = CliRunner().invoke(command, [str(path)])
    assert told.exit_code == SHOW_HAS_ERRORS
    assert "Traceback" not in told.output


def test_a_part_that_hardly_moves_is_sized_without_a_speed() -> None:
    show = show_of(STRONG)
    creeping = Cue("creep", "", InTurn((Move("jaw", 1e-308, 700), Move("jaw", 0.0, 700))))
    still = replace(show, score=Score("s", (creeping,)))
    (servo,) = size(still).servos
    assert servo.seconds_per_60deg is None or servo.seconds_per_60deg > 0.0


@pytest.mark.parametrize("duration_ms", range(160, 300, 10))
def test_a_servo_is_enough_where_the_check_of_its_moves_passes(duration_ms: int) -> None:
    """Rated at 4.8 V and fed with 5 V it has its line at what arrives, for both."""
    law, rated = Law("cycloidal"), Rating(4.8, 600.0, 0.17, 0.65)
    show = show_of(rated, mass_kg=0.008)
    source = Adapter(5.0, 4.0)
    supplies = tuple(replace(s, source=source, regulator=None) for s in show.rig.supplies)
    moves = (Move("jaw", 50.0, duration_ms, law), Move("jaw", 0.0, duration_ms, law))
    score = replace(show.score, cues=(Cue("c", "", InTurn(moves)),))
    jaw, lamp = show.rig.outputs
    assert isinstance(jaw, Servo)
    jaw = replace(jaw, accel_deg_s2=50_000.0)
    show = Show(replace(show.rig, supplies=supplies, outputs=(jaw, lamp)), score)
    volts = lowest_voltages(show)["b"]
    up = assess(show.rig, jaw, 0.0, 50.0, duration_ms, law, volts).passes[0]
    down = assess(show.rig, jaw, 50.0, 0.0, duration_ms, law, volts).passes[0]
    (named,) = size(show).servos
    assert named.enough is bool(up and down)
