"""Sections 7 of TABLE.md and LINK.md are enough: boards written from them alone play as others."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest

from tests.firmware_gen import second_led
from tests.firmware_gen.led_vectors import (
    SCRIPTS,
    SECOND,
    all_cases,
    following_case,
    leading_case,
    leaves,
)
from tests.firmware_gen.vector_files import held

CASES = [pytest.param(case, id=case["title"]) for case in held("led")]


@pytest.mark.parametrize("case", CASES)
def test_the_second_boards_answer_the_vectors(case: dict[str, Any]) -> None:
    assert leaves(SECOND, case) is None


def test_the_vectors_of_led_boards_are_those_that_the_script_makes() -> None:
    assert held("led") == all_cases()


def test_the_second_led_boards_share_no_code_with_the_tool() -> None:
    source = Path(second_led.__file__).read_text(encoding="utf-8")
    modules = [
        node.module
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.ImportFrom) and node.module
    ]
    assert [name for name in modules if name.startswith(("firmware_gen", "sim", "seqlang"))] == []


@pytest.mark.parametrize("seed", range(1000, 1008))
def test_the_second_boards_agree_on_random_shows(seed: int) -> None:
    assert leaves(SECOND, leading_case(seed)) is None
    assert leaves(SECOND, following_case(seed, SCRIPTS[seed % len(SCRIPTS)])) is None


@pytest.mark.long
def test_the_second_boards_agree_on_many_random_shows() -> None:
    for seed in range(2000, 2400):
        assert leaves(SECOND, leading_case(seed)) is None, seed
        assert leaves(SECOND, following_case(seed, SCRIPTS[seed % len(SCRIPTS)])) is None, seed
