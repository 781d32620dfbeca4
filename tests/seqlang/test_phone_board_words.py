"""What the page for phones says of a board, and which boards a press goes to."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_gen.compiler.show import CompiledBoard
from firmware_gen.link.protocol import (
    BATTERY_BLIND,
    BATTERY_EMPTY,
    BATTERY_LOW,
    BATTERY_WATCHED,
    ReportedMode,
    ResetCause,
    State,
)
from firmware_gen.table.layout import ALONE, FOLLOWS, LEADS
from seqlang.phone.board_words import BoardSeen, described, that_decide
from sim.rulebook import FRAME_MS
from tests.seqlang.phone_rig import heron

BODY, BILL = heron().boards
QUIET = State(ReportedMode.READY, ResetCause.POWER_ON, *[0] * 10)


def seen(state: State | None = QUIET, port: str | None = "a", **more: int) -> BoardSeen:
    return BoardSeen(BODY, port, 250_000, 1, state, **more)


@pytest.mark.parametrize(
    ("mode", "words", "to_do"),
    [
        (ReportedMode.BLANK, "has no show", "at the laptop"),
        (ReportedMode.STARTING, "is starting", "keep clear"),
        (ReportedMode.READY, "is ready", ""),
        (ReportedMode.STOPPING, "is stopping", "another stop ends all pulses"),
        (ReportedMode.LIMP, "is limp", "re-arm"),
        (9, "is in mode 9", ""),
    ],
)
def test_each_mode_has_words_and_what_to_do(mode: int, words: str, to_do: str) -> None:
    row = described(seen(replace(QUIET, mode=mode)))
    assert words in row["words"]
    assert to_do in row["to_do"]
    assert bool(row["to_do"]) == bool(to_do)


def test_a_board_that_is_away_is_told_apart_from_one_that_was_never_there() -> None:
    assert described(seen(None))["words"] == "does not answer"
    assert described(seen(None, None))["words"] == "is not found"
    assert "switch" in described(seen(None))["to_do"]


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (0.98, "switched on just now"),
        (1, "switched on 1 min ago"),
        (59.9, "switched on 59 min ago"),
        (60, "switched on 1 h 0 min ago"),
        (135, "switched on 2 h 15 min ago"),
    ],
)
def test_the_time_since_a_start_is_told_in_whole_minutes(minutes: float, words: str) -> None:
    frames = round(minutes * 60_000 / FRAME_MS)
    assert described(seen(replace(QUIET, frames=frames)))["since"] == words


def test_a_supply_that_sagged_is_told_before_other_causes_and_with_what_to_do() -> None:
    both = ResetCause.POWER_ON | ResetCause.BROWN_OUT
    row = described(seen(replace(QUIET, reset_cause=both)))
    assert row["since"].startswith("restarted because its supply sagged")
    assert "pack" in row["to_do"]
    assert "pack" in described(seen(sags=1))["to_do"]
    assert described(seen())["to_do"] == ""


def with_battery(bits: int, **more: int) -> State:
    return replace(QUIET, battery=BATTERY_WATCHED | bits, battery_mv=6200, **more)


@pytest.mark.parametrize(
    ("bits", "words", "to_do"),
    [
        (0, "", ""),
        (BATTERY_LOW, "its battery is low", "change its battery soon"),
        (BATTERY_LOW | BATTERY_EMPTY, "its battery is empty", "switch it off"),
        (BATTERY_LOW | BATTERY_BLIND, "its battery is not read", "divider"),
    ],
)
def test_a_battery_that_a_board_watches_is_told_with_what_to_do(
    bits: int, words: str, to_do: str
) -> None:
    row = described(seen(with_battery(bits)))
    assert (row["battery"], row["words"]) == (words, "is ready")
    assert to_do in row["to_do"]
    assert bool(row["to_do"]) == bool(bits)
    assert described(seen(None))["battery"] == ""


def test_nobody_is_told_to_re_arm_a_board_whose_battery_is_empty() -> None:
    limp = with_battery(BATTERY_LOW | BATTERY_EMPTY, mode=ReportedMode.LIMP)
    row = described(seen(limp))
    assert row["battery"] == "its battery is empty"
    assert "re-arm" not in row["to_do"]
    assert "keep clear" in row["to_do"]
    recovered = described(seen(replace(limp, battery=BATTERY_WATCHED | BATTERY_LOW)))
    assert "re-arm; change its battery soon" in recovered["to_do"]


def test_a_battery_that_is_empty_and_sagged_is_to_be_changed_once() -> None:
    row = described(seen(with_battery(BATTERY_LOW | BATTERY_EMPTY), sags=1))
    assert row["to_do"].count("change") == 1
    assert "plug" in row["to_do"]


def test_cues_that_run_are_named() -> None:
    number = [cue.name for cue in BODY.cues].index("beat")
    assert described(seen(replace(QUIET, running_cues=1 << number)))["plays"] == ["beat"]


def in_role(board: CompiledBoard, role: int, *, answers: bool = True) -> BoardSeen:
    table = replace(board.table, role=role)
    state = QUIET if answers else None
    return BoardSeen(replace(board, table=table), board.name, 250_000, 1, state)


def test_while_its_leader_answers_a_board_that_follows_is_not_pressed() -> None:
    leader, follower = in_role(BODY, LEADS), in_role(BILL, FOLLOWS)
    assert that_decide([leader, follower]) == [leader]
    gone = in_role(BODY, LEADS, answers=False)
    assert that_decide([gone, follower]) == [gone, follower]
    alone = [in_role(BODY, ALONE), in_role(BILL, ALONE)]
    assert that_decide(alone) == alone
