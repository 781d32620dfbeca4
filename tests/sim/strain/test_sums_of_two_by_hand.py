"""The sum of two lights at every phase, read off: values, swings, closest rows, and what is told.

A frame is 20 ms. What shares a second with a cue lies up to 52 frames before or behind it: fifty of
the second, and the two that a window may be longer. A change is a tenth of full light (WCAG 2.2).
"""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.arrays import Array
from sim.light.flash import RED_DISTANCE, Flashing, LightSource, chromaticity
from sim.model import Binding, Board, Cue, Fade, Hold, InTurn, Lamp, Repeat, Rig, Score, Show
from sim.strain.eye import Eye
from sim.strain.light_states import Entry
from sim.strain.side_by_side import (
    _CHROMA,
    _EXCESS,
    _GENERAL,
    MOST_PHASES,
    _busiest,
    _closest,
    _frames_of,
    _joined,
    _judged,
    _LightSum,
    _measures,
    _most_in_a_second,
    _most_within,
    _Part,
    _PhaseSearch,
    _redden,
    _rest,
    _saturated,
    _starts,
    _told,
)

WHITE, RED = (1.0, 1.0, 1.0), (1.0, 0.0, 0.0)
SECOND = 52


def source(levels: list[float], colour: tuple[float, ...] = WHITE, leds: float = 1) -> LightSource:
    rgb = np.outer(levels, colour)
    full = 0.2126 * colour[0] + 0.7152 * colour[1] + 0.0722 * colour[2]
    return LightSource(rgb, rgb @ np.array([0.2126, 0.7152, 0.0722]) / full, leds, full)


def part(name: str, one: LightSource, starts: int = 1, **still: LightSource) -> _Part:
    own = _frames_of({name: one, **still}, np.array([0]))
    return _Part({name: one}, own, ((Cue(name, "", Hold(1)), starts),), Entry({name: 0.0}))


# -- one ------------------------------------------------------------------------------------------


def test_lights_stand_still_before_their_first_frame_and_behind_their_last() -> None:
    one = source([0.1, 0.5, 0.9])
    found = _frames_of({"a": one}, np.arange(-2, 5))["a"]
    assert found.luminance.tolist() == pytest.approx([0.1, 0.1, 0.1, 0.5, 0.9, 0.9, 0.9])
    assert found.rgb[:, 1].tolist() == pytest.approx([0.1, 0.1, 0.1, 0.5, 0.9, 0.9, 0.9])
    assert (found.weight, found.full_luminance) == (one.weight, one.full_luminance)


def test_a_part_adds_its_lights_up_by_their_leds() -> None:
    lights = {"a": source([0.0, 0.5], leds=2), "b": source([1.0, 1.0], RED, leds=3)}
    both = _Part(lights, {}, (), Entry({}))
    assert both.rgb == pytest.approx(np.array([[3.0, 0.0, 0.0], [4.0, 1.0, 1.0]]))
    assert both.full == pytest.approx(2.0 + 3.0 * 0.2126)
    assert both.frames == 2
    assert both.is_red  # three red ones alone
    assert not _Part({"a": lights["a"]}, {}, (), Entry({})).is_red


def test_the_turns_of_several_lights_add_up() -> None:
    lights = {"a": source([0.0, 1.0, 0.0, 1.0]), "b": source([1.0, 0.0, 0.0, 1.0])}
    assert _Part(lights, {}, (), Entry({})).turns == 3 + 2


@pytest.mark.parametrize("frames", [2999, 3000])
def test_of_a_minute_all_is_looked_at(frames: int) -> None:
    assert _busiest(np.zeros((frames, 3))) == (0, frames)


