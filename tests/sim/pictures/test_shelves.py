"""Where views of limbs stand in a picture, worked out by hand.

A bare part of no stated size is drawn 40 mm long; 20 mm are left round each hinge. Turning from 0
to 90 deg it reaches from -20 to 40 mm both ways: 60 mm by 60 mm.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.pictures.creature import DrawnPart, Outline
from sim.pictures.posing import Limb, hull, limbs
from sim.pictures.shelves import GAP, LABEL, Room, rooms
from tests.sim.pictures.test_posing import ARM

BARE = replace(ARM, straight_deg=0.0, tip_m=0.0)
BELOW = LABEL + GAP
"""Under each shelf."""


def placed(
    *parts: DrawnPart, width: float, high: float, lights: dict[str, list[float]] | None = None
) -> tuple[list[Room], float]:
    return rooms(limbs(parts), lights or {}, width, high)


def test_a_limb_is_as_large_as_the_height_lets_it_and_stands_in_the_middle() -> None:
    ((room,), high) = placed(BARE, width=300.0, high=120.0 + BELOW)
    assert room.scale == pytest.approx(2000.0, abs=0.01)
    assert high == pytest.approx(154.0, abs=0.01)
    assert (room.left, room.top, room.wide, room.shelf) == pytest.approx(
        (90, 0, 120, 120), abs=0.01
    )
    # 20 mm are left of the hinge, and 40 over it
    assert room.hinge == pytest.approx((130.0, 80.0), abs=0.01)
    put = room.put(np.array([[0.0, 5.0, 0.0], [0.04, 0.0, 0.0], [0.0, 0.0, 0.04]]))
    assert put == pytest.approx(np.array([[130.0, 80.0], [210.0, 80.0], [130.0, 0.0]]), abs=0.01)


def test_a_limb_is_no_wider_than_the_picture() -> None:
    ((room,), high) = placed(BARE, width=90.0, high=1000.0)
    assert room.scale == pytest.approx(1500.0, abs=0.01)
    assert (room.left, high) == pytest.approx((0.0, 90.0 + BELOW), abs=0.01)


def test_a_metre_takes_4000_px_at_most() -> None:
    ((room,), _) = placed(BARE, width=5000.0, high=5000.0)
    assert room.scale == pytest.approx(4000.0, abs=0.01)


def test_a_small_view_has_room_for_its_name_and_its_limb_in_the_middle() -> None:
    """30 px wide, in 84: the hinge lies 10 px from the limb's left end."""
    ((room,), _) = placed(BARE, width=100.0, high=30.0 + BELOW)
    assert room.scale == pytest.approx(500.0, abs=0.01)
    assert (room.left, room.wide) == pytest.approx((8.0, 84.0), abs=0.01)
    assert room.hinge == pytest.approx((8 + 27 + 10, 20.0), abs=0.01)


def test_limbs_stand_side_by_side_as_long_as_there_is_room_and_then_below() -> None:
    others = [replace(BARE, name=name) for name in "bcd"]
    found, high = placed(BARE, *others, width=252.0, high=2 * (120.0 + BELOW))
    assert [room.limb.parts[0].name for room in found] == ["arm", "b", "c", "d"]
    # 2 * 120 + 12 are just 252
    assert [(round(room.left, 1), round(room.top, 1)) for room in found] == [
        (0.0, 0.0),
        (132.0, 0.0),
        (0.0, 154.0),
        (132.0, 154.0),
    ]
    assert high == pytest.approx(308.0, abs=0.1)


def test_one_that_is_left_over_stands_in_the_middle_of_its_shelf() -> None:
    found, _ = placed(
        BARE, replace(BARE, name="b"), replace(BARE, name="c"), width=252.0, high=308.0
    )
    assert found[2].left == pytest.approx((252 - 120) / 2, abs=0.1)


def test_of_two_on_a_shelf_the_lower_one_stands_in_the_middle_of_its_height() -> None:
    """The second reaches 90 mm far and 10 mm up: its travel is from 0 to 0."""
    flat = replace(BARE, name="flat", travel=(0.0, 0.0), tip_m=0.1)
    (high, low), _ = placed(BARE, flat, width=1000.0, high=120.0 + BELOW)
    assert (high.shelf, low.shelf) == pytest.approx((120.0, 120.0), abs=0.01)
    assert low.wide == pytest.approx(240.0, abs=0.01)
    # 40 px up and 40 down of its hinge, which so stands 60 px down
    assert low.hinge == pytest.approx((low.left + 40.0, 60.0), abs=0.01)
    assert low.left == pytest.approx(high.left + 132.0, abs=0.01)


def extent_m(*parts: DrawnPart, lights: dict[str, list[float]] | None = None) -> tuple[float, ...]:
    """Left, right, up and down of the hinge, m."""
    ((room,), high) = placed(*parts, width=2000.0, high=600.0, lights=lights)
    scale = room.scale
    left = (room.hinge[0] - room.left) / scale
    up = room.hinge[1] / scale
    return left, room.wide / scale - left, up, (high - BELOW) / scale - up


def test_room_is_made_for_bodies_lights_and_what_turns_round() -> None:
    still = replace(BARE, travel=(0.0, 0.0))
    assert extent_m(replace(still, tip_m=0.1)) == pytest.approx((0.02, 0.1, 0.02, 0.02), abs=1e-4)
    assert extent_m(still, lights={"arm": [0.05, 0.15]}) == pytest.approx(
        (0.02, 0.15, 0.02, 0.02), abs=1e-4
    )
    body = Outline("plate", -0.03, 0.1, 0.12, 0.02, 0.0)
    # its farthest corner lies 70 mm out and 60 mm across: that is how far the part itself reaches
    assert extent_m(replace(still, bodies=[body])) == pytest.approx(
        (0.03, np.hypot(0.07, 0.06), 0.06, 0.06), abs=1e-4
    )
    assert extent_m(replace(still, spins=True, tip_m=0.1)) == pytest.approx(
        (0.1, 0.1, 0.1, 0.1), abs=1e-4
    )
    assert extent_m(replace(still, way_deg=90.0, travel=(-30.0, 50.0))) == pytest.approx(
        (0.02, 0.02, 0.05, 0.03), abs=1e-4
    )


def test_a_limb_of_several_views_has_a_room_for_each() -> None:
    limb = Limb((BARE,), ("side", "front", "above"))
    found, _ = rooms([limb], {}, 1000.0, 200.0)
    assert [room.view for room in found] == ["side", "front", "above"]
    assert len({room.scale for room in found}) == 1


def test_the_hull_of_a_square_with_points_on_and_in_it_is_its_corners() -> None:
    square = [(0, 0), (2, 0), (2, 2), (0, 2)]
    more = [(1, 0), (1, 1), (2, 1), (0, 0)]
    assert sorted(hull(np.array(square + more))) == sorted(square)
    assert hull(np.array([(1, 2), (1, 2)])) == [(1.0, 2.0)]
    assert sorted(hull(np.array([(0, 0), (3, 1)]))) == [(0.0, 0.0), (3.0, 1.0)]
