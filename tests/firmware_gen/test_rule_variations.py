"""Each rule of TABLE.md, changed in the second player, is noticed by a shared vector."""

from __future__ import annotations

from pathlib import Path

import pytest

import firmware_gen
from tests.firmware_gen.find_vectors import SOURCE
from tests.firmware_gen.rule_variations import Variation, read
from tests.firmware_gen.vector_files import PLAYED, first_difference, held

PAGE = (Path(firmware_gen.__file__).parent / "TABLE.md").read_text(encoding="utf-8")
CASES = {case["title"]: case for name in PLAYED for case in held(name)}
CHANGED = read("player")


@pytest.mark.parametrize("variation", [pytest.param(one, id=one.name) for one in CHANGED])
def test_a_changed_rule_is_noticed(variation: Variation) -> None:
    case = CASES[variation.noticed_by]
    player = variation.apply(SOURCE)["SecondPlayer"](bytes.fromhex(case["table"]))
    assert first_difference(player, case) is not None


def test_each_title_and_each_name_stands_once() -> None:
    assert len(CASES) == sum(len(held(name)) for name in PLAYED)
    assert len({one.name for one in CHANGED}) == len(CHANGED)


def test_the_changed_rules_are_those_of_the_page() -> None:
    words = " ".join(PAGE.split())
    assert [one.says for one in CHANGED if one.says not in words] == []
