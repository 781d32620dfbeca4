"""Supplies: the voltage that really arrives when everything draws at once.

A source (battery with internal resistance, or a fixed adapter), maybe a regulator, then one
two-conductor feed per board. Servos draw by torque, lamps by the voltage over their resistor,
strips and switches a stated current. All of it is solved together.

Existence and error of the solution. Every current is a non-decreasing function of its board's
voltage (a servo draws what its torque needs, or its stall current, which grows with the voltage,
if that is less; a lamp (V - Vf) / R; the rest is constant). The voltages that arrive are
non-increasing in the currents. So the map F from board voltages to board voltages is antitone: it
has at most one fixed point, and from a start at or above it the iterates fall alternately above
and below it, V0 >= V2 >= ... >= V >= ... >= V3 >= V1. The bracket is the error, and the lower end
is what is reported. Where it does not close (a supply in collapse: its limit, or more power than
the battery can give), the same monotony makes bisection on the feed's voltage converge; it does
so to under a microvolt.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import prod
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array, Flags, Indices
from sim.model import Adapter, Board, Cells, Direct, Lamp, Rig, Servo, Strip, Supply, Switch
from sim.rig import battery, servo, wire
from sim.rig.fuse import STANDARDS
from sim.rig.holding_torque import worst_hold
from sim.rig.logic import chip_v, logic_of
from sim.rig.resistor import Series, series_resistor

PIXEL_IDLE_A: Final = 0.001
"""Current (A) of a dark addressable pixel (common practice, from memory: under about 1 mA)."""

PIXEL_HIGHEST_V: Final = 5.3
"""Highest supply (V) of a common 5 V addressable pixel (data sheets of that class, from memory)."""

PIXEL_V: Final = 5.0
"""What a converter makes for pixels on a higher feed (common practice)."""

CONVERTER_EFFICIENCY: Final = 0.85
"""Of a converter that makes a strip's own voltage (data sheets of the class, from memory)."""

PIXEL_HIGH: Final = 0.7
"""Share of its own supply that a pixel's data line must reach (data sheets of that class, from
memory)."""

UNKNOWN_FEED_V: Final = 5.0
"""Taken for a board without a stated supply and without servos (common practice)."""


@dataclass(frozen=True, slots=True)
class Demand:
    """What one board's outputs ask at the same instants. Arrays of one shape, or numbers.

    `torque_nm`: horn torque by servo name (one not named draws nothing: limp). `duty`: mean duty
    by lamp name. `fixed_a`: strips, switches and the board itself. `moving`: 1 for servos in
    motion, by name; one not named is at rest.
    """

    torque_nm: Mapping[str, ArrayLike] = field(default_factory=dict)
    duty: Mapping[str, ArrayLike] = field(default_factory=dict)
    fixed_a: ArrayLike = 0.0
    moving: Mapping[str, ArrayLike] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Solved:
    """A supply with everything drawing at once; arrays of the demands' shape.

    `feed_v` is the voltage where the wires begin, `board_v` and `board_a` by board name, `source_v`
    the battery's (or adapter's) voltage under load and `source_a` its current. `collapsed` where
    the regulator's or adapter's limit or the battery's power is exceeded.
    """

    feed_v: Array
    board_v: dict[str, Array]
    board_a: dict[str, Array]
    source_v: Array
    source_a: Array
    collapsed: NDArray[np.bool_]


def open_v(supply: Supply, charge: float = 1.0) -> float:
    """The feed's voltage (V) with nothing drawing, at a state of charge (0 to 1) of the battery."""
    source = supply.source
    volts = float(battery.rest_v(source, charge)) if isinstance(source, Cells) else source.voltage_v
    if supply.regulator is None:
        return volts
    return max(0.0, min(supply.regulator.voltage_v, volts - supply.regulator.dropout_v))


def wire_needs_a(supply: Supply, fuse_a: float) -> float:
    """What a wire to a board must carry for long (A), because a fuse of that rating lets it pass.

    A fuse before a regulator sees the source's current. A regulator that lowers the voltage keeps
    the power, so more flows behind it, V_source * I * efficiency / V_feed at the fullest source, up
    to what the regulator gives. Never less than behind the fuse itself: its lead is such a wire.
    """
    passes_a = fuse_a * STANDARDS[supply.fuse_kind].wire_share
    regulator = supply.regulator
    if regulator is None:
        return passes_a
    source_v = open_v(replace(supply, regulator=None))
    behind_a = passes_a * source_v * regulator.efficiency / regulator.voltage_v
    return max(passes_a, min(behind_a, regulator.current_a))


