"""Cues that go as far as a channel or a sensor says: `as far as SOURCE from A to B, C to D`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from seqlang.meaning.notes import Fault
from seqlang.meaning.sources import CHANNEL, SENSOR, SourceMeasure
from seqlang.meaning.sources import value as value_of
from sim.model import Scaling

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

    from lark import Token

    from seqlang.meaning.values import Reading
    from seqlang.text.syntax import Amount, CueText, Line
    from sim.model import Rig

_WITH_SHARES: Final = 7
"""Items of a line that states how far the cue goes at each value."""


class Scalers(NamedTuple):
    """All channels and sensors that are declared, and the measures of those that are complete."""

    declared: Collection[str]
    known: Mapping[str, SourceMeasure]


def sources_of(rig: Rig, declared: Collection[str]) -> Scalers:
    known = dict.fromkeys((one.name for one in rig.channels), CHANNEL)
    return Scalers(declared, known | dict.fromkeys((one.name for one in rig.sensors), SENSOR))


def scaled_by(cues: Iterable[CueText]) -> frozenset[str]:
    """The names of all that some cue is scaled by, or shall be."""
    return frozenset(str(cue.scaling.items[1]) for cue in cues if cue.scaling is not None)


def scaling(reading: Reading, line: Line, sources: Scalers) -> Scaling:
    """What a cue's header says of how far it goes. Raises Fault."""
    token = line.token(1)
    if str(token) not in sources.declared:
        reading.unknown(token, "channel or sensor", sources.declared)
    source = sources.known.get(str(token))
    otherwise = next((one.amount(1) for one in line.lines()), None)
    stated = len(line.items) - (otherwise is not None) >= _WITH_SHARES
    first = reading.tried(_end, reading, line, 3, 5 if stated else None, source)
    last = reading.tried(_end, reading, line, 4, 6 if stated else None, source)
    beyond = None if otherwise is None else reading.tried(_share, reading, otherwise)
    if first is None or last is None or (beyond is None and otherwise is not None):
        raise Fault
    if not stated:
        first, last = first._replace(share_pct=0.0), last._replace(share_pct=100.0)
    if first.value == last.value:
        _one_value(reading, line, token)
    if first.value > last.value:
        first, last = last, first
    least = min(first.share_pct, last.share_pct)
    return Scaling(
        *(str(token), first.value, last.value, first.share_pct, last.share_pct),
        least if beyond is None else beyond,
        mark=reading.origins.mark(line, line, ("source", token), ("otherwise", otherwise)),
    )


class _End(NamedTuple):
    """A value of the source, and how far the cue goes then."""

    value: float
    share_pct: float


def _end(
    reading: Reading, line: Line, at: int, share_at: int | None, source: SourceMeasure | None
) -> _End:
    """An end by the places of its value and of its share. Raises Fault."""
    value = None
    if source is not None:
        value = reading.tried(value_of, reading, line.amount(at), source)
    share = 0.0
    if share_at is not None:
        found = reading.tried(_share, reading, line.amount(share_at))
        share = -1.0 if found is None else found
    if value is None or share < 0.0:
        raise Fault
    return _End(value, share)


def _share(reading: Reading, amount: Amount) -> float:
    return reading.percent(amount, "how far a cue goes")


def _one_value(reading: Reading, line: Line, token: Token) -> None:
    """Raises Fault."""
    first, last = (reading.text(line.amount(at)) for at in (3, 4))
    reading.error(
        "number-out-of-range",
        f"`{token}` would set two shares at one value: it goes from `{first}` to `{last}`",
        line.amount(4),
        help="state two different values, and how far the cue goes at each",
    )
    raise Fault
