"""From a show to the byte tables of its boards: the same show gives the same bytes, always."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from math import ceil
from struct import error as StructError  # noqa: N812 - it is a class

from firmware_gen.chips import CHIPS, Chip
from firmware_gen.compiler.code import Coder, Marked, demand_shallow
from firmware_gen.compiler.records import (
    CompileError,
    LawBook,
    Palette,
    input_records,
    output_record,
    scale_records,
    sense_records,
    watch_records,
)
from firmware_gen.compiler.sharing import share_threads
from firmware_gen.compiler.sizes import cue_sizes, thread_sizes
from firmware_gen.crc import cue_tag
from firmware_gen.table.encode import Encoded, encode_with_places, show_number
from firmware_gen.table.layout import ALONE, CONFLICTS, FOLLOWS, LEADS, TableError
from firmware_gen.table.ops import (
    ActOp,
    Modulate,
    TableThread,
    Turn,
    pointed_anew,
    pointed_to,
)
from firmware_gen.table.records import BindingRecord, CueRecord, SenseRecord, Table, kind_of
from sim.model import NO_MARK, Board, Cue, Output, Score, Show
from sim.rulebook import (
    BYTE_MAX,
    CLAIMS,
    CUES,
    ENABLE_INTERVAL_FRAMES,
    LONGEST_SILENCE_MS,
    LONGEST_STOP_MS,
    LOST_STEP_MS,
    OUTPUTS,
    SETTLE_MS,
    STOP_STEP_MS,
    THREADS,
)
from sim.score.claims import claims
from sim.score.planned_moves import motion_limits
from sim.score.threads import (
    ThreadError,
    cues_on,
    ends_when_asked_again,
    glide_steps,
    program,
    strands_reserved,
)
from sim.score.tree import acts, outputs_held

__all__ = ["CompileError", "CompiledBoard", "CompiledShow", "compile_show", "faults"]


@dataclass(frozen=True, slots=True)
class CompiledBoard:
    """One board's table, and where each of its bytes comes from."""

    board: Board
    chip: Chip
    table: Table
    encoded: Encoded
    cues: tuple[Cue, ...]
    """In the order of the table."""
    outputs: tuple[Output, ...]
    marks: tuple[tuple[int, int], ...]
    """Offset of each op that a statement asked for, with the statement's mark."""

    @property
    def name(self) -> str:
        return self.board.name

    @property
    def data(self) -> bytes:
        return self.encoded.data

    @property
    def fits(self) -> bool:
        """Whether the table fits one of the board's slots."""
        return len(self.data) <= self.chip.slot_bytes

    @property
    def can_merge(self) -> bool:
        """Whether the table fits behind the firmware, in program memory."""
        return len(self.data) <= self.chip.memory.merged_room(boot_loader=False)


@dataclass(frozen=True, slots=True)
class CompiledShow:
    """The tables of a show, in ascending address."""

    show: Show
    boards: tuple[CompiledBoard, ...]
    number: int
    """The number that all tables of the show share."""

    @property
    def digest(self) -> str:
        """SHA-256 over all tables, in hexadecimal."""
        return sha256(b"".join(board.data for board in self.boards)).hexdigest()


def compile_show(show: Show) -> CompiledShow:
    """The byte table of every board of the show.

    Raises CompileError where the show does not fit: the first of `faults`.
    """
    limits = motion_limits(show)
    boards = sorted(show.rig.boards, key=lambda board: board.address)
    drafts = [_draft(show, board, limits) for board in boards]
    number = show_number([draft.table for draft in drafts])
    return CompiledShow(show, tuple(_numbered(draft, number) for draft in drafts), number)


def faults(show: Show) -> Iterator[CompileError]:
    """What keeps each board's table from being made: at most one fault a board."""
    limits = motion_limits(show)
    for board in sorted(show.rig.boards, key=lambda board: board.address):
        try:
            _draft(show, board, limits)
        except CompileError as error:
            yield error


