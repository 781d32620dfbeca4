"""Servos: what they are rated for, their calibration and travel, how they carry and grip."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, cast

from lark import Token

from seqlang.meaning.carried import drive, efficiency, load
from seqlang.meaning.entry import Sheet, changed_round, item_of, options, single
from seqlang.meaning.mounted import mount
from seqlang.meaning.notes import Fault
from seqlang.meaning.plugs import Plug, output_mark
from seqlang.meaning.pose import angle
from seqlang.meaning.values import DAY_MS, Reading
from seqlang.text.syntax import Line
from seqlang.text.units import (
    AMPERES,
    DURATION,
    FORCE,
    METRES,
    NEWTONS,
    PULSE,
    SECONDS,
    SLIDING,
    TURNING,
    VOLTS,
    WAY_SPEED,
    PartMeasures,
)
from sim.model import (
    CalibrationPoint,
    Grip,
    Rating,
    Servo,
)
from sim.rig.servo import TIME_CONSTANT_S, rotor_kg_m2
from sim.rig.slide import PINION_M
from sim.rulebook import (
    PULSE_RANGE_US,
)

if TYPE_CHECKING:
    from collections.abc import Sequence


LONGEST_TIME_CONSTANT_S = 1.0
"""No hobby servo takes as long to come to speed."""

MOST_A = 1000.0
"""No servo of a worn rig draws more; a slip of the unit is told at once."""

MOST_TRIM_US = 200.0
"""More than a tooth of a horn's spline (own limit): what is off by more is put on anew."""

MIDDLE_PULSE_US = 1500.0
"""The middle of a servo's way (common practice, no source). Mirrored about it, the board's range of
pulses stays what it is."""


def servo(reading: Reading, entry: Line, spot: Plug) -> Servo:
    sheet = Sheet(reading, entry, several=("rating", "load", "spring"))
    linear = _is_linear(reading, sheet)
    if not _fits_together(reading, sheet, spot.name, linear):
        raise Fault
    motor = SLIDING if linear else TURNING
    points = reading.tried(_points, reading, sheet, spot.name, linear)
    travel = reading.tried(_travel, reading, sheet, spot.name)
    if spot.name in reading.spinning and points and travel:
        points = reading.tried(_with_standstill, reading, sheet, points, travel)
    ratings = reading.tried(_ratings, reading, sheet, motor)
    carried = reading.tried(load, reading, sheet, spot.name)
    stands = reading.tried(mount, reading, sheet)
    driven = reading.tried(drive, reading, sheet)
    limits = reading.tried(_limits, reading, sheet)
    stated = _servo_figures(reading, sheet, spot.name)
    rotor = _rotor(reading, sheet, ratings or (), motor)
    grip = reading.tried(_grip, reading, sheet, travel, spot.name)
    if not (points and travel and ratings and carried and driven and limits):
        raise Fault
    if any(sheet.get(kind) and made is None for kind, made in (("mount", stands), ("grips", grip))):
        raise Fault
    return replace(
        stated,
        name=spot.name,
        board=spot.board,
        pin=spot.pin,
        points=points,
        travel_deg=travel,
        ratings=ratings,
        load=carried,
        drive=driven,
        mount=stands,
        safe_deg=spot.safe.angle_deg if spot.safe else nearest_to_zero(travel),
        pulse_range_us=limits,
        rotor_kg_m2=rotor,
        drive_efficiency=efficiency(reading, sheet),
        nip_edge_m=_edge(reading, sheet),
        linear=linear,
        grip=grip,
        mark=output_mark(reading, sheet, spot, *_servo_parts(sheet)),
    )


def _servo_figures(reading: Reading, sheet: Sheet, name: str) -> Servo:
    """A servo with what is stated in one figure each; all else of it is as usual."""
    motion, usual = reading.motion(name), Servo("", "", 0, (), (0, 0), ())
    idle_a = single(reading, sheet, "idling", AMPERES, low=0)
    dead_band_us = single(reading, sheet, "dead_band", PULSE, low=0)
    return replace(
        usual,
        accel_deg_s2=single(reading, sheet, "acceleration", motion.acceleration, above=0),
        idle_a=usual.idle_a if idle_a is None else idle_a,
        dead_band_us=usual.dead_band_us if dead_band_us is None else dead_band_us,
        tip_m=single(reading, sheet, "tip", METRES, above=0),
        backlash_deg=single(reading, sheet, "backlash", motion.place, low=0) or 0.0,
        nip_m=single(reading, sheet, "nip", METRES, above=0),
    )


