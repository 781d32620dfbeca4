"""What is described once and exists several times: headers, names, values that differ."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.names import RESERVED
from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

_OPEN, _CLOSE = r"[\[({<\"']*", r"[\])}>\"']*"
_MIRROR: Final = re.compile(
    rf"(?:mirror(?:ed|s)?|both +sides|sides?|twice)\b *[:=]? *{_OPEN} *([^\W\d]\w*)"
    rf"{_CLOSE}(?: *[,;/&|+<>-]+ *| +and +| +to +| +vs +| +or +| +){_OPEN}([^\W\d]\w*) *"
    rf"{_CLOSE} *:?$"
)
_MORE_SIDES: Final = re.compile(r"mirror +[^\W\d]\w*(?: *, *[^\W\d]\w*)(( *, *[^\W\d]\w*)+)$")
_NUMBERS: Final = (
    *("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"),
)
_ROW: Final = re.compile(
    r"rows?\b *(?:of\b)? *[:=x*\u00d7]? *[\[({]* *(?:1 *(?:\.\.+|-|:|\bto\b|\bthrough\b) *)?"
    rf"([0-9]+|{'|'.join(_NUMBERS)})\b *[\])}}]* *(?:x|times|pcs|pieces|things|of them)? *:?$",
    re.IGNORECASE,
)
_ROW_OF_NAMED: Final = re.compile(
    r"rows?\b *(?:of\b)? *(?P<name>[^\W\d]\w*?)_?(?: *[\[({] *| *[:=x*\u00d7] *| +)"
    r"(?P<count>[0-9]+) *[\])}]? *:?$"
)
"""A name is written where only the number of things is said."""
_NAMED: Final = re.compile(
    r"(?P<kind>servo|lamp|strip|switch) +(?P<name>[^\W\d]\w*?)(?P<count>_?\[ *\w* *\]|_?\( *\w* *\)"
    r"|_?\{ *\w* *\}| +[0-9]+|\*|#)(?= *:)(?P<plug>.*\bpins? *[\[({].*)?"
)
_AMOUNT: Final = r"-?[0-9]+(?:\.[0-9]+)?(?: *(?:%|[A-Za-z]+[\w./]*))?"
_LIST: Final = re.compile(r"[\[{<]([^\[\]{}<>]*,[^\[\]{}<>]*)[\]}>]")
_SPAN: Final = re.compile(
    rf"(?<!\w)\( *({_AMOUNT}) *(?:, *)?(?:\.\.+|\u2026| to | - )(?: *,)? *({_AMOUNT}) *\)"
)
_STEP: Final = re.compile(
    rf"\(( *{_AMOUNT}) *(?:,|;)? *(?:steps?(?: +of)?|(?:in +)?steps +of|stepping|by|inc(?:rement)?|"
    rf"delta|plus|each|every|then)(?: +by)? *[:=]? *\+?({_AMOUNT}) *\)"
)
_BARE_LIST: Final = re.compile(
    rf"^(leds|trim) +({_AMOUNT}(?:(?: *[,;/] *| +and +){_AMOUNT})+)(?=$| +of\b)"
)
_QUOTIENT: Final = re.compile(
    r"(?<![\w.(])(-?[0-9]+(?:\.[0-9]+)?) *([A-Za-z%]+[\w./]*?) */ *"
    r"(-?[0-9]+(?:\.[0-9]+)?) *([A-Za-z%]+[\w./]*)"
)


def slips(line: Written) -> Iterator[Slip]:
    """What is wrong with a header of sides or of a row, a name below it, or its values."""
    if line.halt is None:
        return
    if line.around.head is None:
        yield from _headers(line)
        yield from _names(line)
    if not line.text.startswith(("mirror", "row", "given", "travel")):
        yield from _values(line)


def _headers(line: Written) -> Iterator[Slip]:
    text = line.text[: line.code_end].rstrip()
    found = _MIRROR.match(text)
    if found is not None and not {found[1], found[2]} & RESERVED:
        message = "`mirror` names both sides, with a comma between"
        yield _header(line, "mirror", message, *found.groups())
    more = _MORE_SIDES.match(text)
    if more is not None:
        yield Slip(
            "what is mirrored has two sides, and a third is named here",
            *more.span(1),
            help="three or more like parts are a row: `row of 3`",
            certain=True,
        )
    found = _ROW.match(text)
    if found is not None:
        count = found[1].lower()
        number = count if count.isdigit() else str(_NUMBERS.index(count) + 2)
        yield _header(line, "row", "`row` says how many things are in it", number)
        return
    found = _ROW_OF_NAMED.match(text)
    if found is not None:
        name, number = found["name"], found["count"]
        yield Slip(
            f"a row has no name of its own: `{name}` stands below, behind what each of them is",
            0,
            len(text),
            help=f"write `row of {number}`",
            edits=((0, line.code_end, f"row of {number}"),),
            certain=True,
        )


def _header(line: Written, kind: str, message: str, *parts: str) -> Slip:
    made = f"mirror {', '.join(parts)}" if kind == "mirror" else f"row of {parts[0]}"
    at = 0 if line.halt is None else line.halt.at
    return Slip(
        message,
        at,
        at + max(1, len(line.word_at(at))),
        help=f"write `{made}`",
        edits=((0, line.code_end, made),),
        certain=True,
    )


def _names(line: Written) -> Iterator[Slip]:
    """`lamp tuft[3]: tail pin (PD3, PD5, PD6)`: how many there are is said by the row."""
    found = _NAMED.match(line.text, 0, line.code_end)
    if found is None or not found["plug"]:
        return
    yield Slip(
        f"`{found['name']}{found['count']}` is not a name: `row of` says how many there are",
        found.start("name"),
        found.end("count"),
        help=f"write `{found['name']}`, below `row of N`",
        edits=((*found.span("count"), ""),),
        certain=True,
    )


def _values(line: Written) -> Iterator[Slip]:
    """Values that differ, in other brackets, without them, or not one for each."""
    text = line.text[: line.code_end]
    sides = tuple(_sides(line))
    yield from sides
    if sides:
        return
    for found in _LIST.finditer(text):
        if line.quoted(found.start()) or not _list_due(line, found.start()):
            continue
        yield _in_brackets(found.span(), f"({found[1].strip()})")
    yield from _steps(line, text)
    bare = _BARE_LIST.match(text)
    if bare is not None:
        parts = ", ".join(re.split(r" *[,;/] *| +and +", bare[2].strip()))
        yield _in_brackets(bare.span(2), f"({parts})")


def _steps(line: Written, text: str) -> Iterator[Slip]:
    """`(1, by 2)`, `(1..3)`."""
    step = _STEP.search(text)
    if step is not None:
        yield _values_slip(
            "the first value and a step are joined by `, step`",
            step.span(),
            f"({step[1].strip()}, step {step[2].strip()})",
        )
    found = _SPAN.search(text)
    if found is not None and line.around.head != "cue":
        unit = found[1].partition(" ")[2]
        yield Slip(
            "brackets hold one value for each thing, or the first value and a step",
            *found.span(),
            help=f"such as `({found[1]}, step 1{unit and ' '}{unit})`: each has that much more "
            "than the one before it",
            certain=True,
        )


def _list_due(line: Written, at: int) -> bool:
    """Whether reading stops at a list in brackets of another kind."""
    halt = line.halt
    return halt is not None and halt.at in (at, at + 1)


def _sides(line: Written) -> Iterator[Slip]:
    """`port: 4 us, starboard: -6 us` without brackets, `(port 4 us, starboard -6 us)`."""
    sides = line.around.names.get("side", frozenset())
    if len(sides) != 2 or line.halt is None:
        return
    text = line.text[: line.code_end]
    one, other = sorted(sides)
    value = rf"({_AMOUNT}|#[0-9A-Fa-f]{{6}}|(?!(?:{one}|{other})\b)[^\W\d]\w*)"
    side = rf"({one}|{other})"
    pair = re.compile(
        rf"(?:[\[({{] *)?(?<!\w){side} *(?:[:=]|->|is\b)? *{value} *(?:[,;/|]|\band\b)* *"
        rf"{side} *(?:[:=]|->|is\b)? *{value}(?: *[\])}}])?"
    )
    found = pair.search(text)
    if found is not None and found[1] != found[3]:
        made = f"({found[1]}: {found[2].strip()}, {found[3]}: {found[4].strip()})"
        if made != found[0]:
            yield _values_slip(
                "values that differ from side to side are written in brackets, each behind its "
                "side and `:`",
                found.span(),
                made,
            )
        return
    alone = re.search(rf"\( *{side} *: *{value} *\)", text)
    if alone is not None:
        missing = other if alone[1] == one else one
        yield Slip(
            f"the value for `{missing}` is missing",
            *alone.span(),
            help=f"such as `({alone[1]}: {alone[2]}, {missing}: {alone[2]})`",
            certain=True,
        )
    quotient = _QUOTIENT.search(text)
    if quotient is not None and quotient[2] == quotient[4]:
        first, last = (f"{quotient[n]} {quotient[4]}" for n in (1, 3))
        such = f"({min(sides)}: {first}, {max(sides)}: {last})"
        yield Slip(
            "values that differ from side to side are written in brackets, each behind its side",
            *quotient.span(),
            help=f"such as `{such}`",
            certain=True,
        )
    if line.around.head == "cue":
        return
    one_side = re.search(rf"^[a-z]+ +{side} *[:=]? *{value} *$", text)
    if one_side is not None:
        yield Slip(
            "the values of both sides stand in one line",
            one_side.start(1),
            one_side.end(),
            help=f"such as `({one}: {one_side[2]}, {other}: {one_side[2]})`",
            certain=True,
        )


def _in_brackets(span: tuple[int, int], made: str) -> Slip:
    return _values_slip("values that differ are written in round brackets", span, made)


def _values_slip(message: str, span: tuple[int, int], made: str) -> Slip:
    return Slip(
        message,
        *span,
        help=f"write `{made}`",
        edits=((*span, made),),
        certain=True,
    )
