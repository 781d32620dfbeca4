"""What each cue takes of a table's code."""

from __future__ import annotations

from collections.abc import Sequence

from firmware_gen.table.code_bytes import end_bytes, op_bytes
from firmware_gen.table.ops import TableThread, pointed_to


def thread_sizes(threads: Sequence[TableThread], kinds: Sequence[int]) -> list[int]:
    """Bytes of each thread, its end included; `kinds`: those of all outputs."""
    return [
        sum(len(op_bytes(op, kinds)) for op in thread) + len(end_bytes(thread))
        for thread in threads
    ]


def cue_sizes(
    names: Sequence[str],
    starts: Sequence[int],
    threads: Sequence[TableThread],
    sizes: Sequence[int],
) -> tuple[tuple[str, int], ...]:
    """Bytes of each cue, by name.

    `starts`: index of each cue's first thread. A thread that several cues share counts for the
    first of them.
    """
    counted: set[int] = set()
    found: list[tuple[str, int]] = []
    for name, start in zip(names, starts, strict=True):
        mine = _reached(threads, start) - counted
        counted |= mine
        found.append((name, sum(sizes[number] for number in mine)))
    return tuple(found)


def _reached(threads: Sequence[TableThread], start: int) -> set[int]:
    """A thread and all that it points to, directly or not."""
    found: set[int] = set()
    open_ones = [start]
    while open_ones:
        index = open_ones.pop()
        if index not in found:
            found.add(index)
            open_ones += [target for op in threads[index] for target in pointed_to(op)]
    return found
