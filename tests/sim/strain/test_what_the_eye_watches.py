"""Rehearsals that the eye watches: when they start and end, what is pressed, what shines there."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from sim.light.lightness import luminance
from sim.light.patterns import FastPattern, Lit
from sim.model import (
    Binding,
    Board,
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Strip,
    StripLight,
)
from sim.strain.eye import Eye, Laid, _flash
from sim.strain.light_sources import luminances

LURE = Lamp("lure", "b", 9, safe_pct=5.0, colour=(255, 255, 255))
EAR = Lamp("ear", "b", 10, colour=(255, 255, 255))
BELLY = Strip("belly", "b", 3, pixels=5)


def show_of(*cues: Cue, lights: tuple[Lamp | Strip, ...] = (LURE, EAR), **score: object) -> Show:
    bound = tuple(Binding(n, one.name) for n, one in enumerate(cues, start=1))
    rig = Rig((), (Board("b", "any", 1),), lights)
    return Show(rig, Score("t", cues, bound, **score))  # type: ignore[arg-type]


def cue(name: str, *steps: Step, conflict: str = "take") -> Cue:
    return Cue(name, "", InTurn(steps), conflict)  # type: ignore[arg-type]


def light_at(sight, name: str, ms: float) -> float:
    """Luminance of a white lamp in the last frame up to that time from the cue's start."""
    at = int(np.searchsorted(sight.times_ms, ms, side="right")) - 1
    return float(sight.sources[name].luminance[at])


def level(pct: float):
    return pytest.approx(float(luminance(pct)), abs=1e-3)


def test_a_cue_is_watched_from_a_second_before_it_to_a_second_behind() -> None:
    one = cue("one", Fade("lure", 80.0, 0), Hold(2000), Fade("lure", 20.0, 0), Hold(480))
    eye = Eye(show_of(one))
    dark, bright = eye.states.entries(one)[:2]
    for entry, before in ((dark, 0.0), (bright, 80.0)):
        sight = eye.watch(one, entry)
        assert (sight.times_ms[0], sight.times_ms[-1]) == (-1000.0, 2480.0 + 1000.0 - 20.0)
        assert light_at(sight, "lure", -100.0) == level(before)
        assert light_at(sight, "lure", 1000.0) == level(80.0)
        assert light_at(sight, "lure", 2100.0) == level(20.0)
        assert sight.run == one


def test_idle_may_find_its_light_as_it_comes_on_a_frame_before() -> None:
    one = cue("one", Fade("lure", 80.0, 0), Hold(500))
    eye = Eye(show_of(one, idle=("one",)))
    entry = eye.states.entries(one)[-1]
    assert entry.from_dark
    sight = eye.watch(one, entry)
    assert light_at(sight, "lure", -100.0) == 0.0
    assert light_at(sight, "lure", -1.0) == level(5.0)
    assert light_at(sight, "lure", 100.0) == level(80.0)


def test_coming_on_at_power_up_can_be_one_change_too_many_for_idle() -> None:
    """Dark, then the safe light, and seven changes of idle: four flashes. Seven alone are three."""
    beat = (Fade("lure", 0.0, 0), Hold(110), Fade("lure", 100.0, 0), Hold(110))
    idle = cue("idle", *beat, *beat, *beat, Fade("lure", 0.0, 0), Hold(9000))
    lit = replace(LURE, safe_pct=100.0)
    (flash,) = Eye(show_of(idle, lights=(lit,), idle=("idle",))).flashes(idle)
    assert flash.found.count == 4
    assert flash.finds is not None
    assert flash.finds.from_dark
    assert Eye(show_of(idle, lights=(lit,))).flashes(idle) == ()
    assert Eye(show_of(idle, lights=(LURE,), idle=("idle",))).flashes(idle) == ()


@pytest.mark.parametrize(("longest_ms", "watched"), [(1000.0, 1000), (12_000.0, 3000)])
def test_what_takes_over_is_watched_for_a_while_and_a_second(
    longest_ms: float, watched: int
) -> None:
    first = cue("first", Fade("lure", 80.0, 0), Hold(2000))
    then = cue("then", Fade("lure", 20.0, 0), Hold(3000))
    eye = Eye(show_of(first, then))
    sight = eye.watch(first, eye.states.entries(first)[0], then, 700, longest_ms)
    assert sight.times_ms[-1] == 700 + watched + 1000 - 20
    assert light_at(sight, "lure", 650.0) == level(80.0)
    assert light_at(sight, "lure", 760.0) == level(20.0)
    waits = replace(then, conflict="wait")
    taken = eye.watch(first, eye.states.entries(first)[0], waits, 700)
    assert light_at(taken, "lure", 760.0) == level(20.0)


