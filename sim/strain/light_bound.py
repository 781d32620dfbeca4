"""How many changes of light any second of a play could hold: a bound in closed form.

A bound is read off the text, without running anything. A change needs a light on its way up or
down, so ways are counted: a fade is one way, a beat of `ember` on a lamp one, of any other effect
two (on a strip, pixels of an `ember` that rise and fall at once make two of one beat). Where a fade
and an effect meet, their product may bend once within each way of either: these count twice. What
is repeated counts as often as it can come round. A fade from colour to colour may hold more ways
than one (`sim.light.hues`). The light that a cue finds may still be fading:
one way more, until the cue's own first fade; idle's lights come on just before it starts, where it
follows power-up. A spot that runs is taken to glide, as in `sim.light.patterns`.

The ways of several lights add up, but all of them together may change more often: while one light
rises slowly, each short way down of another turns the sum twice. So n ways of several lights count
as 2 n - 1 changes (own; the tests climb towards shows that make more).

A second of frames may hold what happens in a second and one frame.

Of what draws its times the shortest are read; what may come late beside something longer lasts
longer by that (`sim.strain.drawn_times`).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from math import inf
from typing import Final, NamedTuple

import numpy as np

from sim.light.counting import TOO_MANY
from sim.light.flash import SECOND_MS
from sim.light.hues import ways_of_fades
from sim.model import Cue, Effect, Fade, Lamp, Repeat, Show, Step, Strip, StripLight
from sim.rulebook import EFFECT_SOFT_MS, FRAME_MS
from sim.score.tree import Lengths, acts, duration_ms, passes, timeline, walk
from sim.strain.drawn_times import Late, lateness

WINDOW_MS: Final = SECOND_MS + FRAME_MS


FEW: Final = 24
"""Up to so many spans are compared one by one, and up to its square those that may meet."""


class _Ways(NamedTuple):
    """Ways up or down that a window which meets this span of time may hold at most."""

    output: str
    start_ms: float
    end_ms: float
    most: float


_IN_TIME: Final = Late(0.0, 0.0)


class _RepeatsAround(NamedTuple):
    """The repeats around a statement: the outermost one's end, and the innermost one's pass."""

    end_ms: float
    pass_ms: float
    most: float
    """Passes in all, where that is known."""


class LightBound:
    """Bounds on changes of light for the cues of a show; each cue is read once."""

    def __init__(self, show: Show, written: Mapping[str, Step] | None = None) -> None:
        """`written`: by cue its body as it was written, where it draws something. Its times are
        the shortest, and a body that is written out once for every draw would count as if all of
        its passes might come at once."""
        self._show = show
        self._written = dict(written or {})
        self._lights = {
            o.name: o.pixels if isinstance(o, Strip) else 1
            for o in show.rig.outputs
            if isinstance(o, Lamp | Strip)
        }
        """Pixels of each light."""
        self._ways_of_a_fade = _ways_of_fades(show)
        self._held = {binding.cue for binding in show.score.bindings if binding.while_held}
        self._ways: dict[str, list[_Ways]] = {}
        self._most: dict[str, float] = {}

    def of(self, cue: Cue) -> float:
        """Most changes within any second of a run of the cue, of all its lights together."""
        if cue.name not in self._most:
            self._most[cue.name] = _densest_together(self._read(cue))
        return self._most[cue.name]

    def ways(self, cue: Cue) -> float:
        """Most ways up or down within any second of a run of the cue, of all its lights."""
        return _densest(self._read(cue))

    def of_light(self, cue: Cue, name: str) -> float:
        """The same for one light."""
        return _densest([one for one in self._read(cue) if one.output == name])

    def draws(self, cue: Cue) -> bool:
        """Whether the cue draws something: then its times are known as bounds alone."""
        return cue.name in self._written

    def of_one_fade(self, name: str) -> int:
        """How many changes a fade of that light may hold."""
        return int(self._ways_of_a_fade[name])

    def weighted(self, cue: Cue, shares: Mapping[str, float]) -> float:
        """As `of`, with ways of each light counting as much as its share, 0 to 2; others do not."""
        ways = [
            one._replace(most=one.most * shares[one.output])
            for one in self._read(cue)
            if one.output in shares
        ]
        return _densest(ways)

    def of_play(self, starts: int) -> float:
        """Most changes within any second of any play, of one light or of all together.

        `starts`: how many runs begin within any second at most; a stop and a power-up count as
        one. Each light then belongs to `starts + 1` runs, one after the other; where it changes
        hands an effect may be taken off, which is a jump. No light changes more often than frames
        are shown.
        """
        whole = 0.0
        for name in self._lights:
            most = max((self.of_light(cue, name) for cue in self._show.score.cues), default=0.0)
            whole += (starts + 1) * max(most, 1.0) + starts
        if len(self._lights) > 1:
            whole = together(whole)
        return min(whole, WINDOW_MS / FRAME_MS)

    def longest_ms(self, cue: Cue, changes: float) -> float:
        """For how long each window could hold so many changes, one after the other, at most.

        `inf` if any could where the cue draws something: it may take longer than it is read.
        """
        if cue.name in self._written:
            return inf if self.of(cue) >= changes else 0.0
        ways = self._read(cue)
        several = len({one.output for one in ways}) > 1
        return _longest(ways, (changes + 1.0) / 2.0 if several else changes)

    def cannot_flash(self, cue: Cue) -> bool:
        """Whether a run of the cue keeps below eight changes a second, whatever it finds."""
        return self.of(cue) < TOO_MANY

    def _read(self, cue: Cue) -> list[_Ways]:
        if cue.name not in self._ways:
            # a strand of idle that comes to its end begins again
            often = cue.name in self._held or cue.name in self._show.score.idle
            again = often and 0 < duration_ms(cue.body) < inf
            body = self._written.get(cue.name, cue.body)
            body = Repeat(body, None) if again else body
            # only what draws its times may be late
            late = lateness(body, self._lights) if cue.name in self._written else {}
            ways = _ways(body, self._lights, self._ways_of_a_fade, late)
            if cue.name in self._show.score.idle:
                # after power-up its lights come on a frame before it starts
                lit = dict.fromkeys(one.output for one in ways)
                ways += [_Ways(name, -FRAME_MS, -FRAME_MS, 1.0) for name in lit]
            self._ways[cue.name] = ways
        return self._ways[cue.name]


def together(ways: float) -> float:
    """Most changes of the sum of several lights that go so many ways up or down."""
    return max(0.0, 2.0 * ways - 1.0)


def _densest_together(ways: list[_Ways]) -> float:
    """The most changes that a window holds, of one light or of all together.

    Only where a window meets several lights their sum may turn more often than they do.
    """
    names = {one.output for one in ways}
    if len(names) < 2:
        return _densest(ways)
    alone = max(_densest([one for one in ways if one.output == name]) for name in names)
    return max(alone, together(_densest(_meeting_others(ways))))


def _meeting_others(ways: list[_Ways]) -> list[_Ways]:
    """Those that some window holds together with one of another light."""
    spans = {name: _Spans() for name in {one.output for one in ways}}
    for one in sorted(ways, key=lambda way: way.start_ms):
        spans[one.output].add(one.start_ms, one.end_ms)
    return [
        one
        for one in ways
        if any(
            others.meet(one.start_ms - WINDOW_MS, one.end_ms + WINDOW_MS)
            for name, others in spans.items()
            if name != one.output
        )
    ]


class _Spans:
    """Spans of time that do not meet one another, added by their start."""

    def __init__(self) -> None:
        self._starts: list[float] = []
        self._ends: list[float] = []

    def add(self, start_ms: float, end_ms: float) -> None:
        if self._ends and start_ms <= self._ends[-1]:
            self._ends[-1] = max(self._ends[-1], end_ms)
        else:
            self._starts.append(start_ms)
            self._ends.append(end_ms)

    def meet(self, start_ms: float, end_ms: float) -> bool:
        """Whether any of them meets this one."""
        last = bisect_right(self._starts, end_ms) - 1
        return last >= 0 and self._ends[last] >= start_ms


def _densest(ways: list[_Ways]) -> float:
    """The most that a window holds; one that does starts where a span ends."""
    if len(ways) > FEW:
        return _densest_of_many(ways)
    ends = {one.end_ms for one in ways}
    return max(
        (
            sum(w.most for w in ways if w.start_ms <= end + WINDOW_MS and w.end_ms >= end)
            for end in ends
        ),
        default=0.0,
    )


def _densest_of_many(ways: list[_Ways]) -> float:
    """The same in time that grows with the number of spans: what has begun, less what is over."""
    start, end, most = np.array([one[1:] for one in ways]).T
    by_start, by_end = np.argsort(start), np.argsort(end)
    begun = np.concatenate([[0.0], np.cumsum(most[by_start])])
    over = np.concatenate([[0.0], np.cumsum(most[by_end])])
    windows = np.unique(end)
    until = np.searchsorted(start[by_start], windows + WINDOW_MS, side="right")
    before = np.searchsorted(end[by_end], windows, side="left")
    return float((begun[until] - over[before]).max())


def _longest(ways: list[_Ways], changes: float) -> float:
    """The longest time (ms) in which a window may start anywhere and hold so many."""
    begins = [(one.start_ms - WINDOW_MS, -one.most) for one in ways]
    longest, most, since = 0.0, 0.0, inf
    for at, less in sorted([*begins, *((one.end_ms, one.most) for one in ways)]):
        was_enough = most >= changes
        most -= less
        if most >= changes and not was_enough:
            since = at
        elif was_enough and most < changes:
            longest = max(longest, at - since)
    return longest


def effect_ways(effect: Effect, pixels: int = 1) -> float:
    """Ways of an effect's light within any second, for any pixel or group of pixels."""
    if effect.name == "steady":
        return 0.0
    beats = WINDOW_MS // effect.period_ms + 2.0
    if effect.name == "ember" and pixels == 1:
        return beats
    if effect.name == "breathe":
        return 2.0 * WINDOW_MS // effect.period_ms + 2.0
    return 2.0 * beats


