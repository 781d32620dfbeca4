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
_OTHERS: Final = r"(?:, +| *[:|] *| *(?:<|->|\bthru\b|\bthrough\b) *)"
_ENDS: Final = re.compile(
    r"(?<!\w)(?:hold|in|to) +"
    rf"(?P<draw>(?P<between>(?:between|random(?:ly)?|from) +)?{_AMOUNT}"
    r"(?: *(\u00b1|\+ */? *-) *"
    r"| *(?P<apart>\.\.\.+|~|\. +\.|\u2026| (?:to|till|until|up +to|and) | - | *\u2013 *) *)"
    rf"{_AMOUNT})(?![\w.])"
)
_BY_CHANCE: Final = re.compile(
    r"(?<!\w)(?:hold|in|to) +((?:random(?:ly)?|rand|between|from|any(?:where)?(?: +from)?) +)"
    rf"{_AMOUNT} *\.\."
)
_CALLED: Final = re.compile(
    rf"(?<!\w)(?:hold|in|to) +(rand\w* *\( *{_AMOUNT} *, *{_AMOUNT} *\))", re.IGNORECASE
)
_OPEN: Final = re.compile(r"[\w%)] *(\.\.) *(?=$|,|in +[0-9])")
_DRAWN: Final = re.compile(rf"{_AMOUNT} *\.\. *{_AMOUNT} *$")
_BRACKETED: Final = re.compile(
    rf"(?<!\w)(?:hold|in|to) *([\[({{] *{_AMOUNT} *(?:\.\.+|,|;|:|-|\bto\b) *{_AMOUNT} *[\])}}])"
)
_JOINED: Final = re.compile(rf"(?<!\w)hold +({_AMOUNT}(?:{_OTHERS}|-){_AMOUNT})(?= *$)")
_LEAST: Final = re.compile(
    r"(?<!\w)(hold|in|to) +(at +least|at +most|up +to|max(?:imum)?|min(?:imum)?|more +than"
    r"|less +than|over|under|>=?|<=?) *-?[0-9]"
)
_DARK: Final = re.compile(r"\bfade +to +(off) *\.\. *[0-9]")
_COLOURED: Final = re.compile(
    r"\bfade +to +((?:#[0-9A-Fa-f]{6}|[^\W\d]\w*)(?: +[0-9.]+ *%)?) *(\.\.) *"
    r"((?:#[0-9A-Fa-f]{6}|[^\W\d]\w*)?(?: *[0-9.]+ *%)?)"
)
_HANDED: Final = re.compile(
    rf"^\s*(?:gesture|play)\b.*?([^\W\d]\w*) +(?P<draw>{_AMOUNT} *\.\. *{_AMOUNT})"
)
_FIGURE: Final = re.compile(r"(?<!\w)[0-9]+(?:\.[0-9]+)? *(?:%|[A-Za-z]+)? *$")


def slips(line: Written) -> Iterator[Slip]:
    """What is wrong with a draw in a cue or for a gesture, or with `..` in a constant."""
    handed = _HANDED.search(line.text, 0, line.code_end)
    if handed is not None and line.halt is not None:
        yield _handed(handed)
        return
    if line.around.head not in ("cue", "gesture") and not line.text.startswith("given"):
        return
    yield from _half(line)
    bracketed = tuple(_bracketed(line))
    yield from bracketed
    if bracketed:
        return
    found = _ENDS.search(line.text, 0, line.code_end)
    ends = None if found is None else _ends(found)
    halt = line.halt
    coloured = _coloured(line)
    if coloured is not None:
        yield coloured
    elif found is not None and ends is not None:
        yield Slip(
            "the two ends of a draw are joined by `..`",
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
            else "only waits, targets and durations can be drawn",
            halt.at,
            halt.at + 2,
            help="write the least and the most" if is_third else "write one amount",
            certain=True,
        )


