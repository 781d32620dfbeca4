"""Parts that stand on other parts: the `on` line, its mistakes, and what checks make of it."""

from __future__ import annotations

import pytest
from rig_text import loaded, with_rig

from seqlang.check import Checked, check
from seqlang.loading import Loaded
from seqlang.text.findings import Finding
from sim.model import LightPlace, Mount, Servo, Strip, Wearer
from sim.rig.holding_torque import worst_hold

TIP = """\
servo tip: body pin PB4
    pulse 900 us at -90 deg, 2100 us at 90 deg
    travel -90 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 20 g at 60 mm
"""


def tip(*lines: str) -> Loaded:
    return with_rig(*TIP.splitlines(), *(f"    {line}" for line in lines))


def place(found: Loaded, finding: Finding) -> str:
    text = found.sources[finding.span.path].text
    return text[finding.span.start : finding.span.end]


def part(found: Loaded, name: str) -> Servo:
    assert found.show is not None
    made = next(one for one in found.show.rig.outputs if one.name == name)
    assert isinstance(made, Servo)
    return made


def test_an_on_line_says_where_the_hinge_stands_and_what_sits_there() -> None:
    found = tip("on jaw at 80 mm, ahead 5 deg, weighs 12 g, straight at -10 deg, sinks")
    assert found.findings == ()
    made = part(found, "tip")
    assert made.mount is not None
    assert made.load.lowers
    want = Mount("jaw", 0.08, 5.0, -10.0, 0.012, 0.0, made.mount.mark)
    assert made.mount == want


NECK = """\
servo neck: body pin PB3
    pulse 1000 us at -50 deg, 2000 us at 50 deg
    travel -40 deg to 40 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    axis upright
servo head: body pin PB4
    pulse 1000 us at -50 deg, 2000 us at 50 deg
    travel -40 deg to 40 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 200 g at 100 mm
"""


def nodding(turned: str) -> Loaded:
    return with_rig(*NECK.splitlines(), f"    on neck at 0 mm{turned}")


def test_a_head_nods_on_a_neck_that_turns() -> None:
    """By hand: 0.2 kg at 0.1 m level; the neck's hinge line stands upright and bears no weight."""
    found = nodding(", turned 90 deg")
    assert found.findings == ()
    head, neck = part(found, "head"), part(found, "neck")
    assert worst_hold(head, Wearer()).torque_nm == pytest.approx(0.2 * 0.1 * 9.80665, rel=1e-6)
    assert worst_hold(neck, Wearer()).torque_nm == pytest.approx(0.0, abs=1e-12)
    # a wearer who leans 30 deg to the side turns the neck: m g r sin 30 deg, a bound
    leaning = worst_hold(neck, Wearer(tilt_deg=30.0)).torque_nm
    assert leaning / (0.2 * 0.1 * 9.80665) == pytest.approx(0.5, rel=1e-6)
    flat = nodding("")
    assert worst_hold(part(flat, "head"), Wearer()).torque_nm == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("angle", "said"), [("360 deg", 0), ("361 deg", 1)])
def test_a_hinge_line_turns_once_round_at_most(angle: str, said: int) -> None:
    found = nodding(f", turned {angle}")
    assert len([one for one in found.findings if one.name == "number-out-of-range"]) == said


def test_turned_hinge_lines_and_parts_that_slide_do_not_go_together() -> None:
    slide = [
        "servo lift: body pin PB2",
        "    pulse 1000 us at 0 mm, 2000 us at 50 mm",
        "    travel 2 mm to 48 mm",
        "    rating 40 mm/s, 60 N, 800 mA at 6 V",
        "    load 100 g",
        "    on neck at 20 mm",
    ]
    head = f"{NECK}    on neck at 0 mm, turned 90 deg\n"
    found = with_rig(*head.splitlines(), *slide)
    (one,) = found.findings
    assert one.name == "wrong-kind"
    assert "`head` is turned, and `lift`" in one.message
    assert with_rig(*head.splitlines()).findings == ()


