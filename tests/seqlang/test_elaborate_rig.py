"""What the lines of a rig come to, and what is said about wrong ones."""

from __future__ import annotations

import re
from dataclasses import replace
from math import radians

import pytest
from rig_text import RIG, good, loaded, marked_text, names, with_rig

from seqlang.loading import Loaded
from seqlang.text.findings import applied
from sim.model import (
    Adapter,
    Box,
    Cells,
    FourBar,
    Gear,
    LeverPair,
    OnBoard,
    Plate,
    PointMass,
    Ram,
    Regulator,
    Rod,
    Servo,
    Slide,
    Spring,
    StripLight,
    Wire,
)
from sim.rig.disturbance import SWAY_G
from sim.rig.fuse import STANDARDS
from sim.rig.regions import REGIONS
from sim.rig.servo import TIME_CONSTANT_S
from sim.rig.slide import PINION_M

SERVO = """\
servo x: body pin PB4
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
"""


def servo(*lines: str) -> Servo:
    found = good(with_rig(*SERVO.splitlines(), *(f"    {line}" for line in lines)))
    assert found.show is not None
    made = found.show.rig.outputs[-1]
    assert isinstance(made, Servo)
    return made


def finding_of(*lines: str) -> Loaded:
    return with_rig(*SERVO.splitlines(), *(f"    {line}" for line in lines))


def test_a_supply_of_cells_with_all_its_words() -> None:
    found = good(
        loaded(
            "supply pack\n"
            "    source 3 lifepo4 cells in 2 rows, 1.5 Ah, 45 mohm\n"
            "    regulator 6 V, 5 A, efficiency 92 %, dropout 300 mV\n"
            "    fuse 7.5 A\n"
        )
    )
    (made,) = found.show.rig.supplies
    assert made.source == Cells("lifepo4", 3, 1.5, 2, 0.045, made.source.mark)
    assert made.regulator == Regulator(6.0, 5.0, 0.3, 0.92, made.regulator.mark)
    assert made.fuse_a == 7.5
    assert marked_text(found, made.source.mark, "rows") == "2"
    assert marked_text(found, made.regulator.mark, "dropout") == "300 mV"
    assert marked_text(found, made.mark, "fuse") == "7.5 A"


def test_an_adapter_is_a_supply() -> None:
    (made,) = good(loaded("supply wall\n    source adapter 6 V, 3 A\n")).show.rig.supplies
    assert made.source == Adapter(6.0, 3.0, made.source.mark)
    assert made.regulator is None


def test_a_board_has_its_feed_and_wire() -> None:
    found = good(with_rig())
    (board,) = found.show.rig.boards
    assert (board.supply, board.wire.length_m, board.wire.gauge_awg) == ("pack", 0.6, 18)
    assert marked_text(found, board.wire.mark, "gauge") == "18 AWG"
    assert marked_text(found, board.mark, "address") == "1"
    assert marked_text(found, board.mark) == "board body: atmega328p, address 1"


def test_a_feed_says_how_its_wire_is_made_and_how_many_run_in_its_bundle() -> None:
    def wire(words: str) -> Wire:
        found = good(loaded(RIG.replace("600 mm of 18 AWG", f"600 mm of 18 AWG, {words}")))
        made = found.show.rig.boards[0].wire
        assert made is not None
        return replace(made, mark=-1)

    assert wire("solid") == Wire(0.6, 18, solid=True)
    assert wire("bundled 3, strands 16 of 30 AWG") == Wire(0.6, 18, (16, 30), bundled=3)
    for wrong, name in (
        ("solid, strands 16 of 30 AWG", "duplicate-line"),
        ("bundled 0", "number-out-of-range"),
        ("strands 0 of 30 AWG", "number-out-of-range"),
        ("strands 7 of 3 mm", "unit-mismatch"),
    ):
        text = RIG.replace("600 mm of 18 AWG", f"600 mm of 18 AWG, {wrong}")
        assert names(loaded(text)) == [name], wrong


@pytest.mark.parametrize("kind", STANDARDS)
def test_a_fuse_is_of_a_kind(kind: str) -> None:
    text = "supply pack\n    source adapter 6 V, 3 A\n    fuse 2.5 A"
    (plain,) = good(loaded(text)).show.rig.supplies
    assert plain.fuse_kind == "blade"
    found = good(loaded(f"{text}, {kind.replace(' ', '  ')}"))
    (made,) = found.show.rig.supplies
    assert (made.fuse_a, made.fuse_kind) == (2.5, kind)


