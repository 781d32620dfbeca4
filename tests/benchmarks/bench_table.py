"""The byte table: how small it is, and how much faster than real time it plays."""

from __future__ import annotations

import lzma
import statistics
import time
from pathlib import Path

from firmware_gen.compiler.show import CompiledShow, compile_show
from firmware_gen.crc import cue_tag
from firmware_gen.listing.account import account, mean_costs
from firmware_gen.player.player import Player
from seqlang.loading import load
from sim.model import Press, Show
from sim.rehearsal.run_through import run_through
from sim.rulebook import FRAME_MS

ROOT = Path(__file__).resolve().parents[2]
SHOWS = sorted((ROOT / "shows").glob("*/*.cues"))
ANGLERFISH = ROOT / "shows" / "anglerfish" / "anglerfish.cues"


def run() -> list[tuple[str, float, float] | tuple[str, float, float, str]]:
    compiled = [compile_show(_show(path)) for path in SHOWS]
    moves, fades = mean_costs(account(board) for one in compiled for board in one.boards)
    fish = compile_show(_show(ANGLERFISH))
    frames = _frames(fish)
    size = sum(len(board.data) for board in fish.boards)
    return [
        ("bytes of a mean servo move, waits included", moves.mean or 0.0, 5.0),
        ("bytes of a mean fade, waits and colours included", fades.mean or 0.0, 6.0),
        ("bytes of the anglerfish's largest table", _largest(fish), 500.0),
        (
            "lzma over the anglerfish's 50 Hz frames / its tables",
            _packed(frames) / size,
            10.0,
            ">=",
        ),
        ("fast time on the anglerfish, times real time", _fast_time(fish), 200.0, ">="),
    ]


def _show(path: Path) -> Show:
    show = load(path).show
    assert show is not None
    return show


def _largest(compiled: CompiledShow) -> float:
    return float(max(len(board.data) for board in compiled.boards))


def _packed(frames: bytes) -> int:
    """Bytes of the frames under the strongest setting of a general packer."""
    return len(lzma.compress(frames, preset=9 | lzma.PRESET_EXTREME))


def _frames(compiled: CompiledShow) -> bytes:
    """All boards' output bytes over the rehearsal that plays every cue, frame by frame."""
    return b"".join(_play(compiled))


def _play(compiled: CompiledShow) -> list[bytes]:
    whole = run_through(compiled.show)
    presses, count = whole.presses, whole.length_ms // FRAME_MS
    by_frame: dict[int, list[tuple[Press, bool]]] = {}
    for press in presses:
        by_frame.setdefault(-(-press.at_ms // FRAME_MS), []).append((press, True))
        if press.button is not None:
            end = -(-(press.at_ms + press.held_ms) // FRAME_MS)
            by_frame.setdefault(end, []).append((press, False))
    players = [Player(board.data) for board in compiled.boards]
    rows: list[bytes] = []
    for number in range(count):
        for player in players:
            for press, down in by_frame.get(number, ()):
                if press.button is not None:
                    player.button(press.button, down)
                elif press.cue is not None:
                    player.trigger(cue_tag(press.cue))
            player.heard()
            rows.append(player.frame().raw)
    return rows


def _fast_time(compiled: CompiledShow, runs: int = 5) -> float:
    """Real time of the rehearsal over the time it takes to play; median of some runs."""
    ratios = []
    for _ in range(runs):
        start = time.perf_counter()
        rows = _play(compiled)
        taken = time.perf_counter() - start
        ratios.append(len(rows) / len(compiled.boards) * FRAME_MS / 1000 / taken)
    return statistics.median(ratios)
