"""The domain: what a rig is made of and what a score asks of it.

Everything here is immutable and knows neither text nor bytes. Angles are degrees of the
*part* (not of the servo's horn), times are whole milliseconds, lightness is CIE L* in percent,
and every other quantity is SI with its unit in the name.

`mark` fields are opaque integers that the maker of a value may use to find where it came from
(the language keeps source spans under them); nothing in `sim` reads them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf
from typing import Final, Literal, TypeAlias

from sim.rulebook import SETTLE_MS

NO_MARK: Final = -1


# -- motion laws -------------------------------------------------------------------------------

LawName: TypeAlias = Literal[
    "uniform",
    "parabolic",
    "trapezoid",
    "harmonic",
    "cycloidal",
    "3-4-5",
    "4-5-6-7",
    "modified sine",
    "modified trapezoid",
    "double-S",
]


@dataclass(frozen=True, slots=True)
class Law:
    """A motion law by name.

    `alpha` is the share of the whole duration spent accelerating (`trapezoid`, `double-S`),
    0 < alpha <= 1/2. `beta` is the share of the acceleration phase in which the acceleration
    rises (`double-S`), 0 < beta <= 1/2. Both are 0 for laws that do not use them. `peak` is the
    share of the duration at which the part is fastest, 0.26 to 0.74: 1/2 for the laws as the
    handbooks have them; `uniform` is as fast everywhere.
    """

    name: LawName = "3-4-5"
    alpha: float = 0.0
    beta: float = 0.0
    peak: float = 0.5


MINIMUM_JERK: Final = Law("3-4-5")
UNIFORM: Final = Law("uniform")


# -- supplies and wires ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Cells:
    """A battery: `series` cells in a row, `parallel` rows side by side."""

    chemistry: Literal["li-ion", "lipo", "lifepo4", "nimh", "alkaline"]
    series: int
    capacity_ah: float
    parallel: int = 1
    resistance_ohm: float | None = None
    """Internal resistance of the whole pack; None: the chemistry's usual value per cell."""
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Adapter:
    """A fixed supply: a plug-in or bench supply of constant voltage."""

    voltage_v: float
    current_a: float
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Regulator:
    """A converter between source and feed; `dropout_v` is the least headroom it needs."""

    voltage_v: float
    current_a: float
    dropout_v: float = 0.5
    efficiency: float = 0.9
    mark: int = NO_MARK


FuseKind: TypeAlias = Literal["blade", "UL fast", "UL slow", "IEC fast", "IEC slow"]
"""Blade: ISO 8820-3. Cartridges: UL 248-14, IEC 60127-2; fast or with a delay."""


@dataclass(frozen=True, slots=True)
class Supply:
    name: str
    source: Cells | Adapter
    regulator: Regulator | None = None
    fuse_a: float | None = None
    fuse_kind: FuseKind = "blade"
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Wire:
    """A two-conductor feed. `length_m` is one way; current goes there and back.

    `strands`: how many strands of which gauge, where known; `solid`: one, of the gauge itself;
    otherwise stranded somehow. `bundled`: feeds that run together in one bundle, this one included.
    `section_mm2`: the nominal metric section of a wire that is sold by it; its `gauge_awg` is then
    the thickest one that has no more copper.
    """

    length_m: float
    gauge_awg: int
    strands: tuple[int, int] | None = None
    solid: bool = False
    bundled: int = 1
    mark: int = NO_MARK
    section_mm2: float | None = None


@dataclass(frozen=True, slots=True)
class Electrics:
    """What a supply's physics needs of a board's chip; the values of an ideal one stand here.

    `idle_a`: current of the board itself. `brown_out_v`: under it the chip resets. `clock_v`: the
    least voltage at which it keeps its limits at its clock. `pin_a`: the most that one pin gives.
    `highest_v`: the most it may be fed with.
    """

    idle_a: float = 0.0
    brown_out_v: float = 0.0
    clock_v: float = 0.0
    pin_a: float = inf
    highest_v: float = inf


@dataclass(frozen=True, slots=True)
class Direct:
    """The chip is fed at its own pin: it has the feed's voltage."""


@dataclass(frozen=True, slots=True)
class OnBoard:
    """The chip is fed through a linear regulator on its board, which needs `dropout_v` over it."""

    voltage_v: float
    dropout_v: float = 1.0


Logic: TypeAlias = Direct | OnBoard


@dataclass(frozen=True, slots=True)
class Board:
    name: str
    chip: str
    address: int
    supply: str | None = None
    wire: Wire | None = None
    mark: int = NO_MARK
    electrics: Electrics = Electrics()
    """Of its chip: whoever names the chip fills them in."""
    logic: Logic | None = None
    """How the chip is fed; None: as `sim.rig.logic` says."""
    leads: bool = False
    """The other boards of the show follow it."""


