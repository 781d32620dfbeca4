"""A show as text: the one way to write it in the plainest statements.

What a show was written with and does not keep (constants, poses taken by name, played cues,
durations that were worked out) comes out as what it came to. Loading the text gives the show
again, marks apart, to the last bit: numbers are written exactly.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal, localcontext
from fractions import Fraction
from typing import TypeVar

from firmware_gen.chips import CHIPS, FIRST, Chip
from seqlang.meaning.write_numbers import INDENT, number, percent, quantity
from seqlang.meaning.write_score import (
    colour_words,
    light_words,
    score_lines,
    units_of_parts,
    values_of_source,
)
from seqlang.text.units import SLIDING, UNITS, Measure
from sim.model import (
    NO_MARK,
    Adapter,
    Body,
    Box,
    Channel,
    Direct,
    Drive,
    Drum,
    Follow,
    FourBar,
    Gear,
    Grip,
    Input,
    Lamp,
    LevelBar,
    LeverPair,
    LightPlace,
    LineRadio,
    Load,
    Mount,
    Output,
    PackWatch,
    Plate,
    PointMass,
    Rack,
    Ram,
    Rig,
    Rod,
    Sensor,
    Servo,
    Shine,
    Show,
    Strip,
    Supply,
    Wearer,
    Wire,
)
from sim.rig.slide import of_part
from sim.rig.wire import called
from sim.rulebook import BAR_ENDS, SETTLE_MS

T = TypeVar("T")


def text_of(show: Show) -> str:
    """The show in the cue language."""
    return "\n".join(_show_lines(show)) + "\n"


def without_marks(value: T) -> T:
    """A domain value with every mark taken off, for comparing what two texts mean."""
    if isinstance(value, tuple):
        return tuple(without_marks(item) for item in value)  # type: ignore[return-value]
    if not is_dataclass(value) or isinstance(value, type):
        return value
    changed = {
        field.name: NO_MARK if field.name == "mark" else without_marks(getattr(value, field.name))
        for field in fields(value)
    }
    return replace(value, **changed)


# -- the rig -----------------------------------------------------------------------------------


def _show_lines(show: Show) -> Iterator[str]:
    score = show.score
    if score.title:
        yield f'show "{score.title}"'
    yield from _rig(show.rig)
    yield from score_lines(score, show.rig, units_of_parts(show.rig))


def _rig(rig: Rig) -> Iterator[str]:
    if rig.wearer != Wearer(mark=rig.wearer.mark):
        yield from _wearer(rig.wearer)
    for supply in rig.supplies:
        yield from _supply(supply)
    for board in rig.boards:
        leads = ", leads" if board.leads else ""
        yield f"board {board.name}: {board.chip}, address {board.address}{leads}"
        if board.supply is not None:
            yield f"{INDENT}feed {board.supply}{_wire(board.wire)}"
        if board.watch is not None:
            yield f"{INDENT}{watch_line(board.watch, CHIPS[board.chip])}"
        if isinstance(board.logic, Direct):
            yield f"{INDENT}logic direct"
        elif board.logic is not None:
            made = board.logic
            dropout = quantity(made.dropout_v, "V")
            yield f"{INDENT}logic {quantity(made.voltage_v, 'V')}, dropout {dropout}"
        if board.radio is not None:
            yield INDENT + radio_line(board.radio)
        if board.answers:
            yield f"{INDENT}answers"
    chips = {board.name: CHIPS[board.chip] for board in rig.boards}
    following = {one.output: one for one in rig.follows}
    servos = {one.name: one for one in rig.outputs if isinstance(one, Servo)}
    shining = {one.output: one for one in rig.shines}
    showing = {one.strip: one for one in rig.bars}
    for output in rig.outputs:
        yield from _output(output, chips.get(output.board, FIRST))
        if output.name in following:
            yield INDENT + follow_line(following[output.name], output, rig)
        if output.name in shining:
            shine = shining[output.name]
            yield INDENT + shine_line(shine, servos[shine.servo])
        if output.name in showing:
            yield INDENT + bar_line(showing[output.name])
    for one in rig.inputs:
        yield input_line(one, chips.get(one.board, FIRST))
    for channel in rig.channels:
        yield from channel_lines(channel, chips.get(channel.board, FIRST))
    for sensor in rig.sensors:
        yield from sensor_lines(sensor, chips.get(sensor.board, FIRST))
    yield from safe_pose_lines(rig.outputs)


def _wire(wire: Wire | None) -> str:
    if wire is None:
        return ""
    words = [f"{quantity(wire.length_m, 'm')} of {called(wire)}"]
    if wire.strands is not None:
        words.append("strands {} of {} AWG".format(*wire.strands))
    elif wire.solid:
        words.append("solid")
    if wire.bundled != 1:
        words.append(f"bundled {wire.bundled}")
    return ", " + ", ".join(words)


def _wearer(wearer: Wearer) -> Iterator[str]:
    yield "wearer"
    yield f"{INDENT}tilt {quantity(wearer.tilt_deg, 'deg')}"
    if wearer.region is not None:
        yield f"{INDENT}near {wearer.region}"
    yield f"{INDENT}air {quantity(wearer.temperature_c, 'C')}"
    yield f"{INDENT}margin {percent(wearer.margin)}"
    yield f"{INDENT}{wearer.gait}"
    if wearer.wind_m_s:
        yield f"{INDENT}wind {quantity(wearer.wind_m_s, 'm/s')}"
    yield f"{INDENT}viewed from {quantity(wearer.viewing_m, 'm')}"


def _supply(supply: Supply) -> Iterator[str]:
    yield f"supply {supply.name}"
    source = supply.source
    if isinstance(source, Adapter):
        yield (
            f"{INDENT}source adapter {quantity(source.voltage_v, 'V')}, "
            f"{quantity(source.current_a, 'A')}"
        )
    else:
        rows = f" in {source.parallel} rows" if source.parallel != 1 else ""
        inside = source.resistance_ohm
        resistance = "" if inside is None else f", {quantity(inside, 'ohm')}"
        yield (
            f"{INDENT}source {source.series} {source.chemistry} cells{rows}, "
            f"{quantity(source.capacity_ah, 'Ah')}{resistance}"
        )
    if supply.regulator is not None:
        made = supply.regulator
        yield (
            f"{INDENT}regulator {quantity(made.voltage_v, 'V')}, "
            f"{quantity(made.current_a, 'A')}, dropout {quantity(made.dropout_v, 'V')}, "
            f"efficiency {percent(made.efficiency)}"
        )
    if supply.fuse_a is not None:
        kind = "" if supply.fuse_kind == "blade" else f", {supply.fuse_kind}"
        yield f"{INDENT}fuse {quantity(supply.fuse_a, 'A')}{kind}"


def plug(kind: str, output: Output, chip: Chip) -> str:
    """The line of an output: its name, board and pin."""
    return f"{kind} {output.name}: {output.board} pin {chip.pin_name(output.pin)}"


def _output(output: Output, chip: Chip) -> Iterator[str]:
    if isinstance(output, Servo):
        yield plug("servo", output, chip)
        for line in _servo(output):
            yield INDENT + line
    elif isinstance(output, Lamp):
        yield plug("lamp", output, chip)
        yield (
            f"{INDENT}leds {output.count} of {quantity(output.forward_v, 'V')}, "
            f"{quantity(output.current_a, 'A')}"
        )
        yield f"{INDENT}colour {colour_words(output.colour)}"
        if output.trims:
            yield f"{INDENT}trim {percent(output.trims[0])}"
        yield from _rides(output.rides)
    elif isinstance(output, Strip):
        yield plug("strip", output, chip)
        yield (
            f"{INDENT}pixels {output.pixels}, order {output.order}, "
            f"each {quantity(output.channel_a, 'A')}, pitch {quantity(output.pitch_m, 'm')}"
        )
        if output.trims:
            yield f"{INDENT}balance {', '.join(map(percent, output.trims))}"
        if output.cap_a is not None:
            yield f"{INDENT}cap {quantity(output.cap_a, 'A')}"
        if output.feed_v is not None:
            yield f"{INDENT}feed {quantity(output.feed_v, 'V')}"
        if output.shifter:
            yield f"{INDENT}shifter"
        yield from _rides(output.rides)
    else:
        yield plug("switch", output, chip)
        yield f"{INDENT}active {'high' if output.active_high else 'low'}"
        yield f"{INDENT}draws {quantity(output.current_a, 'A')}"


def _rides(place: LightPlace | None) -> Iterator[str]:
    if place is not None:
        at = "" if place.at_m is None else f" at {quantity(place.at_m, 'm')}"
        yield f"{INDENT}on {place.on}{at}"


def _exactly(value: float, measure: Measure) -> str:
    """A value of the model in the measure's own unit, with so many digits that it reads back."""
    of_unit = Fraction(value) / (measure.scale * UNITS[measure.unit][0])
    with localcontext() as context:
        context.prec = 50
        digits = Decimal(of_unit.numerator) / Decimal(of_unit.denominator)
    return f"{digits:f} {measure.unit}"


