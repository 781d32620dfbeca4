"""Colours as a spreadsheet, a web page or a hurried hand writes them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

_SHARP: Final = re.compile(r"#([0-9A-Za-z]{1,12})(?![\w#])")
_TRIPLE: Final = re.compile(
    r"(?:rgb *)?\(? *([0-9]{1,3}) *[,;/] *([0-9]{1,3}) *[,;/] *([0-9]{1,3}) *\)?", re.IGNORECASE
)
_LEVEL_FIRST: Final = re.compile(
    r"([0-9]+(?:\.[0-9]+)? *%) *(?:of )?(#[0-9A-Fa-f]{6}|(?!anticipation|overshoot)[^\W\d]\w*)"
)
_AT_LEVEL: Final = re.compile(
    r"(?<=\w)(?<!anticipation)(?<!overshoot) +(?:at|with|by) +(?=[0-9]+(?:\.[0-9]+)? *%)"
)
_TWO_WORDS: Final = re.compile(r"(?<!\w)([A-Za-z]+)[ -]([A-Za-z]+)(?![\w-])")
_SHAPE: Final = "a colour is `#` and six hexadecimal digits, such as `#ff8000`"


def slips(line: Written) -> Iterator[Slip]:
    yield from _short(line)
    yield from _four(line)
    yield from _triple(line)
    yield from _order(line)
    yield from _two_words(line)


def _short(line: Written) -> Iterator[Slip]:
    """`#f51`: what is no whole colour is read as a comment."""
    halt = line.halt
    if halt is None or halt.at < len(line.text[: line.code_end].rstrip()):
        return
    found = _SHARP.match(line.text, line.code_end)
    if found is None or not {"COLOUR", "NAME", "QUANTITY"} & halt.due:
        return
    digits, span = found[1], found.span()
    if "COLOUR" not in halt.due:
        if digits.isdigit() and len(digits) <= 2:
            yield Slip(
                f"`{found[0]}` starts a comment",
                *span,
                help=f"a gauge is written `{digits} AWG`",
                edits=((*span, f"{digits} AWG"),),
                certain=True,
            )
        return
    plain = re.fullmatch(r"[0-9A-Fa-f]+", digits) is not None
    whole = None
    if plain and len(digits) == 3:
        whole = "#" + "".join(2 * digit for digit in digits)
    elif plain and len(digits) == 8:
        whole = "#" + digits[:6]
    yield Slip(
        f"`{found[0]}` is not a colour: {len(digits)} digits, where a colour has 6"
        if plain
        else f"`{found[0]}` is not a colour",
        *span,
        help=_SHAPE if whole is None else f"write `{whole}`",
        edits=() if whole is None else ((*span, whole),),
        certain=True,
    )


def _four(line: Written) -> Iterator[Slip]:
    found = re.search(r"\border +([a-zA-Z]{3}[wW]|[wW][a-zA-Z]{3})\b", line.text[: line.code_end])
    if found is not None:
        yield Slip(
            f"`{found[1]}` has four colours: strips with a white of its own are not driven",
            *found.span(1),
            help="take a strip of three colours, such as `order grb`",
            certain=True,
        )


def _triple(line: Written) -> Iterator[Slip]:
    for found in _TRIPLE.finditer(line.text, 0, line.code_end):
        values = [int(part) for part in found.groups()]
        if max(values) > 255:
            continue
        whole = "#" + "".join(f"{value:02x}" for value in values)
        end = found.end() - (len(found[0]) - len(found[0].rstrip()))
        start = found.start() + (len(found[0]) - len(found[0].lstrip()))
        yield Slip(
            f"`{line.text[start:end]}` is not a colour",
            start,
            end,
            help=f"colours are names or `#rrggbb`: `{whole}`",
            edits=((start, end, whole),),
        )


def _order(line: Written) -> Iterator[Slip]:
    """`40 % orange`, `orange at 40 %`."""
    for found in _LEVEL_FIRST.finditer(line.text, 0, line.code_end):
        instead = f"{found[2]} {found[1]}"
        yield Slip(
            "the colour comes before its level",
            *found.span(),
            help=f"write `{instead}`",
            edits=((*found.span(), instead),),
        )
    for found in _AT_LEVEL.finditer(line.text, 0, line.code_end):
        word = found[0].strip()
        start = found.start() + found[0].index(word)
        yield Slip(
            f"the level follows the colour without `{word}`",
            start,
            start + len(word),
            help=f"leave out `{word}`",
            edits=((*found.span(), " "),),
        )


def _two_words(line: Written) -> Iterator[Slip]:
    from sim.light.colours import COLOURS

    for start in [one.start() for one in re.finditer(r"(?<!\w)[A-Za-z]", line.text)]:
        found = _TWO_WORDS.match(line.text, start, line.code_end)
        if found is None:
            continue
        joined = (found[1] + found[2]).lower()
        if joined in COLOURS:
            yield Slip(
                f"`{found[0]}` is one word",
                *found.span(),
                help=f"write `{joined}`",
                edits=((*found.span(), joined),),
            )
        elif found[2].lower() in COLOURS and re.search(r"\bto +$", line.text[:start]):
            yield Slip(
                f"there is no colour `{found[0]}`",
                *found.span(),
                help=f"colours are names from CSS, such as `{found[2].lower()}`, or `#rrggbb`",
                certain=True,
                name="unknown-name",
            )
