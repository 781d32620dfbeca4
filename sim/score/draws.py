"""Values that a statement draws anew at every pass: numbers, ranges, and what is hardest of them.

A strand of idle may draw how long it waits, where a part goes, how long that takes, and which of
several things it does. Nothing is kept for it but how often a thread has come round: a draw is a
hash of that count and of a key that stands in the table. So every player of a show draws the same
(`firmware_gen/TABLE.md` 2.9).

What a check looks at is the show `at_its_hardest`: each range written out as values of it, each
choice as each of its alternatives, in every order, in the shortest times. So checks need not know
of draws.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from itertools import combinations_with_replacement, product
from math import gcd, prod
from typing import Final, Literal, TypeAlias

from sim.model import (
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Move,
    OneOf,
    Repeat,
    Show,
    Step,
    Throw,
    Together,
)
from sim.noise import BEAT_FACTOR, SEED_FACTOR, mixed
from sim.rulebook import DRAW_KEYS
from sim.score.scales import at_scales

Holds: TypeAlias = Literal["shortest", "longest"]
"""Which of the times that are drawn between two statements."""

_ORDER: Final = (0, 0, 2, 0, 1, 2, 2, 1, 1)
"""Least, middle and greatest of a range, so that round and round each comes after each (a de Bruijn
sequence)."""

_ORDER_OF_LIGHT: Final = (*(0, 2) * 4, *_ORDER)
"""Changes to and fro that come first: with so many, light may flash more than three times."""

_PAIR: Final = 2

_STRIDE: Final = 7
_SEED_STRIDE: Final = 37
"""Without a common factor with the number of keys: the keys of a strand differ."""

_Drawing: TypeAlias = Move | Fade | Hold


# -- numbers --------------------------------------------------------------------------------------


def noise(key: int, count: int) -> int:
    """16 bits from a key and from how often a thread came round, as in TABLE.md 2.9.

    For one key it takes each value once while the count goes through all of its 16 bits. The key
    goes in twice: mixed once only, some pairs of keys draw much alike.
    """
    own = key * SEED_FACTOR
    return mixed(mixed(own ^ count * BEAT_FACTOR) + own)


def drawn(least: int, most: int, key: int, count: int) -> int:
    """A whole number from `least` to `most`; `least` where nothing is drawn (key 0)."""
    if not key:
        return least
    return least + ((most - least + 1) * noise(key, count) >> 16)


def key_of(seed: int, number: int) -> int:
    """The key of a strand's draw by its number, from 0 on; never 0."""
    return 1 + (_SEED_STRIDE * seed + _STRIDE * number) % DRAW_KEYS


# -- trees ----------------------------------------------------------------------------------------


def numbered(body: Step, seed: int) -> Step:
    """The tree with a key for each of its draws.

    Parts of one statement keep what they share: those whose keys were the same get the same.
    """
    return _Numbering(seed).of(body)


class _Numbering:
    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._next = 0

    def of(self, step: Step, known: dict[tuple[str, int], int] | None = None) -> Step:
        match step:
            case Move() | Fade() | Hold():
                if step.drawn is None:
                    return step
                return self._own(step, {} if known is None else known)
            case Together() if _is_statement(step):
                shared: dict[tuple[str, int], int] = {}
                return replace(step, children=tuple(self.of(c, shared) for c in step.children))
            case InTurn() | Together():
                return replace(step, children=tuple(self.of(c) for c in step.children))
            case OneOf():
                key = key_of(self._seed, self._next)
                self._next += 1
                children = tuple(self.of(c) for c in step.children)
                return replace(step, children=children, key=key)
            case Repeat():
                return replace(step, body=self.of(step.body))
            case _:
                return step

    def _own(self, step: _Drawing, known: dict[tuple[str, int], int]) -> _Drawing:
        one = step.drawn
        assert one is not None
        keys = (("time", one.time_key), ("target", one.target_key))
        for key in keys:
            if key[1] and key not in known:
                known[key] = key_of(self._seed, self._next)
                self._next += 1
        time_key, target_key = (known.get(key, 0) for key in keys)
        return replace(step, drawn=replace(one, time_key=time_key, target_key=target_key))


