"""The part of `bellcrank demo` with several boards: one leads, and a wing is pulled off."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from importlib.resources import as_file, files
from typing import TYPE_CHECKING, Final

from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.protocol import BUTTON, EVERYBODY, ONE_WAY, ReportedMode, RequestKind
from seqlang.command import ShowFailed
from seqlang.command._show import read_and_check
from seqlang.command._wired import wired_boards
from seqlang.text.render import summary
from sim.rulebook import FRAME_MS, FRAME_S

if TYPE_CHECKING:
    from firmware_gen.board.wired import WiredBoards
    from seqlang.check import CheckedShow

SHOW: Final = "wings/wings.cues"
CUE: Final = "fly"
PULLED: Final = "right_wing"

_READY_S: Final = 3.0
_PULLED_AFTER_S: Final = 3.0
_PULLED_FOR_S: Final = 0.5
_LONGEST_S: Final = 5.0
_BEACON_S: Final = 0.2


def creature() -> Iterator[tuple[str, str]]:
    """Play it; what is to be said of each step."""
    with as_file(files("shows") / SHOW) as path:
        _, checked = read_and_check(str(path))
    if checked.show is None:
        raise ShowFailed(f"{SHOW}: {summary(checked.findings)}")
    show, wired = checked.show, wired_boards(checked.show, say=lambda _: None)
    score = show.show.score
    yield "creature", f"{score.title} ({SHOW}): {len(wired.boards)} boards, `{wired.leader}` leads"
    _wait(wired, _READY_S)
    button = next(one.button for one in score.bindings if one.cue == CUE)
    apart_ms = _press(wired, show, button)
    yield (
        "press",
        f"button {button} at `{wired.leader}`: `{CUE}` starts on all of them, "
        f"{apart_ms:.0f} ms apart",
    )
    _wait(wired, _PULLED_AFTER_S)
    wired.unplug(PULLED)
    _wait(wired, _PULLED_FOR_S)
    wired.plug(PULLED)
    back_s = _until(wired, lambda: _plays(wired, show, PULLED) and _is_ready(wired, PULLED))
    yield (
        "unplug",
        f"`{PULLED}` loses feed and signal in mid-cue for {_PULLED_FOR_S:.1f} s; "
        f"{back_s:.1f} s later its servos hold, one after another, and it has joined `{CUE}`",
    )


def _press(wired: WiredBoards, show: CheckedShow, button: int) -> float:
    """Press a button at the board that leads; how far apart the boards start (ms)."""
    assert wired.leader is not None
    for seq, is_down in ((1, 1), (2, 0)):
        data = LinkFrame(EVERYBODY, RequestKind.BUTTON | ONE_WAY, seq, BUTTON.pack(button, is_down))
        wired.boards[wired.leader].receive(encode(data))
    _until(wired, lambda: any(_plays(wired, show, name) for name in wired.boards))
    apart_s = _until(wired, lambda: all(_plays(wired, show, name) for name in wired.boards))
    return apart_s * 1000


def _say(wired: WiredBoards, kind: RequestKind, seq: int, payload: bytes = b"") -> None:
    assert wired.leader is not None
    wired.boards[wired.leader].receive(encode(LinkFrame(EVERYBODY, kind | ONE_WAY, seq, payload)))


def _wait(wired: WiredBoards, seconds: float) -> None:
    """Let time pass. The remote says all the while that it is there."""
    end_s = wired.time_s + seconds
    while wired.time_s < end_s:
        _say(wired, RequestKind.BEACON, wired.boards[wired.leader or ""].frames % 256)
        wired.advance(min(end_s, wired.time_s + _BEACON_S))


def _until(wired: WiredBoards, what: Callable[[], bool]) -> float:
    """Let time pass until something is true; how long that took."""
    began_s = wired.time_s
    while not what() and wired.time_s < began_s + _LONGEST_S:
        _wait(wired, FRAME_S / FRAME_MS)
    return wired.time_s - began_s


def _plays(wired: WiredBoards, show: CheckedShow, name: str) -> bool:
    board = next(one for one in show.compiled.boards if one.name == name)
    number = [cue.name for cue in board.cues].index(CUE)
    player = wired.boards[name].board.player
    return player is not None and bool(player.running_cues >> number & 1)


def _is_ready(wired: WiredBoards, name: str) -> bool:
    return wired.boards[name].board.mode == ReportedMode.READY
