"""Cues in plots: a row that names them, and shades behind every panel."""

from __future__ import annotations

from collections.abc import Sequence, Set
from functools import lru_cache
from itertools import pairwise
from typing import Final

from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from sim.model import Press
from sim.pictures.plot_data import Plotted
from sim.pictures.plot_look import (
    CUE_FILLS,
    IDLE_FILL,
    INK,
    LEFT_IN,
    QUIET_FILL,
    RIGHT_IN,
    WIDTH_IN,
)
from sim.rehearsal.scheduler import Mode
from sim.rehearsal.trajectories import CueRun, ModeSpan
from sim.rulebook import FRAME_MS

LANE_IN: Final = 0.17
NAME_SIZE: Final = 6.6
LEAST_SIZE: Final = 4.8
GAP_IN: Final = 0.03
"""Left free beside a name in its span."""
POINTS_IN: Final = 72.0
PRESS_SIZE: Final = 6.2
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
        if _name(row, run.cue, start, end, _free_until(shown, n, placed), top - 0.5):
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


@lru_cache
def name_in(name: str) -> float:
    """How wide words are in inches for each point of their size."""
    letters = FontProperties(family="DejaVu Sans", size=100.0)
    wide, _, _ = text_to_path.get_text_width_height_descent(name, letters, ismath=False)
    return float(wide) / 100.0 / POINTS_IN


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
    low, high = row.get_xlim()
    per_inch = (high - low) / (WIDTH_IN - LEFT_IN - RIGHT_IN)
    edge = low - 1.0
    for press in shown.trajectories.presses:
        at = press.at_ms / 1000.0
        word: str = press.action or "go"
        if press.source is not None:
            word = f"{press.source}\n{_place(shown, press)}"
        if press.button is not None:
            word = f"{press.button}"
            until = at + max(press.held_ms, 1) / 1000.0
            row.plot([at, until], [top + 0.14] * 2, color=INK, lw=1.6, clip_on=False)
        row.plot(at, top + 0.14, marker="o", ms=2.2, color=INK, clip_on=False)
        cue = _unnamed(shown, at, press.cue, named)
        half = PRESS_SIZE * name_in(cue) * per_inch / 2.0
        if cue and at - half > edge:
            word = f"{cue}\n{word}"
            edge = at + half
        row.text(at, top + 0.3, word, fontsize=PRESS_SIZE, ha="center", va="bottom", color=INK)


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
            return "" if (run.cue, run.start_ms) in named else run.cue
    return cue or ""
