"""Lamps as bright as a move goes: `follows PART from PLACE to PLACE, LEVEL to LEVEL`.

The line is that of what follows a stick (`seqlang.meaning.live`). The name of a servo's part makes
it a lamp that shines with a move; a speed in place of the part's places lets its speed count.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from seqlang.meaning.entry import options, without
from seqlang.meaning.notes import Fault
from seqlang.meaning.pose import angle
from seqlang.meaning.sources import changed_places
from seqlang.text.units import PERCENT
from sim.model import Shine
from sim.rulebook import ANGLE_STEP_DEG, FASTEST_SHINE

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from lark import Token

    from seqlang.meaning.pose import OutputKind
    from seqlang.meaning.values import Reading
    from seqlang.text.syntax import Amount, Line
    from sim.model import Rig

_MORE: Final = {"way": "in TIME", "mixed": "mixed with idle"}


def shines(
    reading: Reading,
    entries: Sequence[Line],
    rig: Rig,
    outputs: Mapping[str, tuple[OutputKind, Token]],
    sources: Collection[str],
) -> tuple[Shine, ...]:
    """What the lamps of the rig shine with; other lines are passed over.

    `sources`: the channels and sensors, which go before a servo of the same name.
    """
    there = {one.name for one in rig.outputs}
    led = {
        str(entry.items[1])
        for entry in entries
        if entry.kind == "servo" and any(line.kind == "follow" for line in entry.lines())
    }
    made: dict[str, Shine] = {}
    for entry in entries:
        name = str(entry.items[1])
        for line in entry.lines():
            if tells_of_a_move(entry, line, outputs) and str(line.items[1]) not in sources:
                one = reading.on_its_way(entry, _shine, reading, line, name, led)
                if one is not None and name in there and one.servo in there:
                    made.setdefault(name, one)
    return tuple(made.values())


def tells_of_a_move(
    entry: Line, line: Line, outputs: Mapping[str, tuple[OutputKind, Token]]
) -> bool:
    """Whether a line of an entry lets a lamp follow the part of a servo."""
    if entry.kind != "lamp" or line.kind != "follow":
        return False
    kind, _ = outputs.get(str(line.items[1]), ("", None))
    return kind == "servo"


def _shine(reading: Reading, line: Line, name: str, led: Collection[str]) -> Shine:
    """One line; `led` are the parts that follow a stick or a sensor. Raises Fault."""
    servo = line.token(1)
    if str(servo) in led:  # however fast a hand moves it, light must not flash
        reading.error(
            "wrong-kind",
            f"`{servo}` itself follows a stick or a sensor, and `{name}` would flash as a hand "
            "shakes that",
            servo,
            help=f"let `{name}` follow what `{servo}` follows",
        )
        raise Fault
    for kind, word in _MORE.items():
        if (more := options(reading, line).get(kind)) is not None:
            reading.error(
                "wrong-kind",
                f"`{name}` is as bright as `{servo}` goes, and `{word}` is for what follows a "
                "stick or a sensor",
                more,
                help=f"leave out `{word}`",
                fix=without(reading, more),
            )
            raise Fault
    said = f"the places of `{servo}` come first, then how bright `{name}` is at each"
    part = reading.motion(str(servo))
    for dimension in {part.place.dimension, part.speed.dimension}:
        changed_places(reading, line, dimension, PERCENT, said)
    values, levels = (line.amount(3), line.amount(4)), (line.amount(5), line.amount(6))
    by_speed = part.place is not part.speed and all(
        reading.is_of(value, part.speed.dimension) for value in values
    )
    places = [reading.tried(_place, reading, value, str(servo), by_speed) for value in values]
    bright = [reading.tried(reading.percent, level, "a level") for level in levels]
    (first, last), (dark, light) = places, bright
    if first is None or last is None or dark is None or light is None:
        raise Fault
    if abs(first - last) < (1.0 if by_speed else ANGLE_STEP_DEG):
        reading.error(
            "number-out-of-range",
            f"`{name}` would follow `{servo}` at one place only: it goes from "
            f"`{reading.text(values[0])}` to `{reading.text(values[1])}`",
            values[1],
            help="state two different places or speeds, and how bright the lamp is at each",
        )
        raise Fault
    if first > last:
        first, last, dark, light = last, first, light, dark
    return Shine(
        *(name, str(servo), first, last, dark, light, by_speed),
        mark=reading.origins.mark(
            *(line, line),
            ("servo", servo),
            ("from", values[0]),
            ("to", values[1]),
            ("level from", levels[0]),
            ("level to", levels[1]),
        ),
    )


def _place(reading: Reading, amount: Amount, servo: str, by_speed: bool) -> float:
    """Where the part is, or how fast it moves in whole deg/s. Raises Fault."""
    if not by_speed:
        return angle(reading, amount, servo)
    measure = reading.motion(servo).speed
    return float(round(reading.within(amount, measure, "a part's speed", 0.0, FASTEST_SHINE)))
