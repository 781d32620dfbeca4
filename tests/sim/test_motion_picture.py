"""A motion picture of a cue: its timing, its geometry, its colours, and what flashes in it."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image
from scipy.spatial.transform import Rotation

from sim.light.lightness import linear_to_srgb, srgb_to_linear
from sim.model import Show
from sim.pictures import creature_drawing
from sim.pictures.creature import creature
from sim.pictures.creature_drawing import PAPER, PART, CreatureDrawing
from sim.pictures.motion_picture import (
    MOST_PICTURES,
    REST_MS,
    STEPS_MS,
    MotionPicture,
    PictureError,
    encoded,
    motion_picture,
    span_ms,
)
from sim.pictures.posing import hull, limbs, looked_at, posed
from sim.rehearsal.run_through import run_through
from sim.rehearsal.sampling import sample
from tests.firmware_gen.page_shows import EVERYTHING, LANTERN, made

FAR_OFF = 16
"""Most that a colour of 255 is changed by the 256 colours of the file."""


@cache
def shown(text: str, cue: str) -> MotionPicture:
    return motion_picture(run_through(made(text)[0].show, (cue,)), cue)


@cache
def filed(text: str, cue: str, kind: str) -> bytes:
    return encoded(shown(text, cue), "gif" if kind == "gif" else "png")


def opened(content: bytes) -> tuple[list[Image.Image], list[float]]:
    """Every picture in a file, and how long each is shown, ms."""
    pictures, lasts = [], []
    with Image.open(io.BytesIO(content)) as file:
        for n in range(getattr(file, "n_frames", 1)):
            file.seek(n)
            lasts.append(float(file.info["duration"]))
            pictures.append(file.convert("RGB"))
    return pictures, lasts


def heron() -> Show:
    return made(EVERYTHING)[0].show


# -- time --------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["gif", "png"])
def test_a_file_lasts_as_long_as_the_cue_in_its_rehearsal_and_its_rest(kind: str) -> None:
    """`look`: 900 + 1400 + 900 ms, one move behind the other, each on the board's frames."""
    pictures, lasts = opened(filed(EVERYTHING, "look", kind))
    film = shown(EVERYTHING, "look")
    first, last = span_ms(film.played, "look")
    assert last - first == pytest.approx(3200, abs=3 * 20)
    assert sum(lasts) == len(film.shown_ms[:-1]) * 40 + REST_MS
    assert 0 <= sum(lasts) - REST_MS - (last - first) < 40
    assert all(one % 10 == 0 for one in lasts)  # GIF89a, 23
    assert len(pictures) == len(lasts) > 60


def test_each_picture_shows_its_own_instant_of_the_board() -> None:
    film = shown(EVERYTHING, "look")
    first, _ = span_ms(film.played, "look")
    drawing = CreatureDrawing(film.played.show, "look")
    pictures, lasts = opened(filed(EVERYTHING, "look", "gif"))
    starts = np.concatenate(([0.0], np.cumsum(lasts)[:-1]))
    for at in (0, 400, 1200, 2000):
        number = int(np.searchsorted(starts, at, side="right") - 1)
        told = sample(film.played, [first + at]).servos
        for n, instant in enumerate(film.instants()):
            if n * film.step_ms == at:
                for name in ("neck", "head", "wing"):
                    assert instant.places[name] == told[name].angle_deg[0]
                want = np.asarray(drawing.drawn(instant), dtype=int)
                found = np.asarray(pictures[number], dtype=int)
                assert np.abs(want - found).max() <= FAR_OFF


def test_pictures_that_follow_one_another_differ() -> None:
    pictures, _ = opened(filed(EVERYTHING, "look", "gif"))
    assert all(one.tobytes() != other.tobytes() for one, other in pairwise(pictures))


def test_a_file_plays_for_ever() -> None:
    for kind in ("gif", "png"):
        with Image.open(io.BytesIO(filed(EVERYTHING, "look", kind))) as file:
            assert file.info["loop"] == 0


def lasting(seconds: float) -> str:
    moves = f"    eye fade to 90 % in {seconds} s\n"
    return LANTERN.replace("    glow fade to 50 % in 2 s\n", moves.replace("eye", "glow"))