def of_board(rig: Rig, board_name: str) -> tuple[Board | None, Supply | None]:
    """The board of that name and its supply; None for what the rig does not state."""
    board = next((b for b in rig.boards if b.name == board_name), None)
    if board is None or board.supply is None:
        return board, None
    return board, next((s for s in rig.supplies if s.name == board.supply), None)


@dataclass(frozen=True, slots=True)
class LampFeed:
    """Where a lamp hangs: straight on its pin, or on the board's feed behind a transistor.

    `voltage_v`: the highest that it sees there.
    """

    from_pin: bool
    voltage_v: float


def lamp_feed(rig: Rig, lamp: Lamp) -> LampFeed:
    """On the pin where the pin can do it: its current, at a voltage over the LEDs' own."""
    board, _ = of_board(rig, lamp.board)
    feed_v = highest_v(rig, lamp.board)
    if board is None:
        return LampFeed(True, feed_v)
    pin_v = float(chip_v(logic_of(board, feed_v), feed_v))
    fits = lamp.count * lamp.current_a <= board.electrics.pin_a * (1.0 + 1e-9)
    if fits and pin_v > lamp.forward_v:
        return LampFeed(True, pin_v)
    return LampFeed(False, feed_v)


def lamp_series(rig: Rig, lamp: Lamp) -> Series | None:
    """The resistor of each of a lamp's LEDs, chosen at the highest voltage that it can see."""
    return series_resistor(lamp_feed(rig, lamp).voltage_v, lamp.forward_v, lamp.current_a)


@dataclass(frozen=True, slots=True)
class StripData:
    """Voltages (V) of a strip's data line: what its pin gives, and what the pixels need."""

    high_v: float
    needs_v: float


def pixels_v(rig: Rig, strip: Strip) -> float:
    """The highest voltage (V) at a strip: of its own converter, else of its board's feed."""
    return highest_v(rig, strip.board) if strip.feed_v is None else strip.feed_v


def feed_share(rig: Rig, strip: Strip) -> float:
    """How many times a strip's own current its board's feed bears: 1 without a converter.

    A converter takes V I / efficiency from the feed (power is kept), which is more than I where it
    has to raise the voltage; the feed is taken with an empty battery. One that lowers it may be a
    linear one, which takes I whatever the feed: it counts once at least.
    """
    _, supply = of_board(rig, strip.board)
    if strip.feed_v is None or supply is None:
        return 1.0
    lowest_v = open_v(supply, battery.EMPTY_CHARGE)
    return max(1.0, strip.feed_v / (CONVERTER_EFFICIENCY * lowest_v)) if lowest_v > 0.0 else 1.0


def strip_data(rig: Rig, strip: Strip) -> StripData:
    """The data line of a strip; one whose feed is too high is taken to get a 5 V converter."""
    feed_v, own_v = highest_v(rig, strip.board), pixels_v(rig, strip)
    own_v = own_v if own_v <= PIXEL_HIGHEST_V else PIXEL_V
    board, _ = of_board(rig, strip.board)
    high_v = feed_v if board is None else at_chip_v(rig, board, feed_v)
    return StripData(high_v, PIXEL_HIGH * own_v)


def at_chip_v(rig: Rig, board: Board, feed_v: float) -> float:
    """Voltage (V) at the board's chip while its feed is at `feed_v`."""
    return float(chip_v(logic_of(board, highest_v(rig, board.name)), feed_v))


def highest_v(rig: Rig, board_name: str) -> float:
    """The highest voltage (V) at a board: full battery, nothing drawing.

    Without a stated supply: the lowest rated voltage of its servos, else 5 V.
    """
    _, supply = of_board(rig, board_name)
    if supply is not None:
        return open_v(supply)
    rated = [o.ratings[0].voltage_v for o in rig.outputs if isinstance(o, Servo) and o.ratings]
    return min(rated, default=UNKNOWN_FEED_V)


