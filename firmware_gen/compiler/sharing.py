"""What occurs more than once in a board's code stands in the table once.

Threads that are alike become one; a sequence that occurs more than once becomes a thread that the
others call, or go on with where it is their end. A thread that is one of several to choose from
stays as it is: how deep calls nest in it is known from the start.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from heapq import heapify, heappop, heappush
from typing import Final, NamedTuple, TypeAlias

from firmware_gen.compiler.code import Marked
from firmware_gen.compiler.repeats import paired
from firmware_gen.table.code_bytes import op_bytes
from firmware_gen.table.ops import (
    CallTo,
    ChooseTo,
    GoOnTo,
    Loop,
    LoopBack,
    TableOp,
    pointed_anew,
    pointed_to,
)
from sim.rulebook import CALL_DEPTH

_POINTER_BYTES: Final = 3
"""Of a call, and of going on with another thread."""
_END_BYTES: Final = 1
_LOOP_BYTES: Final = 4
_MOST_PASSES: Final = 24
_LOOP_END: Final = -1
"""Where a loop that is written out ends; no symbol."""

_Symbols: TypeAlias = tuple[int, ...]


def share_threads(
    rows: Sequence[Sequence[Marked]], kinds: Sequence[int]
) -> tuple[list[tuple[Marked, ...]], list[int]]:
    """Fewer and shorter threads that do the same, and where each of the old ones went.

    Forks, calls and go-ons of the result point forward. `kinds`: those of all outputs.
    """
    code = _Code(rows, kinds)
    choices = (_ThreadChoice(code, worth) for worth in (code.size_of, lambda _: 1))
    best = min((choice.best() for choice in choices), key=lambda found: found.size)
    return _Writer(code, best).write()


# -- what there is --------------------------------------------------------------------------------


class _LoopBody(NamedTuple):
    times: int
    body: _Symbols


class _Code:
    """Threads as rows of symbols: one for each different op, one for each different loop."""

    def __init__(self, rows: Sequence[Sequence[Marked]], kinds: Sequence[int]) -> None:
        self.rows = rows
        self.kinds = kinds
        self.ops: dict[int, TableOp] = {}
        self.loops: dict[int, _LoopBody] = {}
        self._symbol_of: dict[object, int] = {}
        self.chosen: set[int] = set()
        """Rows that a choice calls."""
        for row in rows:
            for one in row:
                if isinstance(one.op, ChooseTo):
                    self.chosen.update(one.op.threads)
        self.chosen_loops: set[int] = set()
        """The loops in them."""
        self.depth: dict[int, int] = {}
        """By the symbol of a choice, in how many calls within one another it results."""
        self._depth_of_row: dict[int, int] = {}
        self._class_of: dict[_Symbols, int] = {}
        self.class_of_row: list[int] = [0] * len(rows)
        """Rows that are alike are of one class."""
        self.first_row: dict[int, int] = {}
        """Of each class."""
        for index in reversed(range(len(rows))):
            symbols = self._symbols([one.op for one in rows[index]], index in self.chosen)
            depths = [self.depth.get(symbol, 0) for symbol in self._all_ops(symbols)]
            self._depth_of_row[index] = max(depths, default=0)
            number = self._class_of.setdefault(symbols, len(self._class_of))
            self.class_of_row[index] = number
            self.first_row[number] = index

    @property
    def threads(self) -> list[_Symbols]:
        """The different threads, by class."""
        return list(self._class_of)

    @property
    def count(self) -> int:
        """How many different symbols there are."""
        return len(self._symbol_of)

    def size_of(self, symbol: int) -> int:
        """Bytes of an op; of a loop those without its body."""
        op = self.ops.get(symbol)
        return _LOOP_BYTES if op is None else len(op_bytes(op, self.kinds))

    def _symbols(self, ops: Sequence[TableOp], is_chosen: bool) -> _Symbols:
        """In a row that a choice calls each op is one of a kind, but for rows that are alike."""
        open_ones: list[tuple[int, list[int]]] = [(0, [])]
        for at, op in enumerate(ops):
            if isinstance(op, Loop):
                open_ones.append((op.times, []))
            elif isinstance(op, LoopBack):
                times, body = open_ones.pop()
                loop = self._loop(_LoopBody(times, tuple(body)))
                open_ones[-1][1].append(loop)
                if is_chosen:
                    self.chosen_loops.add(loop)
            else:
                open_ones[-1][1].append(self._op(op, (at, *ops) if is_chosen else ()))
        return tuple(open_ones[0][1])

    def _op(self, op: TableOp, row: tuple[object, ...]) -> int:
        depth = 0
        if isinstance(op, ChooseTo):
            depth = 1 + max(self._depth_of_row[thread] for thread in op.threads)
        op = pointed_anew(op, self.class_of_row)  # it points forward, where all classes are known
        symbol = self._symbol_of.setdefault((op, row), len(self._symbol_of))
        self.ops[symbol] = op
        if depth:
            self.depth[symbol] = depth
        return symbol

    def _all_ops(self, symbols: _Symbols) -> Iterator[int]:
        """The symbols of all ops, those in loops too."""
        stack = list(symbols)
        while stack:
            symbol = stack.pop()
            if symbol in self.loops:
                stack.extend(self.loops[symbol].body)
            else:
                yield symbol

    def _loop(self, loop: _LoopBody) -> int:
        symbol = self._symbol_of.setdefault(loop, len(self._symbol_of))
        self.loops[symbol] = loop
        return symbol


# -- what is worth a thread of its own ------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Found:
    """A way to write the code down: what its symbols consist of, and which are threads."""

    size: int
    rows: tuple[_Symbols, ...]
    """The different threads, by class."""
    order: Sequence[int]
    """Pairs and loops, each behind what it consists of."""
    parts: Mapping[int, _Symbols]
    """Of a pair both halves, of a loop its body."""
    stored: frozenset[int]
    """Pairs and loops that are threads of their own."""
    called: frozenset[int]
    """Those of them that can be called; the others are only gone on with."""


class _ThreadChoice:
    """Chooses which pairs and loops become threads, by the bytes that this saves.

    One that is no thread is written out wherever it occurs. Each choice changes what the others
    save, so it is made again some times, and the best is kept.
    """

    def __init__(self, code: _Code, worth: Callable[[int], int]) -> None:
        self.code = code
        loops = list(code.loops)
        rows = [*code.threads, *(code.loops[symbol].body for symbol in loops)]
        found = paired(rows, code.count, worth)
        self.rows = found.rows[: len(code.threads)]
        bodies = dict(zip(loops, found.rows[len(code.threads) :], strict=True))
        self.parts: dict[int, _Symbols] = {**bodies, **found.pairs}
        self.order = self._parts_first()
        self.whole = {row[0] for row in self.rows if len(row) == 1 and row[0] in self.parts}
        """Pairs and loops that are the whole of a thread: to store them costs nothing."""
        self.size = {symbol: code.size_of(symbol) for symbol in code.ops}
        self.stored: set[int] = set(self.parts) - code.chosen_loops
        self.given_up: set[int] = set(code.chosen_loops)
        """What is not stored because calls would nest too deep."""
        self.called: set[int] = set()
        self.innermost: dict[int, int] = dict(code.depth)
        """Of each pair, loop and choice: in how many calls within one another it results."""
        self.inside: dict[int, int] = {}
        """How often each symbol is used with something behind it, and (below) as a thread's end."""
        self.at_end: dict[int, int] = {}

    def best(self) -> _Found:
        best: _Found | None = None
        for _ in range(_MOST_PASSES):
            self._measure()
            self._count()
            total = self._total()
            if best is None or total < best.size:
                stored, called = frozenset(self.stored), frozenset(self.called)
                best = _Found(total, self.rows, self.order, self.parts, stored, called)
            if not self._choose():
                break
        assert best is not None
        return best

    def _parts_first(self) -> list[int]:
        """All pairs and loops, each behind what it consists of."""
        order: list[int] = []
        done: set[int] = set()
        for root in self.parts:
            stack = [(root, False)]
            while stack:
                symbol, ready = stack.pop()
                if ready:
                    order.append(symbol)
                elif symbol not in done:
                    done.add(symbol)
                    stack.append((symbol, True))
                    stack += [(part, False) for part in self.parts[symbol] if part in self.parts]
        return order

    def _measure(self) -> None:
        """Bytes of each pair and loop when it is written out, and whether it can be called."""
        self.called = set()
        for symbol in self.order:
            self._measure_one(symbol)

    def _measure_one(self, symbol: int) -> None:
        parts = self.parts[symbol]
        size = _LOOP_BYTES if symbol in self.code.loops else 0
        for part in parts:
            size += _POINTER_BYTES if part in self.called else self.size[part]
        inner = self._calls_within(symbol)
        self.size[symbol] = size
        if symbol in self.stored and inner < CALL_DEPTH and size > _POINTER_BYTES:
            self.called.add(symbol)
            inner += 1
        else:
            self.called.discard(symbol)
        self.innermost[symbol] = inner

    def _calls_within(self, symbol: int) -> int:
        return max((self.innermost.get(part, 0) for part in self.parts[symbol]), default=0)

    def _count(self) -> None:
        self.inside, self.at_end = {}, {}
        for row in self.rows:
            if row and not (len(row) == 1 and row[0] in self.whole & self.stored):
                self._use(row, 0, 1)
        for symbol in reversed(self.order):
            self._use(self.parts[symbol], *self._copies(symbol), symbol in self.code.loops)

    def _copies(self, symbol: int) -> tuple[int, int]:
        """How often its parts are written with something behind them, and as a thread's end."""
        inside, at_end = self.inside.get(symbol, 0), self.at_end.get(symbol, 0)
        if symbol not in self.stored:
            return inside, at_end
        once = int(at_end > 0 or symbol in self.whole)
        if symbol not in self.called:
            return inside, once
        return (1, 0) if inside else (0, once)  # what is called does not go on elsewhere

    def _use(self, parts: _Symbols, inside: int, at_end: int, in_loop: bool = False) -> None:
        if in_loop:
            inside, at_end = inside + at_end, 0
        for part in parts:
            self.inside[part] = self.inside.get(part, 0) + inside + at_end
        if at_end:
            last = parts[-1]
            self.inside[last] -= at_end
            self.at_end[last] = self.at_end.get(last, 0) + at_end

    def _total(self) -> int:
        """Bytes of the code as it is chosen now."""
        texts = sum(not (len(row) == 1 and row[0] in self.whole & self.stored) for row in self.rows)
        total = _END_BYTES * texts
        for symbol, size in self.size.items():
            inside, at_end = self.inside.get(symbol, 0), self.at_end.get(symbol, 0)
            if symbol in self.code.ops:
                total += (inside + at_end) * size
                continue
            written = sum(self._copies(symbol))
            if symbol in self.code.loops:
                total += _LOOP_BYTES * written
            if symbol in self.stored:
                total += (_POINTER_BYTES - _END_BYTES) * at_end
                total += _POINTER_BYTES * inside if symbol in self.called else 0
                total += _END_BYTES * (written - (0 if symbol in self.called else inside))
        return total

    def _saved(self, symbol: int) -> int:
        """Bytes that it saves as a thread of its own, if calls of it do not nest too deep."""
        size = self.size[symbol]
        saved = self.at_end.get(symbol, 0) * (size + _END_BYTES - _POINTER_BYTES)
        saved += self.inside.get(symbol, 0) * (size - _POINTER_BYTES)
        return saved - (0 if symbol in self.whole else size + _END_BYTES)

    def _choose(self) -> bool:
        """Choose anew by what each would save now; False if nothing changes."""
        changed = False
        saved: dict[int, int] = {}
        for symbol in self.order:
            self._measure_one(symbol)
            saved[symbol] = self._saved(symbol)
            wanted = saved[symbol] > 0 and symbol not in self.given_up
            if wanted != (symbol in self.stored):
                changed = True
                (self.stored.add if wanted else self.stored.discard)(symbol)
                self._measure_one(symbol)
        return self._thin_out(saved) or changed

    def _thin_out(self, saved: Mapping[int, int]) -> bool:
        """Where calls would nest too deep, give up the one of the chain that saves least."""
        victims: set[int] = set()
        for symbol in self.order:
            if symbol not in self.stored or symbol in self.called:
                continue
            chain = [symbol]
            while (inner := self._deepest_call(chain[-1])) in self.parts:
                chain.append(inner)
            depth = len(chain) + self.code.depth.get(inner, 0)
            if depth > CALL_DEPTH > 0 and not victims & set(chain):
                victims.add(min(chain, key=lambda one: (saved[one], one)))
        self.given_up |= victims
        self.stored -= victims
        return bool(victims)

    def _deepest_call(self, symbol: int) -> int:
        """The call or choice that `symbol` holds, written out, from which most calls follow;
        -1: it holds none."""
        while True:
            deepest = max(self.parts[symbol], key=lambda part: self.innermost.get(part, 0))
            if self.innermost.get(deepest, 0) == 0:
                return -1
            if deepest in self.called or deepest in self.code.depth:
                return deepest
            symbol = deepest