def test_every_part_of_a_servo_has_its_place_in_the_text() -> None:
    found = good(
        with_rig(
            *SERVO.splitlines(),
            "    limits 800 us to 2200 us",
            "    acceleration 3000 deg/s2",
            "    tip at 13 cm",
            "    dead band 5 us",
            "    idling 8 mA",
            "    rotor 40 g.cm2",
            "safe pose s",
            "    x 4 deg",
        )
    )
    made = found.show.rig.outputs[-1]
    parts = {
        "name": "x",
        "pin": "PB4",
        "pulse 1": "900 us",
        "angle 2": "90 deg",
        "travel low": "0 deg",
        "travel high": "60 deg",
        "pulse high": "2200 us",
        "acceleration": "3000 deg/s2",
        "tip": "13 cm",
        "dead band": "5 us",
        "idling": "8 mA",
        "rotor": "40 g.cm2",
        "safe": "4 deg",
    }
    assert {part: marked_text(found, made.mark, part) for part in parts} == parts
    assert (made.tip_m, made.dead_band_us, made.idle_a) == (0.13, 5.0, 0.008)
    assert (made.safe_deg, made.pulse_range_us) == (4.0, (800.0, 2200.0))
    assert made.rotor_kg_m2 == 40e-7
    (rating,) = made.ratings
    assert marked_text(found, rating.mark, "torque") == "9.4 kgf.cm"
    assert (rating.speed_deg_s, rating.stall_nm) == (60 / 0.17, 0.9218251)


def test_a_rating_may_say_what_the_servo_draws_while_it_turns_freely() -> None:
    assert servo().ratings[0].no_load_a is None
    found = good(loaded(RIG.replace("2.1 A at 6 V", "2.1 A at 6 V, running 180 mA")))
    (rating,) = found.show.rig.outputs[0].ratings
    assert rating.no_load_a == 0.18
    assert marked_text(found, rating.mark, "running") == "180 mA"


def test_a_rating_s_current_is_that_of_a_servo() -> None:
    for words in ("1000 A at 6 V", "2 A at 6 V, running 1000 A"):
        good(loaded(RIG.replace("2.1 A at 6 V", words)))
    for words in ("1000000 A at 6 V", "1001 A at 6 V", "2 A at 6 V, running 1001 A"):
        found = loaded(RIG.replace("2.1 A at 6 V", words))
        assert set(names(found)) == {"number-out-of-range"}


def test_two_ratings_come_in_ascending_voltage_and_points_in_ascending_angle() -> None:
    made = servo("rating 0.2 s/60deg, 8 kgf.cm, 1.8 A at 4.8 V")
    assert [rating.voltage_v for rating in made.ratings] == [4.8, 6.0]
    found = good(
        loaded(RIG.replace("900 us at 0 deg, 2100 us at 90", "2100 us at 90 deg, 900 us at 0"))
    )
    assert [p.angle_deg for p in found.show.rig.outputs[0].points] == [0.0, 90.0]


def test_loads_of_every_shape() -> None:
    load = servo(
        "load 120 g at 80 mm, ahead 5 deg",
        "load rod 40 g, 12 cm, from 1 cm",
        "load plate 60 g, 150 mm by 80 mm, flat, ahead -3 deg",
        "load box 0.2 kg, 90 mm by 110 mm by 0.08 m",
        "level at 10 deg, sinks",
        "axis upright",
        "spring 3 N.mm/deg, neutral at 4 deg",
        "friction 20 mN.m",
    ).load
    point, rod, plate, box = load.bodies
    assert point == PointMass(0.12, 0.08, 5.0, point.mark)
    assert rod == Rod(0.04, 0.12, 0.01, 0.0, rod.mark)
    assert plate == Plate(0.06, 0.15, 0.08, 0.0, -3.0, True, plate.mark)
    assert box == Box(0.2, 0.09, 0.11, 0.08, 0.0, 0.0, box.mark)
    assert (load.level_deg, load.lowers, load.axis) == (10.0, True, "upright")
    (spring,) = load.springs
    # 0.003 N.m for each degree is 0.003 * 180 / pi for each radian.
    assert spring == Spring(0.17188733853924695, 4.0, spring.mark)
    assert load.friction_nm == 0.02


