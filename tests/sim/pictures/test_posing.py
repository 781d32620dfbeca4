"""Where parts are in space: the x axis is forward, z is up, and angles are worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import Board, Load, Mount, Rig, Score, Show, Slide
from sim.pictures.creature import DrawnPart, Outline, creature
from sim.pictures.posing import View, limbs, looked_at, posed, reach_m
from tests.sim.jaw import JAW

ARM = DrawnPart(
    name="arm",
    carrier=None,
    sense=1,
    straight_deg=10.0,
    at_m=0.0,
    ahead_deg=0.0,
    turned_deg=0.0,
    upright=False,
    way_deg=None,
    spins=False,
    travel=(0.0, 90.0),
    tip_m=0.2,
    bodies=[],
    held=None,
)
HAND = replace(ARM, name="hand", carrier="arm", straight_deg=0.0, at_m=0.2, tip_m=0.1)


def tips(*parts: DrawnPart, **places: float) -> dict[str, list[float]]:
    found = posed(parts, places.__getitem__)
    return {one.part.name: one.tip.round(9).tolist() for one in found}


@pytest.mark.parametrize(
    ("part", "at", "tip"),
    [
        (ARM, 10.0, [0.2, 0.0, 0.0]),
        (ARM, 100.0, [0.0, 0.0, 0.2]),
        (replace(ARM, sense=-1), 100.0, [0.0, 0.0, -0.2]),
        (replace(ARM, upright=True), 100.0, [0.0, 0.2, 0.0]),
        # one that spins shows how far it has turned, whatever its speed
        (replace(ARM, spins=True), 90.0, [0.0, 0.0, 0.2]),
        # one that slides, straight up, with its place in mm
        (replace(ARM, way_deg=90.0), 30.0, [0.0, 0.0, 0.03]),
    ],
)
def test_a_part_points_forward_where_it_is_straight_and_rises_with_its_angle(
    part: DrawnPart, at: float, tip: list[float]
) -> None:
    assert tips(part, arm=at)["arm"] == pytest.approx(tip)


def test_a_part_goes_with_the_one_that_carries_it() -> None:
    found = tips(ARM, HAND, arm=100.0, hand=-90.0)
    assert found["hand"] == pytest.approx([0.1, 0.0, 0.2])
    ahead = tips(ARM, replace(HAND, ahead_deg=30.0), arm=10.0, hand=90.0)
    assert ahead["hand"] == pytest.approx([0.2 * np.cos(np.pi / 6), 0.0, 0.1 + 0.1])


def test_a_part_whose_hinge_line_is_turned_folds_across() -> None:
    """Turned by 90 deg about the arm's zero line, it folds to the side as it folded up."""
    found = tips(ARM, replace(HAND, turned_deg=90.0), arm=10.0, hand=90.0)
    assert found["hand"] == pytest.approx([0.2, -0.1, 0.0])


def test_a_part_of_no_stated_size_is_drawn_40_mm_long() -> None:
    assert reach_m(replace(ARM, tip_m=0.0)) == 0.04
    assert reach_m(replace(ARM, tip_m=0.001)) == 0.001


@pytest.mark.parametrize(
    ("start_m", "length_m", "across_m", "reach"),
    [(0.02, 0.1, 0.0, 0.12), (-0.15, 0.1, 0.0, 0.15), (0.0, 0.04, 0.06, 0.05)],
)
def test_a_part_reaches_as_far_as_its_farthest_corner(
    start_m: float, length_m: float, across_m: float, reach: float
) -> None:
    body = Outline("box", start_m, length_m, across_m, 0.0, 0.0)
    assert reach_m(replace(ARM, tip_m=0.0, bodies=[body])) == pytest.approx(reach)


@pytest.mark.parametrize(
    ("turned_deg", "upright", "views"),
    [
        (0.0, False, ("side",)),
        (0.0, True, ("above",)),
        # sin 0.57 deg is a hundredth
        (0.55, False, ("side",)),
        (0.65, False, ("side", "front", "above")),
        (-90.0, True, ("above", "side", "front")),
    ],
)
def test_a_limb_is_shown_along_its_hinge_lines_and_across_where_one_is_turned(
    turned_deg: float, upright: bool, views: tuple[View, ...]
) -> None:
    parts = [replace(ARM, upright=upright), replace(HAND, turned_deg=turned_deg)]
    (limb,) = limbs(parts)
    assert limb.views == views
    assert [part.name for part in limb.parts] == ["arm", "hand"]


def test_one_part_of_many_that_is_turned_is_reason_enough_for_three_views() -> None:
    turned = replace(HAND, name="thumb", turned_deg=90.0)
    for parts in ([ARM, HAND, turned], [ARM, turned, HAND]):
        assert limbs(parts)[0].views == ("side", "front", "above")
    assert limbs([ARM])[0].views == ("side",)


def test_limbs_are_what_hangs_together() -> None:
    tail = replace(ARM, name="tail")
    found = limbs([ARM, tail, HAND])
    assert [[part.name for part in limb.parts] for limb in found] == [["arm", "hand"], ["tail"]]


def test_each_view_looks_along_one_axis() -> None:
    place = np.array([1.0, 2.0, 3.0])
    views: tuple[View, ...] = ("side", "above", "front")
    assert [looked_at(view, place).tolist() for view in views] == [[1, 3], [1, 2], [2, 3]]


@pytest.mark.parametrize(("lowers", "sense"), [(False, 1), (True, -1)])
def test_a_part_has_the_sense_in_which_it_rises_and_one_that_slides_that_of_its_carrier(
    lowers: bool, sense: int
) -> None:
    slide = Load(slide=Slide(0.02, 90.0))
    rail = replace(JAW, name="rail", load=slide)
    jaw = replace(JAW, load=replace(JAW.load, lowers=lowers))
    tooth = replace(JAW, name="tooth", load=slide, mount=Mount("jaw", 0.05))
    rig = Rig(boards=(Board("b", "atmega328p", 1),), outputs=(rail, tooth, jaw))
    found = {part.name: part.sense for part in creature(Show(rig, Score("")))}
    assert found == {"rail": 1, "jaw": sense, "tooth": sense}
