"""The bound on light that is drawn, against random strands of idle that are played for minutes."""

from __future__ import annotations

import random
from contextlib import suppress
from dataclasses import replace

import numpy as np
import pytest

from sim.light.flash import Flashing, flashing
from sim.light.lightness import lightness
from sim.model import (
    Board,
    Cue,
    Drawn,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Law,
    OneOf,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Strip,
    StripLight,
    Together,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rulebook import FRAME_MS
from sim.score.draws import at_its_hardest, numbered
from sim.score.threads import ThreadError, threads
from sim.score.tree import duration_ms, swapped, walk
from sim.strain.eye import Eye
from sim.strain.light_sources import light_sources

BLOCK_MS = 60_000
TIMES_MS = (40, 80, 120, 147, 160, 200, 260, 340, 500)
COLOURS = ((255, 255, 255), (255, 0, 0), (0, 0, 255), (255, 80, 0), (255, 0, 255), (0, 255, 0))


class Maker:
    """Makes strands of one or two lights that change quickly, with all that can be drawn."""

    def __init__(self, seed: int, chooses: bool = False, beside: bool = False) -> None:
        self.chance = random.Random(seed)
        self.chooses = chooses
        self.beside = beside
        colour = self.chance.choice(((255, 255, 255), (255, 0, 0), (255, 90, 0)))
        lamp = Lamp("a", "b", 2, colour=colour, safe_pct=self.chance.choice((0.0, 40.0)))
        self.lights: list[Lamp | Strip] = [lamp]
        if seed % (2 if beside else 3) == 0:
            cap = self.chance.choice((None, 0.1))
            pixels = self.chance.choice((1, 5))
            strip = Strip("s", "b", 4, pixels, cap_a=cap)
            lamps = Lamp("d", "b", 3, count=self.chance.choice((1, 4)))
            self.lights.append(self.chance.choice((lamps, strip)))

    def show(self) -> Show:
        while True:
            body: Step = InTurn(tuple(self.step(1) for _ in range(self.chance.randint(1, 4))))
            if self.chance.random() < 0.8:
                body = InTurn((Repeat(body, None),))
            cue = Cue("i", "", numbered(body, self.chance.randint(0, 255)))
            loops = [step.body for step in walk(body) if isinstance(step, Repeat)]
            if 0 in map(duration_ms, (body, *loops)) or at_its_hardest(self.of(cue)) == self.of(
                cue
            ):
                continue
            with suppress(ThreadError):
                threads(cue)
                return self.of(cue)

    def of(self, cue: Cue) -> Show:
        rig = Rig((), (Board("b", "atmega328p", 1),), tuple(self.lights))
        return Show(rig, Score("", (cue,), idle=("i",)))

    def step(self, depth: int) -> Step:
        if depth and self.beside and self.chance.random() < 0.4:
            return self.together(depth)
        kind = self.chance.random()
        if depth and self.chooses and kind > 0.75:
            ways = tuple(self.way() for _ in range(self.chance.randint(2, 3)))
            return OneOf(ways)
        if depth and kind < 0.2:
            inner = tuple(self.step(depth - 1) for _ in range(self.chance.randint(1, 3)))
            return Repeat(InTurn(inner), self.chance.randint(1, 6))
        if kind < 0.35:
            least, most = self.times()
            return Hold(least, drawn=Drawn(1, most) if most else None)
        if kind < 0.42 and len(self.lights) > 1:
            return Together(tuple(replace(self.fade(one), drawn=None) for one in self.lights))
        return self.fade(self.chance.choice(self.lights))

    def together(self, depth: int) -> Step:
        """Fades beside a wait that is often longer, or beside fades of another light."""
        own = self.some(depth)
        wait = self.chance.choice((*TIMES_MS, 800, 2000))
        more = self.chance.choice((0, 0, 300, 1500))
        beside: list[Step] = [Hold(wait, drawn=Drawn(1, wait + more) if more else None)]
        if len(self.lights) > 1 and self.chance.random() < 0.5:
            beside.append(self.some(depth))
        parts: list[Step] = [own, *beside]
        self.chance.shuffle(parts)
        return Together(tuple(parts), interval_ms=self.chance.choice((0, 0, 0, 60, 130)))

    def some(self, depth: int) -> Step:
        """One or a few things; a late start now and then."""
        late = self.chance.choice((0, 0, 200, 900))
        head = (Hold(0, drawn=Drawn(1, late)),) if late else ()
        row = InTurn((*head, *(self.step(depth - 1) for _ in range(self.chance.randint(1, 4)))))
        if self.chance.random() < 0.25:
            return Repeat(row, self.chance.choice((2, 3, 9)))
        return row

    def way(self) -> InTurn:
        """One thing of a choice."""
        return InTurn(tuple(self.step(0) for _ in range(self.chance.randint(1, 3))))

    def times(self) -> tuple[int, int]:
        least = self.chance.choice(TIMES_MS)
        return least, least + self.chance.randint(1, 200) if self.chance.random() < 0.5 else 0

    def fade(self, light: Lamp | Strip) -> Fade:
        lasts, most_ms = self.times()
        law = self.chance.choice((Law("uniform"), Law("uniform"), Law("3-4-5")))
        time_key = 1 if most_ms else 0
        if isinstance(light, Strip):
            to = StripLight(self.chance.choice(COLOURS), self.chance.choice((0.0, 30.0, 100.0)))
            return Fade(light.name, to, lasts, law, drawn=Drawn(time_key, most_ms))
        low = float(self.chance.choice((0, 6, 20, 40, 55, 65, 80)))
        high = min(100.0, low + self.chance.choice((0, 0, 4, 10, 20, 40, 60)))
        drawn = Drawn(time_key, most_ms, 2 if high > low else 0, high)
        return Fade(light.name, low, lasts, law, drawn=drawn)


def seen_flashing(show: Show, length_ms: int) -> list[Flashing]:
    """What flashes when idle is played for so long."""
    played = rehearse(show, [], length_ms)
    found: list[Flashing] = []
    for at in range(0, length_ms, BLOCK_MS):
        times = np.arange(float(at), min(length_ms, at + BLOCK_MS + 1000.0), FRAME_MS)
        found += flashing(times, light_sources(show, sample(played, times)))
    return found


def check_one(
    seed: int, length_ms: int, chooses: bool = False, beside: bool = False
) -> tuple[bool, bool, bool]:
    """Whether a random strand is seen to flash, in idle and as checks rehearse it, and may flash;
    fails where the bound is beaten."""
    show = Maker(seed, chooses, beside).show()
    hardest = at_its_hardest(show)
    (cue,) = hardest.score.cues
    eye = Eye(hardest, show)
    may, rehearsed = eye.may_flash(cue), eye.flashes(cue)
    seen = seen_flashing(show, length_ms)
    assert may or not seen, (seed, seen[:1])
    assert may or not rehearsed, (seed, rehearsed[:1])
    return bool(seen), bool(rehearsed), bool(may)


def assert_a_bound_of_use(seeds: range, length_ms: int) -> None:
    found = [check_one(seed, length_ms) for seed in seeds]
    seen = sum(1 for one in found if one[0])
    named = sum(1 for one in found if one[2])
    calm = sum(1 for one in found if not one[2])
    assert seen >= 0.02 * len(found)
    # it names some that no play shows, and leaves most of them alone
    assert seen < named < calm


def test_no_random_strand_flashes_that_the_bound_clears() -> None:
    assert_a_bound_of_use(range(80), 60_000)


@pytest.mark.long
def test_no_strand_of_many_flashes_in_minutes_that_the_bound_clears() -> None:
    assert_a_bound_of_use(range(1000, 2500), 180_000)


def chosen(seeds: range, length_ms: int) -> list[tuple[bool, bool, bool]]:
    """What is found of strands that choose one of several things."""
    return [check_one(seed, length_ms, chooses=True) for seed in seeds]


def test_no_random_strand_that_chooses_flashes_where_the_count_clears_it() -> None:
    found = chosen(range(24), 20_000)
    assert any(one[0] for one in found)
    assert sum(1 for one in found if not one[2]) >= 15


def choice(ways: int, fade_ms: int, hold_ms: int) -> Show:
    """One of so many fades, up or down, then a wait."""
    levels = (80.0, 0.0, 60.0, 10.0, 90.0, 5.0, 70.0, 20.0)
    one_of = OneOf(tuple(Fade("c", level, fade_ms) for level in levels[:ways]))
    cue = Cue("i", "", numbered(Repeat(InTurn((one_of, Hold(hold_ms))), None), 5))
    rig = Rig((), (Board("b", "atmega328p", 1),), (Lamp("c", "b", 2),))
    return Show(rig, Score("", (cue,), idle=("i",)))


@pytest.mark.parametrize("ways", [2, 5, 8])
def test_alternatives_count_one_after_the_other_and_not_all_at_once(ways: int) -> None:
    # what is found comes on as well: with six passes of 180 ms the seventh fade comes too late
    for hold_ms, flashes in ((140, False), (120, True)):
        show = choice(ways, 40, hold_ms)
        eye, cue = eye_of(show)
        assert any(one.is_near for one in eye.may_flash(cue)) is flashes
        assert bool(seen_flashing(show, 20_000)) <= flashes


def test_two_lamps_of_which_one_is_chosen_have_room_for_as_many_changes_as_fades() -> None:
    def strand(hold_ms: int) -> Show:
        fades = tuple(Fade(name, level, 60) for name in ("a", "d") for level in (90.0, 0.0))
        body = Repeat(InTurn((OneOf(fades), Hold(hold_ms))), None)
        lamps = (Lamp("a", "b", 2), Lamp("d", "b", 3))
        rig = Rig((), (Board("b", "atmega328p", 1),), lamps)
        return Show(rig, Score("", (Cue("i", "", numbered(body, 3)),), idle=("i",)))

    eye, cue = eye_of(strand(140))
    assert eye.bound.of(cue) >= 8
    assert not eye.may_flash(cue)
    eye, cue = eye_of(strand(40))
    assert eye.may_flash(cue)


@pytest.mark.long
def test_no_strand_of_many_that_choose_flashes_in_minutes_where_the_count_clears_it() -> None:
    found = chosen(range(3000, 3200), 120_000)
    assert sum(1 for one in found if one[0]) >= 5
    assert sum(1 for one in found if not one[2]) >= 60


# -- both sides -----------------------------------------------------------------------------------


def flicker(first_ms: int, second_ms: int, seed: int = 11) -> Show:
    """Fades to 65 .. 75 % in 163 ms or more, and to 6 .. 62 %."""
    fades = (
        Fade("c", 65.0, first_ms, drawn=Drawn(1, first_ms + 13, 2, 75.0)),
        Fade("c", 6.0, second_ms, drawn=Drawn(0, 0, 3, 62.0)),
    )
    cue = Cue("i", "", numbered(Repeat(InTurn(fades), None), seed))
    rig = Rig((), (Board("b", "atmega328p", 1),), (Lamp("c", "b", 2),))
    return Show(rig, Score("", (cue,), idle=("i",)))


def eye_of(show: Show) -> tuple[Eye, Cue]:
    hardest = at_its_hardest(show)
    return Eye(hardest, show), hardest.score.cues[0]


def test_what_no_rehearsal_shows_and_a_play_does_is_bounded() -> None:
    show = flicker(163, 147)
    eye, cue = eye_of(show)
    assert not eye.flashes(cue)
    assert {one.count for one in seen_flashing(show, 200_000)} == {4}
    assert [(one.kind, one.outputs, one.count) for one in eye.may_flash(cue)] == [
        ("general", ("c",), 4)
    ]


def least_ms() -> int:
    eye, cue = eye_of(flicker(163, 147))

    def longer(ms: int) -> bool:
        def change(step: Step) -> Step:
            return replace(step, duration_ms=ms) if step.duration_ms == 163 else step  # type: ignore[union-attr]

        return not eye.may_flash_as(cue, change)

    return next(ms for ms in range(163, 300) if longer(ms))


def test_the_least_time_that_passes_passes_and_one_less_does_not() -> None:
    least = least_ms()
    for ms, passes in ((least, True), (least - 1, False)):
        eye, cue = eye_of(flicker(ms, 147))
        assert (not eye.may_flash(cue)) is passes
    for seed in range(12):
        assert not seen_flashing(flicker(least, 147, seed), 120_000)


@pytest.mark.parametrize(
    ("low", "high", "flashes"),
    # relative luminance 0.184 at 50 % (CIE 15); 0.1 more at 60.2 %
    [(50.0, 60.0, False), (50.0, 60.5, True)],
)
def test_light_that_cannot_change_by_a_tenth_does_not_flash(
    low: float, high: float, flashes: bool
) -> None:
    fade = Fade("c", low, 60, drawn=Drawn(0, 0, 1, high))
    cue = Cue("i", "", numbered(Repeat(fade, None), 3))
    rig = Rig((), (Board("b", "atmega328p", 1),), (Lamp("c", "b", 2, safe_pct=55.0),))
    eye, hardest = eye_of(Show(rig, Score("", (cue,), idle=("i",))))
    assert any(one.is_near for one in eye.may_flash(hardest)) is flashes


def test_what_lies_above_four_fifths_does_not_count() -> None:
    # at 91.5 % luminance is 0.797, at 92 % 0.808 (CIE 15)
    for low, flashes in ((91.5, True), (92.0, False)):
        fade = Fade("c", low, 60, drawn=Drawn(0, 0, 1, 100.0))
        cue = Cue("i", "", numbered(Repeat(fade, None), 3))
        rig = Rig((), (Board("b", "atmega328p", 1),), (Lamp("c", "b", 2, safe_pct=100.0),))
        eye, hardest = eye_of(Show(rig, Score("", (cue,), idle=("i",))))
        assert bool(eye.may_flash(hardest)) is flashes


def test_two_lamps_of_which_one_only_rises_have_no_room_for_a_row() -> None:
    """Each lamp by half of the light of both; a lamp has room for one rise of a tenth at a time."""

    def strand(low: float, high: float) -> Show:
        fades = tuple(
            Fade(name, low, 150, drawn=Drawn(0, 0, n, high)) for n, name in ((1, "a"), (2, "d"))
        )
        cue = Cue("i", "", numbered(Repeat(InTurn(fades), None), 3))
        lamps = (Lamp("a", "b", 2), Lamp("d", "b", 3))
        rig = Rig((), (Board("b", "atmega328p", 1),), lamps)
        return Show(rig, Score("", (cue,), idle=("i",)))

    eye, cue = eye_of(strand(50.0, 75.0))
    assert eye.bound.of(cue) >= 8
    assert not eye.may_flash(cue)
    eye, cue = eye_of(strand(0.0, 100.0))
    assert {one.outputs for one in eye.may_flash(cue)} == {("a", "d")}


@pytest.mark.parametrize("beside", [(), (Strip("dark", "b", 4, 30),)])
def test_a_dark_strip_hides_no_flash_that_two_lamps_may_draw(beside: tuple[Strip, ...]) -> None:
    """WCAG 2.2 counts the area that flashes, not its share of all there is."""
    fades = tuple(
        Fade(name, 0.0, 150, drawn=Drawn(0, 0, n, 100.0)) for n, name in ((1, "a"), (2, "d"))
    )
    cue = Cue("i", "", numbered(Repeat(InTurn(fades), None), 3))
    lights = (Lamp("a", "b", 2), Lamp("d", "b", 3), *beside)
    rig = Rig((), (Board("b", "atmega328p", 1),), lights)
    eye, hardest = eye_of(Show(rig, Score("", (cue,), idle=("i",))))
    assert {one.outputs for one in eye.may_flash(hardest)} == {("a", "d")}


def test_under_an_effect_ways_are_counted_and_it_is_said() -> None:
    def strand(period_ms: int) -> Show:
        fade = Fade("c", 20.0, 2000, drawn=Drawn(0, 0, 1, 60.0))
        body = InTurn((Effect("c", "ember", period_ms, 40.0), Repeat(fade, None)))
        cue = Cue("i", "", numbered(body, 3))
        rig = Rig((), (Board("b", "atmega328p", 1),), (Lamp("c", "b", 2),))
        return Show(rig, Score("", (cue,), idle=("i",)))

    eye, cue = eye_of(strand(200))
    assert [one.is_near for one in eye.may_flash(cue)] == [False]
    eye, cue = eye_of(strand(3000))
    assert not eye.may_flash(cue)


def test_a_show_that_draws_nothing_is_left_to_rehearsals() -> None:
    show = flicker(60, 60)
    plain = replace(
        show,
        score=replace(
            show.score,
            cues=tuple(
                replace(one, body=swapped(one.body, lambda step: replace(step, drawn=None)))  # type: ignore[call-arg]
                for one in show.score.cues
            ),
        ),
    )
    eye = Eye(plain, plain)
    assert not eye.may_flash(plain.score.cues[0])
    assert eye.flashes(plain.score.cues[0])


def test_four_small_steps_of_two_lamps_are_one_change_among_eight() -> None:
    """Of half of all light c goes from 0.04 to 0.07 and 0.10, d to 0.03 and 0.06: by 0.12 in four
    steps, three of which are too little. With the seven cuts around it they are four flashes."""
    levels = (1.0, 0.08, 0.14, 0.06, 0.2, 0.12, 0.0, 1.0, 0.12, 1.0, 0.0)
    row = zip("cccdcdcdddd", levels, strict=True)
    cuts = [Fade(name, round(2.0 * float(lightness(y))) / 2.0, 0) for name, y in row]
    steps = [one for cut in cuts for one in (cut, Hold(100))]
    assert_bounded(
        strand(InTurn((*steps, Hold(1400, drawn=Drawn(7, 1440)))), "c", "d"), flashes=True
    )


# -- beside something longer ----------------------------------------------------------------------


def strand(body: Step, *names: str, seed: int = 11) -> Show:
    cue = Cue("i", "", numbered(body, seed))
    lamps = tuple(Lamp(name, "b", n) for n, name in enumerate(names or ("c",), start=2))
    rig = Rig((), (Board("b", "atmega328p", 1),), lamps)
    return Show(rig, Score("", (cue,), idle=("i",)))


def quick(count: int, name: str = "c") -> InTurn:
    """Fades up and down of 40 ms each."""
    return InTurn(tuple(Fade(name, 90.0 * (n % 2 == 0), 40) for n in range(count)))


def assert_bounded(show: Show, *, flashes: bool) -> None:
    """A bound from above: what is seen in minutes of play is named, and what cannot be is not."""
    eye, cue = eye_of(show)
    assert bool(eye.may_flash(cue)) is flashes
    assert bool(seen_flashing(show, 120_000)) is flashes


@pytest.mark.parametrize(
    ("late_ms", "flashes"),
    # five fades of 40 ms, then 1,800 ms until the next five: less than a second only if these
    # started 980 ms late or more
    [(1700, True), (700, False)],
)
def test_fades_that_start_late_beside_a_wait_come_close_to_the_next_ones(
    late_ms: int, flashes: bool
) -> None:
    late = InTurn((Hold(0, drawn=Drawn(1, late_ms)), quick(5)))
    show = strand(Repeat(Together((late, Hold(2000))), None))
    assert_bounded(show, flashes=flashes)


def test_a_drawn_fade_beside_a_wait_may_end_right_before_the_next_one() -> None:
    """Fades begin 160 ms apart; of eight the first ends as late as it may: 158 ms, or 60."""

    def bounded(longest_ms: int) -> bool:
        def fade(low: float, high: float) -> Fade:
            return Fade("c", low, 40, drawn=Drawn(1, longest_ms, 2, high))

        pair = (fade(65.0, 80.0), fade(0.0, 52.0))
        body = InTurn(tuple(Together((one, Hold(160))) for one in pair))
        eye, cue = eye_of(strand(Repeat(body, None)))
        return bool(eye.may_flash(cue))

    assert bounded(158)
    assert not bounded(60)


def test_a_long_repeat_beside_a_wait_runs_into_what_follows() -> None:
    """Four fades end each pass of the repeat, and four more follow behind the last one."""
    again = Repeat(InTurn((Hold(1500), quick(4))), 6)
    wait = Hold(3000, drawn=Drawn(1, 3100))
    body = InTurn((Together((again, Hold(6 * 1660))), quick(4), wait))
    assert_bounded(strand(Repeat(body, None)), flashes=True)
    apart = InTurn((Together((again, Hold(6 * 1660 + 1200))), quick(4), wait))
    assert_bounded(strand(Repeat(apart, None)), flashes=False)


def test_two_lamps_whose_repeats_go_on_side_by_side_meet_sooner_or_later() -> None:
    def side_by_side(fades: int) -> Show:
        one = Repeat(InTurn((quick(fades, "c"), Hold(3000))), None)
        wait = Hold(2500, drawn=Drawn(1, 3300))
        other = InTurn((Hold(1500), Repeat(InTurn((quick(fades, "d"), wait)), None)))
        return strand(Together((one, other)), "c", "d")

    assert_bounded(side_by_side(5), flashes=True)
    assert_bounded(side_by_side(2), flashes=False)


def test_two_lamps_of_one_together_come_as_late_as_their_draws_let_them() -> None:
    """The five fades of the one start up to 2,400 ms late; those of the other after 2,500 ms."""

    def beside(late_ms: int) -> Show:
        first = InTurn((Hold(0, drawn=Drawn(1, late_ms) if late_ms else None), quick(5, "c")))
        drawn = Hold(3000, drawn=Drawn(2, 3100))
        parts = first, InTurn((Hold(2500), quick(5, "d")))
        return strand(Repeat(InTurn((Together(parts), drawn)), None), "c", "d")

    assert_bounded(beside(2400), flashes=True)
    assert_bounded(beside(0), flashes=False)


def test_no_strand_with_things_side_by_side_flashes_where_the_bound_clears_it() -> None:
    found = [check_one(seed, 20_000, beside=True) for seed in range(40)]
    assert any(one[0] for one in found)
    assert sum(1 for one in found if not one[2]) >= 20


@pytest.mark.long
def test_no_strand_of_many_with_things_side_by_side_flashes_in_minutes() -> None:
    found = [check_one(seed, 120_000, beside=True) for seed in range(5000, 5400)]
    assert sum(1 for one in found if one[0]) >= 5
    assert sum(1 for one in found if not one[2]) >= 200