# -- loads and drives --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PointMass:
    """Mass at a distance from the axis, `offset_deg` ahead of the part's own zero line."""

    mass_kg: float
    radius_m: float
    offset_deg: float = 0.0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Rod:
    """A uniform slender rod from `start_m` to `start_m + length_m` from the axis."""

    mass_kg: float
    length_m: float
    start_m: float = 0.0
    offset_deg: float = 0.0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Plate:
    """A uniform thin plate, `length_m` outward from `start_m`, `width_m` across.

    `flat`: the axis lies in the plate's plane, along its width (a flap on a hinge). Otherwise
    the axis is normal to the plate (a fin that waves in its own plane).
    """

    mass_kg: float
    length_m: float
    width_m: float
    start_m: float = 0.0
    offset_deg: float = 0.0
    flat: bool = False
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Box:
    """A uniform box.

    It reaches `length_m` outward from `start_m`, is `width_m` across and `depth_m` along the axis.
    """

    mass_kg: float
    length_m: float
    width_m: float
    depth_m: float
    start_m: float = 0.0
    offset_deg: float = 0.0
    mark: int = NO_MARK


Body: TypeAlias = PointMass | Rod | Plate | Box


@dataclass(frozen=True, slots=True)
class Spring:
    """A torsion spring on the part's axis: torque = -rate * (angle - neutral)."""

    rate_nm_per_rad: float
    neutral_deg: float
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Link:
    """One part of a chain, in its own frame: its zero line is the real axis, in metres.

    `sense` is +1 where the part turns upward as its angle grows, else -1. `straight_deg` is the
    angle at which it lies along the zero line of what carries it; for the root, at which it is
    level. `mount_m` is where its hinge stands, in the frame of what carries it. `moment_kg_m` is
    the first moment of its own bodies, `inertia_kg_m2` their inertia about its hinge. In the wind:
    `drag_m2` is drag coefficient times area, `drag_m3` the same times the distance from the hinge.
    `turned_deg`: its hinge line is turned so far from its carrier's, about the carrier's zero line.
    For that, second moments (kg.m2): `spread_kg_m2` along the zero line, across it, and the product
    of both; `flank_kg_m2` along the hinge line.
    """

    name: str
    carrier: int | None
    sense: float
    straight_deg: float
    mount_m: complex
    mass_kg: float
    moment_kg_m: complex
    inertia_kg_m2: float
    drag_m2: float = 0.0
    drag_m3: float = 0.0
    way: complex | None = None
    """It slides along this direction, of length 1, in the frame of what carries it, which is its
    own too; None: it turns. Its places are mm in the fields of degrees."""
    reach_m: float = 0.0
    """Of one that slides: the farthest that it goes from where its places count from."""
    turned_deg: float = 0.0
    spread_kg_m2: tuple[float, float, float] = (0.0, 0.0, 0.0)
    flank_kg_m2: float = 0.0


@dataclass(frozen=True, slots=True)
class JointLimits:
    """How far (deg), how fast (deg/s) and how hard (deg/s2) a joint of a chain may go."""

    angle_deg: tuple[float, float]
    speed_deg_s: float
    accel_deg_s2: float


@dataclass(frozen=True, slots=True)
class Coupled:
    """The chain that a part belongs to: each link behind what carries it, and how far all reach.

    `joint` is the part's own place in it. Worked out from the whole show (`sim.strain.coupling`).
    """

    links: tuple[Link, ...]
    joint: int
    reaches: tuple[JointLimits, ...]
    upright: bool = False
    """The hinge lines stand upright while the wearer does: the weight is felt when they lean."""


@dataclass(frozen=True, slots=True)
class Slide:
    """A part that moves along a line: its mass, and how steep the line is.

    `slope_deg` is the line's angle from level, in the way in which the place grows, while the
    wearer stands upright: 90 is straight up. Its places are mm in the fields of degrees; see
    `sim.rig.slide`.
    """

    mass_kg: float = 0.0
    slope_deg: float = 90.0