def _servo_parts(sheet: Sheet) -> list[tuple[str, object]]:
    pulse, travel, limits = sheet.get("pulse"), sheet.get("travel"), sheet.get("limits")
    parts: list[tuple[str, object]] = [
        ("pulse", pulse),
        ("trim", item_of(sheet.get("trim"))),
        ("limits", limits),
        ("pulse low", item_of(limits)),
        ("pulse high", item_of(limits, 2)),
        ("travel", travel),
        ("travel low", item_of(travel)),
        ("travel high", item_of(travel, 2)),
        ("acceleration", item_of(sheet.get("acceleration"))),
        ("idling", item_of(sheet.get("idling"))),
        ("dead band", item_of(sheet.get("dead_band"))),
        ("tip", item_of(sheet.get("tip"))),
        ("rotor", item_of(sheet.get("rotor"))),
        ("nip", item_of(sheet.get("nip"))),
        ("backlash", item_of(sheet.get("backlash"))),
    ]
    for number, point in enumerate(pulse.lines() if pulse else (), 1):
        parts += [(f"pulse {number}", point.items[0]), (f"angle {number}", point.items[1])]
    return parts


def _rotor(
    reading: Reading, sheet: Sheet, ratings: tuple[Rating, ...], motor: PartMeasures
) -> float:
    """Inertia at the horn: as stated, or by a stated or the usual time constant."""
    line = sheet.get("rotor")
    if line is not None and line.kind == "rotor":
        return single(reading, sheet, "rotor", motor.rotor, low=0) or 0.0
    if not ratings:
        return 0.0
    seconds = None
    if line is not None:
        longest = 1000.0 * LONGEST_TIME_CONSTANT_S
        what = "a servo's time constant"
        ms = reading.tried(reading.within, line.amount(1), DURATION, what, 0, longest)
        seconds = None if ms is None else ms / 1000.0
    return rotor_kg_m2(ratings, TIME_CONSTANT_S if seconds is None else seconds)


def _edge(reading: Reading, sheet: Sheet) -> tuple[float, float] | None:
    """Length and width of the edge that presses in the nip, if they are stated."""
    line = sheet.get("nip")
    if line is None or len(line.items) < 4:
        return None
    length, width = (
        reading.tried(reading.within, line.amount(i), METRES, "an edge", above=0) for i in (2, 3)
    )
    return None if length is None or width is None else (length, width)


def _grip(
    reading: Reading, sheet: Sheet, travel: tuple[float, float] | None, name: str
) -> Grip | None:
    """What the part does to what it closes on, if it does. Raises Fault."""
    line = sheet.get("grips")
    if line is None:
        return None
    *pressing, side, contact, time = line.items[1:]
    lasts_s = reading.tried(
        reading.within, cast("Token", time), SECONDS, "a grip", high=DAY_MS / 1000, above=0
    )
    contact_deg = reading.tried(angle, reading, cast("Token", contact), name)
    force_n = at_m = None
    if pressing:
        force_n = reading.within(line.amount(1), NEWTONS, "the force of a grip", above=0)
        at_m = _grip_m(reading, line, pressing, name)
    if lasts_s is None or contact_deg is None:
        raise Fault
    if travel is not None and not travel[0] <= contact_deg <= travel[1]:
        reading.error(
            "number-out-of-range",
            f"`{reading.text(contact)}` is outside the part's travel: nothing is gripped there",
            contact,
            help="write the angle at which the part meets what it holds",
        )
        raise Fault
    return Grip(
        contact_deg,
        1 if cast("Token", side).type == "PAST" else -1,
        lasts_s,
        force_n,
        at_m or 0.0,
        mark=reading.origins.mark(
            *(line, line),
            ("force", pressing[0] if pressing else None),
            ("distance", pressing[1] if len(pressing) > 1 else None),
            ("contact", contact),
            ("time", time),
        ),
    )


def _grip_m(reading: Reading, line: Line, pressing: Sequence[object], name: str) -> float:
    """How far from the hinge a grip presses; along a line it is the same everywhere."""
    straight, stated = name in reading.straight, len(pressing) > 1
    if straight == stated:
        reading.error(
            "wrong-kind",
            f"`{name}` moves along a line, and presses the same everywhere"
            if straight
            else f"`{name}` turns about a hinge: how far from it the grip presses is missing",
            line,
            help="such as `grips 8 N, past 12 mm, for 2 s`"
            if straight
            else "such as `grips 8 N at 60 mm, past 40 deg, for 2 s`",
        )
        raise Fault
    if straight:
        return PINION_M
    return reading.within(line.amount(2), METRES, "a distance", above=0)


def _is_linear(reading: Reading, sheet: Sheet) -> bool:
    """Whether the ratings are those of a rod: speed along a line, and force."""
    return any(
        reading.is_of(line.amount(number), dimension)
        for line in sheet.all("rating")
        for number, dimension in ((1, WAY_SPEED), (2, FORCE))
    )


