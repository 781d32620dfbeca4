"""Amounts that are not of the kind that is needed, and what was likely meant."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lark import Token

from seqlang.meaning.notes import Notebook
from seqlang.text.findings import Fix, Span
from seqlang.text.slips.numbers import COMMA, comma
from seqlang.text.source import Place
from seqlang.text.syntax import Amount, Sum, place
from seqlang.text.units import (
    CHARGE,
    CURRENT,
    FORCE,
    LEVEL,
    MASS,
    NUMBER,
    PERCENT,
    SHARE,
    SPEED,
    TIME,
    TORQUE,
    UNITS,
    Dimension,
    Measure,
    Quantity,
    title_of,
    units_of,
)

if TYPE_CHECKING:
    from collections.abc import Mapping


HOUR_MS = 3600 * 1000

_AMPERE_HOURS_BELOW = 50.0
_MILLIAMPERES_FROM = 25.0
_SCALES = (255, 1023, 4095)
"""The greatest levels of those who count them in 8, 10 or 12 bits."""

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

_SIBLING = re.compile(
    r"(?:(?P<before>(?<![\w.#])-?[0-9]+(?:\.[0-9]+)?) +to +\Z)|"
    r"(?: +to +(?P<after>-?[0-9]+(?:\.[0-9]+)?)(?! *[\w%.]))"
)
"""The other end of a number, in the text before it or behind it, if that has no unit either."""

_BARE = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")
_ONE = r"(?:[^\W\d]\w*: *)?-?[0-9]+(?:\.[0-9]+)?"
_LISTED_BEFORE = re.compile(rf"(?<![\w.#%-])(?:{_ONE} *, *)+(?:[^\W\d]\w*: *)?\Z")
_LISTED_BEHIND = re.compile(rf"(?: *, *{_ONE}(?! *[\w%.]))+")
"""Other numbers without a unit in the same list, maybe each with its side."""

_DIVIDER = re.compile(r"\bdivider\b[^,\n]*\Z")
_FROM_OHMS = 1000.0
"""Below this a resistor of a divider without a unit is in kohm (own guess)."""

_BRIEF = re.compile(r"\b(?:late by|settles|rises in|falls in) +\Z")
"""What comes before a time that is never of whole seconds."""

_JOINS = ("..", "to", "by", "over")
"""What stands between two amounts of the same kind."""

_OF_THE_TIME = re.compile(r"\bfastest +at +\Z")
_AMOUNT = re.compile(r"(?<![\w.#])-?[0-9]+(?:\.[0-9]+)? *([A-Za-z%][\w./%]*)")

_WAY_BEHIND: Final = re.compile(r" +to +-?[0-9.]+ *([A-Za-z%][\w./%]*)")
_WAY_BEFORE: Final = re.compile(r"[0-9.]+ *([A-Za-z%][\w./%]*) +to +\Z")
"""The other end of a way, with its unit."""

_BARE_NUMBER: Final = re.compile(r"[ \t=]*(-?[0-9]+(?:\.[0-9]+)?)[ \t]*(?=[,\n#])")
"""What comes after the name of a constant or a parameter that has no unit."""


@dataclass(frozen=True)
class Misfit:
    """An amount that is not of the kind that is needed."""

    notes: Notebook
    given: Mapping[str, tuple[Token, object]]
    """Where each constant is given."""
    amount: Amount
    quantity: Quantity
    """What it is."""
    measure: Measure
    """What is needed."""

    def note(self) -> None:
        """Note the finding, with what was likely meant."""
        amount, quantity, measure = self.amount, self.quantity, self.measure
        if quantity.dimension == NUMBER and measure.dimension != NUMBER:
            self._without_unit()
            return
        text = shortened(self.notes.text(amount))
        message = f"{measure.title} is needed here, but `{text}` is {title_of(quantity.dimension)}"
        pace = _PACE.search(self.notes.source.text[: place(amount).start])
        if pace is not None and (measure.dimension, quantity.dimension) == _OTHER_PACE[pace[1]]:
            other = "in" if pace[1] == "at" else "at"
            self.notes.error(
                "unit-mismatch",
                message,
                Place(pace.start(1), place(amount).end),
                help=f"did you mean `{other} {text}`?",
                fix=f"{other} {text}",
            )
            return
        help_, fix = self._other_unit(text)
        swapped = None if fix else self._swapped()
        if swapped is not None:
            first = swapped.span.start == place(amount).start
            help_ = f"swap it with `{swapped.text if first else swapped.more[0][1]}`"
        self.notes.error(
            "unit-mismatch",
            message,
            amount,
            related=self._given_at(text),
            help=help_,
            fix=fix or swapped,
        )

    def _without_unit(self) -> None:
        amount, measure = self.amount, self.measure
        plain = isinstance(amount, Token) and amount.type == "NUMBER"
        if plain and self._decimal_comma():
            return
        text = shortened(self.notes.text(amount))
        self.notes.error(
            "missing-unit",
            f"{measure.title} is needed here, but `{text}` has no unit",
            amount,
            related=self._given_at(text),
            help=_units_listed(measure),
            fix=self._likely(str(amount)) if plain else self._given_with_unit() or self._share(),
        )

    def _likely(self, number: str) -> str:
        """The number with the unit that others in its line have, or that is meant as a rule."""
        start, end = place(self.amount)
        source, line = self.notes.source, self.notes.source.line_number(start)
        before = source.text[source.line_starts[line - 1] : start]
        behind = source.text[end : source.line_starts[line - 1] + len(source.line_text(line))]
        unit = self._unit_beside(before, behind)
        if unit is None and self.measure.dimension == TIME and _BRIEF.search(before):
            unit = "s" if "." in number else "ms"
        if unit is None and _DIVIDER.search(before):
            unit = "kohm" if float(number) < _FROM_OHMS else "ohm"
        if unit is not None:
            return f"{number} {unit}"
        return likely_amount(number, self.measure, _sibling(number, before, behind))

    def _unit_beside(self, before: str, behind: str) -> str | None:
        """The unit of the nearest amount of the needed kind in the line; none of a share, which
        may be meant in another scale."""
        if self.measure.dimension == PERCENT:
            return None
        behind = behind.partition("#")[0]
        near = (*reversed([*_AMOUNT.finditer(before)]), *_AMOUNT.finditer(behind))
        units = [one[1] for one in near if one[1] in UNITS]
        return next((one for one in units if UNITS[one][1] == self.measure.dimension), None)

    def _given_with_unit(self) -> Fix | None:
        """A bare number that a name stands for, with the unit that is missing."""
        known = self._constant(str(self.amount))
        if known is None:
            return None
        number = _BARE_NUMBER.match(self.notes.source.text, place(known).end)
        if number is None:
            return None
        span = Span(self.notes.source.path, *number.span(1))
        return Fix(span, likely_amount(number[1], self.measure))

    def _share(self) -> str | None:
        """`(1/5)` where a share is needed, in percent; `(600)` as the number that it is."""
        amount, measure = self.amount, self.measure
        if not isinstance(amount, Sum):
            return None
        if len(amount.items) == 1 and isinstance(amount.items[0], Token):
            glued = self.notes.source.text[place(amount).start - 1].isalnum()
            return " " * glued + likely_amount(str(amount.items[0]), measure)
        if measure.dimension != PERCENT:
            return None
        share = float(self.quantity.value)
        return f"{100 * share:.4g} %" if 0 < share <= 1 else None

    def _constant(self, text: str) -> Token | None:
        """Where the constant that stands for the amount is given."""
        known = self.given.get(text) if isinstance(self.amount, Token) else None
        return None if known is None else known[0]

    def _given_at(self, text: str) -> tuple[tuple[object, str], ...]:
        known = self._constant(text)
        return () if known is None else ((known, "given here"),)

    def _other_unit(self, text: str) -> tuple[str, str | None]:
        """What to write instead of a unit of another kind, and the amount with that unit."""
        quantity, measure = self.quantity, self.measure
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
        if _OF_THE_TIME.search(self.notes.source.text[: place(self.amount).start]):
            return "a share of the time, such as `fastest at 30 %`", None
        if measure.dimension == PERCENT and measure is LEVEL:
            return "levels are written in `%`", None
        return _units_listed(measure), None

    def _swapped(self) -> Fix | None:
        """The change of places with the next amount of the line that would fit here."""
        source = self.notes.source
        start, end = place(self.amount)
        if _OF_THE_TIME.search(source.text[:start]):
            return None  # the other amount of the line is where the light goes
        if self._other_end_too():
            return None  # one of two that do not fit
        number = source.line_number(start)
        first, line = source.line_starts[number - 1], source.line_text(number)
        spots = [
            (first + found.start(), first + found.end())
            for found in _AMOUNT.finditer(line)
            if found[1] in UNITS
            and UNITS[found[1]][1] == self.measure.dimension
            and not self._of_one_kind((start, end), (first + found.start(), first + found.end()))
        ]
        spots.sort(key=lambda spot: (abs(spot[0] - start), spot))
        if not spots:
            return None
        other = spots[0]
        text = source.text
        one, two = sorted([(start, end), other])
        between = re.findall(r"\w+", text[one[1] : two[0]])
        if any(word in self.notes.elsewhere for word in between):
            return None  # each amount stands with its own output
        return Fix(
            Span(source.path, *one),
            text[slice(*two)],
            ((Span(source.path, *two), text[slice(*one)]),),
        )

    def _other_end_too(self) -> bool:
        """Whether the amount is an end of a way whose other end is of the same wrong kind."""
        start, end = place(self.amount)
        text = self.notes.source.text
        ends = (_WAY_BEHIND.match(text, end), _WAY_BEFORE.search(text[:start].rpartition("\n")[2]))
        units = [found[1] for found in ends if found is not None]
        return any(unit in UNITS and UNITS[unit][1] == self.quantity.dimension for unit in units)

    def _of_one_kind(self, one: tuple[int, int], other: tuple[int, int]) -> bool:
        """Whether two amounts are the ends of one way or one draw: both must be of one kind."""
        first, last = sorted([one, other])
        return self.notes.source.text[first[1] : last[0]].strip() in _JOINS

    def _decimal_comma(self) -> bool:
        """Whether a number is the first half of one with a comma; then that is noted."""
        found = COMMA.match(self.notes.source.text, place(self.amount).start)
        if found is None:
            return False
        said = comma(found[0], *found.span())
        self.notes.error(
            "syntax",
            said.message,
            Place(*found.span()),
            help=said.help,
            fix=said.edits[0][2] if said.edits else None,
        )
        return True


def _sibling(number: str, before: str, behind: str) -> float:
    """The other end of the way of a number, or another of its values in brackets, 0 without one.

    Of several in brackets the one that says most of their scale: `1` beside `0.9` is a whole.
    """
    other = _SIBLING.search(before) or _SIBLING.match(behind)
    if other is not None:
        return abs(float(other["before"] or other["after"]))
    listed = (_LISTED_BEFORE.search(before), _LISTED_BEHIND.match(behind))
    others = [abs(float(one)) for row in listed if row for one in _BARE.findall(row[0])]
    most = max(others, default=0.0)
    return min(others) if others and max(most, abs(float(number))) == 1.0 else most


def likely_unit(number: str, measure: Measure) -> str:
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


def likely_amount(number: str, measure: Measure, sibling: float = 0.0) -> str:
    """A number with the unit that was meant; levels of other scales become shares.

    `sibling`: the other end of its way, which is of the same scale.
    """
    value = float(number)
    if measure.dimension == PERCENT:
        most = max(abs(value), sibling)
        if 0.0 < most < 1.0 or (most == 1.0 and 0.0 < min(abs(value), sibling) < 1.0):
            return f"{_plain(100.0 * value)} %"
        scale = next((scale for scale in _SCALES if 100.0 < most <= scale), None)
        if scale is not None:
            return f"{round(100.0 * value / scale)} %"
    return f"{number} {likely_unit(number, measure)}"


def _plain(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")


def unit_words(measure: Measure) -> str:
    units = units_of(measure.dimension)
    return ", in " + " or ".join(f"`{unit}`" for unit in units) if units else ""


def limit_text(value: float, measure: Measure) -> str:
    """A limit in the unit that a reader would take."""
    unit = measure.model_unit
    if measure is SHARE:
        return f"{_plain(100.0 * value)} %"
    if unit == "ms" and value >= HOUR_MS:
        return f"{_plain(value / HOUR_MS)} h"
    if unit == "ms" and value >= 1000 and value % 100 == 0:
        return f"{_plain(value / 1000)} s"
    if unit == "s" and value >= HOUR_MS / 1000:
        return f"{_plain(1000.0 * value / HOUR_MS)} h"
    return f"{value:g} {unit}".rstrip()


def shortened(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