def _handed(found: re.Match[str]) -> Slip:
    """`gesture wink: pace 200 ms .. 300 ms`, `play wink, pace 200 ms .. 300 ms`."""
    name, _, low, unit, *_ = found.groups()
    amount = f"{low} {unit}" if unit else low
    return Slip(
        "what a gesture is given is one amount, and nothing is drawn of it",
        *found.span("draw"),
        help=f"give it one end, such as `{name} {amount}`, and write the draw into the gesture: "
        f"`{name} .. (130 % * {name})`",
        certain=True,
    )


def _coloured(line: Written) -> Slip | None:
    """`belly fade to orange 20 % .. 40 %`: nothing of a colour is drawn."""
    found = _COLOURED.search(line.text, 0, line.code_end)
    if (
        found is None
        or line.halt is None
        or found[1] in ("off", *line.around.names.get("given", ()))
    ):
        return None
    return Slip(
        "the light of a strip is not drawn, neither its colour nor its level",
        *found.span(2),
        help=f"write `{found[1].strip()}`, or let `one of` choose among several fades",
        certain=True,
    )


def _bracketed(line: Written) -> Iterator[Slip]:
    """`hold (2 s .. 5 s)`, `hold [2, 5] s`, `hold 2 s, 5 s`, `hold at least 2 s`."""
    for pattern in (_BRACKETED, _JOINED):
        found = pattern.search(line.text, 0, line.code_end)
        if found is None or line.halt is None:
            continue
        _, low, unit, high, last_unit = found.groups()
        ends = _two_ends(low, unit, high, last_unit)
        if ends is not None and ".." in found[1]:
            yield Slip(
                "a draw has no brackets around it",
                *found.span(1),
                help=f"write `{ends}`",
                edits=((*found.span(1), f"{ends}"),),
                certain=True,
            )
        elif ends is not None:
            yield Slip(
                "the two ends of a draw are joined by `..`",
                *found.span(1),
                help=f"write `{ends}`: it is drawn anew at each pass, in a strand of idle",
                certain=True,
            )
        return
    least = _LEAST.search(line.text, 0, line.code_end)
    if least is not None:
        yield Slip(
            f"`{least[2]}` says one end, and nothing chooses the other",
            *least.span(2),
            help="what is drawn has two ends, such as `hold 2 s .. 6 s`, in a strand of idle",
            certain=True,
        )
    dark = _DARK.search(line.text, 0, line.code_end)
    if dark is not None:
        yield Slip(
            "`off` cannot be an end of a draw",
            *dark.span(1),
            help="write `0 %`",
            edits=((*dark.span(1), "0 %"),),
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
            f"`{called[1]}` looks like a call: what is drawn has `..` between its ends",
            *called.span(1),
            help=f"such as `{ends}`, in a strand of idle",
            certain=True,
        )
    chance = _BY_CHANCE.search(line.text, 0, line.code_end)
    if chance is not None:
        yield Slip(
            f"`..` alone says that something is drawn: `{chance[1].strip()}` does not fit here",
            chance.start(1),
            chance.start(1) + len(chance[1].strip()),
            help=f"leave out `{chance[1].strip()}`",
            edits=((*chance.span(1), ""),),
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
    if (apart or "").strip() == "and" and not (between or "").startswith("between"):
        return None
    if not both_ways:
        return _two_ends(low, unit, high, last_unit)
    unit, last_unit = unit or last_unit, last_unit or unit
    if unit not in UNITS or unit != last_unit:
        return None
    middle, way = float(low), float(high)
    return f"{middle - way:g} {unit} .. {middle + way:g} {unit}" if way > 0 else None


def _two_ends(low: str, unit: str | None, high: str, last_unit: str | None) -> str | None:
    """Both ends with their units, the least first; None where they are of two kinds."""
    unit, last_unit = unit or last_unit or "", last_unit or unit or ""
    if not {unit, last_unit} <= {*UNITS} or UNITS[unit][1] != UNITS[last_unit][1]:
        return None
    first, last = float(low), float(high)
    if first * UNITS[unit][0] >= last * UNITS[last_unit][0]:
        return None
    return f"{first:g} {unit} .. {last:g} {last_unit}"
