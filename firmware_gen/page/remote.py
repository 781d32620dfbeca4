"""What the remote on the page can say, as frames of the link.

A board ignores a one-way frame of the kind and the sequence number of the last one (LINK.md 3). So
each frame is there twice, with two numbers, and the page takes them in turn.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final

from firmware_gen.crc import cue_tag
from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.protocol import BUTTON, EVERYBODY, ONE_WAY, TRIGGER, RequestKind
from sim.model import Binding, Channel, PressKind, Score, Sensor, Servo, Show, bound_lines
from sim.rehearsal.channels import (
    channel_settings,
    pressing_bands,
    pulse_ticks,
)
from sim.rehearsal.requests import Request, requests_by_frame
from sim.rehearsal.sensing import quiet_reading, reading_of, sensor_settings
from sim.rehearsal.trajectories import Trajectories
from sim.rig.slide import of_part
from sim.rulebook import CHANNEL_RANGE_US, SENSOR_ONE
from sim.score.scaling import scaled_cues
from sim.score.tree import named_cues

SEQUENCE: Final = (0, 1)

_PLAIN: Final = {
    "stop": RequestKind.STOP,
    "limp": RequestKind.LIMP,
    "standby": RequestKind.STANDBY,
    "beacon": RequestKind.BEACON,
}


def sayings(show: Show) -> dict[str, list[bytes]]:
    """By what it is called in the page, each request in both its frames."""
    found = {name: _frames(kind) for name, kind in _PLAIN.items()}
    for number in buttons(show):
        found[f"down {number}"] = _frames(RequestKind.BUTTON, BUTTON.pack(number, 1))
        found[f"up {number}"] = _frames(RequestKind.BUTTON, BUTTON.pack(number, 0))
    for cue in show.score.cues:
        found[f"go {cue.name}"] = _frames(RequestKind.TRIGGER, TRIGGER.pack(cue_tag(cue.name)))
    return found


def _frames(kind: RequestKind, payload: bytes = b"") -> list[bytes]:
    return [encode(LinkFrame(EVERYBODY, kind | ONE_WAY, seq, payload)) for seq in SEQUENCE]


def buttons(show: Show) -> list[int]:
    """Numbers of all buttons that a show knows, ascending."""
    score = show.score
    known = {one.button for one in score.bindings} | {one.button for one in show.rig.inputs}
    known |= {band.button for channel in show.rig.channels for band in channel.bands}
    stops = set() if score.stop_button is None else {score.stop_button}
    return sorted(known | stops)


def drawn_buttons(show: Show) -> list[dict[str, Any]]:
    """Each button: what it does, and the boards on which a contact is wired as it."""
    return [_drawn_button(show, number) for number in buttons(show)]


def drawn_sources(show: Show) -> list[dict[str, Any]]:
    """Each channel and sensor: its scale, its bands with what they press, and what follows it."""
    channels = [_drawn_channel(show, one) for one in show.rig.channels]
    return channels + [_drawn_sensor(show, one) for one in show.rig.sensors]


def _drawn_channel(show: Show, channel: Channel) -> dict[str, Any]:
    stop = show.score.stop_button
    return {
        "kind": "channel",
        "name": channel.name,
        "board": channel.board,
        "least": pulse_ticks(CHANNEL_RANGE_US[0]),
        "most": pulse_ticks(CHANNEL_RANGE_US[1]),
        "bands": [
            {
                "from": band.low,
                "to": band.high,
                "button": band.button,
                "does": "stop" if band.button == stop else does(show, band.button),
            }
            for band in sorted(pressing_bands(channel), key=lambda band: band.low)
        ],
        "follows": _led(show, channel.name, pulse_ticks),
    }


def _drawn_sensor(show: Show, sensor: Sensor) -> dict[str, Any]:
    return {
        "kind": "sensor",
        "name": sensor.name,
        "board": sensor.board,
        "least": 0,
        "most": SENSOR_ONE - 1,
        "bands": [],
        "quiet": quiet_reading(sensor),
        "follows": _led(show, sensor.name, reading_of),
    }


def _led(show: Show, source: str, steps: Callable[[float], int]) -> list[dict[str, Any]]:
    """What goes where a source stands, and where that is at the ends of its scale: outputs that
    follow it, and cues that go as far as it says."""
    servos = {one.name: one for one in show.rig.outputs if isinstance(one, Servo)}
    followers = [
        {
            "output": one.output,
            "from": steps(one.source_from),
            "to": steps(one.source_to),
            "at": [one.target_from, one.target_to],
            "unit": of_part(servos[one.output]).place if one.output in servos else "%",
        }
        for one in show.rig.follows
        if one.source == source
    ]
    scaled = [
        {
            "output": cue.name,
            "from": steps(one.source_from),
            "to": steps(one.source_to),
            "at": [one.from_pct, one.to_pct],
            "unit": "%",
        }
        for cue in scaled_cues(show.score, source)
        if (one := cue.scaling) is not None
    ]
    return followers + scaled


def does(show: Show, button: int) -> str:
    """What a button does, in the words of the text; nothing if it does nothing."""
    lines = (line for line in bound_lines(show.score) if line[0].button == button)
    return "; ".join(map(_does, lines))


def _drawn_button(show: Show, number: int) -> dict[str, Any]:
    bound = [one for one in show.score.bindings if one.button == number]
    titles = {cue.name: cue.title for cue in show.score.cues}
    return {
        "number": number,
        "cues": [{"name": one.cue, "title": titles.get(one.cue, "")} for one in bound],
        "does": does(show, number),
        "held": any(one.while_held for one in bound),
        "stops": number == show.score.stop_button,
        "contacts": sorted({one.board for one in show.rig.inputs if one.button == number}),
    }


_PRESSES: Final[Mapping[PressKind, str]] = MappingProxyType(
    {"down": "", "long": "long: ", "twice": "twice: ", "up": "let go: "}
)


def _does(line: Sequence[Binding]) -> str:
    """What a press does, in the words of the text."""
    first = line[0]
    behind = ", held" if first.while_held else ""
    if first.manner == "toggle":
        behind = ", until pressed again"
    listed = "next of " if first.manner == "next" else ""
    return f"{_PRESSES[first.kind]}{listed}{', '.join(one.cue for one in line)}{behind}"


def without_button(score: Score) -> list[dict[str, str]]:
    """Cues that no button starts, but for those of idle."""
    bound = {one.cue for one in score.bindings}
    free = (cue for cue in named_cues(score) if cue.name not in {*bound, *score.idle})
    return [{"name": cue.name, "title": cue.title} for cue in free]


def script(played: Trajectories) -> list[list[Any]]:
    """What is asked in a rehearsal, [frame that takes it, in the page's words] each."""
    asked = [
        [frame, _called(request)]
        for frame, requests in requests_by_frame(played.presses).items()
        for request in requests
    ]
    settings = channel_settings(played.show, played.presses)
    settings |= sensor_settings(played.show, played.presses)
    asked += [[frame, f"put {name} {to}"] for name, row in settings.items() for frame, to in row]
    return sorted(asked, key=lambda one: one[0])


def _called(request: Request) -> str:
    if request.kind == "trigger":
        return f"go {request.cue}"
    return f"{request.kind} {request.button}" if request.button else request.kind
