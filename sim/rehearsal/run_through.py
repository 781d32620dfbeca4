"""The rehearsal of a whole show: every cue once, each to its end, none cut off by the next.

How long a cue lasts is not what it is written to last. A move is stretched where it starts from a
place it was not planned from, and what follows it begins later. So the presses are laid out by the
planned lengths, played, and moved to where the cues really ended, until nothing moves any more.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from math import ceil, inf, lcm
from typing import Final

from sim.model import Binding, Cue, Press, Rehearsal, Repeat, Show
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.trajectories import CueRun, Trajectories
from sim.rulebook import FRAME_MS
from sim.score.tree import (
    LONGEST_HOLD_MS,
    Lengths,
    duration_ms,
    named_cues,
    outputs_used,
    passes,
    ready_ms,
    timeline,
)

LONGEST_WATCH_MS: Final = 600_000
"""Loops side by side that meet again later than this are watched for the longest of them."""

_PAUSE_MS: Final = 600
_SHORTEST_PRESS_MS: Final = 100
_MOST_LOOKS: Final = 8
"""Each look at the played show puts at least one more cue in its place; two or three do."""

LONGEST_REHEARSAL_MS: Final = 2 * 3_600_000
"""Nothing longer is rehearsed (own limit: some seconds of work where a light changes each frame).

