"""Lights, colours and poses: what a statement or a pose asks of one output."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias

from lark import Token

from seqlang.meaning.notes import Fault
from seqlang.meaning.values import Colour, Reading
from seqlang.text.names import nearest
from seqlang.text.source import Place
from seqlang.text.syntax import Amount, LightText, Line, Spot, place
from seqlang.text.units import Quantity, title_of
from sim.light.colours import COLOURS
from sim.model import BLACK, StripLight
from sim.rulebook import ANGLE_STEPS_PER_DEG, LARGEST_ANGLE_DEG

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

OutputKind: TypeAlias = Literal["servo", "lamp", "strip", "switch"]


@dataclass(frozen=True, slots=True)
class Setting:
    """What a pose asks of one output; only the field of its kind counts."""

    node: Amount | LightText
    name: Token
    kind: OutputKind
    angle_deg: float = 0.0
    level_pct: float = 0.0
    strip: StripLight = field(default_factory=lambda: BLACK)
    on: bool = False


@dataclass(frozen=True, slots=True)
class Pose:
    header: tuple[Token, Token]
    safe: bool
    settings: Mapping[str, Setting]


def pose(reading: Reading, entry: Line, outputs: Mapping[str, tuple[OutputKind, Token]]) -> Pose:
    """A pose with every setting that makes sense; the others are findings."""
    tokens = entry.tokens()
    settings: dict[str, Setting] = {}
    for spot in entry.items:
        if not isinstance(spot, Spot):
            continue
        if _in_two_words(reading, spot, outputs):
            continue
        for name in spot.names:
            if str(name) not in outputs:
                reading.unknown(name, "output", outputs)
                continue
            made = reading.tried(setting, reading, name, spot.value, outputs[str(name)][0])
            if made is None:
                continue
            if str(name) in settings:
                reading.error(
                    "duplicate-line",
                    f"the pose puts `{name}` in two places",
                    name,
                    related=((settings[str(name)].name, "first stated here"),),
                    help="keep one of the two",
                )
                continue
            settings[str(name)] = made
    return Pose((tokens[0], tokens[-1]), tokens[0].type == "SAFE", settings)


def _in_two_words(reading: Reading, spot: Spot, outputs: Collection[str]) -> bool:
    """`left fin 40 deg` reads as an output `left` in a colour `fin`: its name in two words."""
    name = spot.names[-1]
    head = spot.value.head if isinstance(spot.value, LightText) else None
    joined = f"{name}_{head}"
    if str(name) in outputs or not isinstance(head, Token) or joined not in outputs:
        return False
    reading.error(
        "unknown-name",
        f"`{name} {head}` is read as two words: names are letters, digits and `_`",
        Place(place(name).start, place(head).end),
        help=f"such as `{joined}`",
        fix=joined,
    )
    return True


def setting(reading: Reading, name: Token, value: LightText | Token, kind: OutputKind) -> Setting:
    """What a pose asks of one output. Raises Fault."""
    if kind == "switch":
        word = value if isinstance(value, Token) else value.head
        if not isinstance(word, Token) or word.type not in ("ON", "OFF"):
            reading.error(
                "wrong-kind",
                f"the switch `{name}` can only be `on` or `off`",
                value,
                help=f"write `{name} on` or `{name} off`",
            )
            raise Fault
        return Setting(word, name, kind, on=word.type == "ON")
    if isinstance(value, Token):
        if kind == "lamp":
            return Setting(value, name, kind, level_pct=100.0)
        due = "an angle" if kind == "servo" else "a colour"
        reading.error(
            "wrong-kind",
            f"`{name}` is a {kind}: {due} is needed, not `on`",
            value,
            help=f"such as `{name} 30 deg`" if kind == "servo" else f"such as `{name} white 80 %`",
        )
        raise Fault
    if kind == "servo":
        if isinstance(value.head, Token) and value.head.type in ("OFF", "COLOUR"):
            reading.error(
                "wrong-kind",
                f"`{name}` is a servo: an angle is needed, not `{value.head}`",
                value,
                help=f"such as `{name} 0 deg`",
            )
            raise Fault
        if value.level is not None:
            reading.error(
                "wrong-kind",
                f"`{name}` is a servo: one angle is needed",
                value,
                help=f"such as `{name} {reading.text(value.level)}`",
                fix=reading.text(value.level) if str(value.head) in ("at", "to", "is") else None,
            )
            raise Fault
        return Setting(value.head, name, kind, angle_deg=angle(reading, value.head, str(name)))
    if kind == "lamp":
        return Setting(value, name, kind, level_pct=lamp_level(reading, value, name))
    return Setting(value, name, kind, strip=strip_light(reading, value, name))


def angle(reading: Reading, amount: Amount, name: str = "") -> float:
    """An angle of a servo's part to 0.01 deg, a place on its line to 0.01 mm, or how fast it turns
    to 0.01 rpm, as the table keeps it. Raises Fault."""
    place = reading.motion(name).place
    angle_deg, most = reading.value(amount, place), LARGEST_ANGLE_DEG
    if abs(angle_deg) > most and name in reading.spinning:
        reading.error(
            "number-out-of-range",
            f"a part turns at {most} rpm at most, either way, but "
            f"`{reading.text(amount)}` is written",
            amount,
            help="the board's table holds no more; a faster motor is for a `switch`",
            asked=abs(angle_deg),
            limit=most,
            unit="rpm",
        )
        raise Fault
    if abs(angle_deg) > most and name in reading.straight:
        reading.error(
            "number-out-of-range",
            f"a place on a line is at most {most} mm to either side, but "
            f"`{reading.text(amount)}` is written",
            amount,
            help="the board's table holds no more: count from the middle of the travel",
            asked=abs(angle_deg),
            limit=most,
            unit="mm",
        )
        raise Fault
    if abs(angle_deg) > most:
        reading.error(
            "number-out-of-range",
            f"an angle of a part is at most {most} deg to either side, but "
            f"`{reading.text(amount)}` is written",
            amount,
            help="the board's table holds no more. Count from the middle of the travel; where the "
            "servo makes more turns than that, write `gear RATIO` and the angle of the part behind "
            "the gear, drum or screw",
            asked=abs(angle_deg),
            limit=most,
            unit="deg",
        )
        raise Fault
    return round(angle_deg * ANGLE_STEPS_PER_DEG) / ANGLE_STEPS_PER_DEG


def lamp_level(reading: Reading, light: LightText, name: Token) -> float:
    """A lamp's level in percent of L*. Raises Fault."""
    head = light.head
    if isinstance(head, Token):
        if head.type == "OFF":
            return 0.0
        if head.type == "COLOUR" or (head.type == "NAME" and is_colour(reading, head)):
            level = None if light.level is None else reading.text(light.level)
            reading.error(
                "wrong-kind",
                f"`{name}` is a lamp of one colour: a level is needed, not a colour",
                light,
                help=f"such as `{level or '80 %'}`",
                fix=level or "100 %",
            )
            raise Fault
    return reading.percent(head, "a level")


