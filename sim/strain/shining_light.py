"""What lamps that shine with a move do, as fades beside the moves of the score.

The checks of light and of supplies know cues and fades. So a show is written out for them: beside
each move of a servo whose part a lamp follows stands the fade that the lamp then makes. By angle it
goes to the level of the move's target in the move's time, by its law. By speed it goes up to the
level of the greatest speed that the move can have from anywhere in the travel, and down again.

A lamp that a cue fades itself is the cue's while it runs. Behind it the lamp goes to its move
again, to whichever end of the line is the greater change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from math import inf

from sim.light.lightness import luminance
from sim.model import (
    UNIFORM,
    Cue,
    Fade,
    InTurn,
    Move,
    Servo,
    Shine,
    Show,
    Step,
    Together,
)
from sim.score.laws import coefficients
from sim.score.tree import acts, duration_ms, swapped

AT_REST = "\0at rest"
"""Name of a cue that brings such lamps to what they are at rest; no text can hold it."""


def lit_by_moves(show: Show) -> Show:
    """The show with the fades of lamps that shine with moves; itself where there are none."""
    if not show.rig.shines:
        return show
    servos = {one.name: one for one in show.rig.outputs if isinstance(one, Servo)}
    shines = [one for one in show.rig.shines if one.servo in servos]
    cues = tuple(_lit(cue, shines, servos, show.score.glide_ms) for cue in show.score.cues)
    return replace(show, score=replace(show.score, cues=cues))


def lit_at_rest(show: Show) -> Show:
    """The show with one cue more, in which all such lamps are at the levels of the safe pose."""
    servos = {one.name: one for one in show.rig.outputs if isinstance(one, Servo)}
    fades = tuple(
        Fade(one.output, _level_at_rest(one, servos[one.servo]), show.score.glide_ms, mark=one.mark)
        for one in show.rig.shines
        if one.servo in servos
    )
    if not fades:
        return show
    cues = (*show.score.cues, Cue(AT_REST, "", Together(fades)))
    return replace(show, score=replace(show.score, cues=cues))


def _level_at_rest(shine: Shine, servo: Servo) -> float:
    return shine.level_pct(0.0 if shine.by_speed else servo.safe_deg)


def _lit(cue: Cue, shines: list[Shine], servos: Mapping[str, Servo], glide_ms: int) -> Cue:
    fades = [act for act in acts(cue.body) if isinstance(act, Fade)]
    own = {fade.output: fade for fade in fades}  # the last of each
    body = cue.body
    for shine in shines:
        if shine.output not in own:
            body = swapped(body, partial(_beside, shine=shine, servo=servos[shine.servo]))
    back = tuple(_back(one, own[one.output], glide_ms) for one in shines if one.output in own)
    if back and duration_ms(body) < inf:
        body = InTurn((body, Together(back)))
    return replace(cue, body=body)


def _beside(step: Step, shine: Shine, servo: Servo) -> Step:
    """A move with what the lamp does meanwhile."""
    if not isinstance(step, Move) or step.output != shine.servo:
        return step
    if shine.by_speed:
        return Together((step, _flare(step, shine, servo)))
    drawn, light = step.drawn, shine.level_pct(step.angle_deg)
    if drawn is not None and drawn.target_key:
        light, most = sorted((light, shine.level_pct(drawn.most)))
        drawn = replace(drawn, most=most)
    lit = Fade(shine.output, light, step.duration_ms, step.law, step.mark, drawn)
    return Together((step, lit))


def _flare(move: Move, shine: Shine, servo: Servo) -> Step:
    """A lamp that follows the speed of a move: up to its peak, and down to rest."""
    low, high = servo.travel_deg
    longest = max(move.angle_deg - low, high - move.angle_deg)
    drawn = move.drawn
    if drawn is not None and drawn.target_key:
        longest = max(longest, drawn.most - low, high - drawn.most)
    seconds = max(move.duration_ms, 1) / 1000.0
    fastest = float(coefficients(move.law).cv) * longest / seconds
    levels = shine.level_pct(fastest), shine.level_pct(0.0)
    half_ms = move.duration_ms // 2
    times = half_ms, move.duration_ms - half_ms
    return InTurn(
        tuple(
            Fade(shine.output, level, lasts, UNIFORM, move.mark)
            for level, lasts in zip(levels, times, strict=True)
        )
    )


def _back(shine: Shine, last: Fade, glide_ms: int) -> Fade:
    """The way back of a lamp that a cue has had: to the end that is the greater change."""
    assert isinstance(last.light, float | int)
    there = float(luminance(last.light))
    ends = shine.low_pct, shine.high_pct
    farther = max(ends, key=lambda level: abs(float(luminance(level)) - there))
    return Fade(shine.output, farther, glide_ms, mark=shine.mark)
