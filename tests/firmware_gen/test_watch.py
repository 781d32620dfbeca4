"""The watch of a battery (TABLE.md, section 11): by hand, and three players on random voltages."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

import firmware_gen
from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.crc import crc16
from firmware_gen.link.protocol import (
    BATTERY_BLIND,
    BATTERY_EMPTY,
    BATTERY_LOW,
    BATTERY_WATCHED,
    ReportedMode,
)
from firmware_gen.listing.disassemble import disassemble
from firmware_gen.player.in_step import ARRIVAL
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import BAD_PIN, BAD_RECORD, FOLLOWS, LEADS, TableError
from firmware_gen.table.ops import ActOp, Delay
from firmware_gen.table.records import CueRecord, LampRecord, ServoRecord, Table, WatchRecord
from sim.rulebook import (
    EMPTY_FRAMES,
    EMPTY_IN_STARTING_FRAMES,
    FRAME_S,
    LOW_FRAMES,
    REMIND_FRAMES,
)
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.random_tables import (
    random_requests,
    random_table,
    with_presses,
    with_watch,
)
from tests.firmware_gen.second_presses import SecondPlayerWithSenses
from tests.firmware_gen.test_following import asked, on_the_line

PAGES = Path(firmware_gen.__file__).parent

needs_compiler = pytest.mark.skipif(not available(), reason="there is no C compiler")

PIN = CHIP.pin("PF1")
WATCH = WatchRecord(PIN, 10_240, 6_800, 6_000, cue=0)
"""Two cells, 10 mV a step: low below 3.4 V a cell, empty below 3.0 V."""
WELL, LOW, EMPTY, BLIND = 740, 640, 580, 250
TABLE = Table(
    *(CHIP.chip_id, 1),
    outputs=(
        LampRecord(CHIP.pin("PB4"), 0),
        ServoRecord(CHIP.pin("PA0"), (0, 9000), 200, 900, 0, ((0, 1600), (9000, 4400))),
    ),
    cues=(CueRecord(77, 1, 0, 1, 0),),
    threads=((ActOp(0, 200, 0), Delay(500), ActOp(0, 0, 0)),),
    senses=(WATCH,),
)


def ready(reading: int = WELL) -> Player:
    player = Player(TABLE)
    player.battery(reading)
    while player.mode != ReportedMode.READY:
        player.frame()
    return player


def frames_until(player: Player, what: str, most: int) -> int:
    """Frames until a state is told; `most` if it is not by then."""
    assert player.watch is not None
    bit = {"low": BATTERY_LOW, "empty": BATTERY_EMPTY, "blind": BATTERY_BLIND}[what]
    for number in range(most):
        if player.watch.told & bit:
            return number
        player.frame()
    return most


def test_a_battery_that_stays_low_is_told_after_five_seconds_and_starts_its_cue() -> None:
    player = ready()
    player.battery(LOW)
    took = frames_until(player, "low", 1000)
    assert LOW_FRAMES < took < LOW_FRAMES + 2.0 / FRAME_S  # the mean has to get there first
    assert player.mode == ReportedMode.READY
    assert player.running_cues == 1


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
@pytest.mark.parametrize("before", [0, BLIND])
def test_a_lead_that_finds_its_contact_while_the_board_starts_does_not_make_it_limp(
    make: type[Player] | type[ApartPlayer], before: int
) -> None:
    player = make(replace(TABLE, enable_interval=250))
    player.battery(before)
    assert _frames(player, 20) == ["starting"]
    player.battery(WELL)
    assert _frames(player, 300) == ["starting", "ready"]


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
def test_an_empty_battery_whose_lead_finds_its_contact_in_a_start_makes_the_board_limp(
    make: type[Player] | type[ApartPlayer],
) -> None:
    player = make(replace(TABLE, enable_interval=250))
    player.battery(0)
    assert _frames(player, 20) == ["starting"]
    player.battery(EMPTY)
    assert _frames(player, EMPTY_IN_STARTING_FRAMES + 3) == ["starting", "limp"]


def test_one_strayed_reading_of_a_lead_that_is_off_does_not_stop_a_start() -> None:
    player = Player(replace(TABLE, enable_interval=250))
    player.battery(0)
    _frames(player, 20)
    player.battery(EMPTY + 15)
    player.frame()
    player.battery(0)
    assert _frames(player, 300) == ["starting", "ready"]


def test_a_sag_that_is_shorter_than_five_seconds_warns_of_nothing() -> None:
    player = ready()
    for _ in range(20):
        player.battery(EMPTY)
        assert frames_until(player, "low", LOW_FRAMES) == LOW_FRAMES
        player.battery(WELL)
        for _ in range(100):
            player.frame()
    assert player.watch is not None
    assert player.watch.told == BATTERY_WATCHED


def test_the_cue_of_a_low_battery_comes_again_each_minute_and_ends_with_the_low() -> None:
    player = ready(LOW)
    starts = []
    for number in range(3 * REMIND_FRAMES):
        before = player.running_cues
        player.frame()
        if player.running_cues and not before:
            starts.append(number)
    assert len(starts) == 3
    assert starts[1] - starts[0] == starts[2] - starts[1] == REMIND_FRAMES
    player.battery(WELL)
    for _ in range(2 * REMIND_FRAMES):
        player.frame()
        assert player.watch is not None
    assert player.watch.told == BATTERY_WATCHED
    assert player.running_cues == 0


def test_a_battery_that_trembles_about_its_limit_stays_low_until_it_has_recovered() -> None:
    player = ready(LOW)
    frames_until(player, "low", 1000)
    assert player.watch is not None
    for _ in range(500):
        player.battery(690)  # 6.9 V, over 6.8 V but not by 3 %
        player.frame()
    assert player.watch.is_low
    player.battery(705)
    for _ in range(500):
        player.frame()
    assert not player.watch.is_low


def test_an_empty_battery_stops_the_board_gently_and_standby_is_refused() -> None:
    player = ready()
    player.battery(EMPTY)
    took = frames_until(player, "empty", 2000)
    assert EMPTY_FRAMES < took < EMPTY_FRAMES + 2.0 / FRAME_S
    player.frame()
    assert player.mode == ReportedMode.STOPPING
    while player.mode == ReportedMode.STOPPING:
        player.frame()
    assert player.mode == ReportedMode.LIMP
    before = player.refused
    player.standby()
    player.frame()
    assert (player.mode, player.refused) == (ReportedMode.LIMP, before + 1)


def test_nothing_starts_by_itself_when_a_battery_recovers_and_standby_does() -> None:
    player = ready()
    player.battery(EMPTY)
    while player.mode != ReportedMode.LIMP:
        player.frame()
    player.battery(WELL)
    for _ in range(1000):
        player.frame()
        assert player.mode == ReportedMode.LIMP
    player.standby()
    player.frame()
    assert player.mode == ReportedMode.STARTING


def test_a_board_that_starts_on_an_empty_battery_is_limp_within_half_a_second() -> None:
    table = replace(
        TABLE,
        outputs=tuple(replace(TABLE.outputs[1], pin=CHIP.pin(f"PC{n}")) for n in range(8)),
        cues=(),
        threads=(),
        senses=(replace(WATCH, cue=None),),
    )
    player = Player(table)
    player.battery(EMPTY)
    frames = 0
    while player.mode == ReportedMode.STARTING:
        player.frame()
        frames += 1
    assert player.mode == ReportedMode.LIMP
    assert frames <= EMPTY_IN_STARTING_FRAMES + 1


def test_a_lead_that_is_off_warns_and_stops_nothing() -> None:
    player = ready()
    player.battery(BLIND)
    for _ in range(2000):
        player.frame()
    assert player.watch is not None
    assert player.watch.told == BATTERY_WATCHED | BATTERY_LOW | BATTERY_BLIND
    assert player.mode == ReportedMode.READY


@pytest.mark.parametrize("reading", [0, 1, 17, 18, 150, 225, 1023])
def test_by_its_own_reference_a_chip_tells_its_supply(reading: int) -> None:
    """V = 1.1 V 1024 / reading (data sheet, ADC Conversion Result, solved for the reference)."""
    player = Player(replace(TABLE, senses=(WatchRecord(None, 1_100, 4_400, 4_000),)))
    player.battery(reading)
    player.frame()
    assert player.watch is not None
    wanted = min(65_535, 1_100 * 1024 // reading) if reading else 65_535
    assert player.watch.millivolts == wanted


def stated_ways() -> list[list[str]]:
    """The table of states in TABLE.md's section 11: where a board is, and where each step leads."""
    section = (
        (PAGES / "TABLE.md").read_text("utf-8").split("This table shows where a board goes.")[1]
    )
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in section.split("Nothing starts by itself")[0].splitlines()
        if line.startswith("|") and not line.startswith("| ---")
    ]
    assert [row[0] for row in rows[1:]] == ["starting", "ready", "stopping", "limp"]
    return rows[1:]