def test_parts_of_a_chain_know_one_another_and_the_others_do_not() -> None:
    found = tip("on jaw at 80 mm")
    for name, place in (("jaw", 0), ("tip", 1)):
        coupled = part(found, name).load.coupled
        assert coupled is not None
        assert coupled.joint == place
        assert [link.name for link in coupled.links] == ["jaw", "tip"]
    assert part(found, "fin").load.coupled is None


@pytest.mark.parametrize(
    ("line", "name", "message", "at"),
    [
        ("on jwa at 80 mm", "unknown-name", "there is no servo `jwa`", "jwa"),
        ("on lure at 80 mm", "wrong-kind", "`lure` is a lamp", "lure"),
        ("on tip at 80 mm", "mounted-in-circle", "`tip` on `tip`", "tip"),
        ("on jaw at -80 mm", "number-out-of-range", "a distance", "-80 mm"),
        ("on jaw at 80 mm, weighs 3 s", "unit-mismatch", "", "3 s"),
    ],
)
def test_a_carrier_that_cannot_be_is_named_where_it_stands(
    line: str, name: str, message: str, at: str
) -> None:
    found = tip(line)
    (finding,) = found.findings
    assert finding.name == name
    assert message in finding.message
    assert place(found, finding) == at


def test_a_circle_of_three_is_told_once_along_its_whole_way() -> None:
    text = "\n".join(
        f"servo {name}: body pin {pin}\n    on {on} at 50 mm\n"
        "    pulse 900 us at -90 deg, 2100 us at 90 deg\n    travel -90 deg to 60 deg\n"
        "    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V"
        for name, pin, on in (("a", "PB4", "b"), ("b", "PB5", "c"), ("c", "PB0", "a"))
    )
    found = with_rig(*text.splitlines())
    (finding,) = found.findings
    assert finding.message == "`a` would stand on itself: `a` on `b` on `c` on `a`"


@pytest.mark.parametrize("line", ["level at 10 deg", "axis upright"])
def test_how_a_mounted_part_lies_is_its_carrier_s_to_say(line: str) -> None:
    found = tip("on jaw at 80 mm", line)
    (finding,) = found.findings
    assert finding.name == "wrong-kind"
    assert "`tip` stands on `jaw`" in finding.message
    assert place(found, finding) == line


WING = """\
show "Wing"
supply pack
    source adapter 6 V, 20 A
board body: atmega328p, address 1
    feed pack, 100 mm of 16 AWG
servo root: body pin PB1
    pulse 900 us at -30 deg, 2100 us at 60 deg
    travel -20 deg to 60 deg
    rating 0.20 s/60deg, {root} kgf.cm, 1.8 A at 6 V
    load rod 60 g, 300 mm
servo tip: body pin PB2
    pulse 900 us at -90 deg, 2100 us at 0 deg
    travel -90 deg to 0 deg
    rating 0.12 s/60deg, 2.5 kgf.cm, 0.8 A at 6 V
    load rod 30 g, 250 mm
    {on}
cue flap
    root to 40 deg in 1.5 s
    together
        root to 0 deg in 1.5 s
        tip to -60 deg in 1.2 s
    tip to 0 deg as fast as it can
remote
    button 1: go flap
    stop button 2
"""


def wing(root: str, on: str) -> Checked:
    return check(loaded(WING.format(root=root, on=on)))


ON = "on root at 300 mm, weighs 20 g"


def test_a_root_that_would_lift_itself_alone_fails_with_the_tip_on_it() -> None:
    alone = wing("3.0", "level at 0 deg")
    assert not alone.failed
    with_tip = wing("3.0", ON)
    assert {finding.name for finding in with_tip.findings if finding.severity == "error"} == {
        "servo-torque"
    }
    assert not wing("9.7", ON).failed


