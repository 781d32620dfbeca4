"""LINK.md is enough: a board's end written from it answers a link with faults as the others do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from tests.firmware_gen.host.core import available
from tests.firmware_gen.link_script import (
    Bench,
    CoreBench,
    ReferenceBench,
    SecondBench,
    cells_of,
    leaves_at,
)
from tests.firmware_gen.make_vectors import link_recorded
from tests.firmware_gen.vector_files import held

CASES = held("link")


def assert_answers_all(make: type[Bench], case: Mapping[str, Any]) -> None:
    bench = make(cells_of(case), bytes.fromhex(case["merged"]))  # type: ignore[call-arg]
    number = leaves_at(bench, case)
    assert number is None, (case["title"], number, case["steps"][number])


def test_the_second_board_answers_the_recorded_link() -> None:
    for case in CASES:
        assert_answers_all(SecondBench, case)


def test_the_reference_board_answers_the_recorded_link() -> None:
    for case in CASES:
        if not case["merged"]:
            assert_answers_all(ReferenceBench, case)


@pytest.mark.skipif(not available(), reason="there is no C compiler")
def test_the_core_answers_the_recorded_link() -> None:
    for case in CASES:
        assert_answers_all(CoreBench, case)


def test_the_recorded_link_is_what_the_script_makes() -> None:
    assert link_recorded() == CASES


def test_the_power_is_cut_at_every_write_of_a_transfer() -> None:
    cuts = [case for case in CASES if case["steps"][0][0] == "cuts"]
    assert len(cuts) == 4
    for case in cuts:
        _, rows, _, results = case["steps"][0]
        reached = [result[0] for result in results if result[2] < len(rows)]
        unreached = [result[0] for result in results if result[2] == len(rows)]
        assert max(reached) < min(unreached), "the last writes come after the last cut"
