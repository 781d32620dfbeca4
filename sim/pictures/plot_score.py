"""The picture of a whole rehearsal: cues, where every part is told to be, light, current."""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from sim.light.lightness import linear_to_srgb, srgb_to_linear
from sim.model import Adapter, Lamp, Strip, Supply
from sim.pictures.plot_cues import LANE_IN, draw_cues, lanes
from sim.pictures.plot_data import Plotted
from sim.pictures.plot_look import (
    BLUE,
    FAINT,
    INK,
    ORANGE,
    far_limit,
    limit_line,
    look,
    name_panel,
    scale_top,
    sheet,
    show_travel,
)
from sim.rig.slide import of_part

SERVO_IN: Final = 0.62
LAMP_IN: Final = 0.17
STRIP_IN: Final = 0.34
SWITCH_IN: Final = 0.14
SUPPLY_IN: Final = 0.72
COLUMNS: Final = 2400
"""Most columns of a light's band; a picture has no more pixels."""


def score_figure(shown: Plotted) -> Figure:
    """Cues above; a panel for each servo, light, switch and supply below, on one time axis."""
    show = shown.trajectories.show
    rows: list[tuple[float, str]] = [(LANE_IN * (max(lanes(shown.cues()), default=0) + 1), "")]
    rows += [(SERVO_IN, name) for name in shown.samples.servos]
    rows += [(LAMP_IN, name) for name in shown.samples.lamps]
    rows += [(STRIP_IN, name) for name in shown.samples.strips]
    rows += [(SWITCH_IN, name) for name in shown.samples.switches]
    rows += [(SUPPLY_IN, supply.name) for supply in show.rig.supplies]
    with look():
        page = sheet(
            [height for height, _ in rows],
            show.score.title,
            f"rehearsal of {shown.trajectories.length_ms / 1000:.1f} s",
            gap_in=0.09,
        )
        cues, *panels = page.panels
        page.panels[-1].set_xlim(0.0, shown.trajectories.length_ms / 1000.0)
        by_name = dict(zip([name for _, name in rows[1:]], panels, strict=True))
        lines = [p for n, p in by_name.items() if n in shown.samples.servos]
        lines += [by_name[supply.name] for supply in show.rig.supplies]
        draw_cues(shown, cues, lines)
        for name in shown.samples.servos:
            _servo(shown, by_name[name], name)
        for output in show.rig.outputs:
            if isinstance(output, Lamp | Strip):
                _light(shown, by_name[output.name], output)
        for name, on in shown.samples.switches.items():
            _switch(shown, by_name[name], name, on)
        for supply in show.rig.supplies:
            _supply(shown, by_name[supply.name], supply)
        page.panels[-1].set_xlabel("time, s")
    return page.figure


def _servo(shown: Plotted, panel: Axes, name: str) -> None:
    servo, samples = shown.servo(name), shown.samples.servos[name]
    low, high = servo.travel_deg
    panel.plot(shown.seconds, np.where(samples.powered, samples.angle_deg, np.nan), color=BLUE)
    show_travel(panel, low, high)
    panel.set_yticks(_ticks(low, high))
    name_panel(panel, name, of_part(servo).place)


def _ticks(low: float, high: float) -> list[float]:
    """The ends of a travel, and round places between them that leave room for the ends' figures."""
    room = 0.25 * (high - low)
    inside = MaxNLocator(nbins=3, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
    return [low, *(float(at) for at in inside if low + room <= at <= high - room), high]


def _light(shown: Plotted, panel: Axes, output: Lamp | Strip) -> None:
    every = max(1, shown.seconds.size // COLUMNS)
    if isinstance(output, Lamp):
        level = shown.samples.lamps[output.name].luminance[::every]
        own = srgb_to_linear(np.array(output.colour) / 255.0)
        linear = level[np.newaxis, :, np.newaxis] * own
    else:
        linear = np.swapaxes(shown.samples.strips[output.name].linear[::every], 0, 1)
    colours = np.rint(255.0 * linear_to_srgb(np.clip(linear, 0.0, 1.0))).astype(np.uint8)
    panel.imshow(
        colours,
        aspect="auto",
        extent=(0.0, float(shown.seconds[-1]), 0.0, 1.0),
        interpolation="nearest",
        origin="lower",
    )
    panel.set_yticks([])
    panel.spines[:].set_visible(False)
    panel.tick_params(bottom=False)
    name_panel(panel, output.name)


def _switch(shown: Plotted, panel: Axes, name: str, on: NDArray[np.bool_]) -> None:
    panel.fill_between(shown.seconds, 0.0, 1.0, where=on, step="post", color=INK, lw=0)
    panel.axhline(0.0, color=FAINT, lw=0.6)
    panel.set_ylim(0.0, 1.0)
    panel.set_yticks([])
    panel.spines[:].set_visible(False)
    panel.tick_params(bottom=False)
    name_panel(panel, name)


def _supply(shown: Plotted, panel: Axes, supply: Supply) -> None:
    """Current at the feed, against what regulator, adapter and fuse stand."""
    feed = shown.work.supplies[supply.name].feed_a
    panel.plot(shown.seconds, feed, color=ORANGE)
    panel.fill_between(shown.seconds, 0.0, feed, color=ORANGE, alpha=0.18, lw=0)
    limits = {}
    if isinstance(supply.source, Adapter):
        limits["adapter"] = supply.source.current_a
    if supply.regulator is not None:
        limits["regulator"] = supply.regulator.current_a
    if supply.fuse_a is not None and supply.regulator is None:
        limits["fuse"] = supply.fuse_a
    least = min(limits, key=lambda name: limits[name], default=None)
    limit = None if least is None else limits[least]
    top = scale_top(float(feed.max()), limit)
    seconds = shown.trajectories.length_ms / 1000.0
    if limit is not None and limit <= top:
        limit_line(panel, limit, f"{least}", seconds)
    elif limit is not None:
        far_limit(panel, f"{least} {limit:g} A", seconds)
    panel.set_ylim(0.0, top)
    name_panel(panel, supply.name, "A")
