"""Statements of cues, and poses, for the things that their names mean."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple, TypeAlias, cast

from lark import Token

from seqlang.meaning.alike.choosing import Here, is_varied
from seqlang.meaning.alike.families import spelled
from seqlang.text.names import beyond_row, nearest
from seqlang.text.syntax import (
    ActText,
    Along,
    Block,
    Broken,
    ClockText,
    Cut,
    EffectText,
    HoldText,
    LawText,
    LightText,
    Line,
    Pace,
    Play,
    Spot,
    StatementText,
    Strike,
    Target,
    Through,
    ThrowText,
    start_of,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from seqlang.meaning.alike.choosing import Chooser, Notes
    from seqlang.meaning.alike.families import Family, Member, Sides
    from seqlang.text.occurrences import Named
    from seqlang.text.syntax import Amount


class One(NamedTuple):
    """One thing that a name means, and where it stands."""

    token: Token
    here: Here


Value: TypeAlias = "Amount | LightText"
"""What is said of outputs; `on`, in a pose, is a token like others."""


class Meant:
    """What names mean in a place; `wanted` is told of every version of a cue or pose in use."""

    def __init__(
        self,
        members: Mapping[Named, Mapping[str, Member]],
        notes: Notes,
        wanted: Callable[[Member], object],
    ) -> None:
        self._members = members
        self._notes = notes
        self._wanted = wanted
        self._hidden: frozenset[str] = frozenset()
        self.apart: set[str] = set()
        """Gestures whose usual values differ: each thing has a version of its own."""

    @contextmanager
    def hiding(self, names: Iterable[str]) -> Iterator[None]:
        """Inside, these names are those of a gesture's parameters."""
        before, self._hidden = self._hidden, frozenset(names)
        try:
            yield
        finally:
            self._hidden = before

    def member(self, token: Token, named: Named) -> Member | None:
        if named == "output" and str(token) in self._hidden:
            return None
        found = self._members.get(named, {}).get(str(token))
        if found is None and named == "cue":
            return self._members.get("gesture", {}).get(str(token))
        return found

    def rows(self) -> list[str]:
        """The names of all rows."""
        outputs = self._members.get("output", {})
        return [name for name, one in outputs.items() if one.family.size and one.item is None]

    def outputs(self, name: Token | Through, here: Here) -> list[One]:
        """Every output that a name stands for."""
        if isinstance(name, Through):
            ends = self.through(name, here)
            return [one for token, at in ends for one in self.outputs(token, at)]
        member = self.member(name, "output")
        if member is None:
            self.is_forgiven(name)
            return [One(name, here)]
        return [
            One(_renamed(name, member.family, side, item), _at(here, member.family, side, item))
            for side in _sides(member, here) or (None,)
            for item in _items(member, here) or (None,)
        ]

    def is_forgiven(self, name: Token) -> bool:
        """Whether a name is that of something that could not be read; nothing is said of it."""
        found = str(name) in self._notes.forgiven
        self._notes.failed = self._notes.failed or found
        return found

    def through(self, name: Through, here: Here) -> list[One]:
        """The things of a row from one to another, each by its own name or that of both sides."""
        if any(self.is_forgiven(token) for token in name):
            return []
        first, last = (self.member(token, "output") for token in name)
        if (
            first is None
            or last is None
            or first.item is None
            or last.item is None
            or (first.family, first.side) != (last.family, last.side)
        ):
            self._not_of_one_row(name, first)
            return []
        step = 1 if first.item <= last.item else -1
        return [
            One(_renamed(name.first, first.family, first.side, item), here)
            for item in range(first.item, last.item + step, step)
        ]

    def _not_of_one_row(self, name: Through, first: Member | None) -> None:
        """Note that two things are not of one row, or that the row is shorter."""
        known = [] if first is None or first.item is None else self._row_of(name.first, first)
        ends = beyond_row(str(name.last), known)
        self._notes.error(
            "not-a-row",
            f"`{name.first}` and `{name.last}` are not two things of one row",
            name,
            help=f"the row ends with `{ends[1]}`"
            if ends
            else "such as `feather_2 through feather_4`",
            fix=f"{name.first} through {ends[1]}" if ends and ends[1] != str(name.first) else None,
        )

    def _row_of(self, token: Token, member: Member) -> list[str]:
        """The names of the row in which something stands, as the score would call them."""
        return [
            str(_renamed(token, member.family, member.side, item))
            for item in range(1, member.family.size + 1)
        ]

    def single(self, token: Token, named: Named, here: Here) -> Token:
        """The one thing that a name stands for; notes where it stands for several."""
        member = self.member(token, named)
        if member is None:
            return token
        family = member.family
        sides, items = _sides(member, here), _items(member, here)
        if len(sides) <= 1 and len(items) <= 1:
            return _renamed(token, family, next(iter(sides), None), next(iter(items), None))
        base = str(family.base)
        several = [spelled(base, s, i) for s in sides or (None,) for i in items or (None,)]
        self._notes.error(
            "several-meant",
            f"one {named} is needed here, and `{token}` stands for {len(several)}",
            token,
            help=f"write which one, such as `{several[0]}`",
        )
        return token.update(value=several[0])

    def versions(self, token: Token, named: Named, here: Here) -> list[Token]:
        """The cues or poses that a name stands for: that of all sides and things is one of them."""
        member = self.member(token, named)
        if member is None:
            return [token]
        family = member.family
        sides, items = _sides(member, here), _items(member, here)
        side = next(iter(sides), None) if len(sides) == 1 else None
        whole = items == range(1, family.size + 1) and member.item is None
        found = []
        for item in (None,) if whole or not items else items:
            member = member._replace(side=side, item=item)
            self._wanted(member)
            found.append(_renamed(token, family, side, item))
        return found

    def played(self, play: Play, here: Here) -> list[One]:
        """The cues or gestures that are played, and for what their values are given.

        One gesture serves both sides, or a whole row, unless it is given a value for each.
        """
        token = play.cue
        member = self.member(token, "cue")
        if member is None or member.family.named != "gesture":
            return [One(name, here) for name in self.versions(token, "cue", here)]
        at = here.on(member.side)
        base = str(member.family.base)
        if base not in self.apart and not any(is_varied(line.items[1]) for line in play.arguments):
            return [One(name, at) for name in self.versions(token, "cue", here)]
        ones = [
            _at(at, member.family, side, item)
            for side in _sides(member, here) or (None,)
            for item in _items(member, here) or (None,)
        ]
        token = token.update(value=base)
        return [One(name, one) for one in ones for name in self.versions(token, "cue", one)]


