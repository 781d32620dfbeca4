"""The creature drawn with Pillow, an instant at a time: parts in true proportion, and lights."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeAlias

import matplotlib as mpl
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from sim.arrays import Array
from sim.light.lightness import linear_to_srgb, srgb_to_linear
from sim.model import Lamp, Show, Strip, Switch
from sim.pictures.creature import DrawnPart, creature
from sim.pictures.posing import VIEWS, Posed, brought, corners, hull, limbs, posed, reach_m
from sim.pictures.shelves import GAP, LABEL, Room, ring, rooms

WIDTH: Final = 640
PARTS_HIGH: Final = 400
"""Most room for the parts, px; a creature that is wide takes less."""
EDGE: Final = 12
HEAD: Final = 44
LIGHT_ROW: Final = 54
PIXEL_MOST: Final = 22
FOOT: Final = 10
FINER: Final = 2
"""It is drawn so many times as large, and made smaller: soft edges."""
SEGMENTS: Final = 24
THINNEST: Final = 0.75
"""A travel that lies flatter in the picture than this, px rms, is not drawn in that view."""
BARS_M: Final = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)

Shade: TypeAlias = tuple[int, int, int]
Point: TypeAlias = tuple[float, float]

PAPER: Final[Shade] = (0xFF, 0xFD, 0xF8)
INK: Final[Shade] = (0x23, 0x26, 0x2B)
DIM: Final[Shade] = (0x64, 0x6A, 0x73)
LINE: Final[Shade] = (0xDC, 0xD7, 0xCB)
PART: Final[Shade] = (0x31, 0x56, 0x6B)
REACH: Final[Shade] = (0xB9, 0x8A, 0x2F)
NIGHT: Final[Shade] = (0x0B, 0x0C, 0x10)
UNLIT: Final[Shade] = (0x1A, 0x1D, 0x24)
RIM: Final[Shade] = (0x5B, 0x62, 0x70)
PALE: Final[Shade] = (0xA9, 0xB1, 0xBF)


@dataclass(frozen=True, slots=True)
class Instant:
    """What all outputs do at one time.

    `places`: of parts, deg, mm, or degrees turned. `lamps`: duty, 0 to 1. `strips`: linear light
    (pixels, 3). `share`: how much of the cue is over.
    """

    places: Mapping[str, float]
    limp: Collection[str]
    lamps: Mapping[str, float]
    strips: Mapping[str, Array]
    on: Collection[str]
    share: float


def mixed(one: Shade, other: Shade, share: float) -> Shade:
    """`share` of the first over the other."""
    r, g, b = (round(share * a + (1.0 - share) * c) for a, c in zip(one, other, strict=True))
    return r, g, b


def shown_colour(linear: Array) -> Shade:
    """Encoded sRGB, 0 to 255, of linear light (IEC 61966-2-1)."""
    r, g, b = np.rint(255.0 * linear_to_srgb(np.clip(linear, 0.0, 1.0))).astype(int).tolist()
    return r, g, b


class CreatureDrawing:
    """Draws any instant of a show; what stands still is drawn once."""

    def __init__(self, show: Show, title: str, *, dark: bool = False) -> None:
        self.dark = dark
        self._parts = creature(show)
        self._lamps = [one for one in show.rig.outputs if isinstance(one, Lamp)]
        self._strips = [one for one in show.rig.outputs if isinstance(one, Strip)]
        self._switches = [one for one in show.rig.outputs if isinstance(one, Switch)]
        lights_m: dict[str, list[float]] = {}
        for part in self._parts:
            for light in self._riding(part.name):
                lights_m.setdefault(part.name, []).append(_out_m(part, light, _count(light) - 1))
        inside = WIDTH - 2 * EDGE
        self.rooms, used = rooms(limbs(self._parts), lights_m, inside, PARTS_HIGH)
        self._below = HEAD + (used + 20 if self.rooms else 0.0)
        self._rows = self._light_rows(inside)
        high = self._below + self._rows + FOOT
        self.size = WIDTH, 2 * round(high / 2.0)
        folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
        self._small = ImageFont.truetype(folder / "DejaVuSans.ttf", 11 * FINER)
        self._large = ImageFont.truetype(folder / "DejaVuSans-Bold.ttf", 15 * FINER)
        self._ground = self._standing(show.score.title or "Preview", title)

    def put(self, room: Room, places: Array) -> list[Point]:
        """Where places in space are in the picture, px."""
        flat = room.put(np.atleast_2d(places)) + np.array([EDGE, HEAD])
        return [(float(x), float(y)) for x, y in flat]

    def drawn(self, instant: Instant) -> Image.Image:
        """The picture of an instant."""
        sheet = self._ground.copy()
        pen = _Pen(sheet)
        for room in self.rooms:
            found = posed(room.limb.parts, instant.places.__getitem__)
            for one in found[1:]:
                self._travel(pen, room, one)
            for one in found:
                self._part(pen, room, one, one.part.name in instant.limp)
            for one in found:
                for light in self._riding(one.part.name):
                    self._light(pen, room, one, light, instant)
            if room.view == room.limb.views[0]:
                for one in found[1:]:
                    self._name(pen, room, one)
        self._panel(pen, instant)
        if instant.share > 0.0:
            pen.line(
                [(0.0, self.size[1] - 2.0), (WIDTH * instant.share, self.size[1] - 2.0)], PART, 4
            )
        return sheet.resize(self.size, Image.Resampling.BOX)

    # -- parts -------------------------------------------------------------------------------------

    def _standing(self, title: str, cue: str) -> Image.Image:
        sheet = Image.new("RGB", (self.size[0] * FINER, self.size[1] * FINER), PAPER)
        pen = _Pen(sheet)
        pen.words((EDGE, 20), title, INK, self._large, "ls", WIDTH - 2 * EDGE)
        words = f"{cue}; the lights are drawn unlit" if self.dark else cue
        pen.words((EDGE, 37), words, DIM, self._small, "ls", WIDTH - 2 * EDGE)
        for room in self.rooms:
            rest = {part.name: 0.0 for part in room.limb.parts}
            root = posed(room.limb.parts[:1], rest.__getitem__)[0]
            self._travel(pen, room, root)
            several = len(room.limb.views) > 1 or room.view != "side"
            name = f"{root.part.name}, {VIEWS[room.view]}" if several else root.part.name
            if self._small.getlength(name) > FINER * (room.wide + 10):
                name = root.part.name if room.view == room.limb.views[0] else VIEWS[room.view]
            at = EDGE + room.left + room.wide / 2.0, HEAD + room.top + room.shelf + LABEL - 6
            pen.words(at, name, DIM, self._small, "ms", room.wide + 10)
        if self.rooms:
            self._bar(pen, self.rooms[0].scale)
        return sheet

    def _bar(self, pen: _Pen, scale: float) -> None:
        length = next((one for one in BARS_M if one * scale >= 50.0), BARS_M[-1])
        y, end = self._below - 10.0, EDGE + length * scale
        pen.line([(EDGE, y - 4), (EDGE, y), (end, y), (end, y - 4)], DIM, 1)
        words = f"{length * 1000:.0f} mm"
        pen.words((end + 6, y + 2), words, DIM, self._small, "ls", 100)

    def _travel(self, pen: _Pen, room: Room, one: Posed) -> None:
        """The travel, darker where the part is harder to hold."""
        part, (low, high) = one.part, one.part.travel
        if part.spins or (part.way_deg is None and high - low >= 360.0):
            round_about = self.put(room, ring(one, 48))
            if not _is_edge_on(round_about):
                pen.line(round_about, mixed(REACH, PAPER, 0.35), 2)
            return
        along = np.array([0.0 if part.way_deg is not None else 0.96 * reach_m(part), 0.0, 0.0])
        places = np.linspace(low, high, SEGMENTS + 1)
        rows = np.array([brought(part, one.base, float(at)).of(along) for at in places])
        edge, hinge = self.put(room, rows), self.put(room, one.base.at)[0]
        if part.way_deg is None and _is_edge_on([hinge, *edge]):
            return
        for n in range(SEGMENTS):
            colour = mixed(REACH, PAPER, 0.18 + 0.5 * min(1.0, _held(part, (n + 0.5) / SEGMENTS)))
            if part.way_deg is not None:
                pen.line([edge[n], edge[n + 1]], colour, 12, round_ends=False)
            else:
                pen.area([hinge, edge[n], edge[n + 1]], colour, None)

    def _part(self, pen: _Pen, room: Room, one: Posed, limp: bool) -> None:
        colour = mixed(PART, PAPER, 0.45) if limp else PART
        pen.line(self.put(room, np.array([one.frame.at, one.tip])), colour, 2)
        for body in one.part.bodies:
            points = self.put(room, one.frame.of(corners(one.part, body)))
            if body.kind == "weight":
                pen.disc(points[0], 6, mixed(colour, PAPER, 0.25), colour)
            else:
                outline = hull(np.array(points))
                pen.area(outline, mixed(colour, PAPER, 0.18), colour)
        if one.part.way_deg is not None:
            spot = self.put(room, one.frame.at)[0]
            pen.block(spot, 8, colour)
            pen.block(spot, 2, PAPER)
            return
        hinge = self.put(room, one.base.at)[0]
        pen.disc(hinge, 4.5, PAPER, INK)
        pen.disc(hinge, 1.2, INK, None)

    def _name(self, pen: _Pen, room: Room, one: Posed) -> None:
        """A part that another carries is named at its tip, within the room of the view."""
        x, y = self.put(room, one.tip)[0]
        wide = self._small.getlength(one.part.name) / FINER
        left, top = EDGE + room.left - GAP / 2, HEAD + room.top
        at = max(left, min(left + room.wide + GAP - wide, x + 7)), max(top + 9, y - 9)
        pen.words(at, one.part.name, DIM, self._small, "ls", wide + 1, halo=PAPER)

    # -- lights ------------------------------------------------------------------------------------

    def _riding(self, part: str) -> list[Lamp | Strip]:
        lights: list[Lamp | Strip] = [*self._lamps, *self._strips]
        return [one for one in lights if one.rides is not None and one.rides.on == part]

    def _colours(self, light: Lamp | Strip, instant: Instant) -> list[Shade]:
        if self.dark:
            return [UNLIT] * _count(light)
        if isinstance(light, Lamp):
            own = srgb_to_linear(np.array(light.colour) / 255.0)
            return [shown_colour(instant.lamps[light.name] * own)]
        return [shown_colour(pixel) for pixel in instant.strips[light.name]]

    def _light(
        self, pen: _Pen, room: Room, one: Posed, light: Lamp | Strip, instant: Instant
    ) -> None:
        """A lamp or a strip along the part that carries it."""
        far = np.array([[_out_m(one.part, light, n), 0.0, 0.0] for n in range(_count(light))])
        at = self.put(room, one.frame.of(far))
        radius = 6.0
        if isinstance(light, Strip):
            radius = min(6.0, max(2.0, 0.4 * light.pitch_m * room.scale))
        for end in (at[0], at[-1]):
            pen.disc(end, radius + 1.5, NIGHT, None)
        pen.line([at[0], at[-1]], NIGHT, 2.0 * radius + 3.0)
        for spot, colour in zip(at, self._colours(light, instant), strict=True):
            pen.disc(spot, radius, colour, None)

    def _light_rows(self, inside: float) -> float:
        """How high the panel of lamps, switches and strips is."""
        high = LIGHT_ROW if self._lamps or self._switches else 0.0
        for strip in self._strips:
            rows, _, pitch = _strip_size(strip.pixels, inside - 16)
            high += 24 + rows * pitch
        return high + 8 if high else 0.0

    def _panel(self, pen: _Pen, instant: Instant) -> None:
        if not self._rows:
            return
        top, right = self._below, WIDTH - EDGE
        corners_of_it = [(EDGE, top), (right, top), (right, top + self._rows - 4)]
        pen.area([*corners_of_it, (EDGE, top + self._rows - 4)], NIGHT, None)
        spots: list[Lamp | Switch] = [*self._lamps, *self._switches]
        for n, one in enumerate(spots):
            wide = (right - EDGE) / len(spots)
            at = EDGE + (n + 0.5) * wide, top + 22.0
            if isinstance(one, Lamp):
                pen.disc(at, 15, self._colours(one, instant)[0], RIM)
                words = one.name
            else:
                on = one.name in instant.on
                pen.block(at, 10, PALE if on else NIGHT, RIM)
                words = f"{one.name} {'on' if on else 'off'}"
            pen.words((at[0], top + 49.0), words, PALE, self._small, "ms", wide - 4)
        top += LIGHT_ROW if spots else 0.0
        for strip in self._strips:
            top += self._strip(pen, strip, top, instant)

    def _strip(self, pen: _Pen, strip: Strip, top: float, instant: Instant) -> float:
        rows, across, pitch = _strip_size(strip.pixels, WIDTH - 2 * EDGE - 16)
        words = f"{strip.name}, {strip.pixels} pixels"
        pen.words((EDGE + 8, top + 15), words, PALE, self._small, "ls", WIDTH - 2 * EDGE - 16)
        size = pitch - 1.5
        for n, colour in enumerate(self._colours(strip, instant)):
            x, y = EDGE + 8 + (n % across) * pitch, top + 20 + (n // across) * pitch
            pen.area([(x, y), (x + size, y), (x + size, y + size), (x, y + size)], colour, None)
        return 24 + rows * pitch


def _count(light: Lamp | Strip) -> int:
    return light.pixels if isinstance(light, Strip) else 1


def _out_m(part: DrawnPart, light: Lamp | Strip, number: int) -> float:
    """How far from the hinge a light, or a pixel of a strip, sits."""
    assert light.rides is not None
    start = light.rides.at_m
    if isinstance(light, Lamp):
        return reach_m(part) if start is None else start
    return (start or 0.0) + number * light.pitch_m


def _is_edge_on(points: Sequence[Point]) -> bool:
    """Whether a flat thing is seen from its edge: Pillow would still draw a line of it."""
    off = np.array(points) - np.mean(points, axis=0)
    thickness = float(np.linalg.svd(off, compute_uv=False)[-1] / np.sqrt(len(points)))
    return thickness < THINNEST


def _held(part: DrawnPart, along: float) -> float:
    """How hard the pose at a share of the travel is to hold, the wearer standing upright."""
    if part.held is None:
        return 0.0
    row = part.held.shares[0]
    return row[round(along * (len(row) - 1))]


def _strip_size(pixels: int, width: float) -> tuple[int, int, float]:
    """Rows, pixels in one, and from one to the next, px."""
    rows = max(1, -int(-pixels * 6 // width))
    across = -(-pixels // rows)
    return rows, across, min(float(PIXEL_MOST), width / across)


class _Pen:
    """Draws on a sheet that is `FINER` times as large as the lengths that it is told."""

    def __init__(self, sheet: Image.Image) -> None:
        self._draw = ImageDraw.Draw(sheet)

    def line(
        self,
        points: Sequence[Point],
        colour: Shade,
        width: float,
        *,
        round_ends: bool = True,
    ) -> None:
        self._draw.line(
            _finer(points), colour, round(FINER * width), "curve" if round_ends else None
        )

    def area(self, points: Sequence[Point], fill: Shade, edge: Shade | None) -> None:
        if len(points) > 2:
            self._draw.polygon(_finer(points), fill)
        if edge is not None:
            self.line([*points, points[0]], edge, 2)

    def disc(self, at: Point, radius: float, fill: Shade, edge: Shade | None) -> None:
        x, y, far = FINER * at[0], FINER * at[1], FINER * radius
        self._draw.ellipse((x - far, y - far, x + far, y + far), fill, edge, 3 if edge else 0)

    def block(self, at: Point, half: float, fill: Shade, edge: Shade | None = None) -> None:
        x, y, far = FINER * at[0], FINER * at[1], FINER * half
        self._draw.rectangle((x - far, y - far, x + far, y + far), fill, edge, 2 if edge else 0)

    def words(
        self,
        at: Point,
        text: str,
        colour: Shade,
        font: ImageFont.FreeTypeFont,
        anchor: str,
        room: float,
        halo: Shade | None = None,
    ) -> None:
        """One line of words; what has no room is left out at the end."""
        kept = text
        while len(kept) > 1 and font.getlength(kept) > FINER * room:
            kept = kept[:-2].rstrip() + "\N{HORIZONTAL ELLIPSIS}"
        rim = 2 * FINER if halo else 0
        self._draw.text(
            _finer([at])[0], kept, colour, font, anchor, stroke_width=rim, stroke_fill=halo
        )


def _finer(points: Iterable[Point]) -> list[Point]:
    return [(FINER * x, FINER * y) for x, y in points]
