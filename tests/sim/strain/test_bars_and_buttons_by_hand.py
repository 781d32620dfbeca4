"""How often pixels of a bar may change while buttons are pressed: figures worked out by hand.

A window is a second, a frame, and one more in which a run starts before it is seen: 52 frames of
20 ms. The quickest finger presses every 120 ms, six frames: after the run that goes on already,
nine begin within a window (0, 6, ... 48). A white strip of 33.3 mm pitch has groups of one pixel
at 0.5 m (0.006 sr are 1,500 mm2, a pixel 1,109): a tenth of a pixel is a change.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.model import (
    BLACK,
    Conflict,
    Cue,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Law,
    LevelBar,
    OneOf,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Strip,
    StripLight,
    Together,
    Wearer,
)
from sim.strain.bar_light import changes_of_bar, contrast, is_capped, may_be_red
from sim.strain.bar_pressed import Pressed, _written_out
from sim.strain.light_bound import LightBound
from sim.strain.light_states import LightStates
from sim.strain.ways_of_runs import FRAMES, LightRun, LightWay

WHITE = StripLight((255, 255, 255))
LEVEL, TUBE = Lamp("level", "b", 9), Strip("tube", "b", 3, pixels=60, safe=WHITE)
BAR = LevelBar("tube", "level")


def show(*cues: Cue, tube: Strip = TUBE, idle: tuple[str, ...] = (), near_m: float = 0.5) -> Show:
    rig = Rig((), (), (LEVEL, tube), wearer=replace(Wearer(), viewing_m=near_m), bars=(BAR,))
    return Show(rig, Score("t", cues, idle=idle))


def pressed(made: Show) -> Pressed:
    return Pressed(made, LightBound(made), LightStates(made))


def cue(name: str, *steps: Step, busy: Conflict = "take") -> Cue:
    return Cue(name, "", InTurn(steps), busy)


def to(level: float, lasts_ms: int = 100) -> Fade:
    return Fade("level", level, lasts_ms)


def in_turn(made: Show) -> int:
    asked = [one for one in made.score.cues if one.name not in made.score.idle]
    return int(pressed(made).in_quick_turn(BAR, asked).most)


FILL, DRAIN = cue("fill", to(80.0)), cue("drain", to(20.0))


def test_two_buttons_turn_a_level_at_every_press() -> None:
    found = pressed(show(FILL, DRAIN)).in_quick_turn(BAR, (FILL, DRAIN))
    assert found.most == 1 + 9
    assert set(found.cues) == {"fill", "drain"}


def test_a_button_that_leads_to_one_place_turns_nothing() -> None:
    assert in_turn(show(FILL)) == 1
    assert in_turn(show(FILL, cue("again", to(80.0, 900)))) == 1


def test_a_button_that_goes_there_and_back_turns_twice_a_press() -> None:
    """The second fade begins 100 ms after a press; it is seen for a frame before the next one."""
    assert in_turn(show(cue("beat", to(80.0), to(20.0, 100)))) == 1 + 2 * 9


def test_cues_that_refuse_run_to_their_end() -> None:
    """Of half a second: 25 frames. They begin at 0, 25 and 50."""
    cues = [cue(n, to(x), Hold(400), busy="refuse") for n, x in (("a", 80.0), ("b", 20.0))]
    assert in_turn(show(*cues)) == 1 + 3
    cues[1] = replace(cues[1], conflict="take")
    assert in_turn(show(*cues)) == 1 + 9


def test_a_cue_that_waits_behind_the_presses_adds_all_that_it_does_by_itself() -> None:
    """Nobody knows when it begins: its three ways come on top of what refuses to come at all."""
    waits, refuses = (
        cue("dance", *(to(level, 100) for level in (60.0, 30.0, 60.0)), busy=busy)
        for busy in ("wait", "refuse")
    )
    assert in_turn(show(FILL, DRAIN, waits)) == in_turn(show(FILL, DRAIN, refuses)) + 3


def test_idle_that_has_the_level_between_adds_its_ways() -> None:
    """Each press brings the level up for 40 ms; idle brings it back before the next one."""
    breath = cue("breath", to(50.0, 3000), to(40.0, 3000))
    alone, beside = show(cue("pulse", to(80.0, 40))), (cue("pulse", to(80.0, 40)), breath)
    assert in_turn(alone) == 1
    assert in_turn(show(*beside, idle=("breath",))) >= 2 * 9


@pytest.mark.parametrize(("lasts_ms", "most"), [(6000, 10), (60_000, 8), (120_000, 5)])
def test_a_way_counts_when_the_bar_has_gone_a_tenth_of_a_group(lasts_ms: int, most: int) -> None:
    """In a minute the end goes up 48 of 60 pixels, from dark, and a tenth of one takes 125 ms, six
    frames; down it goes 36, and eight. Of nine presses five lead up and four down, the last for
    four frames: 1 + 4 + 4 / 6 + 4 * 6 / 8 is 8.7. In two minutes each that leads up counts half,
    and so does the next one that goes on there: 1 + 8 / 2 + 4 / 12 is 5.3.
    """
    assert in_turn(show(cue("fill", to(80.0, lasts_ms)), cue("drain", to(20.0, lasts_ms)))) == most


def test_nearer_eyes_see_smaller_groups() -> None:
    """At 2 m 0.006 sr are 24,000 mm2, 21 pixels: a change takes 2.1 of them, 13 frames or more."""
    cues = cue("fill", to(80.0, 6000)), cue("drain", to(20.0, 6000))
    assert in_turn(show(*cues)) == 10
    assert in_turn(show(*cues, near_m=2.0)) <= 1 + 9 * 6 / 13


def test_one_cue_behind_another_adds_what_it_does_from_its_start() -> None:
    """Four ways of 240 ms: of one cue four lie in half a window and more, and so of the other."""
    four = [to(level, 240) for level in (80.0, 20.0, 80.0, 20.0)]
    a, b, calm = cue("a", *four), cue("b", to(50.0, 240), *four), cue("calm", to(20.0, 2000))
    bound = pressed(show(a, b, calm))
    assert bound.taken_over(BAR, a, calm).most <= 6
    assert changes_of_bar(LightBound(show(a, b)), (a, b), BAR)[0] < 8
    quick = [to(level, 120) for level in (80.0, 20.0, 80.0, 20.0)]
    c, d = cue("c", Hold(900), *quick), cue("d", *quick)
    assert pressed(show(c, d)).taken_over(BAR, c, d).most >= 8


def test_what_draws_or_chooses_counts_with_its_busiest_second() -> None:
    either = cue("either", OneOf((to(80.0), InTurn((to(20.0), to(80.0))))))
    assert in_turn(show(either)) >= 9
    often = cue("often", Repeat(InTurn((to(80.0, 60), to(20.0, 60))), 500))
    assert in_turn(show(often)) >= 9


def test_what_stands_behind_a_pose_that_is_held_counts_as_let_go() -> None:
    """Held without end, nothing comes behind it; let go at once, the level comes back."""
    waits = Repeat(Hold(100), 1, while_held=True)
    gape = cue("gape", to(80.0, 40), waits, to(20.0, 40))
    assert in_turn(show(gape)) == in_turn(show(cue("beat", to(80.0, 40), Hold(100), to(20.0, 40))))
    assert in_turn(show(cue("stay", to(80.0, 40), Repeat(Hold(100), None), to(20.0, 40)))) == 1
    assert pressed(show(gape, DRAIN)).taken_over(BAR, gape, DRAIN).most == 2


def test_the_strips_own_light_counts_among_the_presses() -> None:
    lit = [cue(n, Fade("tube", x, 100)) for n, x in (("on", WHITE), ("off", BLACK))]
    assert in_turn(show(*lit)) == 10
    assert in_turn(show(*lit, FILL)) == 1 + 2 * 10 - 1


# -- what a bar can be ----------------------------------------------------------------------------


def test_a_cap_dims_no_short_bar_and_turns_a_pixel_twice() -> None:
    """60 pixels take 3.6 A at full white; a cap of 0.18 A leaves a twentieth, or three at full."""
    capped = replace(TUBE, cap_a=0.18)
    states = LightStates(show(FILL, tube=capped))
    assert is_capped(capped, states)
    assert contrast(capped, states) == pytest.approx(10.0)
    assert is_capped(replace(TUBE, cap_a=3.7), LightStates(show(FILL))) is False
    assert is_capped(TUBE, LightStates(show(FILL))) is False
    made = show(FILL, DRAIN, tube=capped)
    assert in_turn(made) == 2 * 10
    assert changes_of_bar(LightBound(made), (FILL,), BAR, capped=True)[0] == 2


def test_a_cap_dims_where_trimmed_light_takes_more_than_it() -> None:
    """60 pixels of three channels at 20 mA take 3.6 A at full white, 1.8 A of half the light."""
    half = replace(TUBE, trims=(0.5, 0.5, 0.5))
    for tube, cap_a, dims in (
        (TUBE, 3.55, True),
        (TUBE, 3.65, False),
        (half, 1.75, True),
        (half, 1.85, False),
    ):
        capped = replace(tube, cap_a=cap_a)
        assert is_capped(capped, LightStates(show(FILL, tube=capped))) is dims


@pytest.mark.parametrize(
    ("grey", "trims", "red"),
    # linear 0.102 beside red's 1 is a share of 0.83, 0.202 one of 0.71 (IEC 61966-2-1)
    [
        (90, (), True),
        (124, (), False),
        (90, (0.5, 1.0, 1.0), False),
        (124, (1.0, 0.5, 0.5), True),
    ],
)
def test_trims_may_make_a_light_red_or_keep_it_from_being_so(
    grey: int, trims: tuple[float, ...], red: bool
) -> None:
    """WCAG 2.2 takes a share of 0.8."""
    tube = replace(TUBE, safe=StripLight((255, grey, grey)), trims=trims)
    assert may_be_red(tube, LightStates(show(FILL, tube=tube))) is red


@pytest.mark.parametrize(
    ("colour", "level", "red"),
    [((255, 0, 0), 10.0, True), ((255, 255, 255), 10.0, False), ((0, 255, 0), 100.0, False)],
)
def test_a_red_bar_counts_however_dim(
    colour: tuple[int, int, int], level: float, red: bool
) -> None:
    tube = replace(TUBE, safe=StripLight(colour, level))
    states = LightStates(show(FILL, tube=tube))
    assert may_be_red(tube, states) == red
    assert (contrast(tube, states) >= 1.0) == (red or level == 100.0)


def test_a_red_on_the_way_between_two_colours_counts() -> None:
    """Halfway from (255, 150, 0) to (255, 0, 150) both other channels are at half of their L*."""
    ends = StripLight((255, 150, 0)), StripLight((255, 0, 150))
    made = show(
        cue("hue", *(Fade("tube", one, 500) for one in ends)), tube=replace(TUBE, safe=BLACK)
    )
    assert may_be_red(TUBE, LightStates(made))


def needs(made: Show, name: str = "fill") -> list[int]:
    """After how many frames each fade of a cue can have gone far enough to count."""
    return [way.needs for way in ways_of(made, name)]


@pytest.mark.parametrize(
    ("lasts_ms", "frames"),
    # a tenth of one of 60 pixels are 1/6 percent of the level, of 80: so a 480th of the time
    [(0, 1), (18_000, 1), (19_200, 2), (60_000, 6), (499_200, 52), (508_800, 52), (1_200_000, 52)],
)
def test_a_slow_fade_needs_its_time_to_be_seen_but_no_more_than_a_window(
    lasts_ms: int, frames: int
) -> None:
    assert needs(show(cue("fill", to(80.0, lasts_ms)))) == [frames]


def test_a_fade_goes_as_far_as_from_the_last_ones_end_or_from_anywhere() -> None:
    """In a minute 30 percent take 333 ms for the sixth of one, and 50 in 61 s take 203; 3-4-5 is
    15/8 as fast in its middle. What goes nowhere is never seen."""
    before, slow = to(80.0, 1000), to(50.0, 60_000)
    assert needs(show(cue("fill", before, slow))) == [1, 16]
    assert needs(show(cue("fill", before, Hold(500), slow))) == [1, 16]
    overlapping = Together((before, to(50.0, 61_000)), 999)
    assert needs(show(cue("fill", overlapping))) == [1, 10]
    assert needs(show(cue("fill", replace(to(80.0, 60_000), law=Law("3-4-5"))))) == [3]
    assert needs(show(cue("fill", before, to(80.0, 1000)))) == [1, FRAMES]
    # down from 80, where another cue has left it, or up from dark: 60 percent, 167 ms
    drain = cue("drain", to(20.0, 60_000))
    assert needs(show(drain, cue("fill", before)), "drain") == [8]


def test_the_least_way_counts_where_colour_or_a_cap_may_change_the_light() -> None:
    """Plain white takes six frames; red, capped, or lit by a cue it may change at once."""
    slow = cue("fill", to(80.0, 60_000))
    assert needs(show(slow)) == [6]
    assert needs(show(slow, tube=replace(TUBE, safe=StripLight((255, 0, 0))))) == [1]
    assert needs(show(slow, tube=replace(TUBE, cap_a=0.18))) == [1]
    assert needs(show(slow, tube=replace(TUBE, cap_a=3.7))) == [6]
    assert needs(show(slow, cue("lit", Fade("tube", WHITE, 100)))) == [1]
    # as dim as half of full luminance (L* 76: 0.499, CIE 1976) it takes twice as long, 251 ms
    assert needs(show(slow, tube=replace(TUBE, safe=StripLight((255, 255, 255), 76.0)))) == [12]
    # too dim to count by a tenth, a pixel as a whole does: 1,250 ms, or 125 of a tenth of the time
    dim = replace(TUBE, safe=StripLight((255, 255, 255), 30.0))
    assert needs(show(cue("fill", to(80.0, 6000)), tube=dim)) == [6]


@pytest.mark.parametrize(("lasts_ms", "frames"), [(0, 2), (1, 2), (2, 4), (3, 6)])
def test_a_cut_counts_as_a_millisecond(lasts_ms: int, frames: int) -> None:
    """Five pixels too dim for a tenth of one to count: 20 percent of the level, 40 times the half
    percent that it goes. So that takes 40 times as long: 40 ms, two frames, for each ms."""
    tube = replace(TUBE, pixels=5, safe=StripLight((255, 255, 255), 30.0))
    made = show(cue("fill", to(80.0, 1000), to(80.5, lasts_ms)), tube=tube)
    assert needs(made)[1] == frames


def test_of_two_bars_of_one_lamp_the_finer_one_is_seen_first() -> None:
    """120 pixels in place of 60 change by half of the way."""
    fine = Strip("fine", "b", 4, pixels=120, safe=WHITE)
    made = show(cue("fill", to(80.0, 60_000)))
    bars = (BAR, LevelBar("fine", "level"))
    for several in (bars, bars[::-1]):
        rig = replace(made.rig, outputs=(LEVEL, TUBE, fine), bars=several)
        assert needs(replace(made, rig=rig)) == [3]
    assert needs(replace(made, rig=replace(made.rig, bars=()))) == [1]
    # a bar of another lamp is nothing to this one
    other = Lamp("other", "b", 10)
    for bars in ((BAR, LevelBar("fine", "other")), (LevelBar("fine", "other"), BAR)):
        rig = replace(made.rig, outputs=(LEVEL, other, TUBE, fine), bars=bars)
        assert needs(replace(made, rig=rig)) == [6]


@pytest.mark.parametrize(("busy", "least"), [("take", 6.0), ("refuse", 10.0)])
def test_a_part_for_letting_go_comes_behind_any_of_the_ways_that_have_begun(
    busy: Conflict, least: float
) -> None:
    """Up for five frames and down for five; then, a frame on at the soonest, half up for five.

    A press and the next one leave time for both, so another run begins six frames on at the latest.
    """
    grab = replace(cue("grab", to(80.0), to(20.0), busy=busy), let_go="open")
    opens = cue("open", to(50.0))
    up, down = LightWay(0, 5, 80.0), LightWay(5, 10, 20.0)
    assert pressed(show(grab, opens))._runs(grab, "level", (grab,)) == [
        LightRun("grab", (up, down), least, 10.0),
        LightRun("grab", (LightWay(1, 6, 50.0),), 6.0, 6.0),
        LightRun("grab", (up, LightWay(1, 6, 50.0)), 6.0, 6.0),
        LightRun("grab", (up, down, LightWay(5, 10, 50.0)), 6.0, 10.0),
    ]


@pytest.mark.parametrize(
    ("times", "found", "whole"), [(399, 399, True), (400, 400, True), (401, 401, False)]
)
def test_of_more_than_four_hundred_passes_not_all_are_written_out(
    times: int, found: int, whole: bool
) -> None:
    fades: list[tuple[float, Fade]] = []
    body = Repeat(InTurn((Fade("level", 80.0, 0), Hold(10))), times)
    assert _written_out(body, "level", fades) or not whole
    assert len(fades) >= found
    made = show(Cue("many", "", body))
    assert all((way.target is None) is not whole for way in ways_of(made, "many"))


def ways_of(made: Show, name: str) -> tuple[LightWay, ...]:
    (one,) = (each for each in made.score.cues if each.name == name)
    return pressed(made)._ways(one, "level")


def test_what_takes_no_time_and_never_ends_comes_every_frame() -> None:
    found: list[tuple[float, Fade]] = []
    assert _written_out(Repeat(Fade("level", 80.0, 0), None), "level", found)
    assert [at for at, _ in found] == [20.0 * n for n in range(400)]
    found.clear()
    endless = Repeat(InTurn((Fade("level", 80.0, 0), Repeat(Hold(10), None))), 3)
    assert _written_out(endless, "level", found)
    assert [at for at, _ in found] == [0.0]


@pytest.mark.parametrize(("fades", "read"), [(400, True), (401, False), (402, False)])
def test_of_more_than_four_hundred_fades_nothing_is_known_of_when_they_come(
    fades: int, read: bool
) -> None:
    steps = (step for n in range(fades) for step in (Fade("level", 80.0 - n % 2, 0), Hold(100)))
    many = cue("many", *steps)
    ways = pressed(show(many))._ways(many, "level")
    assert (len(ways) == fades) == read
    assert all((way.start, way.end, way.target) == (0, FRAMES, None) for way in ways) != read


@pytest.mark.parametrize(
    ("times", "comes"),
    [
        (3, [500.0, 800.0, 1100.0]),
        # for ever: a second and a frame more are 51 frames, and twice as many are written out
        (None, [500.0 + 300.0 * n for n in range(8)]),
    ],
)
def test_passes_of_a_repeat_come_one_after_the_other(times: int | None, comes: list[float]) -> None:
    found: list[tuple[float, Fade]] = []
    body = Repeat(InTurn((Fade("level", 80.0, 0), Hold(300))), times)
    assert _written_out(InTurn((Hold(500), body)), "level", found)
    assert [at for at, _ in found] == comes
