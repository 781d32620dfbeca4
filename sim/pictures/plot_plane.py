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
    far_limit,
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
LINES: Final = ("-", (0, (7, 1.5)), (0, (2, 1)))
"""Neighbours differ in grey by their marks and their lines; so do more cues than marks."""


def plane_figure(shown: Plotted, name: str) -> Figure:
    """Operating points by cue, the servo's line at the lowest voltage, and the margin below it."""
    servo = shown.servo(name)
    with look():
        figure = Figure(figsize=(WIDTH_IN, 4.3), dpi=DPI)
        panel = figure.add_axes((0.1, 0.12, 0.64, 0.72))
        margin = shown.trajectories.show.rig.wearer.margin
        volts = float(np.min(shown.work.board_v[servo.board]))
        about = f"at {volts:.2f} V, the lowest in this rehearsal, with a margin of {margin:.0%}"
        head(figure, 0.1 * WIDTH_IN, f"Servo {name}: {_of_what(servo)}", about)
        _limits(shown, panel, servo, volts, margin)
        _points(shown, panel, servo)
        _worst(shown, panel, servo)
        told = of_horn(servo)
        effort = "force" if told is STRAIGHT else "torque"
        panel.set_xlabel(f"{effort} along the motion, {told.effort} (left of 0: braking)")
        panel.set_ylabel(f"speed, {told.speed}")
        panel.legend(loc="upper left", bbox_to_anchor=(1.02, 1.0), markerscale=1.8)
    return figure


def _of_what(servo: Servo) -> str:
    if of_horn(servo) is STRAIGHT:
        return "force and speed of its rod"
    return "torque and speed of its horn"


def _limits(shown: Plotted, panel: Axes, servo: Servo, volts: float, margin: float) -> None:
    """The servo's line and the one below it; where both are far from the data, words for them."""
    line, work = servo_model.line(servo, volts), shown.work.servos[servo.name]
    told = of_horn(servo)
    stall, top = told.of_torque(float(line.stall_nm)), told.of_speed(float(line.speed_deg_s))
    effort = told.of_torque(float(np.max(np.abs(work.torque_nm))))
    speed = told.of_speed(float(np.max(np.abs(work.speed_deg_s))))
    kept = 1.0 - margin
    panel.axvline(0.0, color=FAINT, lw=0.5)
    if effort > 0.0 and speed > 0.0 and FAR * (effort / stall + speed / top) < kept:
        words = (
            f"less the margin: {stall * kept:.3g} {told.effort} at rest,\n"
            f"{top * kept:.3g} {told.speed} unloaded"
        )
        far_limit(panel, words, scale_top(effort, stall))
        panel.set_facecolor(ALLOWED)
        panel.set_xlim(-scale_top(effort, stall), scale_top(effort, stall))
        panel.set_ylim(0.0, scale_top(speed, top))
        return
    panel.plot([-stall, 0, stall], [top, top, 0], color=INK, lw=1.1, label="all the servo has")
    inner = [-stall * kept, -stall * kept, 0.0, stall * kept]
    panel.plot(
        inner,
        [0.0, top * kept, top * kept, 0.0],
        color=VERMILLION,
        lw=1.0,
        ls=(0, (5, 2)),
        label="less the margin",
    )
    panel.fill(
        [*inner, stall * kept], [0.0, top * kept, top * kept, 0.0, 0.0], color=ALLOWED, zorder=0
    )
    wide, high = max(stall, effort, 1e-6), max(top, speed, 1e-6)
    panel.set_xlim(-1.08 * wide, 1.08 * wide)
    panel.set_ylim(0.0, 1.12 * high)


def _points(shown: Plotted, panel: Axes, servo: Servo) -> None:
    work = shown.work.servos[servo.name]
    along = along_motion(work.torque_nm, work.speed_deg_s) / of_horn(servo).newton_metres
    speed = np.abs(work.speed_deg_s) / of_horn(servo).deg_s
    owner = _cue_at(shown, servo.name)
    on = shown.samples.servos[servo.name].powered
    for n, cue in enumerate(sorted(set(owner[on].tolist()) - {""})):
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
    x = of_horn(servo).of_torque(float(along_motion(work.torque_nm, work.speed_deg_s)[at]))
    y = of_horn(servo).of_speed(float(abs(work.speed_deg_s[at])))
    words = f"hardest: {work.share[at]:.0%} of all,\nat {shown.seconds[at]:.2f} s"
    panel.plot(x, y, ls="none", marker="o", ms=6, mfc="none", mec=INK, mew=0.9, label=words)