@pytest.mark.parametrize("at", [0, 40, 2000])
def test_of_more_than_a_minute_that_in_which_most_changes(at: int) -> None:
    """Ten steps of each colour by turns, from one frame of five thousand on, and a lesser one."""
    rgb = np.zeros((5000, 3))
    rgb[at + 1 : at + 10 : 3, 0] = rgb[at + 2 : at + 10 : 3, 2] = 1.0
    rgb[4990:, 1] = 1.0
    first, last = _busiest(rgb)
    assert last - first == 3000
    assert first <= at
    assert at + 10 <= last


@given(st.lists(st.sampled_from([0.0, 0.0, 0.0, 0.25, 1.0]), min_size=1, max_size=140))
def test_the_most_within_a_second_is_that_of_its_steps(steps: list[float]) -> None:
    sums = [sum(steps[n : n + SECOND]) for n in range(len(steps))]
    assert _most_within(np.array(steps)) == pytest.approx(max(sums))


# -- red ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rgb", "red"),
    [
        # four fifths of the light (WCAG 2.2), however dim
        ((0.8, 0.2, 0.0), True),
        ((0.8, 0.1, 0.1), True),
        ((0.08, 0.0, 0.02), True),
        ((0.79, 0.21, 0.0), False),
        ((0.79, 0.0, 0.21), False),
        ((1.0, 0.0, 0.0), True),
        ((0.0, 0.0, 0.0), False),
        ((1.0, 1.0, 1.0), False),
        ((0.0, 0.0, 1.0), False),
    ],
)
def test_a_saturated_red_is_told_from_all_else(rgb: tuple[float, ...], red: bool) -> None:
    assert bool(_saturated(np.array(rgb))) is red
    assert float(_redden(np.array(rgb))) == float(red)


def test_no_two_saturated_reds_are_so_far_from_one_another_that_a_change_counts() -> None:
    """By a grid over all of them: u' and v' of CIE 15, the limit 0.2 of WCAG 2.2."""
    shares = np.linspace(0.0, 0.2, 21)
    reds = np.array([(1.0 - g - b, g, b) for g in shares for b in shares if g + b <= 0.2 + 1e-9])
    assert _saturated(reds).all()
    places = chromaticity(reds)
    apart = np.hypot(*(places[:, None] - places[None, :]).transpose(2, 0, 1))
    assert apart.max() == pytest.approx(0.144, abs=0.001)
    assert apart.max() < RED_DISTANCE


@pytest.mark.parametrize(("swing", "counts"), [(0.2, True), (0.19, False)])
def test_general_changes_are_looked_for_where_both_swing_enough(swing: float, counts: bool) -> None:
    """Eight changes take 0.8 of the full light of both, of which each has a half. Up and down
    twice are four heights each: eight halves of 0.2."""
    up_and_down = [0.0, swing, 0.0, swing, 0.0]
    one, other = (part(n, source(up_and_down)) for n in ("a", "b"))
    assert (list(_measures(one, other, 8)) == [_GENERAL]) is counts


def test_red_is_looked_for_where_either_is_ever_red() -> None:
    red, white = part("a", source([0.0, 1.0] * 4, RED)), part("b", source([0.0, 1.0] * 4))
    assert list(_measures(white, white, 8)) == [_GENERAL]
    assert set(_measures(red, white, 8)) == {_GENERAL, _EXCESS, _CHROMA}
    assert set(_measures(white, red, 8)) == {_GENERAL, _EXCESS, _CHROMA}
    # what hardly swings may still change its colour
    calm = part("c", source([0.5, 0.5], RED))
    assert list(_measures(calm, part("d", source([0.5, 0.5])), 8)) == [_CHROMA]


def test_white_has_no_excess_of_red() -> None:
    """R - G - B of white is -1: that counts as none."""
    assert _EXCESS.of_sum(np.array([-1.0, 0.0, 0.3])).tolist() == [0.0, 0.0, 0.3]
    assert _EXCESS.of_part(np.array([WHITE, RED])).tolist() == [-1.0, 1.0]
    assert _GENERAL.of_part(np.array([WHITE, RED])).tolist() == pytest.approx([1.0, 0.2126])


