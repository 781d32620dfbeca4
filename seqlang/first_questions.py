"""The questions of `bellcrank new`: what is asked, what is usual, and how an answer is read.

An answer is read as the cue language reads amounts, with a maker's hurry allowed for: a decimal
comma, another spelling of a unit. Whatever else is wrong is refused with the reason, and with what
would pass.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, TypeAlias

from firmware_gen.chips import FIRST as CHIP
from firmware_gen.chips.chip import Job
from seqlang.text import units
from seqlang.text.names import RESERVED, nearest
from seqlang.text.slips.numbers import THOUSANDS
from seqlang.text.unit_spellings import converted, spelt
from sim.rig.battery import CHEMISTRIES, USABLE
from sim.rig.load import GRAVITY_M_S2
from sim.rulebook import LARGEST_ANGLE_DEG

Answers: TypeAlias = Mapping[str, str]
"""Answers by the names of their questions, as the show will have them."""

LIGHT_A: Final = {"none": 0.0, "lamp": 0.02, "strip": 1.0}
"""A. What a light may draw: one usual LED; a strip is capped."""
BOARD_A: Final = CHIP.electrics.idle_a

LONGEST_NAME: Final = 40
NARROWEST_TRAVEL_DEG: Final = 5
WIDEST_TRAVEL_DEG: Final = 150
"""deg. A usual servo turns 180 deg between its shortest and longest pulse (common practice, no
source); the rest is left for its calibration."""
ADAPTER_V: Final = (5, 24)
MOST_CELLS: Final = 8

_HOLDS: Final = 3.2
"""A servo stays cool if it holds less than a third of its stall torque for long (PHYSICS.md)."""

_USUAL_RATINGS: Final = (
    (2, "0.12 s/60deg, 2 kgf.cm, 0.8 A at 6 V"),
    (9, "0.17 s/60deg, 9 kgf.cm, 2 A at 6 V"),
    (20, "0.17 s/60deg, 20 kgf.cm, 4.2 A at 6 V"),
    (35, "0.2 s/60deg, 35 kgf.cm, 6.2 A at 6 V"),
    (60, "0.22 s/60deg, 60 kgf.cm, 10 A at 6 V"),
)
"""Sizes in which hobby servos are sold, by stall torque in kgf.cm (common practice, no source)."""

_USUAL_PUSHES: Final = (
    (50, "40 mm/s, 50 N, 0.8 A at 6 V"),
    (150, "25 mm/s, 150 N, 1.5 A at 6 V"),
    (400, "15 mm/s, 400 N, 3 A at 6 V"),
)
"""Sizes of linear servos, by the force in N that stops them (common practice, no source)."""

_USUAL_ROUND: Final = "110 rpm, 9 kgf.cm, 2 A at 6 V"
HEAVIEST_PUSHED_KG: Final = round(_USUAL_PUSHES[-1][0] / GRAVITY_M_S2 / _HOLDS, 1)
"""kg. What the largest of them holds for long, straight up."""

SHORTEST_WAY_MM: Final = 2
LONGEST_WAY_MM: Final = 200
FASTEST_RPM: Final = 80
HEAVIEST_ROUND_KG: Final = 2
WIDEST_ROUND_M: Final = 0.3

HEAVIEST_NM: Final = round(_USUAL_RATINGS[-1][0] * float(units.UNITS["kgf.cm"][0]) / _HOLDS, 1)
"""N.m. The weight's torque that the largest of them holds for long."""


class UnfitAnswerError(ValueError):
    """An answer cannot be used; the message says why and what would pass."""


@dataclass(frozen=True, slots=True)
class Question:
    """One question. `name` is its option's name as well."""

    name: str
    words: str
    usual: Callable[[Answers], str]
    """The answer that is offered."""
    read: Callable[[str, Answers], str]
    """The answer as the show will have it. Raises UnfitAnswerError."""
    is_due: Callable[[Answers], bool] = lambda answers: True
    """Whether it is asked after the earlier answers."""


