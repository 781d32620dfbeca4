"""Where the values of a show came from: marks to places in the text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from seqlang.text.findings import Origin, Span
from seqlang.text.syntax import end_of, place, start_of


class Origins(Mapping[int, Origin]):
    """Origins by mark. A mark costs one list entry; its spans are made when asked for.

    Most values of a show are never at fault, so their spans are never made.
    """

    def __init__(self, path: str) -> None:
        self._path = path
        self._nodes: list[tuple[object, object, tuple[tuple[str, object], ...]]] = []

    def mark(self, first: object, last: object, *parts: tuple[str, object]) -> int:
        """A new mark for what stands from node `first` to `last`, with the parts that are there."""
        self._nodes.append((first, last, parts))
        return len(self._nodes) - 1

    def __getitem__(self, mark: int) -> Origin:
        if not 0 <= mark < len(self._nodes):
            raise KeyError(mark)
        first, last, parts = self._nodes[mark]
        return Origin(
            Span(self._path, start_of(first), end_of(last)),
            tuple(
                (name, Span(self._path, *place(node))) for name, node in parts if node is not None
            ),
        )

    def __iter__(self) -> Iterator[int]:
        return iter(range(len(self._nodes)))

    def __len__(self) -> int:
        return len(self._nodes)