def test_buttons_are_pressed_in_turn_for_three_seconds() -> None:
    """Up and down every 240 ms: what is pressed as written waits where it is told to."""
    up, down = cue("up", Fade("lure", 80.0, 0)), cue("down", Fade("lure", 20.0, 0))
    eye = Eye(show_of(up, down))
    sight = eye.watch_pressed((up, down), 240)
    assert (sight.times_ms[0], sight.times_ms[-1]) == (-1000.0, 2980.0)
    assert light_at(sight, "lure", -100.0) == level(80.0)
    for press in range(13):
        expected = level(20.0 if press % 2 else 80.0)
        assert light_at(sight, "lure", 240.0 * press + 60.0) == expected
    long = cue("long", Fade("lure", 80.0, 0), Hold(5000))
    refuses = cue("down", Fade("lure", 20.0, 0), conflict="refuse")
    eye = Eye(show_of(long, refuses))
    assert light_at(eye.watch_pressed((long, refuses), 240), "lure", 300.0) == level(80.0)


def test_all_lights_together_are_looked_at_beside_each() -> None:
    one = cue("one", Fade("lure", 80.0, 0), Fade("ear", 50.0, 0), Hold(500))
    eye = Eye(show_of(one))
    sight = eye.watch(one, eye.states.entries(one)[0])
    found = luminances(sight.sources)
    assert list(found) == [("lure",), ("ear",), ("lure", "ear")]
    alone = Eye(show_of(one, lights=(LURE,)))
    only = alone.watch(one, alone.states.entries(one)[0])
    assert list(luminances(only.sources)) == [("lure",)]


# -- until when an effect stays -------------------------------------------------------------------

GLOW = cue("glow", Effect("lure", "ember", 200), Hold(700))


@pytest.mark.parametrize(
    ("others", "idle", "until"),
    [
        # nothing takes it off
        ((), (), inf),
        # idle does, as it has the light
        ((cue("still", Fade("lure", 5.0, 100)),), ("still",), 1700.0),
        ((cue("still", Fade("ear", 5.0, 100)),), ("still",), inf),
        # whatever runs beside
        (
            (cue("still", Fade("lure", 5.0, 100)), cue("beside", Fade("ear", 9.0, 50))),
            ("still",),
            1700.0,
        ),
        (
            (cue("still", Fade("lure", 5.0, 100)), cue("other", Fade("lure", 9.0, 50))),
            ("still",),
            1700.0,
        ),
    ],
)
def test_an_effect_that_is_left_on_stays_until_idle_takes_it_off(
    others: tuple[Cue, ...], idle: tuple[str, ...], until: float
) -> None:
    eye = Eye(show_of(GLOW, *others, idle=idle))
    sight = eye.watch(GLOW, eye.states.entries(GLOW)[0])
    assert eye._stays_until(sight, "lure") == until


def test_an_effect_that_is_stated_again_while_it_goes_on_is_looked_at_once() -> None:
    """Its thousand statements are one piece, and so a repeat takes no longer for laying it anew."""
    again = Repeat(InTurn((Effect("lure", "ember", 200), Fade("lure", 80.0, 20))), 1000)
    one = cue("one", again, Effect("lure", "steady", 0), Hold(60))
    eye = Eye(show_of(one))
    sight = eye.watch(one, eye.states.entries(one)[0])
    pieces = sight.trajectories.effects["lure"]
    assert len(pieces) < 6
    ((piece, effect, until),) = eye._stays(sight, "lure", pieces)
    assert (effect.name, until) == ("ember", pytest.approx(21_000.0, abs=400.0))
    laid = list(eye._laid(sight))
    assert [found.effect.name for found in laid] == ["ember"] * len(laid)
    assert max(found.lasts_ms for found in laid) == until - piece.start_ms