# -- two ------------------------------------------------------------------------------------------

LEVELS = st.lists(st.sampled_from([0.0, 0.1, 0.5, 1.0]), min_size=1, max_size=9)


@given(LEVELS, LEVELS, st.integers(1, 3), st.booleans())
def test_the_sum_is_that_of_both_at_every_phase(
    ones: list[float], others: list[float], leds: int, keeps: bool
) -> None:
    """Frame n of the short one meets frame n + shift of the long one."""
    long, short = part("a", source(ones, leds=leds)), part("b", source(others))
    shifts = np.arange(-12, 13)
    found = _LightSum(long, short, shifts, _GENERAL, keeps)

    def held(levels: list[float], frame: int) -> float:
        return levels[min(max(frame, 0), len(levels) - 1)]

    for frame in (-3, 0, 1, len(others) - 1, len(others) + 2, 1):
        expected = [
            (leds * held(ones, frame + shift) + held(others, frame)) / (leds + 1)
            for shift in shifts.tolist()
        ]
        assert found[frame].tolist() == pytest.approx(expected)


def blinks(every: int, times: int, lit: int, before: int = 1) -> list[float]:
    return [0.0] * before + ([1.0] * lit + [0.0] * (every - lit)) * times


def span_ms(rows: Array, many: int) -> float:
    """The shortest time of so many changes in a row: each edge of full height changes by half, so a
    tenth is reached after a fifth of its frame; the first edge down only begins the row when the
    light has been up."""
    edges = np.flatnonzero(np.diff(rows))
    return min((20.0 * (edges[n + many - 1] - edges[n]) for n in range(len(edges) - many + 1)),
               default=inf)  # fmt: skip


@given(
    st.tuples(st.integers(9, 26), st.integers(1, 3), st.integers(2, 8)),
    st.tuples(st.integers(9, 26), st.integers(1, 3), st.integers(2, 8)),
    st.sampled_from([3, 4, 6, 8]),
)
@settings(max_examples=40, deadline=None)
def test_the_closest_row_of_changes_is_that_of_the_edges_of_both(
    one: tuple[int, int, int], other: tuple[int, int, int], many: int
) -> None:
    """Only phases at which no two edges fall together: then each edge is a change of its own."""
    ones, others = blinks(*one), blinks(*other)
    long, short = part("a", source(ones)), part("b", source(others))
    shifts = np.arange(-len(others) - SECOND, len(ones) + SECOND + 1)
    spans, at_ms = _closest(long, short, shifts, many)
    frames = np.arange(-SECOND, len(others) + SECOND)
    for n, shift in enumerate(shifts.tolist()):
        first = np.array(others)[np.clip(frames, 0, len(others) - 1)]
        second = np.array(ones)[np.clip(frames + shift, 0, len(ones) - 1)]
        a, b = np.diff(first), np.diff(second)
        both = a + b
        moving = both[np.flatnonzero(both)]
        apart = not (np.flatnonzero(a)[:, None] == np.flatnonzero(b)[None, :]).any()
        # two edges up behind one another are one change
        if not apart or (moving[1:] * moving[:-1] > 0.0).any():
            continue
        expected = span_ms(first + second, many)
        assert spans[n] == pytest.approx(expected)
        if expected < inf:
            edges = (frames[:-1][both != 0.0] * 20.0).tolist()
            assert min(abs(at_ms[n] - edge - 4.0) for edge in edges) < 4.1


def test_without_a_row_that_is_too_close_the_phase_of_most_changes_is_taken() -> None:
    """Two edges each, a lit stretch of ten frames: all four lie in a second where they mesh."""
    long, short = part("a", source(blinks(40, 2, 10))), part("b", source(blinks(30, 1, 10)))
    shifts = np.arange(-90, 140)
    shift = _most_in_a_second(long, short, shifts)
    spans, _ = _closest(long, short, shifts, 6)
    assert spans.min() <= 1020.0
    assert spans[int(np.flatnonzero(shifts == shift)[0])] == spans.min()
    still = part("c", source([0.5, 0.5]))
    assert _most_in_a_second(still, still, np.arange(3, 9)) == 0


