"""Cues in plots: a row that names them, and shades behind every panel."""

from __future__ import annotations

from collections.abc import Sequence, Set
from itertools import pairwise
from typing import Final

from matplotlib.axes import Axes

from sim.model import Press
from sim.pictures.plot_data import Plotted
from sim.pictures.plot_look import (
    CUE_FILLS,
    FAINT,
    IDLE_FILL,
    INK,
    LEAST_SIZE,
    LEFT_IN,
    POINTS_IN,
    QUIET_FILL,
    RIGHT_IN,
    WIDTH_IN,
    name_in,
)
from sim.rehearsal.scheduler import Mode
from sim.rehearsal.trajectories import CueRun, ModeSpan
from sim.rulebook import FRAME_MS

LANE_IN: Final = 0.17
NAME_SIZE: Final = 6.6
GAP_IN: Final = 0.03
"""Left free beside a name in its span."""
PRESS_SIZE: Final = 6.2
PRESS_LINES: Final = 3
"""Lines of words above the row of cues; what finds no room in them is a dot alone."""
PRESS_LINE_IN: Final = 1.2 * PRESS_SIZE / POINTS_IN
PRESS_UP: Final = 0.3
MOVING_FIRST: Final[Sequence[Mode]] = ("stopping", "starting", "limp")
SOON_S: Final = 0.08
"""Within which a press starts its cue."""


def lanes(runs: Sequence[CueRun]) -> list[int]:
    """A lane for each run, so that runs side by side do not cover one another.

    Cues begin one frame before the one they follow ends; so much does not count as side by side.
    """
    free: list[float] = []
    found: list[int] = []
    for run in runs:
        lane = next((n for n, end in enumerate(free) if end <= run.start_ms + FRAME_MS), len(free))
        free[lane : lane + 1] = [run.end_ms]
        found.append(lane)
    return found


def fills(shown: Plotted) -> list[str]:
    """A fill for each run: idle apart, the others taking turns."""
    idle = shown.trajectories.show.score.idle
    turn = 0
    found: list[str] = []
    for run in shown.cues():
        if run.cue in idle:
            found.append(IDLE_FILL)
        else:
            found.append(CUE_FILLS[turn % len(CUE_FILLS)])
            turn += 1
    return found


def draw_cues(shown: Plotted, row: Axes, panels: Sequence[Axes]) -> None:
    """Name every run in `row`, with what was pressed above it; shade it there and in `panels`."""
    runs = shown.cues()
    placed = lanes(runs)
    deep = max(placed, default=0) + 1
    named: set[tuple[str, float]] = set()
    for n, (run, fill) in enumerate(zip(runs, fills(shown), strict=True)):
        start, end = run.start_ms / 1000.0, run.end_ms / 1000.0
        top = deep - placed[n]
        row.fill_between([start, end], top - 0.97, top, color=fill, lw=0)
        for panel in () if fill == IDLE_FILL else panels:  # idle goes on all the time
            panel.axvspan(start, end, color=fill, lw=0, zorder=0, alpha=0.55)
            panel.axvline(start, color="white", lw=0.6, zorder=0.5)
        if _name(row, run.words, start, end, _free_until(shown, n, placed), top - 0.5):
            named.add((run.cue, run.start_ms))
    _modes(shown, row, panels, deep)
    row.set_ylim(0, deep)
    row.set_yticks([])
    row.spines[:].set_visible(False)
    row.tick_params(bottom=False, labelbottom=False)
    _presses(shown, row, named)


def _free_until(shown: Plotted, number: int, placed: Sequence[int]) -> float:
    """Up to when (s) a run's name may go on: over idle behind it, but never over another cue."""
    runs, idle = shown.cues(), shown.trajectories.show.score.idle
    if runs[number].cue in idle:
        return runs[number].end_ms / 1000.0
    for run, lane in zip(runs[number + 1 :], placed[number + 1 :], strict=True):
        if lane == placed[number] and run.cue not in idle:
            return run.start_ms / 1000.0
    return shown.trajectories.length_ms / 1000.0


def _name(row: Axes, name: str, start: float, end: float, free: float, height: float) -> bool:
    """Write a name into its span, in smaller letters if need be, or into the free time behind it.

    Never across an edge. False where there is no room.
    """
    low, high = row.get_xlim()
    per_inch = (high - low) / (WIDTH_IN - LEFT_IN - RIGHT_IN)
    wide = name_in(name) * per_inch  # at one point of size
    gap = GAP_IN * per_inch
    size = min(NAME_SIZE, (end - start - gap) / wide)
    if size >= LEAST_SIZE:
        row.text((start + end) / 2.0, height, name, fontsize=size, ha="center", va="center")
        return True
    if end + gap + wide * NAME_SIZE <= free:
        row.text(end + gap / 2.0, height, name, fontsize=NAME_SIZE, ha="left", va="center")
        return True
    return False


