"""How hard servos and supplies are worked, against figures worked out by hand."""

from __future__ import annotations

from math import cos, radians

import pytest

from seqlang.summary import Summary
from tests.seqlang.show_text import checked, show


def summary(slow: bool = False, fuse: str = "10 A", **jaw: str) -> Summary:
    """Of a show with nothing to carry but what `jaw` says; `slow`: every move takes a minute."""
    text = show(
        supply=f"source adapter 6.0 V, 3 A\nfuse {fuse}",
        feed="",
        jaw={"travel": "0 deg to 90 deg", "load": None, **jaw},
        poses="safe pose shut\n    jaw 0 deg\n",
        cues={
            "slow": "jaw to 30 deg in 2 s\njaw to 0 deg in 2 s",
            "quick": "jaw to 60 deg in 500 ms, cycloidal\njaw to 0 deg in 2 s",
        },
        remote="button 1: go slow\nbutton 2: go quick\nstop button 3",
    ).replace("pack", "desk")
    if slow:
        text = text.replace("2 s", "60 s").replace("500 ms, cycloidal", "60 s")
    found = checked(text).summary
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
    (jaw,) = summary(slow=True, load="250 g at 120 mm").servos
    # m g r cos(theta) for 0.25 kg at 0.12 m, level: 0.2941995 N.m (recomputed); 10 kgf.cm is
    # 0.980665 N.m exactly (NIST SP 811, App. B.8)
    assert jaw.torque.share == pytest.approx(0.2941995 / 0.980665, rel=2e-3)


def test_a_part_that_starts_raised_weighs_less_on_its_servo() -> None:
    (jaw,) = summary(slow=True, load="250 g at 120 mm", level="at -30 deg").servos
    expected = 0.2941995 * cos(radians(30)) / 0.980665
    assert jaw.torque.share == pytest.approx(expected, rel=2e-3)


def test_the_supply_names_the_limit_it_comes_nearest_to_and_the_cue() -> None:
    (desk,) = summary(load="250 g at 120 mm").supplies
    assert (desk.supply, desk.limit, desk.limit_a) == ("desk", "adapter", 3.0)
    assert desk.cues == ("quick",)
    assert 0.0 < desk.peak_a < 3.0
    assert desk.lowest_v == pytest.approx(6.0)  # no wire is stated
    assert summary(fuse="2 A", load="250 g at 120 mm").supplies[0].limit == "fuse"


@pytest.mark.parametrize(("fuse_a", "limit"), [(4, "regulator"), (2, "fuse")])
def test_a_fuse_carries_what_the_source_gives_and_a_regulator_what_the_feed_takes(
    fuse_a: int, limit: str
) -> None:
    """Four cells of some 3.4 V give about half of the current that their 5 A regulator makes."""
    text = show(
        supply=f"source 4 li-ion cells, 3000 mAh\nregulator 6.0 V, 5 A\nfuse {fuse_a} A",
        jaw={"load": "60 g at 50 mm"},
    )
    found = checked(text).summary
    assert found is not None
    (pack,) = found.supplies
    assert (pack.limit, pack.limit_a) == (limit, {"regulator": 5.0, "fuse": fuse_a}[limit])


def test_a_show_that_cannot_be_built_has_no_summary() -> None:
    assert checked("").summary is None
