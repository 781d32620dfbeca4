"""What one run of elaboration finds wrong, and the names it knows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from itertools import count
from typing import TYPE_CHECKING, Final, Literal, ParamSpec, TypeVar

from lark import Token

from seqlang.meaning.origins import Origins
from seqlang.text.findings import Finding, Fix, Span, said_there
from seqlang.text.names import NAMELESS, OF_ANY_SIDE, RESERVED, beyond_row, nearest
from seqlang.text.syntax import place

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from contextlib import AbstractContextManager

    from seqlang.text.source import Source

_SHOWN = 3
"""Further places that one finding shows."""

MOST_COMPARED = 15_000_000
"""Pairs of letters compared to find names near to unknown ones (own limit): enough for 100 unknown
names of ten letters among 1,500 known ones. Behind it a finding proposes no name."""

P = ParamSpec("P")
T = TypeVar("T")

_OF_KIND = {
    ("cue", "pose"): "a cue holds it: `pose NAME in 1 s` below `cue`",
    ("cue", "gesture"): "a cue plays it: `play NAME` below `cue`",
    ("pose", "cue"): "a cue is played: `play NAME`",
    ("output", "pose"): "a pose is taken: `pose NAME in 1 s`",
    ("output", "cue"): "a cue is played: `play NAME`",
    ("board", "supply"): "outputs hang on a board; the board's `feed` names the supply",
    ("supply", "board"): "`feed` names the supply",
    ("channel or sensor", "output"): "a part follows a stick or a voice; only a lamp follows a "
    "part, and for parts that move alike one line names both: `jaw and fin to 20 deg in 1 s`",
}
"""What to do with a name of another kind than the one that is needed."""


class Fault(Exception):  # noqa: N818 (reads as what it is where it is raised)
    """An amount that has no value; its finding is already noted."""


_SIDES: Final = frozenset({"left", "right", "port", "starboard"})
"""Names of sides that hands write where a show has none."""


class Notebook:
    """The findings of one run of elaboration, and what the words of one need to know."""

    def __init__(self, source: Source, forgiven: Iterable[str] = ()) -> None:
        self.source = source
        self.origins = Origins(source.path)
        self.findings: list[Finding] = []
        self.ways: Mapping[int, str] = {}
        """By `id` of a statement that is written once for several things: which it is read for."""
        self.alike: Mapping[str, Sequence[str]] = {}
        """By kind, the names for things that are described once, those of several included."""
        self.elsewhere: dict[str, str] = {}
        """What each declared name is the name of; the first kind of several."""
        self.forgiven = set(forgiven)
        """Names declared in lines that could not be read: missing, but not unknown."""
        self._on_the_way: dict[tuple[str, Span, str], int] = {}
        """Numbers of the findings so far, by name, place and message."""
        self._unknown: dict[str, int] = {}
        """Names that nothing known is near to, by what was said: the place of their finding."""
        self.added_to = 0
        """How often a finding so far was told of one more place."""
        self._compared = 0
        """Pairs of letters compared so far; see `MOST_COMPARED`."""

    def span(self, node: object) -> Span:
        return self.origins.span(node)

    def passing(self, words: str, node: object | None = None) -> AbstractContextManager[None]:
        """What is marked or found inside came by a gesture's call, from a side: see `Passage`."""
        return self.origins.passing(words, node)

    def text(self, node: object) -> str:
        start, end = place(node)
        return self.source.text[start:end]

    def error(
        self,
        name: str,
        message: str,
        node: object,
        label: str = "",
        *,
        related: tuple[tuple[object, str], ...] = (),
        help: str | None = None,
        fix: str | Fix | None = None,
        severity: Literal["error", "warning", "advice"] = "error",
        asked: float | None = None,
        limit: float | None = None,
        unit: str | None = None,
    ) -> None:
        """Note a finding at a node; `fix` is what would pass in its place."""
        span = self.span(node)
        if self.origins.is_passing and (name, span, message) in self._on_the_way:
            self._the_same(self._on_the_way[name, span, message], span)
            return  # the same words, come to once more by another way
        self._on_the_way[name, span, message] = len(self.findings)
        spots = tuple((self.span(other), words) for other, words in related)
        self.findings.append(
            Finding(
                severity,
                name,
                message,
                span,
                label,
                spots,
                (),
                help,
                said_there(Fix(span, fix), span.trail, self._text_at)
                if isinstance(fix, str)
                else fix,
                asked,
                limit,
                unit,
            )
        )

    def _the_same(self, index: int, span: Span) -> None:
        """A finding of one thing is one of another that is described by the same text as well."""
        if not span.trail or span.trail[-1].span is not None:
            return
        found, note = self.findings[index], f"the same {span.trail[-1].words}"
        if found.trail != span.trail and note not in found.notes and len(found.notes) < _SHOWN:
            self.findings[index] = replace(found, notes=(*found.notes, note))

    def retell(self, begin: int, told: Sequence[Finding]) -> None:
        """Put others in the place of the findings from number `begin` on, one for each.

        Those that are the same then are told once. What is found again by another way goes to the
        finding that is still there; one that is no longer told is found anew.
        """
        before, numbers = self.findings[begin:], dict[Finding, int]()
        now = [begin + numbers.setdefault(one, len(numbers)) for one in told]
        stays = [one is other for one, other in zip(before, told, strict=True)]
        self.findings[begin:] = numbers
        self._on_the_way = _moved(self._on_the_way, begin, now, stays)
        self._unknown = _moved(self._unknown, begin, now, stays)

    def _text_at(self, span: Span) -> str:
        return self.source.text[span.start : span.end]

    def said_again(self, first: object, again: object) -> Fix | None:
        """The change that takes out a line which says the same as an earlier one, to the letter.

        None where they differ: only the maker knows which of them is meant.
        """
        one, other = (self.source.line_number(place(node).start) for node in (first, again))
        if one == other:
            return None
        if self.source.line_text(one).split() != self.source.line_text(other).split():
            return None
        start = self.source.line_starts[other - 1]
        line = Span(self.source.path, start, start + len(self.source.line_text(other)) + 1)
        return Fix(line, "")

    def unknown(
        self, token: Token, kind: str, known: Iterable[str], instead: str | None = None
    ) -> None:
        """Note an unknown name with the nearest known one; `instead`: the hint if none is near."""
        side, _, base = str(token).partition("_")
        if str(token) in self.forgiven or (side and f"{OF_ANY_SIDE}{base}" in self.forgiven):
            return
        if any(f"{NAMELESS}{one}" in self.forgiven for one in kind.replace(",", "").split()):
            return
        message = f"there is no {kind} `{token}`"
        first = self._unknown.get(message)
        if first is not None:
            self._once_more(first, token)
            return
        other = self.elsewhere.get(str(token))
        if other is not None and other != kind:
            message = f"there is no {kind} `{token}`: {token} is {_a(other)}"
            self.error("unknown-name", message, token, help=instead or _OF_KIND.get((kind, other)))
            return
        searches = self._compared < MOST_COMPARED
        names = list(known) if searches else []
        every = [*names, *(n for word in kind.split() for n in self.alike.get(word, ()))]
        searches = searches and self._may_compare(token, every)
        ends = beyond_row(str(token), every) if searches else None
        sideless = self._on_no_side(str(token), every)
        near = nearest(str(token), every) if searches and ends is None else None
        if near is None:
            self._unknown[message] = len(self.findings)
        hint: str | None
        if near is not None:
            hint = f"did you mean `{near}`?"
        elif sideless is not None:
            hint, near = f"`{sideless}` is not below `mirror`: it has no sides", sideless
        elif ends is not None:
            hint = f"they go from `{ends[0]}` to `{ends[1]}`"
        elif instead is not None:
            hint = instead
        elif not searches:
            hint = None
        elif names:
            shown = ", ".join(f"`{name}`" for name in sorted(names)[:8])
            hint = f"known here: {shown}" + (" and more" if len(names) > 8 else "")
        elif kind == "constant":
            hint = f"give it above its first use, such as `given {token} = 300 ms`"
        else:
            hint = f"this show has no {kind} yet"
        self.error("unknown-name", message, token, help=hint, fix=near)

    def _on_no_side(self, wrong: str, every: list[str]) -> str | None:
        """`fin` for `left_fin` where `fin` is there once, or is a row, and stands on no side."""
        side, _, base = wrong.partition("_")
        is_side = side in _SIDES or any(name.startswith(f"{side}_") for name in every)
        is_there = base in every or f"{base}_1" in every
        return base if base and is_side and is_there else None

    def _may_compare(self, token: Token, names: list[str]) -> bool:
        """Whether the token can still be compared with all the names; counts that."""
        self._compared += len(token) * sum(map(len, names))
        return self._compared <= MOST_COMPARED

    def _once_more(self, index: int, token: Token) -> None:
        """A name that nothing is near to is one mistake, however often it is used."""
        self.added_to += 1
        found = self.findings[index]
        span = self.span(token)
        if span == found.span or (found.name, span, found.message) in self._on_the_way:
            return
        self._on_the_way[found.name, span, found.message] = index
        if len(found.related) < _SHOWN:
            related = (*found.related, (self.span(token), "and here"))
            self.findings[index] = replace(found, related=related)
            return
        more = int(found.notes[0].split()[1]) + 1 if found.notes else 1
        places = "place" if more == 1 else "places"
        self.findings[index] = replace(found, notes=(f"and {more} more {places}",))

    def tried(self, make: Callable[P, T], *args: P.args, **more: P.kwargs) -> T | None:
        """What `make` gives, or None if it found a fault (and noted it)."""
        try:
            return make(*args, **more)
        except Fault:
            return None

    def on_its_way(
        self, statement: object, make: Callable[P, T], *args: P.args, **more: P.kwargs
    ) -> T | None:
        """`tried`, with the way that leads to a statement at the left margin in every place."""
        words = self.ways.get(id(statement))
        if words is None:
            return self.tried(make, *args, **more)
        with self.passing(words):
            return self.tried(make, *args, **more)


