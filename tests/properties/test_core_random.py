"""Random tables, requests and bytes: the core does what the Python reference does, to the bit."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from firmware_gen.crc import crc16
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.laws import law_by_id
from firmware_gen.table.layout import TableError
from firmware_gen.table.records import Table
from sim.rulebook import ALPHA_RANGE, BETA_RANGE, PEAK_MIDDLE, PEAK_RANGE
from sim.score.fixed_laws import progress
from tests.firmware_gen.host.core import CorePlayer, available, law_numbers, library
from tests.firmware_gen.random_tables import dices, random_requests, tables
from tests.firmware_gen.requests import replaying

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")


def refusal_of(data: bytes) -> int:
    try:
        decode(data)
    except TableError as error:
        return error.code
    return 0


def play_both(table: Table, dice: Random, frames: int, clock: int = 0) -> int:
    """Reference and core through the same requests, every frame alike; the frames compared."""
    requests = random_requests(dice, table, frames)
    player, follower = Player(table), CorePlayer(table, clock)
    wanted = replaying(player, requests, frames)
    found = replaying(follower, requests, frames)  # type: ignore[arg-type]
    for number, (one, other) in enumerate(zip(wanted, found, strict=True)):
        assert one.raw == other, f"frame {number}"
    reference = [
        int(player.mode),
        player.live_runs,
        player.running_cues,
        player.refused,
        player.overruns,
    ]
    assert follower.end(reference) == reference
    return number + 1


@given(tables(), dices())
@settings(max_examples=150)
def test_core_and_reference_give_the_same_outputs_frame_by_frame(
    table: Table, dice: Random
) -> None:
    assert play_both(table, dice, 250) == 250


@given(tables(), dices(), st.integers(1, 2**22))
@settings(max_examples=60)
def test_nothing_happens_when_the_players_time_wraps(
    table: Table, dice: Random, before: int
) -> None:
    assert play_both(table, dice, 250, -before) == 250


@pytest.mark.long
@given(tables(), dices())
@settings(max_examples=3000)
def test_many_more_random_tables_play_alike(table: Table, dice: Random) -> None:
    assert play_both(table, dice, 600, dice.randrange(2**32)) == 600


def spoilt(data: bytes, dice: Random) -> bytes:
    """The bytes with a few changes, mostly with a check sum that matches."""
    spoilt = bytearray(data)
    for _ in range(dice.choice((1, 1, 1, 2, 3, 8))):
        at = dice.randrange(len(spoilt))
        spoilt[at] = dice.choice(
            (0, 1, 255, 0x80, dice.randrange(256), spoilt[at] ^ 1 << dice.randrange(8))
        )
    if dice.random() < 0.2:
        cut = dice.randrange(len(spoilt))
        spoilt[cut : cut + dice.randint(1, 4)] = dice.randbytes(dice.choice((0, 0, 1, 5)))
    if dice.random() < 0.8 and len(spoilt) > 4:
        spoilt[2:4] = len(spoilt).to_bytes(2, "little")
    if dice.random() < 0.97:
        spoilt[-2:] = crc16(bytes(spoilt[:-2])).to_bytes(2, "little")
    return bytes(spoilt)


@given(tables(), dices())
@settings(max_examples=150)
def test_core_and_reference_refuse_a_spoilt_table_for_the_same_reason(
    table: Table, dice: Random
) -> None:
    data = encode(table)
    check = library().host_check
    for _ in range(40):
        changed = spoilt(data, dice)
        assert check(changed, len(changed)) == refusal_of(changed), changed.hex()


@given(tables(), dices())
@settings(max_examples=40)
def test_a_spoilt_table_that_is_accepted_plays_alike_in_both(table: Table, dice: Random) -> None:
    data = encode(table)
    for _ in range(12):
        changed = spoilt(data, dice)
        if refusal_of(changed) == 0:
            assert play_both(decode(changed), dice, 60) == 60


@given(st.binary(max_size=300))
@settings(max_examples=300)
def test_arbitrary_bytes_are_refused_for_the_same_reason(data: bytes) -> None:
    assert library().host_check(data, len(data)) == refusal_of(data)


@st.composite
def laws(draw: st.DrawFn) -> tuple[int, int, int, int]:
    law_id = draw(st.integers(0, 9))
    alpha = draw(st.integers(*ALPHA_RANGE)) if law_id in (2, 9) else 0
    beta = draw(st.integers(*BETA_RANGE)) if law_id == 9 else 0
    peak = draw(st.just(PEAK_MIDDLE) | st.integers(*PEAK_RANGE)) if law_id else PEAK_MIDDLE
    return law_id, alpha, beta, peak


@given(laws(), st.lists(st.integers(0, 65536), min_size=30, max_size=30))
@settings(max_examples=300)
def test_laws_are_the_same_to_the_bit(law: tuple[int, int, int, int], places: list[int]) -> None:
    lib, reference = library(), law_by_id(*law)
    for x in [0, 1, law[1], 32767, 32768, 32769, 65535, 65536, law[3], *places]:
        found = lib.host_law_position(*law, x), lib.host_law_slope(*law, x)
        assert found == reference.shape(x), x
    numbers = law_numbers(*law)
    assert numbers == [reference.cv, reference.ca, reference.overlap]


@given(st.integers(1, 2**31), st.integers(0, 2**31))
@settings(max_examples=500)
def test_progress_is_the_same_to_the_bit(total: int, elapsed: int) -> None:
    elapsed %= total + 1
    assert library().host_progress(elapsed, total) == progress(elapsed, total)


@given(st.integers(1, 2**31 - 1), st.integers(1, 2**31 - 1))
def test_progress_is_none_before_the_start_and_all_of_it_from_the_end_on(
    total: int, away: int
) -> None:
    assert library().host_progress(2**32 - away, total) == 0
    assert library().host_progress(min(total + away, 2**31), total) == 65536
    assert library().host_progress(away, 0) == 0


WORDS = st.one_of(st.integers(0, 2**32 - 1), st.integers(0, 2**10), st.just(2**32 - 1))


@given(WORDS, WORDS, WORDS)
@settings(max_examples=500)
@example(0, 5, 0)
@example(0, 5, 7)
def test_a_quotient_is_whole_or_all_ones(a: int, b: int, c: int) -> None:
    wanted = 0 if a == 0 else a * b // c if c else 2**32
    assert library().host_quotient(a, b, c) == min(wanted, 2**32 - 1)


@given(WORDS, st.integers(16, 30))
@settings(max_examples=500)
def test_a_root_is_the_greatest_whose_square_fits(value: int, bits: int) -> None:
    root = library().host_root(value, bits)
    assert root**2 <= value << (2 * bits - 32) < (root + 1) ** 2


@given(st.integers(-(2**31), 2**31 - 1), st.integers(0, 65536))
@settings(max_examples=500)
def test_a_share_of_a_number_is_rounded_down(value: int, share: int) -> None:
    assert library().host_scale(value, share) == (value * share) >> 16


@given(st.binary(max_size=100))
@settings(max_examples=100)
def test_check_sums_are_the_same(data: bytes) -> None:
    assert library().host_crc(data, len(data)) == crc16(data)


def test_a_listed_law_is_the_same_everywhere() -> None:
    lib = library()
    for law_id in range(9):
        law = (law_id, 20000 if law_id == 2 else 0, 0, PEAK_MIDDLE)
        reference = law_by_id(*law)
        for x in range(0, 65537, 7):
            assert lib.host_law_position(*law, x) == reference.position(x), (law_id, x)
