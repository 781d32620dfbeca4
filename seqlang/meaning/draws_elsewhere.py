"""What is wrong with a draw in a cue that is not a strand of idle: first of all, that it is drawn.

Its units and limits would be told, mended, and be in vain.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

from seqlang.text.findings import Finding, Span
from seqlang.text.syntax import Ranged, place

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from seqlang.meaning.values import Reading
    from seqlang.text.source import Place
    from seqlang.text.syntax import CueText


def outside_idle(cue: str, span: Span) -> Finding:
    """The finding of something that is drawn in a cue that is not a strand of idle."""
    return Finding(
        "error",
        "draw-outside-idle",
        f"something is drawn here, and `{cue}` is not a strand of idle",
        span,
        help="give one amount, or let `idle: go` name the cue",
    )


def told_first(reading: Reading, text: CueText, begin: int) -> None:
    """Put that finding in the place of others that lie within a draw.

    `begin`: the number of findings before the cue was read.
    """
    name = str(text.name)
    new = reading.findings[begin:]
    if not new or reading.strands is None or name in reading.strands:
        return
    drawn = sorted(place(one) for one in _ranges(text.body))  # none lies in another one
    within = [_around(drawn, finding.span) for finding in new]
    told = [
        finding if place is None else outside_idle(name, place)
        for finding, place in zip(new, within, strict=True)
    ]
    reading.retell(begin, told)


def _around(places: Sequence[Place], span: Span) -> Span | None:
    """The one of the places, in the order of the text, that `span` lies in."""
    number = bisect_right(places, span.start, key=lambda one: one.start) - 1
    if number < 0 or span.end > places[number].end:
        return None
    return Span(span.path, *places[number])


def _ranges(tree: object) -> Iterator[Ranged]:
    if isinstance(tree, Ranged):
        yield tree
    elif isinstance(tree, tuple | list):
        for part in tree:
            yield from _ranges(part)
