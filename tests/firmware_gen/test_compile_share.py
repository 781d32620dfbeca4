"""Shared threads do what the long ones did, in fewer bytes, and always point forward."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

from hypothesis import given, settings

from firmware_gen.compiler.code import Marked
from firmware_gen.compiler.sharing import share_threads
from firmware_gen.table.ops import Act, Delay, ForkTo, GoOn, Loop, LoopBack, Op, code_bytes
from tests.firmware_gen.random_tables import dices

KINDS = (1, 2)
A, B, C, D = (Act(n % 2, 50 * n, 300 + n, True) for n in range(4))


def shared(*rows: Sequence[Op]) -> tuple[list[tuple[Op, ...]], list[int]]:
    threads, instead = share_threads([[Marked(op) for op in row] for row in rows], KINDS)
    return [tuple(one.op for one in row) for row in threads], instead


def unrolled(threads: Sequence[Sequence[Op]], start: int) -> list[object]:
    """What a thread does, forks and go-ons followed."""
    done: list[object] = []
    for op in threads[start]:
        if isinstance(op, GoOn):
            return done + unrolled(threads, op.thread)
        done.append(unrolled(threads, op.thread) if isinstance(op, ForkTo) else op)
    return done


def test_a_common_end_is_written_once() -> None:
    threads, instead = shared([A, B, C], [D, B, C])
    assert threads == [(A, GoOn(2)), (D, GoOn(2)), (B, C)]
    assert instead == [0, 1]


def test_an_end_that_is_a_thread_already_stands_for_itself() -> None:
    threads, instead = shared([B, C], [D, B, C])
    assert threads == [(D, GoOn(1)), (B, C)]
    assert instead == [1, 0]


def test_ends_too_short_to_save_a_byte_stay() -> None:
    threads, _ = shared([A, Delay(30)], [B, Delay(30)])
    assert threads == [(A, Delay(30)), (B, Delay(30))]


def test_an_end_never_begins_inside_a_loop() -> None:
    loop = [Loop(3), B, C, LoopBack()]
    threads, _ = shared([A, *loop], [Loop(2), B, C, LoopBack()])
    assert threads == [(A, *loop), (Loop(2), B, C, LoopBack())]


def test_forks_to_threads_that_are_alike_go_to_one() -> None:
    threads, instead = shared([ForkTo(1), A], [B, C, D], [ForkTo(3), D], [B, C, D])
    assert len(threads) == 3
    assert threads[instead[0]][0] == threads[instead[2]][0] == ForkTo(instead[1])


@given(dices())
@settings(max_examples=200)
def test_random_threads_do_the_same_in_no_more_bytes(dice: Random) -> None:
    count = dice.randint(1, 7)
    rows: list[list[Op]] = []
    for number in range(count):
        row: list[Op] = [dice.choice((A, B, C, D, Delay(20))) for _ in range(dice.randint(0, 7))]
        if number + 1 < count and dice.random() < 0.5:
            row.insert(dice.randint(0, len(row)), ForkTo(dice.randrange(number + 1, count)))
        if dice.random() < 0.3:
            row = [*row, Loop(2), dice.choice((A, B)), LoopBack()]
        rows.append(row)
    threads, instead = shared(*rows)
    for number in range(count):
        assert unrolled(threads, instead[number]) == unrolled(rows, number)
    for number, thread in enumerate(threads):
        assert all(op.thread > number for op in thread if isinstance(op, ForkTo | GoOn))
    assert len(code_bytes(threads, KINDS, 0)[0]) <= len(code_bytes(rows, KINDS, 0)[0])
