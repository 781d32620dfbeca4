"""Boards with senses: the reference, the core and the second player answer the shared vectors."""

from __future__ import annotations

from typing import Any

import pytest

from firmware_gen.table.decode import decode
from tests.firmware_gen.host.core import available
from tests.firmware_gen.senses_vectors import all_cases, leaves, second_leaves
from tests.firmware_gen.sensing_board import CoreSensingBoard
from tests.firmware_gen.vector_files import held

CASES = [pytest.param(case, id=case["title"]) for case in held("senses")]


def test_the_vectors_of_senses_are_those_that_the_script_makes() -> None:
    assert held("senses") == all_cases()


@pytest.mark.parametrize("case", CASES)
def test_the_second_player_answers_the_vectors_of_senses(case: dict[str, Any]) -> None:
    assert second_leaves(case) is None


@pytest.mark.skipif(not available(), reason="there is no C compiler")
@pytest.mark.parametrize("case", CASES)
def test_the_core_answers_the_vectors_of_senses(case: dict[str, Any]) -> None:
    table = decode(bytes.fromhex(case["table"]))
    assert leaves(CoreSensingBoard(table), case) is None
