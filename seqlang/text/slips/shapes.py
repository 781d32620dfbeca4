"""Where a move is fastest, and how softly it starts and ends, in other words."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

EARLY: Final = "30 %"
LATE: Final = "70 %"
PLACES: Final = {
    **dict.fromkeys(("start", "beginning", "begin", "front", "first", "early", "onset"), EARLY),
    **dict.fromkeys(("end", "ending", "finish", "last", "back", "late", "stop"), LATE),
    **dict.fromkeys(("middle", "centre", "center", "mid", "half", "halfway"), ""),
}
"""Words for a place in the time of a move, with the share that says it; without one: the usual."""

_PLACE: Final = "|".join(PLACES)
_FASTEST: Final = re.compile(
    r",? *(?:and +)?(?:fast(?:est|er)?|quick(?:est)?|(?:peak|top|max) +speed|peak)\b *(?:is +)?"
    rf"(?:at|in|near|towards?|by|on|from)? *(?:the +)?(?:very +)?({_PLACE})\b",
    re.IGNORECASE,
)
_WITHOUT_AT: Final = re.compile(
    r", *fastest(?! +at +[0-9.]) *(?:[:=]|in|by|after|near|around|@)? *(?:at +)?(?:about +)?"
    r"([0-9.]+ *%|0?\.[0-9]+)(?! *\w)"
)
_EASED: Final = (
    (re.compile(r"ease[ _-]?in[ _-]?(?:and[ _-])?out|ease[ds]?|eased[ _-]both", re.I), ""),
    (re.compile(r"(?:ease|eased|slow|soft)[ _-]?(?:in|start)", re.I), LATE),
    (re.compile(r"(?:ease|eased|slow|soft)[ _-]?(?:out|end|stop)", re.I), EARLY),
)
_BOTH_ENDS: Final = re.compile(
    r", *((?:ease|slow|soft)[ _-]?in(?: *,| +and|,? +then)? *(?:ease|slow|soft)?[ _-]?out) *$", re.I
)
_LAW: Final = re.compile(r", *([A-Za-z][A-Za-z _-]*?) *$")


def slips(line: Written) -> Iterator[Slip]:
    """What is wrong with the shape of a move or a fade, in a line of a cue."""
    if line.around.head != "cue" or line.halt is None:
        return
    text = line.text[: line.code_end].rstrip()
    found = _FASTEST.search(text)
    if found is not None:
        yield _shaped(line, found[1], (found.start(1), found.end(1)), found.span())
    bare = _WITHOUT_AT.search(text)
    if bare is not None:
        made = f", {_law(line)}fastest at {bare[1]}"
        yield _slip("`at` comes before the share", bare.span(), made)
    both = _BOTH_ENDS.search(text)
    if both is not None:
        made = f", {_law(line) or _USUAL}".rstrip(", ")
        yield _slip(f"`{both[1]}` is not a law of motion", both.span(), made)
        return
    law = _LAW.search(text)
    if law is not None:
        for pattern, share in _EASED:
            if pattern.fullmatch(law[1]):
                made = f", {_law(line)}fastest at {share}" if share else f", {_law(line) or _USUAL}"
                yield _slip(f"`{law[1]}` is not a law of motion", law.span(), made.rstrip(", "))
                break


_USUAL: Final = "3-4-5"


def _law(line: Written) -> str:
    """The law that a fade needs to be faster somewhere, if it has none."""
    faded = re.search(r"\bfade +to\b", line.text) and "3-4-5" not in line.text
    return f"{_USUAL}, " if faded else ""


def _shaped(line: Written, word: str, said: tuple[int, int], span: tuple[int, int]) -> Slip:
    share = PLACES[word.lower()]
    if not share:
        return Slip(
            "a move is fastest in its middle anyway",
            *said,
            help=f"leave out `{line.text[slice(*span)].strip(' ,')}`",
            edits=((*span, ""),),
            certain=True,
        )
    made = f", {_law(line)}fastest at {share}"
    return Slip(
        f"`{word}` is not a share of the time",
        *said,
        help=f"write `{made.strip(' ,')}`: from 26 % to 74 % of its time",
        edits=((*span, made),),
        certain=True,
    )


def _slip(message: str, span: tuple[int, int], made: str) -> Slip:
    return Slip(
        message,
        *span,
        help=f"write `{made.strip(' ,')}`",
        edits=((*span, made),),
        certain=True,
    )
