"""What a board played beside what the preview shows of the same button presses.

The board's numbers come from its frames, the preview's from the rehearsal in floating point; the
two are computed apart from one another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np

from firmware_gen.board.board import Witness
from firmware_gen.link.protocol import BUTTON, TRIGGER, RequestKind
from sim.model import Cue, Lamp, Press, Servo, Show
from sim.rulebook import FRAME_MS, PULSE_STEPS_PER_US

if TYPE_CHECKING:
    from firmware_gen.player.outputs import Frame


class Recording(Witness):
    """What a board was asked and what it played, frame by frame, since its show started."""

    def __init__(self) -> None:
        self.started()

    def started(self) -> None:
        self.frames: list[Frame] = []
        self.requests: list[tuple[int, RequestKind, bytes]] = []
        """The frame that takes it, kind and payload."""
        self._heard: list[int] = []
        """Frames before which something was heard."""

    def heard(self) -> None:
        if not self._heard or self._heard[-1] != len(self.frames):
            self._heard.append(len(self.frames))

    def asked(self, kind: RequestKind, payload: bytes) -> None:
        self.requests.append((len(self.frames), kind, payload))

    def played(self, frame: Frame | None) -> None:
        if frame is not None:
            self.frames.append(frame)

    def silences(self) -> list[tuple[float, float]]:
        """Spans in which nothing was heard, in ms from the show's start."""
        edges = [*self._heard, len(self.frames)]
        return [
            (since * FRAME_MS, (until - 1) * FRAME_MS)
            for since, until in pairwise(edges)
            if until - since > 1
        ]

    def presses(self, cues: Sequence[Cue]) -> tuple[Press, ...]:
        """The requests as a rehearsal takes them; `cues` are those of the board, for their tags."""
        from firmware_gen.crc import cue_tag

        names = {cue_tag(cue.name): cue.name for cue in cues}
        found: list[Press] = []
        down: dict[int, int] = {}
        for frame, kind, payload in self.requests:
            at_ms = frame * FRAME_MS
            if kind == RequestKind.TRIGGER:
                found.append(Press(at_ms, cue=names[TRIGGER.unpack(payload)[0]]))
            elif kind == RequestKind.BUTTON:
                button, is_down = BUTTON.unpack(payload)
                if is_down:
                    down[button] = at_ms
                elif button in down:
                    since = down.pop(button)
                    found.append(Press(since, button=button, held_ms=at_ms - since))
            elif kind in _ACTIONS:
                found.append(Press(at_ms, action=_ACTIONS[kind]))
        end_ms = len(self.frames) * FRAME_MS
        found += [Press(at, button=button, held_ms=end_ms - at) for button, at in down.items()]
        return tuple(sorted(found, key=lambda press: press.at_ms))


_ACTIONS: dict[RequestKind, Literal["stop", "limp", "standby"]] = {
    RequestKind.STOP: "stop",
    RequestKind.LIMP: "limp",
    RequestKind.STANDBY: "standby",
}


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far a board's frames lie from the preview, at worst."""

    frames: int
    pulse_us: float
    """Largest difference of a pulse's width."""
    duty: float
    """Largest difference of a lamp's duty, as a share of full."""
    powered_frames: int
    """Frames in which the one sends a pulse and the other does not."""


def agreement(show: Show, board: str, recording: Recording, cues: Sequence[Cue]) -> Agreement:
    """Compare a recording of a board with a rehearsal of the same requests."""
    from sim.rehearsal.rehearse import rehearse
    from sim.rehearsal.sampling import sample

    frames = recording.frames
    times_ms = np.arange(len(frames), dtype=np.float64) * FRAME_MS
    presses = recording.presses(cues)
    played = rehearse(show, presses, len(frames) * FRAME_MS, recording.silences())
    samples = sample(played, times_ms)
    outputs = [output for output in show.rig.outputs if output.board == board]
    servos = [output for output in outputs if isinstance(output, Servo)]
    lamps = [output for output in outputs if isinstance(output, Lamp)]
    pulse_us, duty, differing = 0.0, 0.0, 0
    for number, servo in enumerate(servos):
        sent = np.array([frame.pulses[number] for frame in frames]) / PULSE_STEPS_PER_US
        shown = samples.servos[servo.name]
        angles, pulses = zip(*((p.angle_deg, p.pulse_us) for p in servo.points), strict=True)
        wanted = np.interp(shown.angle_deg, angles, pulses)
        both = (sent > 0) & shown.powered
        differing += int(np.count_nonzero((sent > 0) != shown.powered))
        pulse_us = max(pulse_us, float(np.abs(sent - wanted)[both].max(initial=0.0)))
    for number, lamp in enumerate(lamps):
        lit = np.array([frame.duties[number] for frame in frames]) / 65535
        duty = max(duty, float(np.abs(lit - samples.lamps[lamp.name].luminance).max(initial=0.0)))
    return Agreement(len(frames), pulse_us, duty, differing)
