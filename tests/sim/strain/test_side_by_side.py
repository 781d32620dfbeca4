"""Cues that run side by side: no phase of two in which they flash is passed over."""

from __future__ import annotations

import random
from contextlib import suppress
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from sim.light.flash import flashing
from sim.model import (
    Binding,
    Board,
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Press,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Strip,
    StripLight,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rulebook import FRAME_MS
from sim.score.threads import ThreadError, threads
from sim.score.tree import duration_ms
from sim.strain.eye import Eye
from sim.strain.interrupted_light import InterruptedFlash, interruptions
from sim.strain.light_sources import light_sources
from sim.strain.side_by_side import SideBySide, side_by_side

LAMPS = tuple(Lamp(f"l{n}", "b", 2 + n) for n in range(4))


def show_of(
    *cues: Cue, lights: tuple[Lamp | Strip, ...] = LAMPS, idle: tuple[str, ...] = ()
) -> Show:
    bindings = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, start=1))
    score = Score("", cues, bindings, stop_button=30, idle=idle)
    return Show(Rig((), (Board("b", "atmega328p", 1),), lights), score)


def found_of(show: Show) -> list[InterruptedFlash]:
    return list(interruptions(Eye(show), show.score.cues))


def met(show: Show) -> list[SideBySide]:
    return list(side_by_side(Eye(show), show.score.cues, lambda *_: True, set()))


def pulses(light: str, every_ms: int, times: int | None, lit_ms: int = 60) -> Repeat:
    beat = (Fade(light, 100.0, 0), Hold(lit_ms), Fade(light, 0.0, 0), Hold(every_ms - lit_ms))
    return Repeat(InTurn(beat), times)


def flashes_when_played(show: Show, presses: list[Press], length_ms: int) -> bool:
    times = np.arange(0.0, length_ms, FRAME_MS)
    return bool(
        flashing(times, light_sources(show, sample(rehearse(show, presses, length_ms), times)))
    )


@pytest.mark.parametrize("beside", [(), (Strip("dark", "b", 9, pixels=30),)])
def test_a_dark_strip_hides_no_flash_of_two_strands(beside: tuple[Strip, ...]) -> None:
    """A strip of 30 pixels has 15 times as many LEDs as two eyes that blink in turn (WCAG 2.2
    counts the area that flashes)."""
    eyes = (Lamp("a", "b", 2), Lamp("b", "b", 3))
    cues = (Cue("one", "", pulses("a", 400, None)), Cue("two", "", pulses("b", 400, None)))
    show = show_of(*cues, lights=(*eyes, *beside), idle=("one", "two"))
    show = replace(show, score=replace(show.score, bindings=()))
    found = met(show)
    assert [one.found.outputs for one in found] == [("a", "b")]
    slow = (Cue("one", "", pulses("a", 1100, None)), Cue("two", "", pulses("b", 1100, None)))
    assert not met(replace(show, score=replace(show.score, cues=slow)))


# -- at random ------------------------------------------------------------------------------------