def _servo(servo: Servo) -> Iterator[str]:
    part = of_part(servo).place
    motor = "deg" if not servo.linear else "mm"
    points = (
        f"{quantity(p.pulse_us, 'us')} at {quantity(p.angle_deg, part)}" for p in servo.points
    )
    yield f"pulse {', '.join(points)}"
    low, high = servo.pulse_range_us
    yield f"limits {quantity(low, 'us')} to {quantity(high, 'us')}"
    first, last = servo.travel_deg
    yield f"travel {quantity(first, part)} to {quantity(last, part)}"
    for rating in servo.ratings:
        yield (
            f"rating {quantity(rating.speed_deg_s, motor + '/s')}, "
            f"{_effort(rating.stall_nm, servo.linear)}, {quantity(rating.stall_a, 'A')} "
            f"at {quantity(rating.voltage_v, 'V')}"
            + ("" if rating.no_load_a is None else f", running {quantity(rating.no_load_a, 'A')}")
        )
    yield from _load(servo.load, servo.mount)
    yield from _drive(servo.drive, servo.drive_efficiency)
    rotor = quantity(servo.rotor_kg_m2, "kg.m2")
    yield f"rotor {_exactly(servo.rotor_kg_m2, SLIDING.rotor) if servo.linear else rotor}"
    if servo.backlash_deg:
        yield f"backlash {quantity(servo.backlash_deg, part)}"
    if servo.accel_deg_s2 is not None:
        yield f"acceleration {quantity(servo.accel_deg_s2, part + '/s2')}"
    yield f"idling {quantity(servo.idle_a, 'A')}"
    yield f"dead band {quantity(servo.dead_band_us, 'us')}"
    if servo.tip_m is not None:
        yield f"tip at {quantity(servo.tip_m, 'm')}"
    if servo.nip_m is not None:
        edge = servo.nip_edge_m
        by = "" if edge is None else f", {' by '.join(quantity(side, 'm') for side in edge)}"
        yield f"nip at {quantity(servo.nip_m, 'm')}{by}"
    if servo.grip is not None:
        yield _grip(servo.grip, part)


