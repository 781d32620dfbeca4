"""Small parts of a rehearsal at both sides of their limits: effects that come and go (TABLE.md,
section 3.4), sensors and what follows (10), letting go (2.6), and when a radio is heard (2.3)."""

from __future__ import annotations

from math import inf

import pytest

from sim.model import (
    Binding,
    Board,
    Cue,
    Effect,
    Follow,
    Hold,
    InTurn,
    Lamp,
    Press,
    Rig,
    Score,
    Show,
    Strip,
    Switch,
    Throw,
)
from sim.rehearsal.followers import LampFollower
from sim.rehearsal.presence import Presence
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.requests import Hearing
from sim.rehearsal.sensing import frame_share, reading_of, sensed
from sim.rehearsal.trajectories import Trajectories
from sim.rulebook import FRAME_CLOCK, FRAME_MS

# -- effects ---------------------------------------------------------------------------------------

A = Effect("lamp", "breathe", 700, 80.0)
B = Effect("lamp", "ember", 300, 60.0)
LAST = 16
"""Frames in which an effect is there, and in which it is gone."""


def shown(presence: Presence) -> list[tuple[int, str | None, int, int]]:
    """Frame, effect, weight, step of each piece."""
    return [
        (round(one.shown_ms / FRAME_MS), None, 0, 0)
        if one.effect is None
        else (round(one.shown_ms / FRAME_MS), one.effect.name, one.weight, one.step)
        for one in presence.row
    ]


def laid(*when: tuple[Effect | None, int]) -> list[tuple[int, str | None, int, int]]:
    """Effects laid in frames; None: taken off."""
    presence = Presence()
    for effect, frame in when:
        if effect is None:
            presence.take_off(frame)
        else:
            presence.lay(effect, frame * FRAME_CLOCK, frame, "a")
    return shown(presence)


def test_an_effect_has_a_sixteenth_in_its_first_frame() -> None:
    assert laid((A, 10)) == [(10, "breathe", 1, 1)]


@pytest.mark.parametrize(
    ("off", "pieces"),
    [
        (10, [(10, None, 0, 0)]),
        (11, [(10, "breathe", 1, 1), (11, None, 0, 0)]),
        (12, [(10, "breathe", 1, 1), (12, "breathe", 1, -1), (13, None, 0, 0)]),
        (25, [(10, "breathe", 1, 1), (25, "breathe", 14, -1), (39, None, 0, 0)]),
        (26, [(10, "breathe", 1, 1), (26, "breathe", 15, -1), (41, None, 0, 0)]),
        (99, [(10, "breathe", 1, 1), (99, "breathe", 15, -1), (114, None, 0, 0)]),
    ],
)
def test_an_effect_that_is_taken_off_goes_from_where_it_has_come_to(
    off: int, pieces: list[tuple[int, str | None, int, int]]
) -> None:
    """In frame n it has had n - 10 sixteenths up to the frame before, and now has one less."""
    assert laid((A, 10), (None, off)) == pieces


def test_another_effect_comes_when_the_one_before_has_gone_and_stays_when_it_is_laid_again() -> (
    None
):
    both = [(10, "breathe", 1, 1), (40, "breathe", 15, -1), (55, "ember", 0, 1)]
    assert laid((A, 10), (B, 40)) == both
    assert laid((A, 10), (B, 40), (B, 80)) == both
    assert laid((A, 10), (A, 40)) == both[:1]
    assert laid((A, 10), (B, 40), (None, 90)) == [
        *both,
        (90, "ember", 15, -1),
        (105, None, 0, 0),
    ]


def test_one_that_is_laid_again_while_it_goes_comes_back() -> None:
    """Four frames of going leave 12 sixteenths; the next frame has 13."""
    assert laid((A, 10), (None, 40), (A, 44)) == [
        *[(10, "breathe", 1, 1), (40, "breathe", 15, -1), (44, "breathe", 13, 1)]
    ]
    assert laid((A, 10), (B, 40), (A, 44)) == [
        *[(10, "breathe", 1, 1), (40, "breathe", 15, -1), (44, "breathe", 13, 1)]
    ]