@dataclass(frozen=True, slots=True)
class Load:
    """What the servo carries, about the part's axis.

    `level_deg` is the part's angle at which its zero line lies level (horizontal) while the
    wearer stands upright. `axis` is how the hinge line lies then: a `level` axis feels the
    whole weight; an `upright` one feels it only when the wearer tilts.
    """

    bodies: tuple[Body, ...] = ()
    level_deg: float = 0.0
    axis: Literal["level", "upright"] = "level"
    springs: tuple[Spring, ...] = ()
    friction_nm: float = 0.0
    lowers: bool = False
    """The part sinks as its angle grows (a jaw that drops open); else it rises."""
    coupled: Coupled | None = None
    """Other parts stand on this one, or it stands on one; None: it turns alone."""
    slide: Slide | None = None
    """It moves along a line; None: it turns about a hinge."""
    spins: bool = False
    """It turns round and round: its places are speeds in rpm, see `sim.rig.spin`."""
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Drum:
    """A drum that winds a cord; the diameter counts to the cord's middle."""

    diameter_m: float


@dataclass(frozen=True, slots=True)
class Rack:
    """A pinion that drives a rack (or a screw a nut): how far in one turn."""

    turn_m: float


@dataclass(frozen=True, slots=True)
class Gear:
    """Fixed ratio: `ratio` horn degrees move the part one degree (negative: reversed).

    `winds`: what makes a line of the horn's turning, where the part moves along one; the ratio,
    in degrees for a mm, is that of it (`sim.rig.slide.ratio_of`).
    """

    ratio: float = 1.0
    mark: int = NO_MARK
    winds: Drum | Rack | None = None


@dataclass(frozen=True, slots=True)
class LeverPair:
    """Parallel-rod lever pair: horn of `horn_m` pushes an arm of `arm_m` on the part."""

    horn_m: float
    arm_m: float
    square_deg: float | None = None
    """The part's angle at which rod and levers stand square; None: the middle of its travel."""
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class FourBar:
    """A planar four-bar: ground, horn (input), rod (coupler), arm (output), lengths in metres.

    `arm_zero_deg` is the arm's angle from the ground line when the part is at 0 deg.
    `crossed` picks the other assembly.
    """

    ground_m: float
    horn_m: float
    rod_m: float
    arm_m: float
    arm_zero_deg: float = 0.0
    crossed: bool = False
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Ram:
    """A linear servo between a pin on the costume and one on the hinged part.

    `ground_m`, `arm_m`: from the hinge to either pin. `zero_deg`: from the line to the costume's
    pin to that to the part's while the part is at 0 deg.
    """

    ground_m: float
    arm_m: float
    zero_deg: float = 0.0
    mark: int = NO_MARK


Drive: TypeAlias = Gear | LeverPair | FourBar | Ram


@dataclass(frozen=True, slots=True)
class Mount:
    """Where a part's hinge stands on another part, `on`.

    The hinge is `at_m` from that of the carrier, `ahead_deg` ahead of the carrier's zero line.
    At the angle `straight_deg` the part's zero line lies along the carrier's. `mass_kg` is what
    sits at the hinge and turns with the carrier: the part's own servo and its bracket. The hinge
    line runs parallel to the carrier's, or is turned from that by `turned_deg` about the carrier's
    zero line: at 90 the part folds across the plane in which its carrier turns.
    """

    on: str
    at_m: float
    ahead_deg: float = 0.0
    straight_deg: float = 0.0
    mass_kg: float = 0.0
    turned_deg: float = 0.0
    mark: int = NO_MARK


# -- outputs -----------------------------------------------------------------------------------


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
    load: Load = Load()
    drive: Drive = Gear()
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

    @property
    def leader(self) -> Board | None:
        """The board that leads the others; None: each plays alone."""
        return next((board for board in self.boards if board.leads), None)


