"""The first show of `bellcrank new`: from answers to a text that passes every check.

The text is checked before anybody sees it. The time of its moves is the first of a few even ones
that passes. If none does, a finding says why, and `Unfit` says which answer to ask again.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Final

from firmware_gen.chips import FIRST as CHIP
from seqlang.first_questions import demand_a, lowest_v, rating_of, servo_v
from seqlang.meaning.servo import MIDDLE_PULSE_US
from seqlang.text.source import Source
from seqlang.text.units import UNITS, parse_quantity
from sim.rig.fuse import STANDARDS
from sim.rig.supply import PIXEL_HIGHEST_V, PIXEL_V

if TYPE_CHECKING:
    from seqlang.first_questions import Answers
    from seqlang.text.findings import Finding

_MOVE_TIMES_MS: Final = (
    800,
    1000,
    1200,
    1500,
    2000,
    2500,
    3000,
    4000,
    6000,
    8000,
    12_000,
    20_000,
    40_000,
    60_000,
)
_US_PER_DEG: Final = Fraction(1000, 90)
"""us/deg. The usual calibration of hobby servos: 1000 us to 2000 us for 90 deg (common practice, no
source)."""
_HEADROOM_V: Final = 1.0
"""V that a source must have over a regulator's voltage: its dropout and the wires."""

_SOURCE_FINDINGS: Final = frozenset(
    {
        *("battery-short", "brown-out", "chip-overvoltage", "fuse-blows", "pack-overload"),
        *("servo-overvoltage", "strip-data-low", "strip-over-supply", "supply-overload"),
        *("voltage-sag", "wire-overload"),
    }
)


@dataclass(frozen=True, slots=True)
class Unfit:
    """Answers that give no show that passes: which one to change, and why."""

    question: str
    reason: str


def first_show(answers: Answers) -> str | Unfit:
    """The text of a show that passes, in its canonical layout, or why there is none."""
    from seqlang.check import check
    from seqlang.loading import load_text
    from seqlang.text.format import formatted

    errors: list[Finding] = []
    for move_ms in _MOVE_TIMES_MS:
        text = formatted(Source("new.cues", show_text(answers, move_ms))).text
        found = check(load_text(Source("new.cues", text))).findings
        errors = [finding for finding in found if finding.severity == "error"]
        if not errors:
            return text
        if rating_of(answers) is None:
            break
    return _unfit(errors, answers)


def _unfit(errors: list[Finding], answers: Answers) -> Unfit:
    of_source = [finding for finding in errors if finding.name in _SOURCE_FINDINGS]
    finding = of_source[0] if of_source else errors[0]
    rating = next((name for name in ("rating", "push") if name in answers), None)
    asked = answers["power"] if of_source or rating is None else rating
    return Unfit(asked, f"{finding.message}  ({finding.name})")


def show_text(answers: Answers, move_ms: int) -> str:
    """The whole text; each move takes `move_ms`. Its layout is settled by the formatter."""
    part, light = answers["part"], light_name(answers)
    blocks = [f'show "First {part}"', *_power(answers)]
    if rating_of(answers) is not None:
        blocks.append(_servo(answers))
    if answers["light"] != "none":
        blocks.append(_light(answers, light))
    if answers["buttons"] == "wired":
        blocks.append(_inputs(answers))
    blocks += [_pose(answers, light), _cue(answers, light, move_ms), _remote(answers)]
    return "\n\n".join(blocks) + "\n"


def light_name(answers: Answers) -> str:
    """The light has the part's name if nothing moves; else a name of its own."""
    if rating_of(answers) is None:
        return answers["part"]
    return "glow" if answers["part"] != "glow" else "light"


# -- the rig --------------------------------------------------------------------------------------


def _power(answers: Answers) -> list[str]:
    source = answers[answers["power"]]
    lines = [f"    source {'adapter ' if answers['power'] == 'adapter' else ''}{source}"]
    drawn = demand_a(answers)
    if _lowest_v(answers) >= servo_v(answers) + _HEADROOM_V:
        lines.append(f"    regulator {servo_v(answers):g} V, {-(-drawn // 1) + 1:g} A")
    fuses = STANDARDS["blade"].ratings_a
    fuse = next((a for a in fuses if a >= drawn), fuses[-1])
    if answers["power"] == "pack":
        lines.append(f"    fuse {fuse:g} A")
    gauge = 18 if fuse <= 10 else 14
    supply = "\n".join(["supply power", *lines])
    return [supply, f"board box: {CHIP.name}, address 1\n    feed power, 300 mm of {gauge} AWG"]


def _lowest_v(answers: Answers) -> float:
    if answers["power"] == "adapter":
        return _in(answers["adapter"].partition(", ")[0], "V")
    count, kind = answers["pack"].split()[:2]
    return lowest_v(int(count), kind)


