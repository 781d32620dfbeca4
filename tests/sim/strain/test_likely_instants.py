"""When cues are most likely to flash together, counted by hand; changes are given in ms.

A second that begins at a change holds it and all up to a second later.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.light.counting import TOO_MANY
from sim.light.flash import Flashing
from sim.model import (
    Binding,
    Board,
    Cue,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Repeat,
    Rig,
    Score,
    Show,
    Strip,
    StripLight,
    Together,
)
from sim.strain import interrupted_light
from sim.strain.eye import Eye
from sim.strain.interrupted_light import (
    MOST_INSTANTS,
    _at_most,
    _densest,
    _instants,
    _most,
    _pairs,
    _Seen,
    _seen,
    _starts_any_time,
    interruptions,
)
from sim.strain.light_states import STANDBY, STOP

WHOLE = "general", ""
EYE, EAR = Lamp("eye", "b", 2), Lamp("ear", "b", 3)


def cue(name: str, output: str = "eye", ms: int = 5000) -> Cue:
    return Cue(name, "", InTurn((Fade(output, 100.0, 0), Hold(ms))))


A, B = cue("a"), cue("b")
BESIDE = cue("beside", "ear")


def eye(*buttons: str, idle: tuple[str, ...] = ()) -> Eye:
    bound = tuple(Binding(n, name) for n, name in enumerate(buttons, start=1))
    cues = (A, B, BESIDE, cue("idle"))
    rig = Rig((), (Board("b", "atmega328p", 1),), (EYE, EAR))
    return Eye(Show(rig, Score("s", cues, bound, idle=idle)))


def seen(one: Cue, *at_ms: float, key: tuple[str, str] = WHOLE) -> _Seen:
    return _Seen(one, {key: np.array(at_ms, dtype=np.float64)} if at_ms else {}, {})


instants = st.lists(st.integers(0, 400), max_size=30).map(lambda row: np.sort(10.0 * np.array(row)))


@given(instants, st.sampled_from([200.0, 500.0, 1000.0]))
def test_the_densest_window_is_that_of_all_that_begin_at_a_change(
    at_ms: np.ndarray, window: float
) -> None:
    counts = [int(((at_ms >= at) & (at_ms <= at + window)).sum()) for at in at_ms]
    assert _densest(at_ms, window) == max(counts, default=0)


def test_a_cue_takes_over_shortly_after_the_busiest_part_of_a_second() -> None:
    """Three changes by 300 ms; with a head of 100 ms there is room for 1000 - 100 - 40 before."""
    first = seen(A, 0.0, 150.0, 300.0, 1100.0)
    then = seen(B, 100.0)
    # the last of the densest half second is at 300; of the densest 860 ms too
    assert _instants(eye("a", "b"), first, then) == [320, 360, 420]
    # with a head at once there is room for 960 ms: from 150 ms on it holds three as well
    late = seen(A, 0.0, 500.0, 950.0, 5000.0)
    assert _instants(eye("a", "b"), late, seen(B, 0.0)) == [520, 560, 620, 970, 1010, 1070]


@pytest.mark.parametrize("head_ms", [0.0, 50.0, 400.0])
def test_what_takes_over_needs_two_frames_of_the_second_beside_its_head(head_ms: float) -> None:
    """What lies 960 ms less the head after the first change is in one second with it all."""
    room = 1000.0 - head_ms - 40.0
    then = seen(B, head_ms)
    alone = [20, 60, 120]
    last = [int(room) + late for late in alone]
    assert _instants(eye("a", "b"), seen(A, 0.0, room), then) == [*alone, *last]
    assert _instants(eye("a", "b"), seen(A, 0.0, room + 1.0), then) == alone


def test_heads_later_than_a_second_make_no_window() -> None:
    """Only half a second is looked at then; a head of 999 ms still leaves no room."""
    first = seen(A, 0.0, 400.0, 900.0)
    for head in (1000.0, 1500.0, -20.0):
        assert _instants(eye("a", "b"), first, seen(B, head)) == [420, 460, 520]
    assert _instants(eye("a", "b"), first, seen(B)) == [420, 460, 520]


def test_changes_of_another_kind_are_matched_with_their_own() -> None:
    red = "red", "eye"
    first = _Seen(A, {WHOLE: np.array([0.0]), red: np.array([3000.0])}, {})
    found = _instants(eye("a", "b"), first, seen(B, 0.0, key=red))
    assert found == [20, 60, 120, 3020, 3060, 3120]


def test_of_very_many_instants_an_even_choice_is_looked_at() -> None:
    """Each change in turn is the last of a densest window as the heads leave less room."""
    first = seen(A, *range(0, 1000, 37))
    then = seen(B, *range(0, 900, 31))
    found = _instants(eye("a", "b"), first, then)
    assert MOST_INSTANTS / 2 < len(found) <= MOST_INSTANTS
    assert found == sorted(found)
    assert found[0] == min(found)


def test_what_no_button_starts_comes_only_where_idle_does() -> None:
    """Idle follows at the end of a cue of 5 s, and at any time too if it has a button."""
    idle = next(c for c in eye().show.score.cues if c.name == "idle")
    first = seen(A, 0.0)
    assert _instants(eye("a", idle=("idle",)), first, seen(idle, 0.0)) == [5000]
    assert _instants(eye("a"), first, seen(B, 0.0)) == []
    both = _instants(eye("a", "idle", idle=("idle",)), first, seen(idle, 0.0))
    assert both == [5000, 20, 60, 120]


@pytest.mark.parametrize(
    ("before", "after", "most"),
    [
        # as the other begins: what is left of the second, the cut, and the other's own;
        # effects of the first go on for 0.32 s
        ((0.0, 300.0, 600.0), (0.0,), 3 + 1 + 1),
        ((0.0, 300.0, 600.0), (500.0,), 3 + 1 + 1),
        ((0.0, 300.0, 600.0), (800.0,), 2 + 1 + 1),
        ((0.0, 300.0, 600.0), (1000.0,), 2 + 1 + 1),
        ((0.0, 300.0, 600.0), (1001.0,), 0),
        ((0.0, 300.0, 600.0), (-1.0,), 0),
        ((0.0,), (0.0, 100.0, 200.0), 1 + 1 + 3),
        ((), (0.0, 100.0), 1 + 2),
    ],
)
def test_a_takeover_is_one_change_more(
    before: tuple[float, ...], after: tuple[float, ...], most: int
) -> None:
    assert _most(seen(A, *before), seen(B, *after)) == most


def test_a_repeat_without_an_end_is_followed_by_nothing() -> None:
    endless = Cue("a", "", Repeat(InTurn((Fade("eye", 9.0, 0), Hold(50))), None))
    idle = next(c for c in eye().show.score.cues if c.name == "idle")
    assert _instants(eye("a", idle=("idle",)), seen(endless, 0.0), seen(idle, 0.0)) == []


def test_what_is_told_of_two_cues_names_the_light_that_the_first_one_finds() -> None:
    """Found dark, the first cue changes nothing at its start; found bright it does, once more."""
    off = (Fade("eye", 0.0, 0), Hold(130))
    on = (Fade("eye", 100.0, 0), Hold(130))
    first = Cue("first", "", InTurn((*off, *on, *off, *on, *off)))
    then = Cue("then", "", InTurn((*on, *off, *on, *off)))
    rig = Rig((), (Board("b", "atmega328p", 1),), (Lamp("eye", "b", 2, colour=(255, 255, 255)),))
    bound = (Binding(1, "first"), Binding(2, "then"))
    found = interruptions(Eye(Show(rig, Score("s", (first, then), bound))), (first, then))
    told = {(one.first.name, one.then.name): one for one in found}
    assert dict(told["first", "then"].finds.lights) == {"eye": 100.0}
    assert told["first", "then"].found.count == 4


@pytest.mark.parametrize("most", [TOO_MANY - 1, TOO_MANY])
def test_pairs_that_may_make_too_many_changes_are_rehearsed_and_each_taker_told_once(
    most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(interrupted_light, "_most", lambda *_: most)
    off = (Fade("eye", 0.0, 0), Hold(130))
    on = (Fade("eye", 100.0, 0), Hold(130))
    cues = (
        Cue("first", "", InTurn((*off, *on, *off, *on, *off))),
        Cue("second", "", InTurn((*off, *on, *off, *on, *off))),
        Cue("then", "", InTurn((*on, *off, *on, *off))),
    )
    rig = Rig((), (Board("b", "atmega328p", 1),), (Lamp("eye", "b", 2, colour=(255, 255, 255)),))
    bound = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, start=1))
    takers = [one.then.name for one in interruptions(Eye(Show(rig, Score("s", cues, bound))), cues)]
    assert ("then" in takers) == (most >= TOO_MANY)
    assert len(takers) == len(set(takers))


def change(name: str, to: float) -> tuple[Fade, Hold]:
    return Fade(name, to, 0), Hold(110)


SIX_OF_TWO = InTurn((
    *change("eye", 100.0), *change("eye", 0.0), *change("ear", 100.0), *change("ear", 0.0),
    *change("eye", 100.0), *change("eye", 0.0),
))  # fmt: skip
"""Six changes of two lights, four of them of the one."""
TWO_MORE = Cue("then", "", InTurn((*change("ear", 100.0), *change("ear", 0.0))))


def flashing_pairs(first: Cue, then: Cue, *more: Strip) -> dict[tuple[str, str], Flashing]:
    """What the search finds in a show of two white lamps, by the two cues; each has a button."""
    white = tuple(Lamp(n, "b", p, colour=(255, 255, 255)) for n, p in (("eye", 2), ("ear", 3)))
    bound = (Binding(1, first.name), Binding(2, then.name))
    rig = Rig((), (Board("b", "atmega328p", 1),), (*white, *more))
    watching = Eye(Show(rig, Score("s", (first, then), bound)))
    found = {(a.first.name, a.then.name): a.found for a in interruptions(watching, (first, then))}
    assert not watching.flashes(first)
    return found


def test_a_cue_that_only_makes_up_the_rest_with_all_lights_together_is_looked_at() -> None:
    """Six changes of two lights, then two more as the second cue takes the quieter one of them."""
    found = flashing_pairs(Cue("first", "", SIX_OF_TWO), TWO_MORE)["first", "then"]
    assert found.outputs == ("eye", "ear")
    assert found.count == 4


@pytest.mark.parametrize("pixels", [1, 30, 300])
def test_two_lights_that_flash_over_a_takeover_are_seen_beside_a_large_one_that_moves(
    pixels: int,
) -> None:
    """WCAG 2.2, 2.3.1 (read): no light beside takes a flash away. A strip that slowly brightens
    hides every change of the lamps from the sum of all lights; none of them flashes alone."""
    brightens = Fade("fan", StripLight((255, 255, 255)), 2000)
    first = Cue("first", "", Together((brightens, SIX_OF_TWO)))
    found = flashing_pairs(first, TWO_MORE, Strip("fan", "b", 4, pixels))["first", "then"]
    assert set(found.outputs) >= {"eye", "ear"}
    assert found.count == 4


@pytest.mark.parametrize(
    ("before", "after", "most"),
    [
        ((0.0, 900.0), (0.0, 100.0, 2000.0), 5),
        ((0.0, 1001.0), (), 2),
        ((), (0.0, 10.0), 3),
        ((), (), 1),
    ],
)
def test_two_cues_change_no_more_than_in_their_busiest_seconds_and_once_in_between(
    before: tuple[float, ...], after: tuple[float, ...], most: int
) -> None:
    """A light that only one of them changes counts as well."""
    assert _at_most(seen(A, *before), seen(B, *after)) == most
    if before and after:
        apart = _at_most(seen(A, *before), seen(B, *after, key=("general", "eye")))
        assert apart == 1 + max(len(before), 2)


def test_a_light_goes_up_and_down_as_often_as_from_the_state_where_it_does_most() -> None:
    """Found dark, the fifth blink of a repeat that is left on is one more way than found bright."""
    blinks = Repeat(InTurn((Fade("eye", 100.0, 0), Hold(100), Fade("eye", 0.0, 0), Hold(100))), 2)
    cue_of_both = Cue("a", "", InTurn((blinks, Fade("eye", 100.0, 0), Hold(5000))))
    rig = Rig((), (Board("b", "atmega328p", 1),), (EYE,))
    looks = Eye(Show(rig, Score("s", (cue_of_both,), (Binding(1, "a"),))))
    sights = tuple(looks.watch(cue_of_both, entry) for entry in looks.states.entries(cue_of_both))
    ways = [sight.ways["eye"] for sight in sights]
    assert len(set(ways)) > 1
    for row in (sights, sights[::-1]):
        assert _Seen(cue_of_both, {}, {}, row).ways == {"eye": max(ways)}


@pytest.mark.parametrize(
    ("name", "beside", "starts"),
    [
        # it goes on all the time on what others leave it, but not on what they hold
        ("idle", BESIDE, True),
        ("idle", A, False),
        # with a button it also takes over
        ("strand", A, True),
        ("b", A, True),
        # no button, whether it would run beside or not
        ("b_alone", A, False),
        ("b_alone", BESIDE, False),
        # for a lost remote, and for a battery that is low
        ("lost", A, True),
        ("low", A, True),
        # what a button that is let go starts
        ("part of b", A, True),
        ("part of b_alone", A, False),
        (STOP, A, True),
        (STANDBY, A, True),
    ],
)
def test_a_cue_starts_at_any_time_by_a_button_by_itself_or_as_idle_beside(
    name: str, beside: Cue, starts: bool
) -> None:
    held = tuple(
        Cue(one, "", InTurn((Fade("eye", 100.0, 0), Hold(50))), let_go=f"part of {one}")
        for one in ("b", "b_alone")
    )
    others = ("idle", "strand", "lost", "low", "part of b", "part of b_alone", STOP, STANDBY)
    cues = {one.name: one for one in (A, BESIDE, *held, *map(cue, others))}
    score = Score(
        "s", tuple(c for c in cues.values() if c.name not in (STOP, STANDBY)),
        (Binding(1, "strand"), Binding(2, "b")), lost_cue="lost", low_cue="low",
        idle=("idle", "strand"),
    )  # fmt: skip
    rig = Rig((), (Board("b", "atmega328p", 1),), (EYE, EAR))
    assert _starts_any_time(Eye(Show(rig, score)), cues[name], beside) is starts


@pytest.mark.parametrize(
    ("moves", "pairs"),
    [
        # of only two lights that change, the sum of all is theirs
        ({"eye": 4, "ear": 4}, set()),
        ({"eye": 4, "ear": 4, "nose": 4}, {"ear eye", "ear nose", "eye nose"}),
        # two ways and one make five changes of their sum, one and one make three
        ({"eye": 2, "ear": 1, "nose": 1}, {"ear eye", "eye nose"}),
        ({"eye": 1, "ear": 1, "nose": 1}, set()),
        ({"eye": 3, "ear": 1, "nose": 1}, {"ear eye", "eye nose"}),
    ],
)
def test_two_lights_are_looked_at_together_where_they_go_up_and_down_often_enough(
    moves: dict[str, int], pairs: set[str]
) -> None:
    """One of two cues has to bring half of eight changes; `n` ways make 2 n - 1 of them."""
    body = InTurn(
        tuple(
            step
            for name, ways in moves.items()
            for way in range(ways)
            for step in (Fade(name, 0.0 if way % 2 else 100.0, 0), Hold(80))
        )
    )
    one = Cue("c", "", body)
    lamps = tuple(
        Lamp(name, "b", pin, colour=(255, 255, 255))
        for pin, name in enumerate(("eye", "ear", "nose", "still"), start=2)
    )
    rig = Rig((), (Board("b", "atmega328p", 1),), lamps)
    watching = Eye(Show(rig, Score("s", (one,), (Binding(1, "c"),))))
    seen_dark = watching.watch(one, watching.states.entries(one)[0])
    found = _pairs(watching, [_Seen(one, {}, {}, (seen_dark,))], (one,))
    assert {" ".join(pair) for pair in found} == pairs


def test_a_cue_that_flashes_by_itself_hides_no_two_others_that_do_together() -> None:
    beat = (Fade("eye", 100.0, 0), Hold(60), Fade("eye", 0.0, 0), Hold(60))
    strobe = Cue("strobe", "", Repeat(InTurn(beat), 8))
    off = (Fade("eye", 0.0, 0), Hold(130))
    on = (Fade("eye", 100.0, 0), Hold(130))
    first = Cue("first", "", InTurn((*off, *on, *off, *on, *off)))
    then = Cue("then", "", InTurn((*on, *off, *on, *off)))
    cues = (strobe, first, then)
    rig = Rig((), (Board("b", "atmega328p", 1),), (Lamp("eye", "b", 2, colour=(255, 255, 255)),))
    bound = tuple(Binding(n, one.name) for n, one in enumerate(cues, start=1))
    watching = Eye(Show(rig, Score("s", cues, bound)))
    assert _seen(watching, strobe).changes == {}
    found = {(one.first.name, one.then.name) for one in interruptions(watching, cues)}
    assert ("first", "then") in found
    assert not any("strobe" in pair for pair in found)