def _is_statement(step: Together) -> bool:
    """Whether it is one statement about several outputs."""
    return not step.interval_ms and all(isinstance(c, Move | Fade) for c in step.children)


def draws_in(step: Step) -> Iterator[Move | Fade | Hold | OneOf]:
    """The statements inside a step that draw something, and the choices, in the order of the
    text."""
    stack = [step]
    while stack:
        top = stack.pop()
        match top:
            case Move() | Fade() | Hold():
                if top.drawn is not None:
                    yield top
            case InTurn() | Together():
                stack.extend(reversed(top.children))
            case OneOf():
                yield top
                stack.extend(reversed(top.children))
            case Repeat():
                stack.append(top.body)


def draws_time(step: Step) -> bool:
    """Whether it is a statement whose time is drawn, or one of several things of different
    times."""
    if isinstance(step, Together):
        return _is_statement(step) and any(draws_time(child) for child in step.children)
    if isinstance(step, OneOf):
        return True
    return isinstance(step, Move | Fade | Hold) and bool(step.drawn and step.drawn.time_key)


def longest_ms(step: Step) -> float:
    """How long a step takes with the longest of all times that are drawn; a repeat without end
    takes no time."""
    match step:
        case Move() | Fade() | Hold():
            return max(step.duration_ms, step.drawn.most_ms if step.drawn else 0)
        case InTurn():
            return sum(map(longest_ms, step.children))
        case Together():
            ends = (n * step.interval_ms + longest_ms(c) for n, c in enumerate(step.children))
            return max(ends, default=0)
        case OneOf():
            return max(map(longest_ms, step.children), default=0)
        case Repeat():
            return (step.times or 0) * longest_ms(step.body)
        case _:
            return 0


# -- what is hardest ------------------------------------------------------------------------------


class _Kept:
    """A show as itself, as a key."""

    def __init__(self, show: Show, holds: Holds) -> None:
        self.show, self.holds = show, holds

    def __hash__(self) -> int:
        return hash((id(self.show), self.holds))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Kept) and self.show is other.show and self.holds == other.holds


def at_its_hardest(show: Show, holds: Holds = "shortest") -> Show:
    """The show with its draws and its scales written out; itself where there are neither.

    What is between two repeats is gone through several times: with the least, the middle and the
    greatest value of each range, so that for each output every one of them comes after every one.
    Where there are choices, every way through them comes after every way, with all those values.
    Moves and fades take the shortest of their times, waits the shortest or the longest.
    """
    return _hardest(_Kept(show, holds))


def ways_to_look(show: Show) -> tuple[Show, ...]:
    """The show with its draws written out, with the shortest waits and with the longest; once,
    where it draws nothing."""
    shortest = at_its_hardest(show)
    return (show,) if shortest is show else (shortest, at_its_hardest(show, "longest"))


@lru_cache(maxsize=32)
def _hardest(kept: _Kept) -> Show:
    show = at_scales(kept.show)
    if not any(next(draws_in(cue.body), None) for cue in show.score.cues):
        return show
    cues = tuple(_written_out(cue, kept.holds) for cue in show.score.cues)
    return replace(show, score=replace(show.score, cues=cues))


def _written_out(cue: Cue, holds: Holds) -> Cue:
    if next(draws_in(cue.body), None) is None:
        return cue
    return replace(cue, body=_passes(cue.body, holds))


def _passes(body: Step, holds: Holds) -> Step:
    """As many passes through a body as bring every value after every other.

    A repeat without end in the body is gone through in the last pass only: what stands before it
    has had all of its values by then.
    """
    if ways_through(body) > 1:
        return _passes_of_ways(body, holds)
    draws = _draws_a_pass(body)
    fading = {one.output for one in draws_in(body) if isinstance(one, Fade)}
    orders = {name: _order(count, name in fading) for name, count in draws.items()}
    rounds = max((len(order) for order in orders.values()), default=1)
    taken = dict.fromkeys(orders, 0)
    writer = _PassWriter(holds, orders, taken)
    passes = tuple(writer.of(body, last=n == rounds - 1) for n in range(rounds))
    return InTurn(passes) if rounds > 1 else passes[0]


