"""Trims of lights, set by eye, put into a show's text: only those numbers of it change.

The text may say a trim by a constant, or in brackets for several like lights. So nothing here reads
the text for itself. It is changed, read anew, and held against what was set; a change that would
reach another light is refused.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from seqlang.calibration import reread
from seqlang.text.findings import Fix, Span, applied
from seqlang.text.units import parse_quantity
from sim.model import Lamp, Strip
from sim.rulebook import TRIM_ONE

if TYPE_CHECKING:
    from seqlang.loading import Loaded
    from seqlang.text.findings import Origin

_PARTS: Final = ("trim", "balance 1", "balance 2", "balance 3")
"""Of a light's origin, in the order of its percents; a lamp has the first only."""
_LINE: Final = re.compile(r"([ \t]+)([a-z]+)([ \t]+)")
_INDENT: Final = "    "
_COLUMN: Final = 12
"""Of what a line says, from its indentation, where no line below says another one."""


class TrimRefusedError(Exception):
    """The text cannot hold the trims; its words say why."""


@dataclass(frozen=True, slots=True)
class Retrimmed:
    """A show's text with other trims. `fix` is None if they stand there already."""

    fix: Fix | None
    loaded: Loaded
    """The show as it reads with the change."""


def said_trims(loaded: Loaded) -> dict[str, tuple[float, ...]]:
    """By light, the percents of its trim and of a strip's balance as the text has them.

    A light of which it says them in other words than as percents is not there.
    """
    found = {}
    for light in _lights(loaded):
        origin = loaded.origins[light.mark]
        try:
            percents = tuple(_percent(loaded, origin, part) for part in _PARTS[: _count(light)])
        except (KeyError, ValueError, ZeroDivisionError):
            continue
        if trims_of(percents) == _shares(light):
            found[light.name] = percents
    return found


def trims_of(percents: tuple[float, ...]) -> tuple[float, ...]:
    """The shares of a light's channels, in the steps of a table."""
    whole, *balance = percents
    shares = [whole * one / 10000.0 for one in balance] or [whole / 100.0]
    return tuple(max(1, round(TRIM_ONE * share)) / TRIM_ONE for share in shares)


def retrimmed(loaded: Loaded, wanted: Mapping[str, tuple[float, ...]]) -> Retrimmed:
    """The show with these percents (1 to 100; of the trim, then of a strip's balance) for lights.

    `loaded` has no errors of reading. Raises TrimRefusedError for a light that there is not, for
    percents that are none, if the text cannot hold them, and if another light would change.
    """
    lights = {light.name: light for light in _lights(loaded)}
    said = said_trims(loaded)
    for name, percents in wanted.items():
        if name not in lights:
            raise TrimRefusedError(f"there is no lamp or strip `{name}`")
        light = lights[name]
        if len(percents) != _count(light) or not all(1 <= one <= 100 for one in percents):
            raise TrimRefusedError(
                f"`{name}` takes {_count(light)} shares from 1 % to 100 %, and was given "
                f"{', '.join(f'{one:g} %' for one in percents) or 'none'}"
            )
    changes = _changes(loaded, {**said, **wanted}, wanted)
    if not changes:
        return Retrimmed(None, loaded)
    (first, *more) = changes.items()
    fix = Fix(*first, tuple(more))
    after = _read_with(loaded, fix)
    _demand_only(loaded, after, wanted)
    return Retrimmed(fix, after)


def _changes(
    loaded: Loaded,
    percents: Mapping[str, tuple[float, ...]],
    wanted: Mapping[str, tuple[float, ...]],
) -> dict[Span, str]:
    """What stands in the place of each number that differs; lines where there were none.

    A number, or the place of a line, may be that of several lights, described once. Then all of
    them have their say in it.
    """
    numbers: dict[Span, dict[str, int]] = {}
    heads: dict[Span, list[str]] = {}
    lights = {light.name: light for light in _lights(loaded)}
    for name, light in lights.items():
        origin = loaded.origins[light.mark]
        parts = dict(origin.parts)
        for n, part in enumerate(_PARTS[: _count(light)]):
            if part in parts:
                numbers.setdefault(_place(parts[part]), {})[name] = n
        head = Span(origin.span.path, origin.span.start, origin.span.start)
        heads.setdefault(head, []).append(name)  # where it ends hangs on the side's pin
    said = said_trims(loaded)
    found = {}
    for span, at in numbers.items():
        if any(name in wanted and wanted[name] != said.get(name) for name in at):
            words = _together(_all_of(loaded, span, percents, at))
            if words != loaded.sources[span.path].text[span.start : span.end]:
                found[span] = words
    for span, names in heads.items():
        if wanted.keys() & names:
            parts = dict(loaded.origins[lights[names[0]].mark].parts)
            lines = _new_lines(loaded, span, percents, names, parts.keys())
            if lines:
                place, words = _inserted(loaded, span, lines)
                found[place] = words
    return found


def _place(span: Span) -> Span:
    """The place in the text alone, whichever side or thing led there."""
    return Span(span.path, span.start, span.end)