def _fits_together(reading: Reading, sheet: Sheet, name: str, linear: bool) -> bool:
    """Whether the lines belong to one kind of part, and the servo can drive it; notes what not."""
    drive, rating = sheet.get("gear"), sheet.get("rating")
    if name in reading.straight and not linear and rating is not None and drive is None:
        reading.error(
            "wrong-kind",
            f"the servo of `{name}` turns, and the part moves along a line",
            rating,
            help="say what makes a line of its turning, such as `drum 30 mm` or `rack 60 mm "
            "per turn`; or state the rating of a rod, such as `rating 20 mm/s, 40 N, 800 mA "
            "at 6 V`",
        )
        return False
    alien, why = _alien_lines(reading, sheet, name, linear)
    for line in alien:
        what = reading.text(line.items[0])
        reading.error("wrong-kind", f"`{name}` {why}", line, label=f"`{what}` does not apply to it")
    helped = _other_rating(reading, sheet, name, linear)
    if rating is not None and sheet.get("travel") is not None and helped is not None:
        what = "pushes a rod, and the part turns" if linear else "turns, but it is to push a rod"
        reading.error("wrong-kind", f"the servo of `{name}` {what}", rating, help=helped)
        return False
    return not alien


def _alien_lines(reading: Reading, sheet: Sheet, name: str, linear: bool) -> tuple[list[Line], str]:
    """The lines that such a part cannot have, and what it is instead."""
    drive = sheet.get("gear")
    kinds: tuple[str, ...]
    fitting: tuple[str, ...]
    if name in reading.spinning:
        kinds = ("mount", "level", "slope", "spring", "backlash", "acceleration", "nip", "grips")
        fitting = ("gear",)
        why = "turns round and round: it has a speed, and no angle or end"
    elif name in reading.straight:
        kinds = ("level", "axis", "tip", "nip")
        fitting = ("gear",) if linear else ("drum", "rack")
        why = "moves along a line and has no hinge"
    else:
        kinds = ("slope",)
        fitting = () if drive is None or drive.kind in ("drum", "rack") else (drive.kind,)
        why = "turns about a hinge: `level at` says how it lies"
    found = [line for kind in kinds for line in sheet.all(kind)]
    return found + ([drive] if drive is not None and drive.kind not in fitting else []), why


def _other_rating(reading: Reading, sheet: Sheet, name: str, linear: bool) -> str | None:
    """What to write where the rating is not that of a servo which can drive the part."""
    drive = sheet.get("gear")
    ram = drive is not None and drive.kind == "ram"
    if name in reading.spinning:
        return (
            "state its turns, such as `rating 110 rpm, 4 kgf.cm, 1.8 A at 6 V`" if linear else None
        )
    if linear and name not in reading.straight and not ram:
        return "state where its pins are, such as `ram ground 80 mm, arm 25 mm, zero at 60 deg`"
    if not linear and ram:
        return "state the rating of a rod, such as `rating 20 mm/s, 40 N, 800 mA at 6 V`"
    return None


def _points(
    reading: Reading, sheet: Sheet, name: str, linear: bool
) -> tuple[CalibrationPoint, ...]:
    """The calibration in ascending angle."""
    line = sheet.need("pulse", "pulse 1000 us at 0 deg, 2000 us at 90 deg")
    trim = sheet.get("trim")
    trim_us = (
        0.0
        if trim is None
        else reading.tried(
            reading.within, trim.amount(1), PULSE, "a trim", -MOST_TRIM_US, MOST_TRIM_US
        )
    )
    made = [
        reading.tried(_point, reading, point, name, trim_us or 0.0, linear)
        for point in line.lines()
    ]
    if None in made:
        raise Fault
    return tuple(sorted((p for p in made if p), key=lambda point: point.angle_deg))


def _with_standstill(
    reading: Reading,
    sheet: Sheet,
    points: tuple[CalibrationPoint, ...],
    travel: tuple[float, float],
) -> tuple[CalibrationPoint, ...]:
    """The points of a part that turns round and round, which can stand still. Raises Fault."""
    if all(point.angle_deg != 0.0 for point in points):
        line, what = sheet.need("pulse", ""), "the pulse at which it stands still is missing"
        helped = "measure it, and add it to the points, such as `1500 us at 0 rpm`"
    elif not travel[0] <= 0.0 <= travel[1]:
        line, what = sheet.need("travel", ""), "it could never stand still"
        helped = "let its travel reach to 0 rpm, such as `travel 0 rpm to 60 rpm`"
    else:
        return points
    name = sheet.entry.items[1]
    reading.error("no-standstill", f"`{name}` turns round and round, and {what}", line, help=helped)
    raise Fault