def test_a_longer_cue_is_shown_in_coarser_steps_and_one_beyond_all_is_refused() -> None:
    for step, coarser in pairwise(STEPS_MS):
        longest = step * (MOST_PICTURES - 1)
        text = lasting(longest / 1000)
        assert shown(text, "up").step_ms == step
        assert shown(lasting((longest + 100) / 1000), "up").step_ms == coarser
    longest = STEPS_MS[-1] * (MOST_PICTURES - 1)
    assert len(shown(lasting(longest / 1000), "up").shown_ms) == MOST_PICTURES
    with pytest.raises(PictureError, match="takes 60 s, and a motion picture takes at most 60 s"):
        shown(lasting((longest + 400) / 1000), "up")


def test_the_part_for_letting_go_belongs_to_the_picture_of_its_cue() -> None:
    text = LANTERN.replace("in 2 s\n", "in 2 s\n    when let go\n        glow fade to 5 % in 3 s\n")
    held = text.replace("go up\n", "go up while held\n")
    film = shown(held, "up")
    (after,) = (one.let_go for one in film.played.show.score.cues if one.name == "up")
    ends = [one.end_ms for one in film.played.runs if one.cue == after]
    assert len(ends) == 1
    assert span_ms(film.played, "up")[1] == pytest.approx(ends[0], abs=20)


def test_the_bar_goes_from_nothing_to_all_of_the_cue() -> None:
    shares = [one.share for one in shown(EVERYTHING, "look").instants()]
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    assert np.diff(shares) == pytest.approx(1.0 / (len(shares) - 1))


def test_a_switch_is_shown_on_only_while_it_is() -> None:
    text = EVERYTHING.replace(
        "\nremote\n",
        "\ncue ring\n    bell on\n    hold 1 s\n    bell off\n    hold 1 s\n\nremote\n",
    )
    text = text.replace("\n    stop button", "\n    button 9: go ring\n    stop button")
    on = ["bell" in one.on for one in shown(text, "ring").instants()]
    assert set(on) == {False, True}
    assert not on[-1]
    assert sum(on) * 40 == pytest.approx(1000, abs=2 * 40)


def test_a_cue_that_does_not_run_makes_no_picture() -> None:
    played = run_through(heron(), ("look",))
    with pytest.raises(PictureError, match="did not start"):
        motion_picture(played, "spin")


def test_a_part_that_spins_turns_as_far_as_its_speed_takes_it() -> None:
    """40 rpm for 2 s, 1.5 s up to it and 1.5 s down: 3.5 s of 40 rpm, 240 deg a second."""
    turned = shown(EVERYTHING, "spin").turns_deg["lantern"]
    assert turned[-1] - turned[0] == pytest.approx(3.5 * 240.0, rel=0.01)
    assert (np.diff(turned) >= 0.0).all()


# -- space -------------------------------------------------------------------------------------


def test_parts_stand_where_rotations_in_space_put_them() -> None:
    """Against `scipy.spatial.transform.Rotation`, as the preview page is."""
    places = {"neck": 25.0, "head": -18.0, "wing": 12.0, "fold": 33.0, "crest": 0.0, "lantern": 0.0}
    tips = {
        one.part.name: one.tip
        for limb in limbs(creature(heron()))
        for one in posed(limb.parts, places.__getitem__)
    }
    about = Rotation.from_euler
    neck = about("z", 25, degrees=True)
    head = neck * about("x", 90, degrees=True) * about("z", -18, degrees=True)
    np.testing.assert_allclose(tips["neck"], neck.apply([0.18, 0, 0]), atol=1e-9)
    want = neck.apply([0.18, 0, 0]) + head.apply([0.12165525, 0, 0])
    np.testing.assert_allclose(tips["head"], want, atol=1e-6)
    wing, fold = about("y", -12, degrees=True), about("y", -45, degrees=True)
    want = wing.apply([0.15, 0, 0]) + fold.apply([0.12, 0, 0])
    np.testing.assert_allclose(tips["fold"], want, atol=1e-9)


