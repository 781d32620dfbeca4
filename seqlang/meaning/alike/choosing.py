"""Which of several values is meant: the one of a side, or of a place in a row."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple, cast

from lark import Token

from seqlang.text.findings import Finding, Fix, Span
from seqlang.text.names import nearest
from seqlang.text.syntax import LightText, Ranged, Sum, Varied, place
from seqlang.text.units import TIME, parse_quantity

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from seqlang.meaning.alike.families import Sides
    from seqlang.text.source import Source
    from seqlang.text.syntax import Amount, Choice


class Here(NamedTuple):
    """Of which side, and of which things of each row, a stretch of text is read."""

    sides: Sides = ()
    """The sides it is read for; at most one of each mirror."""
    items: tuple[tuple[int, tuple[int, ...]], ...] = ()
    """Row and things of it, the innermost row last."""

    def of(self, row: int) -> tuple[int, ...]:
        return next((items for number, items in reversed(self.items) if number == row), ())

    def on(self, side: str | None) -> Here:
        return self if side is None or side in self.sides else Here((*self.sides, side), self.items)

    def at(self, row: int, items: tuple[int, ...]) -> Here:
        return Here(self.sides, (*(one for one in self.items if one[0] != row), (row, items)))

    @property
    def words(self) -> str:
        """Where that is, for a finding's trail."""
        said = [f"on the {side} side" for side in self.sides]
        said += [f"number {items[0]} of the row" for _, items in self.items if len(items) == 1]
        return ", ".join(said)


MOST_STATEMENTS: Final = 30_000
"""Statements of a show, written out, each part in them counted (own limit; the steps of its cues
have the same)."""


class TooManyError(Exception):
    """Written out, the show has more statements than a show may have."""


class Notes:
    """Findings of the writing out, each once, however often its text is read."""

    def __init__(self, source: Source, forgiven: Iterable[str] = ()) -> None:
        self._source = source
        self.forgiven = set(forgiven)
        """Names of what could not be read: nothing is said of what is said of them."""
        self.all: dict[tuple[str, Span, str], Finding] = {}
        self.is_limited = False
        """The text has something that exists several times, so that little can become much."""
        self._written = 0
        self.failed = False
        """Something was found since this was last set: what is being written out makes no sense."""

    def error(
        self,
        name: str,
        message: str,
        node: object,
        *,
        help: str | None = None,
        fix: str | None = None,
        related: Sequence[tuple[object, str]] = (),
    ) -> None:
        self.failed = True
        span = self.span(node)
        spots = tuple((self.span(other), words) for other, words in related)
        finding = Finding(
            *("error", name, message, span),
            related=spots,
            help=help,
            fix=None if fix is None else Fix(span, fix),
        )
        self.all.setdefault((name, span, message), finding)

    def written(self, count: int) -> None:
        """Add `count` statements, or parts in them, that are written out. Raises TooManyError."""
        self._written += count
        if self.is_limited and self._written > MOST_STATEMENTS:
            raise TooManyError

    def span(self, node: object) -> Span:
        return Span(self._source.path, *place(node))

    def text(self, node: object) -> str:
        start, end = place(node)
        return self._source.text[start:end]

    def before(self, node: object) -> str:
        """What stands before it in its line."""
        return self._source.text[: place(node).start].rpartition("\n")[2]