def test_drives_of_every_kind() -> None:
    assert servo().drive == Gear()
    gear = servo("gear -2.5").drive
    assert gear == Gear(-2.5, gear.mark)
    pair = servo("levers horn 20 mm, arm 3 cm, square at 30 deg").drive
    assert pair == LeverPair(0.02, 0.03, 30.0, pair.mark)
    bar = servo(
        "four-bar ground 40 mm, horn 15 mm, rod 42 mm, arm 20 mm, zero at 60 deg, crossed"
    ).drive
    assert bar == FourBar(0.04, 0.015, 0.042, 0.02, 60.0, True, bar.mark)


def test_lights_switches_and_inputs() -> None:
    found = good(
        with_rig(
            "lamp eye: body pin PD5",
            "    leds 2 of 2.1 V, 15 mA",
            "    colour tomato",
            "strip back: body pin PC0",
            "    pixels 12, each 12 mA, order rgb",
            "    cap 0.5 A",
            "switch pump: body pin PC1",
            "    active low",
            "    draws 300 mA",
            "input 3: body pin PC2, active high",
            "safe pose s",
            "    eye 20 %, back navy 10 %, pump on",
        )
    )
    eye, back, pump = found.show.rig.outputs[-3:]
    assert (eye.count, eye.forward_v, eye.current_a, eye.safe_pct) == (2, 2.1, 0.015, 20.0)
    assert eye.colour == (255, 99, 71)  # CSS Color Module Level 4: tomato
    assert (back.pixels, back.order, back.channel_a, back.cap_a) == (12, "rgb", 0.012, 0.5)
    assert back.safe == StripLight((0, 0, 128), 10.0)
    assert (pump.active_high, pump.safe_on, pump.current_a) == (False, True, 0.3)
    (button,) = found.show.rig.inputs
    assert (button.button, button.pin, button.active_low) == (3, 10, False)


def test_the_wearer_has_the_usual_values_where_nothing_is_said() -> None:
    assert good(with_rig()).show.rig.wearer.margin == 0.2
    wearer = good(with_rig("wearer", "    tilt 25 deg", "    near upper_arm")).show.rig.wearer
    assert (wearer.tilt_deg, wearer.region, wearer.temperature_c) == (25.0, "upper_arm", 25.0)


@pytest.mark.parametrize("region", ["handz", "arm", "tail", "Hand"])
def test_a_body_region_without_published_limits_is_an_error_that_lists_the_known(
    region: str,
) -> None:
    found = with_rig("wearer", f"    near {region}", "    tilt 25 deg")
    assert names(found) == ["unknown-name"]
    for known in REGIONS:
        assert f"`{known}`" in found.findings[0].help
    assert found.show is not None
    assert (found.show.rig.wearer.region, found.show.rig.wearer.tilt_deg) == (None, 25.0)


@pytest.mark.parametrize("region", ["upper_arm", "hand", "head", "back"])
def test_a_body_region_of_the_manual_is_known(region: str) -> None:
    assert good(with_rig("wearer", f"    near {region}")).show.rig.wearer.region == region


@pytest.mark.parametrize("gait", SWAY_G)
def test_the_wearer_says_how_they_move(gait: str) -> None:
    assert good(with_rig("wearer", f"    {gait}")).show.rig.wearer.gait == gait
    assert names(with_rig("wearer", f"    {gait}", "    stands")) == ["duplicate-line"]


def test_the_wind_is_a_speed_up_to_a_strong_gale() -> None:
    wearer = good(with_rig("wearer", "    wind 36 km/h")).show.rig.wearer
    assert (wearer.wind_m_s, wearer.gait) == (10.0, "stands")
    assert good(with_rig("wearer", "    wind 24.4 m/s")).show.rig.wearer.wind_m_s == 24.4
    assert names(with_rig("wearer", "    wind 24.5 m/s")) == ["number-out-of-range"]
    assert names(with_rig("wearer", "    wind 20 deg/s")) == ["unit-mismatch"]


def test_a_servo_s_own_inertia_is_stated_or_follows_from_a_time_constant() -> None:
    stall_nm, speed = 0.9218251, radians(60 / 0.17)
    assert servo("rotor 0 g.cm2").rotor_kg_m2 == 0.0
    assert servo("time constant 20 ms").rotor_kg_m2 == pytest.approx(0.02 * stall_nm / speed)
    assert servo().rotor_kg_m2 == pytest.approx(TIME_CONSTANT_S * stall_nm / speed)
    assert names(finding_of("time constant 20 ms", "rotor 3 g.cm2")) == ["duplicate-line"]
    assert names(finding_of("time constant 2 s")) == ["number-out-of-range"]