def _in(written: str, unit: str) -> float:
    return float(parse_quantity(written).value / UNITS[unit][0])


def _ends(answers: Answers) -> tuple[str, str]:
    """Between which places, or speeds, the part goes: the safe one first."""
    if answers["servo"] == "round":
        return "0 rpm", answers["turns"]
    low, high = answers["way" if answers["servo"] == "line" else "travel"].split(" to ")
    return low, high


def _servo(answers: Answers) -> str:
    made = {"yes": _hinged, "line": _sliding, "round": _spinning}[answers["servo"]](answers)
    return "\n".join(
        [
            "# Usual pulses: put in those that you measure on your part.",
            f"servo {answers['part']}: box pin {answers['pin']}",
            *made,
        ]
    )


def _hinged(answers: Answers) -> list[str]:
    ends = _ends(answers)
    low, high = (parse_quantity(end).value for end in ends)
    middle = (low + high) / 2
    points = ", ".join(
        f"{round(MIDDLE_PULSE_US + (angle - middle) * _US_PER_DEG)} us at {written}"
        for angle, written in zip((low, high), ends, strict=True)
    )
    return [
        f"    pulse {points}",
        f"    travel {answers['travel']}",
        f"    rating {answers['rating']}",
        f"    load {answers['load']} at {answers['length']}",
    ]


def _sliding(answers: Answers) -> list[str]:
    """A linear servo's rod comes out between 1000 us and 2000 us (common practice, no source)."""
    low, high = _ends(answers)
    return [
        f"    pulse 1000 us at {low}, 2000 us at {high}",
        f"    travel {answers['way']}",
        f"    rating {answers['push']}",
        f"    load {answers['load']}",
        "    slope 90 deg",
    ]


def _spinning(answers: Answers) -> list[str]:
    """Standstill at 1500 us, and the speed 200 us from there (common practice, no source)."""
    turns, across = answers["turns"], answers["across"]
    half = parse_quantity(across).value / UNITS["mm"][0] / 2
    return [
        f"    pulse 1300 us at -{turns}, 1500 us at 0 rpm, 1700 us at {turns}",
        f"    travel -{turns} to {turns}",
        f"    rating {answers['rating']}",
        f"    load plate {answers['load']}, {across} by {across}, from -{float(half):g} mm",
    ]


def _light(answers: Answers, name: str) -> str:
    head = f"{answers['light']} {name}: box pin {answers['light-pin']}"
    if answers["light"] == "lamp":
        return f"{head}\n    leds 1 of 3.0 V, 20 mA"
    own = f"\n    feed {PIXEL_V:g} V" if servo_v(answers) > PIXEL_HIGHEST_V else ""
    return f"{head}\n    pixels {answers['pixels']}\n    cap 1 A{own}"


def _inputs(answers: Answers) -> str:
    pins = (answers["go-pin"], answers["stop-pin"])
    return "\n".join(f"input {n}: box pin {pin}" for n, pin in enumerate(pins, 1))


# -- the score ------------------------------------------------------------------------------------


def _pose(answers: Answers, light: str) -> str:
    lines = []
    if rating_of(answers) is not None:
        lines.append(f"    {answers['part']} {_ends(answers)[0]}")
    if answers["light"] != "none":
        lines.append(f"    {light} off")
    return "\n".join(["safe pose rest", *lines])


def _cue(answers: Answers, light: str, move_ms: int) -> str:
    lit = answers["light"] != "none"
    bright, dim = (
        ("orange 60 %", "orange 20 %") if answers["light"] == "strip" else ("80 %", "20 %")
    )
    if rating_of(answers) is None:
        steps = [f"{light} fade to {bright} in 1.5 s", f"{light} fade to {dim} in 1.5 s"]
        body = ["    repeat 2 times", *(f"        {step}" for step in steps)]
        return "\n".join(
            ['cue shine "Up and down, twice"', *body, f"    {light} fade to off in 1 s"]
        )
    body = ["    repeat 2 times"]
    for end, level in zip(reversed(_ends(answers)), (bright, dim), strict=True):
        move = f"{answers['part']} to {end} in {move_ms} ms"
        fade = f"{light} fade to {level} in 1 s"
        body += (
            ["        together", f"            {move}", f"            {fade}"]
            if lit
            else [f"        {move}"]
        )
    title = "Up to speed and to a stand" if answers["servo"] == "round" else "There and back"
    return "\n".join(
        [f'cue wave "{title}, twice"', *body, *[f"    {light} fade to off in 1 s"] * lit]
    )


def _remote(answers: Answers) -> str:
    cue = "shine" if rating_of(answers) is None else "wave"
    return f"remote\n    button 1: go {cue}\n    stop button 2"