class Maker:
    """Two cues of lights that are not the same, each a few quick changes."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        red = self.chance.random() < 0.4
        second = (
            Strip("s", "b", 9, pixels=3)
            if self.chance.random() < 0.4
            else Lamp("b", "b", 3, count=self.chance.choice((1, 2)))
        )
        colour = (255, 0, 0) if red else (255, 255, 255)
        third = (Lamp("c", "b", 4),) if self.chance.random() < 0.3 else ()
        self.lights: tuple[Lamp | Strip, ...] = (Lamp("a", "b", 2, colour=colour), second, *third)

    def show(self) -> Show:
        return show_of(self.cue(0), self.cue(1), lights=self.lights)

    def cue(self, n: int) -> Cue:
        while True:
            steps = [self.step(self.lights[n]) for _ in range(self.chance.randint(2, 4))]
            cue = Cue(f"c{n}", "", InTurn((*steps, Hold(20))))
            with suppress(ThreadError):
                threads(cue)
                return cue

    def step(self, light: Lamp | Strip) -> Step:
        kind, ms = self.chance.random(), self.chance.choice((20, 60, 120, 240))
        if kind < 0.15:
            return Hold(ms)
        if kind < 0.25:
            period = self.chance.choice((340, 500, 700))
            return Effect(light.name, self.chance.choice(("breathe", "ember")), period, 60.0)
        if kind < 0.5:
            return self.fade(light, ms)
        wait, other = Hold(ms), Hold(self.chance.choice((60, 100, 160)))
        blink = InTurn((self.fade(light, 0), wait, self.fade(light, 0), other))
        return Repeat(blink, self.chance.randint(1, 3))

    def fade(self, light: Lamp | Strip, ms: int) -> Fade:
        level = float(self.chance.choice((0, 0, 30, 60, 80, 100, 100)))
        if isinstance(light, Strip):
            colour = self.chance.choice(((255, 255, 255), (255, 0, 0), (0, 0, 255)))
            return Fade(light.name, StripLight(colour, level), self.chance.choice((0, ms)))
        return Fade(light.name, level, self.chance.choice((0, ms)))


def flashes_at_some_offset(eye: Eye, first: Cue, then: Cue, every_ms: int) -> int | None:
    """The least offset of the second cue at which a rehearsal of both flashes, of those tried."""
    entries = eye.states.entries(first)
    for offset in range(0, int(duration_ms(first.body)) + 1100, every_ms):
        for entry in entries:
            sight = eye.watch(first, entry, then, offset, 4000)
            if any(len(one.outputs) > 1 for one in sight.flashing):
                return offset
    return None


def compared(seed: int, every_ms: int = FRAME_MS) -> bool | None:
    """Whether two random cues flash side by side; None: one of them does by itself."""
    show = Maker(seed).show()
    eye = Eye(show)
    first, then = show.score.cues
    if eye.flashes(first) or eye.flashes(then):
        return None
    slow = Eye(show)
    tried = [
        flashes_at_some_offset(slow, a, b, every_ms) for a, b in ((first, then), (then, first))
    ]
    found = list(side_by_side(eye, (first, then), lambda *_: True, set()))
    if any(offset is not None for offset in tried):
        assert found, (seed, tried)
    for one in found:
        sight = slow.watch(one.first, one.finds, one.then, one.after_ms, 12_000)
        assert any(len(each.outputs) > 1 for each in sight.flashing), (seed, one)
    return bool(found)


def assert_every_phase(seeds: range, least: int, every_ms: int = FRAME_MS) -> None:
    seen = [compared(seed, every_ms) for seed in seeds]
    assert seen.count(True) >= least
    assert seen.count(False) >= least


def test_what_flashes_at_any_offset_of_two_random_cues_is_found() -> None:
    assert_every_phase(range(16), 3, every_ms=5 * FRAME_MS)


@pytest.mark.long
def test_what_flashes_at_any_offset_of_many_random_cues_is_found() -> None:
    assert_every_phase(range(1000, 1300), 40)


# -- by hand --------------------------------------------------------------------------------------


def test_a_phase_between_those_that_are_likely_is_found() -> None:
    """The one pulses only after six seconds; the two make eight changes only where they mesh."""
    late = Cue("late", "", InTurn((Hold(6000), pulses("l0", 500, 2))))
    early = Cue("early", "", pulses("l1", 500, 2))
    show = show_of(late, early, lights=LAMPS[:2])
    (found,) = met(show)
    assert (found.first.name, found.then.name) == ("late", "early")
    assert found.found.count == 4
    played = rehearsed(show, found)
    assert played
    # where both pulse at once, or one after the other, nothing flashes
    for apart in (6000, 9000):
        presses = [Press(200, cue="late"), Press(200 + apart, cue="early")]
        assert not flashes_when_played(show, presses, 200 + apart + 3000)


def rehearsed(show: Show, found: SideBySide) -> bool:
    """Whether what is told happens: every cue started as it says."""
    starts = [(found.first, 0), *found.also, (found.then, found.after_ms)]
    presses = [Press(200 + at, cue=cue.name) for cue, at in starts]
    return flashes_when_played(show, presses, 200 + found.after_ms + 15_000)


def test_two_strands_that_drift_past_one_another_are_looked_at_in_every_phase() -> None:
    """Two and a half pulses a second each, of nearly the same length: they mesh after a while."""
    strands = tuple(Cue(f"s{n}", "", pulses(f"l{n}", 400 + 20 * n, None)) for n in range(2))
    show = show_of(*strands, lights=LAMPS[:2], idle=("s0", "s1"))
    assert not any(Eye(show).flashes(cue) for cue in strands)
    assert [one.then.name for one in found_of(show)]
    assert flashes_when_played(show, [], 12_000)
    slow = tuple(Cue(f"s{n}", "", pulses(f"l{n}", 1100 + 20 * n, None)) for n in range(2))
    assert found_of(show_of(*slow, lights=LAMPS[:2], idle=("s0", "s1"))) == []


def test_two_that_go_by_steps_turn_their_sum_more_often_than_either_turns() -> None:
    """One only rises and the other only falls; where the steps mesh, the sum goes up and down."""

    def stairs(light: str, levels: tuple[float, ...]) -> Cue:
        start = Fade(light, levels[0], 2000)
        steps = [step for to in levels[1:] for step in (Fade(light, to, 0), Hold(200))]
        return Cue(light, "", InTurn((start, Hold(1000), *steps)))

    # luminance 0, 0.25, 0.5, 0.75, 1 (CIE 15)
    up = stairs("l0", (0.0, 57.0, 76.0, 89.5, 100.0))
    down = stairs("l1", (100.0, 89.5, 76.0, 57.0, 0.0))
    show = show_of(up, down, lights=LAMPS[:2])
    assert not any(Eye(show).flashes(cue) for cue in (up, down))
    (found,) = met(show)
    assert found.found.outputs == ("l0", "l1")
    assert rehearsed(show, found)


def test_of_three_side_by_side_no_two_of_which_flash_the_third_is_found() -> None:
    """Two pulses in a second of the one, and one of each other."""
    cues = tuple(Cue(f"c{n}", "", pulses(f"l{n}", 500, 2 - min(n, 1))) for n in range(3))
    show = show_of(*cues, lights=LAMPS[:3])
    for two in combinations(cues, 2):
        assert met(show_of(*two, lights=LAMPS[:3])) == []
    (found,) = met(show)
    assert len(found.also) == 1
    assert {found.first.name, found.also[0][0].name, found.then.name} == {"c0", "c1", "c2"}
    assert rehearsed(show, found)


def test_what_cannot_start_while_the_other_runs_is_not_brought_there() -> None:
    """Only a strand of idle and a button start a cue; the late one cannot begin after the early."""
    late = Cue("late", "", InTurn((Hold(2000), pulses("l0", 500, 2))))
    early = Cue("early", "", pulses("l1", 500, 2))
    show = show_of(late, early, lights=LAMPS[:2])
    eye = Eye(show)
    only = lambda cue, _: cue.name == "late"  # noqa: E731
    assert list(side_by_side(eye, (late, early), only, set())) == []
    assert list(side_by_side(eye, (late, early), lambda *_: False, set())) == []
    other = list(side_by_side(eye, (late, early), lambda cue, _: cue.name == "early", set()))
    assert [one.then.name for one in other] == ["early"]


def test_the_reds_of_two_lights_are_added_up() -> None:
    red = tuple(Lamp(f"l{n}", "b", 2 + n, colour=(255, 0, 0)) for n in range(2))
    cues = tuple(Cue(f"c{n}", "", pulses(f"l{n}", 500, 2)) for n in range(2))
    show = show_of(*cues, lights=red)
    (found,) = met(show)
    assert rehearsed(show, found)