All looks together take no more either. Beyond that the last look serves, with lengths as planned.
"""


class LongRehearsalError(ValueError):
    """What is asked for takes more than `LONGEST_REHEARSAL_MS` to play."""

    def __init__(self, asked_ms: int) -> None:
        hours, most = asked_ms / 3_600_000, LONGEST_REHEARSAL_MS / 3_600_000
        super().__init__(
            f"this takes {hours:.3g} h to play, and at most {most:g} h are rehearsed; "
            "choose a few cues, or press `stop` before that"
        )


def run_through(show: Show, only: Collection[str] | None = None) -> Trajectories:
    """Every cue of the show once, or each of those named, in the order of the text, rehearsed.

    A cue with a button is started by it, the others by name. One that repeats while its button is
    held is held for two passes of its loop; one with a part for letting go until it stands still,
    or is in its third pass. Idle comes first, for its whole period, before anything is pressed.
    Raises `sim.score.threads.ThreadError` for a cue that no board could run,
    `LongRehearsalError` for a show of many hours.
    """
    score = show.score
    first = ready_ms(show) + _PAUSE_MS
    if only is None:
        first += _idle_ms(show)
    cues = [
        cue
        for cue in named_cues(score)
        if (cue.name not in score.idle if only is None else cue.name in set(only))
    ]
    turns = [_turn(show, cue) for cue in cues]
    played, left_ms = _played_out(
        show, _in_hours(show, _presses(first, turns)), LONGEST_REHEARSAL_MS
    )
    for _ in range(_MOST_LOOKS):
        turns = [
            _as_played(turn, press, played)
            for turn, press in zip(turns, played.presses, strict=True)
        ]
        presses = _presses(first, turns)
        if presses == played.presses or _planned_length_ms(show, presses) > left_ms:
            break
        played, left_ms = _played_out(show, presses, left_ms)
    return played


def played_out(show: Show, presses: Iterable[Press]) -> Trajectories:
    """A rehearsal of these presses that lasts until the cues they start have run out.

    Raises as `run_through` does.
    """
    return _played_out(show, _in_hours(show, presses), LONGEST_REHEARSAL_MS)[0]


def _in_hours(show: Show, presses: Iterable[Press]) -> Rehearsal:
    """The presses in order of time; raises `LongRehearsalError`."""
    pressed = tuple(sorted(presses, key=lambda press: press.at_ms))
    length = _planned_length_ms(show, pressed)
    if length > LONGEST_REHEARSAL_MS:
        raise LongRehearsalError(length)
    return pressed


def _played_out(show: Show, pressed: Rehearsal, left_ms: int) -> tuple[Trajectories, int]:
    """As `played_out`, and how much is left of the time that looks may take."""
    length = _planned_length_ms(show, pressed)
    ending = {cue.name for cue in show.score.cues if duration_ms(cue.body) < inf}
    ending -= set(show.score.idle)
    for _ in range(_MOST_LOOKS):
        played = rehearse(show, pressed, length)
        left_ms -= length
        last = max(
            (
                *(_over_ms(run, played) for run in played.runs if run.cue in ending),
                *(span.end_ms for span in played.modes if span.mode == "stopping"),
            ),
            default=0.0,
        )
        if ceil(last) + _PAUSE_MS <= length:
            break
        if last < length:
            length = ceil(last) + 2 * _PAUSE_MS
        else:
            length += max(LONGEST_HOLD_MS, length // 4)
        if length > left_ms:
            break
    return played, left_ms


# -- lengths as planned ----------------------------------------------------------------------------


def _planned_length_ms(show: Show, presses: Rehearsal) -> int:
    cues = {cue.name: cue for cue in show.score.cues}
    bound: dict[int, list[Cue]] = {}
    for binding in show.score.bindings:
        bound.setdefault(binding.button, []).append(cues[binding.cue])
    ends = [ready_ms(show) + (0 if presses else _idle_ms(show))]
    stops = [p.at_ms for p in presses if p.action or _is_stop_button(show, p)]
    for press in presses:
        named = [cues[press.cue]] if press.cue in cues else bound.get(press.button or 0, [])
        named = named + _by_radio(show, press, bound)
        cue = max(named, key=_planned_ms, default=None)
        lasts = _planned_ms(cue) if cue else show.score.stop_ms
        stopped = next((at for at in stops if at > press.at_ms), inf)
        lasts = max(lasts, press.held_ms if press.button else 0)
        part = cues.get(cue.let_go or "") if cue else None
        over = min(press.at_ms + lasts + (_planned_ms(part) if part else 0), stopped)
        ends.append(int(over))
    return max(ends) + 2 * _PAUSE_MS


def _by_radio(show: Show, press: Press, bound: Mapping[int, list[Cue]]) -> list[Cue]:
    """The cues that a channel may start when it is put somewhere, or gives no more pulses."""
    rows = [bound.get(button, []) for button in _band_buttons(show, press)]
    if press.source is not None and press.value is None:
        rows.append([cue for cue in show.score.cues if cue.name == show.score.lost_cue])
    return [cue for row in rows for cue in row]


def _band_buttons(show: Show, press: Press) -> list[int]:
    """Those of the bands in which a channel is put."""
    return [
        band.button
        for channel in show.rig.channels
        if channel.name == press.source and press.value is not None
        for band in channel.bands
        if band.low_us <= press.value <= band.high_us
    ]


def _is_stop_button(show: Show, press: Press) -> bool:
    return press.button is not None and press.button == show.score.stop_button


def _planned_ms(cue: Cue) -> int:
    """The length of a cue as written; of one without an end, how long it is watched."""
    planned = duration_ms(cue.body)
    return int(planned) if planned < inf else max(LONGEST_HOLD_MS, _first_period_ms(cue))


def _idle_ms(show: Show) -> int:
    """How long idle is watched: the longest of its strands."""
    strands = (cue for cue in show.score.cues if cue.name in show.score.idle)
    return max(map(_planned_ms, strands), default=0)


def _first_period_ms(cue: Cue) -> int:
    """From the start of a cue until all its endless loops begin anew together."""
    lengths = Lengths(cue.body)
    loops = [
        (int(start), int(lengths[step.body]))
        for start, step in timeline(cue.body)
        if isinstance(step, Repeat) and passes(step) == inf > start and lengths[step.body] < inf
    ]
    lead = max(start for start, _ in loops)
    together = lcm(*(period for _, period in loops))
    if together > LONGEST_WATCH_MS:
        together = max(period for _, period in loops)
    return lead + together


# -- a cue's turn ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _CueTurn:
    """How one cue is started, and how long it then has the stage to itself."""

    cue: Cue
    button: int | None
    lasts_ms: int
    held_ms: int = _SHORTEST_PRESS_MS
    loop: tuple[int, int] | None = None
    """Where the loop that is held begins and how long a pass is, until the turn was played."""


def _turn(show: Show, cue: Cue) -> _CueTurn:
    """A turn as planned. What is held is let go at once the first time: that shows one pass."""
    binding = _plain_binding(show, cue)
    part = next((one for one in show.score.cues if one.name == cue.let_go), None)
    behind_ms = _planned_ms(part) if part else 0
    if binding is None:
        return _CueTurn(cue, None, _planned_ms(cue) + behind_ms)
    held = _held_loop(cue, binding.while_held)
    if part is not None:
        stays_ms = _planned_ms(cue) + _PAUSE_MS
        if held is not None:
            stays_ms = held[0] + 2 * held[1] + held[1] // 2
        return _CueTurn(cue, binding.button, stays_ms + behind_ms, stays_ms)
    if held is not None and duration_ms(cue.body) == inf:
        # it never comes to the end of a pass
        return _CueTurn(cue, binding.button, _planned_ms(cue), _planned_ms(cue) - 2 * FRAME_MS)
    return _CueTurn(cue, binding.button, _planned_ms(cue), loop=held)


def _plain_binding(show: Show, cue: Cue) -> Binding | None:
    """The button that starts a cue as it goes down. What another kind of press starts is played
    by its name."""
    bindings = show.score.bindings
    waited = {one.button for one in bindings if one.kind in ("long", "twice")}
    return next(
        (b for b in bindings if b.cue == cue.name and b.is_plain and b.button not in waited), None
    )


def _held_loop(cue: Cue, while_held: bool) -> tuple[int, int] | None:
    if while_held:
        return 0, _planned_ms(cue)
    lengths = Lengths(cue.body)
    for start, step in timeline(cue.body):
        if isinstance(step, Repeat) and step.while_held and start < inf > lengths[step.body]:
            return int(start), int(lengths[step.body])
    return None


def _presses(first_ms: int, turns: Iterable[_CueTurn]) -> Rehearsal:
    presses = []
    at = first_ms
    for turn in turns:
        if turn.button is None:
            presses.append(Press(at, cue=turn.cue.name))
        else:
            presses.append(Press(at, button=turn.button, held_ms=turn.held_ms))
        at += turn.lasts_ms + _PAUSE_MS
    return tuple(presses)


def _as_played(turn: _CueTurn, press: Press, played: Trajectories) -> _CueTurn:
    """The turn with the length that it had when it was played.

    A loop is let go in the middle of its second pass. The first pass may be stretched, as the
    part comes from somewhere else; the played length says by how much.
    """
    if duration_ms(turn.cue.body) == inf and turn.cue.let_go is None:
        return turn
    ends = _ends(turn.cue.let_go or turn.cue.name, press, played)
    if not ends:
        return turn  # refused: nothing was played
    lasts = ceil(max(ends.values()) - press.at_ms)
    if turn.loop is None:
        return replace(turn, lasts_ms=lasts)
    begins, period = turn.loop
    stretch = max(0, lasts - _planned_ms(turn.cue))
    held = max(_SHORTEST_PRESS_MS, begins + stretch + period + period // 2)
    return replace(turn, lasts_ms=lasts + period, held_ms=held, loop=None)


def _ends(cue: str, press: Press, played: Trajectories) -> Mapping[str, float]:
    """By board, the end of the run that the press started there, or of its part for letting go.

    A frame shows what holds at its start, so a run counts from up to a frame before its press.
    """
    earliest = press.at_ms - FRAME_MS
    ends: dict[str, float] = {}
    for run in played.runs:
        if run.cue == cue and run.start_ms >= earliest and run.board not in ends:
            ends[run.board] = _over_ms(run, played)
    return ends


def _over_ms(run: CueRun, played: Trajectories) -> float:
    """When a run has ended and what it moved stands: its last move may be stretched."""
    cue = next(cue for cue in played.show.score.cues if cue.name == run.cue)
    ends = [run.end_ms]
    for row in (played.motions.get(name, ()) for name in outputs_used(cue.body)):
        first = bisect_left(row, run.start_ms, key=lambda piece: piece.start_ms)
        past = bisect_left(row, run.end_ms, key=lambda piece: piece.start_ms)
        ends += [piece.end_ms for piece in row[max(first, past - 1) : past]]
    return max(ends)