# -- reading ------------------------------------------------------------------------------------

_AMOUNT: Final = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)\s*(.*)", re.DOTALL)
_COMMAS: Final = re.compile(r"(?<![0-9]),\s*|,(?![0-9])\s*")
"""Between two amounts; a comma between two digits is a decimal one."""


def amount(text: str, measure: units.Measure) -> tuple[str, Fraction]:
    """An amount as the language writes it, and its value in the measure's own unit."""
    known = units.units_of(measure.dimension)
    such = f"such as `{_EXAMPLE[measure.unit]} {measure.unit}`"
    found = _AMOUNT.fullmatch(text.strip().replace("\N{MINUS SIGN}", "-").replace("\u00a0", " "))
    if found is None:
        raise UnfitAnswerError(
            f"`{text.strip()}` is not {measure.title}: write a number with its unit, {such}"
        )
    number, spelling = found[1].removeprefix("+"), found[2]
    if THOUSANDS.fullmatch(number):
        whole, point = number.replace(",", ""), number.replace(",", ".")
        raise UnfitAnswerError(f"`{number}` can mean two numbers: write `{whole}` or `{point}`")
    number = number.replace(",", ".")
    number = f"0{number}" if number.startswith(".") else number
    if not spelling:
        raise UnfitAnswerError(f"`{number}` has no unit: {measure.title} is in {_or(known)}")
    unit = spelt(spelling)
    if unit is None:
        ours = converted(number, spelling)
        more = f"; that is `{ours}`" if ours else ""
        raise UnfitAnswerError(
            f"there is no unit `{spelling}`: {measure.title} is in {_or(known)}{more}"
        )
    if unit not in known:
        raise UnfitAnswerError(f"`{number} {unit}` is not {measure.title}: that is in {_or(known)}")
    written = f"{number} {unit}"
    try:
        return written, units.parse_quantity(written).value * measure.scale
    except ZeroDivisionError:
        raise UnfitAnswerError(f"`{written}` has no speed: write a time over 0") from None


_EXAMPLE: Final = {
    "deg": 60, "g": 60, "mm": 70, "V": 6, "A": 3, "mAh": 3000, "kgf.cm": 9, "deg/s": 350,
    "m/s": 0.04, "N": 50,
}  # fmt: skip


def between(text: str, measure: units.Measure, low: float, high: float, unit: str) -> str:
    """An amount from above `low` up to `high`, which are in `unit`, the measure's own."""
    written, value = amount(text, measure)
    if not low < value <= Fraction(high).limit_denominator(1000):
        raise UnfitAnswerError(
            f"`{written}` does not fit: it must be more than {low:g} {unit} and at most "
            f"{high:g} {unit}"
        )
    return written


def _or(words: tuple[str, ...]) -> str:
    quoted = [f"`{word}`" for word in words]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def _chosen(*choices: str) -> Callable[[str, Answers], str]:
    def read(text: str, _: Answers) -> str:
        word = text.strip().lower()
        begun = [choice for choice in choices if word and choice.startswith(word)]
        if word in choices or len(begun) == 1:
            return word if word in choices else begun[0]
        near = nearest(word, choices) if word else None
        hint = f"; did you mean `{near}`?" if near else ""
        raise UnfitAnswerError(f"`{text.strip()}` is not an answer here: {_or(choices)}{hint}")

    return read


def _name(text: str, _: Answers) -> str:
    word = text.strip()
    if re.fullmatch(r"[^\W\d]\w*", word) is None:
        tidy = re.sub(r"\W+", "_", word).strip("_")
        near = f", such as `{tidy}`" if re.fullmatch(r"[^\W\d]\w*", tidy) else ""
        raise UnfitAnswerError(
            f"a name is one word of letters, digits and `_`, and starts with a letter{near}"
        )
    if word in RESERVED:
        raise UnfitAnswerError(f"`{word}` is a word of the language, so it cannot be a name")
    if len(word) > LONGEST_NAME:
        raise UnfitAnswerError(f"this name has {len(word)} letters; {LONGEST_NAME} are the most")
    return word