def test_a_drive_says_what_it_loses_and_how_much_play_it_has() -> None:
    assert servo("gear 2, efficiency 80 %").drive_efficiency == 0.8
    assert servo("levers horn 20 mm, arm 24 mm, efficiency 90 %").drive_efficiency == 0.9
    assert servo("gear 2").drive_efficiency == servo().drive_efficiency == 1.0
    assert servo("backlash 1.5 deg").backlash_deg == 1.5
    assert servo("gear 2, efficiency 1 %").drive_efficiency == 0.01
    assert servo("gear 2, efficiency 100 %").drive_efficiency == 1.0
    for out_of_range in ("0 %", "0.9 %", "101 %"):
        found = finding_of(f"gear 2, efficiency {out_of_range}")
        assert names(found) == ["number-out-of-range"]


ROD = "rating 40 mm/s, 60 N, 2 A at 6 V"


def line_of(*lines: str) -> Loaded:
    points = "pulse 1000 us at 0 mm, 2000 us at 50 mm"
    body = (points, "travel 2 mm to 48 mm", *lines)
    return with_rig("servo crest: body pin PB1", *(f"    {line}" for line in body))


def crest(*lines: str) -> Servo:
    found = line_of(*lines)
    assert found.findings == ()
    assert found.show is not None
    one = found.show.rig.outputs[-1]
    assert isinstance(one, Servo)
    return one


def test_a_part_along_a_line_has_its_lengths_and_forces() -> None:
    one = crest(ROD, "load 300 g", "load 100 g", "slope 30 deg", "friction 2 N")
    assert one.linear
    assert one.load.slide is not None
    assert one.load.slide.mass_kg == pytest.approx(0.4)
    assert one.load.slide.slope_deg == 30.0
    assert one.travel_deg == (2.0, 48.0)
    assert one.ratings[0].speed_deg_s == 40.0
    assert one.ratings[0].stall_nm == pytest.approx(60.0 * PINION_M)
    assert one.load.friction_nm == pytest.approx(2.0 * PINION_M)
    assert crest(ROD).load.slide == Slide(0.0, 90.0)
    grip = crest(ROD, "grips 8 N, past 40 mm, for 2 s").grip
    assert grip is not None
    assert (grip.force_n, grip.at_m, grip.contact_deg) == (8.0, PINION_M, 40.0)
    spring = crest(ROD, "spring 0.1 N/mm, neutral at 5 mm").load.springs[0]
    assert spring.rate_nm_per_rad == pytest.approx(100.0 * PINION_M**2)


@pytest.mark.parametrize(
    "wrong",
    [
        "level at 10 deg",
        "axis upright",
        "tip at 30 mm",
        "nip at 3 mm",
        "levers horn 20 mm, arm 24 mm",
        "ram ground 80 mm, arm 25 mm",
        "load rod 10 g, 30 mm",
        "load 10 g at 30 mm",
        "grips 8 N at 60 mm, past 40 mm, for 2 s",
    ],
)
def test_what_a_hinge_has_is_nothing_for_a_line(wrong: str) -> None:
    assert names(line_of(ROD, wrong)) == ["wrong-kind"]


def test_a_servo_that_turns_cannot_push_and_one_that_pushes_needs_pins() -> None:
    assert names(line_of("rating 0.16 s/60deg, 9 kgf.cm, 2 A at 6 V")) == ["wrong-kind"]
    turning = ("pulse 1000 us at 0 deg, 2000 us at 90 deg", "travel 0 deg to 60 deg")

    def lid(*lines: str) -> Loaded:
        return with_rig("servo lid: body pin PB1", *(f"    {x}" for x in (*turning, *lines)))

    assert names(lid(ROD)) == ["wrong-kind"]
    good_lid = lid(ROD, "ram ground 80 mm, arm 25 mm, zero at 60 deg")
    assert good_lid.findings == ()
    assert good_lid.show is not None
    assert good_lid.show.rig.outputs[-1].drive == without(Ram(0.08, 0.025, 60.0), good_lid)
    wrong = "rating 0.16 s/60deg, 9 kgf.cm, 2 A at 6 V"
    assert names(lid(wrong, "ram ground 80 mm, arm 25 mm")) == ["wrong-kind"]
    assert names(lid(wrong, "slope 30 deg")) == ["wrong-kind"]
    assert names(lid(wrong, "load 30 g")) == ["wrong-kind"]
    assert names(lid(wrong, "grips 8 N, past 40 deg, for 2 s")) == ["wrong-kind"]