class TableTooLargeError(CompileError):
    """Code that no memory of the board holds. `cues`: bytes of each cue, by name."""

    def __init__(
        self, board: Board, asked: int, limit: int, cues: tuple[tuple[str, int], ...]
    ) -> None:
        super().__init__(
            "table-too-large",
            f"the cues of board `{board.name}` take {asked} bytes, and its program memory has room "
            f"for {limit}",
            board.mark,
            part="name",
            asked=asked,
            limit=limit,
            unit="bytes",
        )
        self.cues = cues
        self.surplus = asked - limit


@dataclass(frozen=True, slots=True)
class _Draft:
    board: Board
    chip: Chip
    table: Table
    cues: tuple[Cue, ...]
    outputs: tuple[Output, ...]
    marks: tuple[tuple[int, ...], ...]
    """The mark of each op of each thread."""


def _binding_records(
    score: Score, chip: Chip, indices: Mapping[str, int]
) -> tuple[BindingRecord, ...]:
    """Of the cues that a board has, the presses that its chip tells apart."""
    return tuple(
        BindingRecord(
            *(one.button, indices[one.cue], one.while_held, one.kind, one.manner),
            ends=ends_when_asked_again(score, one),
        )
        for one in score.bindings
        if one.cue in indices and (one.is_plain or chip.senses)
    )


def _all_senses(
    show: Show, board: Board, limits: dict[str, tuple[int, int]], indices: Mapping[str, int]
) -> tuple[SenseRecord, ...]:
    watched = watch_records(show, board, indices.get(show.score.low_cue or ""))
    scales = scale_records(show, board, indices)
    return sense_records(show, board, limits) + watched + scales


def _draft(show: Show, board: Board, limits: dict[str, tuple[int, int]]) -> _Draft:
    outputs = tuple(one for one in show.rig.outputs if one.board == board.name)
    cues = cues_on(show, board.name)
    names = {output.name: number for number, output in enumerate(outputs)}
    statements = [act for cue in cues for act in acts(cue.body) if act.output in names]
    _check_counts(board, outputs, cues)
    palette, laws = Palette(), LawBook(statements)
    records = tuple(output_record(one, limits.get(one.name, (1, 1)), palette) for one in outputs)
    coder = Coder(names, [kind_of(record) for record in records], laws, palette)
    try:
        threads, cue_records = _code(board, cues, names, coder, show.score.idle)
    except CompileError:
        raise
    except (StructError, ValueError) as error:
        raise _unfit(board, error) from None
    chip, role = CHIPS[board.chip], _role(show, board)
    if role == LEADS:
        cue_records = _claiming(show, board, cues, cue_records)
    ops = tuple(tuple(one.op for one in thread) for thread in threads)
    _check_size(board, chip, cues, cue_records, ops, coder.kinds)
    if role == ALONE and not chip.senses:
        _check_senses(show, board, chip, cues)
    score = show.score
    indices = {cue.name: number for number, cue in enumerate(cues)}
    table = Table(
        chip=chip.chip_id,
        address=board.address,
        outputs=records,
        colours=palette.colours,
        laws=laws.records,
        inputs=input_records(show.rig.inputs, board),
        bindings=_binding_records(score, chip, indices),
        cues=cue_records,
        threads=ops,
        glide=glide_steps(score),
        lost=indices.get(score.lost_cue or ""),
        lost_time=_lost_time(score),
        stop_button=score.stop_button or 0,
        stop_time=_stop_time(score),
        enable_interval=ENABLE_INTERVAL_FRAMES,
        role=role,
        senses=_all_senses(show, board, limits, indices) if chip.senses else (),
    )
    _encoded(table, board)
    marks = tuple(tuple(one.mark for one in thread) for thread in threads)
    return _Draft(board, chip, table, cues, outputs, marks)


