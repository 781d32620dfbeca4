"""How plots look: sizes, colours and the few shapes that all of them share.

The colours of lines are those of Okabe and Ito (Color Universal Design, 2008), which people with
the common kinds of colour blindness tell apart; the light ones are darkened until they stand out
from white by 3 to 1 (WCAG 2.2, 1.4.11). Lines of one panel differ in style or mark besides, so that
no meaning hangs on colour alone. Pictures are as wide as a sheet of A4 (ISO 216) less its margins.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

WIDTH_IN: Final = 7.6
POINTS_IN: Final = 72.0
DPI: Final = 160
PANEL_SIZE: Final = 7.5
FIGURE_SIZE: Final = 7.0
LEAST_SIZE: Final = 4.8
"""Words are never smaller (points)."""

BLACK: Final = "#000000"
ORANGE: Final = "#B87A00"
SKY: Final = "#3C97CC"
GREEN: Final = "#009E73"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"
PURPLE: Final = "#B8608F"

INK: Final = "#26282b"
FAINT: Final = "#8a8d91"
QUIET: Final = "#63676d"
"""Of words: 5.7 to 1 on white (WCAG 2.2, 1.4.3 asks for 4.5)."""
KEEP_OUT: Final = "#c9c6c0"
IDLE_FILL: Final = "#f1f0ec"
CUE_FILLS: Final = ("#efe6d3", "#c8d5c4")
QUIET_FILL: Final = "#dcdcdc"

STYLE: Final[dict[str, object]] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 7.5,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.labelsize": 7.5,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlelocation": "left",
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.titlecolor": INK,
    "axes.titlepad": 3.0,
    "axes.unicode_minus": True,
    "figure.facecolor": "white",
    "legend.frameon": False,
    "legend.fontsize": 7.0,
    "lines.linewidth": 1.0,
    "lines.solid_joinstyle": "round",
    "text.color": INK,
    "text.parse_math": False,
    "xtick.color": FAINT,
    "ytick.color": FAINT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 7.0,
    "ytick.labelsize": FIGURE_SIZE,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "hatch.linewidth": 0.6,
    "svg.fonttype": "path",
    "svg.hashsalt": "bellcrank",
}


@contextmanager
def look() -> Iterator[None]:
    """The settings under which figures are made and drawn."""
    with mpl.rc_context(STYLE):  # type: ignore[arg-type]
        yield


@dataclass(frozen=True, slots=True)
class PlotSheet:
    """A figure with panels one above the other on one time axis."""

    figure: Figure
    panels: list[Axes]


TOP_IN: Final = 0.86
BOTTOM_IN: Final = 0.42
LEFT_IN: Final = 1.27
RIGHT_IN: Final = 0.14


def sheet(heights_in: Sequence[float], title: str, subtitle: str, gap_in: float) -> PlotSheet:
    """Panels of stated heights, all as wide as the sheet, with a title above."""
    height = TOP_IN + sum(heights_in) + gap_in * (len(heights_in) - 1) + BOTTOM_IN
    figure = Figure(figsize=(WIDTH_IN, height), dpi=DPI)
    panels: list[Axes] = []
    y = height - TOP_IN
    for tall in heights_in:
        y -= tall
        width = 1.0 - (LEFT_IN + RIGHT_IN) / WIDTH_IN
        box = (LEFT_IN / WIDTH_IN, y / height, width, tall / height)
        panels.append(figure.add_axes(box, sharex=panels[0] if panels else None))
        y -= gap_in
    head(figure, LEFT_IN, title, subtitle)
    for panel in panels[:-1]:
        panel.tick_params(labelbottom=False)
    return PlotSheet(figure, panels)


def head(figure: Figure, left_in: float, title: str, subtitle: str) -> None:
    """Title and subtitle at the top of a figure."""
    height = figure.get_figheight()
    x = left_in / figure.get_figwidth()
    figure.text(x, 1.0 - 0.14 / height, title, fontsize=10.5, weight="bold", va="top")
    figure.text(x, 1.0 - 0.35 / height, subtitle, fontsize=7.5, color=QUIET, va="top")


@lru_cache
def name_in(name: str) -> float:
    """How wide words are in inches for each point of their size."""
    letters = FontProperties(family="DejaVu Sans", size=100.0)
    wide, _, _ = text_to_path.get_text_width_height_descent(name, letters, ismath=False)
    return float(wide) / 100.0 / POINTS_IN


def name_panel(panel: Axes, name: str, unit: str = "") -> None:
    """Name a panel in the left margin, its unit below; its scale and ticks are set before.

    A name too wide for what the axis' figures leave is broken at an underscore, set smaller, or
    shortened in its middle, in this order.
    """
    lines, size = _fitted(name.split("\n"), _name_room_in(panel), _height_in(panel) > TALL_IN)
    name = "\n".join(lines)
    width = WIDTH_IN - LEFT_IN - RIGHT_IN
    panel.text(
        (NAME_LEFT_IN - LEFT_IN) / width,
        0.5,
        f"{name}\n{unit}" if unit else name,
        transform=panel.transAxes,
        ha="left",
        va="center",
        fontsize=size,
        linespacing=1.35,
    )


NAME_LEFT_IN: Final = 0.08
NAME_GAP_IN: Final = 0.05
TICK_IN: Final = 7.0 / POINTS_IN
"""A tick of matplotlib and the gap to its figure: 3.5 points each."""
TALL_IN: Final = 0.5
"""A panel higher than this has room for a name of two lines and its unit."""


def _height_in(panel: Axes) -> float:
    figure = panel.get_figure(root=True)
    return 0.0 if figure is None else panel.get_position().height * figure.get_figheight()


def _name_room_in(panel: Axes) -> float:
    """How wide a name may be beside the figures of a panel's axis."""
    low, high = panel.get_ylim()
    shown = [at for at in panel.get_yticks() if low <= at <= high]
    told = panel.yaxis.get_major_formatter().format_ticks(shown)
    widest = max((FIGURE_SIZE * name_in(one) for one in told), default=0.0)
    return LEFT_IN - NAME_LEFT_IN - NAME_GAP_IN - widest - (TICK_IN if told else 0.0)


