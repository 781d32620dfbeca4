"""Cues that a channel or a sensor scales, written out for the checks: a cue for some of the scales.

What a cue's moves ask of its parts grows with how far they go, so the hardest scale of a move is
the least or the greatest: from wherever the part stands, one of its ends is the farthest. Where a
part stands for a while, its weight may pull most somewhere between; so scales between count, too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

from sim.model import (
    Binding,
    Cue,
    InTurn,
    Move,
    OneOf,
    Repeat,
    Scaling,
    Servo,
    Show,
    Step,
    Together,
    part_name,
)
from sim.rulebook import ANGLE_STEPS_PER_DEG, SCALE_FULL
from sim.score.scaling import named_at, scale_of_share, scaled

STEPS: Final = 4
"""Even steps from the least to the greatest scale. Between two of them lies at most an eighth of
the way to the nearer one: of 90 deg the greatest torque of a weight there is 2 % more."""


def at_scales(show: Show) -> Show:
    """The show with each scaled cue at its greatest scale, and copies of it at others behind it.

    The copies start wherever the cue does, and have its marks. Strands of idle go as far as they
    say. The show itself where nothing is scaled.
    """
    several = {cue.name: _scales(cue.scaling) for cue in show.score.cues if _is_scaled(show, cue)}
    if not several:
        return show
    safe = {one.name: one.safe_deg for one in show.rig.outputs if isinstance(one, Servo)}
    named = {cue.name: cue for cue in show.score.cues}
    parts = {cue.let_go for cue in show.score.cues}
    cues: list[Cue] = []
    for cue in show.score.cues:
        if cue.name in parts:
            continue
        for scale in several.get(cue.name, (SCALE_FULL,)):
            cues += _with_part(cue, named.get(cue.let_go or ""), scale, several, safe)
    bindings = tuple(one for each in show.score.bindings for one in _bound(each, several))
    return replace(show, score=replace(show.score, cues=tuple(cues), bindings=bindings))


def _is_scaled(show: Show, cue: Cue) -> bool:
    parts = {one.let_go for one in show.score.cues}
    idle = show.score.idle
    return cue.scaling is not None and cue.name not in parts and cue.name not in idle


def _scales(stated: Scaling | None) -> tuple[int, ...]:
    """The greatest first."""
    assert stated is not None
    least, most = map(scale_of_share, stated.between_pct)
    return tuple(dict.fromkeys(most - (most - least) * n // STEPS for n in range(STEPS + 1)))


def _named(cue: str, scale: int, scales: tuple[int, ...]) -> str:
    """The cue at its greatest scale keeps its name."""
    return cue if scale == scales[0] else named_at(cue, scale)


def _with_part(
    cue: Cue,
    part: Cue | None,
    scale: int,
    several: Mapping[str, tuple[int, ...]],
    safe: Mapping[str, float],
) -> Iterator[Cue]:
    """The cue and its part for letting go at a scale."""
    if cue.name not in several:
        yield cue
        if part is not None:
            yield part
        return
    name = _named(cue.name, scale, several[cue.name])
    let_go = None if part is None else part_name(name)
    body = _scaled(cue.body, scale, safe)
    yield replace(cue, name=name, body=body, let_go=let_go, scaling=None)
    if part is not None:
        body = _scaled(part.body, scale, safe)
        yield replace(part, name=part_name(name), body=body, scaling=None)


def _bound(one: Binding, several: Mapping[str, tuple[int, ...]]) -> Iterator[Binding]:
    scales = several.get(one.cue, (SCALE_FULL,))
    for scale in scales:
        yield replace(one, cue=_named(one.cue, scale, scales))


def _scaled(step: Step, scale: int, safe: Mapping[str, float]) -> Step:
    match step:
        case Move() if step.output in safe:
            return replace(step, angle_deg=_angle_deg(step.angle_deg, safe[step.output], scale))
        case InTurn() | Together() | OneOf():
            return replace(step, children=tuple(_scaled(c, scale, safe) for c in step.children))
        case Repeat():
            return replace(step, body=_scaled(step.body, scale, safe))
        case _:
            return step


def _angle_deg(angle_deg: float, safe_deg: float, scale: int) -> float:
    target, safe = (round(ANGLE_STEPS_PER_DEG * angle) for angle in (angle_deg, safe_deg))
    return scaled(target, safe, scale) / ANGLE_STEPS_PER_DEG
