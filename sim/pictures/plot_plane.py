"""The torque-speed plane of a servo: where its moves work, against what it can do."""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.arrays import Array
from sim.model import Servo
from sim.pictures.plot_data import Plotted
from sim.pictures.plot_look import (
    BLUE,
    DPI,
    FAINT,
    FAR,
    GREEN,
    INK,
    ORANGE,
    PURPLE,
    SKY,
    VERMILLION,
    WIDTH_IN,
    head,
    look,
    scale_top,
)
from sim.rig import servo as servo_model
from sim.rig.slide import STRAIGHT, of_horn

ALLOWED: Final = "#f4f7f4"
"""Shade of what a servo may do."""
COLOURS: Final = (BLUE, ORANGE, GREEN, PURPLE, SKY, "#5b3a8c", "#7a6a00", "#4d4d4d")
MARKS: Final = ("o", "^", "s", "D", "v", "P", "X", "*")
ALL_OF_IT: Final = "all the servo has"
LESS_MARGIN: Final = "less the margin"
LEAST_SIDE: Final = 0.12
"""Braking, and its opposite, has at least this share of the other's room."""
NOTHING: Final = 1e-4
"""Less than this share of a limit is no load."""
LINES: Final = ("-", (0, (7, 1.5)), (0, (2, 1)))
"""Neighbours differ in grey by their marks and their lines; so do more cues than marks."""


def plane_figure(shown: Plotted, name: str) -> Figure:
    """Operating points by cue, the servo's line at the lowest voltage, and the margin below it.

    Each axis shows the data. A limit far above them on one axis is told in words, and the lines
    are drawn where they pass through what is seen.
    """
    servo = shown.servo(name)
    with look():
        figure = Figure(figsize=(WIDTH_IN, 4.3), dpi=DPI)
        panel = figure.add_axes((0.1, 0.12, 0.64, 0.7))
        margin = shown.trajectories.show.rig.wearer.margin
        volts = float(np.min(shown.work.board_v[servo.board]))
        about = f"at {volts:.2f} V, the lowest in this rehearsal, with a margin of {margin:.0%}"
        head(figure, 0.1 * WIDTH_IN, f"Servo {name}: {_of_what(servo)}", about)
        _limits(shown, panel, servo, volts, margin)
        _points(shown, panel, servo)
        _worst(shown, panel, servo)
        panel.set_ylabel(f"speed, {of_horn(servo).speed}")
        panel.legend(loc="upper left", bbox_to_anchor=(1.02, 1.0), markerscale=1.8)
    return figure


def _of_what(servo: Servo) -> str:
    if of_horn(servo) is STRAIGHT:
        return "force and speed of its rod"
    return "torque and speed of its horn"


def _limits(shown: Plotted, panel: Axes, servo: Servo, volts: float, margin: float) -> None:
    """The servo's line and the one below it, and words for the ends that lie out of sight."""
    line = servo_model.line(servo, volts)
    told = of_horn(servo)
    stall, top = told.of_torque(float(line.stall_nm)), told.of_speed(float(line.speed_deg_s))
    kept = 1.0 - margin
    effort = "force" if told is STRAIGHT else "torque"
    panel.set_ylim(0.0, _reach(_fastest(shown, servo), top, kept, 1.12))
    if _is_free(shown, servo):
        panel.set_xlim(-1.0, max(len(_cues(shown, servo)), 1))
        panel.set_xticks([])
        panel.set_xlabel(f"no {effort} throughout; cues beside one another")
        _levels(panel, top, kept)
        _words(panel, servo, (0.0, top), kept)
        return
    sides = [
        _reach(one, stall, kept, 1.08) if one > NOTHING * stall else 0.0
        for one in _hardest(shown, servo)
    ]
    left, right = (max(one, LEAST_SIDE * max(sides)) for one in sides)
    panel.set_xlim(-left, right)
    panel.set_xlabel(f"{effort} along the motion, {told.effort} (left of 0: braking)")
    panel.axvline(0.0, color=FAINT, lw=0.5)
    whole = panel.plot([-stall, 0, stall], [top, top, 0], color=INK, lw=1.1)[0]
    inner = [-stall * kept, -stall * kept, 0.0, stall * kept]
    heights = [0.0, top * kept, top * kept, 0.0]
    less = panel.plot(inner, heights, color=VERMILLION, lw=1.0, ls=(0, (5, 2)))[0]
    panel.fill([*inner, stall * kept], [*heights, 0.0], color=ALLOWED, zorder=0)
    for drawn, share, label in ((whole, 1.0, ALL_OF_IT), (less, kept, LESS_MARGIN)):
        if _passes(panel, stall * share, top * share):
            drawn.set_label(label)
    _words(panel, servo, (stall, top), kept)


def _levels(panel: Axes, top: float, kept: float) -> None:
    """The speed of a servo without a load, and what is left of it by the margin."""
    panel.axhspan(0.0, top * kept, color=ALLOWED, zorder=0)
    seen = panel.get_ylim()[1]
    for level, colour, style, label in (
        (top, INK, "-", ALL_OF_IT),
        (top * kept, VERMILLION, (0, (5, 2)), LESS_MARGIN),
    ):
        panel.axhline(level, color=colour, lw=1.0, ls=style, label=label if level < seen else "")


def _is_free(shown: Plotted, servo: Servo) -> bool:
    """Whether nothing loads a servo, so that all its points have the same torque."""
    volts = float(np.min(shown.work.board_v[servo.board]))
    stall = of_horn(servo).of_torque(float(servo_model.line(servo, volts).stall_nm))
    return max(_hardest(shown, servo)) <= NOTHING * stall


