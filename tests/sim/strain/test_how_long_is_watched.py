"""How long cues are watched, what they then carry out, and what their effects lie on, by hand.

The limits are the project's own; an effect of a beat up to 500 ms can make a row of flashes, which
is too long from 30 s on (`sim.light.sequences`).
"""

from __future__ import annotations

from math import inf
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.model import (
    Board,
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Move,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Strip,
    StripLight,
    Together,
)
from sim.rehearsal.trajectories import Fading
from sim.rulebook import EFFECT_SOFT_MS
from sim.score.tree import children, duration_ms
from sim.strain.eye import Eye, _lights_under, least_passing_ms
from sim.strain.watched import carried_out, may_last, watched_ms

BOARDS = (Board("b", "any", 1),)


def fade(ms: int, to: float = 90.0, name: str = "lure") -> Fade:
    return Fade(name, to, ms)


def effect(kind: str, period: int, name: str = "lure") -> Effect:
    return Effect(name, kind, period)  # type: ignore[arg-type]


def cue(*steps: Step) -> Cue:
    return Cue("c", "", InTurn(steps))


def endless(*steps: Step) -> Repeat:
    return Repeat(InTurn(steps), None)


@pytest.mark.parametrize(
    ("one", "ms"),
    [
        (cue(Hold(0)), 0),
        (cue(fade(100), Hold(4000)), 4100),
        (cue(Hold(3_600_000)), 600_000),
        # what has no end: three passes and three seconds
        (cue(endless(fade(100), Hold(400))), 3 * 500 + 3000),
        (cue(Hold(1000), endless(fade(100), Hold(400))), 3 * 1500 + 3000),
        (cue(endless(Hold(400))), 3000),
        (cue(fade(5000), endless(Hold(400))), 5000),
        # of several, three passes of the longest; what stands behind one never comes
        (Cue("c", "", Together((endless(fade(100)), endless(fade(700))))), 3 * 700 + 3000),
        (cue(endless(fade(100), Hold(400)), fade(100)), 3 * 500 + 3000),
        (cue(fade(5000), endless(Move("jaw", 9, 400))), 5000),
        # an effect that is left on: a regular one three seconds, an irregular one a row
        (cue(effect("breathe", 500)), 3000),
        (cue(Hold(700), effect("run", 500), Hold(100)), 3700),
        (cue(effect("breathe", 501)), 0),
        (cue(effect("steady", 1)), 0),
        (cue(effect("ember", 250)), 35_000),
        (cue(effect("ember", 251)), 0),
        (cue(fade(50), effect("sparkle", 500)), 35_050),
        (cue(effect("breathe", 500), effect("sparkle", 500, "eye")), 180_000),
        (cue(fade(70), effect("breathe", 500), effect("breathe", 500, "eye")), 180_070),
        # two that are slow enough, or one on top of the other, never mix
        (cue(effect("breathe", 2000), effect("breathe", 2000, "eye")), 0),
        (cue(effect("sparkle", 500), effect("breathe", 500)), 35_000),
        # beside a repeat of lights an effect never comes round with it, one that it lays does
        (Cue("c", "", Together((effect("breathe", 400), endless(fade(90, 5.0, "eye"))))), 60_090),
        (Cue("c", "", Together((effect("breathe", 400), endless(Hold(90))))), 3000),
        (cue(endless(effect("breathe", 900), Hold(400))), 3 * 400 + 3000),
        (cue(Repeat(InTurn((effect("breathe", 900), Hold(400))), 5)), 2000),
    ],
)
def test_a_cue_is_watched_until_it_comes_round(one: Cue, ms: int) -> None:
    assert watched_ms(one) == ms


@pytest.mark.parametrize(("ms", "lasts"), [(30_000, False), (30_001, True)])
def test_what_ends_within_half_a_minute_makes_no_long_row(ms: int, lasts: bool) -> None:
    one, short = cue(fade(100), Hold(ms - 100)), cue(fade(100))
    assert may_last(one, (short, one)) is lasts
    assert may_last(one, (short,)) is False
    assert may_last(cue(effect("run", 500)), ()) is True
    assert may_last(cue(effect("run", 501)), ()) is False


# -- what is carried out --------------------------------------------------------------------------


def played(step: Step, at: float, until: float) -> int:
    """Fades and effects that start by then, each pass counted by walking through it."""
    if at > until:
        return 0
    if isinstance(step, Fade | Effect):
        return 1
    if isinstance(step, Repeat):
        once, count, n = duration_ms(step.body), 0, 0
        while (step.times is None or n < step.times) and at + n * once <= until:
            count += played(step.body, at + n * once, until)
            n += 1
        return count
    count = 0
    for child in children(step):
        count += played(child, at, until)
        if not isinstance(step, Together):
            at += duration_ms(child)
    return count


