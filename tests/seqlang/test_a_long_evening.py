"""A long evening on the virtual board, watched as `bellcrank monitor` does, and summed up after it.

What the summary must say is counted apart, at the board itself.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random
from types import SimpleNamespace

import pytest
from flap_show import SHOW, table_of

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.compiler.show import CompiledShow
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import ReportedMode, ResetCause
from firmware_gen.player.outputs import Frame
from seqlang.check import check
from seqlang.command._watching import LOOK_S, WatchedBoard
from seqlang.loading import load
from seqlang.monitoring.event_log import EventLog, read_log
from seqlang.monitoring.tally import tally
from tests.unchecked import transfer_unchecked

TEXT = SHOW.format(address=1, far=40)
EPOCH_S = 1_800_000_000.0


class Begun(Witness):
    """How often each cue began."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.virtual: VirtualBoard | None = None
        self._running = 0

    def played(self, frame: Frame | None) -> None:
        assert self.virtual is not None
        player = self.virtual.board.player
        running = player.running_cues if player else 0
        for number, name in enumerate(("wave", "lift")):
            self.counts[name] += (running & ~self._running) >> number & 1
        self._running = running


class Evening:
    """Somebody who presses, a supply that sags now and then, and a monitor."""

    def __init__(self, path: Path, show: CompiledShow, table: bytes, seed: int) -> None:
        self.begun = Begun()
        self.virtual = self.begun.virtual = VirtualBoard(write_s=0.0, witness=self.begun)
        self.remote = HostLink(LocalPort(self.virtual))
        transfer_unchecked(self.remote, table)
        self.random = Random(seed)
        self.show = show
        self.path = path
        self.sags = self.stops = 0
        self.virtual.advance(self.virtual.time_s + 3.0)

    @property
    def now_s(self) -> float:
        return self.virtual.time_s

    def watched(self, hours: float, *, ends: bool) -> float:
        """One session of the monitor; the seconds that it lasted. `ends`: it says so."""
        log = EventLog(self.path, lambda: EPOCH_S + self.now_s, lambda: self.now_s)
        board = WatchedBoard(HostLink(LocalPort(self.virtual)), self.show, log.write)
        log.write("begin")
        began_s = self.now_s
        act_s = began_s + 5.0
        while self.now_s < began_s + hours * 3600.0:
            board.look()
            self.virtual.advance(self.now_s + LOOK_S)
            if self.now_s >= act_s:
                act_s = self.now_s + self.random.uniform(6.0, 60.0)
                self.act()
        self.virtual.advance(self.now_s + LOOK_S)
        board.look()  # at what was pressed last
        if ends:
            log.write("end")
        log.close()
        return self.now_s - began_s

    def act(self) -> None:
        """Nobody presses before the monitor has seen what came before."""
        mode = self.virtual.board.mode
        chance = self.random.random()
        if mode == ReportedMode.LIMP:
            self.remote.standby()
        elif mode != ReportedMode.READY:
            pass
        elif chance < 0.02:
            self.sags += 1
            self.virtual.restart(ResetCause.BROWN_OUT)
            self.remote.greet()
        elif chance < 0.05:
            self.stops += 1
            self.remote.stop()
        else:
            cue = self.show.boards[0].table.cues[0 if chance < 0.6 else 1]
            self.remote.trigger(cue.tag)


@pytest.mark.parametrize(
    ("hours", "seed"), [(1.0, 1), pytest.param(8.0, 2, marks=pytest.mark.long)]
)
def test_the_summary_of_a_long_evening_says_what_happened(
    hours: float, seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "flap.cues"
    path.write_text(TEXT)
    checked = check(load(path)).show
    assert checked is not None
    log = tmp_path / "evening.log"
    evening = Evening(log, checked.compiled, table_of(path), seed)
    clock = SimpleNamespace(monotonic=lambda: evening.now_s)
    monkeypatch.setattr("seqlang.command._watching.time", clock)
    # the laptop crashes in the middle of the evening
    first_s = evening.watched(hours / 2, ends=False)
    evening.virtual.advance(evening.now_s + 120.0)
    second_s = evening.watched(hours / 2, ends=True)
    read = read_log(log)
    assert read.unreadable == 0
    found = tally(read.records)
    assert (found.sessions, found.crashed) == (2, 1)
    assert found.watched_s == pytest.approx(first_s + second_s, abs=60.0)
    counts = {row.what: row.count for row in found.pressed}
    assert evening.begun.counts["wave"] > 20 * hours
    assert counts == {f"cue {name} began": count for name, count in evening.begun.counts.items()}
    assert evening.sags > 0
    assert evening.stops > 0
    resets = [row for row in found.wrong if "reset" in row.words or "restart" in row.words]
    assert len(resets) == evening.sags
    assert found.wrong == tuple(resets)