def _point(
    reading: Reading, point: Line, name: str, trim_us: float, linear: bool
) -> CalibrationPoint:
    """A point with its trim. On the second of two sides a servo is built in mirrored and turns the
    other way: its pulses are those of the first, mirrored about the middle; a rod is the same."""
    pulse = reading.tried(reading.within, point.amount(0), PULSE, "a pulse", *PULSE_RANGE_US)
    at = reading.tried(angle, reading, point.amount(1), name)
    if pulse is None or at is None:
        raise Fault
    if len(point.items) > 2 and not linear:
        pulse = 2 * MIDDLE_PULSE_US - pulse
    low, high = PULSE_RANGE_US
    if not low <= pulse + trim_us <= high:
        reading.error(
            "number-out-of-range",
            f"with its trim this pulse of `{name}` is {pulse + trim_us:g} us, and a pulse is "
            f"{low} to {high} us",
            point.items[0],
            help="trim by a few us only, and turn the horn on its spline for more",
            asked=pulse + trim_us,
            limit=high if pulse + trim_us > high else low,
            unit="us",
        )
        raise Fault
    return CalibrationPoint(at, pulse + trim_us)


def _travel(reading: Reading, sheet: Sheet, name: str) -> tuple[float, float]:
    line = sheet.need("travel", "travel 0 deg to 60 deg")
    low = reading.tried(angle, reading, line.amount(1), name)
    high = reading.tried(angle, reading, line.amount(2), name)
    if low is None or high is None:
        raise Fault
    if low >= high:
        first, second = (reading.text(item) for item in line.items[1:3])
        reading.error(
            "travel-order",
            f"the travel runs from `{first}` to `{second}`, but the second must be larger",
            line,
            help="a part that moves needs two different ends"
            if low == high
            else f"write `travel {second} to {first}`",
            fix=changed_round(reading, line) if low > high else None,
        )
        raise Fault
    return low, high


def _limits(reading: Reading, sheet: Sheet) -> tuple[float, float]:
    line = sheet.get("limits")
    if line is None:
        return Servo("", "", 0, (), (0, 0), ()).pulse_range_us
    low, high = (
        reading.within(line.amount(i), PULSE, "a pulse limit", *PULSE_RANGE_US) for i in (1, 2)
    )
    if low >= high:
        reading.error(
            "travel-order",
            "the shorter pulse must come first",
            line,
            fix=changed_round(reading, line) if low > high else None,
        )
        raise Fault
    return low, high


def _ratings(reading: Reading, sheet: Sheet, motor: PartMeasures) -> tuple[Rating, ...]:
    """One or two ratings in ascending voltage."""
    sheet.need("rating", "rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V")
    lines = sheet.all("rating")
    if len(lines) > 2:
        reading.error(
            "duplicate-line",
            f"`{sheet.entry.items[1]}` has {len(lines)} ratings, but a servo takes one or two",
            lines[2],
            related=((lines[0], "first rating"), (lines[1], "second rating")),
            help="keep the two nearest to the voltage it runs at",
        )
        raise Fault
    made = [reading.tried(_rating, reading, line, motor) for line in lines]
    if None in made:
        raise Fault
    ordered = sorted((r for r in made if r), key=lambda rating: rating.voltage_v)
    if len(ordered) == 2 and ordered[0].voltage_v == ordered[1].voltage_v:
        reading.error(
            "duplicate-line",
            "two ratings at one voltage",
            lines[1],
            related=((lines[0], "first rating"),),
            help="keep one of the two lines",
            fix=reading.said_again(*lines),
        )
        raise Fault
    return tuple(ordered)


def _rating(reading: Reading, line: Line, motor: PartMeasures) -> Rating:
    speed, torque, current, voltage = line.items[1:5]
    running = cast("Line | None", options(reading, line).get("running"))
    return Rating(
        speed_deg_s=reading.within(cast("Token", speed), motor.speed, "the speed", above=0),
        stall_nm=reading.within(cast("Token", torque), motor.effort, "what it stalls at", above=0),
        stall_a=reading.within(
            cast("Token", current), AMPERES, "the stall current", high=MOST_A, above=0
        ),
        voltage_v=reading.within(cast("Token", voltage), VOLTS, "the voltage", above=0),
        no_load_a=reading.within(running.amount(1), AMPERES, "the running current", 0, MOST_A)
        if running
        else None,
        mark=reading.origins.mark(
            *(line, line),
            ("speed", speed),
            ("torque", torque),
            ("current", current),
            ("voltage", voltage),
            ("running", running and running.items[1]),
        ),
    )


def nearest_to_zero(travel: tuple[float, float]) -> float:
    """Where a part rests that the safe pose does not mention: as near its zero as it can come."""
    return min(max(0.0, travel[0]), travel[1])