def tree_of(dice: Random, depth: int = 0) -> Step:
    if depth > 3 or dice.random() < 0.4:
        return dice.choice((fade(100), fade(300, 9.0, "eye"), Hold(250), effect("ember", 300)))
    inside = tuple(tree_of(dice, depth + 1) for _ in range(dice.randint(1, 3)))
    if dice.random() < 0.6:
        return InTurn(inside) if dice.random() < 0.6 else Together(inside)
    return Repeat(InTurn((*inside, Hold(100))), dice.choice((2, 5, None)))


@given(st.integers(0, 1 << 40), st.sampled_from([400, 2000, 5000]))
def test_no_cue_carries_out_more_statements_than_are_counted_for_it(seed: int, ms: int) -> None:
    one = Cue("c", "", tree_of(Random(seed)))
    assert played(one.body, 0.0, ms) <= carried_out(one, ms)


@pytest.mark.parametrize(
    ("step", "ms", "count"),
    [
        (InTurn((fade(100), fade(100), effect("ember", 300), Hold(9))), 1000, 3),
        (Repeat(InTurn((fade(100), fade(100))), 3), 10_000, 6),
        # a pass of 200 ms begins six times within a second, both ends counted
        (Repeat(InTurn((fade(100), fade(100))), None), 1000, 12),
        (Repeat(InTurn((fade(100), fade(100))), 4), 1000, 8),
        (Repeat(InTurn((fade(100), fade(100))), 7), 1000, 12),
        (Repeat(InTurn((Repeat(fade(100), 3), fade(200))), 2), 5000, 2 * 3 + 2),
        # no more passes of the inner one than fit into the whole time
        (Repeat(Repeat(fade(100), 5), None), 1000, 11),
        (Repeat(fade(100), None, while_held=True), 1000, 1),
        (Repeat(fade(0), None), 10, 11),
        (Repeat(fade(90_000), None), 1000, 2),
    ],
)
def test_statements_of_repeats_count_by_their_passes(step: Step, ms: int, count: int) -> None:
    assert carried_out(Cue("c", "", step), ms) == count


def test_the_effort_of_a_cue_is_its_frames_from_every_state_and_way_to_run() -> None:
    """Twenty fades in 1 s, found dark, bright or on the way: 3 * 1000 / 20 frames, 3 * 20 fades."""
    quick = Cue("quick", "", Repeat(InTurn((fade(50), fade(50, 0.0))), 10))
    calm = Cue("calm", "", fade(500))
    eye = Eye(Show(Rig((), BOARDS, (Lamp("lure", "b", 9),)), Score("t", (quick, calm))))
    assert eye.effort(quick) == (3 * 50, 3 * 20)
    assert eye.effort(calm) == (0, 0)
    assert eye.looks(calm) == 0


# -- what effects lie on --------------------------------------------------------------------------


def fading(start: float, lasts: float, origin: float, target: float) -> Fading:
    return Fading(start, start, (origin,), (target,), lasts)


@pytest.mark.parametrize(
    ("fadings", "lights"),
    [
        # both ends of a fade, the one it leaves until it has arrived
        ((fading(1000, 500, 20.0, 90.0),), {(20.0,): 1500.0, (90.0,): 4000.0}),
        # one that was over before is there with its end alone
        ((fading(0, 100, 20.0, 90.0),), {(90.0,): 4000.0}),
        # one that the next cuts short never arrives
        (
            (fading(1000, 500, 20.0, 90.0), fading(1200, 100, 48.0, 5.0)),
            {(20.0,): 1200.0, (48.0,): 1300.0, (5.0,): 4000.0},
        ),
        # one that begins as the effect ends is not seen, nor is darkness
        ((fading(0, 0, 0.0, 60.0), fading(4000, 9, 60.0, 5.0)), {(60.0,): 4000.0}),
        ((fading(0, 0, 0.0, 60.0), fading(2000, 9, 60.0, 0.0)), {(60.0,): 2009.0}),
        # a light that comes again counts until the last time
        (
            (fading(0, 0, 0.0, 60.0), fading(1500, 0, 60.0, 5.0), fading(2000, 0, 5.0, 60.0)),
            {(60.0,): 4000.0, (5.0,): 2000.0},
        ),
        (
            (fading(0, 3000, 60.0, 5.0), fading(3200, 600, 5.0, 60.0), fading(3500, 0, 30.0, 1.0)),
            {(60.0,): 3000.0, (5.0,): 3500.0, (30.0,): 3500.0, (1.0,): 4000.0},
        ),
        ((fading(0, 9000, 60.0, 5.0),), {(60.0,): 4000.0, (5.0,): 4000.0}),
    ],
)
def test_an_effect_lies_on_both_ends_of_every_fade_under_it(
    fadings: tuple[Fading, ...], lights: dict[tuple[float, ...], float]
) -> None:
    assert dict(_lights_under(fadings, 1000.0, 4000.0)) == lights