def strip_light(reading: Reading, light: LightText, name: Token) -> StripLight:
    """A strip's colour and level. Raises Fault."""
    head = light.head
    if isinstance(head, Token) and head.type == "OFF":
        return BLACK
    if not isinstance(head, Token) or head.type not in ("COLOUR", "NAME"):
        text = reading.text(light)
        bare = isinstance(head, Token) and head.type == "NUMBER"
        level = reading.likely_level(text) if bare else text
        dark = level.replace("%", "").strip() in ("0", "0.0")
        reading.error(
            "wrong-kind",
            f"`{name}` is a strip: a colour is needed before the level `{text}`",
            light,
            help="a strip that is dark is `off`" if dark else f"such as `orange {level}`",
            fix="off" if dark else f"white {level}",
        )
        raise Fault
    tint = colour(reading, head)
    return StripLight(
        tint, 100.0 if light.level is None else reading.percent(light.level, "a level")
    )


_DIGITS = re.compile(r"[0-9A-Fa-f]{6}")
"""A colour that lost its `#`."""


def is_colour(reading: Reading, name: str) -> bool:
    constant = reading.constants.get(str(name))
    if constant is not None:
        return isinstance(constant[1], tuple) and len(constant[1]) == 3
    return str(name).lower() in COLOURS


def colour(reading: Reading, token: Token) -> Colour:
    """sRGB of `#rrggbb`, of a constant or of a name from CSS. Raises Fault."""
    text = str(token)
    if token.type == "COLOUR":
        return (int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16))
    constant = reading.constants.get(text)
    if constant is not None and is_colour(reading, token):
        reading.above(token)
        return constant[1]  # type: ignore[return-value]  # is_colour has looked
    found = COLOURS.get(text.lower())
    if found is not None and constant is None:
        return found
    known = [name for name in reading.constants if is_colour(reading, name)]
    near = nearest(text, known) or nearest(text, COLOURS)
    message = f"there is no colour `{text}`"
    if isinstance(constant and constant[1], Quantity):
        message += f": {text} is {title_of(constant[1].dimension)}"  # type: ignore[index, union-attr]
        near = None
    elif _DIGITS.fullmatch(text):
        near = f"#{text}"
    reading.error(
        "unknown-name",
        message,
        token,
        help=f"did you mean `{near}`?"
        if near
        else "colours are names from CSS, such as `orange`, or `#rrggbb`",
        fix=near,
    )
    raise Fault
