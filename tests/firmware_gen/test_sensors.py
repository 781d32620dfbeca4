"""The value of a sensor (TABLE.md, 10.1): three players, and the figures that its lines promise."""

from __future__ import annotations

from math import exp
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.player.player import Player
from firmware_gen.player.sensors import Sensors
from firmware_gen.table.encode import encode
from firmware_gen.table.records import SensorRecord, Table
from sim.rehearsal.sensing import frame_share
from sim.rulebook import FRAME_MS, LONGEST_FILTER_MS
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.second_presses import SecondPlayerWithSenses

PIN = CHIP.pin("PF0")


def values(record: SensorRecord, *readings: int) -> list[int | None]:
    sensors = Sensors([record])
    found = []
    for reading in readings:
        sensors.frame([reading])
        found.append(sensors.value(0))
    return found


def test_a_sensor_has_no_value_before_its_first_reading_and_that_one_at_once() -> None:
    sensors = Sensors([SensorRecord(PIN, 0, 300, 300)])
    sensors.frame([None])
    assert sensors.value(0) is None
    sensors.frame([700])
    assert sensors.value(0) == 700


def test_what_is_below_quiet_counts_as_nothing_and_quiet_itself_as_it_is() -> None:
    assert values(SensorRecord(PIN, 120), 500, 119, 120, 0, 1023) == [500, 0, 120, 0, 1023]


@pytest.mark.parametrize("ms", [20, 50, 200, 1000, LONGEST_FILTER_MS])
def test_after_its_time_constant_63_percent_of_a_step_are_done(ms: int) -> None:
    """The step response of a low-pass of first order, 1 - exp(-t / tau) (any text on circuits)."""
    share = frame_share(ms / 1000.0)
    frames = ms // FRAME_MS
    rising = values(SensorRecord(PIN, 0, share, 0), 0, *[1000] * (3 * frames))
    falling = values(SensorRecord(PIN, 0, 0, share), 1000, *[0] * (3 * frames))
    for times in (1, 2, 3):
        frame = times * frames
        part = 1 - exp(-times * frames * FRAME_MS / ms)
        assert rising[frame] == pytest.approx(1000 * part, abs=6)
        assert falling[frame] == pytest.approx(1000 * (1 - part), abs=6)


@given(st.integers(0, 1023), st.integers(0, 1023), st.integers(300, 65535))
@settings(deadline=None, max_examples=40)
def test_a_value_goes_one_way_to_its_aim_and_arrives(start: int, aim: int, share: int) -> None:
    found = values(SensorRecord(PIN, 0, share, share), start, *[aim] * 3000)
    known = [value for value in found if value is not None]
    assert known == sorted(known, reverse=aim < start)
    assert known[0] == start
    assert known[-1] == aim


def _table(dice: Random) -> Table:
    shares = (0, 1, 300, 9000, 40000, 65535)
    pins = sorted(CHIP.analog)
    return Table(
        *(CHIP.chip_id, 1),
        senses=tuple(
            SensorRecord(
                pin, dice.choice((0, 1, 120, 1023)), dice.choice(shares), dice.choice(shares)
            )
            for pin in pins[: dice.randint(1, 8)]
        ),
    )


@pytest.mark.skipif(not available(), reason="there is no C compiler")
@pytest.mark.parametrize("seed", range(12))
def test_the_core_and_the_second_player_sense_as_the_reference_does(seed: int) -> None:
    dice = Random(seed)
    table = _table(dice)
    count = len(table.senses)
    reference, core = Player(table), ApartPlayer(table)
    second = SecondPlayerWithSenses(encode(table))
    now: list[int | None] = [None] * count
    for _ in range(400):
        for number in range(count):
            if dice.random() < 0.1:
                reading = dice.choice((0, 119, 120, 1023, dice.randrange(1024)))
                now[number] = reading
                reference.voltage(number, reading)
                core.voltage(number, reading)
        reference.frame()
        core.frame()
        second.sense(now)
        told = [reference.sensor(number) for number in range(count)]
        assert [core.sensor(number) for number in range(count)] == told
        assert [one.value for one in second.sensors] == told
