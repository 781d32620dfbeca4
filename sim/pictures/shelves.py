"""Where each limb is drawn: all views in one scale, as large as the room allows.

The preview page does the same in its window (`layout.js`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.pictures.creature import DrawnPart
from sim.pictures.posing import Limb, Posed, View, corners, looked_at, posed, reach_m, turned

POSES: Final = 48
"""Poses in which it is looked how far a limb reaches."""
GAP: Final = 12
LABEL: Final = 22
"""Room under each view for its name, px."""
NARROWEST: Final = 84
LARGEST: Final = 4000.0
"""Most px for a metre."""
LEAST_M: Final = 0.02
_GOLDEN: Final = 0.618034


@dataclass(frozen=True, slots=True)
class Room:
    """A view of a limb in a picture: its box, px, and where the root's hinge lies in it."""

    limb: Limb
    view: View
    left: float
    top: float
    wide: float
    shelf: float
    hinge: tuple[float, float]
    scale: float

    def put(self, places: Array) -> Array:
        """From places in space to the picture, px."""
        flat = looked_at(self.view, places)
        return np.asarray(np.array(self.hinge) + self.scale * flat * np.array([1.0, -1.0]))


@dataclass(frozen=True, slots=True)
class _Extent:
    limb: Limb
    view: View
    least: tuple[float, float]
    most: tuple[float, float]

    def size(self, scale: float) -> tuple[float, float]:
        wide = scale * (self.most[0] - self.least[0])
        return max(wide, NARROWEST), scale * (self.most[1] - self.least[1])


def rooms(
    limbs: Sequence[Limb], lights_m: Mapping[str, Sequence[float]], width: float, height: float
) -> tuple[list[Room], float]:
    """The room of each view, and how high all are together, px.

    `lights_m`: how far out on a part its lights begin and end.
    """
    views = [_extent(limb, view, lights_m) for limb in limbs for view in limb.views]
    small, large = 1.0, LARGEST
    for _ in range(24):
        middle = (small + large) / 2.0
        if _shelved(views, middle, width)[1] <= height:
            small = middle
        else:
            large = middle
    return _shelved(views, small, width)


def _shelved(views: Sequence[_Extent], scale: float, width: float) -> tuple[list[Room], float]:
    """The views on shelves from the left, each shelf in the middle."""
    shelves: list[list[_Extent]] = []
    used = inf
    for one in views:
        wide = one.size(scale)[0]
        if wide > width:
            return [], inf
        if used + wide > width:
            shelves.append([])
            used = 0.0
        shelves[-1].append(one)
        used += wide + GAP
    found: list[Room] = []
    top = 0.0
    for row in shelves:
        sizes = [one.size(scale) for one in row]
        shelf = max(high for _, high in sizes)
        left = (width - sum(wide + GAP for wide, _ in sizes) + GAP) / 2.0
        for one, (wide, high) in zip(row, sizes, strict=True):
            middle = scale * (one.least[0] + one.most[0]) / 2.0
            hinge = left + wide / 2.0 - middle, top + scale * one.most[1] + (shelf - high) / 2.0
            found.append(Room(one.limb, one.view, left, top, wide, shelf, hinge, scale))
            left += wide + GAP
        top += shelf + LABEL + GAP
    return found, top


def _extent(limb: Limb, view: View, lights_m: Mapping[str, Sequence[float]]) -> _Extent:
    """How far a limb with its lights reaches in a view over its whole travel."""
    places = [np.array([[-LEAST_M, 0.0], [LEAST_M, 0.0], [0.0, -LEAST_M], [0.0, LEAST_M]])]
    for n in range(POSES):
        at = {part.name: _chosen(part, n, index) for index, part in enumerate(limb.parts)}
        for one in posed(limb.parts, at.__getitem__):
            far = [[out, 0.0, 0.0] for out in lights_m.get(one.part.name, ())]
            rows = [one.frame.at, one.base.at, one.tip, *one.frame.of(np.array(far).reshape(-1, 3))]
            for body in one.part.bodies:
                rows += [*one.frame.of(corners(one.part, body))]
            if one.part.spins:
                rows += [*ring(one, 8)]
            places.append(looked_at(view, np.array(rows)))
    all_of_them = np.concatenate(places)
    (left, down), (right, up) = all_of_them.min(axis=0), all_of_them.max(axis=0)
    return _Extent(limb, view, (float(left), float(down)), (float(right), float(up)))


def _chosen(part: DrawnPart, n: int, index: int) -> float:
    """The first poses are the ends of all travels; the others lie anywhere (low discrepancy)."""
    if part.spins:
        return 0.0
    low, high = part.travel
    share = float(n) if n < 2 else (n * _GOLDEN * (index + 1) + 0.1 * index) % 1.0
    return low + share * (high - low)


def ring(one: Posed, corners_of_it: int) -> Array:
    """Places on the circle of a part that turns round and round."""
    reach = np.array([reach_m(one.part), 0.0, 0.0])
    angles = np.linspace(0.0, 360.0, corners_of_it + 1)
    return np.array([turned(one.base, float(deg)).of(reach) for deg in angles])