def _modes(shown: Plotted, row: Axes, panels: Sequence[Axes], deep: int) -> None:
    for mode, start_ms, end_ms in quiet_spans(shown.trajectories.modes):
        start, end = start_ms / 1000.0, end_ms / 1000.0
        row.fill_between([start, end], 0, deep, color=QUIET_FILL, lw=0)
        for panel in panels:
            panel.axvspan(start, end, color=QUIET_FILL, lw=0, zorder=0, alpha=0.7)
        _name(row, mode, start, end, end, deep - 0.5)


def quiet_spans(modes: Sequence[ModeSpan]) -> list[tuple[Mode, float, float]]:
    """When any board is not ready: mode, from, to (ms). Where boards differ, the mode that moves
    parts, so that no two names stand over one another."""
    quiet = [one for one in modes if one.mode != "ready"]
    edges = sorted({edge for one in quiet for edge in (one.start_ms, one.end_ms)})
    found: list[tuple[Mode, float, float]] = []
    for start, end in pairwise(edges):
        here = {one.mode for one in quiet if one.start_ms <= start and end <= one.end_ms}
        if not here:
            continue
        mode = min(here, key=MOVING_FIRST.index)
        if found and found[-1][0] == mode and found[-1][2] == start:
            start = found.pop()[1]
        found.append((mode, start, end))
    return found


def _presses(shown: Plotted, row: Axes, named: Set[tuple[str, float]]) -> None:
    """What was pressed, and a bar for as long as it was held.

    A cue whose run has no room for its name is named here, above what started it.
    """
    top = row.get_ylim()[1]
    lines = PressLines(row)
    for press in shown.trajectories.presses:
        at = press.at_ms / 1000.0
        words: list[str] = [press.action or "go"]
        if press.source is not None:
            words = [press.source, _place(shown, press)]
        if press.button is not None:
            words = [f"{press.button}"]
            until = at + max(press.held_ms, 1) / 1000.0
            row.plot([at, until], [top + 0.14] * 2, color=INK, lw=1.6, clip_on=False)
        row.plot(at, top + 0.14, marker="o", ms=2.2, color=INK, clip_on=False)
        cue = _unnamed(shown, at, press.cue, named)
        if cue and lines.write(at, [cue, *words], 0):
            continue
        if not lines.write(at, words, 0):
            lines.write_above(at, " ".join(words))
        if cue:
            lines.write_above(at, cue)


class PressLines:
    """The lines of words above a row of cues, and how far each is taken."""

    def __init__(self, row: Axes) -> None:
        self._row = row
        low, high = row.get_xlim()
        self._per_inch = (high - low) / (WIDTH_IN - LEFT_IN - RIGHT_IN)
        self._taken: list[list[tuple[float, float]]] = [[] for _ in range(PRESS_LINES)]

    def write(self, at: float, words: Sequence[str], line: int) -> bool:
        """Write words one above the other, the last on `line`; False where any has no room."""
        spans = [self._span(at, word) for word in reversed(words)]
        places = self._taken[line : line + len(spans)]
        if len(places) < len(spans):
            return False
        for (start, end), taken in zip(spans, places, strict=True):
            if any(start < b and a < end for a, b in taken):
                return False
        for span, taken in zip(spans, places, strict=True):
            taken.append(span)
        self._row.text(
            at,
            self._row.get_ylim()[1] + PRESS_UP + line * PRESS_LINE_IN / LANE_IN,
            "\n".join(words),
            fontsize=PRESS_SIZE,
            ha="center",
            va="bottom",
            color=INK,
        )
        return True

    def write_above(self, at: float, word: str) -> None:
        """Write a word on the lowest line with room, and a thin line up to it if that is free."""
        for line in range(1, PRESS_LINES):
            if not self.write(at, [word], line):
                continue
            below = (span for taken in self._taken[:line] for span in taken)
            if not any(start < at < end for start, end in below):
                foot = self._row.get_ylim()[1] + 0.14
                up = PRESS_UP - 0.14 + line * PRESS_LINE_IN / LANE_IN
                self._row.plot([at] * 2, [foot, foot + up], color=FAINT, lw=0.5, clip_on=False)
            return

    def _span(self, at: float, word: str) -> tuple[float, float]:
        half = (PRESS_SIZE * name_in(word) + 2.0 * GAP_IN) * self._per_inch / 2.0
        return at - half, at + half


def _place(shown: Plotted, press: Press) -> str:
    """Where a channel or a sensor is put."""
    if press.value is None:
        return "none"
    rig = shown.trajectories.show.rig
    is_sensor = any(one.name == press.source for one in rig.sensors)
    return f"{100 * press.value:g} %" if is_sensor else f"{press.value:g} \u00b5s"


def _unnamed(shown: Plotted, at: float, cue: str | None, named: Set[tuple[str, float]]) -> str:
    """The cue that was started there, if its run is not named; `cue`: it was started by name."""
    idle = shown.trajectories.show.score.idle
    for run in shown.cues():
        started = -SOON_S < run.start_ms / 1000.0 - at < SOON_S
        if started and cue in (None, run.cue) and run.cue not in idle:
            return "" if (run.cue, run.start_ms) in named else run.words
    return cue or ""
