"""What the board plays after any button presses over the link is what the preview shows of them."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.board.played_as_shown import Recording, agreement
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.chips import CHIPS_BY_ID
from firmware_gen.compiler.show import CompiledBoard
from firmware_gen.crc import cue_tag
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import ReportedMode
from firmware_gen.table.decode import decode
from seqlang.check import check
from seqlang.loading import load
from sim.model import Show
from tests.unchecked import transfer_unchecked

TICK_US = 0.5

SHOWS = sorted(
    (
        path
        for folder in files("shows").iterdir()
        if folder.is_dir()
        for path in folder.iterdir()
        if path.name.endswith(".cues")
    ),
    key=lambda path: path.name,
)


@cache
def compiled(path: Path) -> tuple[Show, CompiledBoard]:
    checked = check(load(path)).show
    assert checked is not None
    return checked.show, checked.compiled.boards[0]


def started(board: CompiledBoard) -> tuple[HostLink, Recording]:
    recording, chip = Recording(), CHIPS_BY_ID[decode(board.data).chip]
    link = HostLink(LocalPort(VirtualBoard(chip=chip, write_s=0.0, witness=recording)))
    transfer_unchecked(link, board.data)
    link.greet()
    while link.state().mode != ReportedMode.READY:
        link.port.read(0.1)
    return link, recording


DEEDS = st.one_of(
    st.tuples(st.just("press"), st.integers(0, 30), st.floats(0.02, 0.9)),
    st.tuples(st.just("trigger"), st.integers(0, 30), st.just(0.0)),
    st.tuples(st.sampled_from(("stop", "limp", "standby")), st.just(0), st.just(0.0)),
    st.tuples(st.just("silence"), st.just(0), st.floats(0.5, 6.0)),
)


def do(link: HostLink, show: Show, board: CompiledBoard, deed: tuple[str, int, float]) -> None:
    name, which, time_s = deed
    if name == "press":
        bindings = show.score.bindings
        button = bindings[which % len(bindings)].button
        link.button(button, True)
        link.port.read(time_s)
        link.button(button, False)
    elif name == "trigger":
        link.trigger(cue_tag(board.cues[which % len(board.cues)].name))
    elif name == "silence":
        link.port.read(time_s)
    else:
        getattr(link, name)()


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.name)
@settings(max_examples=25)
@given(deeds=st.lists(st.tuples(DEEDS, st.floats(0.02, 2.0)), max_size=15))
def test_frames_of_the_board_lie_within_a_tick_of_the_preview(
    path: Path, deeds: list[tuple[tuple[str, int, float], float]]
) -> None:
    show, board = compiled(path)
    link, recording = started(board)
    for deed, pause_s in deeds:
        do(link, show, board, deed)
        link.port.read(pause_s)
    link.port.read(0.5)  # a board without servos is ready in its first frame
    found = agreement(show, board.name, recording, board.cues)
    assert found.frames == len(recording.frames) > 10
    assert found.pulse_us <= TICK_US
    assert found.duty <= 0.001
    assert found.powered_frames == 0


def test_a_press_that_only_the_board_got_shows() -> None:
    show, board = compiled(next(path for path in SHOWS if path.name == "anglerfish.cues"))
    link, recording = started(board)
    link.button(show.score.bindings[0].button, True)
    for _ in range(18):
        link.port.read(0.5)
        link.beacon()
    assert agreement(show, board.name, recording, board.cues).pulse_us <= TICK_US
    recording.requests.clear()
    assert agreement(show, board.name, recording, board.cues).pulse_us > 100
