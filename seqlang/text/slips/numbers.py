"""Numbers as other people write them: commas, thousands, letters that look like digits."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

COMMA: Final = re.compile(
    r"(?<![\w.,#])([0-9]+),([0-9]+)(?![\w.,]|-[0-9])|(?<![\w.,#])([0-9]+),([0-9]+)(?=[A-Za-z%])"
)
THOUSANDS: Final = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_GROUPED: Final = re.compile(
    r"(?<![\w.])[0-9]{1,3}(?:[ '_\u2019\u00a0\u202f\u2009][0-9]{3})+(?![0-9])"
)
_LOOKALIKE: Final = re.compile(
    r"(?<![\w.#-])-?[0-9lIOo|]*[0-9][0-9lIOo|]*(?:\.[0-9lIOo|]+)?(?![A-Za-z_]*[0-9])"
    r"|(?<![\w.#-])[lI](?= *(?:ms|s|min|h|A|V|kg|m|cm)\b)|(?<![\w.#-])O\.[0-9]+"
)
_BARE_POINT: Final = re.compile(r"(?<![\w.])\.[0-9]+")
_SIGNED: Final = re.compile(r"(?<![\w.) ])(?<=\s)[+~\u2248]([0-9])|(?<=to )\+([0-9])")
_POWER: Final = re.compile(r"(?<![\w.])([0-9]+(?:\.[0-9]+)?)[eE]([+-]?[0-9]{1,2})(?![\w.])")
_HEX: Final = re.compile(r"(?<![\w.])0[xX]([0-9A-Fa-f]{1,6})(?!\w)")
_CLOCK: Final = re.compile(
    r"(?<![\w.:])([0-9]{1,2}):([0-9]{2})(?![\w:])(?: *(h|hrs?|hours?|min)(?!\w))?"
)
_MIXED_TIME: Final = re.compile(
    r"(?<![\w.(])([0-9]+(?:\.[0-9]+)?) *(h|hr|hours?|min|mins|minutes?|m) *(?:and )?"
    r"([0-9]+(?:\.[0-9]+)?) *"
    r"(min|mins|minutes?|s|secs?|seconds?)(?!\w)"
)
_TIME_UNITS: Final = {"h": "h", "m": "min", "s": "s"}


def slips(line: Written) -> Iterator[Slip]:
    yield from _commas(line)
    yield from _grouped(line)
    yield from _lookalikes(line)
    yield from _spelt(line)
    yield from _suffixed(line)
    yield from _in_words(line)
    yield from _either_way(line)
    yield from _times(line)


def comma(written: str, start: int, end: int) -> Slip:
    """That the comma in a number does not fit; before three digits only the maker knows why."""
    point, whole = written.replace(",", "."), written.replace(",", "")
    if THOUSANDS.fullmatch(written):
        return Slip(
            f"the comma in `{written}` does not fit here",
            start,
            end,
            help=f"thousands are written without a comma, decimals with a point: `{whole}` or "
            f"`{point}`",
            certain=True,
        )
    return Slip(
        f"the comma in `{written}` does not fit here",
        start,
        end,
        help=f"decimals are written with a point: `{point}`",
        edits=((start, end, point),),
        certain=True,
    )


def _commas(line: Written) -> Iterator[Slip]:
    """`1,5 s`: the parser is content with the 1 and stumbles over something behind it."""
    halt = line.halt
    found = [
        one
        for one in COMMA.finditer(line.text, 0, line.code_end)
        if not line.quoted(one.start()) and (halt is None or one.start() <= halt.at)
    ]
    if not found:
        return
    yield comma(found[0][0], *found[0].span())


def _grouped(line: Written) -> Iterator[Slip]:
    for found in _GROUPED.finditer(line.text, 0, line.code_end):
        whole = re.sub(r"\D", "", found[0])
        yield Slip(
            f"`{found[0]}` is read as several numbers",
            *found.span(),
            help=f"the digits of a number stand together: `{whole}`",
            edits=((*found.span(), whole),),
        )


def _lookalikes(line: Written) -> Iterator[Slip]:
    """`l00 ms`, `6OO ms`: letters where digits should be."""
    for found in _LOOKALIKE.finditer(line.text, 0, line.code_end):
        if not re.search(r"[lIOo|]", found[0]) or found[0] in _names(line):
            continue
        digits = found[0].translate(str.maketrans("lIOo|", "11001"))
        yield Slip(
            f"`{found[0]}` has a letter where a digit should be",
            *found.span(),
            help=f"write `{digits}`",
            edits=((*found.span(), digits),),
            certain=True,
        )


def _names(line: Written) -> frozenset[str]:
    return frozenset().union(*line.around.names.values())


def _spelt(line: Written) -> Iterator[Slip]:
    """`.5`, `+30`, `1e3`, `0x10`."""
    for found in _BARE_POINT.finditer(line.text, 0, line.code_end):
        yield _number(found[0], found.span(), f"0{found[0]}", "a number starts with a digit")
    for found in _SIGNED.finditer(line.text, 0, line.code_end):
        start = found.start()
        sign = line.text[start]
        yield _number(sign, (start, start + 1), "", f"a number has no `{sign}` before it")
    for found in _POWER.finditer(line.text, 0, line.code_end):
        plain = f"{float(found[1]) * 10.0 ** int(found[2]):.12f}".rstrip("0").rstrip(".")
        yield _number(found[0], found.span(), plain, "numbers are written out")
    for found in _HEX.finditer(line.text, 0, line.code_end):
        if len(found[1]) == 6:
            yield _number(
                found[0], found.span(), f"#{found[1].lower()}", "a colour starts with `#`"
            )
        else:
            yield _number(found[0], found.span(), str(int(found[1], 16)), "numbers are decimal")


_SUFFIX: Final = re.compile(
    r"(?<![\w.#])([0-9]+(?:\.[0-9]+)?)(?:[fF]|[uU]?[lL]{1,2}|[uU])"
    r"(?= *(?:deg|rad|ms|us|s|mm|%|;|\)|$))(?![\w])"
)
_WORDS: Final = {
    **dict(zip(("ten", "twenty", "thirty", "forty", "fifty"), range(10, 60, 10), strict=True)),
    **dict(zip(("sixty", "seventy", "eighty", "ninety"), range(60, 100, 10), strict=True)),
    "fifteen": 15,
    "forty-five": 45,
    "a hundred": 100,
    "hundred": 100,
    "thousand": 1000,
}
_IN_WORDS: Final = re.compile(
    rf"\b({'|'.join(sorted(_WORDS, key=len, reverse=True))})"
    r"(?= +(?:deg|degrees?|ms|s|mm|%|percent)(?!\w))"
)
_SPAN: Final = re.compile(
    r"\b(an?|one|half an?) +(hours?|h|minutes?|mins?|seconds?|secs?|s)(?![\w/])"
)
_FRACTION: Final = re.compile(r"(?<![\w.(/])([1-9])/(2|4|5|8)(?= *(?:s|min|h|mm|cm|A|V)(?!\w))")
_PLUS_MINUS: Final = re.compile(r"(?:\u00b1|\+ */? *-|-/\+) *([0-9]+(?:\.[0-9]+)?)( *[a-z]+)?")


def _suffixed(line: Written) -> Iterator[Slip]:
    """`30.0f deg`, `900UL ms`: what other languages tell the kind of a number by."""
    found = [*_SUFFIX.finditer(line.text, 0, line.code_end)]
    if found:
        first = found[0]
        yield Slip(
            f"`{first[0]}` has letters behind its digits",
            *first.span(),
            help=f"write `{first[1]}`",
            edits=tuple((one.end(1), one.end(), "") for one in found),
            certain=True,
        )


def _in_words(line: Written) -> Iterator[Slip]:
    """`thirty deg`, `half a second`, `1/2 s`."""
    for found in _IN_WORDS.finditer(line.text, 0, line.code_end):
        digits = str(_WORDS[found[1]])
        yield Slip(
            f"`{found[1]}` is written in letters",
            *found.span(1),
            help=f"write `{digits}`",
            edits=((*found.span(1), digits),),
            certain=True,
        )
    for found in _SPAN.finditer(line.text, 0, line.code_end):
        unit = {"h": "h", "m": "min", "s": "s"}[found[2][0]]
        time = f"{'0.5' if found[1].startswith('half') else '1'} {unit}"
        yield Slip(
            f"`{found[0]}` is written in letters",
            *found.span(),
            help=f"write `{time}`",
            edits=((*found.span(), time),),
            certain=True,
        )
    for found in _FRACTION.finditer(line.text, 0, line.code_end):
        yield _number(
            found[0], found.span(), f"{int(found[1]) / int(found[2]):g}", "numbers are decimal"
        )


def _either_way(line: Written) -> Iterator[Slip]:
    """`tilt +/-10 deg`, `travel ±30 deg`."""
    found = _PLUS_MINUS.search(line.text, 0, line.code_end)
    if found is None:
        return
    amount = f"{found[1]}{found[2] or ''}"
    both = line.text.startswith("travel")
    instead = f"-{amount} to {amount}" if both else amount
    yield Slip(
        f"`{found[0]}` is not an amount" if both else "an amount cannot have a sign for both ways",
        *found.span(),
        help=f"write `{instead}`",
        edits=((*found.span(), instead),),
        certain=True,
    )


def _number(written: str, span: tuple[int, int], instead: str, why: str) -> Slip:
    hint = f"write `{instead}`" if instead else f"leave out `{written}`"
    return Slip(why, *span, help=hint, edits=((*span, instead),))


def _times(line: Written) -> Iterator[Slip]:
    for found in _MIXED_TIME.finditer(line.text, 0, line.code_end):
        units = _TIME_UNITS[found[2][0]], "min" if found[4].startswith("m") else "s"
        instead = f"({found[1]} {units[0]} + {found[3]} {units[1]})"
        yield Slip(
            f"`{found[0]}` is read as two times",
            *found.span(),
            help=f"a sum is written in brackets: `{instead}`",
            edits=((*found.span(), instead),),
        )
    for found in _CLOCK.finditer(line.text, 0, line.code_end):
        count = 60 * int(found[1]) + int(found[2])
        time = f"{count} min" if (found[3] or "").startswith("h") else f"{count} s"
        yield Slip(
            f"`{found[0]}` is not a time: a time is a number with its unit",
            *found.span(),
            help=f"write `{time}`"
            if found[3]
            else f"if these are minutes and seconds, write `{time}`",
            edits=((*found.span(), time),),
        )
