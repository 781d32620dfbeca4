"""What a radio's channels press: pulses to bands, and bands to buttons (TABLE.md, section 9).

A channel at the edge of its range misses pulses at random. So it is live only after a row of good
pulses, and lost only after a silence; what stands in a band as it comes alive presses nothing.

`RadioChannel` is that rule, for boards and rehearsals alike. `Radio` is what a rehearsal hears of
the channels of a board: there a channel is set to a place, and gives the same pulse in each frame
until it is set again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import ceil, inf

from sim.model import Channel, Press, Show
from sim.rehearsal.requests import Request
from sim.rulebook import (
    CHANNEL_GAP_FRAMES,
    CHANNEL_GOOD,
    CHANNEL_LOST_FRAMES,
    CHANNEL_RANGE,
    CHANNEL_SLACK,
    FRAME_MS,
    PULSE_STEPS_PER_US,
)


@dataclass(frozen=True, slots=True)
class PressingBand:
    """Pulses, in ticks, that hold a button down."""

    low: int
    high: int
    button: int


@dataclass(slots=True)
class RadioChannel:
    """What is known of a channel after a frame."""

    bands: tuple[PressingBand, ...]
    last: list[int] = field(default_factory=list)
    """The last three good widths, in ticks."""
    missing: int = 0
    """Frames since the last good pulse."""
    good: int = 0
    """Good pulses without a gap."""
    live: bool = False
    inside: set[int] = field(default_factory=set)
    """Bands in which the channel stands, by index."""
    pressed: set[int] = field(default_factory=set)

    @property
    def value(self) -> int:
        """Of a live channel, in ticks: the middle one of the last widths."""
        return sorted(self.last)[1]

    @property
    def heard(self) -> bool:
        """Whether it is live and has had a pulse in the last frame."""
        return self.live and self.missing == 0

    def take(self, width: int) -> list[tuple[int, bool]]:
        """The newest pulse of a frame (0: none); buttons that go down (True) or up."""
        if CHANNEL_RANGE[0] <= width <= CHANNEL_RANGE[1]:
            self.last = [*self.last, width][-3:]
            self.missing, self.good = 0, self.good + 1
        else:
            self.missing += 1
            if self.missing > CHANNEL_GAP_FRAMES:
                self.good = 0
        if self.live and self.missing >= CHANNEL_LOST_FRAMES:
            return self._lose()
        if not self.live and self.good >= CHANNEL_GOOD:
            self.live = True
            self.inside = {n for n, band in enumerate(self.bands) if self._is_in(band, 0)}
            return []
        return self._cross() if self.live else []

    def _lose(self) -> list[tuple[int, bool]]:
        self.live = False
        ups = [(self.bands[n].button, False) for n in sorted(self.pressed)]
        self.inside, self.pressed = set(), set()
        return ups

    def _cross(self) -> list[tuple[int, bool]]:
        found: list[tuple[int, bool]] = []
        for n, band in enumerate(self.bands):
            if n not in self.inside and self._is_in(band, 0):
                self.inside.add(n)
                self.pressed.add(n)
                found.append((band.button, True))
            elif n in self.inside and not self._is_in(band, CHANNEL_SLACK):
                self.inside.discard(n)
                if n in self.pressed:
                    self.pressed.discard(n)
                    found.append((band.button, False))
        return found

    def _is_in(self, band: PressingBand, slack: int) -> bool:
        return band.low - slack <= self.value <= band.high + slack


# -- in a rehearsal --------------------------------------------------------------------------------

SETTLED_FRAMES = CHANNEL_LOST_FRAMES + CHANNEL_GOOD
"""A channel that gets the same pulse for so long, or none, changes no more."""


@dataclass(frozen=True)
class Radio:
    """What the channels that a board hears come to, by frame.

    Attributes:
        requests: downs and ups, which come behind all others of their frame.
        heard: spans of frames (first, last) in which a live channel has a pulse.
        values: by channel, steps (frame from which on, ticks; None: the channel is not live).
    """

    requests: Mapping[int, Sequence[Request]]
    heard: tuple[tuple[int, float], ...] = ()
    values: Mapping[str, Sequence[tuple[int, int | None]]] = field(default_factory=dict)


def radio_of(show: Show, board: str, presses: Iterable[Press]) -> Radio:
    """What a board hears. What follows there takes the values of its own channels; under a board
    that leads, all do as the channels of that one press."""
    leader = show.rig.leader
    pressing = leader.name if leader else board
    settings = channel_settings(show, presses)
    requests: dict[int, list[Request]] = {}
    heard: list[tuple[int, float]] = []
    values: dict[str, list[tuple[int, int | None]]] = {}
    for one in show.rig.channels:
        if one.board not in (pressing, board):
            continue
        pressed: dict[int, list[Request]] = requests if one.board == pressing else {}
        spans, steps = _played(one, settings.get(one.name, ()), pressed)
        if one.board == pressing:
            heard += spans
        if one.board == board:
            values[one.name] = steps
    return Radio(dict(sorted(requests.items())), tuple(sorted(heard)), values)


def radio_silence(show: Show, presses: Iterable[Press]) -> list[tuple[float, float]]:
    """From when a channel is set, nobody but the radio steers the show: that span, in ms.

    Under a board that leads only its own channels steer; another one's are followed, no more.
    """
    leader = show.rig.leader
    steering = {one.name for one in show.rig.channels if leader is None or one.board == leader.name}
    settings = channel_settings(show, presses)
    first = [row[0][0] * float(FRAME_MS) for name, row in settings.items() if name in steering]
    return [(min(first), inf)] if first else []


def channel_settings(show: Show, presses: Iterable[Press]) -> dict[str, list[tuple[int, int]]]:
    """By channel, when it is set: frame, and ticks of the pulses from then on (0: none)."""
    names = {one.name for one in show.rig.channels}
    found: dict[str, list[tuple[int, int]]] = {}
    for press in sorted(presses, key=lambda press: press.at_ms):
        if press.source in names:
            width = 0 if press.value is None else pulse_ticks(press.value)
            at = max(0, ceil(press.at_ms / FRAME_MS))
            found.setdefault(press.source or "", []).append((at, width))
    return found


def pulse_ticks(us: float) -> int:
    """A pulse in us as a board counts it."""
    return round(PULSE_STEPS_PER_US * us)


def pressing_bands(channel: Channel) -> tuple[PressingBand, ...]:
    """The bands of a channel as a board holds them."""
    return tuple(
        PressingBand(pulse_ticks(band.low_us), pulse_ticks(band.high_us), band.button)
        for band in channel.bands
    )


def _played(
    channel: Channel, settings: Sequence[tuple[int, int]], requests: dict[int, list[Request]]
) -> tuple[list[tuple[int, float]], list[tuple[int, int | None]]]:
    """When it is heard and what its value is; what it presses is added to `requests`."""
    radio = RadioChannel(pressing_bands(channel))
    heard: list[tuple[int, float]] = []
    values: list[tuple[int, int | None]] = [(0, None)]
    for (frame, width), (until, _) in pairwise([*settings, (inf, 0)]):
        begins = int(frame)
        for at in range(begins, int(min(until, begins + SETTLED_FRAMES))):
            for button, down in radio.take(width):
                requests.setdefault(at, []).append(Request("down" if down else "up", button=button))
            value = radio.value if radio.live else None
            if value != values[-1][1]:
                values.append((at, value))
            if radio.heard:
                first = heard.pop()[0] if heard and heard[-1][1] >= at - 1 else at
                heard.append((first, at))
        if radio.heard and heard:
            heard[-1] = (heard[-1][0], until - 1)
    return heard, values
