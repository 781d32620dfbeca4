"""TABLE.md is enough: a player written from it alone plays as the others do."""

from __future__ import annotations

import ast
from pathlib import Path
from random import Random
from typing import Any

import pytest

from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode
from tests.firmware_gen import second_player
from tests.firmware_gen.random_tables import random_requests, random_table
from tests.firmware_gen.requests import replaying
from tests.firmware_gen.second_player import SecondPlayer
from tests.firmware_gen.vector_files import PLAYED, first_difference, held

CASES = [case for name in PLAYED for case in held(name)]


@pytest.mark.parametrize("case", [pytest.param(case, id=case["title"]) for case in CASES])
def test_the_second_player_shows_the_outputs_of_the_shared_vectors(case: dict[str, Any]) -> None:
    player = SecondPlayer(bytes.fromhex(case["table"]))
    assert first_difference(player, case) is None


def test_the_second_player_shares_no_code_with_the_tool() -> None:
    source = Path(second_player.__file__).read_text(encoding="utf-8")
    modules = [
        node.module if isinstance(node, ast.ImportFrom) else alias.name
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    ]
    assert set(modules) <= {
        "__future__",
        "collections.abc",
        "dataclasses",
        "functools",
        "math",
        "struct",
        "typing",
    }


def assert_agreement(seed: int, frames: int = 300) -> None:
    dice = Random(seed)
    table = random_table(dice)
    requests = random_requests(dice, table, frames)
    reference, second = Player(table), SecondPlayer(encode(table))
    asked: dict[int, list[tuple[str, int, int]]] = {}
    for frame, kind, a, b in requests:
        asked.setdefault(frame, []).append((kind, a, b))
    for number, one in enumerate(replaying(reference, requests, frames)):
        assert second.frame(asked.get(number, ())) == one.raw, f"seed {seed}, frame {number}"
    assert second.end_state() == [
        int(reference.mode),
        reference.live_runs,
        reference.running_cues,
        reference.refused,
        reference.overruns,
    ], f"seed {seed}"


def test_both_players_agree_on_random_tables() -> None:
    for seed in range(10_000, 10_060):
        assert_agreement(seed)


@pytest.mark.long
def test_both_players_agree_on_many_random_tables() -> None:
    for seed in range(20_000, 26_000):
        assert_agreement(seed)