def test_effects_that_come_and_go_count_among_what_is_watched() -> None:
    """Without them a search for a passing number goes on for minutes."""
    turns = (Effect("lure", "ember", 200), Hold(20), Effect("lure", "breathe", 300), Hold(20))
    one = cue("one", Repeat(InTurn(turns), 500))
    eye = Eye(show_of(one))
    eye.sights(one)
    assert eye._statements > 1000


def test_what_is_held_counts_as_long_as_it_may_be_held() -> None:
    beat = InTurn((Fade("lure", 80.0, 10), Fade("lure", 5.0, 10)))
    tapped, endless = cue("one", Repeat(beat, 1, while_held=True)), cue("one", Repeat(beat, None))
    held, never = Eye(show_of(tapped)), Eye(show_of(endless))
    for kept, without_end in zip(held.effort(tapped), never.effort(endless), strict=True):
        assert kept > without_end > 300


def test_an_effect_that_another_takes_off_is_looked_at_each_time_it_comes_back() -> None:
    turns = (Effect("lure", "ember", 200), Hold(500), Effect("lure", "breathe", 300), Hold(500))
    one = cue("one", Repeat(InTurn(turns), 3))
    eye = Eye(show_of(one))
    sight = eye.watch(one, eye.states.entries(one)[0])
    found = list(eye._stays(sight, "lure", sight.trajectories.effects["lure"]))
    assert [effect.name for _, effect, _ in found] == ["ember", "breathe"] * 3
    assert [piece.start_ms for piece, _, _ in found] == [980.0 + 500.0 * n for n in range(6)]


def test_what_idle_itself_leaves_on_stays() -> None:
    idle = Cue("idle", "", Repeat(GLOW.body, None))
    eye = Eye(show_of(idle, idle=("idle",)))
    sight = eye.watch(idle, eye.states.entries(idle)[0])
    assert eye._stays_until(sight, "lure") == inf


# -- patience -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "most"),
    [("_frames", 600_000), ("_statements", 200_000), ("_pixels", 60_000_000), ("_looks", 900_000)],
)
def test_the_eye_tires_after_twice_what_all_cues_may_take(name: str, most: int) -> None:
    eye = Eye(show_of(GLOW))
    setattr(eye, name, most)
    assert not eye.is_tired
    setattr(eye, name, most + 1)
    assert eye.is_tired


def test_each_rehearsal_counts_its_frames_and_fades() -> None:
    """Found dark or bright, each 1 s, 2480 ms and 1 s of frames of 20 ms."""
    one = cue("one", *[Fade("lure", 80.0 - n, 0) for n in range(12)], Hold(2480))
    eye = Eye(show_of(one))
    assert eye._frames == eye._statements == eye._pixels == eye._looks == 0
    eye.flashes(one)
    assert eye._frames == 2 * (1000 + 2480 + 1000) // 20
    assert eye._statements >= 2 * 12
    eye.flashes(one)
    assert eye._frames == 2 * (1000 + 2480 + 1000) // 20


def test_judging_a_cue_counts_its_pixels_and_the_looks_at_its_patterns() -> None:
    """A strip of five pixels whose pixels differ, beside a lamp: six in each frame."""
    white = StripLight((255, 255, 255), 100.0)
    body = (Fade("belly", white, 0), Effect("belly", "run", 250, 80.0), Hold(6000))
    one = cue("one", *body)
    eye = Eye(show_of(one, lights=(LURE, BELLY)))
    eye.flashes(one)
    assert eye._pixels == 6 * eye._frames > 0
    entries = len(eye.states.entries(one))
    assert eye._looks == entries * (eye.looks(one) + eye.further_looks(one)) > 0
    two = cue("two", Fade("belly", white, 0), Effect("belly", "run", 250, 90.0), Hold(3000))
    again = Eye(show_of(one, two, lights=(LURE, BELLY)))
    for each in (one, two):
        again.flashes(each)
    both = [
        len(again.sights(each)) * (again.looks(each) + again.further_looks(each))
        for each in (one, two)
    ]
    assert min(both) > 0
    assert again._looks == sum(both)


