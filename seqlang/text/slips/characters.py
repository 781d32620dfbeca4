"""Characters that a keyboard did not write: typographic quotes, dashes, spaces and signs."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

DASHES: Final = "\u2010\u2011\u2012\u2013\u2014\u2212\ufe63"
TIMES: Final = "\u00d7\u2715\u2a09"
ARROWS: Final = "\u2192\u21d2\u279c\u2794"
HALVES: Final = {"\u00bd": "0.5", "\u00bc": "0.25", "\u00be": "0.75"}
IN_UNITS: Final = (
    "\u00b5\u03bc\u03a9\u2126\u00b0\u00ba\u02da\u2103"  # micro, ohm, degree
    "\u00b2\u00b3\u00b7\u22c5\u2219\u2032\u2033\u2019"  # powers, dots, primes
)
"""Signs of units, which `seqlang.text.slips.units` reads."""

ELLIPSIS: Final = "\u2026"

EITHER_WAY: Final = re.compile(r"\u00b1 *[0-9]")
"""Which `seqlang.text.slips.numbers` reads."""

QUOTES: Final = "\u201c\u201d\u201e\u201f\u00ab\u00bb\u2018\u201a"

_CURLY: Final = re.compile(
    '[\u201c\u201d\u201e\u00ab\u00bb\u201f]([^\u201c\u201d\u201e\u00ab\u00bb"\n]*)[\u201c\u201d\u00ab\u00bb"]'
    "|[\u2018\u2019\u201a']([^\u2018\u2019'\"\n]*)[\u2018\u2019']"
    '|"([^\u201c\u201d"\n]*)[\u201c\u201d]'
)
_STRAIGHT: Final = re.compile(r'"([^"\n]*)"')


def slips(line: Written) -> Iterator[Slip]:
    yield from _quotes(line)
    yield from _cells(line)
    yield from _odd(line)
    yield from _open_quote(line)
    yield from _needless_quotes(line)


def described(letter: str) -> str:
    """A character that may be invisible, in words."""
    name = unicodedata.name(letter, "a control character").lower()
    return f"the character U+{ord(letter):04X} ({name}) does not belong here"


def _quotes(line: Written) -> Iterator[Slip]:
    """Curly or single quotes: around a title they become plain ones, elsewhere they go."""
    found = _CURLY.search(line.text, 0, line.code_end)
    while found is not None and line.quoted(found.start()) and found[0][0] != '"':
        found = _CURLY.search(line.text, found.end(), line.code_end)
    if found is None:
        return
    text = next(part for part in found.groups() if part is not None)
    odd = next((letter for letter in found[0] if not letter.isascii()), None)
    message = described(odd) if odd else "a title is written in double quotes"
    for instead in (f'"{text}"', text):
        yield Slip(
            message,
            *found.span(),
            help=f"write `{instead}` instead",
            edits=((*found.span(), instead),),
            certain=odd is not None and instead != text,
        )


def _cells(line: Written) -> Iterator[Slip]:
    """The words of a line in the cells of a sheet: with tabs, or with commas and no spaces."""
    text = line.text[: line.code_end].rstrip()
    tab = "\t" in text
    if not tab and not re.fullmatch(r"[^\s,]+(?:,[^\s,]+){3,}", text):
        return
    sign = "\t" if tab else ","
    places = [at for at, letter in enumerate(text) if letter == sign]
    yield Slip(
        f"the words of a line are separated by {'spaces, not by tabs' if tab else 'spaces'}",
        places[0],
        places[0] + 1,
        help="write a space for each",
        edits=tuple((at, at + 1, " ") for at in places),
        certain=not tab,
        whole=True,
    )


def _needless_quotes(line: Written) -> Iterator[Slip]:
    """Names, amounts and colours stand without quotes."""
    for found in _STRAIGHT.finditer(line.text, 0, line.code_end):
        yield Slip(
            f"`{found[1]}` stands without quotes here: only titles have them",
            *found.span(),
            help=f"write `{found[1]}`",
            edits=((*found.span(), found[1]),),
        )


def _odd(line: Written) -> Iterator[Slip]:
    """All odd characters of a line at once; dashes and crosses may mean one of several things."""
    places = [
        at
        for at, letter in enumerate(line.text[: line.code_end])
        if not (letter.isascii() and letter.isprintable())
        and letter not in IN_UNITS
        and letter not in ("\t", *QUOTES)
        and not line.quoted(at)
        and not letter.isalnum()
        and not EITHER_WAY.match(line.text, at)
    ]
    if not places:
        places = [at for at, letter in enumerate(line.text) if letter in HALVES]
    if not places:
        return
    first = line.text[places[0]]
    for choice in range(3):
        edits = [_instead(line.text, at, choice) for at in places]
        if None in edits:
            break
        whole = tuple((at, at + 1, edit or "") for at, edit in zip(places, edits, strict=True))
        said = (edits[0] or "").strip()
        yield Slip(
            described(first),
            places[0],
            places[0] + 1,
            help=f"write `{said}` instead"
            if said
            else ("write a space instead" if edits[0] else "leave it out"),
            edits=whole,
            certain=choice == 0,
            whole=not edits[-1] and places[-1] + 1 == len(line.text.rstrip()),
        )
    if None in [_instead(line.text, at, 0) for at in places]:
        yield Slip(described(first), places[0], places[0] + 1, certain=True)


def _instead(text: str, at: int, choice: int) -> str | None:
    """What an odd character is written as; the less likely the greater `choice`."""
    letter = text[at]
    if letter.isspace() or unicodedata.category(letter) in ("Zs", "Cc"):
        return " "
    if unicodedata.category(letter) in ("Cf", "So", "Sk", "Mn") or letter == ELLIPSIS:
        return ""
    wide = unicodedata.normalize("NFKC", letter)
    if letter in DASHES:
        return ("-", "to", " to ")[choice]
    if letter in TIMES:
        return ("*", "by", "times")[choice]
    if letter in ARROWS:
        return ("to", "go", ":")[choice]
    if letter in HALVES:
        return HALVES[letter]
    return wide if wide.isascii() and wide.isprintable() and len(wide) == 1 else None


def _open_quote(line: Written) -> Iterator[Slip]:
    if line.text.count('"') % 2 == 0 or line.halt is None or line.halt.kind != "character":
        return
    start, end = line.text.rfind('"'), len(line.text)
    yield Slip(
        "this quote is not closed on its line",
        start,
        end,
        help='end the text with `"`',
        edits=((end, end, '"'),),
        certain=re.search(r'[0-9] *"', line.text) is None,
    )
