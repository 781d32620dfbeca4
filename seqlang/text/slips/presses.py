"""Kinds of presses, said otherwise or in another place of a button's line."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.names import nearest
from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

_TIME: Final = r"[0-9]+(?:\.[0-9]+)? *(?:ms|s)"
_TWICE: Final = (
    r"(?:(?:pressed )?(?:twice|two times|2 times|2x)|(?:on )?double(?:[ -](?:press|click|tap))?"
    r"|double(?:pressed|clicked))"
)
_LONG: Final = (
    r"(?:(?:when |if |on )?(?:a )?(?:held|hold|long)(?: down)?"
    r"(?:[ -]?(?:press(?:ed)?|hold|click|tap))?(?: for)?)"
)
_RELEASED: Final = r"(?:(?:when |on )?(?:released?|let go|up|lifted))"
_PLAIN: Final = re.compile(
    r"(?:(?:when |on |if )?(?:(?:short|single|one|quick|plain|normal)[ -]?)?"
    r"(?:press(?:ed)?|down|pushed?|taps?|tapped|clicks?|clicked)|short|single|once|1x|one time)"
)
_THREE: Final = re.compile(
    r"(?:pressed |on )?(?:(?:three|four|five|[3-9]) ?(?:times|x)|thrice|tripled?|quadruple)"
    r"(?:[ -]?(?:press(?:ed)?|clicks?|taps?))?"
)
_CUES: Final = r"[^\W\d]\w*(?:(?: *, *(?:and +)?| +and +| +then +)[^\W\d]\w*)*"
_BUTTON: Final = re.compile(
    r"button +(?P<number>[0-9]+)(?: +(?P<press>[^:,]*?))? *: *(?P<does>.*?) *$"
)
_PRESSES: Final = (
    (re.compile(_TWICE), "twice"),
    (re.compile(rf"{_LONG}(?: *(?P<time>{_TIME}))?"), "long"),
    (re.compile(_RELEASED), "let go"),
)
_WORDS: Final = ("long", "twice", "let", "go", "while", "until", "button")
_BEHIND: Final = re.compile(
    rf"go +(?P<cue>[^\W\d]\w*),? +(?P<press>{_TWICE}|{_LONG} *{_TIME}|long|{_RELEASED})"
)
_BEHIND_THE_CUE: Final = (
    (
        re.compile(r"(?:while|as long as) +(?:it is +)?(?:held|down|pressed)(?: down)?"),
        "while held",
    ),
    (re.compile(r"until +(?:pressed +again|(?:the +)?next +press)"), "until pressed again"),
)
_TOGGLES: Final = re.compile(
    r"(?:go +)?toggles? +(?P<first>[^\W\d]\w*)"
    r"|go +(?P<second>[^\W\d]\w*),? +(?:toggled?|on[ /-]off"
    r"|until +(?:(?:it is +)?pressed(?: +(?:twice|once +more|a +second +time))?"
    r"|(?:the +)?(?:next|second) +press|again))"
)
_LIST: Final = re.compile(
    r"(?:go +)?(?P<said>(?:next(?: of| in)?|cycle(?: through)?|each of|alternate(?:ly)?) +)?"
    rf"(?P<cues>{_CUES})"
)


def slips(line: Written) -> Iterator[Slip]:
    """What is wrong with the press, or with what it does, in a line of the remote."""
    if line.around.head != "remote" or line.halt is None:
        return
    yield from _numbers(line)
    found = _BUTTON.match(line.text[: line.code_end])
    if found is None:
        return
    does = found.span("does")
    if found["press"]:
        yield from _said_otherwise(found["press"], found.span("press"))
        yield from _before(found, found.end("does"))
    yield from _behind(found["number"], found["does"], found.start(), found.end("does"))
    yield from _toggles(found["does"], does)
    yield from _lists(found["does"], does)


_LOST: Final = re.compile(r"(?:signal +)?lost *(?:[:,]|\bgo\b)")
_NUMBER: Final = re.compile(
    r"(?:b|btn|key|sw)[_-]?(?P<glued>[0-9]+)(?= *:)"
    r"|(?:button|btn|key) *(?:#|no\.?|nr\.?|number|_|-|\(|\[) *(?P<apart>[0-9]+)[)\]]?(?= *:)",
    re.IGNORECASE,
)


def _numbers(line: Written) -> Iterator[Slip]:
    """`btn1: go snap`, `button #1`, `B1`; `lost: go rest`."""
    found = _NUMBER.match(line.text, 0, len(line.text))
    if found is not None:
        number = found["glued"] or found["apart"]
        yield _slip(f"`{found[0]}` does not name a button", found.span(), f"button {number}")
    lost = _LOST.match(line.text, 0, line.code_end)
    if lost is not None:
        yield Slip(
            "the line does not say how long the remote has been silent",
            lost.start(),
            lost.end(),
            help="such as `lost 2 s: go rest`: after two seconds of silence",
            certain=True,
        )


def _press_of(words: str) -> str | None:
    for pattern, press in _PRESSES:
        found = pattern.fullmatch(re.sub(" +", " ", words.lower()).strip("() "))
        if found is not None:
            time = found.groupdict().get("time")
            return f"{press} {time}" if time else press
    return None


def _said_otherwise(words: str, span: tuple[int, int]) -> Iterator[Slip]:
    press = _press_of(words)
    if press is not None and press != words:
        yield _slip(f"`{words}` is not a kind of press", span, press)
    elif _THREE.fullmatch(words.lower()):
        yield Slip(
            "a board tells one press from two, and no more",
            *span,
            help="`twice` is the most; another way to say more with one button is `long`",
            certain=True,
        )
    elif _PLAIN.fullmatch(words.lower()):
        yield Slip(
            f"`{words}` is not a kind of press",
            *span,
            help="a plain press has no word",
            edits=((span[0] - 1, span[1], ""),),
            certain=True,
        )
    elif (
        press is None
        and re.match(r"(?!and\b|or\b)[a-z]", words)
        and nearest(words.split()[0].lower(), _WORDS) is None
    ):
        yield Slip(
            f"`{words}` is not a kind of press",
            *span,
            help="a press is `long`, `twice` or `let go`; a plain one has no word",
            certain=True,
            name="unknown-name",
        )


def _is_no_press(word: str) -> bool:
    """Whether a word is none of a press, not even one misspelt, and joins no further button."""
    return word.isalpha() and word not in ("and", "or") and nearest(word, _WORDS) is None


def _behind(number: str, does: str, start: int, end: int) -> Iterator[Slip]:
    """`button 1: go bow long 800 ms`."""
    found = _BEHIND.fullmatch(does)
    press = None if found is None else _press_of(found["press"])
    if found is not None and press is not None:
        instead = f"button {number} {press}: go {found['cue']}"
        yield _slip("the kind of press comes before `:`", (start, end), instead)


def _before(line: re.Match[str], end: int) -> Iterator[Slip]:
    """`button 1 while held: go bow`."""
    words = re.sub(" +", " ", line["press"].lower()).strip("() ")
    cue = re.fullmatch(r"(?:go +)?(?P<cue>[^\W\d]\w*)", line["does"])
    for pattern, said in _BEHIND_THE_CUE:
        if cue is not None and pattern.fullmatch(words):
            instead = f"button {line['number']}: go {cue['cue']} {said}"
            yield _slip(f"`{said}` stands behind the cue", (line.start(), end), instead)


def _toggles(does: str, span: tuple[int, int]) -> Iterator[Slip]:
    found = _TOGGLES.fullmatch(does)
    if found is not None:
        cue = found["first"] or found["second"]
        said = "a cue that the next press ends is written with `until pressed again`"
        yield _slip(said, span, f"go {cue} until pressed again")


def _lists(does: str, span: tuple[int, int]) -> Iterator[Slip]:
    """`go snap, wag, bow`: the next one at each press, or all of them at one press?"""
    found = _LIST.fullmatch(does)
    if found is None:
        return
    cues = re.split(r" *, *(?:and +)?| +and +| +then +", found["cues"])
    said = found["said"] or ""
    listed = f"go next of {', '.join(cues)}"
    if len(cues) > 1 and said:
        yield _slip("a list of cues starts with `go next of`", span, listed)
    elif len(cues) > 1:
        yield Slip(
            "a press starts one cue",
            *span,
            help=f"`{listed}` starts another one at each press; to start all at once, write a cue "
            "that plays them below `together`",
            certain=True,
        )
    elif said.startswith("next"):
        yield Slip(
            "a list has two cues or more",
            *span,
            help=f"such as `{listed}, ...`; for one cue write `go {cues[0]}`",
            edits=((*span, f"go {cues[0]}"),),
            certain=True,
        )


def _slip(message: str, span: tuple[int, int], instead: str) -> Slip:
    return Slip(
        message,
        *span,
        help=f"did you mean `{instead}`?",
        edits=((*span, instead),),
        certain=True,
    )
