"""Bounds on changes of light, and what cues find, each counted by hand.

A way is a light's rise or fall; the window is a second and a frame, 1,020 ms. Eight ways are four
flashes, one too many (WCAG 2.2, success criterion 2.3.1).
"""

from __future__ import annotations

from math import inf

import pytest

from sim.light.lightness import lightness, luminance
from sim.model import (
    BLACK,
    Binding,
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
    Together,
)
from sim.score.tree import duration_ms
from sim.strain.light_bound import LightBound, effect_ways
from sim.strain.light_states import STOP, LightStates, light_luminance, light_redness

LURE, EYE = Lamp("lure", "b", 9, safe_pct=5.0), Lamp("eye", "b", 10)
BELLY = Strip("belly", "b", 3, pixels=3, safe=StripLight((0, 0, 255), 20.0))


def show(*cues: Cue, lights: tuple[Lamp | Strip, ...] = (LURE, EYE), **score: object) -> Show:
    return Show(Rig((), (), lights), Score("t", cues, **score))  # type: ignore[arg-type]


def fade(ms: int, name: str = "lure") -> Fade:
    return Fade(name, 50.0, ms)


def bound(*steps: Step, lights: tuple[Lamp | Strip, ...] = (LURE, EYE)) -> float:
    cue = Cue("c", "", InTurn(steps))
    return LightBound(show(cue, lights=lights)).of(cue)


@pytest.mark.parametrize(
    ("steps", "ways"),
    [
        ((fade(100),), 1),
        # until its first fade the light may still be on the way that the cue finds it on
        ((Hold(500), fade(100)), 2),
        # while the one goes slowly, the other's way turns the sum of both twice
        ((fade(100), fade(100, "eye")), 2 * 3 - 1),
        # a window from the end of one to the start of the other holds both
        ((fade(100), Hold(1020), fade(100)), 2),
        ((fade(100), Hold(1021), fade(100)), 1),
        ((Hold(5000),), 0),
    ],
)
def test_fades_of_a_window_are_counted(steps: tuple[Step, ...], ways: int) -> None:
    assert bound(*steps) == ways


@pytest.mark.parametrize(
    ("times", "ways"), [(0, 0), (1, 2), (2, 4), (5, 10), (6, 12), (7, 12), (None, 12)]
)
def test_fades_of_a_repeat_count_by_the_passes_that_a_window_meets(
    times: int | None, ways: int
) -> None:
    """1,020 ms and 100 of the fade hold five passes of 200 ms and the beginning of a sixth."""
    assert bound(Repeat(InTurn((fade(100), fade(100))), times)) == ways


def test_a_repeat_that_takes_no_time_counts_all_its_passes() -> None:
    assert bound(Repeat(fade(0), 3)) == 3


def test_a_repeat_while_held_goes_on_and_nested_ones_count_by_the_inner_pass() -> None:
    pair = InTurn((fade(100), fade(100)))
    assert bound(Repeat(pair, 2, while_held=True)) == 12
    assert bound(Repeat(InTurn((Repeat(pair, 2), Hold(5000))), 2)) == 12


@pytest.mark.parametrize(
    ("name", "of_a_lamp", "of_a_strip"),
    # two whole beats of 500 ms, and one cut at either end; the steady light has none
    [("steady", 0, 0), ("breathe", 6, 6), ("ember", 4, 8), ("sparkle", 8, 8), ("run", 8, 8)],
)
def test_an_effect_counts_by_its_beats(name: str, of_a_lamp: int, of_a_strip: int) -> None:
    effect = Effect("lure", name, 500)  # type: ignore[arg-type]
    assert effect_ways(effect) == of_a_lamp
    assert effect_ways(effect, 3) == of_a_strip
    # the fade to full light, and the jump as the effect begins
    assert bound(Fade("lure", 100.0, 0), effect) == 2 + of_a_lamp
    if name != "steady":
        # a fade under the effect makes each of the two count twice
        assert bound(fade(100), effect, Hold(3000), fade(100)) == 2 * of_a_lamp + 2


def test_an_effect_beats_until_the_next_one_is_laid() -> None:
    quick, slow = Effect("lure", "breathe", 100), Effect("lure", "breathe", 1000)
    fast = bound(Fade("lure", 100.0, 0), quick)
    assert fast == 2 + 22
    # as the next one is laid, the beats of both and the jump meet in one window
    assert bound(Fade("lure", 100.0, 0), quick, Hold(3000), slow) == 22 + 1 + 4
    late = bound(Fade("lure", 100.0, 0), Hold(9000), slow)
    assert late == 1 + 4


