"""The reference player plays the shared vectors."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.layout import TableError
from tests.firmware_gen.make_vectors import STRETCH, by_hand_cases, refused_cases, rule_cases
from tests.firmware_gen.requests import replaying

FOLDER = Path(__file__).parent / "vectors"


def held(name: str) -> list[dict[str, Any]]:
    found = json.loads((FOLDER / f"{name}.json").read_text(encoding="ascii"))
    assert isinstance(found, list)
    return found


def params(name: str) -> list[Any]:
    return [pytest.param(case, id=case["title"]) for case in held(name)]


@pytest.mark.parametrize("case", params("rules") + params("by_hand") + params("random"))
def test_outputs_are_those_of_the_vectors(case: dict[str, Any]) -> None:
    player = Player(bytes.fromhex(case["table"]))
    requests = [tuple(request) for request in case["requests"]]
    raws = [frame.raw for frame in replaying(player, requests, case["frames"])]
    assert [raws[number].hex() for number, _ in case["shown"]] == [raw for _, raw in case["shown"]]
    digests = [
        sha256(b"".join(raws[start : start + STRETCH])).hexdigest()[:16]
        for start in range(0, len(raws), STRETCH)
    ]
    assert digests == case["digests"]
    end = [int(player.mode), player.live_runs, player.running_cues, player.refused, player.overruns]
    assert end == case["end"]


@pytest.mark.parametrize("case", params("refused"))
def test_refusals_are_those_of_the_vectors(case: dict[str, Any]) -> None:
    with pytest.raises(TableError) as caught:
        decode(bytes.fromhex(case["table"]))
    assert caught.value.code == case["code"]


def test_the_vectors_are_those_that_the_script_makes() -> None:
    assert held("rules") == rule_cases()
    assert held("by_hand") == by_hand_cases()
    assert held("refused") == refused_cases()


def test_the_cases_by_hand_reach_what_they_are_for() -> None:
    by_title = {case["title"]: case for case in held("by_hand")}
    assert by_title["more ops than a frame holds"]["end"][4] > 0
    assert by_title["threads run out"]["end"][3] > 0
    assert by_title["take, wait, refuse and idle"]["end"][3] > 0
