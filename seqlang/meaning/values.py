"""Amounts to numbers: constants, arithmetic, units, ranges, and what is wrong with them."""

from __future__ import annotations

import re
from collections import ChainMap
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from itertools import count
from typing import TYPE_CHECKING, Final, Literal, ParamSpec, TypeAlias, TypeVar

from lark import Token

from seqlang.meaning.origins import Origins
from seqlang.text.findings import Finding, Fix, Span, said_there
from seqlang.text.names import RESERVED, beyond_row, nearest
from seqlang.text.slips.numbers import COMMA, comma
from seqlang.text.source import Place
from seqlang.text.syntax import Amount, Negative, Sum, place
from seqlang.text.units import (
    CHARGE,
    CURRENT,
    DURATION,
    FORCE,
    LEVEL,
    MASS,
    NUMBER,
    PERCENT,
    PLAIN,
    SHARE,
    SLIDING,
    SPEED,
    SPINNING,
    TIME,
    TORQUE,
    TURNING,
    UNITS,
    Dimension,
    Measure,
    PartMeasures,
    Quantity,
    multiplied,
    parse_quantity,
    title_of,
    units_of,
)
from sim.rulebook import LEVEL_STEPS_PER_PCT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, MutableMapping, Sequence
    from contextlib import AbstractContextManager

    from seqlang.meaning.soonest import Beside, Searched
    from seqlang.text.source import Source

_HOUR_MS = 3600 * 1000
DAY_MS = 24 * _HOUR_MS
"""The longest time a statement can ask for."""

BIGGEST = Fraction(10**12)
"""No quantity of a worn rig is larger, in any of its units."""

_EXACT_BITS = 400
"""A constant whose denominator is longer is rounded there, far below any resolution: constants made
of constants could double its length in every line."""

_SHOWN = 3
"""Further places that one finding shows."""

MOST_COMPARED = 15_000_000
"""Pairs of letters compared to find names near to unknown ones (own limit): enough for 100 unknown
names of ten letters among 1,500 known ones. Behind it a finding proposes no name."""

_AMPERE_HOURS_BELOW = 50.0
_MILLIAMPERES_FROM = 25.0
_BYTE = 255
"""The greatest level of those who count levels in bytes."""

COUNTED = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve"),
)
_BRIGHTNESS = {
    **dict.fromkeys(("on", "full", "max", "bright", "maximum", "high"), "100 %"),
    **dict.fromkeys(("dark", "none", "min", "out", "black"), "off"),
    **dict.fromkeys(("half", "medium"), "50 %"),
    **dict.fromkeys(("dim", "low"), "20 %"),
}
"""Words for levels, and levels to write for them."""

_MEANT: dict[tuple[Dimension, Dimension], str] = {
    (TORQUE, MASS): "kgf.cm",
    (SPEED, TIME): "s/60deg",
}
"""What data sheets shorten, by what is needed and what is written: the unit that they mean."""

_NEIGHBOURS: dict[tuple[Dimension, str], str] = {
    (CURRENT, "mAh"): "mA",
    (CURRENT, "Ah"): "A",
    (CHARGE, "mA"): "mAh",
    (CHARGE, "A"): "Ah",
    (TIME, "m"): "min",
    (FORCE, "g"): "gf",
    (FORCE, "kg"): "kgf",
}
"""Units that hands confuse, by what is needed and the unit that is written."""

_SECONDS_BELOW = 10.0
"""A time without a unit below this is taken for seconds in a proposal, else for milliseconds."""

_PACE = re.compile(r"\b(at|in) +\Z")
_OTHER_PACE = {"at": (SPEED, TIME), "in": (TIME, SPEED)}
"""What is needed and what is written where the two paces of a move are mixed up."""

_AMOUNT = re.compile(r"(?<![\w.#])-?[0-9]+(?:\.[0-9]+)? *([A-Za-z%][\w./%]*)")

