"""Where names stand in a show, what they name, and giving a thing another name."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final, Literal, NamedTuple, TypeAlias

from lark import Token

from seqlang.loading import read_changed
from seqlang.text.names import RESERVED
from seqlang.text.syntax import (
    ActText,
    Block,
    Broken,
    CueText,
    Cut,
    EffectText,
    LightText,
    Line,
    Play,
    Spot,
    Strike,
    ThrowText,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from seqlang.loading import Loaded

Named: TypeAlias = Literal[
    "supply", "board", "output", "pose", "cue", "constant", "colour", "region", "chip", "pin"
]

OWN: Final = frozenset({"supply", "board", "output", "pose", "cue", "constant"})
"""What a show itself gives names to."""

_OUTPUT: Final[dict[int, tuple[Named, bool]]] = {
    1: ("output", True),
    2: ("board", False),
    3: ("pin", False),
}
_PLACES: Final[dict[str, dict[int, tuple[Named, bool]]]] = {
    **dict.fromkeys(("servo", "lamp", "strip", "switch"), _OUTPUT),
    "given": {1: ("constant", True), 2: ("colour", False)},
    "supply": {1: ("supply", True)},
    "board": {1: ("board", True), 2: ("chip", False)},
    "feed": {1: ("supply", False)},
    "mount": {1: ("output", False)},
    "ride": {1: ("output", False)},
    "near": {1: ("region", False)},
    "colour": {1: ("colour", False)},
    "input": {2: ("board", False), 3: ("pin", False)},
    "idle": {1: ("cue", False)},
    "button": {2: ("cue", False)},
    "lost": {2: ("cue", False)},
    "rate": {0: ("cue", False)},
}
"""What the names in a line name, by grammar rule and place, and whether they are declared there.

Any other name is that of a constant.
"""


class Occurrence(NamedTuple):
    """One place of a name."""

    named: Named
    name: str
    start: int
    end: int
    declares: bool


def occurrences(items: Iterable[object]) -> Iterator[Occurrence]:
    """Every name of a syntax tree, in no order."""
    pending: list[object] = list(items)
    while pending:
        node = pending.pop()
        if isinstance(node, Token):
            if node.type == "NAME":
                yield _at(node, "constant")
        elif isinstance(node, Line):
            yield from _of_line(node, pending)
        elif isinstance(node, CueText):
            yield _at(node.name, "cue", declares=True)
            pending += node.body
        elif isinstance(node, Strike):
            yield _at(node.pose, "pose")
            pending += [node.pace.amounts, node.law]
        elif isinstance(node, Play):
            yield _at(node.cue, "cue")
        elif isinstance(node, LightText):
            if isinstance(node.head, Token) and node.head.type == "NAME":
                yield _at(node.head, "colour")
            else:
                pending.append(node.head)
            pending.append(node.level)
        elif isinstance(node, ActText):
            for target in node.targets:
                yield from (_at(name, "output") for name in target.names)
                pending.append(target.value)
            pending += [node.pace.amounts, node.law]
        elif isinstance(node, Spot | Cut | ThrowText | EffectText):
            yield from (_at(name, "output") for name in node.names)
            pending += node[1:]
        elif isinstance(node, Block):
            pending += [*node.head, *node.body]
        elif isinstance(node, tuple) and not isinstance(node, Broken):
            pending += node


def _of_line(line: Line, pending: list[object]) -> Iterator[Occurrence]:
    places = _PLACES.get(line.kind, {})
    if line.kind == "pose":
        places = {line.items.index(line.tokens()[-1]): ("pose", True)}
    for number, item in enumerate(line.items):
        if number in places and isinstance(item, Token) and item.type == "NAME":
            named, declares = places[number]
            yield _at(item, named, declares=declares)
        else:
            pending.append(item)


def _at(token: Token, named: Named, *, declares: bool = False) -> Occurrence:
    return Occurrence(named, str(token), token.start_pos or 0, token.end_pos or 0, declares)


@dataclass(frozen=True)
class ShowNames:
    """All names of one text."""

    items: Sequence[object]

    @cached_property
    def all(self) -> tuple[Occurrence, ...]:
        """In the order of the text. Where a colour may stand, a constant of the name goes first."""
        found = sorted(occurrences(self.items), key=lambda one: one.start)
        given = {one.name for one in found if one.named == "constant" and one.declares}
        return tuple(
            one._replace(named="constant") if one.named == "colour" and one.name in given else one
            for one in found
        )

    def at(self, offset: int) -> Occurrence | None:
        """The name at or just before a place."""
        return next((one for one in self.all if one.start <= offset <= one.end), None)

    def same(self, one: Occurrence) -> tuple[Occurrence, ...]:
        """Every place of the thing that stands at one of them."""
        return tuple(o for o in self.all if (o.named, o.name) == (one.named, one.name))

    def declaration(self, one: Occurrence) -> Occurrence | None:
        return next((other for other in self.same(one) if other.declares), None)

    def declared(self, named: Named) -> dict[str, Occurrence]:
        """Where each name of a kind is declared, the first place of each."""
        found: dict[str, Occurrence] = {}
        for one in self.all:
            if one.declares and one.named == named:
                found.setdefault(one.name, one)
        return found


class CannotRenameError(Exception):
    """Why a name cannot be changed, in words for the maker."""


_NAME: Final = re.compile(r"[^\W\d]\w*")


def renamed(loaded: Loaded, one: Occurrence, new: str) -> tuple[Occurrence, ...]:
    """The places of the whole text to change so that a thing is called `new`.

    The change is tried first: the text must read as before, with the same findings and the same
    names in the same places. Raises CannotRenameError.
    """
    whole = loaded.whole
    if whole is None:
        raise CannotRenameError("the text cannot be read as it is")
    names = ShowNames(loaded.items)
    if one.named not in OWN or names.declaration(one) is None:
        raise CannotRenameError(f"`{one.name}` is not a name that this show gives")
    if not _NAME.fullmatch(new):
        raise CannotRenameError(f"`{new}` is no name: letters, digits and `_`, no digit first")
    if new in RESERVED:
        raise CannotRenameError(f"`{new}` is a word of the language and cannot be a name")
    if new in names.declared(one.named):
        raise CannotRenameError(f"`{new}` names another {one.named} already")
    if any(finding.name == "syntax" for finding in loaded.findings):
        raise CannotRenameError(
            "correct the syntax errors first: names in such lines are not known"
        )
    places = names.same(one)
    if new == one.name:
        return ()
    text, shift, moved = (
        whole.source.text,
        len(new) - len(one.name),
        {place.start for place in places},
    )
    for place in reversed(places):
        text = text[: place.start] + new + text[place.end :]
    after = read_changed(whole, text)
    expected: list[tuple[str, str, int]] = []
    grown = 0
    for other in names.all:
        is_moved = other.start in moved
        expected.append((other.named, new if is_moved else other.name, other.start + grown))
        grown += shift if is_moved else 0
    found = [(other.named, other.name, other.start) for other in ShowNames(after.items).all]
    new_findings = Counter(f.name for f in after.findings) - Counter(
        f.name for f in loaded.findings
    )
    if found != expected or new_findings:
        why = next((f.message for f in after.findings if f.name in new_findings), None)
        raise CannotRenameError(
            f"with `{new}` the show would not say the same" + (f": {why}" if why else "")
        )
    return places
