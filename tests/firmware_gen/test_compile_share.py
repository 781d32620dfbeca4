"""Shared threads do what the long ones did, in fewer bytes, and always point forward."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

from hypothesis import given, settings

from firmware_gen.compiler.code import Marked
from firmware_gen.compiler.sharing import share_threads
from firmware_gen.table.code_bytes import code_bytes
from firmware_gen.table.layout import LAMP, SERVO
from firmware_gen.table.ops import (
    ActOp,
    CallTo,
    ChooseTo,
    Delay,
    ForkTo,
    GoOnTo,
    Loop,
    LoopBack,
    Pointer,
    TableOp,
    called_threads,
)
from firmware_gen.table.sweep import Facts, OutputFacts, Sweep
from sim.rulebook import CALL_DEPTH
from tests.firmware_gen.random_tables import dices

KINDS = (1, 2)
A, B, C, D = (ActOp(n % 2, 50 * n, 300 + n, True) for n in range(4))


def shared(*rows: Sequence[TableOp]) -> tuple[list[tuple[TableOp, ...]], list[int]]:
    threads, instead = share_threads([[Marked(op) for op in row] for row in rows], KINDS)
    return [tuple(one.op for one in row) for row in threads], instead


def unrolled(threads: Sequence[Sequence[TableOp]], start: int) -> list[object]:
    """What a thread does, forks and go-ons followed."""
    done: list[object] = []
    for op in threads[start]:
        if isinstance(op, GoOnTo):
            return done + unrolled(threads, op.thread)
        if isinstance(op, CallTo):
            done += unrolled(threads, op.thread)
            continue
        if isinstance(op, ChooseTo):
            done.append([op.key, *(unrolled(threads, thread) for thread in op.threads)])
            continue
        done.append(unrolled(threads, op.thread) if isinstance(op, ForkTo) else op)
    return done


def test_a_common_end_is_written_once() -> None:
    threads, instead = shared([A, B, C], [D, B, C])
    assert threads == [(A, GoOnTo(2)), (D, GoOnTo(2)), (B, C)]
    assert instead == [0, 1]


def test_an_end_that_is_a_thread_already_stands_for_itself() -> None:
    threads, instead = shared([B, C], [D, B, C])
    assert threads == [(D, GoOnTo(1)), (B, C)]
    assert instead == [1, 0]


def test_ends_too_short_to_save_a_byte_stay() -> None:
    threads, _ = shared([A, Delay(30)], [B, Delay(30)])
    assert threads == [(A, Delay(30)), (B, Delay(30))]


def test_what_is_called_never_holds_half_a_loop() -> None:
    threads, _ = shared([A, Loop(3), B, C, LoopBack()], [Loop(2), D, B, C, LoopBack()])
    assert threads == [
        (A, Loop(3), CallTo(2), LoopBack()),
        (Loop(2), D, CallTo(2), LoopBack()),
        (B, C),
    ]


def test_what_occurs_twice_in_one_thread_is_called() -> None:
    threads, instead = shared([B, C, D, A, B, C, D, A, A])
    assert threads == [(CallTo(1), CallTo(1), A), (B, C, D, A)]
    assert instead == [0]


def test_a_cue_that_another_plays_is_called_where_it_stands() -> None:
    threads, instead = shared([A, B, C], [D, A, B, C, D])
    assert threads == [(D, CallTo(1), D), (A, B, C)]
    assert instead == [1, 0]


def test_calls_nest_no_deeper_than_a_board_keeps() -> None:
    def doubled(row: list[TableOp], times: int) -> list[TableOp]:
        for _ in range(times):
            row = [*row, *row, A]
        return row

    row = doubled([A, B, C, D], 8)
    threads, instead = shared(row)
    assert unrolled(threads, instead[0]) == row
    assert max(one.calls for one in called_threads(threads)) == CALL_DEPTH
    assert len(code_bytes(threads, KINDS, 0)[0]) < len(row) // 4


def test_a_loop_that_occurs_twice_is_called_as_a_whole() -> None:
    loop = [Loop(3), B, C, LoopBack()]
    threads, _ = shared([A, *loop, D, *loop, A])
    assert threads == [(A, CallTo(1), D, CallTo(1), A), tuple(loop)]


def test_forks_to_threads_that_are_alike_go_to_one() -> None:
    threads, instead = shared([ForkTo(1), A], [B, C, D], [ForkTo(3), D], [B, C, D])
    assert len(threads) == 3
    assert threads[instead[0]][0] == threads[instead[2]][0] == ForkTo(instead[1])


@given(dices())
@settings(max_examples=200)
def test_random_threads_do_the_same_in_no_more_bytes(dice: Random) -> None:
    count = dice.randint(1, 7)
    rows: list[list[TableOp]] = []
    for number in range(count):
        row: list[TableOp] = [
            dice.choice((A, B, C, D, Delay(20))) for _ in range(dice.randint(0, 7))
        ]
        if number + 1 < count and dice.random() < 0.5:
            row.insert(dice.randint(0, len(row)), ForkTo(dice.randrange(number + 1, count)))
        if dice.random() < 0.3:
            row = [*row, Loop(2), dice.choice((A, B)), LoopBack()]
        rows.append(row)
    threads, instead = shared(*rows)
    for number in range(count):
        assert unrolled(threads, instead[number]) == unrolled(rows, number)
    for number, thread in enumerate(threads):
        assert all(op.thread > number for op in thread if isinstance(op, Pointer))
    assert len(code_bytes(threads, KINDS, 0)[0]) <= len(code_bytes(rows, KINDS, 0)[0])


@given(dices())
@settings(max_examples=200)
def test_what_is_chosen_is_a_thread_that_can_be_called(dice: Random) -> None:
    """Beside rows that share a lot: the first ones choose, within one another, from the last."""

    def some() -> list[TableOp]:
        return [dice.choice((A, B, C, D, Delay(20))) for _ in range(dice.randint(1, 7))]

    def chosen() -> list[TableOp]:
        loop: list[TableOp] = [Loop(2), *some(), LoopBack()]
        return [*some(), *(loop if dice.random() < 0.5 else []), *some()]

    inner = [*some(), ChooseTo(7, (4, 5)), *some()]
    if dice.random() < 0.3:
        inner = [ChooseTo(7, (4, 5))]
    first: list[TableOp] = [*some(), ChooseTo(3, (2, 3)), *some(), Loop(2), *some(), LoopBack()]
    rows = [first, [Loop(3), *first, LoopBack()], inner, chosen(), chosen(), chosen()]
    threads, instead = shared(*rows)
    for number in range(len(rows)):
        assert unrolled(threads, instead[number]) == unrolled(rows, number)
    code, _ = code_bytes(threads, KINDS, 0)
    facts = Facts((OutputFacts(SERVO, (0, 9000)), OutputFacts(LAMP)), 0, 1)
    assert Sweep(code, 0, len(code), facts).threads()[0] == tuple(threads)
    assert max(one.calls for one in called_threads(threads)) <= CALL_DEPTH
