"""What may be written at a place: asked of the parser, of the show's names and of its checks.

The parser is fed the header lines above and the words before the place; the tokens that it takes
next are what is due. Which kind of name is due, and which units a number takes there, is found out
by writing one, ending the line in the shortest way that the grammar allows, and reading that.
"""

from __future__ import annotations

import re
from collections import deque
from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple, cast

from lark import Token, UnexpectedInput

from firmware_gen.chips import CHIPS
from seqlang.editor.naming import ShowNames
from seqlang.loading import load_text
from seqlang.meaning.gesture import plays_in
from seqlang.text.grammar import Indentation, parser
from seqlang.text.indentation import is_content, width
from seqlang.text.names import PARAMETER_KINDS
from seqlang.text.occurrences import OUTPUT_KINDS, OWN, SOURCES, Named, occurrences
from seqlang.text.source import Source
from seqlang.text.syntax import CueText, GestureText, Line, names_in
from seqlang.text.tokens import words_of
from seqlang.text.units import UNITS, title_of, units_of
from sim.light.colours import COLOURS
from sim.rig.regions import REGIONS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from lark.parsers.lalr_interactive_parser import InteractiveParser

    from seqlang.loading import Loaded
    from seqlang.text.findings import Finding

MOST_TRIED: Final = 1_000
"""States of the parser that are looked at for an end of the line."""

MOST_READ: Final = 400_000
"""Characters of a text that is read once more to find which unit is due."""

_INCLUDE_BEFORE: Final = re.compile(r'include[ \t]*"([^"]*)')
_NUMBER_BEFORE: Final = re.compile(r"(?<![\w.-])(-?[0-9]+(?:\.[0-9]+)?)( *)([A-Za-z%][\w./]*)?$")
_PLACEHOLDER: Final = "due_here"
_SAMPLES: Final = {
    "NUMBER": "1",
    "QUANTITY": "1 s",
    "NAME": "x",
    "STRING": '"x"',
    "COLOUR": "#000000",
    "FRACTION": "1/2",
    "_NL": "\n",
    "ADD": "+",
    "MULTIPLY": "*",
}
_HIDDEN: Final = frozenset({"BROKEN", "$END", "_INDENT", "_DEDENT", "_NL"})
_KINDS: Final[dict[Named, str]] = {
    "chip": "chip",
    "pin": "pin",
    "colour": "colour",
    "region": "body region",
}


class Proposal(NamedTuple):
    """A word that may stand at a place; `kind` is `word`, `unit`, or what a name names."""

    text: str
    kind: str
    detail: str = ""


class Proposals(NamedTuple):
    """What may stand from `start` (where the word begun at the place begins) on."""

    start: int
    all: tuple[Proposal, ...]


def proposals(
    source: Source,
    offset: int,
    names: ShowNames,
    read: Callable[[str], Loaded] | None = None,
    files: Iterable[str] = (),
) -> Proposals:
    """What may be written at `offset`; `names` may be those of an older text.

    `read`: the show with another text in this one's stead, where that is only a part of it.
    `files`: what an `include` here may name.
    """
    line_start = source.text.rfind("\n", 0, offset) + 1
    before = source.text[line_start:offset]
    path = _INCLUDE_BEFORE.fullmatch(before)
    if path is not None:
        named = tuple(Proposal(one, "file") for one in files if one.startswith(path[1]))
        return Proposals(line_start + path.start(1), named)
    if _in_comment_or_title(before):
        return Proposals(offset, ())
    number = _NUMBER_BEFORE.search(before)
    if number is not None:
        start = line_start + (number.start(3) if number[3] else len(before))
        state = _state(_headers(source, line_start, before) + before[: number.end(2)])
        if state is not None:
            shown = before[: number.end(2)]
            units = _units(source, line_start, shown, number.start(1), state, read)
            found = [*units, *_words(state)]
            begun = number[3] or ""
            return Proposals(start, tuple(one for one in found if one.text.startswith(begun)))
    first: Proposals | None = None
    for match in _word_starts(before):
        state = _state(_headers(source, line_start, before) + before[:match])
        if state is None:
            continue
        begun = re.sub(" +", " ", before[match:])
        found = [*_words(state), *(_names(state, names) if first is None else ())]
        fitting = tuple(one for one in found if one.text.startswith(begun))
        if first is None or (" " in begun and fitting):  # `in` of `in turn` may be read as a name
            first = Proposals(line_start + match, fitting)
    return first or Proposals(offset, ())


def _in_comment_or_title(before: str) -> bool:
    bare = re.sub(r'"[^"]*"', "", before)
    return '"' in bare or "#" in bare


def _word_starts(before: str) -> Iterator[int]:
    """Where the word at the end of a line begins; words of the language may have spaces in them."""
    at = len(before)
    for _ in range(5):
        while at > 0 and re.match(r"[\w./%-]", before[at - 1]):
            at -= 1
        yield at
        left = len(before[:at].rstrip(" "))
        if left in (at, 0):
            return
        at = left