def _check_senses(show: Show, board: Board, chip: Chip, cues: Sequence[Cue]) -> None:
    """Raises CompileError for a board that is to know more of buttons than its chip can."""
    names = {cue.name for cue in cues}
    used = {one.button for one in show.score.bindings if one.cue in names}
    beyond = [one for one in show.score.bindings if one.button in used and not one.is_plain]
    slow = [i for i in show.rig.inputs if i.board == board.name and i.settle_ms > SETTLE_MS]
    received = [one for one in show.rig.channels if one.board == board.name]
    felt = [one for one in show.rig.sensors if one.board == board.name]
    marks = [one.mark for one in beyond]
    marks += [one.mark for one in slow]
    marks += [one.mark for one in received]
    marks += [one.mark for one in felt]
    marks += [] if board.watch is None else [board.watch.mark]
    for mark in marks:
        raise CompileError(
            "press-beyond-chip",
            f"board `{board.name}` is to know this of a button, and the {chip.title} cannot",
            mark,
        )


def _role(show: Show, board: Board) -> int:
    """Raises CompileError for a board that is to lead and has a chip that cannot."""
    if show.rig.leader is None:
        return ALONE
    if not board.leads:
        if not CHIPS[board.chip].follows:
            raise CompileError(
                "cannot-follow",
                f"board `{board.name}` is to follow, and the {CHIPS[board.chip].title} cannot",
                board.mark,
                part="chip",
            )
        return FOLLOWS
    if not CHIPS[board.chip].leads:
        raise CompileError(
            "cannot-lead",
            f"board `{board.name}` is to lead, and the {CHIPS[board.chip].title} cannot",
            board.mark,
            part="leads",
        )
    return LEADS


def _claiming(
    show: Show, board: Board, cues: Sequence[Cue], records: Sequence[CueRecord]
) -> tuple[CueRecord, ...]:
    """The records with what each cue holds on other boards."""
    groups = claims(show)
    if len(groups) > CLAIMS:
        raise too_many_claims(board, groups)
    placed: list[CueRecord] = []
    for cue, record in zip(cues, records, strict=True):
        held = outputs_held(show.score, cue)
        mask = sum(1 << number for number, names in enumerate(groups) if names & held)
        placed.append(replace(record, claims=mask))
    return tuple(placed)


def too_many_claims(board: Board, groups: Sequence[frozenset[str]]) -> CompileError:
    """What is wrong with a show whose cues share outputs in more ways than a board keeps apart."""
    return CompileError(
        "too-many-claims",
        f"the cues of the show hold the outputs of the other boards in {len(groups)} different "
        f"ways, and board `{board.name}`, which leads, keeps {CLAIMS} apart",
        board.mark,
        part="leads",
        asked=len(groups),
        limit=CLAIMS,
        unit="claims",
    )


def _check_size(
    board: Board,
    chip: Chip,
    cues: Sequence[Cue],
    records: Sequence[CueRecord],
    threads: Sequence[TableThread],
    kinds: Sequence[int],
) -> None:
    """No table is made of code that no memory of the chip holds."""
    sizes = thread_sizes(threads, kinds)
    room = chip.memory.merged_room(boot_loader=False)
    if sum(sizes) > room:
        names = [cue.name for cue in cues]
        by_cue = cue_sizes(names, [one.start for one in records], threads, sizes)
        raise TableTooLargeError(board, sum(sizes), room, by_cue)


def _check_counts(board: Board, outputs: Sequence[Output], cues: Sequence[Cue]) -> None:
    counts = (("outputs", outputs, OUTPUTS), ("cues", cues, CUES))
    for what, found, limit in counts:
        if len(found) > limit:
            raise CompileError(
                f"too-many-{what}",
                f"board `{board.name}` has {len(found)} {what}, and a table holds {limit}",
                found[limit].mark,
                part="name",
                asked=len(found),
                limit=limit,
                unit=what,
            )


