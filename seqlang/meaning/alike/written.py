"""A text written out: everything that it describes once, each time that it exists."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple, cast

from lark import Token

from seqlang.meaning.alike.choosing import MOST_STATEMENTS, Chooser, Here, Notes, TooManyError
from seqlang.meaning.alike.cues import CueWriter, Meant
from seqlang.meaning.alike.families import (
    families,
    families_of,
    members,
    row_count,
    row_sizes,
    sides_of,
    spelled,
    told_as,
)
from seqlang.meaning.alike.told import ALL_ONCE, Likes
from seqlang.text.names import MOST_IN_ROW, RESERVED
from seqlang.text.occurrences import places_in
from seqlang.text.syntax import Broken, CueText, GestureText, Line, Varied, end_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from seqlang.meaning.alike.families import Family, Member
    from seqlang.text.findings import Finding
    from seqlang.text.occurrences import Named
    from seqlang.text.source import Source
    from seqlang.text.syntax import Amount, Node, TopLine

_ONCE: Final = re.compile(
    r"^(?:mirror|row)\b|\([^\n]*,|\balong\b|\bthrough\b|\bnot +mirrored\b", re.M
)
"""Texts without any of these describe everything as often as it exists."""


_BLOCKS: Final = ("mirror", "row")


class WrittenOut(NamedTuple):
    """What a text says when everything in it is written as often as it exists."""

    items: Sequence[TopLine]
    findings: tuple[Finding, ...] = ()
    ways: Mapping[int, str] = {}
    """By `id`, for which of the things a statement at the left margin stands."""
    told: Likes = ALL_ONCE
    members: Mapping[Named, Mapping[str, Member]] = {}
    """What the names of all that the text describes once stand for."""
    lost: frozenset[str] = frozenset()
    """Names of what could not be written out: missing, but not unknown."""


def written_out(
    items: Sequence[TopLine], source: Source, forgiven: Iterable[str] = ()
) -> WrittenOut:
    """A syntax tree without mirrors, rows, and all that goes with them.

    `forgiven`: names declared in lines that could not be read.
    """
    if not _ONCE.search(source.text):
        return WrittenOut(items)
    return _WritingOut(items, source, forgiven).all()


class _Described(NamedTuple):
    """A pose, a cue or a gesture of a mirror or a row, and what is written there."""

    family: Family
    text: Line | CueText | GestureText


class _WritingOut:
    def __init__(self, items: Sequence[TopLine], source: Source, forgiven: Iterable[str]) -> None:
        self._items = items
        self._notes = Notes(source, forgiven)
        self._notes.is_limited = any(map(_is_block, items))
        found = list(families(items))
        self._families = found
        self._members = members(found)
        pairs = dict.fromkeys(
            sides_of(item) for item in items if isinstance(item, Line) and item.kind == "mirror"
        )
        self._chooser = Chooser(self._notes, pairs, row_sizes(items))
        self._names = Meant(self._members, self._notes, self._want)
        sides = [side for pair in pairs for side in pair]
        self._cues = CueWriter(self._names, self._chooser, self._notes, sides)
        self._constants = frozenset(
            str(item.token(1)) for item in items if isinstance(item, Line) and item.kind == "given"
        )
        self._has_gestures = "gesture" in self._members or any(
            isinstance(item, GestureText) for item in items
        )
        self._names.apart.update(self._apart())
        self._described: dict[tuple[Named, str], _Described] = {}
        self._lines: list[TopLine] = []
        self._scores: list[tuple[int, int, int, TopLine]] = []
        """Cues and poses with their places: in the text, by side, in the row."""
        self._made: set[tuple[Named, str, str | None, int | None]] = set()
        self._queue: list[Member] = []
        self._ways: dict[int, str] = {}
        self._lost: set[str] = set()
        self._rows = 0

    def all(self) -> WrittenOut:
        self._check_names()
        try:
            self._write()
        except TooManyError:
            self._too_many()
            return WrittenOut((), tuple(self._notes.all.values()))
        scores = sorted(self._scores, key=lambda one: one[:3])
        return WrittenOut(
            (*self._lines, *(item for *_, item in scores)),
            tuple(self._notes.all.values()),
            self._ways,
            self._told(),
            self._members,
            frozenset(self._lost),
        )

    def _told(self) -> Likes:
        bases = told_as(self._members)
        sideless = {
            spelled(str(family.base), side, item): spelled(str(family.base), None, item)
            for family in self._families
            for side in family.sides
            for item in range(1, family.size + 1) or (None,)
        }
        return Likes(bases, sideless, frozenset(self._chooser.stepped))

    def _write(self) -> None:
        for item in self._items:
            if isinstance(item, Line) and item.kind in _BLOCKS:
                self._block(item)
            else:
                self._outside(item)
        self._work_off()
        for described in list(self._described.values()):
            named, base = described.family.named, str(described.family.base)
            used = any(made[:2] == (named, base) for made in self._made)
            if named == "pose" or not used:
                self._want(self._members[named][base])
                self._work_off()

    def _too_many(self) -> None:
        last = next(item for item in reversed(self._items) if _is_block(item))
        self._notes.error(
            "show-too-long",
            "written out for every side and every thing of a row, this show has more than "
            f"{MOST_STATEMENTS} statements and parts in them",
            cast("Line", last).items[0],
            help="use shorter rows, or fewer `along` inside one another, or make two shows of it",
        )

    # -- the rig ----------------------------------------------------------------------------

    def _outside(self, item: TopLine) -> None:
        """What stands at the left margin: it exists once."""
        if isinstance(item, CueText):
            body = self._cues.body(item.body, Here())
            self._scores.append((_at(item.name), -1, 0, item._replace(body=body)))
        elif isinstance(item, GestureText):
            self._scores.append((_at(item.name), -1, 0, self._gesture(item, item.name, Here())))
        elif isinstance(item, Line) and item.kind == "pose":
            name = item.tokens()[-1]
            posed = self._cues.pose(item, str(name), True, Here())
            self._scores.append((_at(name), -1, 0, posed))
        elif isinstance(item, Line):
            self._put(item, Here(), None)
        else:
            self._lines.append(item)

    def _lose(self, name: str) -> None:
        self._lost.add(name)
        self._notes.forgiven.add(name)

    def _put(self, line: Line, here: Here, item: int | None) -> None:
        """Add a statement of the rig, written for one thing, if it makes sense."""
        self._notes.failed = False
        made = self._line(line, here, item)
        if not self._notes.failed:
            if here.words:
                self._ways[id(made)] = here.words
            self._lines.append(made)
            return
        for index, (_, declares) in places_in(made).items():
            if declares:
                self._lose(str(made.items[index]))

    def _block(self, block: Line) -> None:
        """All that stands below `mirror` or `row`."""
        first_row = self._rows
        if block.kind == "row":
            self._row(block, Here())
            return
        self._check_sides(block)
        for side in sides_of(block):
            self._rows = first_row
            here = Here((side,))
            for entry in block.items[3:]:
                if isinstance(entry, Line) and entry.kind == "row":
                    self._row(entry, here)
                else:
                    self._entry(entry, here, None)

    def _row(self, row: Line, here: Here) -> None:
        number, count = self._rows, row_count(row)
        self._rows += 1
        if not count:
            self._lose_row(row, here)
            self._notes.error(
                "number-out-of-range",
                f"a row has 2 to {MOST_IN_ROW} things, but `{row.items[1]}` is written",
                row.items[1],
            )
            return
        for item in range(1, count + 1):
            for entry in row.items[2:]:
                self._entry(entry, here.at(number, (item,)), item)

    def _lose_row(self, row: Line, here: Here) -> None:
        """Forgive what is said of a row that is none."""
        for family in families_of(row, here.sides, 0, MOST_IN_ROW):
            for side in (None, *here.sides):
                for item in (None, *range(1, MOST_IN_ROW + 1)):
                    self._lose(spelled(str(family.base), side, item))

    def _entry(self, entry: Node, here: Here, item: int | None) -> None:
        """A statement of a block, for one thing."""
        if isinstance(entry, CueText):
            self._describe("cue", entry.name, entry)
        elif isinstance(entry, GestureText):
            self._describe("gesture", entry.name, entry)
        elif isinstance(entry, Line) and entry.kind == "pose":
            self._describe("pose", entry.tokens()[-1], entry)
        elif isinstance(entry, Line):
            self._put(entry, here, item)
        elif isinstance(entry, Broken) and not here.items:
            self._lines.append(entry)

    def _line(self, line: Line, here: Here, item: int | None = None) -> Line:
        """A line of the rig, and what stands below it. Raises TooManyError."""
        self._notes.written(1)
        places = places_in(line)
        carried = line.kind == "servo" and _stands_on_own(line)
        made: list[Node] = []
        for index, part in enumerate(line.items):
            named, declares = places.get(index, ("constant", False))
            if isinstance(part, Line):
                if carried and _is_for_others(part, line, item):
                    continue
                made.append(self._inner(part, line, here, item))
            elif declares:
                base, side = str(part), next(iter(here.sides), None)
                made.append(cast("Token", part).update(value=spelled(base, side, item)))
            elif index in places:
                token = self._chooser.name(part, here)
                if named in ("output", "board", "supply"):
                    token = self._names.single(token, named, here)
                elif named == "source":  # a part that a lamp follows; sticks have no sides
                    token = self._names.single(token, "output", here)
                elif named == "cue":
                    token = self._names.versions(token, named, here)[0]
                made.append(token)
            elif isinstance(part, Varied):
                made.append(self._chooser.amount(cast("Token", part), here))
            else:
                made.append(part)
        return Line(line.kind, tuple(made))

    def _inner(self, part: Line, entry: Line, here: Here, item: int | None) -> Line:
        if part.kind == "pulse":
            return self._pulse(part, here)
        if part.kind == "mount" and _stands_on(part, entry) and item is not None:
            before = here.at(here.items[-1][0], (item - 1,))
            return Line(
                part.kind,
                (
                    part.items[0],
                    self._names.single(part.token(1), "output", before),
                    *self._line(Line("", part.items[2:]), here, item).items,
                ),
            )
        return self._line(part, here, item)

    def _pulse(self, pulse: Line, here: Here) -> Line:
        """Calibration points; a servo that is built in mirrored turns the other way."""
        made: list[Node] = [pulse.items[0]]
        last = pulse.items[-1]
        stays = isinstance(last, Token) and last.type == "NOT_MIRRORED"
        second = self._is_second(here)
        if stays and not here.sides:
            self._notes.error(
                "values-do-not-fit",
                "this servo is on no mirrored side",
                last,
                help="leave out `not mirrored`, or write the servo below `mirror left, right`",
            )
        for point in pulse.lines():
            pulse_us, at = (
                self._chooser.amount(cast("Amount", item), here) for item in point.items
            )
            parts: tuple[Node, ...] = (pulse_us, at)
            if second and not stays and not _for_sides(point.items[0]):
                parts += (_mark_behind(at),)
            made.append(Line(point.kind, parts))
        return Line(pulse.kind, tuple(made))

    def _is_second(self, here: Here) -> bool:
        return any(
            side == pair[1] for side in here.sides for pair in self._chooser.pairs if side in pair
        )

    # -- cues and poses ---------------------------------------------------------------------

    def _gesture(self, text: GestureText, name: Token, here: Here) -> GestureText:
        """A gesture under that name; in its statements its parameters hide other names."""
        own = (str(line.items[0]) for line in text.parameters)
        with self._names.hiding(own):
            body = self._cues.body(text.body, here)
        parameters = tuple(self._parameter(line, here) for line in text.parameters)
        return text._replace(name=name, parameters=parameters, body=body)

    def _parameter(self, line: Line, here: Here) -> Line:
        """A parameter whose usual value is that of a side, or a part of it."""
        name, value = line.items
        if isinstance(value, Token) and self._differs(value):
            return Line(line.kind, (name, self._names.single(value, "output", here)))
        return self._line(line, here)

    def _apart(self) -> Iterator[str]:
        """The gestures whose usual values differ."""
        pending: list[object] = [item for item in self._items if _is_block(item)]
        while pending:
            item = pending.pop()
            if isinstance(item, Line) and item.kind in _BLOCKS:
                pending += item.items
            elif isinstance(item, GestureText) and any(
                self._differs(line.items[1]) for line in item.parameters
            ):
                yield str(item.name)

    def _differs(self, value: object) -> bool:
        """Whether a parameter's usual value is another one for each thing that is described."""
        if not isinstance(value, Token) or str(value) in self._constants:
            return isinstance(value, Varied)
        return self._names.member(value, "output") is not None

    def _describe(self, named: Named, name: Token, text: Line | CueText | GestureText) -> None:
        family = self._members[named][str(name)].family
        if family.base is name:
            self._described[named, str(name)] = _Described(family, text)

    def _want(self, member: Member) -> None:
        """A version of a cue or a pose is in use."""
        family = member.family
        key = family.named, str(family.base), member.side, member.item
        if key not in self._made:
            self._made.add(key)
            self._queue.append(member)

    def _work_off(self) -> None:
        while self._queue:
            member = self._queue.pop()
            family = member.family
            found = self._described.get((family.named, str(family.base)))
            if found is None:
                continue
            here = Here().on(member.side)
            if member.item is not None:
                here = here.at(family.row, (member.item,))
            name = spelled(str(family.base), member.side, member.item)
            made: TopLine
            if isinstance(found.text, CueText):
                token = found.text.name.update(value=name)
                body = self._cues.body(found.text.body, here)
                made = found.text._replace(name=token, body=body)
            elif isinstance(found.text, GestureText):
                token = found.text.name.update(value=name)
                made = self._gesture(found.text, token, here)
            else:
                safe = member.side is None and member.item is None
                made = self._cues.pose(found.text, name, safe, here)
            if here.words:
                self._ways[id(made)] = here.words
            side = -1 if member.side is None else family.sides.index(member.side)
            self._scores.append((_at(family.base), side, member.item or 0, made))

    # -- names ------------------------------------------------------------------------------

    def _check_sides(self, mirror: Line) -> None:
        one, other = mirror.token(1), mirror.token(2)
        for side in (one, other):
            if str(side) in RESERVED:
                self._notes.error(
                    "reserved-word",
                    f"`{side}` is a word of the language and cannot name a side",
                    side,
                    help="such as `left` and `right`",
                )
        if str(one) == str(other):
            self._notes.error(
                "duplicate-name",
                f"both sides are called `{one}`",
                other,
                related=((one, "the first"),),
                help="such as `left` and `right`",
            )

    def _check_names(self) -> None:
        """A name that stands for a family cannot be that of something else."""
        taken: dict[tuple[Named, str], Token] = {}
        for item in self._items:
            for named, token in _declared(item):
                taken.setdefault((_called_as(named), str(token)), token)
        known: dict[tuple[Named, str], Token] = {}
        for family in self._families:
            for name in self._spellings(family):
                known.setdefault((_called_as(family.named), name), family.base)
        for family in self._families:
            if str(family.base) in RESERVED:
                self._notes.error(
                    "reserved-word",
                    f"`{family.base}` is a word of the language and cannot name a {family.named}",
                    family.base,
                    help=f"such as `{family.base}_1`",
                )
            for name in self._spellings(family):
                key = _called_as(family.named), name
                other = taken.get(key, known[key])
                if other is family.base:
                    continue
                self._notes.error(
                    "duplicate-name",
                    f"there are two {self._kinds(family.named)} called `{name}`",
                    max(other, family.base, key=_at),
                    related=((min(other, family.base, key=_at), "the first"),),
                    help="give one of them another name",
                )
                break

    def _kinds(self, named: Named) -> str:
        """What a text has of a kind, in the plural."""
        among = _called_as(named) == "cue" and self._has_gestures
        return "cues or gestures" if among else f"{named}s"

    def _spellings(self, family: Family) -> Iterator[str]:
        base = str(family.base)
        for side in (None, *family.sides):
            for item in (None, *range(1, family.size + 1)):
                yield spelled(base, side, item)