def _mode(player: Player | ApartPlayer) -> str:
    mode = player.mode if isinstance(player, Player) else ReportedMode(player.end[0])
    return mode.name.lower()


def _frames(player: Player | ApartPlayer, count: int) -> list[str]:
    """The modes that it goes through, each once."""
    modes: list[str] = []
    for _ in range(count):
        player.frame()
        if not modes or modes[-1] != _mode(player):
            modes.append(_mode(player))
    return modes


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
@pytest.mark.parametrize("row", stated_ways(), ids=lambda row: row[0])
def test_an_empty_battery_leads_from_every_state_where_the_table_says(
    make: type[Player] | type[ApartPlayer], row: list[str]
) -> None:
    here, emptied, asked_standby, recovered, asked_then = row
    lights = tuple(LampRecord(CHIP.pin(pin), 0) for pin in ("PB4",))
    servos = tuple(replace(TABLE.outputs[1], pin=CHIP.pin(f"PC{n}")) for n in range(8))
    player = make(replace(TABLE, outputs=(*lights, *servos), stop_time=255))
    player.battery(WELL)
    _frames(player, 2 if here == "starting" else 120)
    if here in ("stopping", "limp"):
        (player.stop if here == "stopping" else player.limp)()
    player.battery(EMPTY)
    player.frame()
    assert _mode(player) == here
    assert _frames(player, EMPTY_FRAMES + 400)[-1] == emptied.split(", then ")[-1]
    player.standby()
    assert _frames(player, 50) == [asked_standby]
    player.battery(WELL)
    assert _frames(player, 300) == [recovered]
    player.standby()
    assert _frames(player, 2) == [asked_then]


