"""A rehearsal made ready for plots: sampled, with the torque and current that it takes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.model import Servo
from sim.rehearsal.sampling import Samples, carried_out, sample
from sim.rehearsal.trajectories import CueRun, Trajectories
from sim.rulebook import FRAME_MS
from sim.strain.response import follow, held
from sim.strain.spin_response import spun_rpm
from sim.strain.torque_and_current import RigWork, work

STEP_MS: Final = 5
MOST_SAMPLES: Final = 20_000
"""A longer rehearsal is sampled more coarsely."""

LONGEST_RESPONSE_MS: Final = 600_000
"""How long a rehearsal the servos' response is worked out for, a millisecond at a time."""


@dataclass(frozen=True)
class Plotted:
    """What plots are made of.

    `response_deg`: where each servo's part will really be; empty for a rehearsal too long for that.
    """

    trajectories: Trajectories
    samples: Samples
    work: RigWork
    response_deg: dict[str, Array]

    @property
    def seconds(self) -> Array:
        return self.samples.times_ms / 1000.0

    def servo(self, name: str) -> Servo:
        """The servo of that name."""
        found = next(o for o in self.trajectories.show.rig.outputs if o.name == name)
        assert isinstance(found, Servo)
        return found

    def cues(self) -> list[CueRun]:
        """Cue runs by start, those of several boards as one; also of idle, although each board
        begins with it as soon as its own parts are awake. Only the board that leads goes as far as
        a source says."""
        idle = self.trajectories.show.score.idle
        merged: dict[tuple[str, float], CueRun] = {}
        for run in sorted(self.trajectories.runs, key=lambda one: one.start_ms):
            if run.end_ms <= run.start_ms:
                continue
            key = run.cue, run.start_ms
            if run.cue in idle:
                key = next((k for k, one in merged.items() if _beside(one, run)), key)
            longest = merged.get(key, run)
            end, scale = max(longest.end_ms, run.end_ms), min(longest.scale, run.scale)
            merged[key] = replace(longest, end_ms=end, scale=scale)
        return sorted(merged.values(), key=lambda run: run.start_ms)


def _beside(earlier: CueRun, run: CueRun) -> bool:
    """Whether a cue that one board runs still goes on where another one begins with it."""
    return earlier.cue == run.cue and run.start_ms + FRAME_MS < earlier.end_ms


def plotted(trajectories: Trajectories) -> Plotted:
    """Sample a rehearsal and work out what it takes of servos and supplies."""
    step = max(STEP_MS, ceil(trajectories.length_ms / MOST_SAMPLES))
    times = np.arange(0.0, trajectories.length_ms + step, step)
    samples = sample(trajectories, times)
    done = work(trajectories.show.rig, samples)
    return Plotted(trajectories, samples, done, _responses(trajectories, times))


def _responses(trajectories: Trajectories, times: Array) -> dict[str, Array]:
    servos = [
        output
        for output in trajectories.show.rig.outputs
        if isinstance(output, Servo) and output.name in trajectories.motions
    ]
    if not servos or times[-1] > LONGEST_RESPONSE_MS:
        return {}
    every = np.arange(0.0, times[-1] + 1.0)
    commands = {o.name: held(carried_out(trajectories, o.name, every)[0]) for o in servos}
    rig = trajectories.show.rig
    found = {o.name: spun_rpm(rig, o, commands[o.name]) for o in servos if o.load.spins}
    turning = [one for one in servos if one.name not in found]
    if turning:
        command = np.stack([commands[one.name] for one in turning], axis=1)
        angle = follow(rig, turning, command).angle_deg
        found |= {one.name: angle[:, n] for n, one in enumerate(turning)}
    at = np.minimum(times.astype(np.intp), every.size - 1)
    return {one.name: found[one.name][at] for one in servos}