def test_a_part_points_along_its_line_at_the_angle_that_is_its_straight() -> None:
    parts = {one.name: one for one in creature(heron())}
    bent = replace(parts["neck"], straight_deg=15.0)
    for angle in (-10.0, 15.0, 40.0):
        (one,) = posed((bent,), lambda _, angle=angle: angle)  # type: ignore[misc]
        want = Rotation.from_euler("z", angle - 15.0, degrees=True).apply([0.18, 0, 0])
        np.testing.assert_allclose(one.tip, want, atol=1e-9)


def test_a_part_that_slides_goes_as_many_millimetres_along_its_way_as_it_says() -> None:
    crest = replace(next(one for one in creature(heron()) if one.name == "crest"), way_deg=30.0)
    low, high = (posed((crest,), lambda _, at=at: at)[0].frame.at for at in (5.0, 25.0))  # type: ignore[misc]
    assert np.linalg.norm(high - low) == pytest.approx(0.020)
    along = Rotation.from_euler("y", -30.0, degrees=True).apply([0.020, 0, 0])
    np.testing.assert_allclose(high - low, along, atol=1e-9)


def test_views_look_along_the_axes_that_they_are_named_for() -> None:
    """x is forward, y to the wearer's left, z up; from the front the left is on the right."""
    place = np.array([1.0, 2.0, 3.0])
    assert looked_at("side", place).tolist() == [1.0, 3.0]
    assert looked_at("above", place).tolist() == [1.0, 2.0]
    assert looked_at("front", place).tolist() == [2.0, 3.0]


def test_parts_whose_hinge_lines_differ_are_shown_from_three_sides_and_others_from_one() -> None:
    views = {limb.parts[0].name: limb.views for limb in limbs(creature(heron()))}
    assert views["neck"] == ("above", "side", "front")
    assert views["wing"] == ("side",)


def test_the_hull_of_points_is_that_of_scipy() -> None:
    from scipy.spatial import ConvexHull

    points = np.random.default_rng(5).normal(size=(40, 2))
    want = {tuple(points[n]) for n in ConvexHull(points).vertices}
    assert set(hull(points)) == want


def test_a_rod_lies_in_the_picture_where_its_angle_puts_it_in_the_scale_of_the_bar() -> None:
    film = shown(EVERYTHING, "beat")
    show = film.played.show
    drawing = CreatureDrawing(show, "beat")
    room = next(one for one in drawing.rooms if one.limb.parts[0].name == "wing")
    for instant in list(film.instants())[::12]:
        picture = np.asarray(drawing.drawn(instant), dtype=int)
        angle = np.radians(instant.places["wing"])
        x, y = drawing.put(room, np.zeros(3))[0]
        far = 0.15 * room.scale  # 150 mm
        assert drawing.put(room, np.array([0.15, 0, 0]))[0][0] == pytest.approx(x + far)
        for share in (0.3, 0.8):
            at = x + share * far * np.cos(angle), y - share * far * np.sin(angle)
            row, column = round(at[1]), round(at[0])
            near = picture[row - 1 : row + 2, column - 1 : column + 2].reshape(-1, 3)
            dark = near.sum(axis=1).min()
            assert dark < sum(PART) + 60
    below = np.asarray(drawing.drawn(instant), dtype=int)[300:]
    dark = [np.flatnonzero((row < 200).all(axis=1)) for row in below]
    lengths = {
        int(np.argmax(np.diff(row) > 1)) for row in dark if row.size > 50 and row[0] < 14
    }  # of what is drawn without a gap from the edge on
    bar_m = next(one for one in creature_drawing.BARS_M if one * room.scale >= 50)
    assert any(abs(one - bar_m * room.scale) <= 2 for one in lengths)


def test_a_travel_that_is_seen_edge_on_leaves_no_line() -> None:
    """The neck turns about an upright axis: from the front its travel is a level line."""
    drawing = CreatureDrawing(heron(), "any")
    instant = next(iter(shown(EVERYTHING, "look").instants()))
    picture = np.asarray(drawing.drawn(replace(instant, share=0.0)), dtype=int)
    rooms = {room.view: room for room in drawing.rooms if room.limb.parts[0].name == "neck"}
    half_a_head = 0.025
    for view, is_seen in (("front", False), ("above", True)):
        room = rooms[view]
        x, y = drawing.put(room, np.zeros(3))[0]
        beside = round(x + 0.18 * np.cos(np.radians(30.0)) * room.scale)
        if view == "front":
            beside = round(x + (half_a_head + 0.01) * room.scale)
        ends = round(0.09 * room.scale)  # half as far as the travel goes to either side
        column = picture[round(y) - ends : round(y) + ends, beside]
        assert bool((column != PAPER).any()) == is_seen


