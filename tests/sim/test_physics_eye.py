"""Flashes of whole shows: cues alone, cues started while another runs, effects."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from sim.light.flash import PASSING_EFFECT_MS, Flashing, passing_period_ms
from sim.model import (
    Binding,
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
from sim.strain.eye import Eye
from sim.strain.interrupted_light import InterruptedFlash, interruptions
from sim.strain.quick_fingers import hurry_in_turn

EYE = Lamp("eye", "b", 2, colour=(0, 0, 255))
EAR = Lamp("ear", "b", 3)
BELLY = Strip("belly", "b", 4, 30)
RED, DARK = StripLight((255, 0, 0)), StripLight((0, 0, 0))


def show_of(*cues: Cue, idle: tuple[str, ...] = ()) -> Show:
    rig = Rig((), (Board("b", "atmega328p", 1),), (EYE, EAR, BELLY))
    bindings = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, start=1))
    return Show(rig, Score("s", cues, bindings, idle=idle))


def blink(
    output: str, period: int, times: int, on: float | StripLight = 100.0,
    off: float | StripLight = 0.0,
) -> Repeat:  # fmt: skip
    half = period // 2
    beats = (Fade(output, on, 0), Hold(half), Fade(output, off, 0), Hold(period - half))
    return Repeat(InTurn(beats), times)


def flashing_of(body: Step) -> tuple[Flashing, ...]:
    cue = Cue("c", "", body)
    return tuple(one.found for one in Eye(show_of(cue)).flashes(cue))


def interruptions_of(*cues: Cue) -> list[InterruptedFlash]:
    return list(interruptions(Eye(show_of(*cues)), cues))


@pytest.mark.parametrize("period", [120, 200, 260, 280])
def test_a_fast_blink_is_found_with_its_second_and_count(period: int) -> None:
    (found,) = flashing_of(blink("eye", period, 10))
    assert found.kind == "general"
    assert found.outputs == ("eye",)
    assert abs(found.count - 1000.0 / period) < 1.1
    assert found.first_ms <= found.at_ms <= found.last_ms
    assert found.last_ms <= 10 * period + 100


@pytest.mark.parametrize("period", [340, 400, 1000])
def test_a_blink_at_the_passing_period_passes(period: int) -> None:
    assert period >= passing_period_ms()
    assert flashing_of(blink("eye", period, 10)) == ()


def test_three_blinks_pass_however_fast() -> None:
    assert flashing_of(blink("eye", 120, 3)) == ()
    assert flashing_of(blink("eye", 120, 4)) != ()


def test_shallow_flicker_passes() -> None:
    """L* 100 to 96 is a change of luminance of 9.9 %: under the threshold."""
    assert flashing_of(blink("eye", 120, 20, 100.0, 96.5)) == ()
    assert flashing_of(blink("eye", 120, 20, 100.0, 80.0)) != ()


def test_red_counts_as_red_too() -> None:
    kinds = {f.kind for f in flashing_of(blink("belly", 200, 10, RED, DARK))}
    assert kinds == {"general", "red"}


def test_two_lamps_in_turn_are_seen_together() -> None:
    parts = (blink("eye", 400, 6), InTurn((Hold(200), blink("ear", 400, 6))))
    found = flashing_of(Together(parts))
    assert all(set(f.outputs) == {"eye", "ear", "belly"} for f in found)
    white = Lamp("eye", "b", 2)
    rig = Rig((), (Board("b", "atmega328p", 1),), (white, EAR))
    short = Together(
        (
            Repeat(InTurn((Fade("eye", 100.0, 0), Hold(80), Fade("eye", 0.0, 0), Hold(320))), 6),
            InTurn(
                (
                    Hold(200),
                    Repeat(
                        InTurn((Fade("ear", 100.0, 0), Hold(80), Fade("ear", 0.0, 0), Hold(320))), 6
                    ),
                )
            ),
        )
    )
    cue = Cue("c", "", short)
    (pair,) = Eye(Show(rig, Score("s", (cue,)))).flashes(cue)
    assert pair.found.outputs == ("eye", "ear")
    assert pair.found.count >= 4


def test_an_effect_left_on_is_watched_after_its_cue() -> None:
    fast = InTurn((Fade("eye", 90.0, 0), Effect("eye", "breathe", 150, 100.0)))
    (found,) = flashing_of(fast)
    assert found.count >= 6
    slow = Effect("eye", "breathe", PASSING_EFFECT_MS["breathe"], 100.0)
    assert flashing_of(InTurn((Fade("eye", 90.0, 0), slow))) == ()


@pytest.mark.parametrize("colour", [(255, 255, 255), (255, 0, 0)])
def test_a_spot_that_runs_fast_flashes_in_every_group_of_pixels(
    colour: tuple[int, int, int],
) -> None:
    """The mean of the whole strip hardly changes; ten neighbours flash ten times a second."""
    run = Effect("belly", "run", 100, 100.0, width=15)
    lit = InTurn((Fade("belly", StripLight(colour), 0), run, Hold(5000)))
    found = flashing_of(lit)
    assert {f.kind for f in found} == ({"general", "red"} if colour[1] == 0 else {"general"})
    assert all(9 <= f.count <= 11 for f in found)
    slow = replace(run, period_ms=1000)
    assert flashing_of(InTurn((Fade("belly", StripLight(colour), 0), slow, Hold(5000)))) == ()


@pytest.mark.parametrize(
    ("output", "lights", "kinds"),
    [("eye", (100.0, 0.0), {"general"}), ("belly", (RED, DARK), {"general", "red"})],
)
def test_a_cue_is_judged_from_every_light_that_the_show_leaves(
    output: str, lights: tuple[float | StripLight, ...], kinds: set[str]
) -> None:
    """From dark the second cue stays dark; from where the first one leaves it, it flashes."""
    lit = Cue("lit", "", Fade(output, lights[0], 1000))
    pulse = (Effect(output, "breathe", 200, 100.0), Fade(output, lights[1], 5000))
    fading = Cue("fading", "", InTurn(pulse))
    assert Eye(show_of(fading)).flashes(fading) == ()
    eye = Eye(show_of(lit, fading))
    assert eye.flashes(lit) == ()
    found = eye.flashes(fading)
    assert {f.found.kind for f in found} == kinds
    for flash in found:
        assert flash.found.count >= 5
        assert flash.finds is not None
        assert flash.finds.lights[output] == lights[0]


def test_a_shallow_effect_counts_at_the_light_that_is_just_dark_enough() -> None:
    """At full light its darker state is above 0.80 and passes; fading brings every other light."""
    lit = Cue("lit", "", Fade("eye", 100.0, 1000))
    shallow = Cue("shallow", "", InTurn((Effect("eye", "breathe", 150, 8.0), Hold(2000))))
    found = Eye(show_of(lit, shallow)).flashes(shallow)
    assert [f.found.kind for f in found] == ["general"]


@pytest.mark.parametrize("while_held", [True, False])
def test_a_cue_that_is_held_is_judged_as_long_as_the_button_is_down(while_held: bool) -> None:
    once = Cue("once", "", InTurn((Fade("eye", 100.0, 100), Fade("eye", 0.0, 100))))
    score = replace(show_of(once).score, bindings=(Binding(1, "once", while_held),))
    found = Eye(replace(show_of(once), score=score)).flashes(once)
    assert bool(found) is while_held


def test_an_effect_left_on_counts_over_its_whole_pattern() -> None:
    """Of embers from 100 to 160 ms many flash too fast only after minutes."""
    for period in (100, 130, 160):
        ember = InTurn((Fade("eye", 100.0, 0), Effect("eye", "ember", period, 100.0, seed=3)))
        (found,) = flashing_of(Repeat(InTurn((ember, Hold(60_000))), 1))
        assert found.count >= 4


def test_an_effect_that_idle_takes_off_is_judged_while_its_cue_lasts() -> None:
    """Seed 4 flashes too fast after 40 s; the cue holds it for three."""
    ember = Effect("eye", "ember", 150, 100.0, seed=4)
    cue = Cue("short", "", InTurn((Fade("eye", 100.0, 0), ember, Hold(3000))))
    idle = Cue("idle", "", Fade("eye", 50.0, 1000))
    assert Eye(show_of(cue)).flashes(cue) != ()
    assert Eye(show_of(cue, idle, idle=("idle",))).flashes(cue) == ()


def test_a_pattern_that_flashes_late_is_told_when_it_does() -> None:
    """Seed 4 flashes too fast after 40 s; a hold before puts it off."""
    ember = Effect("eye", "ember", 150, 100.0, seed=4)
    first, later = (
        Cue("c", "", InTurn((Fade("eye", 100.0, 0), Hold(hold_ms), ember))) for hold_ms in (1, 701)
    )
    (early,) = Eye(show_of(first)).flashes(first)
    (late,) = Eye(show_of(later)).flashes(later)
    assert early.found.at_ms > 40_000.0
    assert late.found.at_ms == pytest.approx(early.found.at_ms + 700.0)
    assert 0.0 < early.found.last_ms - early.found.at_ms <= 1020.0
    assert (early.pixels, early.finds) == (None, None)
    assert early.effect == ember


def test_the_stop_can_be_one_change_too_many() -> None:
    """Three flashes and half another one; the stop takes the light the other half."""
    body = InTurn((blink("eye", 280, 3), Fade("eye", 100.0, 0), Hold(2000)))
    show = show_of(Cue("c", "", body))
    found = list(interruptions(Eye(show), show.score.cues))
    assert {f.then.name for f in found} >= {"stop"}


def test_long_rows_of_flashes_are_seen_and_short_ones_pass() -> None:
    """Guidance for events: thirty seconds at a time."""
    for times, expected in ((60, 0), (90, 1)):
        cue = Cue("c", "", blink("eye", 400, times))
        eye = Eye(show_of(cue))
        assert eye.flashes(cue) == ()
        rows = eye.long_rows(cue)
        assert len(rows) == expected
        for row in rows:
            assert row.outputs == ("eye",)
            assert row.row.lasts_s == pytest.approx(36.0, abs=1.0)
            assert row.row.rate == pytest.approx(2.5, abs=0.05)


def test_an_effect_left_on_can_be_a_row_without_an_end() -> None:
    for period, expected in ((450, 1), (550, 0)):
        body = InTurn((Fade("eye", 90.0, 0), Effect("eye", "breathe", period, 100.0)))
        cue = Cue("c", "", body)
        rows = Eye(show_of(cue)).long_rows(cue)
        assert len(rows) == expected
        assert all(row.row.lasts_s == inf for row in rows)


def test_a_cue_started_into_another_can_flash_where_neither_does() -> None:
    three = Cue("three", "", blink("eye", 300, 3))
    found = interruptions_of(three)
    assert ("three", "three") in [(f.first.name, f.then.name) for f in found]
    assert all(f.found.count == 4 for f in found)
    assert all(0.0 <= f.after_ms <= 900.0 for f in found)


@pytest.mark.parametrize(
    ("ends", "has_button", "follows"),
    [(True, False, True), (False, False, False), (False, True, True), (True, True, True)],
)
def test_idle_follows_a_cue_that_ends_or_comes_when_its_button_is_pressed(
    ends: bool, has_button: bool, follows: bool
) -> None:
    """Three flashes each: together they are six in a second and a bit."""
    three = blink("eye", 200, 3)
    first = Cue("first", "", three if ends else Repeat(InTurn((three, Hold(2000))), None))
    idle = Cue("idle", "", InTurn((three, Hold(3000))))
    show = show_of(first, idle, idle=("idle",))
    if not has_button:
        show = replace(show, score=replace(show.score, bindings=show.score.bindings[:1]))
    found = [one.then.name for one in interruptions(Eye(show), (first, idle))]
    assert ("idle" in found) == follows


def test_two_cues_beside_each_other_are_brought_together_where_both_are_busy() -> None:
    """Each pulses two and a half times a second, one of them only after six seconds."""

    def pulses(output: str) -> Repeat:
        beat = (Fade(output, 100.0, 0), Hold(80), Fade(output, 0.0, 0), Hold(320))
        return Repeat(InTurn(beat), 6)

    late = Cue("late", "", InTurn((Hold(6000), pulses("eye"))))
    early = Cue("early", "", pulses("ear"))
    show = show_of(late, early)
    white = tuple(replace(o, colour=(255, 255, 255)) if o == EYE else o for o in (EYE, EAR))
    show = replace(show, rig=replace(show.rig, outputs=white))
    found = {one.then.name: one for one in interruptions(Eye(show), show.score.cues)}
    assert found["early"].first.name == "late"
    assert found["early"].after_ms >= 5500
    assert found["early"].found.outputs == ("eye", "ear")


def test_two_embers_left_on_are_judged_together_for_long() -> None:
    """Each of the two passes for ever; their sum does not."""
    lit = (Fade("eye", 100.0, 0), Fade("ear", 100.0, 0))
    embers = (Effect("eye", "ember", 171, 100.0, 3), Effect("ear", "ember", 190, 100.0, 8))
    cue = Cue("two", "", InTurn((*lit, *embers)))
    white = Lamp("eye", "b", 2), EAR
    show = Show(Rig((), (Board("b", "atmega328p", 1),), white), Score("s", (cue,)))
    found = Eye(show).flashes(cue)
    assert [one.found.outputs for one in found] == [("eye", "ear")]
    one = Cue("two", "", InTurn((*lit, embers[0])))
    assert Eye(show).flashes(one) == ()


def test_two_buttons_in_turn_are_found_where_both_are_quick() -> None:
    up, down = Cue("up", "", Fade("eye", 100.0, 40)), Cue("down", "", Fade("eye", 0.0, 40))
    found = hurry_in_turn(Eye(show_of(up, down)), (up, down))
    assert found is not None
    assert {cue.name for cue in found.cues} == {"up", "down"}
    assert found.found.count == 4
    slow = replace(up, body=Fade("eye", 100.0, 6000))
    assert hurry_in_turn(Eye(show_of(slow, down)), (slow, down)) is None
    waiting = replace(up, conflict="wait")
    assert hurry_in_turn(Eye(show_of(waiting, down)), (waiting, down)) is None


def test_slow_cues_may_be_started_at_any_time() -> None:
    slow = Cue("slow", "", blink("eye", 800, 4))
    calm = Cue("calm", "", Fade("ear", 50.0, 1000))
    assert interruptions_of(slow, calm) == []


def test_cues_without_light_are_not_watched() -> None:
    assert flashing_of(Move("jaw", 10.0, 300)) == ()