def test_only_kinds_and_lights_that_change_are_among_the_changes() -> None:
    """A white lamp has no red changes, and one that stands still has none at all."""
    one = cue("one", *(step for n in (80.0, 5.0) for step in (Fade("lure", n, 0), Hold(300))))
    eye = Eye(show_of(one))
    sight = eye.watch(one, eye.states.entries(one)[0])
    assert set(sight.changes) == {("general", "lure"), ("general", "")}
    assert set(sight.changes_of_two(("lure", "ear"))) == {("general", ("lure", "ear"))}
    still = cue("still", Hold(300), Fade("lure", 5.0, 0))
    eye = Eye(show_of(still))
    assert eye.watch(still, eye.states.entries(still)[-1]).changes == {}


# -- what is told ---------------------------------------------------------------------------------


def blinks(light: float | StripLight, dark: float | StripLight, name: str, n: int) -> Repeat:
    beat = (Fade(name, light, 0), Hold(120), Fade(name, dark, 0), Hold(120))
    return Repeat(InTurn(beat), n)


def test_a_flash_from_the_first_state_names_none_and_the_worst_of_the_others_is_told() -> None:
    """Four blinks from dark; from bright the same light is first put out: no more flashes."""
    plain = cue("plain", blinks(100.0, 0.0, "lure", 4))
    (flash,) = Eye(show_of(plain)).flashes(plain)
    assert flash.finds is None
    assert flash.found.count == 4
    # three blinks and a half are a fourth flash only where the light was on before
    off, on = Fade("lure", 0.0, 0), Fade("lure", 100.0, 0)
    put_out = cue("put_out", off, Hold(120), blinks(100.0, 0.0, "lure", 3), on)
    (flash,) = Eye(show_of(put_out)).flashes(put_out)
    assert flash.finds is not None
    assert flash.finds.lights == {"lure": 100.0}


def test_a_pattern_on_a_strip_is_told_with_its_pixels_and_when_it_begins() -> None:
    white = StripLight((255, 255, 255), 100.0)
    body = (Fade("belly", white, 0), Hold(1000), Effect("belly", "breathe", 200, 100.0))
    one = cue("one", *body)
    eye = Eye(show_of(one, lights=(BELLY,)))
    found = [each for each in eye.flashes(one) if each.effect is not None]
    for flash in found:
        assert flash.found.outputs == ("belly",)
        assert flash.found.count >= 4
    whole = [each.found.count for each in eye.flashes(one)]
    assert max(whole) >= 4


def test_what_flashes_slowly_for_over_half_a_minute_is_a_row() -> None:
    """Three flashes a second for 31 s, and for 29."""
    for times, rows in ((93, 1), (87, 0)):
        beat = (Fade("lure", 100.0, 0), Hold(167), Fade("lure", 0.0, 0), Hold(167))
        one = cue("one", Repeat(InTurn(beat), times))
        found = Eye(show_of(one)).long_rows(one)
        assert len(found) == rows
        for each in found:
            assert each.outputs == ("lure",)
            assert each.row.lasts_s == pytest.approx(times * 0.334, abs=0.4)


@pytest.mark.parametrize(("changes", "rows"), [(151, 0), (152, 1)])
def test_a_row_of_just_half_a_minute_passes(changes: int, rows: int) -> None:
    """A change each 200 ms: 150 of them after the first take the 30 s that guidance allows."""
    levels = (100.0, 0.0)
    beats = [InTurn((Fade("lure", levels[n % 2], 0), Hold(200))) for n in range(changes)]
    one = cue("one", InTurn((Hold(400), *beats)))
    assert len(Eye(show_of(one)).long_rows(one)) == rows


def test_of_the_rows_of_one_cue_the_longest_is_told() -> None:
    """Where the lamp is lit already, the first change is none, and the row begins 200 ms later."""
    beat = (Fade("lure", 100.0, 0), Hold(200), Fade("lure", 0.0, 0), Hold(200))
    one = cue("one", InTurn((Hold(400), Repeat(InTurn(beat), 80))))
    lit = cue("lit", Fade("lure", 100.0, 0))
    eye = Eye(show_of(one, lit))
    assert len(eye.sights(one)) > 1
    (row,) = eye.long_rows(one)
    assert row.row.lasts_s == pytest.approx(159 * 0.2, abs=0.001)