def test_what_is_taken_off_where_nothing_is_changes_nothing() -> None:
    assert laid((None, 3)) == []
    assert laid((A, 10), (None, 12), (None, 40)) == laid((A, 10), (None, 12))


# -- sensors ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "share"),
    [
        (0.0, 0),
        (-1.0, 0),
        (0.001, 0),  # all of it within a frame: 65536, of which 16 bits are kept
        (0.1, 11880),  # 65536 (1 - exp(-0.2)) = 11879.6
        (1.0, 1298),  # 65536 (1 - exp(-0.02)) = 1297.7
        (1e6, 1),
    ],
)
def test_a_value_takes_its_share_of_the_way_in_a_frame(seconds: float, share: int) -> None:
    assert frame_share(seconds) == share


def test_a_sensor_goes_up_and_down_by_shares_of_its_own_and_always_arrives() -> None:
    """64 parts to each of 1023 steps: half of the way up, a quarter down, rounded up."""
    half, quarter = 1 << 15, 1 << 14
    assert sensed(None, 100, 0, half, quarter) == 6400
    assert sensed(0, 100, 0, half, quarter) == 3200
    assert sensed(6400, 0, 0, half, quarter) == 4800
    assert sensed(6399, 100, 0, half, quarter) == 6400
    assert sensed(1, 0, 0, half, quarter) == 0
    assert sensed(6400, 100, 0, half, quarter) == 6400
    assert (sensed(0, 100, 0, 0, quarter), sensed(6400, 0, 0, half, 0)) == (6400, 0)


def test_below_its_quiet_a_sensor_is_at_0() -> None:
    assert [sensed(None, reading, 50, 0, 0) for reading in (0, 49, 50, 51)] == [0, 0, 3200, 3264]


def test_a_converter_has_1024_steps_and_reads_1023_at_most() -> None:
    assert [reading_of(share) for share in (0.0, 0.25, 0.5, 0.999, 1.0)] == [
        0,
        256,
        512,
        1023,
        1023,
    ]


# -- what follows ----------------------------------------------------------------------------------

GLIDE = 10 * FRAME_CLOCK
LEVEL = 256
"""A half percent."""


def follower(*, mixed: bool = False, glide: int = GLIDE) -> LampFollower:
    """From 20 % to 80 %, at rest at 5 %; its source is at its top."""
    follow = Follow("lamp", "voice", 0.0, 1.0, 20.0, 80.0, mixed=mixed)
    made = LampFollower(follow, 5.0, True, glide)
    made.listen(1023)
    return made


@pytest.mark.parametrize(("frames", "share"), [(0, 0.0), (5, 0.5), (10, 1.0), (11, 1.0)])
def test_what_begins_to_follow_goes_over_within_the_glide(frames: int, share: float) -> None:
    made, own = follower(), 40 * LEVEL
    assert made.begins(FRAME_CLOCK)
    assert not made.begins(FRAME_CLOCK)
    now = (1 + frames) * FRAME_CLOCK
    wanted = made.wanted(own, now)
    assert wanted == pytest.approx(own + share * (160 * LEVEL - own), abs=80)
    assert made.is_over(now) == (frames >= 10)


def test_without_a_glide_it_goes_over_at_once() -> None:
    made = follower(glide=0)
    made.begins(0)
    assert made.wanted(0, 0) == pytest.approx(160 * LEVEL, abs=80)
    assert made.is_over(0)