@dataclass(frozen=True, slots=True)
class _Ready:
    """All boards of a supply with their demands bound to their outputs.

    This is asked again at every iteration, so everything lies in arrays: a row for each board, lamp
    or servo, a column for each instant. What does not hang on the voltage is worked out before.
    """

    loop_ohm: Array
    fixed_a: Array
    chip_v: Array
    """What each board's own regulator makes; endless without one."""
    dropout_v: Array
    servos: servo.Stack
    torque_nm: Array
    moving: Array
    """1 where in motion."""
    servo_board: Indices
    """The row of each servo's board, rising."""
    lamp_board: Indices
    from_pin: Flags
    forward_v: Array
    siemens: Array
    """Conductance of lamps times duty."""

    def current_a(self, volts: Array) -> Array:
        total = self.fixed_a + np.zeros(volts.shape)
        if self.servo_board.size:
            drawn = self.servos.current_a(volts[self.servo_board], self.torque_nm, self.moving)
            _add_rows(total, self.servo_board, drawn)
        if self.lamp_board.size:
            pins = np.clip(volts - self.dropout_v, 0.0, self.chip_v)
            at = np.where(self.from_pin, pins[self.lamp_board], volts[self.lamp_board])
            lit = np.maximum(at - self.forward_v, 0.0) * self.siemens
            _add_rows(total, self.lamp_board, lit)
        return total

    def at(self, keep: Flags) -> _Ready:
        return replace(
            self,
            fixed_a=self.fixed_a[:, keep],
            torque_nm=self.torque_nm[:, keep],
            moving=self.moving[:, keep],
            siemens=self.siemens[:, keep],
        )


def _add_rows(total: Array, board: Indices, rows: Array) -> None:
    """Add to each board's row those of its parts, which stand together."""
    first = np.flatnonzero(np.diff(board, prepend=-1))
    total[board[first]] += np.add.reduceat(rows, first, axis=0)


def _ready(
    rig: Rig, boards: list[Board], demands: Mapping[str, Demand], shape: tuple[int, ...]
) -> _Ready:
    def full(values: ArrayLike) -> Array:
        return np.broadcast_to(np.asarray(values, dtype=np.float64), shape).ravel()

    def rows(values: list[Array]) -> Array:
        return np.array(values, dtype=np.float64).reshape(len(values), prod(shape))

    def column(values: list[float]) -> Array:
        return np.array(values, dtype=np.float64)[:, None]

    servos: list[tuple[int, Servo, Array, Array]] = []
    lamps: list[tuple[int, bool, float, Array]] = []
    for row, board in enumerate(boards):
        demand = demands.get(board.name, Demand())
        named = {output.name: output for output in rig.outputs if output.board == board.name}
        for name, torque in demand.torque_nm.items():
            one = named[name]
            if isinstance(one, Servo):
                servos.append((row, one, full(torque), full(demand.moving.get(name, 0.0))))
        for name, duty in demand.duty.items():
            lamp = named[name]
            series = lamp_series(rig, lamp) if isinstance(lamp, Lamp) else None
            if isinstance(lamp, Lamp) and series is not None:
                siemens = lamp.count / series.preferred_ohm
                from_pin = lamp_feed(rig, lamp).from_pin
                lamps.append((row, from_pin, lamp.forward_v, siemens * full(duty)))
    logics = [logic_of(board, highest_v(rig, board.name)) for board in boards]
    own = [None if isinstance(logic, Direct) else logic for logic in logics]
    return _Ready(
        column([wire.loop_ohm(board.wire, rig.wearer.temperature_c) for board in boards]),
        rows([full(demands.get(board.name, Demand()).fixed_a) for board in boards]),
        column([np.inf if logic is None else logic.voltage_v for logic in own]),
        column([0.0 if logic is None else logic.dropout_v for logic in own]),
        servo.stacked([one for _, one, _, _ in servos]),
        rows([torque for _, _, torque, _ in servos]),
        rows([moving for _, _, _, moving in servos]),
        np.array([row for row, *_ in servos], dtype=np.intp),
        np.array([row for row, *_ in lamps], dtype=np.intp),
        np.array([pin for _, pin, _, _ in lamps], dtype=np.bool_)[:, None],
        column([forward_v for _, _, forward_v, _ in lamps]),
        rows([siemens for _, _, _, siemens in lamps]),
    )


