"""Servos and lamps that follow a source (TABLE.md, section 10): by hand, and three players."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.link.protocol import ReportedMode
from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import LAW_IDS, LEADS
from firmware_gen.table.ops import ActOp, Delay, Loop, LoopBack
from firmware_gen.table.records import (
    ChannelRecord,
    CueRecord,
    FollowRecord,
    LampRecord,
    LawRecord,
    SensorRecord,
    ServoRecord,
    Table,
)
from sim.rulebook import CHANNEL_LOST_FRAMES, FRAME_MS
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.random_tables import dices, random_requests, random_table, with_presses
from tests.firmware_gen.second_presses import SecondPlayerWithSenses
from tests.firmware_gen.test_following import asked

NECK, EYE = range(2)
NOD, LOOK = 100, 101
TICKS_PER_DEG = 20
"""Of the neck: 3000 ticks at 0 deg."""
PLAY_DEG = 0.101
"""Two ticks of the stick, in the neck's angle, and half a tick of the neck's pulse."""
LEVEL_STEP = 900
"""Of a duty: the last half percent of lightness."""
GLIDE_FRAMES = 25
SPEED_DEG_S, ACCELERATION_DEG_S2 = 100, 400
FOLLOW = FollowRecord(
    *(NECK, 0, 2000, 4000, -4000, 4000),
    speed=SPEED_DEG_S,
    acceleration=ACCELERATION_DEG_S2,
)
GLOW = FollowRecord(EYE, 0, 2000, 4000, 0, 200, speed=512)
NECK_RECORD = ServoRecord(
    CHIP.pin("PA0"), (-6000, 6000), 200, 900, 1000, ((-6000, 1800), (6000, 4200))
)


def show(*follows: FollowRecord, idle: bool = False) -> Table:
    """A neck and an eye; `NOD` takes the neck to 30 deg, `LOOK` waits a second before it does.
    Idle: it wants the neck at -20 deg, or goes to and fro by 5 deg for ever."""
    cues = [CueRecord(NOD, 0b01, 0, 1, 0), CueRecord(LOOK, 0b01, 0, 1, 1)]
    nod = (ActOp(NECK, 3000, 500, True),)
    look = (Delay(1000), ActOp(NECK, 3000, 500, True), ActOp(EYE, 10, 0))
    sway = (Loop(0), ActOp(NECK, 1500, 800, True), ActOp(NECK, 500, 800, True), LoopBack())
    return Table(
        *(CHIP.chip_id, 1),
        outputs=(NECK_RECORD, LampRecord(CHIP.pin("PB4"), 20)),
        cues=(*cues, *([CueRecord(102, 0b11, 0, 1, 2, strand=True)] if idle else [])),
        threads=(nod, look, *([sway] if idle else [])),
        senses=(ChannelRecord(CHIP.pin("PL0")), *(follows or (FOLLOW, GLOW))),
        glide=GLIDE_FRAMES,
        enable_interval=1,
    )


def angles(player: Player, frames: int, ticks: int = 0) -> list[float]:
    """The neck's angle in deg, in so many frames with such pulses."""
    found = []
    for _ in range(frames):
        player.channel(0, ticks)
        found.append((player.frame().pulses[0] - 3000) / TICKS_PER_DEG)
    return found


def assert_gentle(row: Sequence[float], speed: float, acceleration: float) -> None:
    """No frame exceeds a speed (deg/s), nor two the acceleration (deg/s2), but by rounded ticks."""
    seconds, tick = FRAME_MS / 1000, 1 / TICKS_PER_DEG
    speeds = [(b - a) / seconds for a, b in pairwise(row)]
    assert max(map(abs, speeds)) <= speed + tick / seconds
    changes = [(b - a) / seconds for a, b in pairwise(speeds)]
    assert max(map(abs, changes)) <= acceleration + 2 * tick / seconds**2