def _effort(torque_nm: float, straight: bool) -> str:
    return _exactly(torque_nm, SLIDING.effort) if straight else quantity(torque_nm, "N.m")


def _grip(grip: Grip, part: str) -> str:
    side = "past" if grip.side > 0 else "below"
    met = f"{side} {quantity(grip.contact_deg, part)}, for {quantity(grip.lasts_s, 's')}"
    if grip.force_n is None:
        return f"stalls {met}"
    at = "" if part == "mm" else f" at {quantity(grip.at_m, 'm')}"
    return f"grips {quantity(grip.force_n, 'N')}{at}, {met}"


def _load(load: Load, mount: Mount | None) -> Iterator[str]:
    for body in load.bodies:
        yield f"load {_body(body)}"
    sinks = ", sinks" if load.lowers else ""
    if load.spins:
        yield f"axis {load.axis}"
    elif load.slide is not None:
        if load.slide.mass_kg:
            yield f"load {quantity(load.slide.mass_kg, 'kg')}"
        yield f"slope {quantity(load.slide.slope_deg, 'deg')}"
        if mount is not None:
            yield f"on {_mount(mount)}"
    elif mount is None:
        yield f"level at {quantity(load.level_deg, 'deg')}{sinks}"
        yield f"axis {load.axis}"
    else:
        turned = f", turned {quantity(mount.turned_deg, 'deg')}" if mount.turned_deg else ""
        straight = quantity(mount.straight_deg, "deg")
        yield f"on {_mount(mount)}, straight at {straight}{turned}{sinks}"
    for spring in load.springs:
        rate = quantity(spring.rate_nm_per_rad, "N.m/rad")
        if load.slide is not None:
            rate = _exactly(spring.rate_nm_per_rad, SLIDING.rate)
        unit = "deg" if load.slide is None else "mm"
        yield f"spring {rate}, neutral at {quantity(spring.neutral_deg, unit)}"
    if load.friction_nm:
        yield f"friction {_effort(load.friction_nm, load.slide is not None)}"


