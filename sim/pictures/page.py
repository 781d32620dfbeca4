"""The preview: one self-contained HTML page on which a rehearsal can be watched and scrubbed."""

from __future__ import annotations

import base64
import html
import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from sim.light.lightness import linear_to_srgb, srgb_to_linear
from sim.model import Lamp, Servo, Strip
from sim.rehearsal.sampling import LampSamples, Samples, ServoSamples, StripSamples, sample
from sim.rehearsal.trajectories import CueRun, Trajectories
from sim.rulebook import FRAME_MS

JOIN_MS = 2 * FRAME_MS
"""Runs of one cue on several boards that start within this time are shown as one."""


def page(trajectories: Trajectories) -> str:
    """The page as text. It fetches nothing; all samples are in it, one a player frame."""
    times = np.arange(0, trajectories.length_ms + 1, FRAME_MS)
    samples = sample(trajectories, times)
    title = html.escape(trajectories.show.score.title or "Preview")
    data = json.dumps(_data(trajectories, samples), separators=(",", ":")).replace("<", "\\u003c")
    template = Path(__file__).with_name("page.html").read_text(encoding="utf-8")
    return template.replace("__TITLE__", title).replace("__DATA__", data)


def _data(trajectories: Trajectories, samples: Samples) -> dict[str, Any]:
    outputs = {output.name: output for output in trajectories.show.rig.outputs}
    return {
        "frames": samples.times_ms.size,
        "frame_ms": FRAME_MS,
        "cues": _cues(trajectories),
        "servos": [_servo(outputs[name], row) for name, row in samples.servos.items()],
        "lamps": [_lamp(outputs[name], row) for name, row in samples.lamps.items()],
        "strips": [_strip(outputs[name], row) for name, row in samples.strips.items()],
        "switches": [
            {"name": name, "states": _packed(row, np.uint8)}
            for name, row in samples.switches.items()
        ],
    }


def _cues(trajectories: Trajectories) -> list[dict[str, Any]]:
    titles = {cue.name: cue.title for cue in trajectories.show.score.cues}
    joined: list[CueRun] = []
    for run in sorted(trajectories.runs, key=lambda run: run.start_ms):
        if run.cue == trajectories.show.score.idle:
            continue
        twin = next((r for r in reversed(joined) if r.cue == run.cue), None)
        if twin is None or run.start_ms - twin.start_ms > JOIN_MS:
            joined.append(run)
    return [
        {
            "name": run.cue,
            "title": titles.get(run.cue, ""),
            "start_ms": max(0, round(run.start_ms)),
            "end_ms": round(run.end_ms),
        }
        for run in joined
    ]


def _servo(output: object, row: ServoSamples) -> dict[str, Any]:
    assert isinstance(output, Servo)
    return {
        "name": output.name,
        "travel_deg": output.travel_deg,
        "level_deg": output.load.level_deg if output.mount is None else output.mount.straight_deg,
        "sinks": output.load.lowers,
        "spins": output.load.spins,
        "slope_deg": None if output.load.slide is None else output.load.slide.slope_deg,
        "angles_cdeg": _packed(np.rint(row.angle_deg * 100.0), np.dtype("<i2")),
    }


def _lamp(output: object, row: LampSamples) -> dict[str, Any]:
    assert isinstance(output, Lamp)
    tint = srgb_to_linear(np.asarray(output.colour) / 255.0)
    rgb = linear_to_srgb(row.luminance[:, np.newaxis] * tint)
    return {
        "name": output.name,
        "levels": _packed(np.rint(row.level_pct * 2.0), np.uint8),
        "rgb": _packed(np.rint(rgb * 255.0), np.uint8),
    }


def _strip(output: object, row: StripSamples) -> dict[str, Any]:
    assert isinstance(output, Strip)
    rgb = np.rint(linear_to_srgb(row.linear) * 255.0)
    uniform = bool(np.all(rgb == rgb[:, :1, :]))
    return {
        "name": output.name,
        "pixels": output.pixels,
        "uniform": uniform,
        "rgb": _packed(rgb[:, :1, :] if uniform else rgb, np.uint8),
    }


def _packed(values: ArrayLike, dtype: Any) -> str:
    return base64.b64encode(np.asarray(values).astype(dtype).tobytes()).decode("ascii")