_LIKE_A_NUMBER = re.compile(r"nan|inf(inity)?", re.IGNORECASE)


P = ParamSpec("P")
T = TypeVar("T")
Colour: TypeAlias = tuple[int, int, int]
"""sRGB, 0 to 255 each."""


_OF_KIND = {
    ("cue", "pose"): "a cue holds it: `pose NAME in 1 s` below `cue`",
    ("cue", "gesture"): "a cue plays it: `play NAME` below `cue`",
    ("pose", "cue"): "a cue is played: `play NAME`",
    ("output", "pose"): "a pose is taken: `pose NAME in 1 s`",
    ("output", "cue"): "a cue is played: `play NAME`",
    ("board", "supply"): "outputs hang on a board; the board's `feed` names the supply",
    ("supply", "board"): "`feed` names the supply",
}
"""What to do with a name of another kind than the one that is needed."""


_BARE_NUMBER: Final = re.compile(r"[ \t=]*(-?[0-9]+(?:\.[0-9]+)?)[ \t]*(?=[,\n#])")
"""What stands behind the name of a constant or a parameter that has no unit."""


class Fault(Exception):  # noqa: N818 (reads as what it is where it is raised)
    """An amount that has no value; its finding is already noted."""


class Reading:
    """What one run of elaboration shares: the text, constants, origins and findings."""

    def __init__(self, source: Source, forgiven: Iterable[str] = ()) -> None:
        self.source = source
        self.origins = Origins(source.path)
        self.findings: list[Finding] = []
        self._of_show: dict[str, tuple[Token, Quantity | Colour]] = {}
        self.constants: MutableMapping[str, tuple[Token, Quantity | Colour]] = self._of_show
        """By name: where it was written, and its quantity or colour."""
        self.later: dict[str, Token] = {}
        """Constants of the whole file, to tell `not yet` from `not at all`."""
        self.given_late: set[str] = set()
        """Constants that a line above theirs uses: the first such use has its finding."""
        self.straight: set[str] = set()
        """Servos whose parts move along a line: their places are in mm."""
        self.spinning: set[str] = set()
        """Servos whose parts turn round and round: their places are in rpm."""
        self.beside: Beside = {}
        """By servo, what arrives while the others are at their hardest, where that is known."""
        self.fastest: dict[Searched, int] = {}
        """The shortest durations (ms) that were searched for and found."""
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
        self._compared = 0
        """Pairs of letters compared so far; see `MOST_COMPARED`."""
        self._known: dict[tuple[str, Measure], float] = {}

    def apart(self) -> Reading:
        """A reading with the same constants whose findings and origins nobody will see."""
        other = Reading(self.source, self.forgiven)
        other.constants, other._of_show = self.constants, self._of_show
        other.origins = self.origins.apart()
        other.straight, other.spinning = self.straight, self.spinning
        other.elsewhere = self.elsewhere
        other.ways = self.ways
        other._compared = MOST_COMPARED  # nobody would see what is near
        return other

    def motion(self, name: str) -> PartMeasures:
        """The measures in which the part of a servo is written."""
        if name in self.spinning:
            return SPINNING
        return SLIDING if name in self.straight else TURNING

    def is_of(self, amount: Amount, *dimensions: Dimension) -> bool:
        """Whether an amount has one of the dimensions; what is wrong with it is not noted."""
        other = self.apart()
        quantity = other.tried(other.quantity, amount)
        return quantity is not None and quantity.dimension in dimensions

    # -- findings ---------------------------------------------------------------------------

    def span(self, node: object) -> Span:
        return self.origins.span(node)

    def passing(self, words: str, node: object | None = None) -> AbstractContextManager[None]:
        """What is marked or found inside came by a gesture's call, from a side: see `Passage`."""
        return self.origins.passing(words, node)

    @contextmanager
    def with_values(self, values: Mapping[str, tuple[Token, Quantity | Colour]]) -> Iterator[None]:
        """Inside, these names stand for these values, as well as the show's constants for theirs.

        Of further such values around it nothing is known: a gesture knows its own parameters only.
        """
        before = self.constants
        self.constants = ChainMap(dict(values), self._of_show)
        try:
            yield
        finally:
            self.constants = before

    def fitting(self, amount: Amount, measure: Measure) -> Quantity:
        """An amount that is of the measure's dimension, as it is. Raises Fault."""
        found = self.quantity(amount, measure)
        if found.dimension != measure.dimension:
            self._misfit(amount, found, measure)
            raise Fault
        return found

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
        if str(token) in self.forgiven:
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
        names = list(known)
        every = [*names, *self.alike.get(kind.split()[0], ())]
        searches = self._may_compare(token, every)
        ends = beyond_row(str(token), every) if searches else None
        near = nearest(str(token), every) if searches and ends is None else None
        if near is None:
            self._unknown[message] = len(self.findings)
        hint: str | None
        if near is not None:
            hint = f"did you mean `{near}`?"
        elif ends is not None:
            hint = f"they go from `{ends[0]}` to `{ends[1]}`"
        elif instead is not None:
            hint = instead
        elif not searches:
            hint = None
        elif names:
            shown = ", ".join(f"`{name}`" for name in sorted(names)[:8])
            hint = f"known here: {shown}" + (" and more" if len(names) > 8 else "")
        else:
            hint = f"this show has no {kind} yet"
        self.error("unknown-name", message, token, help=hint, fix=near)

    def _may_compare(self, token: Token, names: list[str]) -> bool:
        """Whether the token can still be compared with all the names; counts that."""
        if self._compared < MOST_COMPARED:
            self._compared += len(token) * sum(map(len, names))
            return self._compared <= MOST_COMPARED
        return False

    def _once_more(self, index: int, token: Token) -> None:
        """A name that nothing is near to is one mistake, however often it is used."""
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

    # -- amounts ----------------------------------------------------------------------------

    def value(self, amount: Amount, measure: Measure) -> float:
        """The amount as the model keeps it, rounded once. Raises Fault."""
        if isinstance(amount, Token) and amount.type != "NAME":
            known = self._known.get((str(amount), measure))
            if known is not None:
                return known
        result = float(self.exact(amount, measure))
        if isinstance(amount, Token) and amount.type != "NAME":
            self._known[(str(amount), measure)] = result
        return result

    def exact(self, amount: Amount, measure: Measure) -> Fraction:
        """The amount as the model keeps it, as a fraction. Raises Fault."""
        quantity = self.quantity(amount, measure)
        if quantity.dimension != measure.dimension:
            self._misfit(amount, quantity, measure)
            raise Fault
        if abs(quantity.value) > BIGGEST or abs(quantity.value * measure.scale) > BIGGEST:
            self.error(
                "number-out-of-range",
                f"`{_short(self.text(amount))}` is larger than any rig needs",
                amount,
            )
            raise Fault
        return quantity.value * measure.scale

    def quantity(self, amount: Amount | Negative, due: Measure | None = None) -> Quantity:
        """The amount's value and dimension, whatever they are; `due` is for hints. Raises Fault."""
        if isinstance(amount, Sum):
            return self._sum(amount)
        if isinstance(amount, Negative):
            value, dimension = self.quantity(amount.operand)
            return Quantity(-value, dimension)
        if amount.type == "NAME":
            return self._constant(amount, due)
        try:
            return parse_quantity(amount)
        except ZeroDivisionError:
            self.error("division-by-zero", f"`{amount}` would be infinitely fast", amount)
            raise Fault from None

    def given(self, amount: object) -> Quantity:
        """The value of a constant. Raises Fault."""
        assert isinstance(amount, Token | Sum)
        value, dimension = self.quantity(amount)
        if abs(value) > BIGGEST:
            self.error("number-out-of-range", "this is larger than any rig needs", amount)
            raise Fault
        if value.denominator.bit_length() > _EXACT_BITS:
            value = Fraction(round(value * 2**_EXACT_BITS), 2**_EXACT_BITS)
        return Quantity(value, dimension)

    def above(self, use: Token) -> None:
        """A finding if the constant is given below this use; its first such use has it."""
        name, _ = self.constants[str(use)]
        if (name.start_pos or 0) > (use.start_pos or 0) and str(use) not in self.given_late:
            self.given_late.add(str(use))
            self._given_below(use, name)

    def _given_below(self, use: Token, name: Token) -> None:
        self.error(
            "used-before-given",
            f"`{use}` is given further down",
            use,
            related=((name, "given here"),),
            help="move its `given` line above the first use",
        )

    def _constant(self, token: Token, due: Measure | None = None) -> Quantity:
        found = self.constants.get(str(token))
        if found is not None:
            self.above(token)
            if isinstance(found[1], Quantity):
                return found[1]
            self.error("wrong-kind", f"`{token}` is a colour, but an amount is needed here", token)
        elif str(token) in self.later:
            self._given_below(token, self.later[str(token)])
        elif str(token).lower() in COUNTED:
            digits = str(COUNTED.index(str(token).lower()))
            unit = "" if due is None or due.dimension == NUMBER else f" {_likely_unit(digits, due)}"
            self.error(
                "not-a-number",
                f"`{token}` is written in letters",
                token,
                help=f"write `{digits}{unit}`",
                fix=f"{digits}{unit}",
            )
        elif due is not None and due.dimension == PERCENT and token.lower() in _BRIGHTNESS:
            level = _BRIGHTNESS[token.lower()]
            self.error(
                "unknown-name",
                f"there is no level called `{token}`",
                token,
                help=f"a level is a share: `{level}`",
                fix=level,
            )
        elif _LIKE_A_NUMBER.fullmatch(token):
            self.error("not-a-number", f"`{token}` cannot be used as a number", token)
        elif not self._is_commented(token):
            instead = None if due is None else f"{due.title} is needed here{_unit_words(due)}"
            self.unknown(token, "constant", self.constants, instead)
        raise Fault

    def _is_commented(self, token: Token) -> bool:
        """Whether a constant is given in a comment (`#define beat 400 ms`); then that is noted."""
        text = self.source.text
        found = re.search(rf"^#[ \t]*define[ \t]+{token}[ \t=]+(\S.*?)[ \t]*$", text, re.MULTILINE)
        if found is None:
            return False
        line = Span(self.source.path, *found.span())
        given = f"given {token} = {found[1]}"
        self.error(
            "unknown-name",
            f"there is no constant `{token}`: the line that gives it is a comment",
            token,
            related=((Place(*found.span()), "`#` starts a comment"),),
            help=f"write `{given}`",
            fix=Fix(line, given),
        )
        return True

    def _sum(self, node: Sum) -> Quantity:
        """`*` and `/` before `+` and `-`, each from left to right."""
        items = node.items
        total: Quantity | None = None
        sign, product = 1, self.quantity(_operand(items[0]))
        for index in range(1, len(items), 2):
            operator, operand = str(items[index]), _operand(items[index + 1])
            right = self.quantity(operand)
            if operator in "*/":
                product = self._product(product, right, operator, operand)
            else:
                total = self._total(total, sign, product, node)
                sign, product = (1 if operator == "+" else -1), right
        return self._total(total, sign, product, node)

    def _product(self, left: Quantity, right: Quantity, operator: str, operand: object) -> Quantity:
        try:
            return multiplied(left, right, 1 if operator == "*" else -1)
        except ZeroDivisionError:
            self.error("division-by-zero", f"this divides by zero: `{self.text(operand)}`", operand)
            raise Fault from None

    def _total(self, total: Quantity | None, sign: int, product: Quantity, node: Sum) -> Quantity:
        if total is None:
            return Quantity(sign * product.value, product.dimension)
        if total.dimension != product.dimension:
            left, right = title_of(total.dimension), title_of(product.dimension)
            self.error("unit-mismatch", f"{left} and {right} cannot be added", node)
            raise Fault
        return Quantity(total.value + sign * product.value, total.dimension)

    def _misfit(self, amount: Amount, quantity: Quantity, measure: Measure) -> None:
        """Note that an amount is not of the kind that is needed."""
        if quantity.dimension == NUMBER and measure.dimension != NUMBER:
            self._without_unit(amount, measure)
            return
        text = _short(self.text(amount))
        message = f"{measure.title} is needed here, but `{text}` is {title_of(quantity.dimension)}"
        pace = _PACE.search(self.source.text[: place(amount).start])
        if pace is not None and (measure.dimension, quantity.dimension) == _OTHER_PACE[pace[1]]:
            other = "in" if pace[1] == "at" else "at"
            self.error(
                "unit-mismatch",
                message,
                Place(pace.start(1), place(amount).end),
                help=f"did you mean `{other} {text}`?",
                fix=f"{other} {text}",
            )
            return
        help_, fix = self._other_unit(text, quantity, measure)
        swapped = None if fix else self._swapped(amount, measure)
        if swapped is not None:
            first = swapped.span.start == place(amount).start
            help_ = f"change places with `{swapped.text if first else swapped.more[0][1]}`"
        self.error(
            "unit-mismatch",
            message,
            amount,
            related=self._given(amount, text),
            help=help_,
            fix=fix or swapped,
        )

    def _without_unit(self, amount: Amount, measure: Measure) -> None:
        plain = isinstance(amount, Token) and amount.type == "NUMBER"
        if plain and self._decimal_comma(amount):
            return
        text = _short(self.text(amount))
        self.error(
            "missing-unit",
            f"{measure.title} is needed here, but `{text}` has no unit",
            amount,
            related=self._given(amount, text),
            help=_units_listed(measure),
            fix=_likely_amount(str(amount), measure)
            if plain
            else self._given_with_unit(amount, measure) or self._share(amount, measure),
        )

    def _given_with_unit(self, amount: Amount, measure: Measure) -> Fix | None:
        """A bare number that a name stands for, with the unit that is missing."""
        known = self.constants.get(str(amount)) if isinstance(amount, Token) else None
        if known is None:
            return None
        end = place(known[0]).end
        number = _BARE_NUMBER.match(self.source.text, end)
        if number is None:
            return None
        span = Span(self.source.path, *number.span(1))
        return Fix(span, _likely_amount(number[1], measure))

    def _share(self, amount: Amount, measure: Measure) -> str | None:
        """`(1/5)` where a share is needed, in percent; `(600)` as the number that it is."""
        if not isinstance(amount, Sum):
            return None
        if len(amount.items) == 1 and isinstance(amount.items[0], Token):
            glued = self.source.text[place(amount).start - 1].isalnum()
            return " " * glued + _likely_amount(str(amount.items[0]), measure)
        if measure.dimension != PERCENT:
            return None
        share = float(self._sum(amount).value)
        return f"{100 * share:.4g} %" if 0 < share <= 1 else None

    def _given(self, amount: Amount, text: str) -> tuple[tuple[object, str], ...]:
        """Where the constant that stands for an amount is given."""
        known = self.constants.get(text) if isinstance(amount, Token) else None
        return () if known is None else ((known[0], "given here"),)

    def _other_unit(
        self, text: str, quantity: Quantity, measure: Measure
    ) -> tuple[str, str | None]:
        """What to write instead of a unit of another kind, and the amount with that unit."""
        short = _MEANT.get((measure.dimension, quantity.dimension))
        number = re.match(r"-?[0-9.]+", text)
        if short == "kgf.cm" and not re.fullmatch(r"[0-9.]+ *kg", text):
            short = None
        if short == "s/60deg" and not re.fullmatch(r"[01]?\.[0-9]+ *s", text):
            short = None
        if short is None and number is not None:
            short = _NEIGHBOURS.get((measure.dimension, text[number.end() :].strip()))
        if short is not None and number is not None and number[0] != text:
            fix = f"{number[0]} {short}"
            return f"did you mean `{fix}`?", fix
        if number is not None and not units_of(measure.dimension):
            return "write the number without a unit", None
        if measure.dimension == PERCENT and measure is LEVEL:
            return "levels are written in `%`", None
        return _units_listed(measure), None

    def _swapped(self, amount: Amount, measure: Measure) -> Fix | None:
        """The change of places with the next amount of the line that would fit here."""
        start, end = place(amount)
        number = self.source.line_number(start)
        first, line = self.source.line_starts[number - 1], self.source.line_text(number)
        spots = [
            (first + found.start(), first + found.end())
            for found in _AMOUNT.finditer(line)
            if found[1] in UNITS and UNITS[found[1]][1] == measure.dimension
        ]
        spots.sort(key=lambda spot: (abs(spot[0] - start), spot))
        if not spots:
            return None
        other = spots[0]
        text = self.source.text
        one, two = sorted([(start, end), other])
        between = re.findall(r"\w+", text[one[1] : two[0]])
        if any(word in self.elsewhere for word in between):
            return None  # each amount stands with its own output
        return Fix(
            Span(self.source.path, *one),
            text[slice(*two)],
            ((Span(self.source.path, *two), text[slice(*one)]),),
        )

    def _decimal_comma(self, amount: Amount) -> bool:
        """Whether a number is the first half of one with a comma; then that is noted."""
        start = place(amount).start
        found = COMMA.match(self.source.text, start)
        if found is None:
            return False
        said = comma(found[0], *found.span())
        self.error(
            "syntax",
            said.message,
            Place(*found.span()),
            help=said.help,
            fix=said.edits[0][2] if said.edits else None,
        )
        return True

    # -- amounts with limits ----------------------------------------------------------------

    def within(
        self,
        amount: Amount,
        measure: Measure,
        what: str,
        low: float | None = None,
        high: float | None = None,
        *,
        above: float | None = None,
        clamp: bool = False,
    ) -> float:
        """`value` that lies from `low` to `high`, or above `above`. Raises Fault.

        `clamp`: the limit is what who wrote more, or less, most likely wants.
        """
        value = self.value(amount, measure)
        if above is not None and value <= above:
            words, limit = "more than", above
        elif low is not None and value < low:
            words, limit = "at least", low
        elif high is not None and value > high:
            words, limit = "at most", high
        else:
            return value
        unit = measure.model_unit
        said = _limit(limit, measure)
        both = above is None and low is not None and high is not None
        self.error(
            "number-out-of-range",
            f"{what} must be {words} {said}, but `{_short(self.text(amount))}` is written",
            amount,
            help=f"from {_limit(low, measure)} to {_limit(high, measure)}"  # type: ignore[arg-type]
            if both
            else None,
            fix=said if clamp and both else None,
            asked=value,
            limit=limit,
            unit=unit or None,
        )
        raise Fault

    def count(self, amount: Amount, what: str, low: int, high: int) -> int:
        """A whole number from `low` to `high`. Raises Fault."""
        value = self.exact(amount, PLAIN)
        if value.denominator != 1:
            self.error("not-whole", f"{what} must be a whole number", amount)
            raise Fault
        self.within(amount, PLAIN, what, low, high)
        return int(value)

    def milliseconds(self, amount: Amount, what: str, least: int = 1) -> int:
        """A time in whole milliseconds, from `least` to a day. Raises Fault."""
        value = self.within(amount, DURATION, what, least, DAY_MS)
        return round(value)

    def percent(self, amount: Amount, what: str) -> float:
        """A light level, 0 to 100, to the nearest half percent. Raises Fault."""
        level_pct = self.within(amount, LEVEL, what, 0, 100, clamp=True)
        return round(level_pct * LEVEL_STEPS_PER_PCT) / LEVEL_STEPS_PER_PCT

    def likely_level(self, number: str) -> str:
        """A level that somebody wrote without its unit."""
        return _likely_amount(number, LEVEL)

    def share(self, amount: Amount) -> float:
        """A fraction of one: `1/3`, `0.4`, `40 %`. Raises Fault."""
        if isinstance(amount, Token) and amount.type == "FRACTION":
            above, below = amount.split("/")
            if Fraction(below) == 0:
                self.error("division-by-zero", f"`{amount}` divides by zero", amount)
                raise Fault
            return float(Fraction(above) / Fraction(below))
        quantity = self.quantity(amount)
        return self.value(amount, PLAIN if quantity.dimension == NUMBER else SHARE)