def _pin(job: Job) -> Callable[[str, Answers], str]:
    def read(text: str, answers: Answers) -> str:
        word = text.strip().upper()
        fitting = [n for n, pin in CHIP.pins.items() if pin in CHIP.pins_for(job)]
        free = [name for name in fitting if name not in _taken(answers)]
        try:
            reason = CHIP.refusal(CHIP.pin(word), job)
        except ValueError as error:
            reason = str(error)
        if reason is None and word in _taken(answers):
            reason = "an earlier answer took it"
        if reason is not None:
            raise UnfitAnswerError(f"pin `{word}` does not fit: {reason}; free: {', '.join(free)}")
        return word

    return read


_PINS: Final = ("pin", "light-pin", "go-pin", "stop-pin")


def _taken(answers: Answers) -> set[str]:
    return {answers[name] for name in _PINS if name in answers}


def _free(job: Job, *wanted: str) -> Callable[[Answers], str]:
    """The first pin wanted that no earlier answer has, or any that fits."""

    def usual(answers: Answers) -> str:
        fitting = [n for n, pin in CHIP.pins.items() if pin in CHIP.pins_for(job)]
        return next(n for n in (*wanted, *fitting) if n in fitting and n not in _taken(answers))

    return usual


def _travel(text: str, _: Answers) -> str:
    ends = re.split(r"\s+to\s+", text.strip())
    if len(ends) != 2:
        raise UnfitAnswerError("write both ends, such as `0 deg to 60 deg`")
    (low, a), (high, b) = (amount(end, units.DEGREES) for end in ends)
    if not a < b:
        raise UnfitAnswerError(f"the smaller angle comes first: `{high} to {low}`")
    if not NARROWEST_TRAVEL_DEG <= b - a <= WIDEST_TRAVEL_DEG:
        raise UnfitAnswerError(
            f"that is a way of {float(b - a):g} deg; a first show takes {NARROWEST_TRAVEL_DEG} deg "
            f"to {WIDEST_TRAVEL_DEG} deg"
        )
    if max(-a, b) > LARGEST_ANGLE_DEG:
        raise UnfitAnswerError(
            f"angles lie within {LARGEST_ANGLE_DEG} deg to either side of the part's zero"
        )
    return f"{low} to {high}"


def _way(text: str, _: Answers) -> str:
    ends = re.split(r"\s+to\s+", text.strip())
    if len(ends) != 2:
        raise UnfitAnswerError("write both ends, such as `0 mm to 40 mm`")
    (low, a), (high, b) = (amount(end, units.METRES) for end in ends)
    if not a < b:
        raise UnfitAnswerError(f"the smaller length comes first: `{high} to {low}`")
    if not SHORTEST_WAY_MM <= 1000 * (b - a) <= LONGEST_WAY_MM:
        raise UnfitAnswerError(
            f"that is a way of {float(1000 * (b - a)):g} mm; a first show takes "
            f"{SHORTEST_WAY_MM} mm to {LONGEST_WAY_MM} mm"
        )
    if 1000 * max(-a, b) > LARGEST_ANGLE_DEG:
        raise UnfitAnswerError(
            f"lengths lie within {LARGEST_ANGLE_DEG} mm to either side of the part's zero"
        )
    return f"{low} to {high}"


def _turns(text: str, _: Answers) -> str:
    written, value = amount(text, units.TURN_SPEED)
    rpm = round(float(value) / 6.0)
    if not 1 <= rpm <= FASTEST_RPM:
        raise UnfitAnswerError(
            f"`{written}` does not fit: a first show takes 1 rpm to {FASTEST_RPM} rpm"
        )
    return f"{rpm} rpm"