def solve(
    rig: Rig,
    supply: Supply,
    demands: Mapping[str, Demand],
    charge: float = battery.EMPTY_CHARGE,
) -> Solved:
    """Voltages and currents of a supply whose boards ask `demands` (by board name).

    `charge`: what is left in the battery, 0 to 1; by default the end of the usable part, the worst
    instant of a show. See the module's head for method and error.
    """
    boards = [b for b in rig.boards if b.supply == supply.name]
    shapes = [
        np.shape(values)
        for demand in demands.values()
        for values in (
            *(*demand.torque_nm.values(), *demand.duty.values(), *demand.moving.values()),
            demand.fixed_a,
        )
    ]
    shape = np.broadcast_shapes((1,), *shapes)
    ready = _ready(rig, boards, demands, shape)
    top = np.full(prod(shape), open_v(supply, charge))
    feed, open_ends = _alternate(supply, charge, ready, top)
    if open_ends.any():
        feed[open_ends] = _bisect(supply, charge, ready.at(open_ends), top[open_ends])
    volts = _board_v(ready, feed)
    amps = ready.current_a(volts)
    unlimited_v, source_v, source_a = _source(supply, charge, feed, amps.sum(axis=0), limited=False)
    return Solved(
        feed.reshape(shape),
        {board.name: row.reshape(shape) for board, row in zip(boards, volts, strict=True)},
        {board.name: row.reshape(shape) for board, row in zip(boards, amps, strict=True)},
        source_v.reshape(shape),
        source_a.reshape(shape),
        (unlimited_v > feed + 1e-3).reshape(shape),
    )


def _board_v(ready: _Ready, feed: Array) -> Array:
    """The boards' voltages behind their wires, V = feed - R I(V), by the same alternating bracket.

    A row for each board. Where the bracket closes slowly or not at all, it is halved instead.
    """
    feed = np.broadcast_to(feed, (len(ready.loop_ohm), feed.size))
    if not ready.loop_ohm.any():
        return feed
    high = feed
    low = np.maximum(feed - ready.loop_ohm * ready.current_a(high), 0.0)
    width = _width(low, high)
    while width >= 1e-9:
        high = np.minimum(high, feed - ready.loop_ohm * ready.current_a(low))
        low = np.maximum(low, feed - ready.loop_ohm * ready.current_a(high))
        before, width = width, _width(low, high)
        if width > before * _SLOW:
            break
    for _ in range(50):
        if _width(low, high) < 1e-9:
            break
        middle = (low + high) / 2.0
        above = feed - ready.loop_ohm * ready.current_a(middle) >= middle
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return low


_SLOW: Final = 0.25
"""Two more ends of the bracket that leave more of it than this: halving it twice does better."""


def _width(low: Array, high: Array) -> float:
    return float(np.max(high - low, initial=0.0))


def _drawn(ready: _Ready, feed: Array) -> Array:
    return np.asarray(ready.current_a(_board_v(ready, feed)).sum(axis=0))


def _alternate(
    supply: Supply, charge: float, ready: _Ready, top: Array
) -> tuple[Array, NDArray[np.bool_]]:
    high = top
    low = _source(supply, charge, high, _drawn(ready, high))[0]
    width = _width(low, high)
    while width >= 1e-7:
        high = np.minimum(high, _source(supply, charge, low, _drawn(ready, low))[0])
        low = np.maximum(low, _source(supply, charge, high, _drawn(ready, high))[0])
        before, width = width, _width(low, high)
        if width > before * _SLOW:
            break
    return np.array(low), high - low > 1e-7


def _bisect(supply: Supply, charge: float, ready: _Ready, top: Array) -> Array:
    low, high = np.zeros(top.shape), top
    for _ in range(45):
        if _width(low, high) < 1e-9:
            break
        middle = (low + high) / 2.0
        above = _source(supply, charge, middle, _drawn(ready, middle))[0] >= middle
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return low


def _source(
    supply: Supply, charge: float, feed_v: Array, feed_a: Array, limited: bool = True
) -> tuple[Array, Array, Array]:
    """What the source can make of the feed at `feed_a`, and its own voltage and current.

    Battery: V = V0 - R I. Regulator: it takes the power feed V I / efficiency from the battery, so
    its own voltage is the upper root of V**2 - V0 V + R P = 0 (no root: collapse, 0 V); without
    headroom the feed is that less the dropout. Beyond a stated current limit: 0 V, which makes the
    solution the voltage at which the limit is just met.
    """
    source, regulator = supply.source, supply.regulator
    if isinstance(source, Adapter):
        rest, ohm = source.voltage_v, 0.0
    else:
        rest, ohm = float(battery.rest_v(source, charge)), battery.pack_ohm(source)
    if regulator is None:
        over = limited & (feed_a > _limit_a(source))
        volts = np.where(over, 0.0, np.maximum(rest - ohm * feed_a, 0.0))
        return volts, np.maximum(rest - ohm * feed_a, 0.0), feed_a
    power = feed_v * feed_a / regulator.efficiency
    root = rest**2 - 4.0 * ohm * power
    source_v = np.where(root >= 0.0, (rest + np.sqrt(np.maximum(root, 0.0))) / 2.0, 0.0)
    source_a = np.where(source_v > 0.0, power / np.maximum(source_v, 1e-9), 0.0)
    over = limited & ((feed_a > regulator.current_a) | (source_a > _limit_a(source)))
    volts = np.clip(source_v - regulator.dropout_v, 0.0, regulator.voltage_v)
    return np.where(over, 0.0, volts), source_v, source_a