def without(ram: Ram, found: Loaded) -> Ram:
    """The ram with the mark of the one that was read."""
    assert found.show is not None
    return replace(ram, mark=found.show.rig.outputs[-1].drive.mark)


def test_a_place_on_a_line_is_a_length_that_the_table_holds() -> None:
    found = line_of(ROD).show
    assert found is not None
    wide = with_rig(
        "servo crest: body pin PB1",
        "    pulse 1000 us at 0 mm, 2000 us at 400 mm",
        "    travel 0 mm to 300 mm",
        f"    {ROD}",
    )
    assert names(wide) == ["number-out-of-range"]
    assert "327 mm" in wide.findings[0].message


def test_a_grip_has_a_force_at_a_distance_or_all_the_servo_has() -> None:
    grip = servo("grips 8 N at 60 mm, past 20 deg, for 1.5 s").grip
    assert grip is not None
    assert (grip.force_n, grip.at_m, grip.contact_deg, grip.side) == (8.0, 0.06, 20.0, 1)
    assert grip.lasts_s == 1.5
    stall = servo("stalls below 10 deg, for 500 ms").grip
    assert stall is not None
    assert (stall.force_n, stall.contact_deg, stall.side, stall.lasts_s) == (None, 10.0, -1, 0.5)
    for wrong in (
        "grips 0 N at 60 mm, past 20 deg, for 1 s",
        "grips 8 N at 0 mm, past 20 deg, for 1 s",
        "grips 8 N at 60 mm, past 20 deg, for 0 s",
        "stalls past 300 deg, for 1 s",
    ):
        assert names(finding_of(wrong)) == ["number-out-of-range"], wrong
    assert names(finding_of("grips 8 mm at 60 mm, past 20 deg, for 1 s")) == ["unit-mismatch"]
    twice = finding_of("stalls past 20 deg, for 1 s", "stalls past 30 deg, for 1 s")
    assert names(twice) == ["duplicate-line"]


def test_a_nip_has_its_distance_and_maybe_its_edge() -> None:
    assert servo("nip at 12 mm").nip_m == 0.012
    assert servo("nip at 12 mm").nip_edge_m is None
    assert servo("nip at 12 mm, 20 mm by 3 mm").nip_edge_m == (0.02, 0.003)
    assert names(finding_of("nip at 0 mm")) == ["number-out-of-range"]
    assert names(finding_of("nip at 3 mm, 2 mm by 0 mm")) == ["number-out-of-range"]


def test_without_a_safe_pose_a_part_rests_as_near_its_zero_as_it_can() -> None:
    assert servo().safe_deg == 0.0
    found = good(loaded(RIG.replace("travel 0 deg to 60", "travel 5 deg to 60")))
    assert found.show.rig.outputs[0].safe_deg == 5.0


def test_constants_are_exact_amounts_with_arithmetic() -> None:
    found = good(
        with_rig(
            "given beat = 300 ms",
            "given long = (beat * 2 + 50 ms)",
            "given half = 50 %",
            "given sky = skyblue",
            "cue a",
            "    jaw to (90 deg / 4 - 2.5 deg) in (long * half)",
            "    hold (long - -1 ms)",
            "    belly fade to sky half in beat",
        )
    )
    move, hold, fade = found.show.score.cues[0].body.children
    assert (move.angle_deg, move.duration_ms) == (20.0, 325)
    assert hold.duration_ms == 651
    assert fade.light == StripLight((135, 206, 235), 50.0)


