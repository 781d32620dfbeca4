"""A rig with its score, and what a rehearsal presses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from sim.model.rig import Rig
from sim.model.score import Score


@dataclass(frozen=True, slots=True)
class Show:
    rig: Rig
    score: Score


@dataclass(frozen=True, slots=True)
class Press:
    """One thing that happens in a rehearsal, at a time from its start.

    `button`: pressed, and released `held_ms` later. `cue`: started by name, as over the link.
    `stop`, `limp`, `standby`: as over the link. `source`: from then on the channel gives pulses of
    `value` us (None: none), or the pin of the sensor lies at the share `value`.
    """

    at_ms: int
    button: int | None = None
    held_ms: int = 100
    cue: str | None = None
    action: Literal["stop", "limp", "standby"] | None = None
    source: str | None = None
    value: float | None = None


Rehearsal: TypeAlias = tuple[Press, ...]