def ways_through(step: Step) -> int:
    """How many ways lead through the choices inside a step.

    What a repeat without end holds is not counted: it has passes of its own.
    """
    match step:
        case InTurn() | Together():
            return prod(map(ways_through, step.children))
        case OneOf():
            return sum(map(ways_through, step.children))
        case Repeat() if step.times is not None and not step.while_held:
            return int(ways_through(step.body) ** min(step.times, _PAIR))
        case _:
            return 1


def choice_depth(step: Step) -> int:
    """How deep choices stand within one another inside a step."""
    match step:
        case InTurn() | Together():
            return max(map(choice_depth, step.children), default=0)
        case OneOf():
            return 1 + max(map(choice_depth, step.children), default=0)
        case Repeat():
            return choice_depth(step.body)
        case _:
            return 0


def _passes_of_ways(body: Step, holds: Holds) -> Step:
    """Passes in which every way comes after every way, with every pair of values."""
    ways = ways_through(body)
    order = _order_of_ways(ways)
    draws = any(not isinstance(one, OneOf) for one in draws_in(body))
    values = tuple(product(range(3), repeat=_PAIR)) if draws else ((0, 0),)
    rows = [(order, pair) for pair in values]
    if any(isinstance(one, Fade | Throw | Effect) for one in _leaves(body)):
        rows += [(_to_and_fro(ways), pair) for pair in ((0, 2), (2, 0))[: len(values)]]
    names = {one.output for one in draws_in(body) if isinstance(one, Move | Fade)}
    passes: list[Step] = []
    left = sum(len(row) for row, _ in rows)
    for row, pair in rows:
        writer = _PassWriter(holds, dict.fromkeys(names, pair), dict.fromkeys(names, 0))
        for way in row:
            left -= 1
            passes.append(writer.of(_OneWay(way).of(body), last=left == 0))
    return InTurn(tuple(passes))


def _order_of_ways(ways: int) -> tuple[int, ...]:
    """A row of ways in which each comes right behind each, itself too."""
    row: list[int] = []
    for first in range(ways):
        row += [first, first]
        for second in range(first + 1, ways):
            row += [second, first]
    return tuple(row)


def _to_and_fro(ways: int) -> tuple[int, ...]:
    """Each way in turns with each, so often that light may flash more often than three times."""
    pairs = combinations_with_replacement(range(ways), _PAIR)
    return tuple(way for pair in pairs for way in pair * 4)


def _leaves(step: Step) -> Iterator[Step]:
    stack = [step]
    while stack:
        top = stack.pop()
        match top:
            case InTurn() | Together() | OneOf():
                stack.extend(top.children)
            case Repeat():
                stack.append(top.body)
            case _:
                yield top


