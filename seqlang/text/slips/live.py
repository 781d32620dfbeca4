"""Lines of what an output follows, said otherwise or with joints that are missing."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

_NAME: Final = r"[^\W\d]\w*"
_NUMBER: Final = r"-?[0-9]+(?:\.[0-9]+)?"
_UNIT: Final = r"(?:(?:us|ms|s|deg|rad|mm|cm|m|rpm|V|mV)(?!\w)|%)"
_WORDS: Final = "to|and|from|between|in|at|is|with|as|for|over|until|till|mixed|us|ms|deg|rpm|mm"
_CONSTANT: Final = rf"(?!(?:{_WORDS})(?!\w)){_NAME}"
_AMOUNT: Final = rf"(?:{_NUMBER} *{_UNIT}|{_NUMBER}(?!\w|\.\w)|{_CONSTANT}|\([^()]*\))"
_GAP: Final = r" *(?:,|:|=|=>|->|(?<!\w)(?:to|and|with|as|for|becomes?|is)(?!\w))? *"
_TO: Final = r"(?: *(?:\.\.\.?|-{1,2}>?|,|:) *| +(?:(?:to|and|until|till|->) +)?)"
_VERB: Final = (
    r"(?:follow(?:s|ing|ed)?|tracks?|copies|copy|shadows?|steered|driven|controlled|moved|listens?)"
)
_LINE: Final = re.compile(
    rf"(?P<verb>{_VERB})(?: *:| +(?:by|to|with))? +(?:(?:the|its|channel|sensor) +)*"
    rf"(?P<source>{_NAME}) *[,:]?(?: *(?:from|between|over|at|of|for))? *(?P<rest>.*?) *$"
)
_PAIRS: Final = re.compile(
    rf"(?P<a>{_AMOUNT}){_TO}(?P<b>{_AMOUNT}){_GAP}(?:(?:from|between)(?!\w))? *"
    rf"(?P<c>{_AMOUNT}){_TO}(?P<d>{_AMOUNT})(?P<more>.*)"
)
_POINTS: Final = re.compile(
    rf"(?P<a>{_AMOUNT}) *(?:at|is|=|:|->|gives) *(?P<c>{_AMOUNT}) *(?:,|to|and|\.\.)* *"
    rf"(?P<b>{_AMOUNT}) *(?:at|is|=|:|->|gives) *(?P<d>{_AMOUNT})(?P<more>.*)"
)
_WAY: Final = re.compile(
    r"[, ]*(?:in|within|over|takes|no faster than|at least)? *"
    rf"(?P<time>{_NUMBER} *(?:ms|s|min)(?!\w))"
)
_MIXED: Final = re.compile(
    r"[, ]*(?:and +)?(?:mix(?:ed|es|ing)?|added|adds|plus|with|over|on top of|\+)"
    r"(?: +(?:mix(?:ed)?|it))?(?: +(?:with|to|into|in|of))?(?: +the)?(?: +idle)?(?!\w)"
)
_SHOWN: Final = re.compile(
    r"(?:shows?|showing|displays?|indicates?|meters?|graphs?|bars?|fills? +(?:up )?with|follows?)"
    rf"(?: *:| +(?:of|for))? +(?:(?:the|level|lamp|of|bar) +)*(?P<lamp>{_NAME})"
    r"(?:[ ,]+(?:from|at|starting(?: from)?|beginning(?: at)?)?(?: +the)?"
    r" +(?P<end>start|beginning|first|end|far end|last|middle|cent(?:re|er)))?"
)
_ENDS: Final = {
    **dict.fromkeys(("end", "far end", "last"), "end"),
    **dict.fromkeys(("middle", "centre", "center"), "middle"),
}
_SHARES_A_UNIT: Final = re.compile(rf"{_NUMBER}$")


def slips(line: Written) -> Iterator[Slip]:
    """What was meant by a line that tells what an output follows, or what a strip shows."""
    if line.around.head == "strip" and line.halt is not None:
        yield from _shows(line)
    if line.around.head not in ("servo", "lamp") or line.halt is None:
        return
    text = line.text[: line.code_end].rstrip()
    found = _LINE.match(text)
    if found is None:
        return
    instead = _rebuilt(found["source"], found["rest"])
    if instead is None or instead == text:
        return
    yield Slip(
        "what an output follows is `follows SOURCE from VALUE to VALUE, TARGET to TARGET`",
        *(0, len(text)),
        help=f"did you mean `{instead}`?",
        edits=((0, len(text), instead),),
        certain=True,
    )


def _shows(line: Written) -> Iterator[Slip]:
    """What was meant by a line of a strip that tells which lamp's level it shows."""
    text = line.text[: line.code_end].rstrip()
    found = _SHOWN.fullmatch(text)
    if found is None:
        return
    end = f" from the {_ENDS[found['end']]}" if found["end"] in _ENDS else ""
    instead = f"shows {found['lamp']}{end}"
    if instead != text:
        yield Slip(
            "what a strip shows is `shows LAMP`, with `from the end` or `from the middle`",
            *(0, len(text)),
            help=f"did you mean `{instead}`?",
            edits=((0, len(text), instead),),
            certain=True,
        )


def _rebuilt(source: str, rest: str) -> str | None:
    """The line with its joints, from the words behind the source; None where some are missing."""
    found = _PAIRS.fullmatch(rest) or _POINTS.fullmatch(rest)
    if found is None:
        return None
    values, targets = (_both(found[one], found[two]) for one, two in (("a", "b"), ("c", "d")))
    behind = _behind(found["more"])
    if behind is None:
        return None
    return f"follows {source} from {values}, {targets}{behind}"


def _both(first: str, last: str) -> str:
    """Two amounts, of which the first may have its unit from the second."""
    unit = re.search(rf" *{_UNIT}$", last)
    if unit is not None and _SHARES_A_UNIT.match(first):
        first += unit[0]
    return f"{first} to {last}"


def _behind(text: str) -> str | None:
    """How quickly and mixed with what, in the language's words; None if it says something else."""
    way = mixed = ""
    while text.strip(" ,"):
        time, mix = _WAY.match(text), _MIXED.match(text)
        if time is not None and not way:
            way, text = f", in {time['time']}", text[time.end() :]
        elif mix is not None and not mixed:
            mixed, text = ", mixed with idle", text[mix.end() :]
        else:
            return None
    return way + mixed