# -- three players -----------------------------------------------------------------------------


def _reading(dice: Random, last: int) -> int:
    if dice.random() < 0.98:
        return last
    return dice.choice((WELL, LOW, EMPTY, 619, 600, 599, 680, 679, 701, BLIND, 0, 1023, 180))


@needs_compiler
@pytest.mark.parametrize("seed", range(12))
def test_the_core_watches_as_the_reference_does(seed: int) -> None:
    dice = Random(seed)
    table = with_watch(dice, with_presses(dice, random_table(dice, CHIP)))
    reference, core = Player(table), ApartPlayer(table)
    second = SecondPlayerWithSenses(encode(table))
    requests = random_requests(dice, table, 2500)
    requests = [one for one in requests if one[1] in ("standby", "heard")]
    reading = WELL
    for number in range(2500):
        reading = _reading(dice, reading)
        reference.battery(reading)
        core.battery(reading)
        second.battery_reading = reading
        now = [one[1:] for one in requests if one[0] == number]
        for one in now:
            asked(reference, *one)
            asked(core, *one)
        shown = reference.frame().raw
        assert shown == core.frame(), f"frame {number}"
        assert core.end[1:4] == [reference.live_runs, reference.running_cues, reference.refused]
        assert reference.watch is not None
        told = (reference.watch.millivolts, reference.watch.told)
        assert core.battery_told == told, f"frame {number}"
        assert shown == second.frame(now, [0] * len(second.channels)), f"frame {number}"
        assert second.battery is not None
        assert second.battery.told == told, f"frame {number}"


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
def test_a_board_that_follows_starts_no_cue_for_a_low_battery_and_is_limp_for_an_empty_one(
    make: type[Player] | type[ApartPlayer],
) -> None:
    """Also where the board that leads, whose battery is well, goes on."""
    plain = replace(TABLE, senses=())
    leader, player = Player(replace(plain, role=LEADS)), make(replace(TABLE, role=FOLLOWS))

    def passes(frames: int) -> list[tuple[str, int]]:
        """Modes, and cues that run."""
        seen = []
        for number in range(frames):
            leader.frame()
            assert leader.told is not None
            if isinstance(player, Player):
                player.hear_hub(leader.told, ARRIVAL)
            else:
                player.receive(on_the_line(leader.told, number), ARRIVAL)
            player.frame()
            runs = player.running_cues if isinstance(player, Player) else player.end[2]
            seen.append((_mode(player), runs))
        return seen

    player.battery(WELL)
    assert passes(150)[-1] == ("ready", 0)
    player.battery(LOW)
    assert set(passes(LOW_FRAMES + 300)) == {("ready", 0)}
    player.battery(EMPTY)
    modes = [mode for mode, _ in passes(EMPTY_FRAMES + 600)]
    assert modes[0] == "ready"
    assert modes[-1] == "limp"
    assert leader.mode == ReportedMode.READY