def _sides(member: Member, here: Here) -> Sides:
    """The sides that a name is about, where it is about sides."""
    if member.side is not None:
        return (member.side,)
    return tuple(side for side in member.family.sides if side in here.sides) or member.family.sides


def _items(member: Member, here: Here) -> Sequence[int]:
    if member.item is not None:
        return (member.item,)
    return here.of(member.family.row) or range(1, member.family.size + 1)


def _at(here: Here, family: Family, side: str | None, item: int | None) -> Here:
    here = here.on(side)
    return here if item is None else here.at(family.row, (item,))


def _renamed(token: Token, family: Family, side: str | None, item: int | None) -> Token:
    return token.update(value=spelled(str(family.base), side, item))


class CueWriter:
    """Writes statements out."""

    def __init__(self, names: Meant, chooser: Chooser, notes: Notes, sides: Iterable[str]) -> None:
        self._names = names
        self._chooser = chooser
        self._notes = notes
        self._known_sides = frozenset(sides)

    # -- statements -------------------------------------------------------------------------

    def body(self, body: Sequence[StatementText], here: Here) -> tuple[StatementText, ...]:
        """Statements for the things that are meant here. Raises TooManyError."""
        return tuple(self._statement(statement, here) for statement in body)

    def _statement(self, statement: StatementText, here: Here) -> StatementText:
        """A statement for the things that are meant; a broken one where that makes no sense."""
        before, self._notes.failed = self._notes.failed, False
        made = self._for(statement, here)
        failed, self._notes.failed = self._notes.failed, before
        at = start_of(statement)
        broken = Token("BROKEN", "", at, None, None, None, None, at)  # nothing, at a known place
        return Broken(broken) if failed else made

    def _for(self, statement: StatementText, here: Here) -> StatementText:
        self._notes.written(1)
        amount = self._chooser.amount
        if isinstance(statement, ActText):
            return self._act(statement, here)
        if isinstance(statement, Block):
            return self._block(statement, here)
        if isinstance(statement, Strike):
            pace, law = self._pace(statement.pace, here), self._law(statement.law, here)
            poses = self._names.versions(statement.pose, "pose", here)
            swing = self._swing(statement.swing, here)
            made = [Strike(statement.keyword, pose, pace, law, swing) for pose in poses]
            return _together(made, statement.keyword)
        if isinstance(statement, Play):
            cues = self._names.played(statement, here)
            plays = [one for cue, at in cues for one in self._plays(statement, cue, at)]
            return _together(plays, statement.keyword)
        if isinstance(statement, Cut):
            groups = self._groups(statement.names, statement.light, here)
            cuts = [
                Cut(names, statement.keyword, cast("LightText", light)) for names, light in groups
            ]
            return _together(cuts, statement.keyword)
        if isinstance(statement, ThrowText):
            return statement._replace(names=self._outputs(statement.names, here))
        if isinstance(statement, EffectText):
            return self._effect(statement, here)
        if isinstance(statement, HoldText):
            breathing = statement.breathing
            return HoldText(
                statement.keyword,
                self._chooser.drawn(statement.duration, here),
                None if breathing is None else self._breathing(breathing, here),
            )
        if isinstance(statement, ClockText):
            return statement._replace(time=amount(statement.time, here))
        return statement

    def _plays(self, play: Play, cue: Token, here: Here) -> list[Play]:
        """A play with what is given for the parameters: one for each output that is meant."""
        found: list[tuple[Here, dict[int, Token]]] = [(here, {})]
        for number, line in enumerate(play.arguments):
            value = line.items[1]
            if isinstance(value, Token) and self._names.member(value, "output") is not None:
                found = [
                    (one.here, {**chosen, number: one.token})
                    for at, chosen in found
                    for one in self._names.outputs(value, at)
                ]
        return [
            play._replace(
                cue=cue,
                arguments=tuple(
                    Line(line.kind, (line.items[0], self._given(line, chosen.get(number), at)))
                    for number, line in enumerate(play.arguments)
                ),
            )
            for at, chosen in found
        ]

    def _given(self, line: Line, output: Token | None, here: Here) -> Token:
        value = cast("Amount", line.items[1])
        return output or cast("Token", self._chooser.amount(value, here))

    def _outputs(self, names: Iterable[Token | Through], here: Here) -> tuple[Token, ...]:
        return tuple(one.token for one in self._ones(names, here))

    def _ones(self, names: Iterable[Token | Through], here: Here) -> list[One]:
        """Every output that is named. Raises TooManyError."""
        found: list[One] = []
        for name in names:
            ones = self._names.outputs(name, here)
            self._notes.written(len(ones))
            found += ones
        return found

    def _groups(
        self, names: Iterable[Token | Through], value: Value, here: Here
    ) -> list[tuple[tuple[Token, ...], Value]]:
        """Outputs with what is said of them: together where it is the same for all."""
        if not is_varied(value):
            return [(self._outputs(names, here), value)]
        return [((one.token,), self._value(value, one.here)) for one in self._ones(names, here)]

    def _value(self, value: Value, here: Here) -> Value:
        if isinstance(value, LightText):
            return self._chooser.light(value, here)
        return self._chooser.drawn(value, here)

    def _act(self, act: ActText, here: Here) -> ActText:
        targets = tuple(
            Target(names, value)
            for target in act.targets
            for names, value in self._groups(target.names, target.value, here)
        )
        pace, law = self._pace(act.pace, here), self._law(act.law, here)
        return ActText(targets, pace, law, self._swing(act.swing, here))

    def _swing(self, swing: Iterable[Line], here: Here) -> tuple[Line, ...]:
        return tuple(Line(one.kind, (one.items[0], *self._amounts(one, 1, here))) for one in swing)

    def _amounts(self, line: Line, first: int, here: Here) -> tuple[Amount, ...]:
        """The amounts of a line from an item on."""
        rest = cast("tuple[Amount, ...]", line.items[first:])
        return tuple(self._chooser.amount(one, here) for one in rest)

    def _breathing(self, line: Line, here: Here) -> Line:
        names, keyword, by, *every = line.items
        return Line(
            line.kind,
            (
                cast("Token", self._outputs(cast("tuple[Token | Through, ...]", names), here)),
                keyword,
                self._chooser.amount(cast("Amount", by), here),
                *(cast("Token", one) for one in self._options(cast("list[Line]", every), here)),
            ),
        )

    def _pace(self, pace: Pace, here: Here) -> Pace:
        amounts = tuple(self._chooser.drawn(amount, here) for amount in pace.amounts)
        return pace._replace(amounts=amounts)

    def _law(self, law: LawText | None, here: Here) -> LawText | None:
        if law is None or (not law.shares and law.peak is None):
            return law
        peak = None if law.peak is None else self._chooser.amount(law.peak, here)
        shares = tuple(self._chooser.amount(one, here) for one in law.shares)
        return law._replace(shares=shares, peak=peak)

    def _effect(self, effect: EffectText, here: Here) -> StatementText:
        ones = self._ones(effect.names, here)
        if not any(is_varied(option.items[1]) for option in effect.options):
            return effect._replace(names=tuple(one.token for one in ones))
        made = [
            EffectText((one.token,), effect.effect, self._options(effect.options, one.here))
            for one in ones
        ]
        return _together(made, effect.effect)

    def _options(self, options: Iterable[Line], here: Here) -> tuple[Line, ...]:
        return tuple(
            Line(one.kind, (one.items[0], self._chooser.amount(cast("Amount", one.items[1]), here)))
            for one in options
        )

    # -- blocks -----------------------------------------------------------------------------

    def _block(self, block: Block, here: Here) -> Block:
        along = block.head[-1]
        if not isinstance(along, Along):
            head = tuple(self._chooser.amount(amount, here) for amount in block.head)
            return Block(block.kind, head, self.body(block.body, here))
        head = tuple(self._chooser.amount(amount, here) for amount in block.head[:-1])
        parts = [self.body(block.body, one) for one in self._steps_along(along, here)]
        if block.kind == "in turn":
            return Block("in turn", head, tuple(one for part in parts for one in part))
        keyword = cast("Token", block.head[0])
        return Block(block.kind, head, tuple(_in_turn(part, keyword) for part in parts))

    def _steps_along(self, along: Along, here: Here) -> list[Here]:
        """What each pass through the block is about, in the order of the passes."""
        names = along.names
        if all(isinstance(name, Token) and str(name) in self._known_sides for name in names):
            self._demand_both(cast("Sequence[Token]", names))
            return [here.on(str(name)) for name in names]
        if len(names) > 1:
            wrong = next(name for name in names if str(name) not in self._known_sides)
            self._not_a_row(wrong)
            return [here]
        (name,) = names
        if isinstance(name, Through):
            ends = self._names.through(name, here)
            found = [self._names.member(one.token, "output") for one in ends]
        else:
            found = [self._names.member(name, "output")]
        row = [member for member in found if member is not None]
        if not row or not row[0].family.size or (row[0].item and isinstance(name, Token)):
            if not isinstance(name, Through):
                self._not_a_row(name)
            return [here]
        first = row[0]
        here = here.on(first.side)
        bound = here.of(first.family.row)
        items = [member.item for member in row if member.item] or [
            *(bound or range(1, first.family.size + 1))
        ]
        return [here.at(first.family.row, group) for group in _in_order(items, along.order)]

    def _demand_both(self, names: Sequence[Token]) -> None:
        """Note where sides are not both of one mirror, each once: one would do nothing."""
        said = [str(name) for name in names]
        pair = next(pair for pair in self._chooser.pairs if said[0] in pair)
        if sorted(said) == sorted(pair):
            return
        first, other = said[0], next(side for side in pair if side != said[0])
        both = f"{first}, {other}"
        self._notes.error(
            "not-a-row",
            f"`along {first}` alone leaves out `{other}`"
            if len(names) == 1
            else f"`{', '.join(said)}` are not both sides, each once",
            names[-1],
            help=f"along both sides: `along {both}`; one side alone is called by its name, such as "
            f"`{first}_NAME`",
            fix=both if len(names) == 1 else None,
        )

    def _not_a_row(self, name: Token | Through) -> None:
        """Note that something is not a row."""
        if isinstance(name, Token) and self._names.is_forgiven(name):
            return
        member = self._names.member(name, "output") if isinstance(name, Token) else None
        near = None
        if member is not None and not member.family.size and member.family.sides:
            sides = ", ".join(member.family.sides)
            hint = f"along both sides: `along {sides}`"
        elif member is not None and member.family.size:
            hint = f"along the whole row: `along {member.family.base}`"
        else:
            near = nearest(self._notes.text(name), (*self._known_sides, *self._names.rows()))
            hint = (
                f"did you mean `{near}`?"
                if near
                else "a row is described below `row of N`, sides below `mirror left, right`"
            )
        said = str(name) if isinstance(name, Token) else self._notes.text(name)
        message = f"`{said}` is not a row"
        self._notes.error("not-a-row", message, name, help=hint, fix=near)

    # -- poses ------------------------------------------------------------------------------

    def pose(self, entry: Line, name: str, safe: bool, here: Here) -> Line:
        """A pose for the things that are meant here, under that name."""
        items: list[object] = []
        for item in entry.items:
            if isinstance(item, Spot):
                self._notes.failed = False
                groups = self._groups(item.names, item.value, here)
                if self._notes.failed:
                    continue
                items += (Spot(names, cast("LightText", value)) for names, value in groups)
            elif isinstance(item, Token) and item.type == "NAME":
                items.append(item.update(value=name))
            elif isinstance(item, Token) and item.type == "SAFE" and not safe:
                continue
            else:
                items.append(item)
        return Line(entry.kind, cast("tuple[Token, ...]", tuple(items)))


def _in_order(items: Sequence[int], order: Token | None) -> list[tuple[int, ...]]:
    """Things of a row in the order in which they come, those that come together in one."""
    kind = "" if order is None else order.type
    if kind == "FROM_END":
        return [(item,) for item in reversed(items)]
    if kind not in ("FROM_MIDDLE", "FROM_BOTH_ENDS"):
        return [(item,) for item in items]
    last = len(items) - 1
    pairs: list[tuple[int, ...]] = [
        (items[at],) if at == last - at else (items[at], items[last - at])
        for at in range(len(items) - len(items) // 2)
    ]
    return pairs if kind == "FROM_BOTH_ENDS" else pairs[::-1]


def _together(made: Sequence[StatementText], keyword: Token) -> StatementText:
    """Several statements that one has become."""
    if len(made) == 1:
        return made[0]
    head = Token.new_borrow_pos("TOGETHER", "together", keyword)
    return Block("together", (head,), tuple(made))


def _in_turn(made: Sequence[StatementText], keyword: Token) -> StatementText:
    """What one thing of a row does."""
    if len(made) == 1:
        return made[0]
    head = Token.new_borrow_pos("IN_TURN", "in turn", keyword)
    return Block("in turn", (head,), tuple(made))