@pytest.mark.parametrize("shift", [-7, -1, 0, 1, 4, 9])
def test_two_are_joined_at_their_phase(shift: int) -> None:
    """Frame 0 of the short one falls on frame `shift` of the long one here: both are led from the
    frame at which the first of them begins."""
    ones, others = [0.0, 0.1, 0.2, 0.3, 0.4], [0.9, 0.8, 0.7]
    dark = source([0.0])
    long, short = part("a", source(ones), 1, b=dark), part("b", source(others), 2)
    both = _joined(long, short, shift)
    first = min(0, shift)
    frames = range(first, max(5, 3 + shift))
    assert both.frames == len(frames)
    for n, frame in enumerate(frames):
        assert both.sources["a"].luminance[n] == pytest.approx(ones[min(max(frame, 0), 4)])
        own = others[min(max(frame - shift, 0), 2)]
        assert both.sources["b"].luminance[n] == pytest.approx(own)
    assert [(cue.name, at) for cue, at in both.starts] == [
        ("a", 1 - first),
        ("b", 2 + shift - first),
    ]
    assert both.finds.lights == {"a": 0.0, "b": 0.0}
    assert both.still == long.still


def test_what_belongs_to_neither_stands_still_beside_them() -> None:
    dark = source([0.0])
    long, short = part("a", source([1.0]), b=dark, c=dark), part("b", source([1.0]))
    assert set(_rest(long, short)) == {"c"}
    assert set(_rest(long)) == {"b", "c"}


@pytest.mark.parametrize(
    ("shift", "order", "after_ms", "late_ms"),
    [
        # of the long one frame 1 is the start, of the short one frame 1 + shift
        (5, ["a", "b"], 100, (5 - 1) * 20),
        (0, ["a", "b"], 0, (0 - 1) * 20),
        (-5, ["b", "a"], 100, (-5 - (1 - 5)) * 20),
    ],
)
def test_what_is_told_counts_from_the_cue_that_starts_first(
    shift: int, order: list[str], after_ms: int, late_ms: int
) -> None:
    long, short = part("a", source([0.0])), part("b", source([0.0]))
    found = Flashing("general", ("a", "b"), 4, 300.0, 260.0, 900.0)
    told = _told(long, short, shift, found)
    assert [told.first.name, told.then.name] == order
    assert (told.after_ms, told.also) == (after_ms, ())
    assert (told.found.at_ms, told.found.first_ms, told.found.last_ms) == (
        300.0 + late_ms,
        260.0 + late_ms,
        900.0 + late_ms,
    )
    assert told.finds.lights == {"a": 0.0, "b": 0.0}


def test_of_three_the_last_to_start_is_told_and_the_one_between_besides() -> None:
    both = _joined(part("a", source([0.0] * 9)), part("b", source([0.0])), 4)
    third = part("c", source([0.0]), 3)
    assert [(c.name, at) for c, at in _starts(both, third, 0)] == [("a", 1), ("b", 5), ("c", 3)]
    found = Flashing("general", ("a", "b", "c"), 4, 300.0, 260.0, 900.0)
    told = _told(both, third, 0, found)
    assert (told.first.name, told.then.name, told.after_ms) == ("a", "b", 80)
    assert [(cue.name, at) for cue, at in told.also] == [("c", 40)]


# -- as it is rehearsed ---------------------------------------------------------------------------


def pulses(light: str, every_ms: int, times: int) -> Repeat:
    beat = (Fade(light, 100.0, 0), Hold(60), Fade(light, 0.0, 0), Hold(every_ms - 60))
    return Repeat(InTurn(beat), times)