def test_an_effect_left_on_lies_on_its_light_for_ever() -> None:
    assert _lights_under((fading(0, 0, 0.0, 60.0),), 1000.0, inf) == [((60.0,), inf)]


def test_of_the_same_effect_laid_twice_the_first_of_the_longest_counts() -> None:
    """1.5 s each, at 0 and at 2 s; then 4 s of it from 4 s on; and 0.32 s until it has gone."""
    twice = (effect("ember", 300), Hold(1500), effect("steady", 1), Hold(500))
    lit = (Fade("lure", 100.0, 0), *twice, *twice)
    lamp = Lamp("lure", "b", 9)
    one = Cue("c", "", InTurn(lit))
    eye = Eye(Show(Rig((), BOARDS, (lamp,)), Score("t", (one,))))
    (laid,) = eye._laid(eye.sights(one)[0])
    assert (laid.lasts_ms, laid.begins_ms) == (
        pytest.approx(1500.0 + EFFECT_SOFT_MS, abs=21.0),
        pytest.approx(0.0, abs=21.0),
    )
    longer = Cue("c", "", InTurn((*lit, effect("ember", 300), Hold(4000), effect("steady", 1))))
    eye = Eye(Show(Rig((), BOARDS, (lamp,)), Score("t", (longer,))))
    (laid,) = eye._laid(eye.sights(longer)[0])
    assert laid.lasts_ms == pytest.approx(4000.0 + EFFECT_SOFT_MS, abs=21.0)
    assert laid.begins_ms == pytest.approx(4000.0, abs=21.0)


def test_a_strips_group_is_as_large_as_it_is_seen_and_a_lamp_has_its_colour() -> None:
    strip = Strip("belly", "b", 3, pixels=9, channel_a=0.012, cap_a=0.4)
    lamp = Lamp("lure", "b", 9, colour=(255, 0, 0))
    body = InTurn((
        Fade("belly", StripLight((255, 255, 255), 100.0), 0), Fade("lure", 100.0, 0),
        effect("ember", 200, "belly"), effect("ember", 200),
    ))  # fmt: skip
    one = Cue("c", "", body)
    eye = Eye(Show(Rig((), BOARDS, (strip, lamp)), Score("t", (one,))))
    laid = {each.output: each.lit for each in eye._laid(eye.sights(one)[0])}
    assert laid["lure"].colour == (1.0, 0.0, 0.0)
    assert (laid["belly"].pixels, laid["belly"].cap_a, laid["belly"].channel_a) == (9, 0.4, 0.012)


# -- what would pass ------------------------------------------------------------------------------


@given(st.integers(1, 1000), st.integers(2, 3999))
def test_the_least_number_that_passes_is_found_to_the_millisecond(now: int, limit: int) -> None:
    found = least_passing_ms(now, lambda ms: ms >= limit, regular=True)
    doublings = [now * factor for factor in (2, 4, 8, 16) if now * factor <= 4000]
    if not any(ms >= limit for ms in doublings):
        assert found is None
    else:
        assert found == max(now + 1, limit)


def test_of_an_effect_only_periods_that_pass_for_a_reason_and_doublings_are_tried() -> None:
    tried: list[int] = []

    def passes(ms: int) -> bool:
        tried.append(ms)
        return ms >= 1300

    found = least_passing_ms(300, passes, regular=False)
    assert tried == sorted(tried)
    assert found == tried[-1]
    assert {600, 1200} <= set(tried)
    assert least_passing_ms(3000, lambda ms: True, regular=True) is None
    assert least_passing_ms(2000, lambda ms: True, regular=True) == 2001


def test_sixteen_times_as_long_is_the_last_that_is_tried() -> None:
    tried: list[int] = []
    assert least_passing_ms(10, lambda ms: bool(tried.append(ms)), regular=True) is None
    assert tried == [20, 40, 80, 160]
