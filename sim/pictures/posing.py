"""Where the parts of a creature are in space, and how they look from a side.

Places are rows of three numbers, in metres: x is forward and z up while the wearer stands upright.
A part stands in the frame of what carries it. The preview page has the same in JavaScript
(`creature.js`); a test holds both against each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from typing import Final, Literal, TypeAlias

import numpy as np

from sim.arrays import Array
from sim.pictures.creature import DrawnPart, Outline

BARE_M: Final = 0.04
"""How long a part is drawn of which no size is stated."""
SKEW: Final = 0.01
"""Sine of the least angle between hinge lines that a second view is drawn for."""

View: TypeAlias = Literal["side", "above", "front"]
VIEWS: Final[dict[View, str]] = {
    "side": "from the side",
    "above": "from above",
    "front": "from the front",
}


@dataclass(frozen=True, slots=True)
class JointFrame:
    """A frame: where it stands, and its axes as the columns of `axes`."""

    at: Array
    axes: Array

    def of(self, inside: Array) -> Array:
        """A place, or rows of places, given in this frame."""
        return np.asarray(self.at + inside @ self.axes.T)


LEVEL: Final = JointFrame(np.zeros(3), np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]]))
UPRIGHT: Final = JointFrame(np.zeros(3), np.eye(3))


@dataclass(frozen=True, slots=True)
class Posed:
    """A part, its frame at zero (`base`), and its frame where it is."""

    part: DrawnPart
    base: JointFrame
    frame: JointFrame

    @property
    def tip(self) -> Array:
        along = 0.0 if self.part.way_deg is not None else reach_m(self.part)
        return self.frame.of(np.array([along, 0.0, 0.0]))


@dataclass(frozen=True, slots=True)
class Limb:
    """Parts that hang together, each behind what carries it, and the views that show them."""

    parts: tuple[DrawnPart, ...]
    views: tuple[View, ...]


def limbs(parts: Sequence[DrawnPart]) -> list[Limb]:
    """Groups of parts that hang together, in the order of their roots."""
    members: dict[str, list[DrawnPart]] = {}
    root: dict[str, str] = {}
    for part in parts:
        root[part.name] = part.name if part.carrier is None else root[part.carrier]
        members.setdefault(root[part.name], []).append(part)
    return [Limb(tuple(row), _views(row)) for row in members.values()]


def _views(parts: Sequence[DrawnPart]) -> tuple[View, ...]:
    """The view along the root's hinge line; where others are turned, both across it as well."""
    main: View = "above" if parts[0].upright else "side"
    turned = (abs(sin(radians(part.turned_deg))) for part in parts[1:])
    if max(turned, default=0.0) <= SKEW:
        return (main,)
    return ("above", "side", "front") if parts[0].upright else ("side", "front", "above")


def posed(parts: Sequence[DrawnPart], place_of: Callable[[str], float]) -> list[Posed]:
    """Every part of a limb where `place_of` (deg, mm along its way, degrees turned) puts it."""
    found: dict[str, Posed] = {}
    for part in parts:
        base = UPRIGHT if part.upright else LEVEL
        if part.carrier is not None:
            base = _on_carrier(part, found[part.carrier])
        found[part.name] = Posed(part, base, brought(part, base, place_of(part.name)))
    return list(found.values())


def _on_carrier(part: DrawnPart, carrier: Posed) -> JointFrame:
    there = _moved(carrier.frame, part.at_m, carrier.part.sense * part.ahead_deg)
    c, s = cos(radians(part.turned_deg)), sin(radians(part.turned_deg))
    roll = np.array([[1.0, 0, 0], [0, c, -s], [0, s, c]])
    return JointFrame(there.at, there.axes @ roll)


def brought(part: DrawnPart, base: JointFrame, at: float) -> JointFrame:
    """The frame of a part at one of its places."""
    if part.way_deg is not None:
        return _moved(base, at / 1000.0, part.way_deg)
    return turned(base, part.sense * (at if part.spins else at - part.straight_deg))


def turned(frame: JointFrame, deg: float) -> JointFrame:
    """Round its own third axis: a hinge line."""
    c, s = cos(radians(deg)), sin(radians(deg))
    return JointFrame(frame.at, frame.axes @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]))


def _moved(frame: JointFrame, far_m: float, deg: float) -> JointFrame:
    away = np.array([far_m * cos(radians(deg)), far_m * sin(radians(deg)), 0.0])
    return JointFrame(frame.of(away), frame.axes)


def reach_m(part: DrawnPart) -> float:
    """How far a part reaches from its hinge."""
    far = max([part.tip_m, *map(_reach_m, part.bodies)])
    return far if far > 0.0 else BARE_M


def _reach_m(body: Outline) -> float:
    return hypot(max(abs(body.start_m), body.start_m + body.length_m), body.across_m / 2.0)


def corners(part: DrawnPart, body: Outline) -> Array:
    """The eight corners of a body in the frame of its part, (8, 3)."""
    frame = turned(UPRIGHT, part.sense * body.offset_deg)
    across, along = body.across_m / 2.0, body.along_hinge_m / 2.0
    rows = [
        (a, b, c)
        for a in (body.start_m, body.start_m + body.length_m)
        for b in (-across, across)
        for c in (-along, along)
    ]
    return frame.of(np.array(rows))


def looked_at(view: View, places: Array) -> Array:
    """Right and up on the picture, in metres, of rows of places; the wearer stands upright."""
    right, up = {"side": (0, 2), "above": (0, 1), "front": (1, 2)}[view]
    return np.stack([places[..., right], places[..., up]], axis=-1)


def hull(points: Array) -> list[tuple[float, float]]:
    """The least polygon round points of a plane (Andrew's monotone chain, 1979)."""
    rows = sorted({(float(x), float(y)) for x, y in points})
    if len(rows) < 3:
        return rows

    def half(row: Iterator[tuple[float, float]]) -> list[tuple[float, float]]:
        kept: list[tuple[float, float]] = []
        for point in row:
            while len(kept) > 1 and _bends(kept[-2], kept[-1], point) <= 0.0:
                kept.pop()
            kept.append(point)
        return kept[:-1]

    return [*half(iter(rows)), *half(reversed(rows))]


def _bends(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
