"""The shows that come with the tool pass with room to spare, in figures, not by a hair.

The floors below are this project's own; what they are floors of is checked elsewhere against
outside sources.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.loading import load
from sim.rig.supply import at_chip_v, highest_v
from sim.strain.heat import heats
from sim.strain.sag import sags, start_sags

SHOWS = sorted((Path(__file__).parents[2] / "shows").glob("*/*.cues"))


@pytest.fixture(params=SHOWS, ids=lambda path: path.stem)
def path(request: pytest.FixtureRequest) -> Path:
    return request.param


def test_there_are_seven_of_them() -> None:
    assert {path.stem for path in SHOWS} == {
        "first",
        "anglerfish",
        "owl",
        "crab",
        "wings",
        "hand",
        "head",
    }


def test_every_servo_keeps_a_fifth_or_more_of_its_line(path: Path) -> None:
    loaded = load(path)
    assert loaded.show is not None
    assert loaded.show.rig.wearer.margin >= 0.2
    checked = check(loaded)
    assert [f for f in checked.findings if f.severity != "advice"] == []
    assert checked.summary is not None
    assert checked.summary.servos
    for work in checked.summary.servos:
        assert work.allowed <= 0.8
        assert work.line.share <= work.allowed + 1e-3
        assert work.torque.share <= 0.5


def test_every_supply_gives_at_most_half_of_what_it_can(path: Path) -> None:
    summary = check(load(path)).summary
    assert summary is not None
    assert summary.supplies
    for work in summary.supplies:
        assert work.limit_a is not None
        assert work.peak_a <= 0.5 * work.limit_a


def test_no_board_comes_near_its_chip_s_limits(path: Path) -> None:
    show = load(path).show
    assert show is not None
    boards = {board.name: board for board in show.rig.boards}
    for sag in sags(show):
        assert not sag.collapsed
        least_v = boards[sag.board].electrics.clock_v
        assert at_chip_v(show.rig, boards[sag.board], sag.voltage_v) >= least_v + 0.3
        assert sag.voltage_v >= 0.95 * highest_v(show.rig, sag.board)
    for sag in start_sags(show):
        assert not sag.collapsed
        resets_v = boards[sag.board].electrics.brown_out_v
        assert at_chip_v(show.rig, boards[sag.board], sag.voltage_v) >= resets_v + 1.0


def test_no_servo_comes_near_what_it_stands_for_long(path: Path) -> None:
    show = load(path).show
    assert show is not None
    for heat in heats(show):
        assert max(heat.hold_share, heat.rms_share) <= 0.75 * heat.limit
