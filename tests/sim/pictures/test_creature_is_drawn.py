"""The drawing of a creature, measured in its pixels: lights, travels, rows of pixels, words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np
import pytest

from sim.model import Board, Cue, Lamp, LightPlace, Rig, Score, Servo, Show, Strip, Switch
from sim.pictures import creature_drawing
from sim.pictures.creature import creature
from sim.pictures.creature_drawing import (
    DIM,
    EDGE,
    FOOT,
    HEAD,
    INK,
    NIGHT,
    PAPER,
    PART,
    REACH,
    RIM,
    UNLIT,
    WIDTH,
    CreatureDrawing,
    Instant,
    Shade,
    mixed,
)
from tests.sim.jaw import JAW

Picture: TypeAlias = np.ndarray[tuple[int, ...], np.dtype[np.int64]]

GREEN: Shade = (0, 255, 0)
LIT = np.array([0.0, 1.0, 0.0])
"""Linear light of a green pixel."""
ARM = replace(JAW, name="arm", travel_deg=(-30.0, 60.0), load=replace(JAW.load, lowers=False))
SPOT = LightPlace("arm", 0.05)


def show_of(*outputs: Servo | Lamp | Strip | Switch, title: str = "A creature") -> Show:
    rig = Rig(boards=(Board("box", "atmega328p", 1),), outputs=outputs)
    return Show(rig, Score(title, cues=(Cue("go", "", ()),)))


def instant(
    show: Show, *, share: float = 0.0, on: tuple[str, ...] = (), arm: float = 0.0
) -> Instant:
    """Everything lit in green, all parts at their zero but the arm."""
    outputs = show.rig.outputs
    return Instant(
        places={one.name: arm for one in outputs if isinstance(one, Servo)},
        limp=(),
        lamps={one.name: 1.0 for one in outputs if isinstance(one, Lamp)},
        strips={
            one.name: np.tile(LIT, (one.pixels, 1)) for one in outputs if isinstance(one, Strip)
        },
        on=on,
        share=share,
    )


def drawn(show: Show, **how: object) -> tuple[CreatureDrawing, Picture]:
    drawing = CreatureDrawing(show, "Goes")
    return drawing, np.asarray(drawing.drawn(instant(show, **how)), dtype=np.int64)  # type: ignore[arg-type]


def near(picture: Picture, shade: Shade, by: int = 24) -> Picture:
    """Where a picture has about a shade."""
    found: Picture = (np.abs(picture - np.array(shade)).max(axis=-1) <= by).astype(np.int64)
    return found


def box_of(mask: Picture) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of what is marked, ends included."""
    rows, columns = np.nonzero(mask)
    return int(columns.min()), int(rows.min()), int(columns.max()), int(rows.max())