def _mount(mount: Mount) -> str:
    return (
        f"{mount.on} at {quantity(mount.at_m, 'm')}, "
        f"ahead {quantity(mount.ahead_deg, 'deg')}, weighs {quantity(mount.mass_kg, 'kg')}"
    )


def _body(body: Body) -> str:
    mass = quantity(body.mass_kg, "kg")
    ahead = f", ahead {quantity(body.offset_deg, 'deg')}" if body.offset_deg else ""
    if isinstance(body, PointMass):
        return f"{mass} at {quantity(body.radius_m, 'm')}{ahead}"
    more = (f", from {quantity(body.start_m, 'm')}" if body.start_m else "") + ahead
    length = quantity(body.length_m, "m")
    if isinstance(body, Rod):
        return f"rod {mass}, {length}{more}"
    width = quantity(body.width_m, "m")
    if isinstance(body, Plate):
        return f"plate {mass}, {length} by {width}{more}{', flat' if body.flat else ''}"
    assert isinstance(body, Box)
    return f"box {mass}, {length} by {width} by {quantity(body.depth_m, 'm')}{more}"


def _drive(drive: Drive, efficiency: float) -> Iterator[str]:
    losses = "" if efficiency == 1.0 else f", efficiency {percent(efficiency)}"
    if isinstance(drive, Gear) and isinstance(drive.winds, Drum):
        yield f"drum {quantity(drive.winds.diameter_m, 'm')}{losses}"
    elif isinstance(drive, Gear) and isinstance(drive.winds, Rack):
        yield f"rack {quantity(drive.winds.turn_m, 'm')} per turn{losses}"
    elif isinstance(drive, Gear):
        if drive.ratio != 1.0 or losses:
            yield f"gear {number(drive.ratio)}{losses}"
    elif isinstance(drive, Ram):
        ground, arm = quantity(drive.ground_m, "m"), quantity(drive.arm_m, "m")
        zero = drive.zero_deg
        tilted = f", zero at {quantity(zero, 'deg')}" if zero else ""
        yield f"ram ground {ground}, arm {arm}{tilted}{losses}"
    elif isinstance(drive, LeverPair):
        at = drive.square_deg
        square = "" if at is None else f", square at {quantity(at, 'deg')}"
        horn, arm = quantity(drive.horn_m, "m"), quantity(drive.arm_m, "m")
        yield f"levers horn {horn}, arm {arm}{square}{losses}"
    else:
        assert isinstance(drive, FourBar)
        bars = zip(
            ("ground", "horn", "rod", "arm"),
            (drive.ground_m, drive.horn_m, drive.rod_m, drive.arm_m),
            strict=True,
        )
        zero = drive.arm_zero_deg
        yield (
            "four-bar "
            + ", ".join(f"{name} {quantity(length, 'm')}" for name, length in bars)
            + (f", zero at {quantity(zero, 'deg')}" if zero else "")
            + (", crossed" if drive.crossed else "")
            + losses
        )