def test_nothing_is_drawn_outside_the_picture() -> None:
    """Over the whole travel of all parts the edge stays paper."""
    show = heron()
    drawing = CreatureDrawing(show, "any")
    template = next(iter(shown(EVERYTHING, "look").instants()))
    dice = np.random.default_rng(3)
    for _ in range(6):
        places = {
            part.name: float(dice.choice(part.travel)) if not part.spins else 40.0
            for part in creature(show)
        }
        picture = np.asarray(drawing.drawn(replace(template, places=places, share=0.0)))
        for edge in (picture[:, :4], picture[:, -4:], picture[:2]):
            assert (edge == PAPER).all()


def test_a_limp_part_is_paler() -> None:
    template = next(iter(shown(EVERYTHING, "look").instants()))
    drawing = CreatureDrawing(heron(), "any")
    held = np.asarray(drawing.drawn(replace(template, limp=frozenset())))
    limp = np.asarray(drawing.drawn(replace(template, limp=frozenset({"neck"}))))
    different = (held != limp).any(axis=2)
    assert limp[different].mean() > held[different].mean()


# -- light -------------------------------------------------------------------------------------


def spot_of_lamp(picture: Image.Image) -> tuple[int, ...]:
    """The colour in the middle of the one lamp of the lantern's panel."""
    found = picture.getpixel((creature_drawing.WIDTH // 2, creature_drawing.HEAD + 22))
    assert isinstance(found, tuple)
    return found


def test_a_lamp_has_the_colour_that_srgb_gives_its_duty() -> None:
    """IEC 61966-2-1, as `sim.light.lightness` has it, which is held against colour-science."""
    film = shown(LANTERN, "up")
    pictures, lasts = opened(filed(LANTERN, "up", "gif"))
    colour = srgb_to_linear(np.array(film.played.show.rig.outputs[0].colour) / 255.0)  # type: ignore[union-attr]
    starts = np.concatenate(([0.0], np.cumsum(lasts)[:-1]))
    for instant, at in zip(film.instants(), np.cumsum([0, *film.shown_ms]), strict=False):
        picture = pictures[int(np.searchsorted(starts, at, side="right") - 1)]
        want = np.rint(255 * linear_to_srgb(instant.lamps["glow"] * colour))
        assert np.abs(np.array(spot_of_lamp(picture)) - want).max() <= FAR_OFF


def test_a_dark_picture_has_no_light_in_it() -> None:
    film = shown(LANTERN, "up")
    pictures, lasts = opened(encoded(film, "gif", dark=True))
    spots = {spot_of_lamp(one) for one in pictures}
    assert len(spots) == 1
    assert max(spots.pop()) < 48
    assert sum(lasts) == film.length_ms


def blinking(per_second: int) -> MotionPicture:
    """The lantern's picture with its lamp put on and off so many times a second."""
    film = shown(LANTERN, "up")
    count = film.samples.times_ms.size
    phase = (np.arange(count) * film.step_ms * per_second / 1000.0) % 1.0
    lamp = replace(film.samples.lamps["glow"], luminance=np.where(phase < 0.5, 1.0, 0.0))
    return replace(film, samples=replace(film.samples, lamps={"glow": lamp}))


def test_more_than_three_flashes_a_second_in_the_picture_are_found() -> None:
    """WCAG 2.2, success criterion 2.3.1: three within any one second pass."""
    assert blinking(2).flashes() == ()
    assert [one.count for one in blinking(4).flashes() if one.kind == "general"] == [4]
    assert shown(EVERYTHING, "spin").flashes() == ()


def test_the_rest_is_longer_than_the_second_in_which_flashes_are_counted() -> None:
    assert REST_MS > 1000