def _load(text: str, answers: Answers) -> str:
    most = {"line": HEAVIEST_PUSHED_KG, "round": HEAVIEST_ROUND_KG}
    return between(text, units.KILOGRAMS, 0, most.get(answers["servo"], 20), "kg")


def _usual_push(answers: Answers) -> str:
    needed = _HOLDS * GRAVITY_M_S2 * float(units.parse_quantity(answers["load"]).value)
    fitting = [rating for force, rating in _USUAL_PUSHES if force >= needed]
    return fitting[0] if fitting else _USUAL_PUSHES[-1][1]


def _push(text: str, _: Answers) -> str:
    figures, found, voltage = text.partition(" at ")
    parts = _COMMAS.split(figures.strip())
    if not found or len(parts) != 3:
        raise UnfitAnswerError(
            "write speed, the force that stops it and the current then, and the voltage they are "
            f"for, such as `{_USUAL_PUSHES[0][1]}`"
        )
    speed = between(parts[0], units.METRES_A_SECOND, 0, 1, "m/s")
    force = between(parts[1], units.NEWTONS, 0, 2000, "N")
    current = between(parts[2], units.AMPERES, 0, 20, "A")
    return f"{speed}, {force}, {current} at {between(voltage, units.VOLTS, 4.5, 12, 'V')}"


def _length(text: str, answers: Answers) -> str:
    written = between(text, units.METRES, 0, 2, "m")
    torque = _weight_nm({**answers, "length": written})
    if torque > HEAVIEST_NM:
        raise UnfitAnswerError(
            f"{answers['load']} at {written} pulls with {torque:.3g} N.m, and the largest usual "
            f"servo holds {HEAVIEST_NM:g} N.m for long: bring the weight nearer to the hinge, or "
            "take it up with a counterweight or a spring and state what is left"
        )
    return written


def _usual_length(answers: Answers) -> str:
    arms = ("70 mm", "30 mm", "10 mm", "5 mm")
    return next(arm for arm in arms if _weight_nm({**answers, "length": arm}) <= HEAVIEST_NM)


def _weight_nm(answers: Answers) -> float:
    """N.m. What the load pulls with when its arm is level: mass, gravity, arm."""
    mass, arm = (units.parse_quantity(answers[name]).value for name in ("load", "length"))
    return float(mass * arm) * GRAVITY_M_S2


def _usual_rating(answers: Answers) -> str:
    if answers["servo"] == "round":
        return _USUAL_ROUND
    needed = _HOLDS * _weight_nm(answers) / float(units.UNITS["kgf.cm"][0])
    fitting = [rating for torque, rating in _USUAL_RATINGS if torque >= needed]
    return fitting[0] if fitting else _USUAL_RATINGS[-1][1]


def _rating(text: str, _: Answers) -> str:
    figures, found, voltage = text.partition(" at ")
    parts = _COMMAS.split(figures.strip())
    if not found or len(parts) != 3:
        raise UnfitAnswerError(
            "write speed, stall torque and stall current, and the voltage they are for, such as "
            f"`{_USUAL_RATINGS[1][1]}`"
        )
    speed = between(parts[0], units.TURN_SPEED, 0, 2000, "deg/s")
    torque = between(parts[1], units.NEWTON_METRES, 0, 100, "N.m")
    current = between(parts[2], units.AMPERES, 0, 20, "A")
    return f"{speed}, {torque}, {current} at {between(voltage, units.VOLTS, 4.5, 12, 'V')}"


def demand_a(answers: Answers) -> float:
    """A. The stalled servo, the light and the board together."""
    lights = LIGHT_A[answers.get("light", "none")]
    rating = rating_of(answers)
    if rating is None:
        return lights + BOARD_A
    current = rating.split(", ")[2].partition(" at ")[0]
    return float(units.parse_quantity(current).value) + lights + BOARD_A