class _OneWay:
    """Takes one alternative of each choice, by the number of the way through all of them."""

    def __init__(self, way: int) -> None:
        self._way = way

    def of(self, step: Step) -> Step:
        match step:
            case InTurn() | Together():
                return replace(step, children=tuple(map(self.of, step.children)))
            case Repeat() if step.times is not None and not step.while_held:
                return self._repeated(step, step.times)
            case OneOf():
                return self._one_of(step)
            case _:
                return step

    def _one_of(self, step: OneOf) -> Step:
        left, self._way = self._way % ways_through(step), self._way // ways_through(step)
        for child in step.children:
            if left < ways_through(child):
                return InTurn((_OneWay(left).of(child),), step.mark)
            left -= ways_through(child)
        raise AssertionError("no such way")

    def _repeated(self, step: Repeat, times: int) -> Step:
        """Two ways through the body in turns."""
        if ways_through(step.body) == 1:
            return step
        bodies = tuple(self.of(step.body) for _ in range(min(times, _PAIR)))
        if times < _PAIR:
            return replace(step, body=InTurn(bodies))
        pairs = replace(step, body=InTurn(bodies), times=times // _PAIR)
        behind = bodies[: times % _PAIR]
        return InTurn((pairs, *behind))


def _order(draws: int, of_light: bool) -> tuple[int, ...]:
    """So long that an output's draws of a pass, taken from it in turn, come to all places of it."""
    order: tuple[int, ...] = _ORDER_OF_LIGHT if of_light else _ORDER
    most = 2 * len(order)
    while gcd(len(order), draws) > 1 and len(order) < most:
        order = (*order, 1)
    return order


def _written_passes(times: int) -> tuple[int, int]:
    """Times of a pair of passes, and passes behind them, as which a repeat with draws is written.

    They make the very number of passes: what is beside the repeat keeps its share of the time. A
    pair is enough: in the passes through the body around it each place of it has every value.
    """
    return (0, times) if times <= _PAIR else (times // _PAIR, times % _PAIR)


def _draws_a_pass(step: Step) -> dict[str, int]:
    """By output, how many values a pass through a step takes, as it is written out."""
    found: dict[str, int] = {}
    match step:
        case Move() | Fade():
            if step.drawn is not None:
                found[step.output] = 1
        case InTurn() | Together():
            for child in step.children:
                for name, count in _draws_a_pass(child).items():
                    found[name] = found.get(name, 0) + count
        case Repeat() if step.times is not None:
            pairs, behind = _written_passes(step.times)
            passes = behind + (_PAIR if pairs else 0)
            found = {name: n * passes for name, n in _draws_a_pass(step.body).items()}
    return found


class _PassWriter:
    """Writes passes one after the other; the values of an output go on from pass to pass."""

    def __init__(
        self, holds: Holds, orders: dict[str, tuple[int, ...]], taken: dict[str, int]
    ) -> None:
        self._holds, self._orders, self._taken = holds, orders, taken

    def of(self, step: Step, last: bool) -> Step:
        match step:
            case InTurn() | Together():
                children = tuple(self.of(child, last) for child in step.children)
                return replace(step, children=children)
            case Repeat():
                return self._repeated(step, last)
            case Hold() if step.drawn is not None:
                most = self._holds == "longest"
                lasts = step.drawn.most_ms if most else step.duration_ms
                return replace(step, duration_ms=lasts, drawn=None)
            case Move() | Fade() if step.drawn is not None:
                order, number = self._orders[step.output], self._taken[step.output]
                self._taken[step.output] = number + 1
                return at_place(step, order[number % len(order)] / 2)
            case _:
                return replace(step)

    def _repeated(self, step: Repeat, last: bool) -> Step:
        if step.times is None:
            inner = _passes(step.body, self._holds)
            return replace(step, body=inner) if last else inner
        if not _draws_a_pass(step.body):
            return replace(step, body=self.of(step.body, last))
        pairs, behind = _written_passes(step.times)
        rows: list[Step] = []
        if pairs:
            body = InTurn(tuple(self.of(step.body, last) for _ in range(_PAIR)))
            rows.append(replace(step, body=body, times=pairs))
        rows += [self.of(step.body, last) for _ in range(behind)]
        return InTurn(tuple(rows))


def at_place(step: Move | Fade, share: float) -> Move | Fade:
    """A move or fade with its target at a share of its range, in the shortest of its times."""
    one = step.drawn
    if one is None or not one.target_key:
        return replace(step, drawn=None)
    if isinstance(step, Move):
        angle = round(100.0 * (step.angle_deg + share * (one.most - step.angle_deg))) / 100.0
        return replace(step, angle_deg=angle, drawn=None)
    assert isinstance(step.light, float | int)
    level = round(2.0 * (step.light + share * (one.most - step.light))) / 2.0
    return replace(step, light=level, drawn=None)
