"""Plays one show twice: as a rehearsal and by the integer player, frame by frame.

What both plan (start, duration, brake, way and end of every motion) must be equal to the bit; what
is shown differs by the board's roundings, because a rehearsal evaluates closed forms. Where a board
leads, the others hear what it tells, and nothing else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from firmware_gen.compiler.show import CompiledBoard, compile_show
from firmware_gen.crc import cue_tag
from firmware_gen.player.player import Player
from sim.model import Lamp, Press, Servo, Show, Strip, Switch
from sim.rehearsal.channels import channel_settings, radio_silence
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.requests import Hearing, Request, requests_by_frame
from sim.rehearsal.sampling import sample
from sim.rehearsal.sensing import sensor_settings
from sim.rulebook import FRAME_MS

IN_TIME = 4096
"""When a state comes in a frame of a board that is in step, in 1/256 ms (LINK.md, section 7)."""


@dataclass
class Differences:
    """The largest difference by kind of output; pulses in us, lights as a share of full."""

    pulse_us: float = 0.0
    lamp: float = 0.0
    strip: float = 0.0
    at: list[str] = field(default_factory=list)
    """Where a pulse was off by more than one tick or missing, or a motion or a switch differed."""


def compare(
    show: Show,
    presses: Sequence[Press],
    length_ms: int,
    silences: Sequence[tuple[float, float]] | None = None,
) -> Differences:
    """Play both ways and compare every output in every frame."""
    trajectories = rehearse(show, presses, length_ms, silences)
    times = np.arange(0, length_ms + 1, FRAME_MS, dtype=float)
    ideal = sample(trajectories, times)
    found = Differences()
    told: list[bytes] = []
    leader = show.rig.leader
    for board in sorted(compile_show(show).boards, key=lambda one: one.board != leader):
        planned = {
            name: {piece.planned for piece in row} for name, row in trajectories.motions.items()
        }
        spans = radio_silence(show, presses) if silences is None else silences
        widths = _widths(show, board, presses)
        voltages = _voltages(show, board, presses)
        heard = told if leader and board.board != leader else None
        said = _compare_board(
            *(board, presses, spans, widths, voltages, heard, times, ideal, planned, found)
        )
        told = told if heard else said
    return found


def _widths(show: Show, board: CompiledBoard, presses: Sequence[Press]) -> list[dict[int, int]]:
    """For each channel of a board, what its pulses are from which frame on."""
    settings = channel_settings(show, presses)
    own = [one for one in show.rig.channels if one.board == board.name]
    return [dict(settings.get(one.name, ())) for one in own]


def _voltages(show: Show, board: CompiledBoard, presses: Sequence[Press]) -> list[dict[int, int]]:
    """For each sensor of a board, what is read of it from which frame on."""
    settings = sensor_settings(show, presses)
    own = [one for one in show.rig.sensors if one.board == board.name]
    return [dict(settings.get(one.name, ())) for one in own]


def _compare_board(
    board: CompiledBoard, presses, silences, widths, voltages, led, times, ideal, planned, found
) -> list[bytes]:
    """What it tells the others, if it leads. `led`: of one that follows, what it hears."""
    requests = {} if led else requests_by_frame(presses)
    hearing = Hearing(silences, requests)
    player = Player(board.data)
    pulses = [0] * len(widths)
    servos = {n: o.name for n, o in enumerate(board.outputs) if isinstance(o, Servo)}
    frames, told = [], []
    for number in range(times.size):
        if hearing.silent_frames(number) == 0:
            player.heard()
        for request in requests.get(number, []):
            _pass_on(player, request)
        for channel, row in enumerate(widths):
            pulses[channel] = row.get(number, pulses[channel])
            player.channel(channel, pulses[channel])
        for sensor, row in enumerate(voltages):
            if number in row:
                player.voltage(sensor, row[number])
        if led:
            player.hear_hub(led[number], IN_TIME)
        frames.append(player.frame())
        told.append(player.told or b"")
        for n, name in servos.items():
            motion = player._outputs.servos[n].motion
            if motion is not None and motion not in planned[name]:
                found.at.append(f"{name} frame {number}: {motion} was not rehearsed")
    kinds = {
        kind: [o for o in board.outputs if isinstance(o, kind)]
        for kind in (Servo, Lamp, Strip, Switch)
    }
    for n, servo in enumerate(kinds[Servo]):
        _compare_pulses(servo, ideal.servos[servo.name], [f.pulses[n] for f in frames], found)
    for n, lamp in enumerate(kinds[Lamp]):
        duty = np.array([f.duties[n] for f in frames]) / 65535
        off = np.abs(duty - ideal.lamps[lamp.name].luminance)
        found.lamp = max(found.lamp, float(off.max()))
        found.at += [f"{lamp.name} frame {k}: {off[k]}" for k in np.flatnonzero(off > 0.01)[:3]]
    for n, strip in enumerate(kinds[Strip]):
        _compare_strip(strip, ideal.strips[strip.name], [f.strips[n] for f in frames], found)
    for n, switch in enumerate(kinds[Switch]):
        on = np.array([f.switches[n] for f in frames])
        off = np.flatnonzero(on != ideal.switches[switch.name])
        found.at += [f"{switch.name} frame {k}: {on[k]}" for k in off[:3]]
    return told


def _pass_on(player: Player, request: Request) -> None:
    match request.kind:
        case "trigger":
            player.trigger(cue_tag(request.cue))
        case "down" | "up":
            player.button(request.button, request.kind == "down")
        case "stop":
            player.stop()
        case "limp":
            player.limp()
        case "standby":
            player.standby()


def _compare_pulses(servo: Servo, ideal, ticks, found: Differences) -> None:
    pulses = np.array(ticks) / 2.0
    angles = [point.angle_deg for point in servo.points]
    wanted = np.interp(ideal.angle_deg, angles, [point.pulse_us for point in servo.points])
    missing = (pulses > 0) != ideal.powered
    off = np.where(ideal.powered, np.abs(pulses - wanted), 0.0)
    off[missing] = 0.0
    found.pulse_us = max(found.pulse_us, float(off.max()))
    for k in np.flatnonzero(missing | (off > 0.5))[:3]:
        found.at.append(f"{servo.name} frame {k}: {pulses[k]} us, ideal {wanted[k]:.3f} us")


def _compare_strip(strip: Strip, ideal, rows, found: Differences) -> None:
    order = ["rgb".index(channel) for channel in strip.order]
    sent = np.array([list(row) for row in rows]).reshape(len(rows), strip.pixels, 3) / 255
    off = np.abs(sent - ideal.linear[:, :, order]).max(axis=(1, 2))
    found.strip = max(found.strip, float(off.max()))
    found.at += [f"{strip.name} frame {k}: {off[k]}" for k in np.flatnonzero(off > 0.02)[:3]]
