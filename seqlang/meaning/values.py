"""Amounts to numbers: constants, arithmetic, units, ranges, and what is wrong with them."""

from __future__ import annotations

import re
from collections import ChainMap
from contextlib import contextmanager
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor
from typing import TYPE_CHECKING, TypeAlias

from lark import Token

from seqlang.meaning.misfit import (
    HOUR_MS,
    Misfit,
    likely_amount,
    likely_unit,
    limit_text,
    shortened,
    unit_words,
)
from seqlang.meaning.notes import MOST_COMPARED, Fault, Notebook
from seqlang.meaning.words_for_amounts import said
from seqlang.text.findings import Fix, Span
from seqlang.text.source import Place
from seqlang.text.syntax import Amount, Negative, Sum, place
from seqlang.text.units import (
    DURATION,
    LEVEL,
    NUMBER,
    PERCENT,
    PLAIN,
    SHARE,
    SLIDING,
    SPINNING,
    TURNING,
    Dimension,
    Measure,
    PartMeasures,
    Quantity,
    multiplied,
    parse_quantity,
    title_of,
)
from sim.rulebook import LEVEL_STEPS_PER_PCT

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, MutableMapping

    from seqlang.meaning.soonest import Beside, Searched
    from seqlang.text.source import Source

DAY_MS = 24 * HOUR_MS
"""The longest time a statement can ask for."""

BIGGEST = Fraction(10**12)
"""No quantity of a worn rig is larger, in any of its units."""

_EXACT_BITS = 400
"""A constant whose denominator is longer is rounded there, far below any resolution: constants made
of constants could double its length in every line."""

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

_LIKE_A_NUMBER = re.compile(r"nan|inf(inity)?", re.IGNORECASE)
_GIVEN_IN_COMMENT = re.compile(
    r"^#[ \t]*define[ \t]+([^\W\d]\w*)[ \t=]+(\S.*?)[ \t]*$", re.MULTILINE
)


Colour: TypeAlias = tuple[int, int, int]
"""sRGB, 0 to 255 each."""


@lru_cache(maxsize=4)
def _given_in_comments(text: str) -> Mapping[str, re.Match[str]]:
    """By name, the first comment of a text that gives it a value."""
    return {one[1]: one for one in reversed(list(_GIVEN_IN_COMMENT.finditer(text)))}


class Reading(Notebook):
    """What one run of elaboration shares: the text, constants, origins and findings."""

    def __init__(self, source: Source, forgiven: Iterable[str] = ()) -> None:
        super().__init__(source, forgiven)
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
        self.strands: frozenset[str] | None = None
        """The cues that idle plays; None while that is not known."""
        self.beside: Beside = {}
        """By servo, what arrives while the others are at their hardest, where that is known."""
        self.fastest: dict[Searched, int] = {}
        """The shortest durations (ms) that were searched for and found."""
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
        """An amount of the measure's dimension, as others may calculate with it. Raises Fault."""
        found = self.quantity(amount, measure)
        if found.dimension != measure.dimension:
            Misfit(self, self.constants, amount, found, measure).note()
            raise Fault
        return self._kept(found, amount)

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
            Misfit(self, self.constants, amount, quantity, measure).note()
            raise Fault
        if abs(quantity.value) > BIGGEST or abs(quantity.value * measure.scale) > BIGGEST:
            self.error(
                "number-out-of-range",
                f"`{shortened(self.text(amount))}` is larger than any rig needs",
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
        return self._kept(self.quantity(amount), amount)

    def _kept(self, found: Quantity, amount: object) -> Quantity:
        """A value under a name: sums of sums of it must not grow without end. Raises Fault."""
        value, dimension = found
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
            unit = "" if due is None or due.dimension == NUMBER else f" {likely_unit(digits, due)}"
            self.error(
                "not-a-number",
                f"`{token}` is written in letters",
                token,
                help=f"write `{digits}{unit}`",
                fix=f"{digits}{unit}",
            )
        elif self._says_otherwise(token):
            pass
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
            self.error(
                "not-a-number",
                f"`{token}` cannot be used as a number",
                token,
                help=None if due is None else f"write {due.title} in digits{unit_words(due)}",
            )
        elif not self._is_commented(token):
            instead = None if due is None else f"{due.title} is needed here{unit_words(due)}"
            self.unknown(token, "constant", self.constants, instead)
        raise Fault

    def _says_otherwise(self, token: Token) -> bool:
        """Whether a word says an amount in another way; then that is noted."""
        start, end = place(token)
        found = said(self.source, start, token)
        if found is None:
            return False
        change = found.change
        span = None if change is None else Span(self.source.path, change[0], end)
        self.error(
            "unknown-name",
            found.message,
            token,
            help=found.help,
            fix=None if change is None or span is None else Fix(span, change[1]),
        )
        return True

    def _is_commented(self, token: Token) -> bool:
        """Whether a constant is given in a comment (`#define beat 400 ms`); then that is noted."""
        found = _given_in_comments(self.source.text).get(str(token))
        if found is None:
            return False
        line = Span(self.source.path, *found.span())
        given = f"given {token} = {found[2]}"
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
        said = limit_text(limit, measure)
        both = above is None and low is not None and high is not None
        ends = f"from {limit_text(low, measure)} to {limit_text(high, measure)}" if both else None  # type: ignore[arg-type]
        fix = said if clamp and both else None
        if both and (brief := _in_milliseconds(amount, measure, low, high)):  # type: ignore[arg-type]
            ends, fix = f"did you mean `{brief}`? {ends}", brief
        self.error(
            "number-out-of-range",
            f"{what} must be {words} {said}, but `{shortened(self.text(amount))}` is written",
            amount,
            help=ends,
            fix=fix,
            asked=value,
            limit=limit,
            unit=unit or None,
        )
        raise Fault

    def count(self, amount: Amount, what: str, low: int, high: int) -> int:
        """A whole number from `low` to `high`. Raises Fault."""
        value = self.exact(amount, PLAIN)
        if value.denominator != 1:
            near = [n for n in (floor(value), ceil(value)) if low <= n <= high]
            self.error(
                "not-whole",
                f"{what} must be a whole number, but `{shortened(self.text(amount))}` is written",
                amount,
                help=" or ".join(f"`{n}`" for n in near) or f"from {low} to {high}",
            )
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
        return likely_amount(number, LEVEL)

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


def _in_milliseconds(amount: Amount, measure: Measure, low: float, high: float) -> str | None:
    """The same number in ms, where a second is too long whatever its number, and that fits."""
    seconds = re.fullmatch(r"([0-9.]+) *s", str(amount)) if isinstance(amount, Token) else None
    if seconds is None or measure.model_unit != "ms" or high >= 1000.0:
        return None
    return f"{seconds[1]} ms" if low <= float(seconds[1]) <= high else None


def _operand(item: object) -> Token | Sum | Negative:
    assert isinstance(item, Token | Sum | Negative)
    return item
