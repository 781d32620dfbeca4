"""The virtual board: real time behind real ports, fast time in process, one behaviour."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from small_tables import NEW, NOD, OLD

from firmware_gen.board.played_as_shown import Recording
from firmware_gen.board.storage import Eeprom
from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard, stored_eeprom
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.ports import open_port
from firmware_gen.link.protocol import ReportedMode, ResetCause
from firmware_gen.player.outputs import Frame
from firmware_gen.player.player import Player
from sim.rulebook import FRAME_S
from tests.unchecked import transfer_unchecked
from tests.waiting import until

PORTS = [
    pytest.param(False, id="socket"),
    pytest.param(
        True,
        id="pseudo-terminal",
        marks=pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals"),
    ),
]


@pytest.mark.parametrize("pseudo_terminal", PORTS)
def test_a_show_is_transferred_and_triggered_through_a_real_port(pseudo_terminal: bool) -> None:
    recording = Recording()
    virtual = VirtualBoard(write_s=0.0, witness=recording)
    with Server(virtual, pseudo_terminal=pseudo_terminal, speed=20.0) as server:
        port = open_port(server.url)
        link = HostLink(port)
        assert transfer_unchecked(link, OLD).length == len(OLD)
        while link.state().mode != ReportedMode.READY:
            time.sleep(0.002)
        assert link.trigger(NOD).done
        while not link.state().running_cues:
            time.sleep(0.002)
        while link.state().running_cues:
            time.sleep(0.002)
        assert link.table() == OLD
        assert link.state().bad_frames == 0
        port.close()
    pulses = {frame.pulses[0] for frame in recording.frames}
    assert max(pulses) - min(pulse for pulse in pulses if pulse) > 1000


def test_it_plays_in_real_time() -> None:
    virtual = VirtualBoard()
    started = time.monotonic()
    with Server(virtual):
        time.sleep(0.3)
    passed = time.monotonic() - started
    assert virtual.frames <= passed / FRAME_S + 1
    assert virtual.frames >= 0.2 / FRAME_S


def test_on_a_leash_its_time_waits_for_the_host() -> None:
    virtual = VirtualBoard()
    with Server(virtual, speed=1000.0, leash_s=0.5) as server:
        port = open_port(server.url)
        link = HostLink(port)
        link.greet()
        greeted_s = virtual.time_s
        time.sleep(0.1)
        assert virtual.time_s <= greeted_s + 0.5
        link.state()
        assert until(lambda: virtual.time_s > greeted_s + 0.5)
        port.close()


def test_the_next_host_reaches_it_after_the_first_has_gone() -> None:
    with Server(VirtualBoard()) as server:
        for _ in range(3):
            port = open_port(server.url)
            assert HostLink(port).greet().mode == ReportedMode.BLANK
            port.close()


def test_a_second_host_is_turned_away_while_the_first_talks() -> None:
    with Server(VirtualBoard()) as server:
        first = open_port(server.url)
        HostLink(first).greet()
        second = open_port(server.url)
        with pytest.raises(LinkFailure) as failure:
            HostLink(second).greet()
        assert failure.value.reason == "port-busy"
        assert HostLink(first).greet().mode == ReportedMode.BLANK
        first.close()
        second.close()


def test_a_number_that_is_taken_is_told() -> None:
    with Server(VirtualBoard()) as server:
        number = int(server.url.rsplit(":", 1)[1])
        with pytest.raises(LinkFailure, match=f"can listen at {number}"):
            Server(VirtualBoard(), tcp_port=number)
    with pytest.raises(LinkFailure, match="can listen at 99999"):
        Server(VirtualBoard(), tcp_port=99999)


def test_a_stored_board_remembers_its_show(tmp_path: Path) -> None:
    store = tmp_path / "board.bin"
    for table in (OLD, NEW):
        with Server(VirtualBoard(stored_eeprom(store), write_s=0.0), store=store) as server:
            port = open_port(server.url)
            transfer_unchecked(HostLink(port), table)
            port.close()
        assert VirtualBoard(stored_eeprom(store)).board.slots.table == table
    assert [path.name for path in tmp_path.iterdir()] == ["board.bin"]


def test_a_file_that_is_no_stored_board_is_told(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"123")
    with pytest.raises(LinkFailure, match="holds 3 bytes, a board's memory has 1024"):
        stored_eeprom(tmp_path / "x")


def test_a_restart_keeps_what_is_stored_and_tells_its_cause() -> None:
    virtual = VirtualBoard(write_s=0.0)
    link = HostLink(LocalPort(virtual))
    transfer_unchecked(link, OLD)
    assert link.state().reset_cause == ResetCause.POWER_ON
    virtual.restart(ResetCause.WATCHDOG)
    link.greet()
    assert link.state().reset_cause == ResetCause.WATCHDOG
    assert link.table() == OLD


def test_fast_time_plays_the_very_frames_of_the_player() -> None:
    recording = Recording()
    virtual = VirtualBoard(write_s=0.0, witness=recording)
    transfer_unchecked(HostLink(LocalPort(virtual)), OLD)
    virtual.restart()
    started = virtual.frames
    virtual.advance(virtual.time_s + 10.0)
    assert len(recording.frames) == virtual.frames - started == 500
    player = Player(OLD)
    assert recording.frames == [player.frame() for _ in range(500)]


def test_time_passes_in_fast_time_only_while_the_host_waits() -> None:
    virtual = VirtualBoard()
    port = LocalPort(virtual)
    assert port.read(0.5) == b""
    assert port.now() == pytest.approx(0.5)
    assert virtual.frames == 25


def test_storing_takes_its_time_and_frames_go_on() -> None:
    virtual = VirtualBoard(Eeprom(), write_s=0.1)
    transfer_unchecked(HostLink(LocalPort(virtual)), OLD)
    assert virtual.time_s >= 0.1 * virtual.eeprom.writes
    assert virtual.frames == pytest.approx(virtual.time_s / FRAME_S, abs=1)


def test_a_recording_tells_the_frames_in_which_nothing_was_heard() -> None:
    """Heard before frames 0, 3, 4 and 6 of eight: silent from each to the frame before the next."""
    recording = Recording()
    for number in range(8):
        if number in (0, 3, 4, 6):
            recording.heard()
            recording.heard()
        recording.played(Frame((), (), (), ()))
    assert recording.silences() == [(0.0, 40.0), (80.0, 100.0), (120.0, 140.0)]