def search_of(*cues: Cue, lights: int = 2) -> _PhaseSearch:
    lamps = tuple(Lamp(f"l{n}", "b", 2 + n) for n in range(lights))
    bindings = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, start=1))
    rig = Rig((), (Board("b", "any", 1),), lamps)
    return _PhaseSearch(Eye(Show(rig, Score("", cues, bindings))), cues, lambda *_: True)


@pytest.mark.parametrize("late_ms", [0, 400, 75_000])
def test_a_part_knows_when_its_cue_starts_also_where_a_minute_is_cut_out(late_ms: int) -> None:
    """The first pulse comes so long after the start, seen as late as one at the start is."""
    cue = Cue("c", "", InTurn((Hold(late_ms), pulses("l0", 500, 3))))
    search = search_of(cue)
    parts = search._parts_of(cue)
    assert parts
    for one in parts:
        assert list(one.sources) == ["l0"]
        assert set(one.still) == {"l0", "l1"}
        ((whose, starts),) = one.starts
        assert whose is cue
        assert one.frames <= 3000
        # the last pulse begins a second after the first, and goes off three frames later
        last = int(np.flatnonzero(np.diff(one.sources["l0"].luminance) < 0.0)[-1]) + 1
        assert last == starts + (late_ms + 1000 + 60) // 20 - 1


def test_phases_are_paid_for_by_their_frames() -> None:
    one, other = Cue("one", "", pulses("l0", 500, 2)), Cue("other", "", pulses("l1", 500, 2))
    search = search_of(one, other)
    (a, b) = (search._parts_of(cue)[0] for cue in (one, other))
    found, _ = search._worst(a, b)
    assert found is not None
    assert search._left == MOST_PHASES - a.frames * b.frames


@pytest.mark.parametrize(("left", "found"), [(1, 1), (0, 0)])
def test_pairs_are_looked_at_while_any_phases_are_left(left: int, found: int) -> None:
    search = search_of(Cue("a", "", pulses("l0", 500, 2)), Cue("b", "", pulses("l1", 500, 2)))
    search._left = left
    assert len(list(search.pairs())) == found
    assert search.has_found is bool(found)


@pytest.mark.parametrize(
    ("before", "behind", "first", "last"),
    [(True, True, -52 - 3, 52 + 7), (False, True, 0, 52 + 7), (True, False, -52 - 3, 0)],
)
def test_phases_reach_a_second_beyond_both_ends_as_far_as_the_one_may_begin_in_the_other(
    before: bool, behind: bool, first: int, last: int
) -> None:
    """Of the one seven frames, of the other three: by how many the long one starts before it."""
    search = search_of()
    may = {("a", "b"): before, ("b", "a"): behind}
    search._may_begin = lambda one, other: may[one.name, other.name]
    long, short = part("a", source([0.0] * 7)), part("b", source([0.0] * 3))
    found = search._phases(long, short)
    assert (found[0], found[-1], found.size) == (first, last, last - first + 1)


def test_of_a_general_and_a_red_flash_the_one_of_most_flashes_is_told() -> None:
    """Two pulses of each at full red, and one at 16 %, which is 8 % of both: that changes R - G - B
    by more than a sixteenth, and luminance by less than a tenth."""
    full, dim, dark = [1.0, 1.0, 0.0, 0.0], [0.16, 0.16, 0.0, 0.0], [0.0] * 8
    long, short = (
        _Part({name: source(levels, RED)}, {n: source([0.0], RED) for n in "ab"}, (), Entry({}))
        for name, levels in (
            ("a", [0.0, *full * 2, *dark, *dim, *[0.0] * 4]),
            ("b", [0.0, *dark, *full * 2, *[0.0] * 4, *dim]),
        )
    )
    found = _judged(long, short, 0, 0.0)
    assert found is not None
    assert (found.kind, found.count, found.outputs) == ("red", 6, ("a", "b"))
    calm = _Part({"b": source([0.0], RED)}, short.still, (), Entry({}))
    assert _judged(long, calm, 0, 0.0) is None