BROKEN = {
    "missing-line": ["strip y: body pin PB5", "    cap 1 A"],
    "duplicate-line": ["wearer", "    tilt 3 deg", "    tilt 4 deg"],
    "unknown-name": ["board tail: atmega3280, address 2"],
    "unknown-pin": ["switch y: body pin D7"],
    "unit-mismatch": ["wearer", "    tilt 3 V"],
    "missing-unit": ["wearer", "    tilt 3"],
    "number-out-of-range": ["wearer", "    margin 95 %"],
    "division-by-zero": ["given x = (3 deg / 0)"],
    "not-whole": ["input 1.5: body pin PC2"],
    "not-a-number": ["wearer", "    tilt nan"],
    "duplicate-name": ["lamp jaw: body pin PD5"],
    "reserved-word": ["lamp hold: body pin PD5"],
    "travel-order": [*SERVO.replace("0 deg to 60", "60 deg to 0").splitlines()],
    "used-before-given": ["given a = (b * 2)", "given b = 3 ms"],
    "wrong-kind": ["safe pose s", "    fan 3 deg"],
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_wrong_line_has_the_finding_that_is_named_for_it(name: str) -> None:
    assert names(with_rig(*BROKEN[name])) == [name]


@pytest.mark.parametrize("name", BROKEN)
def test_a_change_that_a_finding_proposes_makes_it_go_away(name: str) -> None:
    found = with_rig(*BROKEN[name])
    (finding,) = found.findings
    if finding.fix is None:
        assert finding.help or finding.name in (
            "division-by-zero",
            "not-a-number",
            "not-whole",
            "number-out-of-range",
        )
        return
    text = found.sources["test.cues"].text
    assert names(loaded(applied(text, finding.fix))) == []


def test_what_a_regulator_gives_the_chip_may_be_a_sum() -> None:
    text = re.sub(r"( +)(feed .*)\n", r"\1\2\n\1logic (2 V + 3 V)\n", RIG, count=1)
    board = good(loaded(text)).show.rig.boards[0]
    assert isinstance(board.logic, OnBoard)
    assert board.logic.voltage_v == pytest.approx(5.0)


def test_both_places_of_a_duplicate_are_shown() -> None:
    found = with_rig("lamp jaw: body pin PD5")
    (finding,) = found.findings
    (other, label), *_ = finding.related
    source = found.sources["test.cues"]
    assert source.line_text(source.line_number(other.start)) == "servo jaw: body pin PB1"
    assert (finding.label, label) == ("the second", "the first")


def test_an_error_in_one_line_hides_no_error_in_another() -> None:
    found = finding_of("tip at 3 V", "dead band 4 mm", "load 3 s at 4 A")
    assert names(found) == ["unit-mismatch"] * 3


def test_a_repeat_that_lost_what_took_its_time_is_left_out_as_well() -> None:
    lines = ("cue a", "    repeat for ever", "        lure steady", "        jaw to 3 deg in 1 s")
    text = RIG.replace("pin PB1", "pin QQ") + "\n".join(lines) + "\n"
    found = loaded(text)
    assert names(found) == ["unknown-pin"]
    assert found.show.score.cues[0].body.children == ()
    found = loaded(RIG + "\n".join(lines).replace("1 s", "1 V") + "\n")
    assert names(found) == ["unit-mismatch"]
    assert found.show.score.cues[0].body.children == ()


def test_what_hangs_on_a_broken_part_gives_no_further_findings() -> None:
    found = loaded(RIG.replace("atmega328p", "abacus") + "cue a\n    jaw to 3 deg in 1 s\n")
    assert names(found) == ["unknown-name"]
    assert found.show.rig.outputs == ()
    assert found.show.score.cues[0].body.children == ()


def test_what_hangs_on_a_board_with_a_wrong_address_is_still_read() -> None:
    found = loaded(RIG.replace("address 1", "address 999") + "cue a\n    jaw to 3 deg in 1 s\n")
    assert names(found) == ["number-out-of-range"]
    assert len(found.show.rig.outputs) == len(good(loaded(RIG)).show.rig.outputs)
    assert len(found.show.score.cues[0].body.children) == 1


@pytest.mark.parametrize(
    ("amount", "above", "below"),
    [
        ("20 deg", "wearer\n    tilt r", "cue b\n    jaw to r in 1 s"),
        ("20 deg", "cue a\n    jaw to r in 1 s", "cue b\n    jaw to r in 1 s"),
        (
            "#ff8800",
            "strip ring: body pin PB5\n    pixels 9\ncue a\n    ring fade to r in 1 s",
            "cue b\n    ring fade to r in 1 s",
        ),
    ],
)
def test_a_constant_used_above_its_line_is_named_once_at_its_first_use(
    amount: str, above: str, below: str
) -> None:
    found = with_rig(*above.splitlines(), f"given r = {amount}", *below.splitlines())
    assert names(found) == ["used-before-given"]
    (finding,) = found.findings
    assert found.sources["test.cues"].text.index(" r") < finding.span.start
    assert finding.span.start < found.sources["test.cues"].text.index("given r")
    assert names(with_rig(f"given r = {amount}", *above.splitlines(), *below.splitlines())) == []
