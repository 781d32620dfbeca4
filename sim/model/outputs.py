"""Servos, lamps, strips and switches."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal, TypeAlias

from sim.model.drives import ON_THE_HORN, Drive, Mount
from sim.model.loads import UNLOADED, Load
from sim.model.mark import NO_MARK


@dataclass(frozen=True, slots=True)
class CalibrationPoint:
    angle_deg: float
    pulse_us: float


@dataclass(frozen=True, slots=True)
class Rating:
    """A servo's data sheet line at one voltage."""

    voltage_v: float
    speed_deg_s: float
    stall_nm: float
    stall_a: float
    no_load_a: float | None = None
    """Current while it turns without a load; None: the usual share of the stall current."""
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Grip:
    """How a part presses on what it holds: past `contact_deg`, for `lasts_s` at one go.

    `side` is +1 where it closes towards greater angles, -1 towards smaller ones. It presses with
    `force_n` at `at_m` from its hinge, because something yields there; with `force_n` None nothing
    does, and the servo stalls.
    """

    contact_deg: float
    side: int
    lasts_s: float
    force_n: float | None = None
    at_m: float = 0.0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Servo:
    name: str
    board: str
    pin: int
    points: tuple[CalibrationPoint, ...]
    """Two or more, in ascending angle; pulse strictly rising or strictly falling."""
    travel_deg: tuple[float, float]
    ratings: tuple[Rating, ...]
    """One or two, in ascending voltage."""
    load: Load = UNLOADED
    drive: Drive = ON_THE_HORN
    safe_deg: float = 0.0
    accel_deg_s2: float | None = None
    """Stated acceleration for braking and stretching; None: the largest the show plans."""
    idle_a: float = 0.01
    dead_band_us: float = 4.0
    pulse_range_us: tuple[float, float] = (500.0, 2500.0)
    tip_m: float | None = None
    """Distance of the part's tip from its axis, for pinch force; None: the load's far end."""
    rotor_kg_m2: float = 0.0
    """Inertia of motor and gears as felt at the horn, where the maker knows it."""
    drive_efficiency: float = 1.0
    """Share of the horn's torque that a gear or linkage passes on while the horn drives."""
    backlash_deg: float = 0.0
    """Play of the part while the horn stands."""
    nip_m: float | None = None
    """Nearest to the axis that something can be caught where the part closes on another; None: as
    near as a finger gets in."""
    nip_edge_m: tuple[float, float] | None = None
    """Length and width of the edge that presses there; None: 1 cm2."""
    mount: Mount | None = None
    """The part that carries this one; None: the costume does."""
    linear: bool = False
    """It pushes a rod: its ratings are mm/s and N in the fields of deg/s and N.m, see
    `sim.rig.slide`."""
    grip: Grip | None = None
    """What the part does to what it closes on; None: it closes on nothing."""
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class LightPlace:
    """Where a light sits on a servo's part, `on`, for drawings alone.

    `at_m`: a lamp, or the first pixel of a strip, is so far from the hinge along the part's zero
    line; None: a lamp at the part's tip, a strip from the hinge on. The strip runs outward.
    """

    on: str
    at_m: float | None = None


@dataclass(frozen=True, slots=True)
class Lamp:
    """A plain lamp: `count` LEDs in parallel branches, each at `forward_v` and `current_a`."""

    name: str
    board: str
    pin: int
    forward_v: float = 3.0
    current_a: float = 0.02
    count: int = 1
    colour: tuple[int, int, int] = (255, 255, 255)
    safe_pct: float = 0.0
    mark: int = NO_MARK
    rides: LightPlace | None = None
    trims: tuple[float, ...] = ()
    """One share, in 1/256: so much of its light is given, to look like other lights; none: all."""


@dataclass(frozen=True, slots=True)
class Strip:
    """Addressable pixels on one data pin."""

    name: str
    board: str
    pin: int
    pixels: int
    order: Literal["rgb", "rbg", "grb", "gbr", "brg", "bgr"] = "grb"
    channel_a: float = 0.02
    """Current of one colour of one pixel, fully on."""
    cap_a: float | None = None
    """The board keeps the strip's current under this."""
    safe: StripLight = field(default_factory=lambda: BLACK)
    pitch_m: float = 0.0333
    """From one pixel to the next. Usual strips have 30 to 144 pixels a metre; the widest pitch is
    the strictest for flashes (common practice, no source)."""
    shifter: bool = False
    """A level shifter brings the data line to the strip's own voltage."""
    feed_v: float | None = None
    """What a converter of its own gives the strip; None: fed as its board is."""
    mark: int = NO_MARK
    rides: LightPlace | None = None
    trims: tuple[float, ...] = ()
    """Shares of red, green and blue, in 1/256, that are given; none: all."""


@dataclass(frozen=True, slots=True)
class Switch:
    name: str
    board: str
    pin: int
    active_high: bool = True
    safe_on: bool = False
    current_a: float = 0.0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class StripLight:
    """An sRGB colour (0..255 each) dimmed to `level_pct` of its own lightness."""

    colour: tuple[int, int, int]
    level_pct: float = 100.0


BLACK: Final[StripLight] = StripLight((0, 0, 0), 0.0)

Output: TypeAlias = Servo | Lamp | Strip | Switch