@pytest.mark.parametrize(("still_ms", "ends"), [(0, False), (20, True), (40, True)])
def test_a_row_has_an_end_once_more_than_two_flashes_time_is_seen_behind_it(
    still_ms: int, ends: bool
) -> None:
    """The last change at 32.4 s, in the frame before; a second is watched behind the last fade.

    Flashes half a second apart are of one row, and a flash takes two changes: so after a change a
    row may go on for a second. With 20 ms more it is over, the last frame counted.
    """
    beat = (Fade("lure", 100.0, 0), Hold(200), Fade("lure", 0.0, 0), Hold(200))
    still = (Fade("lure", 100.0, 0), Fade("lure", 100.0, still_ms), Repeat(Hold(1000), None))
    one = cue("one", Hold(400), Repeat(InTurn(beat), 80), *still)
    (found,) = Eye(show_of(one)).long_rows(one)
    assert (found.row.end_ms == pytest.approx(32_380.0)) is ends
    assert (found.row.lasts_s == float("inf")) is not ends


def test_a_fast_pattern_is_told_in_the_time_of_its_cue_and_in_pixels_from_one_on() -> None:
    effect = Effect("belly", "run", 200, 80.0)
    laid = Laid("belly", effect, Lit((200.0, 200.0, 200.0), pixels=30), 5000.0, 700.0)
    found = _flash(laid, FastPattern("general", 5, 300.0, 400.0, (14, 22)))
    assert (found.found.at_ms, found.found.first_ms, found.found.last_ms) == (
        1000.0,
        1000.0,
        1400.0,
    )
    assert (found.found.outputs, found.found.count, found.effect) == (("belly",), 5, effect)
    assert found.pixels == (15, 22)
    whole = _flash(laid, FastPattern("general", 5, 300.0, 400.0, (0, 30)))
    assert whole.pixels is None


def test_pixels_of_a_strip_count_where_they_differ() -> None:
    """Frames of all sights, with the lamp as one pixel and the strip as five, or as one."""
    plain = cue("plain", Effect("belly", "breathe", 250, 80.0), Hold(6000))
    moving = cue("moving", Effect("belly", "run", 250, 80.0), Hold(6000))
    for one, count in ((plain, 1 + 1), (moving, 1 + 5)):
        eye = Eye(show_of(one, lights=(LURE, BELLY)))
        frames, _ = eye.effort(one)
        assert frames > 0
        assert eye.pixels(one) == frames * count


def test_what_an_earlier_eye_has_watched_is_not_watched_again_and_counts_the_same() -> None:
    same = cue("same", *[Fade("lure", 80.0, 0), Hold(100), Fade("lure", 0.0, 0), Hold(100)] * 5)
    other = cue("other", Fade("lure", 60.0, 0), Hold(200), Fade("lure", 5.0, 0))
    changed = cue("other", Fade("lure", 60.0, 0), Hold(220), Fade("lure", 5.0, 0))
    before = Eye(show_of(same, other))
    before.sights(same), before.sights(other)
    fresh, after = Eye(show_of(same, changed)), Eye(show_of(same, changed), None, before)
    assert after.flashes(same) == fresh.flashes(same) != ()
    assert all(a is b for a, b in zip(after.sights(same), before.sights(same), strict=True))
    for new, old in zip(after.sights(changed), before.sights(other), strict=True):
        assert new.times_ms[-1] == old.times_ms[-1] + 20.0
    fresh.sights(changed)
    assert after.is_tired == fresh.is_tired
    assert after._frames == fresh._frames
    assert after._statements == fresh._statements


def test_an_eye_for_other_lights_watches_for_itself() -> None:
    one = cue("one", Fade("lure", 80.0, 0), Hold(500))
    before = Eye(show_of(one))
    before.sights(one)
    red = replace(LURE, colour=(255, 0, 0))
    sight = Eye(show_of(one, lights=(red,)), None, before).sights(one)[0]
    assert sight is not before.sights(one)[0]


def test_a_row_of_flashes_needs_changes_that_go_on() -> None:
    """Four changes in one second among long fades make no row of half a minute."""
    beat = Fade("lure", 80.0, 0), Hold(200), Fade("lure", 0.0, 0), Hold(200)
    restless = cue("one", *beat * 80)
    assert Eye(show_of(restless)).may_make_row(restless)
    short = cue("one", *beat * 70)
    assert not Eye(show_of(short)).may_make_row(short)
    apart = cue("one", *(beat * 40 + (Hold(2000),)) * 3)
    assert not Eye(show_of(apart)).may_make_row(apart)
