"""Trims of lights, set by eye, put into a show's text: only those numbers of it change.

The text may say a trim by a constant, or in brackets for several like lights. So nothing here reads
the text for itself. It is changed, read anew, and held against what was set; a change that would
reach another light is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
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
    changes: dict[Span, str] = {}
    for name, percents in wanted.items():
        if name not in lights:
            raise TrimRefusedError(f"there is no lamp or strip `{name}`")
        light = lights[name]
        if len(percents) != _count(light) or not all(1 <= one <= 100 for one in percents):
            raise TrimRefusedError(
                f"`{name}` takes {_count(light)} shares from 1 % to 100 %, and was given "
                f"{', '.join(f'{one:g} %' for one in percents) or 'none'}"
            )
        for span, words in _changes(loaded, light, percents, said.get(name)):
            if changes.setdefault(span, words) != words:
                raise _shared(loaded, name, span)
    if not changes:
        return Retrimmed(None, loaded)
    (first, *more) = changes.items()
    fix = Fix(*first, tuple(more))
    after = _read_with(loaded, fix)
    _demand_only(loaded, after, wanted)
    return Retrimmed(fix, after)


def _changes(
    loaded: Loaded, light: Lamp | Strip, percents: tuple[float, ...], said: tuple[float, ...] | None
) -> Iterator[tuple[Span, str]]:
    """What stands in the place of each number that differs; a line where there was none."""
    origin = loaded.origins[light.mark]
    parts = dict(origin.parts)
    for n, part in enumerate(_PARTS[: len(percents)]):
        if part in parts and (said is None or said[n] != percents[n]):
            yield parts[part], f"{percents[n]:g} %"
    lines = [
        f"{word} {', '.join(f'{one:g} %' for one in amounts)}"
        for word, amounts, part in (
            ("trim", percents[:1], "trim"),
            ("balance", percents[1:], "balance 1"),
        )
        if part not in parts and any(one != 100 for one in amounts)
    ]
    if lines:
        yield _inserted(loaded, origin, lines)


def _inserted(loaded: Loaded, origin: Origin, lines: list[str]) -> tuple[Span, str]:
    """Lines behind the light's first one, set as the line that follows it is."""
    head = origin.span
    text = loaded.sources[head.path].text
    end = text.find("\n", head.end)
    end = len(text) if end < 0 else end
    below = _LINE.match(text, end + 1)
    indent = below[1] if below else _INDENT
    column = len(below[2] + below[3]) if below else _COLUMN
    written = []
    for line in lines:
        word, amounts = line.split(" ", 1)
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
            f"in the text one number is the trim of {names} and of `{light.name}`; choose them "
            "together, or write there by hand a value for each, in brackets"
        )


def _shared(loaded: Loaded, name: str, span: Span) -> TrimRefusedError:
    line = loaded.sources[span.path].line_number(span.start)
    return TrimRefusedError(
        f"{span.path}:{line}: one number here is the trim of `{name}` and of another light, and "
        "now they differ; write here by hand a value for each, in brackets"
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