# -- writing it down ------------------------------------------------------------------------------


class _Writer:
    """Writes the chosen threads. Until all are known they go by numbers of their own."""

    def __init__(self, code: _Code, found: _Found) -> None:
        self.code = code
        self.found = found
        self.texts: dict[int, list[Marked]] = {}
        """Threads by number: the first row of their class, or a stored symbol behind all rows."""
        self.place: dict[int, tuple[int, int]] = {}
        """Where each stored symbol that is used stands first in the old rows: row and op."""
        self.called: set[int] = set()
        self.length = dict.fromkeys(code.ops, 1)
        """How many old ops a symbol stands for."""
        for symbol in found.order:
            ends = 2 if symbol in code.loops else 0
            self.length[symbol] = ends + sum(self.length[part] for part in found.parts[symbol])

    def write(self) -> tuple[list[tuple[Marked, ...]], list[int]]:
        for number, row in enumerate(self.found.rows):
            first = self.code.first_row[number]
            if self._stands_for(number) == first:
                may_go_on = first not in self.code.chosen
                self.texts[first] = self._text(row, (first, 0), may_go_on)
            else:
                self.place[row[0]] = first, 0
        for symbol in reversed(self.found.order):
            if symbol in self.place:
                self.texts[self._number(symbol)] = self._text(
                    (symbol,), self.place[symbol], symbol not in self.called
                )
        numbers = [self._stands_for(one) for one in self.code.class_of_row]
        return _in_order(self.texts, numbers)

    def _number(self, symbol: int) -> int:
        return len(self.code.rows) + symbol

    def _stands_for(self, class_number: int) -> int:
        """The thread of a class: its first row, or the stored symbol that is all of it."""
        row = self.found.rows[class_number]
        if len(row) == 1 and row[0] in self.found.stored:
            return self._number(row[0])
        return self.code.first_row[class_number]

    def _text(self, symbols: _Symbols, place: tuple[int, int], may_go_on: bool) -> list[Marked]:
        """The ops of a thread that holds these symbols, which stand at `place` in the old rows."""
        row, at = place
        text: list[Marked] = []
        own = symbols[0] if len(symbols) == 1 else None
        stack = [(one, False) for one in reversed(symbols)]
        if may_go_on and stack:
            stack[0] = symbols[-1], True
        while stack:
            symbol, is_end = stack.pop()
            mark = self.code.rows[row][at].mark if at < len(self.code.rows[row]) else 0
            if symbol == _LOOP_END:
                text.append(Marked(LoopBack(), mark))
                at += 1
            elif symbol in self.code.ops:
                text.append(Marked(self._op(symbol), mark))
                at += 1
            elif symbol != own and self._is_apart(symbol, is_end):
                self.place.setdefault(symbol, (row, at))
                number = self._number(symbol)
                text.append(Marked(GoOnTo(number) if is_end else CallTo(number)))
                if not is_end:
                    self.called.add(symbol)
                at += self.length[symbol]
            elif symbol in self.code.loops:
                text.append(Marked(Loop(self.code.loops[symbol].times), mark))
                at += 1
                stack.append((_LOOP_END, False))
                stack += [(part, False) for part in reversed(self.found.parts[symbol])]
            else:
                first, second = self.found.parts[symbol]
                stack += [(second, is_end), (first, False)]
            own = None
        return text

    def _is_apart(self, symbol: int, is_end: bool) -> bool:
        return symbol in (self.found.stored if is_end else self.found.called)

    def _op(self, symbol: int) -> TableOp:
        op = self.code.ops[symbol]
        return pointed_anew(op, {one: self._stands_for(one) for one in pointed_to(op)})


def _in_order(
    texts: Mapping[int, list[Marked]], numbers: Sequence[int]
) -> tuple[list[tuple[Marked, ...]], list[int]]:
    """Threads before all that they point to, else by number; and the place of each of `numbers`."""
    pointed = dict.fromkeys(texts, 0)
    for text in texts.values():
        for target in _targets(text):
            pointed[target] += 1
    free = [number for number, times in pointed.items() if times == 0]
    heapify(free)
    order: list[int] = []
    while free:
        number = heappop(free)
        order.append(number)
        for target in _targets(texts[number]):
            pointed[target] -= 1
            if pointed[target] == 0:
                heappush(free, target)
    place = {number: at for at, number in enumerate(order)}
    rows = [
        tuple(replace(one, op=pointed_anew(one.op, place)) for one in texts[number])
        for number in order
    ]
    return rows, [place[number] for number in numbers]


def _targets(text: Sequence[Marked]) -> Iterator[int]:
    return (target for one in text for target in pointed_to(one.op))