# -- refusals ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        (WATCH, None),
        (replace(WATCH, pin=None), None),
        (replace(WATCH, cue=None), None),
        (replace(WATCH, low=6_000), None),
        (replace(WATCH, low=5_999), BAD_RECORD),
        (replace(WATCH, stop=1), None),
        (replace(WATCH, stop=0), BAD_RECORD),
        (replace(WATCH, scale=0), BAD_RECORD),
        (replace(WATCH, cue=1), BAD_RECORD),
        (replace(WATCH, pin=CHIP.pin("PA1")), BAD_PIN),
        (replace(WATCH, pin=CHIP.pin("PB4")), BAD_PIN),
    ],
)
def test_a_watch_out_of_its_limits_is_refused(record: WatchRecord, reason: int | None) -> None:
    table = replace(TABLE, senses=(record,))
    data = bytearray(encode(TABLE))
    words = (record.scale, record.low, record.stop)
    fields = b"".join(word.to_bytes(2, "little") for word in words)
    ends = (255 if one is None else one for one in (record.pin, record.cue))
    at = _place(TABLE)
    data[at : at + WATCH_BYTES] = bytes([7, next(ends), *fields, next(ends)])
    data[-2:] = crc16(bytes(data[:-2])).to_bytes(2, "little")
    if reason is None:
        assert decode(bytes(data)) == table
    else:
        with pytest.raises(TableError) as caught:
            decode(bytes(data))
        assert caught.value.code == reason
    if available():
        assert ApartPlayer(TABLE).lib.host_check(bytes(data), len(data)) == (reason or 0)


WATCH_BYTES = 9


def _place(table: Table) -> int:
    """Where the watch's record begins."""
    data = encode(table)
    record = bytes([7, PIN]) + (10_240).to_bytes(2, "little")
    return data.index(record)


def test_a_second_watch_is_refused() -> None:
    with pytest.raises(TableError) as caught:
        encode(replace(TABLE, senses=(WATCH, replace(WATCH, pin=CHIP.pin("PF2")))))
    assert caught.value.code == BAD_RECORD


def test_a_listing_says_what_is_watched() -> None:
    words = [line.text for line in disassemble(encode(TABLE)) if line.section == "senses"]
    assert words == [
        "battery on PF1, 10240 mV at the full reading: low below 6800 mV, then cue 0; "
        "stops below 6000 mV"
    ]