def _is_block(item: object) -> bool:
    return isinstance(item, Line) and item.kind in _BLOCKS


def _declared(item: object) -> Iterator[tuple[Named, Token]]:
    """What a statement at the left margin gives a name to, if it exists once."""
    if isinstance(item, CueText):
        yield "cue", item.name
    elif isinstance(item, GestureText):
        yield "gesture", item.name
    elif isinstance(item, Line) and not _is_block(item):
        for index, (named, declares) in places_in(item).items():
            if declares:
                yield named, item.token(index)


def _called_as(named: Named) -> Named:
    """Cues and gestures share one set of names: `play` may mean either."""
    return "cue" if named == "gesture" else named


def _at(token: Token) -> int:
    return token.start_pos or 0


def _stands_on(mount: Line, servo: Line) -> bool:
    return isinstance(mount.items[1], Token) and str(mount.items[1]) == str(servo.items[1])


def _stands_on_own(servo: Line) -> bool:
    """Whether each of a row stands on the one before it."""
    return any(line.kind == "mount" and _stands_on(line, servo) for line in servo.lines())


def _is_for_others(part: Line, servo: Line, item: int | None) -> bool:
    """Whether a line is not for this thing of a row of parts that stand on one another.

    The first stands on the costume, where it lies as `level` and `axis` say; what the others stand
    on decides how they lie.
    """
    if item is None:
        return False
    return part.kind == "mount" if item == 1 else part.kind in ("level", "axis")


def _for_sides(amount: object) -> bool:
    """Whether an amount is given for each side."""
    return isinstance(amount, Varied) and any(choice.side for choice in amount.choices)


def _mark_behind(node: object) -> Token:
    """A word that is not written, behind a node."""
    end = end_of(node)
    return Token("MIRRORED", "mirrored", end, None, None, None, None, end)
