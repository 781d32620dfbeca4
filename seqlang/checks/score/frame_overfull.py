"""frame-overfull: more is due in one frame than a board does in a frame.

What: at most 64 steps of a board fall due within one frame of 20 ms. A step is a move, a fade, an
effect, a switch, a wait, the beginning and each end of a `repeat`. If lines come again and the
table holds them only once, the way there and the way back are steps too. Each cue is counted from
its start as it is written: by itself, and with the most that idle may do in a frame (a warning).
Cues that may run side by side are counted as if the fullest frames of all met (an advice). The
check counts 100,000 steps of a board, with the same share for each of its cues.

Why: a board does the steps in their order, and those that are left a frame later. All that follows
them in the cue is late by as much, and nothing makes up for that. So the cue runs behind its music
and behind the other boards, and no light or servo tells you why. `bellcrank status` counts such
frames.

Example: three repeats side by side, with fades of 1 ms.

Instead: let one thing begin after the other, with `stagger 20 ms` in place of `together`, or with
a `hold` between. Give fades and waits in a `repeat` more time.

Source of the limit: TABLE.md 2.3 (64 ops in a frame).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, Literal

from firmware_gen.compiler.show import CompiledBoard, CompiledShow
from firmware_gen.listing.busy_frames import Busy, Crowd, busy
from seqlang.checks.context import Context
from seqlang.checks.figures import listed, seconds
from seqlang.text.findings import Finding, Span
from sim.rulebook import FRAME_MS, OPS_A_FRAME

LATER: Final = (
    f"the board does the other steps {FRAME_MS} ms later; all that follows them is as late"
)
HELP: Final = (
    f"let one thing begin after the other (`stagger {FRAME_MS} ms` in place of `together`, "
    f"or a `hold {FRAME_MS} ms` between), or give fades and waits in a `repeat` more time"
)


def check(context: Context, compiled: CompiledShow) -> Iterator[Finding]:
    """What is wrong with the tables of a show that could be made."""
    for board in compiled.boards:
        found = busy(board)
        for crowd in found.alone:
            yield _alone(context, board, crowd)
        if found.idle > OPS_A_FRAME:
            yield _idle(context, board, found)
            continue
        for crowd in found.beside_idle:
            yield _beside_idle(context, board, found, crowd)
        if found.together:
            yield _together(context, board, found)


def _alone(context: Context, board: CompiledBoard, crowd: Crowd) -> Finding:
    message = f"{_steps(board, crowd)}, and a board does at most {OPS_A_FRAME}"
    return _finding(context, board, crowd, "warning", message, crowd.ops)


def _idle(context: Context, board: CompiledBoard, found: Busy) -> Finding:
    return Finding(
        "warning",
        "frame-overfull",
        f"idle has up to {found.idle} steps for board `{board.name}` in one frame, and a board "
        f"does at most {OPS_A_FRAME}",
        context.place("idle"),
        label="all strands together",
        notes=(LATER,),
        help=HELP,
        asked=found.idle,
        limit=OPS_A_FRAME,
        unit="steps",
    )


def _beside_idle(context: Context, board: CompiledBoard, found: Busy, crowd: Crowd) -> Finding:
    message = (
        f"{_steps(board, crowd)}, and idle up to {found.idle} more; a board does at most "
        f"{OPS_A_FRAME}"
    )
    return _finding(context, board, crowd, "warning", message, crowd.ops + found.idle)


def _together(context: Context, board: CompiledBoard, found: Busy) -> Finding:
    first, *others = found.together
    names = listed([_name(board, one) for one in found.together])
    asked = sum(one.ops for one in found.together) + found.idle
    message = (
        f"cues {names} may run side by side, with up to {asked} steps for board `{board.name}` in "
        f"one frame, and a board does at most {OPS_A_FRAME}"
    )
    related = [
        (_span(context, board, one), f"up to {one.ops} steps of `{_name(board, one)}`")
        for one in others
    ]
    return _finding(context, board, first, "advice", message, asked, tuple(related))


def _finding(
    context: Context,
    board: CompiledBoard,
    crowd: Crowd,
    severity: Literal["warning", "advice"],
    message: str,
    asked: int,
    related: tuple[tuple[Span, str], ...] = (),
) -> Finding:
    return Finding(
        severity,
        "frame-overfull",
        message,
        _span(context, board, crowd),
        label=f"the first of {crowd.ops} steps of `{_name(board, crowd)}`",
        related=related,
        notes=(LATER,),
        help=HELP,
        asked=asked,
        limit=OPS_A_FRAME,
        unit="steps",
    )


def _name(board: CompiledBoard, crowd: Crowd) -> str:
    return board.cues[crowd.cue].name


def _steps(board: CompiledBoard, crowd: Crowd) -> str:
    """How many steps a cue has in its fullest frame, and when that is."""
    begins = "is let go" if crowd.let_go else "starts"
    when = "its first frame"
    if crowd.at_ms or crowd.let_go:
        when = f"one frame, {seconds(crowd.at_ms)} after it {begins}"
    name = _name(board, crowd)
    return f"cue `{name}` has {crowd.ops} steps for board `{board.name}` in {when}"


def _span(context: Context, board: CompiledBoard, crowd: Crowd) -> Span:
    if crowd.marks:
        return context.span(crowd.marks[0])
    return context.span(board.cues[crowd.cue].mark, "name")
