"""The monitor's log: what is noticed, that it lasts, and its summary."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_gen.link.protocol import (
    BATTERY_BLIND,
    BATTERY_EMPTY,
    BATTERY_LOW,
    BATTERY_WATCHED,
    ReportedMode,
    ResetCause,
    State,
    Status,
)
from seqlang.monitoring.event_log import EventLog, read_log
from seqlang.monitoring.noticing import COUNTERS, noticed
from seqlang.monitoring.tally import tally, wrong_words

READY = State(ReportedMode.READY, ResetCause.POWER_ON, 0, 0, 1000, 0, 0, 0, 0, 0, 0, 0)


def changes(before: State, after: State, **more: bool) -> list[tuple[str, dict[str, object]]]:
    return list(noticed(before, after, lambda number: f"c{number}", **more))


# -- noticed -------------------------------------------------------------------------------------


def test_a_board_that_plays_on_is_nothing_to_notice() -> None:
    assert changes(READY, replace(READY, frames=1010)) == []


def test_cues_that_began_are_noticed_once() -> None:
    one = replace(READY, frames=1010, running_cues=0b101)
    assert changes(READY, one) == [("cue", {"cue": "c0"}), ("cue", {"cue": "c2"})]
    assert changes(one, replace(one, frames=1020)) == []
    assert changes(one, replace(one, running_cues=0b111)) == [("cue", {"cue": "c1"})]


def test_a_reset_is_noticed_with_its_cause_and_what_runs_then_has_begun() -> None:
    before = replace(READY, running_cues=0b1)
    cause = ResetCause.BROWN_OUT
    after = replace(READY, frames=5, reset_cause=cause, running_cues=0b1, brown_out_resets=1)
    assert changes(before, after) == [
        ("reset", {"cause": "brown-out"}),
        ("cue", {"cue": "c0"}),
        ("trouble", {"counter": "brown_out_resets", "count": 1}),
    ]
    assert changes(before, after, new_show=True)[0][0] == "cue"


def test_counters_are_noticed_by_what_was_added_also_over_a_reset() -> None:
    before = replace(READY, bad_frames=7)
    assert changes(before, replace(before, bad_frames=9)) == [
        ("trouble", {"counter": "bad_frames", "count": 2})
    ]
    after = replace(before, frames=3, bad_frames=1)
    assert ("trouble", {"counter": "bad_frames", "count": 1}) in changes(before, after)


def battery(bits: int, millivolts: int) -> State:
    return replace(READY, battery=BATTERY_WATCHED | bits, battery_mv=millivolts)


def test_a_battery_is_noticed_when_it_gets_low_or_empty_or_recovers_and_not_at_each_look() -> None:
    well, low = battery(0, 7400), battery(BATTERY_LOW, 6700)
    empty = battery(BATTERY_LOW | BATTERY_EMPTY, 5900)
    assert changes(READY, well) == []
    assert changes(well, low) == [("battery", {"battery": "low", "millivolts": 6700})]
    assert changes(low, battery(BATTERY_LOW, 6600)) == []
    assert changes(low, empty) == [("battery", {"battery": "empty", "millivolts": 5900})]
    assert changes(empty, well) == [("battery", {"battery": "well", "millivolts": 7400})]
    unread = battery(BATTERY_LOW | BATTERY_BLIND, 12)
    assert changes(low, unread) == [("battery", {"battery": "unread", "millivolts": 12})]


def test_a_low_battery_went_wrong_and_one_that_recovered_did_not(tmp_path: Path) -> None:
    log = a_log(tmp_path / "log")
    for how, millivolts in (("low", 6700), ("empty", 5900), ("well", 7400), ("unread", 12)):
        log.write("battery", port="p", battery=how, millivolts=millivolts)
    log.write("battery", port="p")  # of a later version, or spoilt by hand
    log.write("asked", port="p", request="standby", status=int(Status.EMPTY))
    log.close()
    records = read_log(tmp_path / "log").records
    assert [row.words for row in tally(records).wrong] == [
        "its battery is low: 6.70 V",
        "its battery is empty, and it stops: 5.90 V",
        "there is no reading of its battery: the lead to the watch's divider may be off",
        "its battery is in an unknown state",
        "`standby` was refused by the board: its battery is empty",
    ]
    assert wrong_words(records[2]) == "its battery has recovered: 7.40 V"


def test_every_counter_of_a_state_is_watched() -> None:
    assert set(COUNTERS) < set(State.__dataclass_fields__)
    for name in COUNTERS:
        assert [what for what, _ in changes(READY, replace(READY, **{name: 1}))] == ["trouble"]


# -- logged --------------------------------------------------------------------------------------


class Clock:
    """A time of day that can be set, and a clock that only goes forward."""

    def __init__(self) -> None:
        self.day_s = datetime(2026, 10, 31, 21, 0, tzinfo=UTC).timestamp()
        self.steady_s = 50.0

    def passes(self, seconds: float) -> None:
        self.day_s += seconds
        self.steady_s += seconds


def a_log(path: Path, clock: Clock | None = None) -> EventLog:
    clock = clock or Clock()
    return EventLog(path, lambda: clock.day_s, lambda: clock.steady_s)


def test_what_is_written_is_read_in_its_order(tmp_path: Path) -> None:
    log = a_log(tmp_path / "log")
    written = [log.write("cue", port="p", cue=name) for name in ("häh", 'a"b', "c\nd")]
    log.close()
    found = read_log(tmp_path / "log")
    assert (list(found.records), found.unreadable) == (written, 0)


def test_each_record_is_in_the_file_before_the_next(tmp_path: Path) -> None:
    log = a_log(tmp_path / "log")
    for count in range(1, 4):
        log.write("mode", mode="ready")
        assert len(read_log(tmp_path / "log").records) == count
    log.close()


def test_a_file_cut_at_any_byte_loses_one_record_at_most_and_can_be_added_to(
    tmp_path: Path,
) -> None:
    whole = tmp_path / "whole"
    log = a_log(whole)
    for number in range(3):
        log.write("cue", cue=str(number))
    log.close()
    data = whole.read_bytes()
    cut = tmp_path / "cut"
    for length in range(len(data) + 1):
        cut.write_bytes(data[:length])
        before = read_log(cut)
        assert len(before.records) >= data[:length].count(b"\n")
        again = a_log(cut)
        again.write("begin")
        again.close()
        after = read_log(cut)
        assert after.records[:-1] == before.records
        assert after.records[-1].what == "begin"


@given(st.binary(max_size=300))
def test_whatever_a_file_holds_is_read_or_counted(data: bytes) -> None:
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        path = Path(folder) / "log"
        path.write_bytes(data)
        found = read_log(path)
        lines = sum(bool(line.strip()) for line in data.split(b"\n"))
        assert len(found.records) + found.unreadable == lines
        tally(found.records)


@pytest.mark.parametrize(
    "line",
    ['{"at": "2026-11-27T21:04:03", "s": 1, "what": "x"}', '{"at": 3}', "[]", "null", "1e999"],
)
def test_a_line_that_is_none_of_ours_is_passed_over(line: str, tmp_path: Path) -> None:
    (tmp_path / "log").write_text(line)
    assert read_log(tmp_path / "log").unreadable == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_counted_and_raises_nothing() -> None:
    log = a_log(Path("/dev/full"))
    log.write("cue", cue="a")
    log.write("cue", cue="b")
    assert log.missing == 2
    log.close()


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write everything")
def test_a_folder_that_cannot_be_written_is_told_at_once(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(PermissionError):
        EventLog(tmp_path / "log")


# -- summed up -----------------------------------------------------------------------------------


def test_an_evening_is_summed_up(tmp_path: Path) -> None:
    clock = Clock()
    log = a_log(tmp_path / "log", clock)
    at = {"port": "COM3", "address": 4}
    log.write("begin")
    for name in ("wave", "nod", "wave"):
        clock.passes(60.0)
        log.write("cue", **at, cue=name)
    log.write("asked", **at, request="button", button=3, down=1, status=0, client="page")
    log.write("asked", **at, request="button", button=3, down=0, status=0, client="page")
    log.write("asked", **at, request="stop", status=0, client="stop")
    log.write("asked", **at, request="trigger", cue="nod", status=10)
    log.write("reset", **at, cause="brown-out")
    log.write("lost", **at, reason="port-lost", words="port COM3 went away")
    log.write("slept", words="this computer slept for 3600 s")
    log.write("end")
    log.close()
    summed = tally(read_log(tmp_path / "log").records)
    assert [(row.what, row.count) for row in summed.pressed] == [
        ("cue wave began", 2),
        ("cue nod began", 1),
        ("button 3 over the link", 1),
        ("stop", 1),
    ]
    assert {row.board for row in summed.pressed} == {"board 4 on COM3"}
    assert [row.words for row in summed.wrong] == [
        "`trigger` was refused by the board",
        "the board was reset: brown-out",
        "port COM3 went away",
        "this computer slept for 3600 s",
    ]
    assert (summed.sessions, summed.crashed, summed.watched_s) == (1, 0, 180.0)


def test_a_clock_that_is_set_back_changes_no_duration_and_is_told(tmp_path: Path) -> None:
    clock = Clock()
    log = a_log(tmp_path / "log", clock)
    log.write("begin")
    clock.passes(100.0)
    clock.day_s -= 3600.0
    log.write("cue", cue="nod")
    clock.passes(20.0)
    log.write("end")
    log.close()
    summed = tally(read_log(tmp_path / "log").records)
    assert summed.watched_s == 120.0
    assert [row.words for row in summed.wrong] == ["the computer's clock was set back by 3600 s"]


def test_sessions_that_ended_without_a_word_are_counted(tmp_path: Path) -> None:
    for ends in (False, True, False):
        log = a_log(tmp_path / "log")
        log.write("begin")
        if ends:
            log.write("end")
        log.close()
    summed = tally(read_log(tmp_path / "log").records)
    assert (summed.sessions, summed.crashed) == (3, 2)


def test_the_log_of_nothing_is_an_empty_summary() -> None:
    summed = tally(())
    assert (summed.begun, summed.sessions, summed.pressed, summed.wrong) == (None, 0, (), ())


def test_a_record_is_one_line_of_json(tmp_path: Path) -> None:
    log = a_log(tmp_path / "log")
    log.write("cue", port="COM3", cue="nod")
    log.close()
    assert json.loads((tmp_path / "log").read_text()) == {
        "at": "2026-10-31T21:00:00.000+00:00",
        "s": 0.0,
        "what": "cue",
        "port": "COM3",
        "cue": "nod",
    }
