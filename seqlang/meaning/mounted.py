"""Parts that stand on other parts, and lights that sit on them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, cast

from seqlang.meaning.entry import options
from seqlang.meaning.notes import Fault
from seqlang.text.units import DEGREES, KILOGRAMS, METRES
from sim.model import Lamp, LightPlace, Mount, Servo, Strip

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from lark import Token

    from seqlang.meaning.entry import Sheet
    from seqlang.meaning.values import Reading
    from seqlang.text.syntax import Line
    from sim.model import Output, Rig


MOST_IN_CHAIN: Final = 16
"""Parts that stand on one another, directly or not (own limit): a wrist and a hand of five fingers
of three joints. The work of a check grows with the third power of their number."""


def mount(reading: Reading, sheet: Sheet) -> Mount | None:
    """Where a servo's part stands on another part; None: on the costume. Raises Fault."""
    line = sheet.get("mount")
    if line is None:
        return None
    straight = str(sheet.entry.items[1]) in reading.straight
    for kind in () if straight else ("level", "axis"):
        said = sheet.get(kind)
        if said is not None:
            reading.error(
                "wrong-kind",
                f"`{sheet.entry.items[1]}` stands on `{line.items[1]}`, which decides how it lies",
                said,
                related=((line, "stands there"),),
                help="take this line out; `straight at` states the angle at which it points along "
                f"`{line.items[1]}`",
            )
    more = {kind: cast("Line", option) for kind, option in options(reading, line).items()}

    for kind in ("straight", "turned", "sinks") if straight else ():
        if kind in more:
            reading.error(
                "wrong-kind",
                f"`{sheet.entry.items[1]}` moves along a line and has no hinge",
                more[kind],
                label=f"`{kind}` does not apply to it",
                help=f"`slope` says how its line lies against the zero line of `{line.items[1]}`",
            )
            raise Fault

    def amount(kind: str) -> object:
        return more[kind].items[1] if kind in more else None

    def angle(kind: str) -> float:
        if kind not in more:
            return 0.0
        return reading.within(more[kind].amount(1), DEGREES, "an angle", -360, 360)

    weight = more.get("weighs")
    return Mount(
        on=str(line.token(1)),
        at_m=reading.within(line.amount(2), METRES, "a distance", 0),
        ahead_deg=angle("ahead"),
        straight_deg=angle("straight"),
        turned_deg=angle("turned"),
        mass_kg=reading.within(weight.amount(1), KILOGRAMS, "a mass", 0) if weight else 0.0,
        mark=reading.origins.mark(
            *(line, line),
            ("on", line.items[1]),
            ("at", line.items[2]),
            *((kind, amount(kind)) for kind in ("ahead", "weighs", "straight", "turned")),
        ),
    )


def light_place(reading: Reading, sheet: Sheet) -> LightPlace | None:
    """On which part a lamp or a strip sits; None: nothing is said of it."""
    line = sheet.get("ride")
    if line is None:
        return None
    at_m = None
    if len(line.items) > 2:
        at_m = reading.tried(reading.within, line.amount(2), METRES, "a distance", 0)
    return LightPlace(str(line.token(1)), at_m)


def lights_on_parts(
    reading: Reading, entries: Sequence[Line], rig: Rig, outputs: Mapping[str, tuple[str, Token]]
) -> Rig:
    """The rig whose lights sit on servos that are there. Notes those that do not."""
    declared = [name for name, (kind, _) in outputs.items() if kind == "servo"]
    for line in (one for entry in entries for one in entry.lines() if one.kind == "ride"):
        on = str(line.token(1))
        if on in outputs and outputs[on][0] != "servo":
            kind = outputs[on][0]
            words = f"`{on}` is a {kind}, and a light can only sit on a servo's part"
            reading.error("wrong-kind", words, line.token(1))
        elif on not in declared:
            reading.unknown(line.token(1), "servo", declared)
    return replace(rig, outputs=tuple(_seated(one, declared) for one in rig.outputs))


def _seated(output: Output, declared: Collection[str]) -> Output:
    if isinstance(output, Lamp | Strip) and output.rides and output.rides.on not in declared:
        return replace(output, rides=None)
    return output


def _can_carry(
    reading: Reading,
    token: Token,
    name: str,
    on: str,
    outputs: Mapping[str, tuple[str, Token]],
) -> None:
    """Note why no part can stand on what a line names, if none can."""
    declared = [one for one, (kind, _) in outputs.items() if kind == "servo"]
    if on in outputs and on not in declared:
        reading.error(
            "wrong-kind",
            f"`{on}` is a {outputs[on][0]}, and a part can only stand on a servo's part",
            token,
        )
    elif on not in declared:
        reading.unknown(token, "servo", declared)
    elif on in reading.spinning:
        reading.error(
            "wrong-kind",
            f"`{on}` turns round and round, and a part can only stand on one that does not",
            token,
            help=f"put the mass of `{name}` into the `load` of `{on}` and take this line out",
        )