class Chooser:
    """Takes the value that is meant out of several, and notes where none is."""

    def __init__(self, notes: Notes, pairs: Collection[Sides], counts: Mapping[int, int]) -> None:
        self._notes = notes
        self._pairs = self.pairs = pairs
        self._counts = counts
        self.stepped: set[tuple[int, int]] = set()
        """Where a first value and a step have been added up."""

    def drawn(self, value: Amount, here: Here) -> Amount:
        """An amount, or two between which one is drawn."""
        if isinstance(value, Ranged):
            least, most = self.amount(value.least, here), self.amount(value.most, here)
            return cast("Amount", value._replace(least=least, most=most))
        return self.amount(value, here)

    def amount(self, value: Amount, here: Here) -> Amount:
        """An amount of the rig or the score."""
        if not isinstance(value, Varied):
            return value
        chosen = self.any(value, here)
        if isinstance(chosen, Token) and chosen.type in ("COLOUR", "OFF"):
            self._notes.error(
                "wrong-kind", f"an amount is needed here, but `{chosen}` is written", chosen
            )
            return _zero(chosen)
        return chosen

    def name(self, value: object, here: Here) -> Token:
        """A name: of a pin, a board, a supply, a part."""
        if not isinstance(value, Varied):
            return cast("Token", value)
        chosen = self.any(value, here)
        if isinstance(chosen, Token):
            return chosen
        self._notes.error("wrong-kind", "a name is needed here", chosen)
        return Token.new_borrow_pos("NAME", self._notes.text(chosen), value.opening)

    def light(self, value: LightText, here: Here) -> LightText:
        tint = self._tint(value)
        if tint is not None:
            return LightText(tint, None)
        if isinstance(value.head, Ranged):
            return LightText(self.drawn(value.head, here), None)
        head = self.any(value.head, here) if isinstance(value.head, Varied) else value.head
        level = None if value.level is None else self.amount(value.level, here)
        return LightText(head, level)

    def _tint(self, value: LightText) -> Token | None:
        """The colour that is meant by red, green and blue in brackets, which is noted."""
        head = value.head
        called = isinstance(head, Token) and str(head).lower() == "rgb"
        varied = value.level if called else head
        if not isinstance(varied, Varied):
            return None
        parts = [str(choice.value) for choice in varied.choices]
        if len(parts) != 3 or not all(part.isdecimal() and int(part) < 256 for part in parts):
            return None
        tint = "#" + "".join(f"{int(part):02x}" for part in parts)
        text = self._notes.text(value)
        self._notes.error(
            "syntax", f"`{text}` is not a colour", value, help=f"write `{tint}`", fix=tint
        )
        return Token.new_borrow_pos("COLOUR", tint, varied.opening)

    def any(self, varied: Varied, here: Here) -> Amount:
        """The value that is meant; any where it is not clear, which is noted."""
        choices = varied.choices
        labels = [choice.side for choice in choices if choice.side is not None]
        if labels and len(labels) < len(choices):
            plain = next(choice for choice in choices if choice.side is None)
            self._notes.error(
                "values-do-not-fit",
                "some of these values are for a side, and some are not",
                plain.value,
                help=f"such as `({labels[0]}: {self._notes.text(plain.value)}, ...)`",
            )
            return self._within(choices[0], here)
        if labels:
            return self._of_side(varied, labels, here)
        return self._of_row(varied, here)

    def _within(self, choice: Choice, here: Here) -> Amount:
        return self.any(choice.value, here) if isinstance(choice.value, Varied) else choice.value

    def _of_side(self, varied: Varied, labels: Sequence[Token], here: Here) -> Amount:
        by_side = {str(c.side): c for c in reversed(varied.choices)}
        first = varied.choices[0]
        known = [side for pair in self._pairs for side in pair]
        unknown = next((label for label in labels if str(label) not in known), None)
        if unknown is not None and str(unknown) in self._notes.forgiven:
            self._notes.failed = True
            return self._within(first, here)
        if unknown is not None:
            near = nearest(unknown, known)
            hint = f"did you mean `{near}`?" if near else "sides are named by `mirror left, right`"
            self._notes.error(
                "unknown-name", f"there is no side `{unknown}`", unknown, help=hint, fix=near
            )
            return self._within(first, here)
        pair = next(pair for pair in self._pairs if str(labels[0]) in pair)
        if varied.step is not None or set(by_side) != set(pair) or len(labels) != len(pair):
            one, other = pair
            text = self._notes.text(first.value)
            self._notes.error(
                "values-do-not-fit",
                f"one value is needed for `{one}` and one for `{other}`",
                varied,
                help=f"such as `({one}: {text}, {other}: {text})`",
            )
            return self._within(first, here)
        side = next((side for side in here.sides if side in by_side), None)
        lost = tuple(f"{one}_" for one in pair)
        if side is None and any(name.startswith(lost) for name in self._notes.forgiven):
            self._notes.failed = True  # it may stand on a thing whose header could not be read
            return self._within(first, here)
        waits = self._waits_of(varied, pair, by_side) if side is None else None
        if waits is not None:
            self._notes.error(
                "values-do-not-fit",
                f"a wait here is the same for `{pair[0]}` and `{pair[1]}`: both sides go together",
                varied,
                help=waits,
            )
            return self._within(first, here)
        if side is None:
            self._notes.error(
                "values-do-not-fit",
                f"this is neither on `{pair[0]}` nor on `{pair[1]}` alone",
                varied,
                help=f"such values stand with what is on one side, below `mirror {pair[0]}, "
                f"{pair[1]}`, or in `stagger` or `in turn` along them; or name one side, with "
                f"`{pair[0]}_` or `{pair[1]}_`",
            )
            return self._within(first, here)
        return self._within(by_side[side], here)

    def _waits_of(
        self, varied: Varied, pair: Sequence[str], by_side: Mapping[str, Choice]
    ) -> str | None:
        """What to write instead of `hold (left: 200 ms, right: 300 ms)`; None if it is no wait."""
        if self._notes.before(varied).split() != ["hold"]:
            return None
        texts = {side: self._notes.text(by_side[side].value) for side in pair}
        try:
            waits = {side: parse_quantity(text) for side, text in texts.items()}
        except (ValueError, KeyError, ZeroDivisionError):
            waits = {}
        if {one.dimension for one in waits.values()} != {TIME}:
            return (
                "write one wait, and what follows below "
                f"`stagger TIME along {pair[0]}, {pair[1]}`: `{pair[1]}` is then later by TIME"
            )
        soon, late = sorted(pair, key=lambda side: waits[side].value)
        more_ms = float(1000 * (waits[late].value - waits[soon].value))
        if not more_ms:
            return f"write `hold {texts[soon]}`"
        more = f"{more_ms:g} ms" if more_ms % 1000 else f"{more_ms / 1000:g} s"
        return (
            f"write `hold {texts[soon]}`, and what follows below "
            f"`stagger {more} along {soon}, {late}`"
        )

    def _of_row(self, varied: Varied, here: Here) -> Amount:
        notes, first = self._notes, varied.choices[0]
        single = [(row, items[0]) for row, items in here.items if len(items) == 1]
        if not single:
            sided = self._for_its_sides(varied, here)
            notes.error(
                "values-do-not-fit",
                "there is one thing here, but several values"
                if not here.items
                else "these move at the same time, and each of them needs its own value",
                varied,
                help="several values stand below `row of N`, or for a whole row, such as "
                "`feather to (30 deg, step -2 deg) in 1 s`"
                if sided is None
                else f"say which is for which side: `{sided}`",
                fix=sided,
            )
            return self._within(first, here)
        row, item = single[-1]
        if varied.step is not None:
            return self._stepped(varied, item)
        if len(varied.choices) != self._counts[row]:
            said = notes.text(first.value)
            notes.error(
                "values-do-not-fit",
                f"the row has {self._counts[row]} things, and here are {len(varied.choices)} "
                "values",
                varied,
                help="one value for each"
                if said[:1].isalpha()
                else f"one value for each, or the first and a step, such as `({said}, step "
                f"{re.sub(r'^-?[0-9.]+', '2', said)})`",
            )
            return self._within(first, here)
        return self._within(varied.choices[item - 1], here)

    def _for_its_sides(self, varied: Varied, here: Here) -> str | None:
        """Two values without sides, in the order of the sides."""
        pair = next((pair for pair in self._pairs if set(pair) & set(here.sides)), None)
        if pair is None or len(varied.choices) != len(pair) or varied.step is not None:
            return None
        texts = (self._notes.text(choice.value) for choice in varied.choices)
        return f"({', '.join(f'{s}: {t}' for s, t in zip(pair, texts, strict=True))})"

    def _stepped(self, varied: Varied, item: int) -> Amount:
        """The first value and so many steps, to be added up like any sum."""
        first, step = varied.choices[0].value, varied.step
        if isinstance(first, Varied) or (
            isinstance(first, Token) and first.type in ("COLOUR", "OFF")
        ):
            self._notes.error("wrong-kind", "there is no step from this to the next", first)
            return _zero(varied.opening)
        assert step is not None
        self.stepped.add(place(varied))
        opening, closing = varied.opening, varied.closing
        if item == 1:
            return Sum(opening, (first,), closing)
        add, times, number = (
            Token.new_borrow_pos(kind, text, opening)
            for kind, text in (("ADD", "+"), ("MULTIPLY", "*"), ("NUMBER", str(item - 1)))
        )
        return Sum(opening, (first, add, Sum(opening, (step, times, number), closing)), closing)


def _zero(token: Token) -> Token:
    return Token.new_borrow_pos("NUMBER", "0", token)


def is_varied(value: object) -> bool:
    """Whether a value differs among things that are described once."""
    if isinstance(value, LightText):
        return is_varied(value.head) or isinstance(value.level, Varied)
    if isinstance(value, Ranged):
        return isinstance(value.least, Varied) or isinstance(value.most, Varied)
    return isinstance(value, Varied)