def test_a_light_by_itself_and_all_together() -> None:
    cue = Cue("c", "", Together((fade(100), fade(100, "eye"))))
    found = LightBound(show(cue))
    assert (found.of(cue), found.of_light(cue, "lure"), found.of_light(cue, "none")) == (3, 1, 0)
    assert found.ways(cue) == 2
    # two lights, each one's own way in every run and the jump from one run to the next
    assert found.of_play(0) == 2 * 2 - 1
    assert found.of_play(3) == 2 * (2 * (4 + 3)) - 1
    assert found.of_play(1000) == 51
    assert LightBound(show()).of_play(2) == 2 * (2 * (3 + 2)) - 1
    alone = LightBound(show(cue, lights=(LURE,)))
    assert (alone.of(cue), alone.of_play(3)) == (1, 4 + 3)


def test_a_light_that_changes_while_no_other_does_counts_by_itself() -> None:
    """Both at the start; five seconds later one of them goes up and down twice."""
    row = [Fade("eye", 50.0 * (n % 2), 100) for n in range(4)]
    start = Together((fade(0), Fade("eye", 0.0, 0)))
    assert bound(start, Hold(5000), *row) == 4
    assert bound(start, Hold(5000), Together((fade(400), InTurn(tuple(row))))) == 2 * 5 - 1
    # a window from the end of the first fade holds all of them and what begins 1,020 ms later
    assert bound(start, Hold(5000), *row, Hold(720), fade(100)) == 2 * 5 - 1
    assert bound(start, Hold(5000), *row, Hold(721), fade(100)) == 2 * 4 - 1


@pytest.mark.parametrize(("times", "calm"), [(3, True), (4, False)])
def test_eight_ways_within_a_window_may_flash(times: int, calm: bool) -> None:
    cue = Cue("c", "", Repeat(InTurn((fade(100), fade(100))), times))
    assert LightBound(show(cue)).cannot_flash(cue) is calm


def test_a_cue_that_its_button_holds_counts_as_one_without_end() -> None:
    cue = Cue("c", "", InTurn((fade(100), fade(100))))
    held = show(cue, bindings=(Binding(1, "c", while_held=True),))
    assert LightBound(held).of(cue) == 12
    assert LightBound(show(cue, bindings=(Binding(1, "c"),))).of(cue) == 2


# -- what cues find -------------------------------------------------------------------------------


def test_a_light_is_left_dark_safe_or_where_any_cue_fades_it() -> None:
    cues = (Cue("a", "", InTurn((fade(10), Fade("lure", 5.0, 10)))), Cue("b", "", fade(90)))
    found = LightStates(show(*cues, lights=(LURE, EYE, BELLY)))
    assert found.left("lure") == (0.0, 5.0, 50.0)
    assert found.left("eye") == (0.0,)
    assert found.left("belly") == (BLACK, StripLight((0, 0, 255), 20.0))


def test_a_cue_finds_all_dark_then_all_bright_and_idle_the_safe_light_too() -> None:
    own = Cue("a", "", InTurn((fade(10), fade(10, "eye"))))
    other = Cue("b", "", Fade("lure", 90.0, 10))
    plain = LightStates(show(own, other))
    assert [dict(one.lights) for one in plain.entries(own)] == [
        {"lure": 0.0, "eye": 0.0},
        {"lure": 90.0, "eye": 50.0},
    ]
    idle = LightStates(show(own, other, idle=("a",))).entries(own)
    assert (dict(idle[-1].lights), idle[-1].from_dark) == ({"lure": 5.0, "eye": 0.0}, True)
    assert not idle[0].from_dark
    assert len(idle) == 3


def test_a_shallow_effect_finds_the_light_whose_dark_state_just_counts() -> None:
    """Luminance 0.80 is L* 91.68 (CIE 1976); half a percent below, and a fifth more on top."""
    cue = Cue("a", "", Effect("lure", "breathe", 500, 20.0))
    full = Cue("b", "", Fade("lure", 100.0, 10))
    (_, bright) = LightStates(show(cue, full)).entries(cue)
    assert bright.lights["lure"] == 100.0  # 80 is below 91 as it is
    faint = Cue("a", "", Effect("lure", "breathe", 500, 5.0))
    *_, chosen = LightStates(show(faint, full)).entries(faint)
    wanted = (float(lightness(0.8)) - 0.5) / 0.95
    assert chosen.lights["lure"] == pytest.approx(wanted)
    faded = Cue("a", "", InTurn((fade(10), Effect("lure", "breathe", 500, 5.0))))
    assert len(LightStates(show(faded, full)).entries(faded)) == 2


