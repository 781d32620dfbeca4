"""What happened on a board between two looks at its state. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, Final

from firmware_gen.link.protocol import (
    BATTERY_BLIND,
    BATTERY_EMPTY,
    BATTERY_LOW,
    ReportedMode,
    ResetCause,
    State,
)
from sim.rulebook import CUES

COUNTERS: Final = {
    "bad_frames": "frames spoilt by noise on the link",
    "lost_bytes": "bytes that came too fast for the board",
    "refused": "requests that found no room or no such cue",
    "overruns": "frames with too much to do",
    "watchdog_resets": "resets because its program hung",
    "brown_out_resets": "resets because its supply sagged",
}
"""Counters of a state that only grow, and what they count."""

Noticed = tuple[str, dict[str, Any]]


def noticed(
    before: State, after: State, cue_name: Callable[[int], str], *, new_show: bool = False
) -> Iterator[Noticed]:
    """What a log says of the change, as `what` and its fields.

    A cue that ended and began again between the two looks is not noticed. `new_show`: one was put
    on the board in between, so its counting from zero is no reset.
    """
    has_restarted = after.frames < before.frames
    grown = {name: getattr(after, name) - getattr(before, name) for name in COUNTERS}
    if has_restarted and not new_show:
        yield "reset", {"cause": _causes(after)}
    if after.mode != before.mode:
        yield "mode", {"mode": _mode(after.mode)}
    if battery_is(after) != battery_is(before):
        yield battery_noticed(after)
    running = 0 if has_restarted else before.running_cues
    for number in range(CUES):
        if after.running_cues & ~running & 1 << number:
            yield "cue", {"cue": cue_name(number)}
    for name, more in grown.items():
        # a restarted board counts from zero, but for those that outlast a reset
        count = more if more >= 0 else getattr(after, name)
        if count > 0:
            yield "trouble", {"counter": name, "count": count}


def battery_is(state: State) -> str:
    """How the battery of a board is: well (or not watched), low, empty or unread."""
    if state.battery & BATTERY_EMPTY:
        return "empty"
    if state.battery & BATTERY_BLIND:
        return "unread"
    return "low" if state.battery & BATTERY_LOW else WELL


WELL: Final = "well"


def battery_noticed(state: State) -> Noticed:
    """What a log says of how a battery is now, and of its voltage."""
    return "battery", {"battery": battery_is(state), "millivolts": state.battery_mv}


def _mode(mode: int) -> str:
    return ReportedMode(mode).name.lower() if mode in set(ReportedMode) else f"mode {mode}"


def _causes(state: State) -> str:
    causes = [one.name.lower().replace("_", "-") for one in ResetCause if state.reset_cause & one]
    return ", ".join(causes) or "unknown"
