"""How much the core reads to check a table. Each op that it reads ends in a pause."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.link.protocol import ReportedMode
from firmware_gen.table.encode import encode
from firmware_gen.table.ops import CallTo, Delay
from firmware_gen.table.records import CueRecord, LampRecord, Table
from tests.firmware_gen.host.core import CORE, Core, available, library
from tests.firmware_gen.small_tables import GLOW

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

THREADS_AT_ONCE = int(
    re.findall(r"THREADS_AT_ONCE = (\d+)", (CORE / "bc_check.c").read_text("ascii"))[0]
)


def calling_table(order: Sequence[int], threads: int) -> bytes:
    """A cue that calls its threads, 1 to `threads`, in this order."""
    cue = (*(CallTo(thread) for thread in order), Delay(100))
    called = tuple((Delay(20 + 10 * (n % 60)),) for n in range(threads))
    return encode(
        Table(
            chip=ATMEGA328P.chip_id,
            address=1,
            outputs=(LampRecord(ATMEGA328P.pin("PD6"), 40),),
            cues=(CueRecord(GLOW, 1, 0, 1, 0),),
            threads=(cue, *called),
        )
    )


def pauses_to_start(table: bytes) -> int:
    core = Core()
    core.merged[: len(table)] = table
    library().host_pauses()
    core.start()
    assert core.mode == ReportedMode.STARTING
    return int(library().host_pauses())


def test_a_table_in_a_slot_is_read_a_few_times_though_its_calls_name_the_last_thread_first() -> (
    None
):
    table = calling_table(range(60, 0, -1), 60)
    ops = 60 + 2 + 2 * 60
    assert len(table) <= ATMEGA328P.slot_bytes
    assert pauses_to_start(table) < 4 * ops


@given(st.permutations(range(1, 41)))
def test_the_order_in_which_threads_are_called_costs_nothing(order: list[int]) -> None:
    assert pauses_to_start(calling_table(order, 40)) == pauses_to_start(
        calling_table(range(1, 41), 40)
    )


@pytest.mark.parametrize(
    "threads", [THREADS_AT_ONCE - 1, THREADS_AT_ONCE, THREADS_AT_ONCE + 1, 240, 500]
)
def test_a_large_table_is_read_once_for_some_threads_together(threads: int) -> None:
    table = calling_table(range(threads, 0, -1), threads)
    ops = threads + 2 + 2 * threads
    rounds = (threads + 1) // THREADS_AT_ONCE + 1
    assert pauses_to_start(table) < ops * (3 + rounds)
