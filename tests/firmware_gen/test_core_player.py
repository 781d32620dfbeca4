"""The firmware's core, compiled for this machine, plays as the reference player does."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.player.player import Player
from firmware_gen.table.laws import law_of
from firmware_gen.table.ops import ActOp, Delay, Turn
from firmware_gen.table.records import LawRecord, ServoRecord
from sim.rehearsal.takeover import least_time
from sim.rulebook import ANGLE_BITS, CLOCK_PER_MS, FRAME_MS
from sim.score.law_numbers import law_numbers
from tests.firmware_gen.host.core import CorePlayer, available
from tests.firmware_gen.make_vectors import STRETCH
from tests.firmware_gen.requests import replaying
from tests.firmware_gen.tables_by_hand import ALL_LAWS, JAW, LAMP, SWITCH, servo, table, triggers

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


@given(
    speed=st.integers(30, 1500),
    acceleration=st.integers(200, 30_000),
    law=st.integers(0, len(ALL_LAWS) - 1),
    first=st.integers(300, 8000),
    second=st.integers(300, 8000),
    spare=st.floats(-0.05, 0.15) | st.floats(0, 1),
    part=st.floats(0, 1.2),
)
@settings(max_examples=150, deadline=None)
def test_a_move_with_hardly_any_time_to_spare_is_as_long_as_the_page_says(
    speed: int,
    acceleration: int,
    law: int,
    first: int,
    second: int,
    spare: float,
    part: float,
) -> None:
    """A board works out the least time only where a duration is not surely longer.

    The second move begins after a part of the first, or after it. If it goes on ahead it takes up
    to twice the time that its speed asks for.
    """
    moved = servo(JAW.pin, 2000, speed, acceleration)
    ways = abs(first - moved.safe), abs(second - first)
    durations = [_least_ms(moved, ALL_LAWS[law], way) * (1 + spare) for way in ways]
    one, other = (min(max(round(duration), 1), 65_000) for duration in durations)
    show = table((moved,), ((ActOp(0, first, one, law=law),), (ActOp(0, second, other, law=law),)))
    turn = 5 + min(round(part * one / FRAME_MS), 100)
    requests = triggers((4, 1), (turn, 2))
    frames = turn + min(round(2 * other / FRAME_MS), 100) + 3
    wanted = replaying(Player(show), requests, frames)
    shown = replaying(CorePlayer(show), requests, frames)  # type: ignore[arg-type]
    for number, (reference, raw) in enumerate(zip(wanted, shown, strict=True)):
        assert reference.raw == raw, f"frame {number}"


def _least_ms(moved: ServoRecord, law: LawRecord, angle: int) -> float:
    """What the limits of speed and acceleration ask for (TABLE.md 3.2, step 3)."""
    way, figures = angle << ANGLE_BITS, law_numbers(law_of(law))
    by_speed = figures.cv * way * 5 / (8 * moved.speed_limit << 15)
    return max(by_speed, least_time(moved.acceleration_limit, way, figures.ca)) / CLOCK_PER_MS


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
