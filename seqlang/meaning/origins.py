"""Where the values of a show came from: marks to places in the text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import NamedTuple

from seqlang.text.findings import Origin, Passage, Span
from seqlang.text.source import Place
from seqlang.text.syntax import end_of, place, start_of


class PassageText(NamedTuple):
    """A `Passage` before anybody needs its span."""

    words: str
    node: object | None
    values: tuple[tuple[str, Place, str], ...] = ()


class MarkedNode(NamedTuple):
    """What a mark stands for: from node `first` to `last`, and the way that led there."""

    first: object
    last: object
    parts: tuple[tuple[str, object], ...]
    steps: tuple[PassageText, ...]
    moved: int = 0
    """So many characters behind where the nodes stand; such a node has no way that led to it."""


class Origins(Mapping[int, Origin]):
    """Origins by mark. A mark costs one entry; its spans are made when asked for.

    Most values of a show are never at fault, so their spans are never made.
    """

    def __init__(self, path: str) -> None:
        self._path = path
        self._nodes: dict[int, MarkedNode] = {}
        self._next = 0
        self._steps: tuple[PassageText, ...] = ()

    def apart(self) -> Origins:
        """Origins of their own, on the way that is open now."""
        other = Origins(self._path)
        other._steps = self._steps
        return other

    @contextmanager
    def passing(
        self,
        words: str,
        node: object | None = None,
        values: tuple[tuple[str, Place, str], ...] = (),
    ) -> Iterator[None]:
        """All that is marked, or found wrong, inside has come this way; see `Passage`.

        `node`: where the passage is written (a call, say), if it is written anywhere.
        """
        before = self._steps
        self._steps = (*before, PassageText(words, node, values))
        try:
            yield
        finally:
            self._steps = before

    @property
    def is_passing(self) -> bool:
        return bool(self._steps)

    def span(self, node: object) -> Span:
        """The place of a node, reached on the way that is open now."""
        return self._reached(*(node if isinstance(node, Place) else place(node)), self._steps)

    def _reached(self, start: int, end: int, steps: tuple[PassageText, ...]) -> Span:
        if not steps:
            return Span(self._path, start, end)
        trail = tuple(
            Passage(
                step.words,
                None if step.node is None else Span(self._path, *place(step.node)),
                tuple((name, Span(self._path, *at), said) for name, at, said in step.values),
            )
            for step in steps
        )
        return Span(self._path, start, end, trail)

    def mark(self, first: object, last: object, *parts: tuple[str, object]) -> int:
        """A new mark for what stands from node `first` to `last`, with the parts that are there."""
        mark = self._next
        self._nodes[mark] = MarkedNode(first, last, parts, self._steps)
        self._next += 1
        return mark

    @property
    def next_mark(self) -> int:
        """The mark that is given next; those after it follow one by one."""
        return self._next

    def begin_at(self, mark: int) -> None:
        """Give no mark below this one any more."""
        self._next = max(self._next, mark)

    def since(self, mark: int) -> dict[int, MarkedNode]:
        """What the marks from this one on stand for."""
        return {one: self._nodes[one] for one in range(mark, self._next)}

    def take(self, nodes: Mapping[int, MarkedNode], moved: int) -> None:
        """Marks of an earlier version, whose nodes now stand `moved` characters further on."""
        for mark, node in nodes.items():
            self._nodes[mark] = node if not moved else node._replace(moved=node.moved + moved)

    def __getitem__(self, mark: int) -> Origin:
        first, last, parts, steps, moved = self._nodes[mark]
        return Origin(
            self._reached(start_of(first) + moved, end_of(last) + moved, steps),
            tuple(
                (name, self._reached(start + moved, end + moved, steps))
                for name, node in parts
                if node is not None
                for start, end in (place(node),)
            ),
        )

    def __iter__(self) -> Iterator[int]:
        return iter(self._nodes)

    def __len__(self) -> int:
        return len(self._nodes)
