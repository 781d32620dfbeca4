"""What a servo carries, and by what drive."""

from __future__ import annotations

from math import pi
from typing import cast

from lark import Token

from seqlang.meaning.entry import Sheet, options
from seqlang.meaning.notes import Fault
from seqlang.meaning.values import Reading
from seqlang.text.syntax import Amount, Line
from seqlang.text.units import DEGREES, KILOGRAMS, METRES, PLAIN, SHARE, SLIDING, PartMeasures
from sim.model import (
    Body,
    Box,
    Drive,
    Drum,
    FourBar,
    Gear,
    LeverPair,
    Load,
    Plate,
    PointMass,
    Rack,
    Ram,
    Rod,
    Slide,
    Spring,
)
from sim.rig.slide import ratio_of


def load(reading: Reading, sheet: Sheet, name: str) -> Load:
    """Bodies, springs, friction and how hinge or line lies. Raises Fault."""
    lines, motion, straight = sheet.all("load"), reading.motion(name), name in reading.straight
    masses = [reading.tried(_sliding_mass, reading, line) for line in lines if straight]
    bodies = [reading.tried(_body, reading, line) for line in lines if not straight]
    springs = [reading.tried(_spring, reading, line, motion) for line in sheet.all("spring")]
    slope = sheet.get("slope")
    slope_deg = (
        reading.tried(reading.within, slope.amount(1), DEGREES, "a slope", -90, 90)
        if slope
        else (Slide().slope_deg if sheet.get("mount") is None else 0.0)
    )
    level, axis, friction = sheet.get("level"), sheet.get("axis"), sheet.get("friction")
    level_deg = reading.tried(_degrees, reading, level.amount(1)) if level else 0.0
    friction_nm = (
        reading.tried(reading.within, friction.amount(1), motion.effort, "the friction", 0)
        if friction
        else 0.0
    )
    if level_deg is None or friction_nm is None or None in bodies or None in springs:
        raise Fault
    if slope_deg is None or None in masses:
        raise Fault
    slide = Slide(sum(mass or 0.0 for mass in masses), slope_deg) if straight else None
    upright = axis is not None and axis.token(1).type == "UPRIGHT"
    said = level or sheet.get("mount")
    sinks = None if said is None else options(reading, said).get("sinks")
    first, last = (lines[0], lines[0]) if lines else sheet.head
    return Load(
        bodies=tuple(body for body in bodies if body),
        level_deg=level_deg,
        axis="upright" if upright else "level",
        springs=tuple(spring for spring in springs if spring),
        friction_nm=friction_nm,
        lowers=sinks is not None,
        slide=slide,
        spins=name in reading.spinning,
        mark=reading.origins.mark(
            first,
            last,
            ("sinks", sinks),
            ("level", level and level.items[1]),
            ("axis", axis and axis.items[1]),
            ("friction", friction and friction.items[1]),
            ("slope", slope and slope.items[1]),
        ),
    )


def _degrees(reading: Reading, amount: Amount) -> float:
    return reading.within(amount, DEGREES, "an angle", -360, 360)


def _mass(reading: Reading, amount: Amount) -> float:
    return reading.within(amount, KILOGRAMS, "a mass", above=0)


def _length(reading: Reading, amount: Amount) -> float:
    return reading.within(amount, METRES, "a length", above=0)


def _sliding_mass(reading: Reading, line: Line) -> float:
    """The mass of a load that moves along a line. Raises Fault."""
    body = line.lines()[0]
    if body.kind != "mass" or len(body.items) > 1:
        reading.error(
            "wrong-kind",
            "a load that moves along a line is only a mass",
            line,
            help="such as `load 120 g`",
        )
        raise Fault
    return _mass(reading, body.amount(0))


def _body(reading: Reading, line: Line) -> Body:
    body = line.lines()[0]
    if body.kind == "mass" and len(body.items) == 1:
        reading.error(
            "wrong-kind",
            "a load on a hinge needs its distance from it",
            line,
            help="such as `load 120 g at 80 mm`",
        )
        raise Fault
    more = options(reading, body)
    start, ahead = (cast("Line | None", more.get(kind)) for kind in ("from", "ahead"))
    start_m = reading.within(start.amount(1), METRES, "a distance") if start else 0.0
    offset_deg = _degrees(reading, ahead.amount(1)) if ahead else 0.0
    # A point mass starts with its mass; the others start with their word.
    sizes = [cast("Amount", i) for i in body.items if not isinstance(i, Line)]
    if body.kind != "mass":
        sizes = [item for item in sizes[1:] if item is not more.get("flat")]
    names = {
        "mass": ("mass", "radius"),
        "rod": ("mass", "length"),
        "plate": ("mass", "length", "width"),
        "box": ("mass", "length", "width", "depth"),
    }[body.kind]
    mark = reading.origins.mark(
        *(line, line),
        *zip(names, sizes, strict=True),
        ("from", start and start.items[1]),
        ("ahead", ahead and ahead.items[1]),
    )
    mass = _mass(reading, sizes[0])
    if body.kind == "mass":
        radius = reading.within(sizes[1], METRES, "a distance", 0)
        return PointMass(mass, radius, offset_deg, mark)
    lengths = [_length(reading, size) for size in sizes[1:]]
    if body.kind == "rod":
        return Rod(mass, lengths[0], start_m, offset_deg, mark)
    if body.kind == "plate":
        length, width = lengths
        return Plate(mass, length, width, start_m, offset_deg, "flat" in more, mark)
    length, width, depth = lengths
    return Box(mass, length, width, depth, start_m, offset_deg, mark)


