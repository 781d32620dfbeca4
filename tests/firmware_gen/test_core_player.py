"""The firmware's core, compiled for this machine, plays as the reference player does."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from tests.firmware_gen.host.core import Follower, available
from tests.firmware_gen.make_vectors import STRETCH
from tests.firmware_gen.requests import replaying

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

VECTORS = Path(__file__).parent / "vectors"


def cases(name: str) -> list[Any]:
    found = json.loads((VECTORS / f"{name}.json").read_text("ascii"))
    return [pytest.param(case, id=case["title"]) for case in found]


@pytest.mark.parametrize("case", cases("by_hand") + cases("random"))
def test_the_core_shows_the_outputs_of_the_shared_vectors(case: dict[str, Any]) -> None:
    follower = Follower(bytes.fromhex(case["table"]))
    raws = list(replaying(follower, map(tuple, case["requests"]), case["frames"]))
    shown = dict(case["shown"])
    assert {number: raws[number].hex() for number in shown} == shown
    digests = [
        sha256(b"".join(raws[start : start + STRETCH])).hexdigest()[:16]
        for start in range(0, len(raws), STRETCH)
    ]
    assert digests == case["digests"]
    assert follower.end(case["end"]) == case["end"]