def servo_v(answers: Answers) -> float:
    """V. What servo and strip are fed with."""
    rating = rating_of(answers)
    if rating is None:
        return 5.0
    volts = units.parse_quantity(rating.partition(" at ")[2]).value
    return float(volts / units.UNITS["V"][0])


def rating_of(answers: Answers) -> str | None:
    """The figures of the servo, however it moves the part; None without one."""
    return answers.get("rating") or answers.get("push")


def _usual_adapter(answers: Answers) -> str:
    whole = next(a for a in (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25) if a >= demand_a(answers))
    return f"{max(servo_v(answers), ADAPTER_V[0]):g} V, {whole} A"


def _adapter(text: str, answers: Answers) -> str:
    parts = _COMMAS.split(text.strip())
    if len(parts) != 2:
        raise UnfitAnswerError("write the two figures on its label, such as `6 V, 3 A`")
    written, volts = amount(parts[0], units.VOLTS)
    if not ADAPTER_V[0] <= volts <= ADAPTER_V[1]:
        raise UnfitAnswerError(
            f"a first show takes {ADAPTER_V[0]} V to {ADAPTER_V[1]} V; found `{written}`"
        )
    current, amperes = amount(parts[1], units.AMPERES)
    if amperes < Fraction(demand_a(answers)).limit_denominator(1000):
        raise UnfitAnswerError(
            f"servo, light and board can draw {demand_a(answers):.3g} A together, and this adapter "
            f"gives {current}: take a stronger one"
        )
    if amperes > 100:
        raise UnfitAnswerError(f"no adapter gives {current}; 100 A are the most")
    return f"{written}, {current}"


def _pack(text: str, answers: Answers) -> str:
    parts = _COMMAS.split(text.strip())
    found = re.fullmatch(r"([0-9]+)\s+(\S+?)(?:\s+cells?)?", parts[0].strip().lower())
    if len(parts) != 2 or found is None:
        raise UnfitAnswerError(
            "write how many cells, their kind and their capacity, such as `2 li-ion cells, "
            "3000 mAh`"
        )
    kind = found[2] if found[2] in CHEMISTRIES else nearest(found[2], CHEMISTRIES)
    if kind is None:
        raise UnfitAnswerError(
            f"`{found[2]}` is not a kind of cell here: {_or(tuple(CHEMISTRIES))}"
        )
    if not 1 <= int(found[1][:4]) <= MOST_CELLS:
        raise UnfitAnswerError(f"a first show takes 1 to {MOST_CELLS} cells in series")
    capacity = between(parts[1], units.AMPERE_HOURS, 0.05, 50, "Ah")
    lowest, needed = lowest_v(int(found[1]), kind), CHIP.electrics.clock_v
    if lowest < needed:
        raise UnfitAnswerError(
            f"almost empty, this pack has {lowest:.3g} V, and the {CHIP.title} needs {needed:g} V: "
            "take more cells"
        )
    stands = _in_ampere_hours(capacity) * CHEMISTRIES[kind].c_rate
    if stands < demand_a(answers):
        raise UnfitAnswerError(
            f"servo, light and board can draw {demand_a(answers):.3g} A together, and usual {kind} "
            f"cells of {capacity} give {stands:.3g} A for long: take larger ones or another kind"
        )
    return f"{int(found[1])} {kind} cells, {capacity}"


def lowest_v(count: int, kind: str) -> float:
    """V of a pack at rest when its usable part is used up."""
    curve = CHEMISTRIES[kind]
    at = curve.charge.index(round(1 - USABLE, 2))
    return count * curve.rest_v[at]


def _in_ampere_hours(written: str) -> float:
    return float(units.parse_quantity(written).value * units.AMPERE_HOURS.scale)


def _usual_pack(answers: Answers) -> str:
    """Two cells and a regulator suit any servo of 6 V; the capacity gives the current."""
    cells = 2 if servo_v(answers) <= 6 else 4
    kind = "li-ion" if demand_a(answers) < 4 else "lipo"
    return f"{cells} {kind} cells, 3000 mAh"


