"""Cues that go only as far as a channel or a sensor says when they start: TABLE.md, section 14.

A run's scale is a number from 0 to `SCALE_FULL`, fixed when the run starts. Each servo of the cue
goes so much of the way from its safe angle to where the cue says.
"""

from __future__ import annotations

from sim.model import Cue, Scaling, Score
from sim.rulebook import (
    LEVEL_BITS,
    LEVEL_MAX,
    LEVEL_STEPS_PER_PCT,
    PULSE_STEPS_PER_US,
    SCALE_BITS,
    SCALE_FULL,
    SENSOR_ONE,
)
from sim.score.program import PlayedScale


def scale_of(level: int) -> int:
    """The scale at a level in half percents, which has `LEVEL_BITS` behind its point."""
    return (level + LEVEL_MAX // 2) // LEVEL_MAX


def scale_of_share(share_pct: float) -> int:
    """The scale at a stated share in percent."""
    return scale_of(round(LEVEL_STEPS_PER_PCT * share_pct) << LEVEL_BITS)


def named_at(cue: str, scale: int) -> str:
    """A cue with how far it goes, in words: in half percents, as shares are written, if a share
    comes to this scale; no two scales have the same words."""
    share_pct = 100 * scale / SCALE_FULL
    written_pct = round(LEVEL_STEPS_PER_PCT * share_pct) / LEVEL_STEPS_PER_PCT
    if scale_of_share(written_pct) == scale:
        return f"{cue} at {written_pct:g} %"
    return f"{cue} at {share_pct:.3g} %"


def played_scale(stated: Scaling, sensed: bool) -> PlayedScale:
    """A cue's scaling in the numbers of a table; `sensed`: its source is a sensor."""
    low, high = value_numbers((stated.source_from, stated.source_to), sensed)
    levels = (
        round(LEVEL_STEPS_PER_PCT * share)
        for share in (stated.from_pct, stated.to_pct, stated.else_pct)
    )
    return PlayedScale(stated.source, low, high, *levels)


def scaled_cues(score: Score, source: str) -> list[Cue]:
    """The cues that go as far as a source says."""
    parts = {cue.let_go for cue in score.cues}
    return [
        cue
        for cue in score.cues
        if cue.scaling is not None and cue.scaling.source == source and cue.name not in parts
    ]


def value_numbers(ends: tuple[float, float], sensed: bool) -> tuple[int, int]:
    """Two values of a source as a table holds them: us of a channel in ticks, shares of a sensor in
    1/1024."""
    if not sensed:
        low, high = (round(PULSE_STEPS_PER_US * end) for end in ends)
    else:
        low, high = (min(SENSOR_ONE - 1, round(SENSOR_ONE * end)) for end in ends)
    return low, high


def scaled(target: int, safe: int, scale: int) -> int:
    """Where a servo goes; angles in steps of 0.01 deg, rounded down."""
    return safe + ((target - safe) * scale >> SCALE_BITS)