def _operand(item: object) -> Token | Sum | Negative:
    assert isinstance(item, Token | Sum | Negative)
    return item


def _likely_unit(number: str, measure: Measure) -> str:
    """The unit meant by who wrote none: few or broken units of a time are seconds, many units of a
    current milliamperes (own guesses; a check tells if one cannot be)."""
    value = abs(float(number))
    broken = "." in number
    few = {
        "ms": ("s", value < _SECONDS_BELOW or broken),
        "mAh": ("Ah", value < _AMPERE_HOURS_BELOW),
        "mohm": ("ohm", value < 1.0 and broken),
        "deg/s": ("s/60deg", value < 1.0 and broken),
        "A": ("mA", value >= _MILLIAMPERES_FROM and not broken),
    }
    other, meant = few.get(measure.unit, ("", False))
    return other if meant else measure.unit


def _units_listed(measure: Measure) -> str:
    listed = ", ".join(f"`{unit}`" for unit in units_of(measure.dimension))
    return f"the units of {measure.title}: {listed}"


def _likely_amount(number: str, measure: Measure) -> str:
    """A number with the unit that was meant; levels of other scales become shares."""
    value = float(number)
    if measure.dimension == PERCENT:
        if 0.0 < value < 1.0:
            return f"{_plain(100.0 * value)} %"
        if 100.0 < value <= _BYTE:
            return f"{round(100.0 * value / _BYTE)} %"
    return f"{number} {_likely_unit(number, measure)}"


