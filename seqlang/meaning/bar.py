"""Strips that show how bright a lamp is: `shows LAMP [from the end | from the middle]`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lark import Token

from sim.model import Lamp, LevelBar, Strip
from sim.rulebook import BAR_ENDS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from seqlang.meaning.pose import OutputKind
    from seqlang.meaning.values import Reading
    from seqlang.text.syntax import Line
    from sim.model import Rig


def bars(
    reading: Reading,
    entries: Sequence[Line],
    rig: Rig,
    outputs: Mapping[str, tuple[OutputKind, Token]],
) -> tuple[LevelBar, ...]:
    """What the strips of the rig show; the first of several lines of a strip counts."""
    lamps = {one.name for one in rig.outputs if isinstance(one, Lamp)}
    strips = {one.name for one in rig.outputs if isinstance(one, Strip)}
    made: dict[str, LevelBar] = {}
    for entry in entries:
        name = str(entry.items[1])
        for line in (one for one in entry.lines() if one.kind == "shows"):
            one = reading.on_its_way(entry, _bar, reading, line, name, outputs)
            if one is not None and name in strips and one.lamp in lamps:
                made.setdefault(name, one)
    return tuple(made.values())


def _bar(
    reading: Reading, line: Line, strip: str, outputs: Mapping[str, tuple[OutputKind, Token]]
) -> LevelBar:
    """One line. Raises Fault."""
    lamp = line.token(1)
    kind, _ = outputs.get(str(lamp), ("", None))
    if kind and kind != "lamp":
        reading.error(
            "wrong-kind",
            f"`{lamp}` is a {kind}, and a strip shows how bright a lamp is",
            lamp,
            help=f"let a lamp follow what `{strip}` is to show, and the strip show that lamp",
        )
    elif not kind:
        reading.unknown(lamp, "lamp", [one for one, (what, _) in outputs.items() if what == "lamp"])
    words = " ".join(str(line.items[2]).split()) if len(line.items) > 2 else ""
    end = BAR_ENDS.index(words.removeprefix("from ")) if words else 0
    return LevelBar(strip, str(lamp), end, reading.origins.mark(line, line, ("lamp", lamp)))