def _moved(
    known: dict[T, int], begin: int, now: Sequence[int], stays: Sequence[bool]
) -> dict[T, int]:
    """Numbers of findings, after those from `begin` on have others, or are gone."""
    return {
        key: number if number < begin else now[number - begin]
        for key, number in known.items()
        if number < begin or stays[number - begin]
    }


def declared(reading: Notebook, kind: str, names: Iterable[Token]) -> dict[str, Token]:
    """Names of one kind, each once; the second of two is a finding that shows both."""
    found: dict[str, Token] = {}
    every = list(names)
    taken = set(map(str, every))
    numbers = defaultdict[str, Iterator[int]](lambda: count(2))
    for name in every:
        if str(name) in RESERVED:
            reading.error(
                "reserved-word",
                f"`{name}` is a word of the language and cannot name {_a(kind)}",
                name,
                help=f"such as `{name}_1`",
                fix=f"{name}_1",
            )
        first = found.setdefault(str(name), name)
        if first is not name:
            # other outputs need a place in the safe pose as well, other cues something that
            # starts them; of two values of a constant one is meant
            alone = kind not in ("output", "cue", "constant")
            free = _free(str(name), taken, numbers[name]) if alone else None
            reading.error(
                "duplicate-name",
                f"there are two {_several(kind)} called `{name}`",
                name,
                "the second",
                related=((first, "the first"),),
                help="give one of them another name" + (f", such as `{free}`" if free else ""),
                fix=free,
            )
    return found


def _free(name: str, taken: set[str], numbers: Iterator[int]) -> str:
    """A name like that one which nothing has yet, by the next of its numbers; it is taken then."""
    free = next(one for number in numbers if (one := f"{name}_{number}") not in taken)
    taken.add(free)
    return free


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeio" else f"a {kind}"


def _several(kind: str) -> str:
    each = kind.split(" or ")
    return " or ".join(one[:-1] + "ies" if one.endswith("y") else one + "s" for one in each)
