"""The most ways within a second, against a search that plays every order of runs frame by frame.

The search knows the description only: a light goes from target to target; a way that is begun and
cut short counts by its share of the frames that it needs; the next run begins where the one before
leaves it. It keeps a list of all that can still happen and has no bound of its own. The window is a
second, a frame, and one more in which a run starts before it is seen: 52 frames of 20 ms.
"""

from __future__ import annotations

from functools import cache
from math import ceil, inf

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sim.strain.ways_of_runs import FRAMES, LightInRuns, LightRun, LightWay, MostWays


def run(name: str, *ways: LightWay, least: float = 6, ends: float = inf) -> LightRun:
    return LightRun(name, ways, least, ends)


# -- the search -----------------------------------------------------------------------------------


class Search:
    """All that a light may go through, by brute force."""

    def __init__(self, light: LightInRuns, again: bool) -> None:
        self.light, self.again = light, again
        self.from_start = cache(self._from_start)
        self.handed_back = cache(self._handed_back)

    def moments(self, ways, last, left, midst):
        """Every moment of a row of ways: what counts by then, the frame, where the light was led.

        `midst`: the first way is nearly over when the window begins, at frame 0.
        """
        zero = ways[0].end if midst else 0
        counted = 0.0
        for n, way in enumerate(ways):
            at = max(0, way.start - zero)
            if at > left:
                break
            turned = 0 if way.target is not None and way.target == last else way.bends
            if midst and n == 0:
                counted = float(way.bends)
                yield counted, 0, way.target
            else:
                gone = 0
                # a way that begins is seen for a frame; it is followed until it counts in full
                while gone < way.needs and (gone == 0 or at + gone < left):
                    gone += 1
                    unsure = turned > 0 and gone < way.needs
                    led = None if unsure else way.target
                    yield counted + turned * gone / way.needs, at + gone, led
                counted += turned
            last = way.target

    def more(self, left, last):
        return self.from_start(left, last) if self.again and left >= 0 else 0.0

    def _from_start(self, left, last):
        found = [0.0]
        for one in self.light.runs:
            held, reached = ceil(min(one.least, 1000)), 0.0
            for counted, frame, led in self.moments(one.ways, last, left, False):
                found.append(counted + self.more(left - max(frame, held), led))
                reached = counted
            if self.light.given_back and one.ends <= left:
                wait = max(0, ceil(one.least - one.ends))
                found.append(reached + self.handed_back(left - ceil(one.ends), wait))
        return max(found)

    def _handed_back(self, left, wait):
        """One way back; then idle from any of its ways, and runs again."""
        found = [self.more(left - wait, None)]
        for one in self.light.idle:
            for n in range(len(one.ways)):
                for counted, frame, led in self.moments(one.ways[n:], None, left, True):
                    found.append(counted + self.more(left - max(frame, wait, 1), led))
        return 1.0 + max(found)

    def from_midst(self, first):
        found = [self.from_start(FRAMES, None)]
        for one in first:
            for n, way in enumerate(one.ways):
                reached = 0.0
                for counted, frame, led in self.moments(one.ways[n:], None, FRAMES, True):
                    found.append(counted + self.from_start(FRAMES - frame, led))
                    reached = counted
                rest = max(0.0, one.ends - way.end)
                if self.light.given_back and rest <= FRAMES:
                    found.append(reached + self.handed_back(FRAMES - ceil(rest), 0))
        return max(found)


# -- at random ------------------------------------------------------------------------------------

TARGETS = st.sampled_from([10.0, 20.0, None])


@st.composite
def rows(draw, name: str) -> LightRun:
    at, ways = 0, []
    for _ in range(draw(st.sampled_from([1, 2, 3, 0]))):
        start = at + draw(st.sampled_from([0, 0, 1, 5, 30, 52, 53]))
        at = start + draw(st.sampled_from([0, 1, 4, 9, 25]))
        needs, bends = draw(st.sampled_from([1, 1, 2, 7])), draw(st.sampled_from([1, 1, 2]))
        ways.append(LightWay(start, at, draw(TARGETS), needs, bends))
    ends = at + draw(st.sampled_from([0, 0.5, 2, 20, 51.5, 52, 53, inf]))
    least = draw(st.sampled_from([6, 6, 7.5, 25, 60]) | st.just(max(ends, 1)))
    return LightRun(name, tuple(ways), least, ends)


LIGHTS = st.builds(
    LightInRuns,
    st.tuples(rows("a")) | st.tuples(rows("a"), rows("b")),
    st.just(()) | st.tuples(rows("idle")),
    st.booleans(),
)


