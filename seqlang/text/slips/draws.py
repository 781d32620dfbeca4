"""Draws: two ends without `..` between them, and `..` where nothing is drawn.

Whether a line stands in a strand of idle, where alone something is drawn, a line does not know. So
these slips are told in words.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip
from seqlang.text.units import UNITS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

_AMOUNT: Final = r"(-?[0-9]+(?:\.[0-9]+)?) *(%|[A-Za-z]+)?"
_ENDS: Final = re.compile(
    r"(?<!\w)(?:hold|in|to) +"
    rf"(?P<draw>(?P<between>(?:between|random(?:ly)?|from) +)?{_AMOUNT}"
    r"(?: *(\u00b1|\+ */? *-) *"
    r"| *(?P<apart>\.\.\.+|~|\. +\.|\u2026| (?:to|till|until|up +to|and) | - ) *)"
    rf"{_AMOUNT})(?![\w.])"
)
_CALLED: Final = re.compile(
    rf"(?<!\w)(?:hold|in|to) +(rand\w* *\( *{_AMOUNT} *, *{_AMOUNT} *\))", re.IGNORECASE
)
_OPEN: Final = re.compile(r"[\w%)] *(\.\.) *(?=$|,|in +[0-9])")
_DRAWN: Final = re.compile(rf"{_AMOUNT} *\.\. *{_AMOUNT} *$")
_FIGURE: Final = re.compile(r"(?<!\w)[0-9]+(?:\.[0-9]+)? *(?:%|[A-Za-z]+)? *$")


def slips(line: Written) -> Iterator[Slip]:
    """What is wrong with a draw in a line of a cue, or with `..` in a constant."""
    if line.around.head not in ("cue", "gesture") and not line.text.startswith("given"):
        return
    yield from _half(line)
    found = _ENDS.search(line.text, 0, line.code_end)
    ends = None if found is None else _ends(found)
    halt = line.halt
    if found is not None and ends is not None:
        yield Slip(
            "between the ends of a draw stands `..`",
            *found.span("draw"),
            help=f"write `{ends}`: it is drawn anew at each pass, in a strand of idle",
            certain=True,
        )
    elif (
        halt is not None
        and line.text.startswith("..", halt.at)
        and _FIGURE.search(line.text[: halt.at])
    ):
        is_third = _DRAWN.search(line.text[: halt.at])
        yield Slip(
            "a draw has two ends, and a third is begun here"
            if is_third
            else "waits, targets and durations are drawn, and nothing else",
            halt.at,
            halt.at + 2,
            help="write the least and the most" if is_third else "write one amount",
            certain=True,
        )


def _half(line: Written) -> Iterator[Slip]:
    """`random(2 s, 6 s)`, and a draw with one end."""
    called = _CALLED.search(line.text, 0, line.code_end)
    if called is not None:
        _, low, unit, high, last_unit = called.groups()
        units = [one for one in (unit or last_unit, last_unit or unit) if one]
        ends = f"{low} {units[0]} .. {high} {units[1]}" if units else f"{low} s .. {high} s"
        yield Slip(
            f"`{called[1]}` calls something: what is drawn has `..` between its ends",
            *called.span(1),
            help=f"such as `{ends}`, in a strand of idle",
            certain=True,
        )
    half = _OPEN.search(line.text, 0, line.code_end)
    if half is not None and line.halt is not None:
        yield Slip(
            "the second end of this draw is missing",
            *half.span(1),
            help="what is drawn has two ends, such as `20 % .. 60 %`",
            certain=True,
        )


def _ends(found: re.Match[str]) -> str | None:
    """What was meant, as it is written; None where it was not a draw."""
    _, between, low, unit, both_ways, apart, high, last_unit = found.groups()
    unit, last_unit = unit or last_unit or "", last_unit or unit or ""
    if (apart or "").strip() == "and" and not (between or "").startswith("between"):
        return None
    if not {unit, last_unit} <= {*UNITS} or UNITS[unit][1] != UNITS[last_unit][1]:
        return None
    first, last = float(low), float(high)
    if unit != last_unit:
        return None if both_ways else f"{first:g} {unit} .. {last:g} {last_unit}"
    if both_ways:
        first, last = first - last, first + last
    return f"{first:g} {unit} .. {last:g} {unit}" if first < last else None