def _pixels(text: str, _: Answers) -> str:
    word = text.strip()
    if not re.fullmatch(r"[0-9]{1,6}", word) or not 1 <= int(word) <= CHIP.pixels:
        raise UnfitAnswerError(
            f"pixels are a whole number from 1 to {CHIP.pixels}, the most that the {CHIP.title} "
            f"drives; found `{word}`"
        )
    return str(int(word))


# -- the questions --------------------------------------------------------------------------------


def _always(answer: str) -> Callable[[Answers], str]:
    return lambda answers: answer


def _moves(answers: Answers) -> bool:
    return answers["servo"] != "no"


def _by(*ways: str) -> Callable[[Answers], bool]:
    return lambda answers: answers["servo"] in ways


def _lights(text: str, answers: Answers) -> str:
    choices = ("none", "lamp", "strip") if _moves(answers) else ("lamp", "strip")
    return _chosen(*choices)(text, answers)


QUESTIONS: Final = (
    Question("part", "What moves, or what glows? One word", _always("flap"), _name),
    Question("servo", "Does a servo move it? yes (about a hinge), line (it slides), round (it "
             "turns round and round) or no", _always("yes"),
             _chosen("line", "round", "yes", "no")),
    Question("pin", "Which pin of the chip drives the servo?", _free("servo", "PB1"),
             _pin("servo"), _moves),
    Question("travel", "From which angle to which may the part move?",
             _always("0 deg to 60 deg"), _travel, _by("yes")),
    Question("way", "From where to where may the part slide?", _always("0 mm to 40 mm"), _way,
             _by("line")),
    Question("turns", "How fast does it turn?", _always("40 rpm"), _turns, _by("round")),
    Question("load", "How heavy is what moves?", _always("60 g"), _load, _moves),
    Question("length", "How far from the hinge is its centre of mass?", _usual_length,
             _length, _by("yes")),
    Question("across", "How wide is it across the shaft?", _always("80 mm"),
             lambda text, _: between(text, units.METRES, 0, WIDEST_ROUND_M, "m"), _by("round")),
    Question("rating", "What does the servo's data sheet say? Speed, stall torque, stall current "
             "at voltage", _usual_rating, _rating, _by("yes", "round")),
    Question("push", "What does the servo's data sheet say? Speed, force that stops it, current "
             "then, at voltage", _usual_push, _push, _by("line")),
    Question("light", "Which light goes with it? lamp, strip or none", _always("lamp"), _lights),
    Question("light-pin", "Which pin drives the light?",
             lambda answers: _free("lamp", "PD6", "PD5")(answers) if answers["light"] == "lamp"
             else _free("strip", "PD7", "PD5")(answers),
             lambda text, answers: _pin("lamp" if answers["light"] == "lamp" else "strip")(
                 text, answers), lambda answers: answers["light"] != "none"),
    Question("pixels", "How many pixels has the strip?", _always("10"), _pixels,
             lambda answers: answers["light"] == "strip"),
    Question("power", "What feeds it? adapter or pack", _always("adapter"),
             _chosen("adapter", "pack")),
    Question("adapter", "What does the adapter's label say?", _usual_adapter, _adapter,
             lambda answers: answers["power"] == "adapter"),
    Question("pack", "Which cells are in the pack?", _usual_pack, _pack,
             lambda answers: answers["power"] == "pack"),
    Question("buttons", "Where are the buttons? wired to the board, or on a remote by link",
             _always("link"), _chosen("wired", "link")),
    Question("go-pin", "Which pin has the button that starts the cue?", _free("input", "PC0"),
             _pin("input"), lambda answers: answers["buttons"] == "wired"),
    Question("stop-pin", "Which pin has the button that stops?", _free("input", "PC1"),
             _pin("input"), lambda answers: answers["buttons"] == "wired"),
)  # fmt: skip
"""In the order of asking."""