def _ways_of_fades(show: Show) -> dict[str, float]:
    """By light, how many changes one of its fades may hold."""
    found = {o.name: 1.0 for o in show.rig.outputs if isinstance(o, Lamp | Strip)}
    for strip in (o for o in show.rig.outputs if isinstance(o, Strip)):
        lights = [strip.safe]
        for act in (act for cue in show.score.cues for act in acts(cue.body)):
            if isinstance(act, Fade) and act.output == strip.name:
                assert isinstance(act.light, StripLight)
                lights.append(act.light)
        found[strip.name] = float(ways_of_fades(strip, lights))
    return found


def _ways(
    body: Step,
    lights: Mapping[str, int],
    of_a_fade: Mapping[str, float],
    late: Mapping[int, Late],
) -> list[_Ways]:
    lengths = Lengths(body)
    loops: dict[int, _RepeatsAround] | None = None
    acts: list[tuple[float, Fade | Effect]] = []
    for start, step in timeline(body):
        if isinstance(step, Repeat) and loops is None:
            loops = _loops(body, lengths)
        if isinstance(step, Fade | Effect) and step.output in lights and start < inf:
            acts.append((start, step))
    return _read_off(acts, loops or {}, lights, of_a_fade, late)


def _read_off(
    acts: list[tuple[float, Fade | Effect]],
    loops: dict[int, _RepeatsAround],
    lights: Mapping[str, int],
    of_a_fade: Mapping[str, float],
    late: Mapping[int, Late],
) -> list[_Ways]:
    found: list[_Ways] = []
    beats: dict[str, list[_Ways]] = {}
    first_fade: dict[str, float] = {}
    for start, act in acts:
        first_fade.setdefault(act.output, inf)
        if isinstance(act, Fade):
            at = start + late.get(id(act), _IN_TIME).ms
            first_fade[act.output] = min(first_fade[act.output], at)
    for name in {act.output for _, act in acts if isinstance(act, Effect)}:
        laid = [(s, a) for s, a in acts if isinstance(a, Effect) and a.output == name]
        beats[name] = _beats(laid, loops, lights[name], late)
        found += [
            _jump(effect, start, loops.get(id(effect)), late.get(id(effect), _IN_TIME))
            for start, effect in laid
        ]
    fades = [
        _span(
            act,
            start,
            act.duration_ms,
            of_a_fade[act.output],
            loops.get(id(act)),
            late.get(id(act), _IN_TIME),
        )
        for start, act in acts
        if isinstance(act, Fade)
    ]
    fades += [_Ways(name, 0.0, at, of_a_fade[name]) for name, at in first_fade.items() if at > 0.0]
    many = len(fades) * sum(map(len, beats.values())) > FEW**2
    for fade in fades:
        meets = many or any(_meet(fade, one) for one in beats.get(fade.output, ()))
        found.append(_twice(fade) if meets else fade)
    for one in (one for several in beats.values() for one in several):
        meets = many or any(fade.output == one.output and _meet(fade, one) for fade in fades)
        found.append(_twice(one) if meets else one)
    return found


