"""Units that are spelt differently, or that the language does not have."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.names import nearest
from seqlang.text.slips.written import Slip
from seqlang.text.tokens import literals
from seqlang.text.unit_spellings import converted, instead_of, spelt
from seqlang.text.units import UNITS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

_LETTER: Final = "A-Za-z\u00b5\u03bc\u03a9\u2126\u00b0\u00ba\u02da\u2103"
_PART: Final = rf"[\w{_LETTER}\u00b2\u00b3^]+"
_JOINED: Final = "[/.*\u00b7\u22c5\u2219\u2022\u00d7-]"
_NUMBER: Final = re.compile(r"(?:(?<=\.\.)|(?<![\w.#]))-?[0-9]+(?:\.[0-9]+)?")
_PHRASES: Final = tuple(
    re.compile(pattern)
    for pattern in (
        rf" *([{_LETTER}][\w\u00b0\u00ba\u02da\u00b2\u00b3^]*(?: *{_JOINED} *(?:60 *)?{_PART})+)",
        rf" *([{_LETTER}][\w\u00b0\u00ba]* +(?:per|an?) +(?:60 *)?{_PART})",
        rf" *([{_LETTER}][\w]* +{_PART})(?! *[:=])",
        rf" *([{_LETTER}](?:(?!\.\.)[^\s,():#\"])*)",
        "(''|\"|\u2033|'|\u2032|\u2019)(?!\\w)",
    )
)
"""A unit behind its number: of several parts, with `per`, of two words, of one; feet and inches."""

_PREFIXES: Final = "MkhdcmunGp"
"""SI prefixes of one letter."""

_MOST_LISTED: Final = 12

_DIVIDER: Final = re.compile(r" *watch\b")


def slips(line: Written) -> Iterator[Slip]:
    """Units near the place where reading stops, the longest spelling first."""
    halt = line.halt
    if halt is None:
        return
    yield from rates(line)
    yield from _close_together(line)
    yield from _times_a_constant(line)
    for number in _NUMBER.finditer(line.text, 0, line.code_end):
        if line.quoted(number.start()) and not re.match(r' *"', line.text[number.end() :]):
            continue
        for phrase in _PHRASES:
            found = phrase.match(line.text, number.end(), line.code_end)
            if found is None or not number.start() <= halt.at <= found.end():
                continue
            if found[1] in ("k", "K") and _DIVIDER.match(line.text):
                yield _kohm(found)
                continue
            yield from _meant(number[0], number.start(), found.span(1), found[1])


def _kohm(found: re.Match[str]) -> Slip:
    """`18k` of a resistor, which elsewhere are kelvins."""
    return Slip(
        f"there is no unit `{found[1]}`",
        *found.span(1),
        help="did you mean `kohm`?",
        edits=((*found.span(1), "kohm"),),
        name="unknown-unit",
        certain=True,
    )


def _meant(number: str, start: int, span: tuple[int, int], spelling: str) -> Iterator[Slip]:
    if spelling in ("'", "\u2032", "\u2019"):
        unit, foreign = None, converted(number, "ft")
    elif spelling in ('"', "\u2033", "''"):
        unit, foreign = "inch", None
    else:
        unit, foreign = spelt(spelling), converted(number, spelling)
    if unit is not None and unit != spelling:
        glued = spelling in ('"', "\u2033", "''", "\u00b0", "\u00ba", "\u02da")
        gap = " " if glued and span[0] == start + len(number) else ""
        yield Slip(
            f"there is no unit `{spelling}`",
            start,
            span[1],
            help=f"did you mean `{unit}`?",
            edits=((*span, gap + unit),),
            name="unknown-unit",
            certain=True,
        )
    elif foreign is not None:
        yield Slip(
            f"there is no unit `{spelling}`",
            start,
            span[1],
            help=f"`{number} {spelling}` are `{foreign}`",
            edits=((start, span[1], foreign),),
            name="unknown-unit",
            certain=True,
        )


def _times_a_constant(line: Written) -> Iterator[Slip]:
    """`2 beat`, `2 beats`: a constant is no unit, but can be multiplied."""
    known = line.around.names.get("given", frozenset())
    for found in re.finditer(r"(?<![\w.])([0-9]+(?:\.[0-9]+)?) *x? *([^\W\d]\w*)", line.text):
        name = next((one for one in (found[2], found[2].removesuffix("s")) if one in known), None)
        if name is not None:
            bare = f"{found[1]} * {name}"
            inside = line.text[: found.start()].rstrip().endswith("(")
            instead = bare if inside else f"({bare})"
            yield Slip(
                f"`{name}` is a constant and no unit",
                *found.span(),
                help=f"write `{instead}`",
                edits=((*found.span(), instead),),
                certain=True,
            )


_DENSITY: Final = re.compile(
    r"(?: *,)? *(?:\bat +)?(?:\bpitch +)?(?<![\w.])([1-9][0-9]*) *"
    r"(?:leds?|pixels?|px|pcs)?(?: *[/\\] *| +(?:per|an?) +)m(?:et(?:er|re))?(?!\w)",
    re.IGNORECASE,
)


def _close_together(line: Written) -> Iterator[Slip]:
    """`60/m`: strips are sold by their pixels on a metre, and written by the way between two."""
    found = _DENSITY.search(line.text, 0, line.code_end)
    if found is None or line.around.head != "strip":
        return
    count = int(found[1])
    pitch = f"{1000 // count} mm" if 1000 % count == 0 else f"(1 m / {count})"
    start = found.start() + len(found[0]) - len(found[0].lstrip(" ,"))
    yield Slip(
        f"`{line.text[start : found.end()]}` is not a distance from pixel to pixel",
        start,
        found.end(),
        help=f"write `pitch {pitch}`",
        edits=((found.start(), found.end(), f", pitch {pitch}"),),
        certain=True,
    )


_RATE: Final = re.compile(r"(?:\b(?:at|every|in) +)?([0-9]+(?:\.[0-9]+)?) *[Hh][Zz]\b")


def rates(line: Written) -> Iterator[Slip]:
    """`breathe at 0.25 Hz`: the language counts how long one period takes."""
    for found in _RATE.finditer(line.text, 0, line.code_end):
        if float(found[1]) > 0:
            period = f"every {1.0 / float(found[1]):.3f}".rstrip("0").rstrip(".") + " s"
            yield Slip(
                "there is no unit `Hz`",
                *found.span(),
                help=f"write how long one period takes: `{period}`",
                edits=((*found.span(), period),),
                name="unknown-unit",
            )


def unknown(line: Written) -> Slip | None:
    """That a word behind a number is no unit; the last thing to say of such a line."""
    halt = line.halt
    if halt is None or "CHEMISTRY" in halt.due:
        return None
    word = line.word_at(halt.at)
    before = re.search(r"(?<![\w.#])-?[0-9]+(?:\.[0-9]+)? *\Z", line.text[: halt.at])
    if before is None or not re.match(r"[^\W\d_]", word) or word in literals():
        return None
    start, end = before.start(), halt.at + len(word)
    near = _near(word)
    hint = instead_of(word)
    if near is not None:
        hint = f"did you mean `{near}`?"
    elif hint is None:
        few = [unit for unit in UNITS if "/" not in unit and "." not in unit]
        hint = f"units are {', '.join(few)} and those made of them, such as deg/s and kgf.cm"
    return Slip(
        f"there is no unit `{word}`",
        start,
        end,
        help=hint,
        edits=() if near is None else ((halt.at, end, near),),
        name="unknown-unit",
        certain=True,
    )


def _near(word: str) -> str | None:
    """A unit that one slip of a finger separates from a word of three letters or more."""
    near = nearest(word, UNITS) if len(word) >= 3 else None
    if near is None or len(near) < 2 or _other_size(word, near):
        return None
    return near


def _other_size(word: str, near: str) -> bool:
    """Whether two units differ in a prefix alone: `cm/s` and `m/s` are no slip of a finger."""
    bare = [unit[1:] for unit in (word, near) if unit[:1] in _PREFIXES]
    return any(rest in (word, near, *bare[:at]) for at, rest in enumerate(bare))