def _spring(reading: Reading, line: Line, motion: PartMeasures) -> Spring:
    return Spring(
        reading.within(line.amount(1), motion.rate, "a spring's rate", above=0),
        reading.within(line.amount(2), motion.place, motion.place.title, -1000, 1000)
        if motion is SLIDING
        else _degrees(reading, line.amount(2)),
        reading.origins.mark(line, line, ("rate", line.items[1]), ("neutral", line.items[2])),
    )


def drive(reading: Reading, sheet: Sheet) -> Drive:
    """Gear, lever pair or four-bar; a horn on the axis itself if the text names none."""
    line = sheet.get("gear")
    if line is None:
        return Gear()
    if line.kind == "gear":
        ratio = reading.within(line.amount(1), PLAIN, "a gear's ratio", -1000, 1000)
        if ratio == 0.0:
            reading.error("number-out-of-range", "a gear's ratio cannot be 0", line.items[1])
            raise Fault
        return Gear(ratio, reading.origins.mark(line, line, ("ratio", line.items[1])))
    if line.kind in ("drum", "rack"):
        winds = _winds(reading, line)
        return Gear(ratio_of(winds), reading.origins.mark(line, line), winds)
    more = options(reading, line)
    bars = [cast("Amount", item) for item in line.items if _is_amount(item)]
    lengths = [_length(reading, bar) for bar in bars]
    if line.kind == "ram":
        tilted = cast("Line | None", more.get("zero"))
        ground, arm = lengths
        return Ram(
            ground,
            arm,
            zero_deg=_degrees(reading, tilted.amount(1)) if tilted else 0.0,
            mark=reading.origins.mark(
                *(line, line),
                ("ground", bars[0]),
                ("arm", bars[1]),
                ("zero", tilted and tilted.items[1]),
            ),
        )
    if line.kind == "levers":
        square = cast("Line | None", more.get("square"))
        at = square and square.amount(1)
        mark = reading.origins.mark(line, line, ("horn", bars[0]), ("arm", bars[1]), ("square", at))
        return LeverPair(
            lengths[0], lengths[1], None if at is None else _degrees(reading, at), mark
        )
    zero = cast("Line | None", more.get("zero"))
    ground, horn, rod, arm = lengths
    return FourBar(
        ground,
        horn,
        rod,
        arm,
        arm_zero_deg=_degrees(reading, zero.amount(1)) if zero else 0.0,
        crossed="crossed" in more,
        mark=reading.origins.mark(
            *(line, line),
            *zip(("ground", "horn", "rod", "arm"), bars, strict=True),
            ("zero", zero and zero.items[1]),
        ),
    )


def _winds(reading: Reading, line: Line) -> Drum | Rack:
    """The drum or rack of a line. Raises Fault."""
    if line.kind == "drum":
        return Drum(_length(reading, line.amount(1)))
    if isinstance(line.items[1], Token) and line.items[1].type == "MODULE":
        teeth = reading.count(line.amount(3), "the number of teeth", 4, 1000)
        return Rack(pi * _length(reading, line.amount(2)) * teeth)
    return Rack(_length(reading, line.amount(1)))


def efficiency(reading: Reading, sheet: Sheet) -> float:
    """What the gear or linkage passes on of the horn's torque; all of it where nothing is said."""
    line = sheet.get("gear")
    stated = None if line is None else options(reading, line).get("efficiency")
    if not isinstance(stated, Line):
        return 1.0
    share = reading.tried(reading.within, stated.amount(1), SHARE, "the efficiency", 0.01, 1)
    return 1.0 if share is None else share


def _is_amount(item: object) -> bool:
    if isinstance(item, Token):
        return item.type in ("QUANTITY", "NUMBER", "NAME")
    return not isinstance(item, Line)
