"""Words that stand where an amount is due and say it in another way than a number does."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple

from seqlang.text.slips.shapes import PLACES
from sim.light.colours import COLOURS
from sim.rulebook import BUTTONS

if TYPE_CHECKING:
    from seqlang.text.source import Source

_FASTEST: Final = re.compile(r"\bfastest +at +\Z")
_LONG: Final = re.compile(r"\bbutton +\S+ +long( +)\Z")
_PRESSES: Final = frozenset({"press", "pressed", "hold", "held", "down", "click", "tap", "push"})
_HOLD: Final = re.compile(r"^[ \t]*hold +\Z")
_BY_CHANCE: Final = re.compile(r"rand(?:om)?(?:ly)?|any|varies|varying|variable", re.IGNORECASE)
_FOLLOWS: Final = re.compile(r"^[ \t]*follows\b[^#]*, *(?:[\w.]+ *%? +to +)?\Z")
_BUTTON: Final = re.compile(r"^[ \t]*(?:(?:stop +)?button|input) +\Z")


class WordSaid(NamedTuple):
    """What is wrong with a word, and the change: from an offset on, up to the word's end."""

    message: str
    help: str
    change: tuple[int, str] | None = None


def said(source: Source, start: int, word: str) -> WordSaid | None:
    """What a word without a meaning says at a place where an amount is due; None if nothing."""
    line = source.line_starts[source.line_number(start) - 1]
    before = source.text[line:start]
    if _FASTEST.search(before) and word.lower() in PLACES:
        share = PLACES[word.lower()] or "50 %"
        hint = f"write `fastest at {share}`: from 26 % to 74 % of its time"
        return WordSaid(f"`{word}` is not a share of the time", hint, (start, share))
    long = _LONG.search(before)
    if long is not None and word.lower() in _PRESSES:
        gap = line + long.start(1)
        return WordSaid(
            f"`long` says already that it is a press: `{word}` is not a time",
            f"leave out `{word}`, or say how long, such as `long 1 s`",
            (gap, ""),
        )
    if _HOLD.match(before) and _BY_CHANCE.fullmatch(word):
        return WordSaid(
            f"`{word}` does not say between which times",
            "what is drawn has two ends, such as `hold 2 s .. 6 s`, in a strand of idle",
        )
    if _FOLLOWS.match(before):
        return _end_of_what_follows(word, start)
    if _BUTTON.match(before):
        number = re.fullmatch(r"[^\W\d]*?_?([1-9][0-9]?)", word)
        return WordSaid(
            f"a button has a number, and `{word}` is not one",
            f"buttons are numbered from 1 to {BUTTONS[-1]}",
            None if number is None else (start, number[1]),
        )
    return None


_ENDS: Final = {
    **dict.fromkeys(("off", "dark", "none", "min", "out", "black", "low"), "0 %"),
    **dict.fromkeys(("on", "full", "max", "bright", "maximum", "high"), "100 %"),
    **dict.fromkeys(("half", "medium"), "50 %"),
    "dim": "20 %",
}
"""Words for how bright a lamp is at an end of what it follows."""


def _end_of_what_follows(word: str, start: int) -> WordSaid | None:
    """What a word says in the place of a level of a lamp that follows something."""
    level = _ENDS.get(word.lower())
    if level is not None:
        return WordSaid(f"`{word}` does not say how bright", f"write `{level}`", (start, level))
    if word.lower() in COLOURS:
        return WordSaid(
            f"`{word}` is a colour, and a lamp only gets brighter",
            "write how bright it is, such as `80 %`; its colour stands in a line `colour`",
        )
    return None
