"""What the rig is: its parts, its wearer; and the sheet to write its calibration into."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from seqlang.book.paper import BLANK, facts, paragraph, section, subtitle, table
from seqlang.checks.figures import counted, figure
from sim.model import Lamp, Servo, Strip, Switch
from sim.rig.regions import REGIONS
from sim.rig.servo import KGF_CM_NM
from sim.rig.slide import STRAIGHT, of_horn, of_part
from sim.rig.standstill import pulse_us

if TYPE_CHECKING:
    from seqlang.book.matter import BookMatter
    from sim.model import Output, Rig, Wearer


def rig_sheet(matter: BookMatter) -> str:
    """Every part by name, and what the check takes the wearer to do."""
    rig = matter.show.rig
    parts = [_part(rig, one) for one in rig.outputs]
    return section(
        "rig",
        "What the rig is",
        paragraph(f"{_counts(rig)}."),
        table(("Part", "What it is", "Board", "What it does", "Safe pose"), parts),
        subtitle("Servos to buy again"),
        table(("Servo", "Ratings in its data sheet"), _ratings(rig)),
        subtitle("What the check counts on"),
        facts(_wearer(rig.wearer)),
    )


def _counts(rig: Rig) -> str:
    kinds = (
        (len(rig.boards), "board", "boards"),
        (sum(isinstance(one, Servo) for one in rig.outputs), "servo", "servos"),
        (sum(isinstance(one, Lamp) for one in rig.outputs), "lamp", "lamps"),
        (sum(isinstance(one, Strip) for one in rig.outputs), "strip", "strips"),
        (sum(isinstance(one, Switch) for one in rig.outputs), "switched load", "switched loads"),
        (len(rig.inputs), "wired button", "wired buttons"),
        (len(rig.channels), "channel of a radio", "channels of a radio"),
        (len(rig.sensors), "sensor", "sensors"),
    )
    return "The rig has " + ", ".join(counted(n, one, more) for n, one, more in kinds if n)


def _part(rig: Rig, one: Output) -> tuple[str, ...]:
    does, safe = _does(one)
    sources = [follow.source for follow in rig.follows if follow.output == one.name]
    sources += [shine.servo for shine in rig.shines if shine.output == one.name]
    shown = [f"; shows {bar.lamp}" for bar in rig.bars if bar.strip == one.name]
    does = "".join(["; follows ".join([does, *sources]), *shown])
    return one.name, _kind(one), one.board, does, safe


def _kind(one: Output) -> str:
    match one:
        case Servo():
            kind = "linear servo" if one.linear else "servo"
            return f"{kind}, on `{one.mount.on}`" if one.mount else kind
        case Lamp():
            return f"{counted(one.count, 'LED', 'LEDs')} of {figure(one.forward_v)} V, " + (
                f"{figure(1000 * one.current_a)} mA"
            )
        case Strip():
            return f"{counted(one.pixels, 'pixel', 'pixels')}, order {one.order}"
        case Switch():
            return f"switched load, {figure(1000 * one.current_a)} mA"


def _does(one: Output) -> tuple[str, str]:
    match one:
        case Servo():
            unit = of_part(one).place
            low, high = map(figure, one.travel_deg)
            verb = "turns at" if one.load.spins else "moves from"
            return f"{verb} {low} to {high} {unit}", f"{figure(one.safe_deg)} {unit}"
        case Lamp():
            return "glows", f"{figure(one.safe_pct)} %" if one.safe_pct else "off"
        case Strip():
            level = one.safe.level_pct if any(one.safe.colour) else 0.0
            colour = "#{:02x}{:02x}{:02x}".format(*one.safe.colour)
            return "glows", f"{colour} {figure(level)} %" if level else "off"
        case Switch():
            return "switches on and off", "on" if one.safe_on else "off"


def _ratings(rig: Rig) -> Iterator[tuple[str, str]]:
    for one in rig.outputs:
        if isinstance(one, Servo):
            yield one.name, "; ".join(_rating(one, n) for n in range(len(one.ratings)))


def _rating(one: Servo, n: int) -> str:
    rating, told = one.ratings[n], of_horn(one)
    stall = f"stalls at {figure(rating.stall_a)} A at {figure(rating.voltage_v)} V"
    if told is STRAIGHT:
        force = figure(told.of_torque(rating.stall_nm))
        return f"{figure(rating.speed_deg_s)} mm/s, {force} N, {stall}"
    torque = figure(rating.stall_nm / KGF_CM_NM)
    return f"{figure(60.0 / rating.speed_deg_s)} s/60deg, {torque} kgf.cm, {stall}"


def _wearer(wearer: Wearer) -> Iterator[tuple[str, str]]:
    yield "Leaning", f"up to {figure(wearer.tilt_deg)} deg in any direction"
    yield "The wearer", wearer.gait
    yield "Wind", f"up to {figure(wearer.wind_m_s)} m/s" if wearer.wind_m_s else "none"
    near = wearer.region
    yield "Parts move near", "nobody named" if near is None else REGIONS[near].title
    yield "Air in the costume", f"{figure(wearer.temperature_c)} C"
    yield "Kept in hand", f"{figure(100 * wearer.margin)} % of every servo's torque and speed"
    if any((wearer.tilt_deg == 0.0, wearer.wind_m_s == 0.0)):
        yield (
            "",
            "A tilt of 0 and a wind of none were not checked. If they happen, change the text.",
        )


# -- calibration ----------------------------------------------------------------------------------


def calibration_sheet(matter: BookMatter) -> str:
    """The pulse at each place that matters, and room for what the part really does."""
    servos = [one for one in matter.show.rig.outputs if isinstance(one, Servo)]
    if not servos:
        return ""
    return section(
        "calibration",
        "Calibration sheet",
        paragraph(
            "Measure each part at these pulses and write down where it stands. If a pulse does not "
            "bring the part there, write down the one that does. Put both into the text behind "
            "`pulse`, check again, and put the show on the board again. Then print a new book."
        ),
        paragraph(
            "A servo that presses against a stop gets hot: go to the ends of the travel slowly, "
            "with the horn loose at first, and keep fingers out. Points beyond the travel are for "
            "a horn without its part."
        ),
        table(
            ("Servo", "At", "Pulse by the text", "Where it stands", "Pulse that fits, us", "Note"),
            [row for one in servos for row in _places(one)],
            "calibration",
        ),
        table(
            ("Measured by", "Date", "Servo's serial or lot", "Voltage at the servo"), [4 * (BLANK,)]
        ),
    )


def _places(one: Servo) -> Iterator[tuple[str, ...]]:
    """The calibration points, the ends of the travel and the safe pose, each once, ascending."""
    unit = of_part(one).place
    why: dict[float, list[str]] = {}
    for point in one.points:
        why.setdefault(point.angle_deg, []).append("calibration point")
    for end in one.travel_deg:
        why.setdefault(end, []).append("end of travel")
    why.setdefault(one.safe_deg, []).append("safe pose")
    for place, reasons in sorted(why.items()):
        low, high = one.travel_deg
        beyond = [] if low <= place <= high else ["beyond the travel"]
        at = f"{figure(place)} {unit} ({', '.join([*reasons, *beyond])})"
        yield one.name, at, f"{float(pulse_us(one, place)):.0f} us", BLANK, BLANK, BLANK