def _plain(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")


def _unit_words(measure: Measure) -> str:
    units = units_of(measure.dimension)
    return ", in " + " or ".join(f"`{unit}`" for unit in units) if units else ""


def _limit(value: float, measure: Measure) -> str:
    """A limit in the unit that a reader would take."""
    unit = measure.model_unit
    if measure is SHARE:
        return f"{_plain(100.0 * value)} %"
    if unit == "ms" and value >= _HOUR_MS:
        return f"{_plain(value / _HOUR_MS)} h"
    if unit == "s" and value >= _HOUR_MS / 1000:
        return f"{_plain(1000.0 * value / _HOUR_MS)} h"
    return f"{value:g} {unit}".rstrip()


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def declared(reading: Reading, kind: str, names: Iterable[Token]) -> dict[str, Token]:
    """Names of one kind, each once; the second of two is a finding that shows both."""
    found: dict[str, Token] = {}
    every = list(names)
    taken = set(map(str, every))
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
            free = _free(str(name), taken) if alone else None
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


def _free(name: str, taken: set[str]) -> str:
    """A name like that one which nothing has yet; it is taken from then on."""
    free = next(one for number in count(2) if (one := f"{name}_{number}") not in taken)
    taken.add(free)
    return free


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeio" else f"a {kind}"


def _several(kind: str) -> str:
    return kind[:-1] + "ies" if kind.endswith("y") else kind + "s"