def test_what_is_mixed_adds_what_its_own_fade_is_away_from_rest_and_stays_in_its_range() -> None:
    """Rest is at 10 half percents: 20 more is 30 beyond what the source wants, but 200 is all."""
    made = follower(mixed=True, glide=0)
    made.begins(0)
    assert made.wanted(10 * LEVEL, 0) == pytest.approx(160 * LEVEL, abs=80)
    assert made.wanted(30 * LEVEL, 0) == pytest.approx(180 * LEVEL, abs=80)
    assert made.wanted(60 * LEVEL, 0) == 200 * LEVEL
    made.listen(None)
    made.listen(0)
    assert made.wanted(0, 0) == 30 * LEVEL


def test_what_is_mixed_is_wanted_nowhere_below_its_range() -> None:
    """The source wants 0; its own fade is 10 half percents below rest."""
    made = LampFollower(Follow("lamp", "voice", 0.0, 1.0, 0.0, 80.0, mixed=True), 5.0, True, 0)
    made.listen(0)
    made.begins(0)
    assert [made.wanted(own * LEVEL, 0) for own in (0, 10, 11)] == [0, 0, LEVEL]


def test_a_source_that_trembles_moves_nothing() -> None:
    made = follower()
    assert not made.settled
    made.settled = True
    for value in (1022, 1021, 1023):
        made.listen(value)
        assert made.settled
    made.listen(1020)
    assert not made.settled
    made.settled = True
    made.listen(None)
    assert (made.settled, made.has_source) == (False, False)


# -- when a radio is heard -------------------------------------------------------------------------


def test_a_radio_is_heard_from_the_first_to_the_last_frame_of_each_span() -> None:
    """The remote was heard last in frame 5, the radio in frames 10 to 20 and from 30 on."""
    hearing = Hearing([(100.0, inf)], radio=[(10, 20.0), (30, inf)])
    silent = {
        frame: hearing.silent_frames(frame) for frame in (5, 6, 9, 10, 15, 20, 21, 29, 30, 99)
    }
    assert silent == {5: 0, 6: 1, 9: 4, 10: 0, 15: 0, 20: 0, 21: 1, 29: 9, 30: 0, 99: 0}


# -- letting go ------------------------------------------------------------------------------------

GLOW = Effect("glow", "breathe", 700, 80.0)
BELT = Effect("belt", "ember", 300, 60.0)


def let_go(*part: Effect, taken: bool) -> Trajectories:
    """A cue with effects on both lights lets go at 2 s; another one may have taken the lamp."""
    first = Cue("a", "", InTurn((GLOW, BELT, Throw("fan", True), Hold(9000))), let_go="part")
    steps = (*part, Throw("fan", False), Hold(2000))
    other = Cue("other", "", InTurn((Effect("glow", "ember", 500, 90.0), Hold(9000))))
    outputs = (Lamp("glow", "b", 1), Strip("belt", "b", 2, pixels=3), Switch("fan", "b", 3))
    bindings = (Binding(1, "a"), Binding(2, "other"))
    score = Score("t", (first, Cue("part", "", InTurn(steps)), other), bindings)
    presses = [Press(1000, button=1, held_ms=1000)]
    if taken:
        presses.append(Press(1500, button=2))
    show = Show(Rig((), (Board("b", "atmega328p", 1),), outputs), score)
    return rehearse(show, presses, 3500)


def last_effects(played: Trajectories) -> dict[str, str | None]:
    effects = {name: row[-1].effect for name, row in played.effects.items()}
    return {name: one and one.name for name, one in effects.items()}


def test_effects_become_steady_of_what_the_part_uses_and_the_run_still_owns() -> None:
    steady = Effect("belt", "steady", 700)
    assert last_effects(let_go(taken=False)) == {"glow": "breathe", "belt": "ember"}
    assert last_effects(let_go(steady, taken=False)) == {"glow": "breathe", "belt": None}
    both = (steady, Effect("glow", "steady", 700))
    assert last_effects(let_go(*both, taken=False)) == {"glow": None, "belt": None}
    assert last_effects(let_go(*both, taken=True)) == {"glow": "ember", "belt": None}
