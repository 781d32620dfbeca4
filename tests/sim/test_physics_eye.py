"""Flashes of whole shows: cues alone, cues started while another runs, effects."""

from __future__ import annotations

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
from sim.strain.interrupted_light import Interruption, interruptions

EYE = Lamp("eye", "b", 2, colour=(0, 0, 255))
EAR = Lamp("ear", "b", 3)
BELLY = Strip("belly", "b", 4, 30)
RED, DARK = StripLight((255, 0, 0)), StripLight((0, 0, 0))


def show_of(*cues: Cue, idle: str | None = None) -> Show:
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
    return Eye(show_of(cue)).flashing(cue)


def interruptions_of(*cues: Cue) -> list[Interruption]:
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
    (pair,) = Eye(Show(rig, Score("s", (cue,)))).flashing(cue)
    assert pair.outputs == ("eye", "ear")
    assert pair.count >= 4


def test_an_effect_left_on_is_watched_after_its_cue() -> None:
    fast = InTurn((Fade("eye", 90.0, 0), Effect("eye", "breathe", 150, 100.0)))
    (found,) = flashing_of(fast)
    assert found.count >= 6
    slow = Effect("eye", "breathe", PASSING_EFFECT_MS["breathe"], 100.0)
    assert flashing_of(InTurn((Fade("eye", 90.0, 0), slow))) == ()


def test_a_fine_sparkle_balances_out_over_a_strip() -> None:
    """Pixels that flash on their own are the fine pattern that the definition excepts."""
    run = Effect("belly", "run", 200, 100.0, width=5)
    assert flashing_of(InTurn((Fade("belly", StripLight((255, 255, 255)), 0), run))) == ()


def test_a_cue_started_into_another_can_flash_where_neither_does() -> None:
    three = Cue("three", "", blink("eye", 300, 3))
    found = interruptions_of(three)
    assert [(f.first.name, f.then.name) for f in found] == [("three", "three")]
    assert all(f.found.count == 4 for f in found)
    assert all(0.0 <= f.after_ms <= 900.0 for f in found)


def test_slow_cues_may_be_started_at_any_time() -> None:
    slow = Cue("slow", "", blink("eye", 800, 4))
    calm = Cue("calm", "", Fade("ear", 50.0, 1000))
    assert interruptions_of(slow, calm) == []


def test_cues_without_light_are_not_watched() -> None:
    assert flashing_of(Move("jaw", 10.0, 300)) == ()
