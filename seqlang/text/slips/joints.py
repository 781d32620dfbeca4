"""What joins the words of a line: signs and small words that are missing, too many or others."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip
from seqlang.text.tokens import HIDDEN, literal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

MARKS: Final = {
    ";": ("a line ends without `;`", "one statement stands on each line"),
    "{": ("a block has no brackets", "what belongs to a statement is indented below it"),
    "}": ("a block has no brackets", "what belongs to a statement is indented below it"),
}
"""Marks of other languages: what is wrong with them, and what to do."""

_COMMENTS: Final = ("//", "/*", "--", "REM ", "%%")
_SEMICOLON: Final = re.compile(r"; *[A-Za-z]")
_ORDER: Final = (
    ",",
    ":",
    "to",
    "in",
    "of",
    "at",
    "by",
    "pin",
    "from",
    "and",
    "go",
    "times",
    "every",
)
_TOGETHER: Final = (
    *(": go", "fade to", "cut to", "if busy", ", if busy", ", order", ", each", ", address"),
    "per hour",
)
_NO_JOINTS: Final = frozenset(
    {
        *("(", "-", "trapezoid", "within", "on", "off", "bundled", "strands", "solid", "sinks"),
        *("anticipation", "overshoot", "breathing", "leads", "long", ".."),
    }
)
"""Words that say something by themselves: nobody forgets them."""

_LAST: Final = ("times", ":", ")", "per hour")
"""What may end a line."""
_ALWAYS: Final = ("and", ",")
"""Tried everywhere: the parser forgets that they could have come."""

_FILLERS: Final = frozenset(
    {
        *("the", "a", "an", "for", "by", "from", "then", "please", "times", "time", "ratio", "to"),
        *("go", "goes", "of", "at", "on", "is", "be", "will", "shall", "effect", "cue", "pose"),
        *("button", "after", "do", "it", "and", "my", "use", "using", "with", "about", "exactly"),
        *("moves", "move", "turn", "turns", "switch", "set", "pcs", "pieces", "leds", "pixels"),
        *("units", "amount", "value", "pls", "plz", "opens", "closes", "open", "close", "swings"),
    }
)
_SIGNS: Final = re.compile(r"->|=>|\.\.+|==|:=|[-,:;=@&+/|.>~x\u00d7]|\bx\b")
_SYNONYMS: Final = {
    **dict.fromkeys(("for", "over", "during", "after", "within"), ("in", "every")),
    **dict.fromkeys(("each", "per"), ("every",)),
    "at": ("every", "cut to", "in", ":"),
    "in": ("at", "of", "every", "by", "from"),
    **dict.fromkeys(("plus", "und", "with", "n", "also", "y", "et"), ("and", ",")),
    "and": (",",),
    "x": ("by", "of", "times", "*"),
    **dict.fromkeys(("until", "till", "towards", "into"), ("to",)),
    **dict.fromkeys(("play", "do", "run", "start", "cue", "call"), ("go", ": go")),
    "on": (":", "pin", "cut to", "button", "in"),
    **dict.fromkeys(("port", "connector", "gpio"), ("pin",)),
    "rad": ("and",),
    "2": ("to",),
}
_AMOUNT: Final = (
    r"(?:-?[0-9]+(?:\.[0-9]+)?(?: *(?:%|(?!(?:in|at|by|to|and|as|within|every) +[\w(])"
    r"[a-zA-Z]+[\w./]*))?|[^\W\d]\w*)"
)
_BARE_SUM: Final = re.compile(rf"{_AMOUNT}(?: *[*/+] *{_AMOUNT})+|{_AMOUNT}(?: +- +{_AMOUNT})+")
_CURLY_SUM: Final = re.compile(r"[{\[]([^{}\[\]]*)[}\]]")
_SAME_PACE: Final = re.compile(
    r"(.+?) +((?:in|at) +[-\w.]+ *[\w/%]*)((?: *,| +and) +)(.+?) +\2((?: *,.*)?)$"
)
_ACTS: Final = re.compile(
    r"(?<![,\s]) +(?=([^\W\d]\w*) +(?:to|fade|cut|on|off|and|breathe|ember|run)\b)"
)
_NEXT: Final = re.compile(r" *(?:;|\bthen\b|,? +(?=(?:hold|play|pose|repeat)\b)) *")


def slips(line: Written) -> Iterator[Slip]:
    yield from _comments(line)
    yield from _semicolons(line)
    yield from _marks(line)
    yield from _trailing(line)
    yield from _after_first_word(line)
    yield from _brackets(line)
    yield from _replaced(line)
    yield from _missing(line)
    yield from _needless(line)
    yield from _same_pace(line)
    yield from _two_statements(line)


def _comments(line: Written) -> Iterator[Slip]:
    halt = line.halt
    if halt is None:
        return
    mark = next((m for m in _COMMENTS if line.text.startswith(m, halt.at)), None)
    if mark is not None:
        end = halt.at + len(mark.rstrip())
        yield Slip(
            f"`{mark.rstrip()}` does not start a comment here",
            halt.at,
            end,
            help="comments start with `#`",
            edits=((halt.at, end, "#"),),
            certain=True,
        )


def _semicolons(line: Written) -> Iterator[Slip]:
    """`jaw 4 deg; fin 0 deg`: the places of a pose."""
    inside = line.text[: line.code_end].rstrip("; ")
    places = [at for at, sign in enumerate(inside) if sign == ";"]
    if line.around.head in ("pose", "safe") and places:
        rest = ((len(inside), line.code_end, ""),) if len(inside) < line.code_end else ()
        yield Slip(
            "`;` does not fit here",
            places[0],
            places[0] + 1,
            help="did you mean `,`?",
            edits=(*((at, at + 1, ",") for at in places), *rest),
            certain=True,
        )


def _marks(line: Written) -> Iterator[Slip]:
    """`;` at the end of a line, `{` and `}` around a block."""
    halt = line.halt
    bare = line.text[: line.code_end].strip()
    if bare in ("{", "}", "};", "})", "end", "begin"):
        yield Slip(
            MARKS["{"][0],
            0,
            len(bare),
            help=MARKS["{"][1],
            edits=((0, len(bare), ""),),
            certain=True,
        )
        return
    mark = "" if halt is None else line.text[halt.at : halt.at + 1]
    if halt is None or mark not in MARKS:
        return
    message, instead = MARKS[mark]
    last = halt.at + 1 >= len(line.text[: line.code_end].rstrip())
    yield Slip(
        message,
        halt.at,
        halt.at + 1,
        help=instead,
        edits=((halt.at, halt.at + 1, ""),),
        certain=last or mark == "}",
        by_example=not last and line.around.head != "cue",
    )


def _trailing(line: Written) -> Iterator[Slip]:
    """A full stop, colon, comma or `do` at the end."""
    text = line.text[: line.code_end].rstrip()
    found = re.search(r"\s*([.:,;!]+|\(\s*\)\s*:?|\bdo|\bbegin|\{)$", text)
    if found is None:
        return
    mark = found[1]
    what = "a block" if mark in (":", "do", "begin") else "a line"
    yield Slip(
        f"{what} starts without `{mark}`" if what == "a block" else f"a line ends without `{mark}`",
        found.start(1),
        found.end(1),
        help=f"leave out `{mark}`",
        edits=((found.start(), found.end(), ""),),
    )


def _after_first_word(line: Written) -> Iterator[Slip]:
    """`travel: 0 deg to 60 deg`, `fuse = 5 A`, `hold(600 ms)`."""
    found = re.match(r"([^\W\d]\w*(?: [a-z]+)?)( *(?::=|[:=]+) *)(?=\S)", line.text)
    if found is None or (line.around.head is None and found[1].split()[0] not in ("show", "cue")):
        return
    sign = found[2].strip()
    every = [
        (one.start(), one.end(), " ")
        for one in re.finditer(r" *[:=] *(?=\S)", line.text[: line.code_end])
    ]
    for edits in (((*found.span(2), " "),), tuple(every)):
        yield Slip(
            f"`{sign}` does not fit here: a line is written without it",
            found.start(2) + found[2].index(sign),
            found.start(2) + found[2].index(sign) + len(sign),
            help=f"leave out `{sign}`",
            edits=edits,
            by_example=True,
            whole=True,
        )


def _brackets(line: Written) -> Iterator[Slip]:
    """Sums without brackets, with others, or with one of them."""
    text = line.text[: line.code_end]
    for found in _CURLY_SUM.finditer(text):
        if "," in found[1]:  # a list, such as of red, green and blue
            continue
        instead = f"({found[1].strip()})"
        yield _sum(found.span(), instead)
    for found in _BARE_SUM.finditer(text):
        open_left, open_right = (
            text[: found.start()].endswith("("),
            text[found.end() :].startswith(")"),
        )
        if open_left != open_right:
            span = (found.start() - open_left, found.end() + open_right)
            yield _sum(span, f"({found[0]})")
        elif not open_left:
            yield _sum(found.span(), f"({found[0]})")
    if text.count("(") > text.count(")"):
        at = len(text.rstrip())
        yield Slip(
            "a bracket is not closed",
            text.rindex("("),
            at,
            help="end the sum with `)`",
            edits=((at, at, ")"),),
            whole=True,
        )


def _sum(span: tuple[int, int], instead: str) -> Slip:
    return Slip(
        "a sum is written in brackets",
        *span,
        help=f"write `{instead}`",
        edits=((*span, instead),),
    )


# -- one sign or small word --------------------------------------------------------------------


def _signs(line: Written) -> list[str]:
    """Words and signs that could stand where reading stops, the likely ones first."""
    halt = line.halt
    if halt is None:
        return []
    found = {word for name in halt.due - HIDDEN if (word := literal(name))} - _NO_JOINTS
    bare = re.match(r"[0-9]+\s*$", line.text[halt.at : line.code_end]) is not None
    first = (*("button",) * bare, *_ORDER)
    likely = [word for word in first if word in found]
    return likely + sorted({*found, *_ALWAYS} - set(likely))


def _missing(line: Written) -> Iterator[Slip]:
    halt = line.halt
    if halt is None or (line.around.head is None and not halt.at):
        return  # any statement could begin there
    rest = line.text[halt.at : line.code_end].strip()
    behind = f"before `{_cut(rest)}`" if rest else "at the end of the line"
    fitting = line.due_at(halt.at)
    for word in (*_signs(line), *_TOGETHER):
        if not rest and word in (*_TOGETHER, *_ALWAYS) and word not in _LAST:
            continue  # it would join nothing
        always = _ALWAYS if line.around.head else ()
        if word.split()[0] not in fitting and word not in (*fitting, *always):
            continue
        goes = line.around.head == "remote" or line.text.startswith("idle")
        if "go" in word.split() and not goes:
            continue  # a board, for one, could be called so
        before, after = line.text[: halt.at].rstrip(), line.text[halt.at :].lstrip()
        glue = "" if word[0] in ",:)" or not before else " "
        edit = (
            len(before),
            len(line.text) - len(after),
            f"{glue}{word} " if after and after[0] not in ",:)" else glue + word,
        )
        yield Slip(
            f"`{word}` is missing {behind}",
            halt.at,
            halt.at + max(1, len(line.word_at(halt.at))),
            help=None,
            edits=(edit,),
            by_example=True,
            whole=True,
        )


def _cut(text: str) -> str:
    return text if len(text) <= 24 else text[:21] + "..."


def _replaced(line: Written) -> Iterator[Slip]:
    """Another sign or small word than the one that is due."""
    halt = line.halt
    if halt is None:
        return
    spots: list[tuple[int, int, tuple[str, ...] | None]] = []
    sign = _sign_at(line, halt.at)
    if sign is not None:
        spots.append((sign.start(), sign.end(), None))
    word = line.word_at(halt.at)
    if word.lower() in _SYNONYMS:
        spots.append((halt.at, halt.at + len(word), _SYNONYMS[word.lower()]))
    earlier = re.search(r"(\S+)\s*\Z", line.text[: halt.at])
    if earlier is not None and _SIGNS.fullmatch(earlier[1]):
        spots.append((*earlier.span(1), None))
    elif earlier is not None and earlier[1] in _SYNONYMS:
        spots.append((*earlier.span(1), _SYNONYMS[earlier[1]]))
    for start, end, only in spots:
        fitting = line.due_at(start)
        rest = line.text[end : line.code_end].strip()
        for new in only or (*_ORDER, *_signs(line), ": go", "cut to", "fade to", "*"):
            if not (rest or only) and new not in _LAST:
                continue  # it would join nothing
            if "go" in new.split() and line.around.head != "remote":
                continue
            if new in ("*", *_ALWAYS) or new.split()[0] in fitting:
                yield _exchanged(line, start, end, new)


def _sign_at(line: Written, at: int) -> re.Match[str] | None:
    """The sign at a place, unless it is the minus of a number: `neck -40 deg` lacks a word, and
    a number that loses its minus moves the part to the other side."""
    if re.match(r"-[0-9.]", line.text[at:]) and re.search(r"(?:\A|\s)\Z", line.text[:at]):
        return None
    return _SIGNS.match(line.text, at)


def _exchanged(line: Written, start: int, end: int, new: str) -> Slip:
    old = line.text[start:end]
    left = "" if new[0] in ",:" or line.text[:start].endswith(" ") else " "
    right = "" if line.text[end : end + 1] in (" ", "") else " "
    cut = start
    if new[0] in ",:":
        cut = len(line.text[:start].rstrip())
    return Slip(
        f"`{old}` does not fit here",
        start,
        end,
        help=f"did you mean `{new}`?",
        edits=((cut, end, left + new + right),),
        by_example=True,
        whole=True,
    )


def _needless(line: Written) -> Iterator[Slip]:
    """A sign or small word too many, where reading stops or just before."""
    halt = line.halt
    if halt is None:
        return
    for pattern in (re.compile(r"(\S+)\s*\Z"),):
        earlier = pattern.search(line.text[: halt.at])
        if earlier is not None:
            yield from _left_out(line, *earlier.span(1))
    sign = _sign_at(line, halt.at)
    word = line.word_at(halt.at)
    yield from _left_out(line, halt.at, halt.at + len(word))
    if sign is not None and sign[0] != "x":
        yield _without(line, *sign.span())


def _left_out(line: Written, start: int, end: int) -> Iterator[Slip]:
    word = line.text[start:end]
    if word == "x" and end >= len(line.text[: line.code_end].rstrip()):
        return
    if word.lower() in _FILLERS or _SIGNS.fullmatch(word):
        yield _without(line, start, end)


def _without(line: Written, start: int, end: int) -> Slip:
    word = line.text[start:end]
    gap = end + len(line.text[end:]) - len(line.text[end:].lstrip())
    before = len(line.text[:start].rstrip())
    glue = " " if before and gap < len(line.text) and line.text[gap] not in ",:)" else ""
    return Slip(
        f"`{word}` does not fit here",
        start,
        end,
        help=f"leave out `{word}`",
        edits=((before, gap, glue),),
        by_example=True,
        whole=True,
    )


# -- several statements on a line ---------------------------------------------------------------


def _same_pace(line: Written) -> Iterator[Slip]:
    found = _SAME_PACE.match(line.text[: line.code_end].rstrip())
    if found is None:
        return
    made = f"{found[1]}, {found[4]} {found[2]}{found[5]}"
    yield Slip(
        "one statement has one pace, at its end",
        *found.span(2),
        help=f"write `{made}`",
        edits=((0, found.end(), made),),
        whole=True,
    )


def _starts(line: Written) -> Iterator[re.Match[str]]:
    """Where a second statement may start: at a word that starts one, or at an output's name."""
    yield from _NEXT.finditer(line.text, 1, line.code_end)
    outputs = (line.around.names.get(kind, ()) for kind in ("servo", "lamp", "strip", "switch"))
    for found in _ACTS.finditer(line.text, 1, line.code_end):
        if any(found[1] in names for names in outputs):
            yield found


def _two_statements(line: Written) -> Iterator[Slip]:
    if line.around.head != "cue":
        return
    for found in _starts(line):
        if line.quoted(found.start()) or not line.text[found.end() : line.code_end].strip():
            continue
        yield Slip(
            "one statement stands on each line",
            found.end(),
            line.code_end,
            help="begin a new line for the second",
            edits=((*found.span(), "\n"),),
            certain=True,
        )