@given(LIGHTS)
@settings(max_examples=120, deadline=None)
def test_no_order_of_runs_has_more_ways_than_are_told_and_one_has_as_many(
    light: LightInRuns,
) -> None:
    targets = {way.target for one in light.runs for way in one.ways}
    found = light.in_turn()
    if len(targets) > 1 or None in targets or light.given_back:
        assert found.most == pytest.approx(Search(light, True).from_midst(light.runs))
    assert set(found.cues) <= {one.name for one in light.runs}


@given(LIGHTS, rows("first"))
@settings(max_examples=120, deadline=None)
@example(LightInRuns((run("a", LightWay(0, 4, 10.0)),)), run("first", LightWay(0, 1, 20.0)))
def test_behind_one_run_a_single_one_follows(light: LightInRuns, first: LightRun) -> None:
    found = light.followed((first,))
    assert found.most == pytest.approx(Search(light, False).from_midst((first,)))


# -- by hand --------------------------------------------------------------------------------------

UP, DOWN = run("up", LightWay(0, 5, 80.0)), run("down", LightWay(0, 5, 20.0))


def test_the_runs_that_make_the_ways_are_named_in_turn() -> None:
    found = LightInRuns((UP, DOWN)).in_turn()
    assert found.most == 1 + 9
    assert len(found.cues) == 10
    assert all(one != after for one, after in zip(found.cues, found.cues[1:], strict=False))
    assert LightInRuns((DOWN,)).followed((UP,)) == MostWays(2, ("up", "down"))


def test_a_way_that_is_seen_for_the_last_frame_counts() -> None:
    for start, most in ((51, 2), (52, 2), (53, 1)):
        last = LightInRuns((run("a", LightWay(start, 60, 20.0)),))
        assert last.followed((UP,)).most == most


@pytest.mark.parametrize(("ends", "most"), [(57, 2), (58, 1)])
def test_what_is_given_back_in_the_last_frame_counts(ends: float, most: int) -> None:
    """52 frames from the end of its way at 5: then the lamp goes back, one way more."""
    one = run("one", LightWay(0, 5, 80.0), ends=ends)
    assert LightInRuns((), given_back=True).followed((one,)).most == most


def test_a_run_that_leaves_the_light_alone_gives_it_back_without_a_way() -> None:
    """The way of the run before, and the way back."""
    calm = run("calm", ends=10)
    assert LightInRuns((calm,), given_back=True).followed((UP,)).most == 2


def test_what_is_known_of_one_order_is_not_taken_for_another() -> None:
    light = LightInRuns((UP, DOWN))
    assert light.followed((UP,)).most == 2
    assert light.in_turn().most == 10
    assert light.followed((UP,)).most == 2


@pytest.mark.parametrize(
    ("ways", "most"),
    [
        ((LightWay(0, 5, 80.0),), 1),
        ((LightWay(0, 5, 80.0), LightWay(9, 12, 80.0)), 1),
        ((LightWay(0, 5, 80.0, bends=2), LightWay(9, 12, 80.0, bends=3)), 3),
    ],
)
def test_all_that_leads_to_one_place_turns_as_often_as_its_most_bent_way(
    ways: tuple[LightWay, ...], most: int
) -> None:
    one, other = run("one", *ways), run("other", LightWay(0, 2, 80.0))
    assert LightInRuns((one, other)).in_turn() == MostWays(most, ("one",))
    assert LightInRuns((one, other), given_back=True).in_turn().most >= most
    back = replace_ends(one, 12), replace_ends(other, 2)
    assert LightInRuns(back, given_back=True).in_turn().most > most


def replace_ends(one: LightRun, ends: float) -> LightRun:
    return LightRun(one.name, one.ways, one.least, ends)


@pytest.mark.parametrize(
    ("ways", "adds"),
    [
        ((LightWay(0, 5, 80.0), LightWay(9, 12, 20.0)), 2),
        ((LightWay(0, 5, 80.0), LightWay(9, 12, 80.0)), 1),
        ((LightWay(0, 5, None), LightWay(9, 12, None)), 2),
        ((LightWay(0, 5, 80.0, bends=3), LightWay(9, 12, 20.0, bends=2)), 5),
        # what begins after the window adds nothing, up to its last frame it does
        ((LightWay(0, 5, 80.0), LightWay(52, 60, 20.0)), 2),
        ((LightWay(0, 5, 80.0), LightWay(53, 60, 20.0)), 1),
    ],
)
def test_a_run_that_comes_late_adds_all_its_turns_once(
    ways: tuple[LightWay, ...], adds: int
) -> None:
    late = run("late", *ways, least=inf)
    busy = run("busy", *(LightWay(n, n + 1, None) for n in range(9)), least=inf)
    runs = UP, DOWN, late, run("late", LightWay(0, 5, 50.0), least=inf), busy
    alone = LightInRuns(runs).in_turn()
    found = LightInRuns(runs, late=("late",)).in_turn()
    assert found.most == alone.most + adds
    assert found.cues == alone.cues