def _headers(source: Source, line_start: int, before: str) -> str:
    """The lines above in whose blocks a line stands, from the left margin on."""
    inset = width(before)
    found: list[str] = []
    for number in range(source.line_number(line_start) - 1, 0, -1):
        if inset == 0:
            break
        line = source.line_text(number)
        if is_content(line) and width(line) < inset:
            inset = width(line)
            found.append(line)
    return "".join(f"{line}\n" for line in reversed(found))


def _state(text: str) -> InteractiveParser | None:
    """The parser behind a text that ends within a line; None if it cannot be read."""
    state = parser().parse_interactive(text)
    try:
        for token in state.lexer_thread.lex(  # type: ignore[no-untyped-call]
            state.parser_state
        ):
            if token.type == Indentation.DEDENT_type:
                break  # the lexer closes all blocks at the end of the text
            state.feed_token(token)
    except UnexpectedInput:
        return None
    return state


def _copy(state: InteractiveParser) -> InteractiveParser:
    """A parser that goes on from here, and leaves this one as it is."""
    copy = state.copy(deepcopy_values=False)  # type: ignore[no-untyped-call]
    return cast("InteractiveParser", copy)


def _due(state: InteractiveParser) -> set[str]:
    return set(state.accepts()) - _HIDDEN  # type: ignore[no-untyped-call]


# -- words, names ------------------------------------------------------------------------------


def _words(state: InteractiveParser) -> Iterator[Proposal]:
    """The words of the language that are due."""
    for terminal in sorted(_due(state)):
        if terminal not in _SAMPLES:
            yield from (Proposal(w, "word") for w in words_of(terminal) if w[0].isalnum())


def _names(state: InteractiveParser, names: ShowNames) -> Iterator[Proposal]:
    if "NAME" not in _due(state):
        return
    due = _name_due(state)
    if due is None:
        return
    named = due.named
    if due.sided:
        yield from (Proposal(name, "side") for name in names.declared("side"))
    yield from (Proposal(name, "parameter") for name in due.parameters)
    if named == "along":
        yield from (Proposal(name, "side") for name in names.declared("side"))
        yield from (Proposal(name, "output") for name in names.rows)
        return
    if named == "parameter":
        scope = names.gesture_of(due.scope)
        yield from (
            Proposal(one.name, "parameter")
            for one in names.all
            if one.declares and one.named == "parameter" and one.scope == scope
        )
        return
    if named == "value" and due.scope == _IN_HEADER:
        yield from (Proposal(kind, "kind") for kind in sorted(PARAMETER_KINDS))
    if named == "value":
        yield from (Proposal(name, "output") for name in names.declared("output"))
        named = "colour"
    if named == "source":
        for source in SOURCES:
            yield from (Proposal(name, source) for name in names.known(source))
        if due.scope == _IN_LAMP:
            yield from (Proposal(name, "output") for name in names.known("output"))
        return
    if named == "cue" and due.scope == _PLAYED:
        yield from (Proposal(name, "gesture") for name in names.known("gesture"))
    if named in ("colour", "constant"):
        yield from (Proposal(name, "constant") for name in names.declared("constant"))
    if named in OWN and named != "constant":
        yield from (Proposal(name, named) for name in names.known(named))
    elif named != "constant":
        known: dict[str, Iterable[str]] = {
            "colour": COLOURS,
            "region": REGIONS,
            "chip": CHIPS,
            "pin": _pins(),
        }
        yield from (Proposal(name, _KINDS[named]) for name in known[named])


def _pins() -> tuple[str, ...]:
    """The pins of all chips."""
    return tuple(dict.fromkeys(pin for chip in CHIPS.values() for pin in chip.pins))


_IN_HEADER: Final = "header"
_PLAYED: Final = "played"
_IN_LAMP: Final = "lamp"


class _Due(NamedTuple):
    """What a name would name at a place."""

    named: Named
    scope: str
    """Where a value, a source or a cue's name stands, if that matters."""
    sided: bool
    """Whether the name may be that of a side as well: `(left: `."""
    parameters: tuple[str, ...]
    """Those of the gesture in whose statements the name stands, which may stand there."""


def _name_due(state: InteractiveParser) -> _Due | None:
    """What a name would name here; None where it would declare something."""
    trial = _copy(state)
    trial.feed_token(Token("NAME", _PLACEHOLDER))
    sided = "COLON" in _due(trial)
    ended = _ended(trial)
    if ended is None:
        return None
    for one in occurrences(ended.items):
        if one.name == _PLACEHOLDER:
            if one.declares:
                return None
            scope = one.scope or _where(ended.items)
            return _Due(one.named, scope, sided, tuple(_parameters(ended.items, one.named)))
    return None


def _parameters(items: Iterable[object], named: Named) -> Iterator[str]:
    """The parameters of the gesture around the placeholder that stand for an output, or that stand
    for an amount or a colour."""
    if named not in ("output", "constant", "colour"):
        return
    for item in items:
        if isinstance(item, GestureText) and _PLACEHOLDER in map(str, names_in(item.body)):
            for line in item.parameters:
                if (str(line.items[1]) in OUTPUT_KINDS) == (named == "output"):
                    yield str(line.items[0])