def test_a_neck_goes_where_the_stick_stands_and_stays() -> None:
    player = Player(show())
    row = angles(player, 150, 4000)
    assert row[-1] == row[-10] == 40
    assert_gentle(row[2:], SPEED_DEG_S, ACCELERATION_DEG_S2)
    assert angles(player, 150, 3000)[-1] == pytest.approx(0, abs=PLAY_DEG)
    assert angles(player, 150, 4399)[-1] == 40  # beyond the end it stays


def test_a_neck_turns_round_in_mid_way_without_a_jump_and_never_goes_beyond() -> None:
    player = Player(show())
    row = angles(player, 100, 2000)
    assert row[-1] == -40
    row += angles(player, 12, 4000) + angles(player, 100, 2000) + angles(player, 9, 4000)
    row += angles(player, 100, 2200)
    assert_gentle(row[2:], SPEED_DEG_S, ACCELERATION_DEG_S2)
    assert min(row[2:]) >= -40
    assert row[-1] == pytest.approx(-32, abs=0.15)


def test_a_stick_that_trembles_moves_nothing() -> None:
    player = Player(show())
    angles(player, 150, 3100)
    assert len({angle for n in range(60) for angle in angles(player, 1, 3100 + n % 3 - 1)}) == 1


def test_a_cue_takes_a_neck_over_as_it_is_and_the_neck_goes_back_to_the_stick() -> None:
    player = Player(show())
    row = angles(player, 100, 2000) + angles(player, 14, 4000)
    at = row[-1]
    assert row[-1] - row[-2] > 1  # in full swing
    player.trigger(NOD)
    taken = angles(player, 40, 4000)
    assert abs(taken[0] - at) < 3
    assert_gentle([*row[-3:], *taken], 200, 900)
    assert 29.9 <= max(taken) <= 30.5
    back = angles(player, 120, 2000)
    assert_gentle([*taken[-3:], *back], SPEED_DEG_S, ACCELERATION_DEG_S2)
    assert back[-1] == pytest.approx(-40, abs=PLAY_DEG)


def test_a_cue_that_waits_at_first_holds_the_neck_where_its_brake_ends() -> None:
    player = Player(show())
    row = angles(player, 100, 2000) + angles(player, 14, 4000)
    player.trigger(LOOK)
    held = angles(player, 45, 4000)
    assert_gentle([*row[-3:], *held], SPEED_DEG_S, 900)
    assert len(set(held[12:])) == 1
    assert held[-1] < 30


def test_a_neck_whose_stick_is_lost_goes_gently_to_rest() -> None:
    player = Player(show())
    row = angles(player, 100, 2000)
    lost = angles(player, CHANNEL_LOST_FRAMES + GLIDE_FRAMES + 60)
    assert lost[CHANNEL_LOST_FRAMES - 2] == -40
    assert lost[-1] == 10
    assert_gentle([*row[-3:], *lost], 200, 900)
    found = angles(player, 200, 2000)
    assert found[-1] == -40
    assert_gentle([*lost[-3:], *found], SPEED_DEG_S, ACCELERATION_DEG_S2)


def test_a_neck_that_never_had_a_stick_is_at_rest_and_goes_back_there_after_a_cue() -> None:
    player = Player(show())
    assert set(angles(player, 50)[2:]) == {10}
    player.trigger(NOD)
    row = angles(player, 200)
    assert max(row) == 30
    assert row[-1] == 10


def test_a_neck_whose_stick_is_lost_goes_on_with_idle() -> None:
    player = Player(show(idle=True))
    alone = angles(Player(show(idle=True)), 500)
    angles(player, 100, 2000)
    lost = angles(player, 400)
    assert lost[-100:] == alone[-100:]


def test_a_mixed_neck_adds_what_idle_moves() -> None:
    player = Player(show(replace(FOLLOW, mixed=True), idle=True))
    row = angles(player, 400, 3000)
    assert -5.2 <= min(row[-100:]) <= -4.5  # 0 deg, and idle goes from 5 to 15 round 10
    assert 4.5 <= max(row[-100:]) <= 5.2
    assert_gentle(row[2:], SPEED_DEG_S, ACCELERATION_DEG_S2)


