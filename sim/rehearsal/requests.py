"""What comes to a board from outside, by frame: requests, and whether the remote is heard."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, inf
from typing import Literal

from sim.model import Press
from sim.rulebook import FRAME_MS


@dataclass(frozen=True, slots=True)
class Request:
    kind: Literal["trigger", "down", "up", "stop", "limp", "standby"]
    cue: Hashable = None
    """What a trigger calls its cue by (`sim.score.program.PlayedCue.name`)."""
    button: int = 0


def requests_by_frame(presses: Iterable[Press]) -> dict[int, list[Request]]:
    """Requests by the frame that takes them, in order of arrival."""
    arrivals: list[tuple[float, int, Request]] = []
    for press in sorted(presses, key=lambda press: press.at_ms):
        if press.button is not None:
            arrivals.append((press.at_ms, len(arrivals), Request("down", button=press.button)))
            up = press.at_ms + press.held_ms
            arrivals.append((up, len(arrivals), Request("up", button=press.button)))
        elif press.cue is not None:
            arrivals.append((press.at_ms, len(arrivals), Request("trigger", press.cue)))
        elif press.action is not None:
            arrivals.append((press.at_ms, len(arrivals), Request(press.action)))
    frames: dict[int, list[Request]] = {}
    for at_ms, _, request in sorted(arrivals, key=lambda arrival: arrival[:2]):
        frames.setdefault(max(0, ceil(at_ms / FRAME_MS)), []).append(request)
    return frames


def merged(
    first: Mapping[int, Sequence[Request]], behind: Mapping[int, Sequence[Request]]
) -> dict[int, list[Request]]:
    """Requests by frame from two sides; in a frame the second side's come behind."""
    frames = sorted({*first, *behind})
    return {frame: [*first.get(frame, ()), *behind.get(frame, ())] for frame in frames}


class Hearing:
    """When a board was last heard by: in every frame, but for the silences.

    Args:
        silences: spans (from, to, in ms) in which the remote is not heard.
        requests: frames in which it asks something, and is heard whatever the silences say.
        radio: spans of frames (first, last) in which a channel is heard, likewise.
    """

    def __init__(
        self,
        silences: Iterable[tuple[float, float]],
        requests: Iterable[int] = (),
        radio: Iterable[tuple[int, float]] = (),
    ) -> None:
        self._silences = sorted(silences)
        self._requests = sorted(requests)
        self._radio = sorted(radio)

    def silent_frames(self, frame: int) -> int:
        """Frames since something was heard; more than `frame` before anything was."""
        last = frame
        for start, end in reversed(self._silences):
            if start < last * FRAME_MS <= end:
                last = int(start // FRAME_MS)
        heard = [at for at in self._requests if last < at <= frame]
        heard += [int(min(end, frame)) for start, end in self._radio if start <= frame]
        return frame - max([last, *heard])

    def reaches(self, frame: int, silent: int) -> float:
        """The first frame after `frame` at which the silence may have that length."""
        edges: list[float] = [start // FRAME_MS for start, _ in self._silences]
        if edges:
            edges += self._requests
            edges += [end for _, end in self._radio]
        return min((at + silent for at in edges if at + silent > frame), default=inf)