def input_line(one: Input, chip: Chip) -> str:
    """The line of a wired button."""
    level = "low" if one.active_low else "high"
    settles = f", settles {one.settle_ms} ms" if one.settle_ms != SETTLE_MS else ""
    return f"input {one.button}: {one.board} pin {chip.pin_name(one.pin)}, active {level}{settles}"


def channel_lines(channel: Channel, chip: Chip) -> Iterator[str]:
    """A radio's channel and the bands of its pulse."""
    yield f"channel {channel.name}: {channel.board} pin {chip.pin_name(channel.pin)}"
    for band in channel.bands:
        low, high = quantity(band.low_us, "us"), quantity(band.high_us, "us")
        yield f"{INDENT}button {band.button} from {low} to {high}"


def radio_line(radio: LineRadio) -> str:
    """The radio of a board that leads."""
    late = f", late by {radio.late_ms} ms" if radio.late_ms else ""
    return f"radio {radio.baud} baud{late}"


def watch_line(watch: PackWatch, chip: Chip) -> str:
    """How a board watches its battery."""
    words = ["watch direct"]
    if watch.pin is not None and watch.divider is not None:
        upper, lower = (
            quantity(ohm, "ohm") for ohm in (watch.divider.upper_ohm, watch.divider.lower_ohm)
        )
        words = [f"watch pin {chip.pin_name(watch.pin)}", f"divider {upper} over {lower}"]
    if watch.warn_v is not None:
        words.append(f"warns below {quantity(watch.warn_v, 'V')}")
    if watch.stop_v is not None:
        words.append(f"stops below {quantity(watch.stop_v, 'V')}")
    if watch.reference_v is not None:
        words.append(f"reference {quantity(watch.reference_v, 'V')}")
    return ", ".join(words)


def sensor_lines(sensor: Sensor, chip: Chip) -> Iterator[str]:
    """A voltage at a pin, and how it is made quiet."""
    yield f"sensor {sensor.name}: {sensor.board} pin {chip.pin_name(sensor.pin)}"
    if sensor.quiet:
        yield f"{INDENT}quiet below {percent(sensor.quiet)}"
    if sensor.rises_s:
        yield f"{INDENT}rises in {quantity(sensor.rises_s, 's')}"
    if sensor.falls_s:
        yield f"{INDENT}falls in {quantity(sensor.falls_s, 's')}"


def bar_line(bar: LevelBar) -> str:
    """The lamp whose level a strip shows."""
    return f"shows {bar.lamp}" + (f" from {BAR_ENDS[bar.end]}" if bar.end else "")


def shine_line(shine: Shine, servo: Servo) -> str:
    """The move that a lamp follows."""
    part = of_part(servo)
    unit = part.speed if shine.by_speed else part.place
    places = f"{quantity(shine.low, unit)} to {quantity(shine.high, unit)}"
    levels = f"{quantity(shine.low_pct, '%')} to {quantity(shine.high_pct, '%')}"
    return f"follows {shine.servo} from {places}, {levels}"


def follow_line(follow: Follow, output: Output, rig: Rig) -> str:
    """What an output follows."""
    of_target = of_part(output).place if isinstance(output, Servo) else "%"
    values = values_of_source(follow, rig)
    targets = (
        f"{quantity(follow.target_from, of_target)} to {quantity(follow.target_to, of_target)}"
    )
    mixed = ", mixed with idle" if follow.mixed else ""
    return f"follows {follow.source} from {values}, {targets}, in {follow.way_ms} ms{mixed}"


def safe_pose_lines(outputs: tuple[Output, ...]) -> Iterator[str]:
    """The pose in which all outputs are safe."""
    if not outputs:
        return
    yield "safe pose safe_pose"
    for output in outputs:
        if isinstance(output, Servo):
            yield f"{INDENT}{output.name} {quantity(output.safe_deg, of_part(output).place)}"
        elif isinstance(output, Lamp):
            yield f"{INDENT}{output.name} {quantity(output.safe_pct, '%')}"
        elif isinstance(output, Strip):
            yield f"{INDENT}{output.name} {light_words(output.safe)}"
        else:
            yield f"{INDENT}{output.name} {'on' if output.safe_on else 'off'}"