def near_its_end() -> Table:
    """Idle takes the neck from -58 deg to 58 deg of its 60 deg as fast as it can; the stick's way
    is slow and gentle."""
    made = show(replace(FOLLOW, speed=50, acceleration=150), idle=True)
    swing = (ActOp(NECK, -5800, 1000, True), Delay(1500), ActOp(NECK, 5800, 400, True), Delay(9000))
    return replace(made, threads=(*made.threads[:2], swing))


def neck_of(player: Player | ApartPlayer, frames: int, ticks: int = 0) -> list[float]:
    found = []
    for _ in range(frames):
        player.channel(0, ticks)
        shown = player.frame()
        raw = shown if isinstance(shown, bytes) else shown.raw
        found.append((int.from_bytes(raw[:2], "little") - 3000) / TICKS_PER_DEG)
    return found


@pytest.mark.parametrize("arrives", range(127, 172, 4))
def test_a_stick_that_arrives_in_a_quick_move_of_idle_takes_no_part_beyond_its_travel(
    arrives: int,
) -> None:
    """It brakes as gently as it follows, so it swings on; where the travel would end first, as hard
    as its own limits allow. 150 deg/s at 150 deg/s2 would take it 75 deg far."""
    player = Player(near_its_end())
    row = neck_of(player, arrives) + neck_of(player, 250, 3000)
    assert_gentle(row[2:], 200, 900)
    assert max(row) <= 60
    assert min(row[2:]) >= -60
    assert row[-1] == pytest.approx(0, abs=PLAY_DEG)


@pytest.mark.skipif(not available(), reason="there is no C compiler")
def test_the_core_brakes_before_the_end_of_the_travel_as_the_reference_does() -> None:
    swings = []
    for arrives in range(127, 172, 6):
        reference, core = Player(near_its_end()), ApartPlayer(near_its_end())
        row = neck_of(reference, arrives) + neck_of(reference, 120, 3000)
        assert row == neck_of(core, arrives) + neck_of(core, 120, 3000)
        swings.append(max(row))
    assert max(swings) > 58.1  # further than idle takes it


@pytest.mark.skipif(not available(), reason="there is no C compiler")
def test_a_part_that_is_faster_than_any_follows_on_at_10240_deg_s() -> None:
    """640 deg in 50 ms, evenly, are 12,800 deg/s. No part is so fast, but a table may say so."""
    wide = replace(NECK_RECORD, travel=(-32000, 32000), points=((-32500, 1750), (32500, 4250)))
    wide = replace(wide, safe=0, speed_limit=60_000, acceleration_limit=60_000)
    swing = (
        *(ActOp(NECK, -32000, 2000, True), Delay(1000)),
        *(ActOp(NECK, 32000, 50, True, law=1), Delay(9000)),
    )
    made = show(replace(FOLLOW, speed=60_000, acceleration=100), idle=True)
    made = replace(
        made,
        outputs=(wide, made.outputs[1]),
        laws=(*made.laws, LawRecord(LAW_IDS["uniform"])),
        threads=(*made.threads[:2], swing),
    )
    furthest = []
    for arrives in range(130, 150):
        reference, core = Player(made), ApartPlayer(made)
        row = neck_of(reference, arrives) + neck_of(reference, 30, 2000)
        assert row == neck_of(core, arrives) + neck_of(core, 30, 2000)
        furthest.append(max(row))
    assert len(set(furthest)) > 1  # the stick arrives in the move, and not only beside it


def test_a_stop_takes_over_what_follows_without_a_jump() -> None:
    player = Player(show())
    row = angles(player, 100, 2000) + angles(player, 14, 4000)
    player.stop()
    stopping = []
    while player.mode != ReportedMode.LIMP:
        stopping += angles(player, 1, 4000)
    assert_gentle([*row[-3:], *stopping[:-1]], 200, 900)
    assert stopping[-2] == pytest.approx(10, abs=0.05)
    angles(player, 5, 4000)
    assert player.stood(0) == pytest.approx(3200, abs=1)
    player.standby()
    assert angles(player, 2, 4000)[1] == 10
    assert angles(player, 200, 4000)[-1] == pytest.approx(40, abs=PLAY_DEG)