# -- score -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a statement draws anew at each pass: a time, a target, or both.

    Each from what stands in the statement up to `most_ms`, or up to `most` (the part's angle, or a
    lamp's L* percent). Key 0: it is not drawn. Draws with the same key are the same.
    """

    time_key: int = 0
    most_ms: int = 0
    target_key: int = 0
    most: float = 0.0


@dataclass(frozen=True, slots=True)
class Move:
    """Bring a servo's part to an angle from wherever it is."""

    output: str
    angle_deg: float
    duration_ms: int
    law: Law = MINIMUM_JERK
    mark: int = NO_MARK
    drawn: Drawn | None = None


@dataclass(frozen=True, slots=True)
class Fade:
    """Bring a lamp (`light`: L* percent) or a strip (`light`: StripLight) to a light."""

    output: str
    light: float | StripLight
    duration_ms: int
    law: Law = UNIFORM
    mark: int = NO_MARK
    drawn: Drawn | None = None


@dataclass(frozen=True, slots=True)
class Throw:
    """Turn a switch on or off; takes no time."""

    output: str
    on: bool
    mark: int = NO_MARK


EffectName: TypeAlias = Literal["steady", "breathe", "ember", "sparkle", "run"]


@dataclass(frozen=True, slots=True)
class Effect:
    """Lay a modulation over a lamp's or strip's light; `steady` takes it off. Takes no time.

    `period_ms` is the effect's beat, `depth_pct` how far down from the light it goes,
    `seed` picks one of 256 exactly repeating patterns, `width` is pixels (`run`) or pixels
    lit in a hundred (`sparkle`).
    """

    output: str
    name: EffectName
    period_ms: int = 1000
    depth_pct: float = 100.0
    seed: int = 0
    width: int = 1
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Hold:
    duration_ms: int
    mark: int = NO_MARK
    drawn: Drawn | None = None


@dataclass(frozen=True, slots=True)
class InTurn:
    children: tuple[Step, ...]
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Together:
    """Children side by side; child i starts `i * interval_ms` in (0 for `together`)."""

    children: tuple[Step, ...]
    interval_ms: int = 0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Repeat:
    """`times` runs of the body; None: for ever.

    `while_held`: at least once, then as long as the button is held.
    """

    body: Step
    times: int | None
    while_held: bool = False
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of the children, drawn anew at each pass; draws with the same `key` are the same."""

    children: tuple[Step, ...]
    key: int = 0
    mark: int = NO_MARK


Step: TypeAlias = Move | Fade | Throw | Effect | Hold | InTurn | Together | Repeat | OneOf

Conflict: TypeAlias = Literal["take", "wait", "refuse"]


@dataclass(frozen=True, slots=True)
class Cue:
    name: str
    title: str
    body: Step
    conflict: Conflict = "take"
    """What the cue does when another runs on an output it uses."""
    mark: int = NO_MARK
    let_go: str | None = None
    """Its part for letting go: the cue right behind it in the score, which goes on in its place
    when the button that holds it is released; see `part_name`."""
    seed: int | None = None
    """Which numbers its draws give; None: those that its name gives."""


def part_name(cue: str) -> str:
    """What the part for letting go of a cue is called: no name of a cue is like it."""
    return f"{cue} let go"


PressKind: TypeAlias = Literal["down", "long", "twice", "up"]
"""What a button must do: go down, stay down for a while, be pressed twice in a row, go up."""
Manner: TypeAlias = Literal["start", "next", "toggle"]
"""What a press does with a cue: start it; start the next of a list that the cue is in; start it,
and let it go when it comes again."""


@dataclass(frozen=True, slots=True)
class Binding:
    """A button starts a cue; `while_held` repeats the cue as long as the button is down.

    The cues of a list have a binding each, with the same mark.
    """

    button: int
    cue: str
    while_held: bool = False
    mark: int = NO_MARK
    kind: PressKind = "down"
    manner: Manner = "start"
    long_ms: int = 0
    """Of a long press: after how long it is one."""

    @property
    def is_plain(self) -> bool:
        """Whether the cue starts when the button goes down, and that is all."""
        return self.kind == "down" and self.manner == "start"


def bound_lines(score: Score) -> tuple[tuple[Binding, ...], ...]:
    """Bindings by what they were written as: the cues of a list belong together."""
    lines: dict[tuple[int, PressKind, int], list[Binding]] = {}
    for number, one in enumerate(score.bindings):
        place = -1 if one.manner == "next" else number
        lines.setdefault((one.button, one.kind, place), []).append(one)
    return tuple(map(tuple, lines.values()))


@dataclass(frozen=True, slots=True)
class Usage:
    """How often a cue is expected to run, for battery and heat."""

    cue: str
    per_hour: float
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Score:
    title: str
    cues: tuple[Cue, ...] = ()
    bindings: tuple[Binding, ...] = ()
    stop_button: int | None = None
    lost_ms: int | None = None
    """Silence of the remote after which `lost_cue` starts; None: nothing happens."""
    lost_cue: str | None = None
    idle: tuple[str, ...] = ()
    """The strands: cues that go on, side by side, on every output that no other cue holds."""
    glide_ms: int = 800
    """How long an output takes back to its strand when a cue lets it go."""
    stop_ms: int = 1500
    """Duration of the controlled move to the safe pose on stop."""
    usage: tuple[Usage, ...] = ()
    run_time_h: float | None = None


@dataclass(frozen=True, slots=True)
class Show:
    rig: Rig
    score: Score


# -- rehearsal ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Press:
    """One thing that happens in a rehearsal, at a time from its start.

    `button`: pressed, and released `held_ms` later. `cue`: started by name, as over the link.
    `stop`, `limp`, `standby`: as over the link.
    """

    at_ms: int
    button: int | None = None
    held_ms: int = 100
    cue: str | None = None
    action: Literal["stop", "limp", "standby"] | None = None


Rehearsal: TypeAlias = tuple[Press, ...]