def _hardest(shown: Plotted, servo: Servo) -> tuple[float, float]:
    """The most effort in braking and along the motion, as a reader is told."""
    work, told = shown.work.servos[servo.name], of_horn(servo)
    along = along_motion(work.torque_nm, work.speed_deg_s)
    most = float(np.max(-along)), float(np.max(along))
    return told.of_torque(max(most[0], 0.0)), told.of_torque(max(most[1], 0.0))


def _fastest(shown: Plotted, servo: Servo) -> float:
    work = shown.work.servos[servo.name]
    return of_horn(servo).of_speed(float(np.max(np.abs(work.speed_deg_s))))


def _reach(most: float, limit: float, kept: float, room: float) -> float:
    """How far an axis goes: to the limit, or to the data if it is far above them."""
    if most > NOTHING * limit and limit * kept > FAR * most:
        return scale_top(most, limit * kept)
    return room * max(limit, most, 1e-6)


def _passes(panel: Axes, stall: float, top: float) -> bool:
    """Whether a line from its stall to its top speed passes through what is seen."""
    return panel.get_xlim()[1] / max(stall, 1e-9) + panel.get_ylim()[1] / max(top, 1e-9) > 1.0


def _words(panel: Axes, servo: Servo, ends: tuple[float, float], kept: float) -> None:
    """The ends of the lines that lie beyond the axes, above the panel."""
    told = of_horn(servo)
    (stall, top), (right, high) = ends, (panel.get_xlim()[1], panel.get_ylim()[1])
    words = [
        f"{where} {limit * kept:.3g} {unit} less the margin, {limit:.3g} in all {arrow}"
        for where, limit, seen, unit, arrow in (
            ("unloaded:", top, high, told.speed, "\N{UPWARDS ARROW}"),
            ("at rest:", stall, right, told.effort, "\N{RIGHTWARDS ARROW}"),
        )
        if limit > seen
    ]
    panel.text(
        1.0,
        1.01,
        "\n".join(words),
        transform=panel.transAxes,
        color=VERMILLION,
        fontsize=6.5,
        ha="right",
        va="bottom",
    )


def _points(shown: Plotted, panel: Axes, servo: Servo) -> None:
    work = shown.work.servos[servo.name]
    along = _across(shown, servo)
    speed = np.abs(work.speed_deg_s) / of_horn(servo).deg_s
    owner = _cue_at(shown, servo.name)
    on = shown.samples.servos[servo.name].powered
    for n, cue in enumerate(_cues(shown, servo)):
        mine = np.flatnonzero(on & (owner == cue))
        # a way that leaves the cue and comes back is not joined over the gap
        way = np.insert(mine, np.flatnonzero(np.diff(mine) > 1) + 1, -1)
        panel.plot(
            np.where(way < 0, np.nan, along[way]),
            np.where(way < 0, np.nan, speed[way]),
            lw=0.9,
            ls=LINES[n % len(LINES)],
            marker=MARKS[n % len(MARKS)],
            ms=4.2,
            mew=0.7,
            mfc=COLOURS[n % len(COLOURS)] if n // len(MARKS) % 2 else "white",
            # marks of several cues on one way stand beside each other
            markevery=(0.02 + 0.013 * n, 0.11),
            color=COLOURS[n % len(COLOURS)],
            zorder=3.0 - 0.5 * float(np.max(speed[mine])) / max(float(np.max(speed)), 1e-9),
            label=cue,
        )


def _cues(shown: Plotted, servo: Servo) -> list[str]:
    """The cues that move a servo while it has power."""
    on = shown.samples.servos[servo.name].powered
    return sorted(set(_cue_at(shown, servo.name)[on].tolist()) - {""})


def _across(shown: Plotted, servo: Servo) -> Array:
    """Where each instant lies across the plane: its torque, or its cue's place if there is none."""
    work = shown.work.servos[servo.name]
    if not _is_free(shown, servo):
        return along_motion(work.torque_nm, work.speed_deg_s) / of_horn(servo).newton_metres
    owner, places = _cue_at(shown, servo.name), np.full(work.torque_nm.shape, -0.5)
    for n, cue in enumerate(_cues(shown, servo)):
        places[owner == cue] = n
    return places


def along_motion(torque_nm: Array, speed_deg_s: Array) -> Array:
    """Torque counted along the motion: negative where the servo brakes; holding counts as along."""
    return np.where(speed_deg_s == 0.0, np.abs(torque_nm), torque_nm * np.sign(speed_deg_s))


def _cue_at(shown: Plotted, name: str) -> NDArray[np.str_]:
    """The cue whose move each instant belongs to; empty before any."""
    row = shown.trajectories.motions[name]
    starts = np.maximum.accumulate(np.array([piece.start_ms for piece in row]))
    held = np.searchsorted(starts, shown.samples.times_ms, side="right") - 1
    cues = np.array([piece.cue or "" for piece in row], dtype=object)[np.maximum(held, 0)]
    times = shown.samples.times_ms
    source = next((f.source for f in shown.trajectories.show.rig.follows if f.output == name), "")
    for span in shown.trajectories.followed.get(name, ()):
        cues[(times >= span.times_ms[0]) & (times < span.end_ms)] = f"follows {source}"
    return cues.astype(np.str_)


def _worst(shown: Plotted, panel: Axes, servo: Servo) -> None:
    work = shown.work.servos[servo.name]
    at = int(np.argmax(work.share))
    if not np.isfinite(work.share[at]) or work.share[at] == 0.0:
        return
    x = float(_across(shown, servo)[at])
    y = of_horn(servo).of_speed(float(abs(work.speed_deg_s[at])))
    words = f"hardest: {work.share[at]:.0%} of all,\nat {shown.seconds[at]:.2f} s"
    panel.plot(x, y, ls="none", marker="o", ms=6, mfc="none", mec=INK, mew=0.9, label=words)
