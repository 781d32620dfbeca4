"""Lines of what an output follows, said otherwise or with joints that are missing."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from seqlang.text.slips.written import Written

_NAME: Final = r"[^\W\d]\w*"
_NUMBER: Final = r"-?[0-9]+(?:\.[0-9]+)?"
_UNIT: Final = r"(?:(?:us|ms|s|(?:deg|rad|mm|cm|m)(?:/s)?|rpm|V|mV)(?![\w/])|%)"
_MARK: Final = "\ufffc"
"""Stands for a name of a constant while a line is taken apart."""

_AMOUNT: Final = rf"(?:{_NUMBER} *{_UNIT}|{_NUMBER}(?!\w|\.\w)|{_MARK}[0-9]+{_MARK}|\([^()]*\))"
_GAP: Final = r" *(?:,|:|=|=>|->|(?<!\w)(?:to|and|with|as|for|becomes?|is)(?!\w))? *"
_TO: Final = r"(?: *(?:\.\.\.?|-{1,2}>?|,|:) *| +(?:(?:to|and|until|till|->) +)?)"
_VERB: Final = (
    r"(?:follow(?:s|ing|ed)?|tracks?|copies|copy|shadows?|steered|driven|controlled|moved|listens?"
    r"|[a-z]+(?= +(?:with|like|by|as|to) ))"
)
_LINE: Final = re.compile(
    rf"(?P<verb>{_VERB})(?: *:| +(?:by|to|with|like|as))?(?: +|(?<=[^\w ]) *)"
    r"(?:(?:the|its|channel|sensor|speed|angle|position|place|of) +)*"
    rf"(?P<minus>- *)?(?P<source>{_NAME})(?:'s)?(?: +(?:speed|angle|position|place|value))? *[,:]?"
    r"(?: *(?:from|between|over|at|of|for))? *(?P<rest>.*?) *$"
)
_CALLED: Final = re.compile(
    rf"(?:(?:{_NAME}) *:?= *)?(?:map|scale|interp|lerp|remap|range|constrain)\w* *"
    rf"\( *(?P<source>{_NAME}) *, *(?P<rest>.*?) *\) *;?$"
)
_TURNED: Final = re.compile(
    r"[, (]*\b(?:(?:is|and) +)?(?:revers(?:ed?|ing)|invert(?:ed|s)?|flipped|mirrored|negated"
    r"|upside +down|backwards?|the +other +way(?: +round)?)\b[ )]*"
)
_TARGETS: Final = re.compile(
    rf"(?:from +|between +)?(?P<c>{_AMOUNT}){_TO}(?P<d>{_AMOUNT})(?P<more>.*)"
)
_USUAL: Final = {"channel": "1000 us to 2000 us", "sensor": "0 % to 100 %"}
"""The way of a stick (common practice, no source) and of a sensor, where a line states none."""

_TARGET_UNITS: Final = {"servo": ("deg", "rad", "mm", "cm", "m", "rpm"), "lamp": ("%",)}
_PAIRS: Final = re.compile(
    rf"(?P<a>{_AMOUNT}){_TO}(?P<b>{_AMOUNT}){_GAP}(?:(?:from|between)(?!\w))? *"
    rf"(?P<c>{_AMOUNT}){_TO}(?P<d>{_AMOUNT})(?P<more>.*)"
)
_POINTS: Final = re.compile(
    rf"(?P<a>{_AMOUNT}) *(?:at|is|=|:|->|gives) *(?P<c>{_AMOUNT}) *(?:,|to|and|\.\.)* *"
    rf"(?P<b>{_AMOUNT}) *(?:at|is|=|:|->|gives) *(?P<d>{_AMOUNT})(?P<more>.*)"
)
_WAY: Final = re.compile(
    r"[, ]*(?:in|within|over|takes|no faster than|at least|smooth(?:ed)?|filter(?:ed)?|slew|lag"
    r"|damp(?:ed)?)?(?: +(?:by|over|in|for|of))? *"
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
    instead = _instead(line, text)
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


def _instead(line: Written, text: str) -> str | None:
    """The line as it was meant; None if it says something else."""
    names = line.around.names
    found = _LINE.match(text) or _CALLED.match(text)
    if found is None:
        return None
    called = found.re is _CALLED
    source, usual = _source(found["source"], line)
    if source is None and (called or not found["verb"].startswith("follow")):
        return None
    rest, given = _with_marks(found["rest"], names.get("given", frozenset()))
    turned = _TURNED.search(rest)
    rest = rest if turned is None else rest[: turned.start()] + rest[turned.end() :]
    minus = False if called else bool(found["minus"])
    made = _rebuilt(rest, usual, line.around.head or "", (turned is not None) != minus)
    if made is None:
        return None
    for at, name in enumerate(given):
        made = made.replace(f"{_MARK}{at}{_MARK}", name)
    return f"follows {found['source'] if source is None else source} {made}"


def _source(name: str, line: Written) -> tuple[str | None, str | None]:
    """A known name of what can be followed, and the values of its usual way."""
    for kind in ("channel", "sensor", "servo"):
        if name in line.around.names.get(kind, frozenset()):
            return name, _USUAL.get(kind)
    return None, None


def _with_marks(text: str, given: Collection[str]) -> tuple[str, list[str]]:
    """The text with a mark for each constant, so that no other word is taken for one."""
    found: list[str] = []

    def marked(word: re.Match[str]) -> str:
        if word[0] not in given:
            return word[0]
        found.append(word[0])
        return f"{_MARK}{len(found) - 1}{_MARK}"

    return re.sub(_NAME, marked, text), found


def _rebuilt(rest: str, usual: str | None, head: str, turned: bool) -> str | None:
    """The words behind the source with their joints; None where some are missing."""
    rest = re.sub(rf"\( *({_AMOUNT} *(?:to|-|\.\.|,) *{_AMOUNT}) *\)", r"\1", rest)
    found = _PAIRS.fullmatch(rest) or _POINTS.fullmatch(rest)
    if found is not None:
        values = _both(found["a"], found["b"])
    else:
        found = _TARGETS.fullmatch(rest)
        if found is None or usual is None or not _is_target(found["d"], head, usual):
            return None
        values = usual
    behind = _behind(found["more"])
    if behind is None:
        return None
    ends = (found["d"], found["c"]) if turned else (found["c"], found["d"])
    return f"from {values}, {_both(*ends)}{behind}"


def _is_target(amount: str, head: str, usual: str) -> bool:
    """Whether an amount can only be where the output is, and no value of the source."""
    unit = re.sub(rf"^{_NUMBER} *", "", amount)
    return unit in _TARGET_UNITS[head] and not usual.endswith(unit)


def _both(first: str, last: str) -> str:
    """Two amounts, of which one may have its unit from the other."""
    for one, other in ((first, last), (last, first)):
        unit = re.search(rf" *{_UNIT}$", other)
        if unit is not None and _SHARES_A_UNIT.match(one):
            gap = " " if one is last else ""
            shared = f"{gap}{unit[0].strip()}" if gap else unit[0]
            first, last = (one + shared, last) if one is first else (first, one + shared)
            break
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