def feed_v_at(supply: Supply, feed_a: ArrayLike, charge: float = battery.EMPTY_CHARGE) -> Array:
    """The feed's voltage (V) while it gives `feed_a` (A, any shape); 0 beyond a stated limit.

    `_source` takes the power from the feed's own voltage, so its answer is found by halving: it
    falls as the voltage that is put in rises.
    """
    amps = np.asarray(feed_a, dtype=np.float64)
    low, high = np.zeros(amps.shape), np.full(amps.shape, open_v(supply, charge))
    for _ in range(45):
        middle = (low + high) / 2.0
        above = _source(supply, charge, middle, amps)[0] >= middle
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return low


def _limit_a(source: Cells | Adapter) -> float:
    return source.current_a if isinstance(source, Adapter) else float("inf")


@dataclass(frozen=True, slots=True, eq=False)
class FallingVoltage:
    """Voltage (V) at a servo's board over its own horn torque (N.m, rising), straight between.

    The other parts are held as they are, so this is how the servo's own current takes its voltage.
    """

    torque_nm: Array
    voltage_v: Array

    def at(self, torque_nm: ArrayLike) -> Array:
        torque = np.abs(np.asarray(torque_nm, dtype=np.float64))
        return np.asarray(np.interp(torque, self.torque_nm, self.voltage_v))


def own_torques_nm(one: Servo, supply: Supply) -> Array:
    """Horn torques (N.m) at which the voltage of a servo is found: up to more than its stall."""
    stall = float(np.max(servo.line(one, open_v(supply)).stall_nm))
    return np.linspace(0.0, 1.2 * stall, 49)


@lru_cache(maxsize=256)
def _moving_table(rig: Rig, name: str) -> FallingVoltage:
    """Horn torque of one servo and the voltage at its board, while all the others run light."""
    one = next(o for o in rig.outputs if isinstance(o, Servo) and o.name == name)
    _, supply = of_board(rig, one.board)
    if supply is None:
        return FallingVoltage(np.array([0.0]), np.array([highest_v(rig, one.board)]))
    torques = own_torques_nm(one, supply)
    demands = standing(rig, supply)
    own = demands[one.board]
    demands[one.board] = Demand({**own.torque_nm, name: torques}, own.duty, own.fixed_a, own.moving)
    return FallingVoltage(torques, solve(rig, supply, demands).board_v[one.board])


def moving_v(rig: Rig, one: Servo, torque_nm: ArrayLike) -> Array:
    """Voltage (V) at a servo's board while it gives `torque_nm` and everything else stands by.

    For a move on its own: the other servos of the supply turn with no more than the torque of their
    hardest pose, all light is full and all switches are on, the battery is at the end of its usable
    part. A show that moves several hard at once goes lower: `sim.strain.sag` finds that.
    """
    return _moving_table(rig, one.name).at(torque_nm)


def standing(rig: Rig, supply: Supply) -> dict[str, Demand]:
    """Demands of a supply's boards while all moves gently: torques of the hardest poses, no-load
    currents, all lit and on."""
    demands: dict[str, Demand] = {}
    for board in (b for b in rig.boards if b.supply == supply.name):
        outputs = [o for o in rig.outputs if o.board == board.name]
        torque = {
            o.name: worst_hold(o, rig.wearer).torque_nm for o in outputs if isinstance(o, Servo)
        }
        duty = {o.name: 1.0 for o in outputs if isinstance(o, Lamp)}
        fixed = board.electrics.idle_a + sum(
            strip_full_a(o) * feed_share(rig, o) for o in outputs if isinstance(o, Strip)
        )
        fixed += sum(o.current_a for o in outputs if isinstance(o, Switch))
        demands[board.name] = Demand(torque, duty, fixed, dict.fromkeys(torque, 1.0))
    return demands


def strip_full_a(strip: Strip) -> float:
    """The most a strip draws (A): three colours of every pixel fully on, or its cap, plus idle.

    Its trims do not count: a noisy data line turns pixels on past what its board trims.
    """
    full = 3.0 * strip.channel_a * strip.pixels
    return min(full, strip.cap_a if strip.cap_a is not None else full) + strip.pixels * PIXEL_IDLE_A
