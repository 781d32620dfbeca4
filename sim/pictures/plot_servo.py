"""The picture of one servo: angle, speed, acceleration, and torque against what the servo has."""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.arrays import Array
from sim.model import Servo
from sim.pictures.plot_cues import LANE_IN, draw_cues, lanes
from sim.pictures.plot_data import Plotted
from sim.pictures.plot_look import (
    BLUE,
    GREEN,
    INK,
    ORANGE,
    PURPLE,
    VERMILLION,
    far_limit,
    look,
    name_panel,
    scale_top,
    sheet,
    show_travel,
)
from sim.rig import servo as servo_model
from sim.rig.slide import HINGED, SPINNING, STRAIGHT, of_horn, of_part

PANELS_IN: Final = (1.5, 0.6, 0.95, 0.95, 1.2)

_OF_PLACES: Final = ("speed", "acceleration")
_PLACES: Final = {HINGED: "angle", STRAIGHT: "place", SPINNING: "speed"}


def servo_figure(shown: Plotted, name: str) -> Figure:
    """Five panels on one time axis, the cues above."""
    servo = shown.servo(name)
    rating = servo.ratings[0] if servo.ratings else None
    about, part, horn = f"board {servo.board}", of_part(servo), of_horn(servo)
    if rating is not None:
        digits = 0 if horn is STRAIGHT else 2
        about += (
            f"; rated {horn.of_torque(rating.stall_nm):.{digits}f} {horn.effort}, "
            f"{horn.of_speed(rating.speed_deg_s):.0f} {horn.speed} "
            f"at {rating.voltage_v:g} V"
        )
    with look():
        row_in = LANE_IN * (max(lanes(shown.cues()), default=0) + 1)
        page = sheet([row_in, *PANELS_IN], f"Servo {name}", about, gap_in=0.2)
        cues, angle, apart, speed, acceleration, torque = page.panels
        torque.set_xlim(0.0, shown.trajectories.length_ms / 1000.0)
        draw_cues(shown, cues, page.panels[1:])
        _angle(shown, angle, servo)
        _apart(shown, apart, servo)
        samples = shown.samples.servos[name]
        first, second = ("rise", "its change") if part is SPINNING else _OF_PLACES
        _line(shown, speed, samples.velocity_deg_s, GREEN, first, f"{part.place}/s")
        accel = samples.acceleration_deg_s2
        _line(shown, acceleration, accel, PURPLE, second, f"{part.place}/s²")
        _torque(shown, torque, servo)
        torque.set_xlabel("time, s")
    return page.figure


def _angle(shown: Plotted, panel: Axes, servo: Servo) -> None:
    samples = shown.samples.servos[servo.name]
    low, high = servo.travel_deg
    show_travel(panel, low, high)
    command = np.where(samples.powered, samples.angle_deg, np.nan)
    told = of_part(servo)
    words = ("told to turn", "will turn") if told is SPINNING else ("told to be", "will be")
    panel.plot(shown.seconds, command, color=BLUE, label=words[0])
    if servo.name in shown.response_deg:
        response = np.where(samples.powered, shown.response_deg[servo.name], np.nan)
        panel.plot(shown.seconds, response, color=ORANGE, lw=0.9, ls=(0, (3, 1)), label=words[1])
    _legend(panel)
    name_panel(panel, _PLACES[told], told.place)


def _apart(shown: Plotted, panel: Axes, servo: Servo) -> None:
    """How far the part will be from where it is told to be: on the scale of its travel the two
    lines lie on each other."""
    samples, unit = shown.samples.servos[servo.name], of_part(servo).place
    name = "will be\nminus told"
    if servo.name not in shown.response_deg:
        panel.set_yticks([])
        name_panel(panel, name, "not known")
        return
    off = np.where(samples.powered, shown.response_deg[servo.name] - samples.angle_deg, 0.0)
    _line(shown, panel, off, ORANGE, name, unit)


def _line(shown: Plotted, panel: Axes, values: Array, colour: str, name: str, unit: str) -> None:
    panel.axhline(0.0, color=INK, lw=0.4)
    panel.plot(shown.seconds, values, color=colour)
    most = float(np.abs(values).max()) or 1.0
    panel.set_ylim(-1.15 * most, 1.15 * most)
    name_panel(panel, name, unit)


def _torque(shown: Plotted, panel: Axes, servo: Servo) -> None:
    """Torque at the horn in the worst posture, and what the servo has for it at that speed."""
    work = shown.work.servos[servo.name]
    told = of_horn(servo)
    need = np.abs(work.torque_nm) / told.newton_metres
    limit = available_nm(shown, servo) / told.newton_metres
    panel.plot(shown.seconds, limit, color=VERMILLION, lw=0.9, ls=(0, (5, 2)), label="allowed")
    panel.plot(shown.seconds, need, color=BLUE, label=f"needed {told.where}, worst posture")
    panel.fill_between(shown.seconds, 0.0, need, color=BLUE, alpha=0.15, lw=0)
    over = need > limit * (1.0 + 1e-6)
    panel.fill_between(shown.seconds, limit, need, where=over, color=VERMILLION, alpha=0.6, lw=0)
    least, most = float(np.min(limit)), max(float(np.max(need)), 1e-6)
    top = scale_top(most, least)
    if top < least:
        unit = "N" if told is STRAIGHT else "N.m"
        far_limit(panel, f"allowed at least {least:.3g} {unit}", shown.seconds[-1])
    panel.set_ylim(0.0, top if top < least else 1.1 * max(float(np.max(limit)), most))
    _legend(panel)
    if told is STRAIGHT:
        name_panel(panel, "force", "N")
    else:
        name_panel(panel, "torque", "N.m")


def _legend(panel: Axes) -> None:
    panel.legend(loc="lower right", bbox_to_anchor=(1.0, 0.98), ncols=2, borderaxespad=0.0)


def available_nm(shown: Plotted, servo: Servo) -> Array:
    """The torque that the servo's line leaves at each instant, less the margin.

    Driving, by its speed; braking, the stall torque, since the gears are rated for no more.
    """
    work = shown.work.servos[servo.name]
    line = servo_model.line(servo, shown.work.board_v[servo.board])
    braking = work.torque_nm * work.speed_deg_s < 0.0
    stall = line.stall_nm * (1.0 - shown.trajectories.show.rig.wearer.margin)
    return np.where(braking, stall, work.allowed_nm)