def _all_of(
    loaded: Loaded, span: Span, percents: Mapping[str, tuple[float, ...]], at: Mapping[str, int]
) -> dict[str, float]:
    """By light, what a number that is theirs together is to say."""
    for name in at:
        if name not in percents:
            line = loaded.sources[span.path].line_number(span.start)
            raise TrimRefusedError(
                f"{span.path}:{line}: the text says the trim of `{name}` here too, in other words "
                "than as a share; choose it as well"
            )
    return {name: percents[name][n] for name, n in at.items()}


def _new_lines(
    loaded: Loaded,
    span: Span,
    percents: Mapping[str, tuple[float, ...]],
    names: Sequence[str],
    there: Collection[str],
) -> list[tuple[str, str]]:
    """The lines that lights of one header lack: the word that begins each, and what follows."""
    lines = []
    for word, parts in (("trim", _PARTS[:1]), ("balance", _PARTS[1:])):
        if parts[0] in there or len(percents.get(names[0], ())) < len(parts):
            continue
        amounts = [
            _all_of(loaded, span, percents, dict.fromkeys(names, _PARTS.index(part)))
            for part in parts
            if len(percents[names[0]]) > _PARTS.index(part)
        ]
        if any(one != 100 for values in amounts for one in values.values()):
            lines.append((word, ", ".join(map(_together, amounts))))
    return lines


def _together(values: Mapping[str, float]) -> str:
    """What one number says for several lights: itself, or a value for each in brackets.

    Their names tell whether they are both sides, a row, or a row on both sides.
    """
    first = next(iter(values.values()))
    if all(one == first for one in values.values()):
        return f"{first:g} %"
    sides: dict[str, dict[str, float]] = {}
    for name, one in values.items():
        side, _, rest = name.partition("_")
        sides.setdefault(side, {})[rest] = one
    if len(sides) > 1 and len({tuple(rest) for rest in sides.values()}) == 1:
        each = (f"{side}: {_together(rest)}" for side, rest in sides.items())
        return f"({', '.join(each)})"
    return f"({', '.join(f'{one:g} %' for one in values.values())})"


def _inserted(loaded: Loaded, head: Span, lines: list[tuple[str, str]]) -> tuple[Span, str]:
    """Lines behind a light's header, set as the line that follows it is."""
    text = loaded.sources[head.path].text
    end = text.find("\n", head.end)
    end = len(text) if end < 0 else end
    header = text[text.rfind("\n", 0, head.start) + 1 : head.start]
    inset = header[: len(header) - len(header.lstrip(" \t"))]
    below = _LINE.match(text, end + 1)
    if below is not None and len(below[1]) <= len(inset):
        below = None  # what follows belongs to another thing
    indent = below[1] if below else inset + _INDENT
    column = len(below[2] + below[3]) if below else _COLUMN
    written = []
    for word, amounts in lines:
        written.append(f"\n{indent}{word:<{max(column, len(word) + 1)}}{amounts}")
    return Span(head.path, end, end), "".join(written)


def _demand_only(loaded: Loaded, after: Loaded, wanted: Mapping[str, tuple[float, ...]]) -> None:
    """All lights as they were, but those that are to change."""
    wrong = [finding for finding in after.findings if finding.severity == "error"]
    if wrong:
        raise TrimRefusedError(f"{wrong[0].message} ({wrong[0].name})")
    are = {light.name: _shares(light) for light in _lights(after)}
    for light in _lights(loaded):
        want = trims_of(wanted[light.name]) if light.name in wanted else _shares(light)
        if are.get(light.name) == want:
            continue
        if light.name in wanted:
            raise TrimRefusedError(
                f"the trim of `{light.name}` cannot be changed; write it by hand"
            )
        names = ", ".join(f"`{name}`" for name in wanted)
        raise TrimRefusedError(
            f"the trim of `{light.name}` would change with those of {names}; write them by hand"
        )


def _read_with(loaded: Loaded, fix: Fix) -> Loaded:
    sources = loaded.sources
    texts = {path: applied(sources[path].text, one) for path, one in fix.by_file.items()}
    return reread(next(iter(sources)), sources, texts)


def _lights(loaded: Loaded) -> list[Lamp | Strip]:
    outputs = loaded.show.rig.outputs if loaded.show else ()
    return [output for output in outputs if isinstance(output, Lamp | Strip)]


def _channels(light: Lamp | Strip) -> int:
    return 3 if isinstance(light, Strip) else 1


def _count(light: Lamp | Strip) -> int:
    """How many percents a light has: its trim, and a strip's balance."""
    return 4 if isinstance(light, Strip) else 1


def _shares(light: Lamp | Strip) -> tuple[float, ...]:
    return light.trims or (1.0,) * _channels(light)


def _percent(loaded: Loaded, origin: Origin, part: str) -> float:
    """A share as it is written, in percent; 100 where it is not. ValueError for other words."""
    span = dict(origin.parts).get(part)
    if span is None:
        return 100.0
    text = loaded.sources[span.path].text[span.start : span.end]
    return float(parse_quantity(text).value)
