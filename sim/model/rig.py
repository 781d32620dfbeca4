"""What presses, who wears it, and the rig as a whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from sim.model.mark import NO_MARK
from sim.model.outputs import Output
from sim.model.supplies import Board, Supply
from sim.rulebook import FOLLOW_MS, SETTLE_MS


@dataclass(frozen=True, slots=True)
class Input:
    """A button or receiver output wired to an input pin of a board."""

    button: int
    board: str
    pin: int
    active_low: bool = True
    mark: int = NO_MARK
    settle_ms: int = SETTLE_MS
    """How long a new level must stand before it counts, at most."""


@dataclass(frozen=True, slots=True)
class Band:
    """Pulses of a channel, in us, that hold a button down."""

    low_us: float
    high_us: float
    button: int
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Channel:
    """A channel of a hobby radio: its pulses arrive at a pin of a board."""

    name: str
    board: str
    pin: int
    bands: tuple[Band, ...]
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Sensor:
    """A voltage at an analog pin of a board, as a share of the chip's own supply: a knob, a
    microphone's envelope.

    What lies below the share `quiet` counts as 0. Its value follows the pin with a time constant of
    `rises_s` upward and `falls_s` downward.
    """

    name: str
    board: str
    pin: int
    quiet: float = 0.0
    rises_s: float = 0.0
    falls_s: float = 0.0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Follow:
    """An output that goes where a channel or a sensor stands, while no cue holds it.

    At the value `source_from` (a channel's pulse in us, a sensor's share) it is at `target_from`
    (the part's angle, a lamp's L* percent), at `source_to` at `target_to`; between them in
    proportion, beyond them it stays. `source_from` is the smaller one. It never goes faster than it
    takes to go from the one target to the other in `way_ms`: a part as in a move of the usual law,
    a lamp evenly. `mixed`: what idle moves is added to that.
    """

    output: str
    source: str
    source_from: float
    source_to: float
    target_from: float
    target_to: float
    way_ms: int = FOLLOW_MS
    mixed: bool = False
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Shine:
    """A lamp as bright as a move goes, while no cue has it: by where a servo's part is, or by how
    fast it moves.

    At `low` (the part's angle, or with `by_speed` its speed in deg/s, either way) it is at
    `low_pct` (L* percent), at `high`, which is greater, at `high_pct`; between them in proportion,
    beyond them it stays.
    """

    output: str
    servo: str
    low: float
    high: float
    low_pct: float
    high_pct: float
    by_speed: bool = False
    mark: int = NO_MARK

    def level_pct(self, place: float) -> float:
        """The level at an angle, or at a speed either way."""
        at = abs(place) if self.by_speed else place
        share = min(1.0, max(0.0, (at - self.low) / (self.high - self.low)))
        return self.low_pct + (self.high_pct - self.low_pct) * share


@dataclass(frozen=True, slots=True)
class LevelBar:
    """A strip that shows how bright a lamp is: a bar of lit pixels, as long as the lamp's level.

    `end`: an index into `sim.rulebook.BAR_ENDS`, where the bar begins.
    """

    strip: str
    lamp: str
    end: int = 0
    mark: int = NO_MARK


Gait: TypeAlias = Literal["stands", "walks", "dances", "jumps"]
"""How the wearer moves; `sim.rig.disturbance` has the accelerations."""


@dataclass(frozen=True, slots=True)
class Wearer:
    """What the rig must stand: tilt in any direction, and who is near.

    `region` is a name of `sim.rig.regions.REGIONS`: what moving parts are near.
    """

    tilt_deg: float = 0.0
    region: str | None = None
    temperature_c: float = 25.0
    margin: float = 0.2
    """Share of servo torque and speed kept in hand."""
    gait: Gait = "stands"
    wind_m_s: float = 0.0
    """Speed of the wind that the parts must stand."""
    viewing_m: float = 0.5
    """Nearest distance from which somebody looks at the lights (own: an arm's length)."""
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Rig:
    supplies: tuple[Supply, ...] = ()
    boards: tuple[Board, ...] = ()
    outputs: tuple[Output, ...] = ()
    """In the order of the text; a board's output numbers follow this order."""
    inputs: tuple[Input, ...] = ()
    wearer: Wearer = Wearer()
    channels: tuple[Channel, ...] = ()
    sensors: tuple[Sensor, ...] = ()
    follows: tuple[Follow, ...] = ()
    """At most one for an output."""
    shines: tuple[Shine, ...] = ()
    bars: tuple[LevelBar, ...] = ()
    """Likewise, of lamps."""

    @property
    def leader(self) -> Board | None:
        """The board that leads the others; None: each plays alone."""
        return next((board for board in self.boards if board.leads), None)
