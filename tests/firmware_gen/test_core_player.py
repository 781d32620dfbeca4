"""The firmware's core, compiled for this machine, plays as the reference player does."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from firmware_gen.player.player import Player
from firmware_gen.table.ops import ActOp, Delay, Turn
from tests.firmware_gen.host.core import CorePlayer, available
from tests.firmware_gen.make_vectors import STRETCH
from tests.firmware_gen.requests import replaying
from tests.firmware_gen.tables_by_hand import JAW, LAMP, SWITCH, servo, table, triggers

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

VECTORS = Path(__file__).parent / "vectors"


def cases(name: str) -> list[Any]:
    found = json.loads((VECTORS / f"{name}.json").read_text("ascii"))
    return [pytest.param(case, id=case["title"]) for case in found]


@pytest.mark.parametrize("case", cases("rules") + cases("by_hand") + cases("random"))
def test_the_core_shows_the_outputs_of_the_shared_vectors(case: dict[str, Any]) -> None:
    follower = CorePlayer(bytes.fromhex(case["table"]))
    raws = list(replaying(follower, map(tuple, case["requests"]), case["frames"]))
    shown = dict(case["shown"])
    assert {number: raws[number].hex() for number in shown} == shown
    digests = [
        sha256(b"".join(raws[start : start + STRETCH])).hexdigest()[:16]
        for start in range(0, len(raws), STRETCH)
    ]
    assert digests == case["digests"]
    assert follower.end(case["end"]) == case["end"]


SECOND = 50  # frames


@pytest.mark.parametrize("clock", [0, -(2**24), 2**32 - 2**23])
def test_moves_waits_and_fades_longer_than_three_bytes_of_time_end_when_they_should(
    clock: int,
) -> None:
    """Three bytes of 1/256 ms are 65.536 s. A board keeps no more of when threads go on."""
    slow = servo(JAW.pin, speed=1)  # 1 deg/s: there and back takes minutes
    show = table(
        (slow, LAMP, SWITCH),
        (
            (ActOp(0, 8000, 100), ActOp(0, 2000, 100), Turn(2, True)),
            (
                ActOp(1, 200, 65_000, True),
                ActOp(1, 0, 1000),
                Delay(65_000),
                Delay(64_990),
                Turn(2, False),
            ),
            (ActOp(1, 100, 65_000), Delay(64_999), ActOp(1, 200, 65_000)),
        ),
        uses=(5, 6, 2),
    )
    requests = triggers((4, 1), (8000, 2), (8000 + 250 * SECOND, 3))
    frames = 8000 + 320 * SECOND
    wanted = replaying(Player(show), requests, frames)
    follower = CorePlayer(show, clock)
    turned = []
    for number, (one, other) in enumerate(
        zip(wanted, replaying(follower, requests, frames), strict=True)  # type: ignore[arg-type]
    ):
        assert one.raw == other, f"frame {number}"
        if not turned or turned[-1][1] != one.switches:
            turned.append((number, one.switches))
    on, off = (number for number, _ in turned[1:])
    assert on > 66 * SECOND
    assert abs(off - 8000 - 195 * SECOND) <= 2
