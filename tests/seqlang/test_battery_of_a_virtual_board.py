"""Somebody types what a battery has, and the virtual board that watches it warns and stops."""

from __future__ import annotations

import pytest

from firmware_gen.board.wired import WiredBoards
from firmware_gen.link.protocol import BATTERY_EMPTY, BATTERY_LOW, BATTERY_WATCHED, ReportedMode
from seqlang.check import check
from seqlang.command._wired import obey, orders, wired_boards
from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Show

TEXT = """show "Watched"
supply pack
    source 2 li-ion cells, 3000 mAh
    fuse 5 A
board body: atmega2560, address 1
    feed pack, 600 mm of 20 AWG
    watch pin PF1, divider 22 kohm over 15 kohm
lamp lure: body pin PB4
cue snap
    lure fade to 80 % in 1 s
    lure fade to off in 1 s
cue warn
    lure fade to 40 % in 800 ms
    lure fade to off in 800 ms
remote
    button 1: go snap
    battery low: go warn
    stop button 2
"""


@pytest.fixture
def said() -> list[str]:
    return []


@pytest.fixture
def wired(said: list[str]) -> tuple[WiredBoards, Show]:
    checked = check(load_text(Source("test.cues", TEXT))).show
    assert checked is not None
    return wired_boards(checked, say=said.append), checked.show


def told(wired: WiredBoards) -> tuple[float, int]:
    player = wired.boards["body"].board.player
    assert player is not None
    assert player.watch is not None
    return player.watch.millivolts / 1000.0, player.watch.told


def test_a_battery_is_full_at_first_and_has_what_is_typed(
    wired: tuple[WiredBoards, Show], said: list[str]
) -> None:
    boards, show = wired
    assert "battery body VOLTS" in orders(show)
    boards.advance(3.0)
    assert told(boards)[0] == pytest.approx(8.4, abs=0.03)
    assert told(boards)[1] == BATTERY_WATCHED
    assert obey(boards, "battery body 6.6 V", show).endswith("body: its battery has 6.6 V")
    boards.advance(12.0)
    assert told(boards)[0] == pytest.approx(6.6, abs=0.03)
    assert told(boards)[1] == BATTERY_WATCHED | BATTERY_LOW
    assert any("warn" in line for line in said)
    assert obey(boards, "battery body 6,1 volts", show).endswith("body: its battery has 6.1 V")
    obey(boards, "battery body 6", show)
    boards.advance(30.0)
    assert told(boards)[1] == BATTERY_WATCHED | BATTERY_LOW | BATTERY_EMPTY
    assert boards.boards["body"].board.mode == ReportedMode.LIMP


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("battery body", "wants volts from 0 to 60, found nothing"),
        ("battery body much", "wants volts from 0 to 60, found `much`"),
        ("battery body 61", "wants volts from 0 to 60, found `61`"),
        ("battery", "`battery` wants a board and its volts, found nothing; such as `battery body"),
        (
            "battery 8",
            "`battery` wants a board and its volts, found `8`; such as `battery body 6.3`",
        ),
        ("battery bodi 6", "no board `bodi` watches a battery; did you mean `body`?"),
        ("battery tail 6", "no board `tail` watches a battery; there is body"),
    ],
)
def test_what_is_no_voltage_of_a_battery_is_answered(
    wired: tuple[WiredBoards, Show], line: str, answer: str
) -> None:
    assert answer in obey(wired[0], line, wired[1])