def test_a_move_as_fast_as_it_can_passes_although_its_carrier_moves_too() -> None:
    found = wing("9.7", ON)
    assert found.summary is not None
    assert not [finding for finding in found.findings if finding.severity == "error"]
    tip_row = next(row for row in found.summary.servos if row.servo == "tip")
    assert 0.7 < tip_row.line.share <= 0.8 + 1e-6


def test_a_root_that_no_cue_moves_must_stand_against_its_tip() -> None:
    """At rest an upright hinge bears no weight; the tip's start and stop turn against it."""
    text = WING.replace("    root to 40 deg in 1.5 s\n", "").replace(
        "    load rod 60 g, 300 mm\n", "    axis upright\n"
    )
    errors = {
        root: [f for f in check(loaded(text.format(root=root, on=ON))).findings if f.name == NAME]
        for root in ("1.0", "9.7")
    }
    assert [f.message.split("`")[1] for f in errors["1.0"]] == ["root"]
    assert errors["9.7"] == []


def test_a_part_that_cannot_be_held_is_an_error_although_no_cue_moves_it() -> None:
    """300 g at 100 mm are 0.294 N.m; 3 kgf.cm are 0.294 N.m at a stall, less the margin."""
    arm = TIP.replace("9.4 kgf.cm", "3 kgf.cm").replace("20 g at 60 mm", "{} g at 100 mm")
    for grams, many in ((300, 1), (220, 0)):
        found = check(with_rig(*arm.format(grams).splitlines()))
        assert len([f for f in found.findings if f.name == NAME]) == many


NAME = "servo-torque"


def stacked(count: int) -> Loaded:
    """So many servos, each on the one before."""
    pins = ("PB0", "PB1", "PB2", "PB3", "PB4", "PB5", "PC0", "PC1")
    entries = [
        f"servo part_{n}: board_{n // 8} pin {pins[n % 8]}\n"
        + (f"    on part_{n - 1} at 20 mm\n" if n else "")
        + "    pulse 900 us at -90 deg, 2100 us at 90 deg\n    travel -90 deg to 60 deg\n"
        "    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V\n"
        for n in range(count)
    ]
    boards = [f"board board_{n}: atmega328p, address {n + 1}\n" for n in range(-(-count // 8))]
    return loaded("".join((*boards, *entries)))


def test_sixteen_parts_may_stand_on_one_another_and_no_more() -> None:
    assert stacked(16).findings == ()
    (finding,) = stacked(17).findings
    assert finding.name == "chain-too-long"
    assert "17 parts stand on `part_0`" in finding.message
    assert stacked(60).show is not None


STRIP = "strip line: body pin PC0\n    pixels 20, pitch 5 mm\n"


@pytest.mark.parametrize(
    ("line", "place"),
    [
        ("on jaw at 30 mm", LightPlace("jaw", 0.03)),
        ("on jaw", LightPlace("jaw")),
        (None, None),
    ],
)
def test_a_strip_says_on_which_part_it_sits(line: str | None, place: LightPlace | None) -> None:
    found = with_rig(*STRIP.splitlines(), *([f"    {line}"] if line else []))
    assert found.findings == ()
    assert found.show is not None
    strip = next(one for one in found.show.rig.outputs if one.name == "line")
    assert isinstance(strip, Strip)
    assert strip.rides == place


@pytest.mark.parametrize(
    ("on", "name"), [("jaws", "unknown-name"), ("line", "wrong-kind"), ("body", "unknown-name")]
)
def test_a_strip_cannot_sit_on_what_is_no_part(on: str, name: str) -> None:
    found = with_rig(*STRIP.splitlines(), f"    on {on} at 30 mm")
    (finding,) = found.findings
    assert finding.name == name
    assert place(found, finding) == on
    assert found.show is not None
    strip = next(one for one in found.show.rig.outputs if one.name == "line")
    assert isinstance(strip, Strip)
    assert strip.rides is None