def _lines(items: Iterable[object]) -> Iterator[Line]:
    """Lines at the margin, and those that are described once below a mirror or a row."""
    for item in items:
        if isinstance(item, Line):
            yield item
            yield from _lines(item.items)


def _where(items: Iterable[object]) -> str:
    """Whether the placeholder stands in a lamp, in a gesture's header, or is what is played."""
    items = tuple(items)
    for line in _lines(items):
        if line.kind == "lamp" and _PLACEHOLDER in map(str, names_in(line)):
            return _IN_LAMP
    for item in items:
        if isinstance(item, GestureText) and _PLACEHOLDER in map(str, names_in(item.parameters)):
            return _IN_HEADER
        if isinstance(item, CueText | GestureText) and any(
            str(play.cue) == _PLACEHOLDER for play in plays_in(item.body)
        ):
            return _PLAYED
    return ""


class _Ended(NamedTuple):
    items: list[object]
    line: str
    """The words that end the line."""
    block: str
    """The line of a block that it needs below it; empty if it needs none."""


def _ended(state: InteractiveParser) -> _Ended | None:
    """The shortest way to end the text behind a parser, and the syntax tree of the whole."""
    seen: set[tuple[int, ...]] = set()
    pending: deque[tuple[InteractiveParser, tuple[str, ...]]] = deque([(state, ())])
    tried = 0
    while pending and tried < MOST_TRIED:
        here, words = pending.popleft()
        key = tuple(here.parser_state.state_stack)
        if key in seen:
            continue
        seen.add(key)
        for terminal in _in_order(here):
            tried += 1
            trial = _copy(here)
            text = _sample(terminal)
            try:
                made = trial.feed_token(Token(terminal, text))
            except UnexpectedInput:
                continue
            if terminal == "$END":
                line, _, block = " ".join(words).partition("\n")
                return _Ended(list(made), line, block.partition("\n")[0].strip())
            step = (trial, (*words, text))
            if terminal in ("_NL", "_DEDENT"):
                pending.appendleft(step)
            else:
                pending.append(step)
    return None


def _in_order(state: InteractiveParser) -> list[str]:
    """Tokens that may come, those that end something last, as they go to the front."""
    closing = ("_NL", "_DEDENT", "$END")
    due = [
        name
        for name in state.choices()  # type: ignore[no-untyped-call]
        if name.isupper() or name in closing
    ]
    shorter = {"NUMBER", "NAME"} & set(due)
    longer = ("BROKEN", "RANGED", "LPAR") if shorter else ("BROKEN", "RANGED")
    due = [name for name in due if name not in longer]
    return sorted(due, key=lambda name: (closing.index(name) + 1 if name in closing else 0, name))


@cache
def _sample(terminal: str) -> str:
    if terminal in _SAMPLES:
        return _SAMPLES[terminal]
    words = words_of(terminal)
    return words[0] if words else ""


# -- units -------------------------------------------------------------------------------------


def _units(
    source: Source,
    line_start: int,
    before: str,
    number: int,
    state: InteractiveParser,
    read: Callable[[str], Loaded] | None,
) -> Iterator[Proposal]:
    """The units that the number takes, found by reading the show with the number alone."""
    known: tuple[str, ...] = tuple(UNITS)
    anything = re.match(r"\s*(?:given|gesture)\b", before) or before.count("(") > before.count(")")
    if not anything and len(source.text) <= MOST_READ:
        ended = _ended(state)
        if ended is None:
            return
        line_end = source.text.find("\n", line_start)
        rest = source.text[line_end:]
        below = next((line for line in rest.split("\n") if is_content(line)), "")
        if ended.block and width(below) <= width(before):
            rest = f"\n{' ' * width(before)}    {ended.block}{rest}"
        text = source.text[:line_start] + before.rstrip() + " " + ended.line
        at = line_start + number
        loaded = read(text + rest) if read else load_text(Source(source.path, text + rest))
        own = (f for f in loaded.findings if f.span.path == source.path)
        here = [f for f in own if line_start <= f.span.start <= len(text)]
        about = [f for f in here if f.span.start <= at < f.span.end]
        unit = next(filter(None, (_unit_told(f, before[number:].strip()) for f in about)), "")
        if unit:
            known = (unit, *(o for o in units_of(UNITS[unit][1]) if o != unit))
        elif not about and all(f.name != "syntax" for f in here):
            return  # a number by itself is right
    yield from (Proposal(unit, "unit", title_of(UNITS[unit][1])) for unit in known)


def _unit_told(finding: Finding, number: str) -> str:
    """The unit that a finding about a number gives it, or else the first that it speaks of."""
    told = "" if finding.fix is None else finding.fix.text
    given = re.search(rf"(?<![\w.-]){re.escape(number)} *([A-Za-z%][\w./]*)", told)
    spoken = re.findall(r"`(?:[^`]*?[0-9] *)?([A-Za-z%][\w./]*)[^`]*`", finding.help or "")
    return next((one for one in (*(given.groups() if given else ()), *spoken) if one in UNITS), "")
