"""How hard servos and supplies are worked, against figures worked out by hand."""

from __future__ import annotations

from math import cos, radians

import pytest

from seqlang.check import check
from seqlang.load import load_text
from seqlang.summary import Summary
from seqlang.text.source import Source

RIG = """show "Summary"
supply desk
    source adapter 6.0 V, 3 A
    fuse 10 A
board body: atmega328p, address 1
    feed desk
servo jaw: body pin PB1
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 90 deg
    rating 0.15 s/60deg, 10 kgf.cm, 2 A at 6.0 V
    LOAD
safe pose shut
    jaw 0 deg
cue slow "Slow"
    jaw to 30 deg in 2 s
    jaw to 0 deg in 2 s
cue quick "Quick"
    jaw to 60 deg in 500 ms, cycloidal
    jaw to 0 deg in 2 s
remote
    button 1: go slow
    button 2: go quick
    stop button 3
"""


def summary(load: str = "friction 0 N.m", rig: str = RIG) -> Summary:
    found = check(load_text(Source("test.cues", rig.replace("LOAD", load)))).summary
    assert found is not None
    return found


def test_the_speed_share_is_the_laws_peak_over_the_rated_speed() -> None:
    (jaw,) = summary().servos
    # cycloidal: peak 2 h/T (cam handbooks); 0.15 s/60deg is 400 deg/s (reference: unit table)
    assert jaw.speed.share == pytest.approx(2.0 * 60.0 / 0.5 / 400.0, rel=1e-3)
    assert jaw.speed.cue == "quick"
    assert jaw.line.share == pytest.approx(jaw.speed.share, rel=1e-3)
    assert jaw.allowed == pytest.approx(0.8)


def test_the_torque_share_of_a_crawling_part_is_its_weight_over_the_stall_torque() -> None:
    slow = RIG.replace("2 s", "60 s").replace("500 ms, cycloidal", "60 s")
    (jaw,) = summary("load 250 g at 120 mm", slow).servos
    # m g r cos(theta) for 0.25 kg at 0.12 m, level: 0.2941995 N.m (recomputed); 10 kgf.cm is
    # 0.980665 N.m exactly (NIST SP 811, App. B.8)
    assert jaw.torque.share == pytest.approx(0.2941995 / 0.980665, rel=2e-3)


def test_a_part_that_starts_raised_weighs_less_on_its_servo() -> None:
    slow = RIG.replace("2 s", "60 s").replace("500 ms, cycloidal", "60 s")
    (jaw,) = summary("load 250 g at 120 mm\n    level at -30 deg", slow).servos
    expected = 0.2941995 * cos(radians(30)) / 0.980665
    assert jaw.torque.share == pytest.approx(expected, rel=2e-3)


def test_the_supply_names_the_limit_it_comes_nearest_to_and_the_cue() -> None:
    (desk,) = summary("load 250 g at 120 mm").supplies
    assert (desk.supply, desk.limit, desk.limit_a) == ("desk", "adapter", 3.0)
    assert desk.cues == ("quick",)
    assert 0.0 < desk.peak_a < 3.0
    assert desk.lowest_v == pytest.approx(6.0)  # no wire is stated
    weak = RIG.replace("fuse 10 A", "fuse 2 A")
    assert summary("load 250 g at 120 mm", weak).supplies[0].limit == "fuse"


def test_a_show_that_cannot_be_built_has_no_summary() -> None:
    assert check(load_text(Source("test.cues", ""))).summary is None