def _meet(one: _Ways, other: _Ways) -> bool:
    return one.start_ms < other.end_ms and other.start_ms < one.end_ms


def _twice(one: _Ways) -> _Ways:
    return one._replace(most=2.0 * one.most)


def _beats(
    laid: list[tuple[float, Effect]],
    loops: dict[int, _RepeatsAround],
    pixels: int,
    late: Mapping[int, Late],
) -> list[_Ways]:
    """The beats of one light's effects: each until the next has let it go, or all on where they are
    repeated, or where one of them may come late."""
    ordered = sorted(laid, key=lambda one: one[0])
    plain = not any(
        id(effect) in loops or late.get(id(effect), _IN_TIME).ms > 0.0 for _, effect in ordered
    )
    nexts = (start + EFFECT_SOFT_MS for start, _ in ordered[1:])
    ends = [*nexts, inf] if plain else [inf] * len(ordered)
    return [
        _Ways(effect.output, start, end, effect_ways(effect, pixels))
        for (start, effect), end in zip(ordered, ends, strict=True)
        if effect.name != "steady"
    ]


def _jump(effect: Effect, start: float, loop: _RepeatsAround | None, late: Late) -> _Ways:
    """Where an effect comes or goes, and another one after it. What is repeated cuts beats short:
    two ways more."""
    return _span(effect, start, 2.0 * EFFECT_SOFT_MS, 1.0 if loop is None else 3.0, loop, late)


def _span(
    act: Fade | Effect,
    start: float,
    lasts: float,
    each: float,
    loop: _RepeatsAround | None,
    late: Late,
) -> _Ways:
    """`late`: by how much what comes behind it may come closer than it is written."""
    if loop is None:
        return _Ways(act.output, start, start + lasts + late.ms, each)
    meets = WINDOW_MS + lasts + late.in_pass_ms
    times = min(meets // max(loop.pass_ms, 1.0) + 1.0, loop.most)
    return _Ways(act.output, start, loop.end_ms + late.ms, times * each)


def _loops(body: Step, lengths: Lengths) -> dict[int, _RepeatsAround]:
    """By statement, the repeats around it."""
    found: dict[int, _RepeatsAround] = {}
    for start, step in timeline(body):
        if not isinstance(step, Repeat):
            continue
        around = found.get(id(step))
        runs = inf if step.while_held else passes(step)
        end = around.end_ms if around else start + runs * max(lengths[step.body], 1.0)
        loop = _RepeatsAround(end, lengths[step.body], inf if around else runs)
        found.update((id(inner), loop) for inner in walk(step.body))
    return found