def test_a_cue_runs_as_written_and_as_its_buttons_hold_it() -> None:
    loop = Cue("a", "", InTurn((fade(10), Repeat(Repeat(fade(10), 3, while_held=True), 2))))
    plain, held = LightStates(show(loop)).runs(loop)
    assert plain is loop
    assert duration_ms(plain.body) == 30
    assert duration_ms(held.body) == inf
    short = Cue("b", "", fade(10))
    bound_to = show(short, bindings=(Binding(1, "b", while_held=True),))
    assert [duration_ms(run.body) for run in LightStates(bound_to).runs(short)] == [10, inf]
    assert LightStates(show(short, bindings=(Binding(1, "b"),))).runs(short) == (short,)
    still = Cue("b", "", fade(0))
    assert LightStates(show(still, bindings=(Binding(1, "b", True),))).runs(still) == (still,)


def test_the_stop_fades_every_light_to_its_safe_one() -> None:
    stop = LightStates(show(lights=(LURE, BELLY), stop_ms=900)).stop()
    assert stop.name == STOP
    assert isinstance(stop.body, Together)
    assert stop.body.children == (
        Fade("lure", 5.0, 900),
        Fade("belly", StripLight((0, 0, 255), 20.0), 900),
    )


def test_luminance_and_redness_of_lights() -> None:
    """Full red has 0.2126 of white's luminance (IEC 61966-2-1); a lamp's level has no colour."""
    red = StripLight((255, 0, 0), 100.0)
    assert light_luminance(red) == pytest.approx(0.2126)
    assert light_redness(red) == pytest.approx(1.0)
    assert light_redness(StripLight((255, 255, 0), 100.0)) == pytest.approx(0.0)
    assert light_redness(StripLight((255, 0, 255), 100.0)) == pytest.approx(0.0)
    assert light_redness(StripLight((0, 255, 0), 100.0)) == pytest.approx(-1.0)
    assert light_redness(80.0) == 0.0
    assert light_luminance(80.0) == pytest.approx(float(luminance(80.0)))


def test_idle_counts_its_lights_coming_on_at_power_up() -> None:
    """A frame before it starts, so a window from there holds a frame less of it."""
    steps = (fade(100), Hold(899), fade(100), fade(100, "eye"))
    cue = Cue("c", "", InTurn(steps))
    assert LightBound(show(cue)).of_light(cue, "lure") == 2
    idle = LightBound(show(cue, idle=("c",)))
    assert idle.of_light(cue, "lure") == 3
    # one that never comes to its end: else it would begin again
    stays = Repeat(Hold(1000), None)
    later = Cue("c", "", InTurn((fade(0), Hold(1001), fade(100), stays)))
    assert LightBound(show(later, idle=("c",))).of(later) == 2


def test_of_three_effects_in_turn_only_neighbours_meet() -> None:
    """Beats of 100 ms are 22 ways a window, and a jump where one follows another."""
    quick, slow = Effect("lure", "breathe", 100), Effect("lure", "breathe", 1000)
    lit = Fade("lure", 100.0, 0)
    assert bound(lit, quick, Hold(5000), slow, Hold(5000), quick) == 22 + 4 + 1
    assert bound(lit, quick, Hold(5000), slow, Hold(500), quick) == 22 + 4 + 22 + 1 + 1
    steady = Effect("lure", "steady")
    assert bound(lit, quick, Hold(5000), steady, Hold(5000), quick) == 22 + 2


def test_where_one_of_a_lights_effects_is_repeated_all_of_them_may_meet() -> None:
    """A repeat may lay its effect again over any of them; each laying cuts beats short."""
    quick, slow = Effect("lure", "breathe", 100), Effect("lure", "breathe", 1000)
    again = Repeat(InTurn((slow, Hold(5000))), 3)
    found = bound(Fade("lure", 100.0, 0), quick, Hold(5000), quick, Hold(5000), again)
    assert found == 22 + 22 + 4 + 3


@pytest.mark.parametrize(("fades", "of_each"), [(23, 1), (24, 2)])
def test_of_many_fades_and_effects_all_are_taken_to_meet(fades: int, of_each: int) -> None:
    """24 effects of one lamp with its own way of before, and fades of another one, beside them.

    Up to 24 times 24 of them are held against one another, and these never meet.
    """
    glow = InTurn(tuple(Effect("lure", "breathe", 500) for _ in range(24)))
    cues = Cue("c", "", Together((InTurn(tuple(fade(1, "eye") for _ in range(fades))), glow)))
    assert LightBound(show(cues)).of_light(cues, "eye") == fades * of_each