def on_sound_carriers(
    reading: Reading, entries: Sequence[Line], rig: Rig, outputs: Mapping[str, tuple[str, Token]]
) -> Rig:
    """The rig whose mounted parts stand on servos that are there, and in no circle.

    Notes what is wrong; such a part then counts as standing on the costume.
    """
    tokens = {
        str(entry.items[1]): line.token(1)
        for entry in entries
        for line in entry.lines()
        if line.kind == "mount"
    }
    servos = {one.name: one for one in rig.outputs if isinstance(one, Servo)}
    loose: set[str] = set()
    for name, servo in servos.items():
        if servo.mount is None:
            continue
        token = tokens[name]
        on = servo.mount.on
        _can_carry(reading, token, name, on, outputs)
        if on in reading.spinning:
            loose.add(name)
        circle = _circle(servos, name)
        if circle and name == min(circle):
            path = " on ".join(f"`{one}`" for one in (*circle, name))
            reading.error(
                "mounted-in-circle",
                f"`{name}` would stand on itself: {path}",
                token,
                help="one of them stands on the costume: take its `on` line out",
            )
        if on not in servos or circle:
            loose.add(name)
    loose |= _across_and_sliding(reading, servos, loose, tokens)
    loose |= _beyond_the_most(reading, servos, loose, tokens)
    return replace(
        rig,
        outputs=tuple(
            replace(one, mount=None) if isinstance(one, Servo) and one.name in loose else one
            for one in rig.outputs
        ),
    )


def _across_and_sliding(
    reading: Reading,
    servos: Mapping[str, Servo],
    loose: Collection[str],
    tokens: Mapping[str, Token],
) -> set[str]:
    """Parts with a turned hinge line in a chain of which a part slides; each is noted."""
    roots = {name: _root(servos, name, loose) for name in servos}
    sliding = {
        root: name for name, root in roots.items() if root is not None and name in reading.straight
    }
    surplus: set[str] = set()
    for name, servo in servos.items():
        root = roots[name]
        if servo.mount is None or not servo.mount.turned_deg or root not in sliding:
            continue
        reading.error(
            "wrong-kind",
            f"the hinge line of `{name}` is turned, and `{sliding[root]}` of the same parts moves "
            "along a line: the two together cannot be checked",
            tokens[name],
            help=f"let `{name}` stand on the costume, and put its mass into the `load` of what "
            "carries it",
        )
        surplus.add(name)
    return surplus


def _beyond_the_most(
    reading: Reading,
    servos: Mapping[str, Servo],
    loose: Collection[str],
    tokens: Mapping[str, Token],
) -> set[str]:
    """Parts over `MOST_IN_CHAIN` of one chain, with what they carry; the first of each is noted."""
    chains: dict[str, list[str]] = {}
    for name in servos:
        root = _root(servos, name, loose)
        if root is not None:
            chains.setdefault(root, []).append(name)
    surplus: set[str] = set()
    for root, names in chains.items():
        if len(names) <= MOST_IN_CHAIN:
            continue
        mounted = [name for name in names if name != root]
        reading.error(
            "chain-too-long",
            f"{len(names)} parts stand on `{root}` and on one another, and at most "
            f"{MOST_IN_CHAIN} are checked together",
            tokens[mounted[MOST_IN_CHAIN - 1]],
            f"number {MOST_IN_CHAIN + 1}",
            help="let some of them stand on the costume",
            asked=len(names),
            limit=MOST_IN_CHAIN,
        )
        surplus |= set(mounted)
    return surplus


def _root(servos: Mapping[str, Servo], name: str, loose: Collection[str]) -> str | None:
    """What carries the whole chain of a part; None for a part that is in none."""
    while name in servos and name not in loose:
        mount = servos[name].mount
        if mount is None:
            return name
        name = mount.on
    return name if name in servos else None


def _circle(servos: Mapping[str, Servo], name: str) -> tuple[str, ...]:
    """From `name` along what carries each, round to itself; empty if it is in no circle."""
    row = [name]
    while True:
        servo = servos.get(row[-1])
        if servo is None or servo.mount is None:
            return ()
        if servo.mount.on == name:
            return tuple(row)
        if servo.mount.on in row:
            return ()
        row.append(servo.mount.on)
