"""Whether a strand of idle may flash too often by what it draws: a bound, close to what it can do.

A rehearsal shows some draws out of millions. So the worst of them is reckoned. Shorter times bring
more changes into a second, so each time is its shortest; only beside something longer a fade that
takes long ends closer to the next one (`sim.strain.drawn_times`).

Between two changes light is at an extreme, at the end of a fade. A row of n changes has n - 1 such
extremes, turn about high and low. It takes from the end of the first change's fade (the light that
a strand finds may be one from which the fade just counts, at its very end) over all that lies
between, to the last one, as early in its fade as its ends allow. The
extremes in between are taken at the ends of their ranges, and nothing that a value is for one
change keeps it from another one for the next. So a row may be thought of that no draw brings about;
the bound errs on the safe side.

Several lights of a strand together are `sim.strain.drawn_together`'s. Where an effect lies over a
light, where its fades cut one another short, or where a button could hold a repeat, ways up and
down are counted instead (`sim.strain.light_bound`). There a light that hardly counts among all of
them counts by how much it does. Where a choice is made, `sim.strain.chosen_light` looks at every
way through it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import inf, pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sim.arrays import Array
from sim.light.counting import TOO_MANY
from sim.light.flash import CHANGE, RED_CHANGE, FlashKind
from sim.model import Cue, Effect, Hold, Lamp, Repeat, Show, Step, Strip
from sim.score.draws import draws_in
from sim.score.tree import Lengths, acts, swapped, walk
from sim.strain.chosen_light import ChosenLight
from sim.strain.drawn_stands import (
    MOST_FADES,
    ROUND,
    RowOfStands,
    Sense,
    can_be_red,
    levels_of,
    own_luminance,
    reached,
    redness_of,
    senses_of,
    stands_of,
    tinge_of,
    way_to,
    weights_of,
)
from sim.strain.drawn_times import in_time
from sim.strain.drawn_together import (
    most_changes_together,
    most_turns_of_drifting,
    most_turns_of_overlapping,
)
from sim.strain.light_bound import WINDOW_MS, LightBound, effect_ways, together
from sim.strain.light_states import LightStates


@dataclass(frozen=True, slots=True)
class MayFlash:
    """What may flash more than three times within a second: which lights, and how often at most.

    `is_near`: the bound is close to what can happen; else nothing better is known than a count of
    all ways of light up and down.
    """

    kind: FlashKind
    outputs: tuple[str, ...]
    count: int
    is_near: bool = True


def draws_something(cue: Cue) -> bool:
    """Whether a cue, as it was written, draws anything."""
    return next(draws_in(cue.body), None) is not None


def may_flash(
    show: Show, cue: Cue, written: Cue, bound: LightBound, states: LightStates
) -> tuple[MayFlash, ...]:
    """What may flash in a strand, whatever is drawn; each light by itself, then all together.

    `cue`: the strand as the checks look at it, `written`: as it was written, with its draws.
    `show`: the show with its lights alone.
    """
    if not draws_something(written) or bound.cannot_flash(cue):
        return ()
    lights = {o.name: o for o in show.rig.outputs if isinstance(o, Lamp | Strip)}
    used = [name for name in lights if any(act.output == name for act in acts(cue.body))]
    rows = {name: stands_of(written.body, lights[name], states) for name in used}
    found: dict[tuple[FlashKind, tuple[str, ...], bool], int] = {}

    def note(
        kind: FlashKind, outputs: tuple[str, ...], changes: float, is_near: bool = True
    ) -> None:
        if changes >= TOO_MANY:
            key = kind, outputs, is_near
            found[key] = max(int(changes // 2), found.get(key, 0))

    chosen = ChosenLight(written.body, states)
    for name, row in rows.items():
        others = tuple(lights.values()) if len(used) == 1 < len(lights) else ()
        senses = tuple(senses_of(lights[name], others))
        several = (
            chosen.changes(lights[name], senses)
            if row is None
            else [_most_changes(row, sense) for sense in senses]
        )
        if several is None:
            effects = _under_effects(show, written, lights[name], states)
            note("general", (name,), min(effects, bound.of_light(cue, name)), is_near=False)
            continue
        for sense, changes in zip(senses, several, strict=True):
            note(sense.kind, sense.outputs, changes)
    for names in _ensembles(used) if not found else ():
        if together(sum(bound.of_light(cue, name) for name in names)) < TOO_MANY:
            continue
        seen = {name: lights[name] for name in names}
        known = {n: row for n in names if (row := rows[n]) is not None}
        if len(known) < len(names):
            counted = bound.weighted(cue, _shares(seen, states))
            for kind, count in _chosen_together(chosen, seen, names, counted):
                note(kind, names, count, is_near=False)
        else:
            for kind, most, is_near in _together(written.body, seen, known):
                note(kind, names, most, is_near)
    return tuple(
        MayFlash(kind, outputs, count, is_near) for (kind, outputs, is_near), count in found.items()
    )


def _chosen_together(
    chosen: ChosenLight, lights: Mapping[str, Lamp | Strip], used: Sequence[str], most: float
) -> Iterator[tuple[FlashKind, float]]:
    """The changes of several lights of a strand that chooses; `most`: their ways, counted."""
    found: list[tuple[FlashKind, float]] = []
    for kind, values, least in _sums(lights, used):
        several = chosen.changes_of_all([lights[name] for name in used], values, least)
        if several is None:
            yield "general", most
            return
        found.append((kind, min(several, most)))
    yield from found


def _ensembles(used: list[str]) -> Iterator[tuple[str, ...]]:
    """Every two lights of a strand, and all of them: lights that stand still beside them take
    nothing away (`sim.light.flash.ensembles`)."""
    yield from combinations(used, 2)
    if len(used) > 2:
        yield tuple(used)


def _together(
    body: Step, lights: Mapping[str, Lamp | Strip], rows: Mapping[str, RowOfStands]
) -> Iterator[tuple[FlashKind, int, bool]]:
    """The changes of several lights of one strand, seen as one.

    Close to what can happen where fades follow one another; looser where they overlap.
    """
    times = in_time(body, rows, WINDOW_MS, MOST_FADES * len(rows))
    stands = {name: row.stands for name, row in rows.items()}
    for kind, values, least in _sums(lights, rows):
        if times.drifts:
            yield kind, most_turns_of_drifting(times, stands, values, least), False
            continue
        near = most_changes_together(times, stands, values, least)
        yield kind, near, True
        if near < TOO_MANY:
            yield kind, most_turns_of_overlapping(times, stands, values, least), False


def _sums(
    lights: Mapping[str, Lamp | Strip], rows: Collection[str]
) -> Iterator[tuple[FlashKind, dict[str, Callable[[Array], Array]], float]]:
    """What each light adds to a sum that may flash, and the least change that counts."""
    shares = weights_of(tuple(lights.values()))
    own = {name: _scaled(own_luminance(lights[name]), shares[name]) for name in rows}
    yield "general", own, CHANGE
    if not any(can_be_red(light) for light in lights.values()):
        return
    counts = {n: one.count if isinstance(one, Lamp) else one.pixels for n, one in lights.items()}
    leds = sum(counts.values())
    red = {name: _scaled(redness_of(lights[name]), counts[name] / leds) for name in rows}
    yield "red", red, RED_CHANGE
    yield "red", {name: tinge_of(lights[name]) for name in rows}, 1.0


def _scaled(value: Callable[[Array], Array], share: float) -> Callable[[Array], Array]:
    return lambda levels: value(levels) * share


def _shares(lights: Mapping[str, Lamp | Strip], states: LightStates) -> dict[str, float]:
    """How much a way of each light counts among all lights together, 0 to 2.

    Within one way of a bright light, another one has to go against it by a tenth of the whole for
    two changes more: a way of a thousandth of the whole counts as a fiftieth.
    """
    weights = weights_of(tuple(lights.values()))
    found = {}
    for name, light in lights.items():
        levels = np.array([levels_of(one) for one in states.left(name)])
        most = float(own_luminance(light)(levels).max())
        found[name] = min(2.0, 2.0 * weights[name] * most / CHANGE)
    return found


# -- under effects --------------------------------------------------------------------------------


def _under_effects(show: Show, written: Cue, light: Lamp | Strip, states: LightStates) -> float:
    """Most changes of a light whose fades an effect lies over.

    Each way of the fades is one. An effect makes two more for every so much as counts by which it
    brings the light to and fro, at the light's brightest, within a second.
    """
    body = written.body
    effects = [e for e in acts(body) if isinstance(e, Effect) and e.output == light.name]
    least = RED_CHANGE if can_be_red(light) else CHANGE
    if can_be_red(light) and any(effect.depth_pct >= 100.0 for effect in effects):
        return inf  # a red light that goes quite dark changes its colour, however dim it is
    plain = swapped(body, lambda step: Hold(0) if isinstance(step, Effect) else step)
    fades = LightBound(show, {written.name: plain}).of_light(written, light.name)
    value = own_luminance(light)
    levels = np.array([levels_of(one) for one in states.left(light.name)])
    steepest = float((value(levels) - value(levels * (1.0 - _BIT))).max()) / _BIT
    passes = _passes_of_effects(body)
    most = jumps = 0.0
    for effect in effects:
        depth = effect.depth_pct / 100.0
        swing = float((value(levels) - value(levels * (1.0 - depth))).max())
        beats = effect_ways(effect, light.pixels if isinstance(light, Strip) else 1) * swing
        slope = _SWINGS.get(effect.name, inf) * WINDOW_MS / effect.period_ms * depth * steepest
        most = max(most, min(beats, slope))
        jumps += passes[id(effect)] * swing
    return fades + 2.0 * ((most + jumps) // (least - ROUND))


_BIT: Final = 0.01
_SWINGS: Final = {"breathe": pi, "ember": 1.0}
"""By how many of its depths an effect changes at its fastest, in a beat (`sim.light.effects`)."""


def _passes_of_effects(body: Step) -> dict[int, float]:
    """By effect, how often any second may lay it."""
    lengths = Lengths(body)
    found: dict[int, float] = {}
    around = [Repeat(body, None), *(step for step in walk(body) if isinstance(step, Repeat))]
    for repeat in around:
        lasts = lengths[repeat.body]
        often = 1.0 if lasts == inf else WINDOW_MS // max(lasts, 1.0) + 2.0
        for step in walk(repeat.body):
            if isinstance(step, Effect):
                found[id(step)] = often
    return found


# -- the closest row ------------------------------------------------------------------------------


def _most_changes(row: RowOfStands, sense: Sense) -> int:
    """The most changes that a second of frames may hold, as far as it is more than too many."""
    stands, between = row.stands, row.until_ms
    values = [np.atleast_1d(sense.value(one.levels)) for one in stands]
    low = np.array([float(several.min()) for several in values])
    high = np.array([float(several.max()) for several in values])
    later = np.triu(np.ones((len(stands), len(stands)), dtype=bool), 1)
    least = sense.least - ROUND
    rises = later & (high[np.newaxis] - low[:, np.newaxis] >= least)
    rises &= (low < sense.bright - ROUND)[:, np.newaxis]
    falls = later & (high[:, np.newaxis] - low[np.newaxis] >= least)
    falls &= (low < sense.bright - ROUND)[np.newaxis]
    most = 0
    for up in (True, False):
        begun = (rises if up else falls).any(axis=0)[:, np.newaxis]
        onward = {
            way: _until_last(row, values, rises if way else falls, sense, way)
            for way in (True, False)
        }
        rows = np.eye(len(stands), dtype=bool) & begun
        way, count = not up, 2
        while rows.any():
            if not (rows & (onward[way] < WINDOW_MS)).any():
                break
            most = max(most, count)
            rows = (rows & (between < WINDOW_MS)) @ (rises if way else falls)
            way, count = not way, count + 1
    return most


def _until_last(
    row: RowOfStands, values: list[Array], turns: NDArray[np.bool_], sense: Sense, up: bool
) -> Array:
    """[i, n]: the least time (ms) from the end of the fade to stand i until a change away from
    stand n counts."""
    stands = row.stands
    found = np.full(row.until_ms.shape, inf)
    for n, stand in enumerate(stands[:-1]):
        others = np.flatnonzero(turns[n, n + 2 :]) + n + 1
        if others.size:
            # a change that begins at once: the fades before it may have gone most of the way
            found[:, n] = row.until_ms[:, others].min(axis=1)
        if not turns[n, n + 1]:
            continue
        then, ends = stands[n + 1], values[n + 1]
        far = then.levels[int(np.argmax(ends) if up else np.argmin(ends))]
        way = sense.value(way_to(stand.levels, far, then.law))
        soonest = min(
            reached(each, start, sense.least, up)
            for each, start in zip(way, values[n], strict=True)
        )
        found[:, n] = np.minimum(found[:, n], row.until_ms[:, n] + soonest * then.lasts_ms)
    return found
