"""A decoded table as the program that a scheduler plays (TABLE.md, sections 1.3 and 1.4).

Statements stay the table's own ops; outputs go by their numbers, cues by their tags.
"""

from __future__ import annotations

from typing import TypeAlias

from firmware_gen.table.layout import ALONE, CONFLICTS, LOOP_FOREVER, LOOP_HELD
from firmware_gen.table.ops import (
    ActOp,
    CallTo,
    ChooseTo,
    Delay,
    DrawnOp,
    ForkTo,
    GoOnTo,
    Loop,
    LoopBack,
    Modulate,
    TableOp,
    Turn,
)
from firmware_gen.table.records import (
    CueRecord,
    FollowRecord,
    LampRecord,
    OutputRecord,
    PatienceRecord,
    ScaleRecord,
    ServoRecord,
    Table,
)
from sim.rulebook import GLIDE_STEP_MS, LOST_STEP_FRAMES, OUTPUTS
from sim.score import program as form
from sim.score.program import BoardProgram, Patience, PlayedBinding, PlayedCue, PlayedScale

OutputOp: TypeAlias = ActOp | Turn | Modulate
"""What an op of a table does to an output."""


def board_program(table: Table) -> BoardProgram[OutputOp]:
    """What a board plays whose table this is."""
    threads = tuple(tuple(_op(op) for op in thread) for thread in table.threads)
    scales = {one.cue: one for one in table.senses if isinstance(one, ScaleRecord)}
    return BoardProgram(
        tuple(
            _cue(number, record, threads, scales.get(number))
            for number, record in enumerate(table.cues)
        ),
        tuple(
            PlayedBinding(one.button, one.cue, one.while_held, one.kind, one.manner, one.ends)
            for one in table.bindings
        ),
        glide_ms=GLIDE_STEP_MS * table.glide,
        lost=table.lost,
        lost_frames=LOST_STEP_FRAMES * table.lost_time,
        stop_button=table.stop_button,
        enable_interval=table.enable_interval,
        strands_in_step=table.role != ALONE,
        rests={
            one.output: ActOp(one.output, _rest(table.outputs[one.output]), 0)
            for one in table.senses
            if isinstance(one, FollowRecord)
        },
        patience={
            one.button: Patience(one.long_frames, one.twice)
            for one in reversed(table.senses)
            if isinstance(one, PatienceRecord)
        },
    )


def _rest(output: OutputRecord) -> int:
    assert isinstance(output, ServoRecord | LampRecord)
    return output.safe


def _cue(
    number: int,
    record: CueRecord,
    threads: tuple[form.Thread[OutputOp], ...],
    scale: ScaleRecord | None,
) -> PlayedCue[OutputOp]:
    claims = record.claims << OUTPUTS  # beside the outputs, as numbers that no output has
    taken = record.outputs | claims
    outputs = frozenset(n for n in range(taken.bit_length()) if taken >> n & 1)
    conflict = CONFLICTS[record.conflict]
    part = number + 1 if record.lets_go else None
    return PlayedCue(
        *(record.tag, outputs, threads, record.threads, conflict, record.start),
        let_go=part,
        strand=record.strand,
        scale=None if scale is None else _scale(scale),
    )


def _scale(one: ScaleRecord) -> PlayedScale:
    return PlayedScale(one.source, one.low, one.high, one.at_low, one.at_high, one.otherwise)


def _op(op: TableOp) -> form.Op[OutputOp]:
    match op:
        case ActOp():
            if not op.wait:
                return form.Do(op)
            one = op.drawn or DrawnOp()
            return form.Do(op, op.duration_ms, one.most_ms, one.time_key)
        case Turn() | Modulate():
            return form.Do(op)
        case Delay():
            return form.Wait(op.duration_ms, op.most_ms, op.key)
        case Loop():
            counted = op.times not in (LOOP_FOREVER, LOOP_HELD)
            return form.LoopStart(op.times if counted else None, op.times == LOOP_HELD)
        case LoopBack():
            return form.LoopEnd()
        case ForkTo():
            return form.Fork(op.thread)
        case GoOnTo():
            return form.GoOn(op.thread)
        case CallTo():
            return form.Call(op.thread)
        case ChooseTo():
            return form.Choose(op.key, op.threads)