def stretches(row: Picture) -> list[tuple[int, int]]:
    """First and last of each unbroken run in a row of marks."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], row, [0]))))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def panel_top(drawing: CreatureDrawing) -> int:
    return round(drawing._below)


# -- the panel of lights ------------------------------------------------------------------------


def lamp(name: str, **how: object) -> Lamp:
    return replace(Lamp(name, "box", 3, colour=GREEN), **how)  # type: ignore[arg-type]


@pytest.mark.parametrize("count", [1, 2, 4])
def test_lamps_stand_side_by_side_each_in_the_middle_of_its_share(count: int) -> None:
    drawing, picture = drawn(show_of(*(lamp(f"eye {n}") for n in range(count))))
    left, top, right, bottom = box_of(near(picture, NIGHT))
    assert (left, right) == (EDGE, WIDTH - EDGE - 1) or (left, right) == (EDGE, WIDTH - EDGE)
    assert top == panel_top(drawing) == HEAD
    assert bottom == pytest.approx(top + drawing._rows - 4, abs=1)
    found = stretches(near(picture, GREEN)[top + 22])
    wide = (WIDTH - 2 * EDGE) / count
    assert len(found) == count
    for n, (first, last) in enumerate(found):
        assert (first + last) / 2 == pytest.approx(EDGE + (n + 0.5) * wide, abs=1)
        assert last - first == pytest.approx(2 * (15 - 1.5), abs=2)  # less the rim
    high = stretches(near(picture, GREEN)[:, round(EDGE + wide / 2)])
    assert [(top + 22) - first for first, _ in high] == [pytest.approx(13.5, abs=1.5)]
    assert near(picture, RIM, 40)[top + 22].any()


@pytest.mark.parametrize("on", [True, False])
def test_a_switch_is_a_pale_block_while_it_is_on_and_says_which(on: bool) -> None:
    bell = Switch("bell", "box", 5)
    drawing, picture = drawn(show_of(bell), on=("bell",) if on else ())
    y = panel_top(drawing) + 22
    pale = stretches(near(picture, creature_drawing.PALE)[y])
    assert [last - first for first, last in pale] == ([pytest.approx(20 - 2, abs=1)] if on else [])
    _, other = drawn(show_of(bell), on=() if on else ("bell",))
    below = slice(y + 15, y + 34)
    assert (picture[below] != other[below]).any()  # its word


def test_a_dark_drawing_gives_lamps_and_pixels_one_dim_colour() -> None:
    show = show_of(lamp("eye"), Strip("fin", "box", 4, 30))
    picture = np.asarray(
        CreatureDrawing(show, "Goes", dark=True).drawn(instant(show)), dtype=np.int64
    )
    assert not near(picture, GREEN, 100).any()
    assert near(picture, UNLIT, 3).sum() > 30 * 15**2


@pytest.mark.parametrize(
    ("pixels", "rows", "across", "pitch"),
    [
        (5, 1, 5, 22.0),  # no wider than that
        (60, 1, 60, 10.0),
        (100, 1, 100, 6.0),  # 600 px and 6 px each: one row just holds them
        (101, 2, 51, 600 / 51),
        (250, 3, 84, 600 / 84),
    ],
)
def test_pixels_stand_in_as_many_even_rows_as_six_px_each_ask_for(
    pixels: int, rows: int, across: int, pitch: float
) -> None:
    drawing, picture = drawn(show_of(Strip("fin", "box", 4, pixels)))
    top = panel_top(drawing)
    green = near(picture, GREEN, 120)
    left, first, right, _ = box_of(green)
    assert (left, first) == (pytest.approx(EDGE + 8, abs=1), pytest.approx(top + 20, abs=1))
    assert right == pytest.approx(EDGE + 8 + across * pitch - 1.5, abs=1)
    assert len(stretches(green[:, left + 2])) == rows
    assert len(stretches(near(picture, GREEN, 60)[first + 2])) == across
    assert len(stretches(green[first + 2])) == across
    last = stretches(green[round(top + 20 + (rows - 0.5) * pitch)])
    assert len(last) == pixels - (rows - 1) * across
    sizes = {b - a + 1 for a, b in stretches(green[first + 2])}
    assert sizes <= {round(pitch - 1.5) + d for d in (-1, 0, 1)}
    assert drawing._rows == 24 + rows * pitch + 8


def test_what_stands_in_the_panel_adds_up_to_its_height_and_to_that_of_the_picture() -> None:
    strips = [Strip(f"fin {n}", "box", 4 + n, 60) for n in range(2)]
    for lights, high in (
        ([lamp("eye")], 54.0 + 8),
        ([Switch("bell", "box", 5)], 54.0 + 8),
        ([*strips], 2 * (24 + 10.0) + 8),
        ([lamp("eye"), Switch("bell", "box", 5), *strips], 54 + 2 * (24 + 10.0) + 8),
        ([], 0.0),
    ):
        show = show_of(*lights)  # type: ignore[misc]
        drawing, picture = drawn(show)
        assert drawing._rows == high
        assert drawing.size == (WIDTH, 2 * round((HEAD + high + FOOT) / 2))
        assert picture.shape[:2] == drawing.size[::-1]
    _, picture = drawn(show_of(*strips))
    green = near(picture, GREEN)[:, EDGE + 12]
    firsts = [first for first, _ in stretches(green)]
    assert np.diff(firsts).tolist() == [34]


def out(drawing: CreatureDrawing, far_m: float, angle: float) -> np.ndarray[tuple[int], Any]:
    """Where a place on the arm is in space, so far from its hinge."""
    (room,) = drawing.rooms
    (part,) = room.limb.parts
    turned = np.radians(part.sense * (angle - part.straight_deg))
    return far_m * np.array([np.cos(turned), 0.0, np.sin(turned)])


# -- lights on parts ----------------------------------------------------------------------------


def test_a_lamp_on_a_part_is_a_disc_with_a_dark_rim_where_it_sits() -> None:
    show = show_of(ARM, lamp("eye", rides=SPOT))
    for angle in (0.0, 40.0):
        drawing, picture = drawn(show, arm=angle)
        (room,) = drawing.rooms
        x, y = drawing.put(room, out(drawing, 0.05, angle))[0]
        green = near(picture[: panel_top(drawing)], GREEN)
        left, top, right, bottom = box_of(green)
        assert ((left + right) / 2, (top + bottom) / 2) == pytest.approx((x, y), abs=1)
        assert right - left == pytest.approx(12, abs=1.5)
        dark = near(picture[: panel_top(drawing)], NIGHT)[round(y)]
        beside = [one for one in stretches(dark) if abs(one[0] - x) < 10 or abs(one[1] - x) < 10]
        assert beside
        assert all(last - first <= 3 for first, last in beside)


@pytest.mark.parametrize("pitch_mm", [0.4, 4.0, 10.0, 25.0])
def test_pixels_on_a_part_are_as_far_apart_as_they_are_and_neither_tiny_nor_huge(
    pitch_mm: float,
) -> None:
    strip = Strip("fin", "box", 4, 3, pitch_m=pitch_mm / 1000.0, rides=LightPlace("arm", 0.01))
    (level,) = (part.straight_deg for part in creature(show_of(ARM)))
    drawing, picture = drawn(show_of(ARM, strip), arm=level)
    (room,) = drawing.rooms
    green = near(picture[: panel_top(drawing)], GREEN, 60)
    x0, y0 = drawing.put(room, out(drawing, 0.01, level))[0]
    step = pitch_mm / 1000.0 * room.scale
    radius = min(6.0, max(2.0, 0.4 * step))
    left, top, right, bottom = box_of(green)
    assert bottom - top + 1 == pytest.approx(2 * radius, abs=1.5)
    assert left == pytest.approx(x0 - radius, abs=1.5)
    assert right == pytest.approx(x0 + 2 * step + radius, abs=1.5)
    if step > 2 * radius + 3:
        night = near(picture[: panel_top(drawing)], NIGHT)
        between = stretches(night[:, round(x0 + step / 2)])
        wide = [last - first + 1 for first, last in between]
        assert wide == [pytest.approx(2 * radius + 3, abs=1.5)]
        beyond = stretches(night[round(y0)])
        assert beyond[0][0] == pytest.approx(x0 - radius - 1.5, abs=1.5)
        assert beyond[-1][1] == pytest.approx(x0 + 2 * step + radius + 1.5, abs=1.5)


@pytest.mark.parametrize("pixels", [4, 40])
def test_room_is_made_for_the_last_pixel_on_a_part_and_no_more(pixels: int) -> None:
    """Ten millimetres apart, from 10 mm on: the fourth lies within the arm, the fortieth beyond."""
    strip = Strip("fin", "box", 4, pixels, pitch_m=0.01, rides=LightPlace("arm", 0.01))
    drawing, _ = drawn(show_of(ARM, strip))
    (room,) = drawing.rooms
    bare = CreatureDrawing(show_of(ARM), "Goes").rooms[0]
    ends = [
        drawing.put(room, out(drawing, 0.01 * pixels, float(angle)))[0]
        for angle in np.linspace(*ARM.travel_deg, 19)
    ]
    assert max(x for x, _ in ends) <= EDGE + room.left + room.wide + 1
    assert (room.scale == bare.scale) is (pixels == 4)
    if pixels == 40:
        assert max(x for x, _ in ends) > EDGE + room.left + room.wide - 30


# -- parts --------------------------------------------------------------------------------------


def held_by(show: Show, shares: list[float]) -> Callable[[Show], list[object]]:
    """The creature of a show with its one part as hard to hold as stated over its travel."""
    (part,) = creature(show)
    assert part.held is not None
    hard = replace(part, held=replace(part.held, shares=[shares]))
    return lambda _: [hard]


def test_a_travel_is_shaded_darker_where_the_part_is_harder_to_hold(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    show = show_of(ARM)
    shares = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5]
    monkeypatch.setattr(creature_drawing, "creature", held_by(show, shares))
    drawing, picture = drawn(show, arm=-30.0)
    (room,) = drawing.rooms
    (part,) = room.limb.parts
    reach = 0.96 * creature_drawing.reach_m(part)
    low, high = part.travel
    for sector in (6, 7, 11, 16, 21, 23):
        share = (sector + 0.5) / creature_drawing.SEGMENTS
        angle = low + share * (high - low)
        x, y = drawing.put(room, out(drawing, 0.9 * reach, angle))[0]
        held = shares[round(share * 5)]
        want = mixed(REACH, PAPER, 0.18 + 0.5 * min(1.0, held))
        assert picture[round(y), round(x)].tolist() == pytest.approx(want, abs=3)
    x, y = drawing.put(room, out(drawing, 0.9 * reach, high + 8.0))[0]
    assert picture[round(y), round(x)].tolist() == list(PAPER)


def test_a_hinge_is_a_ring_of_paper_and_ink_around_a_point() -> None:
    drawing, picture = drawn(show_of(ARM), arm=60.0)
    (room,) = drawing.rooms
    x, y = drawing.put(room, np.zeros(3))[0]
    down = picture[round(y) :, round(x)]
    assert near(down, INK, 60)[0]
    ring = stretches(near(down, PAPER, 60))
    assert ring[0][0] in (1, 2)
    assert [ring[0][1] + 1] == [pytest.approx(4.0, abs=1)]  # 4.5 less the rim of 1.5


def test_the_name_of_a_part_without_another_stands_below_its_view() -> None:
    drawing, picture = drawn(show_of(ARM))
    (room,) = drawing.rooms
    bottom = HEAD + room.top + room.shelf + creature_drawing.LABEL - 6
    words = near(picture[round(bottom) - 8 : round(bottom) + 1], DIM, 60)
    left, _, right, _ = box_of(words)
    middle = EDGE + room.left + room.wide / 2
    assert (left + right) / 2 == pytest.approx(middle, abs=2)
    assert left > EDGE + room.left - 6
    assert right < EDGE + room.left + room.wide + 6


def test_the_bar_over_the_panel_has_the_shortest_round_length_of_fifty_px() -> None:
    drawing, picture = drawn(show_of(ARM))
    (room,) = drawing.rooms
    length = next(one for one in creature_drawing.BARS_M if one * room.scale >= 50)
    y = round(drawing._below - 10)
    bar = max(stretches(near(picture[y], DIM, 90)), key=lambda one: one[1] - one[0])
    assert bar == (
        pytest.approx(EDGE, abs=1),
        pytest.approx(EDGE + length * room.scale, abs=1),
    )
    for end in bar:
        assert near(picture[y - 3 : y, end - 1 : end + 2], DIM, 120).any()


# -- words --------------------------------------------------------------------------------------

LONG = "a name that is much longer than whatever room a picture of this width may have for it, " * 2


def test_words_that_are_too_long_end_where_their_room_ends() -> None:
    drawing, picture = drawn(replace(show_of(lamp("eye"), title=LONG)))
    ink = near(picture[:30], INK, 90)
    left, _, right, _ = box_of(ink)
    assert left == pytest.approx(EDGE, abs=2)
    assert WIDTH - EDGE - 25 < right <= WIDTH - EDGE
    several = [lamp(f"{n} {LONG}") for n in range(3)]
    _, picture = drawn(show_of(*several))
    below = picture[panel_top(drawing) + 40 : panel_top(drawing) + 53]
    words = np.abs(below - np.array(NIGHT)).max(axis=-1) > 60
    wide = (WIDTH - 2 * EDGE) / 3
    for n in range(1, 3):
        edge = round(EDGE + n * wide)
        assert not words[:, edge - 1 : edge + 2].any()
    assert words.sum() > 1500


def test_the_name_of_a_strip_stands_over_its_pixels_within_the_panel() -> None:
    drawing, picture = drawn(show_of(Strip(LONG, "box", 4, 60)))
    top = panel_top(drawing)
    words = np.abs(picture[top + 3 : top + 19] - np.array(NIGHT)).max(axis=-1) > 60
    words[:, :EDGE] = words[:, WIDTH - EDGE :] = False
    left, _, right, _ = box_of(words.astype(np.int64))
    assert left == pytest.approx(EDGE + 8, abs=2)
    assert WIDTH - EDGE - 8 - 25 < right <= WIDTH - EDGE - 8


def test_the_line_below_grows_with_the_share_of_the_cue() -> None:
    show = show_of(lamp("eye"))
    for share in (0.0, 0.25, 1.0):
        _, picture = drawn(show, share=share)
        line = stretches(near(picture[-2], PART, 40))
        want = [(0, pytest.approx(WIDTH * share, abs=3))] if share else []
        assert line == want