def _fitted(lines: list[str], room_in: float, tall: bool) -> tuple[list[str], float]:
    """The lines of a name that is no wider than `room_in`, and their size in points."""
    widest = max(name_in(line) for line in lines)
    if widest * PANEL_SIZE <= room_in:
        return lines, PANEL_SIZE
    if tall and len(lines) == 1 and "_" in lines[0].strip("_"):
        (name,) = lines
        cuts = [n + 1 for n, letter in enumerate(name[:-1]) if letter == "_" and n > 0]
        parts = ([name[:cut], name[cut:]] for cut in cuts)
        lines = min(parts, key=lambda pair: max(name_in(line) for line in pair))
        widest = max(name_in(line) for line in lines)
    size = min(PANEL_SIZE, room_in / widest)
    if size >= LEAST_SIZE:
        return lines, size
    return [_shortened(line, room_in / LEAST_SIZE) for line in lines], LEAST_SIZE


def _shortened(word: str, wide: float) -> str:
    """A word with its middle left out, so that it is no wider than `wide` at one point of size."""
    kept = len(word)
    short = word
    while name_in(short) > wide and kept > 2:
        kept -= 1
        short = f"{word[: (kept + 1) // 2]}\N{HORIZONTAL ELLIPSIS}{word[-(kept // 2) :]}"
    return short


def show_travel(panel: Axes, low: float, high: float) -> None:
    """Scale a panel of angles to a travel, and hatch what lies beyond its ends."""
    room = 0.1 * (high - low)
    panel.set_ylim(low - room, high + room)
    for start, end in ((low - room, low), (high, high + room)):
        panel.axhspan(start, end, fc="white", ec=KEEP_OUT, hatch="//////", lw=0, zorder=0.6)
        panel.axhline(low if end == low else high, color=KEEP_OUT, lw=0.7, zorder=0.7)


FAR: Final = 1.8
"""A limit so many times above the data is named at the panel's top: on one scale with it the data
would lie flat."""


def scale_top(most: float, limit: float | None) -> float:
    """The top of a panel's scale that shows the data, and the limit unless that is far."""
    if limit is None or (most > 0.0 and limit > FAR * most):
        return 1.3 * (most or 1.0)
    return 1.25 * max(most, limit)


def far_limit(panel: Axes, text: str, seconds: float) -> None:
    """Words for a limit that lies above the panel."""
    panel.annotate(
        f"{text} \N{UPWARDS ARROW}",
        (seconds, 1.0),
        xycoords=("data", "axes fraction"),
        color=VERMILLION,
        fontsize=6.5,
        ha="right",
        va="top",
    )


def limit_line(panel: Axes, level: float, text: str, seconds: float) -> None:
    """A dashed limit with its words at the right end."""
    panel.axhline(level, color=VERMILLION, lw=0.9, ls=(0, (5, 2)))
    panel.text(seconds, level, text, color=VERMILLION, fontsize=6.5, ha="right", va="bottom")