def _code(
    board: Board,
    cues: Sequence[Cue],
    names: dict[str, int],
    coder: Coder,
    idle: Sequence[str],
) -> tuple[list[tuple[Marked, ...]], tuple[CueRecord, ...]]:
    """All threads, parents before what they fork, and the cues that start them."""
    rows: list[tuple[Marked, ...]] = []
    records: list[CueRecord] = []
    for cue in cues:
        try:
            planned = program(cue, names)
        except ThreadError as error:
            raise CompileError("threads", str(error), error.mark) from None
        room = THREADS - (0 if cue.name in idle else strands_reserved(cues, names, idle))
        if planned.reserved > room:
            raise CompileError(
                "too-many-threads",
                f"cue `{cue.name}` needs {planned.reserved} threads on board `{board.name}`, "
                f"and a board has {room} left",
                cue.mark,
                part="name",
                asked=planned.reserved,
                limit=room,
                unit="threads",
            )
        start = len(rows)
        for thread in planned.threads:
            rows.append(_shifted(coder.thread(thread, cue), start))
        demand_shallow(rows[start:], start, cue)
        used = {
            one.op.output
            for row in rows[start:]
            for one in row
            if isinstance(one.op, ActOp | Turn | Modulate)
        }
        records.append(
            CueRecord(
                cue_tag(cue.name),
                sum(1 << output for output in used),
                CONFLICTS.index(cue.conflict),
                planned.reserved,
                start,
                strand=cue.name in idle,
            )
        )
    threads, instead = share_threads(rows, coder.kinds)
    placed = (replace(one, start=instead[one.start]) for one in records)
    return threads, _with_parts(cues, tuple(placed))


def _with_parts(cues: Sequence[Cue], records: Sequence[CueRecord]) -> tuple[CueRecord, ...]:
    """A cue holds the outputs of its part for letting go as well, and has threads for both."""
    found: list[CueRecord] = []
    for cue, record in zip(reversed(cues), reversed(records), strict=True):
        if cue.let_go is not None:
            part = found[-1]
            outputs, threads = record.outputs | part.outputs, max(record.threads, part.threads)
            record = replace(record, outputs=outputs, threads=threads, lets_go=True)
        found.append(record)
    return tuple(found[::-1])


def _shifted(row: tuple[Marked, ...], by: int) -> tuple[Marked, ...]:
    places = range(by, by + 1 + max((max(pointed_to(one.op), default=0) for one in row), default=0))
    return tuple(Marked(pointed_anew(one.op, places), one.mark) for one in row)


def _lost_time(score: Score) -> int:
    if score.lost_ms is None or score.lost_cue is None:
        return 0
    steps = ceil(score.lost_ms / LOST_STEP_MS)
    if steps > BYTE_MAX:
        raise CompileError(
            "lost-time-too-long",
            f"the remote counts as lost after {score.lost_ms / 1000:g} s, and a board can wait "
            f"{LONGEST_SILENCE_MS / 1000:g} s",
            NO_MARK,
            asked=score.lost_ms,
            limit=LONGEST_SILENCE_MS,
            unit="ms",
        )
    return max(1, steps)


def _stop_time(score: Score) -> int:
    steps = max(1, round(score.stop_ms / STOP_STEP_MS))
    if steps > BYTE_MAX:
        raise CompileError(
            "stop-too-long",
            f"the stop takes {score.stop_ms / 1000:g} s, and a board's stop takes "
            f"{LONGEST_STOP_MS / 1000:g} s at most",
            NO_MARK,
            asked=score.stop_ms,
            limit=LONGEST_STOP_MS,
            unit="ms",
        )
    return steps


def _numbered(draft: _Draft, number: int) -> CompiledBoard:
    table = replace(draft.table, show=number)
    encoded = _encoded(table, draft.board)
    marks = tuple(
        (place, mark)
        for places, row in zip(encoded.places, draft.marks, strict=True)
        for place, mark in zip(places, row, strict=False)
        if mark != NO_MARK
    )
    return CompiledBoard(draft.board, draft.chip, table, encoded, draft.cues, draft.outputs, marks)


def _encoded(table: Table, board: Board) -> Encoded:
    try:
        return encode_with_places(table)
    except TableError as error:
        raise _unfit(board, error) from None


def _unfit(board: Board, error: Exception) -> CompileError:
    """What the checks of the show should have found; the last line of defence."""
    return CompileError(
        "table", f"the table of board `{board.name}` would be refused: {error}", board.mark
    )