def test_a_lamp_follows_by_its_step_at_most_and_is_left_at_its_level() -> None:
    player = Player(show())
    duties = []
    for frame in range(200):
        player.channel(0, 4000)
        if frame == 100:
            player.limp()
        duties.append(player.frame().duties[0])
    assert abs(duties[-1] - duties[99]) <= LEVEL_STEP  # limp: lights stay as they are
    rising = [b for a, b in pairwise(duties) if b > a]
    assert len(rising) >= 80  # of 180 levels by 2 a frame: slower than its glide


def test_a_leader_lets_its_parts_follow_as_a_board_alone_does() -> None:
    led = replace(show(), role=LEADS)
    assert angles(Player(led), 100, 4000) == angles(Player(show()), 100, 4000)


# -- three players ---------------------------------------------------------------------------------


def _width(dice: Random, last: int) -> int:
    return dice.choice((last, last, last + dice.randint(-300, 300), dice.randint(1600, 4400)))


class Hands:
    """Sources that are moved at random: sticks that come and go, knobs."""

    def __init__(self, dice: Random, table: Table) -> None:
        self._dice = dice
        self.widths = [3000] * sum(isinstance(one, ChannelRecord) for one in table.senses)
        self.readings = [500] * sum(isinstance(one, SensorRecord) for one in table.senses)
        self._silent = 0

    def move(self) -> tuple[list[int], list[int]]:
        dice = self._dice
        silence = dice.choice((5, 25, 40, 80))
        self._silent = max(0, self._silent - 1) if dice.random() < 0.99 else silence
        if dice.random() < 0.1:
            self.widths = [min(4400, max(1600, _width(dice, one))) for one in self.widths]
            self.readings = [
                dice.choice((0, 1023, one, dice.randrange(1024))) for one in self.readings
            ]
        trembling = [one + dice.randint(-2, 2) for one in self.widths]
        return [0 if self._silent else one for one in trembling], list(self.readings)


def made(seed: Random, frames: int) -> tuple[Table, list[tuple[int, str, int, int]]]:
    table = with_presses(seed, random_table(seed, CHIP))
    return table, random_requests(seed, table, frames)


def tell(
    player: Player | ApartPlayer,
    now: Iterable[tuple[str, int, int]],
    hands: tuple[list[int], list[int]],
) -> None:
    for one in now:
        asked(player, *one)
    for number, width in enumerate(hands[0]):
        player.channel(number, width)
    for number, reading in enumerate(hands[1]):
        player.voltage(number, reading)


@pytest.mark.skipif(not available(), reason="there is no C compiler")
@pytest.mark.parametrize("seed", range(24))
def test_the_core_follows_sources_as_the_reference_does(seed: int) -> None:
    dice = Random(seed)
    table, requests = made(dice, 500)
    reference, core, hands = Player(table), ApartPlayer(table), Hands(dice, table)
    for number in range(500):
        now = [one[1:] for one in requests if one[0] == number]
        moved = hands.move()
        tell(reference, now, moved)
        tell(core, now, moved)
        assert reference.frame().raw == core.frame(), f"frame {number}"
        assert core.end[1:3] == [reference.live_runs, reference.running_cues]


@given(dices())
@settings(max_examples=25, deadline=None)
def test_the_second_player_follows_sources_as_the_reference_does(dice: Random) -> None:
    table, requests = made(dice, 200)
    tags = {cue.tag for cue in table.cues}
    reference, second, hands = (
        Player(table),
        SecondPlayerWithSenses(encode(table)),
        Hands(dice, table),
    )
    for number in range(200):
        now = [
            one[1:]
            for one in requests
            if one[0] == number and (one[1] != "trigger" or one[2] in tags)
        ]
        widths, readings = hands.move()
        tell(reference, now, (widths, readings))
        second.sense(readings)
        assert reference.frame().raw == second.frame(now, widths), f"frame {number}"
        assert reference.refused == second.refused
