"""Where the bytes of a table go, for a person to read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from firmware_gen.compiler.show import CompiledBoard, CompiledShow
from firmware_gen.compiler.sizes import cue_sizes
from firmware_gen.table.ops import ActOp, Delay, TableOp
from firmware_gen.table.records import ServoRecord

_CHECK_SUM: Final = "check sum"


@dataclass(frozen=True, slots=True)
class Cost:
    """How many statements of a kind there are, and the bytes they take, waits included."""

    count: int = 0
    size: float = 0.0

    def __add__(self, other: Cost) -> Cost:
        return Cost(self.count + other.count, self.size + other.size)

    @property
    def mean(self) -> float | None:
        """Bytes of a mean statement; None without any."""
        return self.size / self.count if self.count else None


@dataclass(frozen=True, slots=True)
class Account:
    """The bytes of one board's table.

    `cues` and `sections` add up to what they stand for: a thread that several cues share counts
    for the first of them.
    """

    board: CompiledBoard
    sections: tuple[tuple[str, int], ...]
    cues: tuple[tuple[str, int], ...]
    moves: Cost
    fades: Cost
    """The bytes of the colours included."""

    @property
    def size(self) -> int:
        return len(self.board.data)

    @property
    def share(self) -> float:
        """Of one of the board's slots."""
        return self.size / self.board.chip.slot_bytes


def account(board: CompiledBoard) -> Account:
    """Account for every byte of a board's table."""
    sections = tuple(
        (_CHECK_SUM if name == "crc" else name, end - start)
        for name, (start, end) in board.encoded.sections.items()
    )
    moves, fades = _costs(board)
    start, end = board.encoded.sections["colours"]
    fades += Cost(0, end - start)
    return Account(board, sections, _cue_sizes(board), moves, fades)


def mean_costs(accounts: Iterable[Account]) -> tuple[Cost, Cost]:
    """Moves and fades over several tables."""
    moves, fades = Cost(), Cost()
    for one in accounts:
        moves, fades = moves + one.moves, fades + one.fades
    return moves, fades


def account_text(compiled: CompiledShow) -> str:
    """The account of all boards, aligned, with the digest of the tables."""
    blocks = [_block(account(board)) for board in compiled.boards]
    return "\n\n".join([*blocks, f"show {compiled.number:08x}\ndigest {compiled.digest}"])


def _costs(board: CompiledBoard) -> tuple[Cost, Cost]:
    moves, fades = Cost(), Cost()
    for thread, places in zip(board.table.threads, board.encoded.places, strict=True):
        for ops, size in _groups(thread, places):
            share = size / len(ops)
            for op in ops:
                if isinstance(board.table.outputs[op.output], ServoRecord):
                    moves += Cost(1, share)
                else:
                    fades += Cost(1, share)
    return moves, fades


def _groups(thread: Sequence[TableOp], places: Sequence[int]) -> list[tuple[list[ActOp], int]]:
    """Moves and fades that start at one time, with their bytes and those of the wait after them.

    A wait before the first of a thread counts for the first.
    """
    groups: list[tuple[list[ActOp], int]] = []
    ops: list[ActOp] = []
    size, waited = 0, True
    for number, op in enumerate(thread):
        if not isinstance(op, ActOp | Delay):
            continue
        if isinstance(op, ActOp):
            if waited and ops:
                groups.append((ops, size))
                ops, size = [], 0
            ops.append(op)
            waited = op.wait
        else:
            waited = bool(ops)
        size += places[number + 1] - places[number]
    return [*groups, (ops, size)] if ops else groups


def _cue_sizes(board: CompiledBoard) -> tuple[tuple[str, int], ...]:
    table = board.table
    sizes = [places[-1] - places[0] for places in board.encoded.places]
    names = [cue.name for cue in board.cues]
    return cue_sizes(names, [cue.start for cue in table.cues], table.threads, sizes)


def _block(one: Account) -> str:
    board, table = one.board, one.board.table
    counts = {
        "outputs": len(table.outputs),
        "colours": len(table.colours),
        "laws": len(table.laws),
        "inputs": len(table.inputs),
        "bindings": len(table.bindings),
        "cues": len(table.cues),
        "senses": len(table.senses),
        "code": len(table.threads),
    }
    rows: list[tuple[str, str, str]] = []
    for name, size in one.sections:
        note = str(counts[name]) if name in counts and name != "code" else ""
        rows.append((f"  {name}", str(size), note))
        if name == "code":
            rows += [(f"    {cue}", str(cue_size), "") for cue, cue_size in one.cues]
    rows.append(("  whole table", str(one.size), _share(one)))
    width = max(len(name) for name, _, _ in rows)
    lines = [f"{board.name}: {board.chip.title}, address {table.address}"]
    lines.append(f"{'':{width}}  bytes  count")
    lines += [f"{name:{width}}  {size:>5}  {note}".rstrip() for name, size, note in rows]
    lines += [
        f"  a mean {what} takes {cost.mean:.2f} bytes, its waits{extra} included"
        for what, cost, extra in (("move", one.moves, ""), ("fade", one.fades, " and colours"))
        if cost.mean is not None
    ]
    return "\n".join(lines)


def _share(one: Account) -> str:
    slot = one.board.chip.slot_bytes
    text = f"{100 * one.share:.1f} % of a slot of {slot} bytes"
    return text if one.board.fits else f"{text}: too large for a slot, flash it with --merged"
