"""too-many-threads: a cue runs more repeats beside or inside one another than a board can.

What: at most 10 threads run a cue and the strands of idle beside it, repeats nest at most 3 deep in
each, and nothing follows two `repeat while held` that run side by side.

Why: each repeat beside something else needs a thread of its own, and each thread takes memory on
the chip.

Example: eleven `repeat` blocks in one `together`.

Instead: put repeats that take the same time into one `repeat`.

Source of the limit: TABLE.md, code (loops nest at most 3 deep in a thread) and the player (10
threads).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import Cue
from sim.rulebook import LOOP_DEPTH, THREADS
from sim.score.program import LoopEnd, LoopStart
from sim.score.threads import ScoreThread, ThreadError, program, strands_reserved


def check(context: Context) -> Iterator[Finding]:
    for cue in context.show.score.cues:
        if not context.has_repeat(cue) and not context.show.score.idle:
            continue
        for board in context.show.rig.boards:
            names = {
                name for name in context.uses[cue.name] if context.outputs[name].board == board.name
            }
            if not names:
                continue
            try:
                one = program(cue, names)
            except ThreadError as error:
                if "takes no time" not in str(error):
                    yield _open_ended(context, error)
                continue
            idle = _idle_threads(context, cue, board.name)
            if one.reserved > THREADS - idle:
                yield _threads(context, cue, one.reserved, idle)
            for thread in one.threads:
                yield from _depth(context, cue, thread)


def _open_ended(context: Context, error: ThreadError) -> Finding:
    return Finding(
        "error",
        "too-many-threads",
        str(error),
        context.span(error.mark),
        label="it is not known when both have ended",
        help="put both into one `repeat while held`, or end the cue with them",
    )


def _idle_threads(context: Context, cue: Cue, board: str) -> int:
    """Threads of a board that the strands of idle keep; to each strand, those before it do."""
    idle = context.show.score.idle
    before = idle[: idle.index(cue.name)] if cue.name in idle else idle
    names = {name for name, output in context.outputs.items() if output.board == board}
    try:
        cues = [one for one in context.show.score.cues if context.uses[one.name] & names]
        return strands_reserved(cues, names, before)
    except ThreadError:
        return 0  # it is told of where its own turn comes


def _threads(context: Context, cue: Cue, count: int, idle: int) -> Finding:
    beside = f", {idle} of which idle keeps" if idle else ""
    return Finding(
        "error",
        "too-many-threads",
        f"cue `{cue.name}` needs {count} threads, and a board has {THREADS}{beside}",
        context.span(cue.mark, "name"),
        label="each repeat beside something else needs one",
        help="put repeats that take the same time into one `repeat`",
        asked=count,
        limit=THREADS - idle,
        unit="threads",
    )


def _depth(context: Context, cue: Cue, thread: ScoreThread) -> Iterator[Finding]:
    depth = 0
    for item in thread:
        if isinstance(item, LoopStart):
            depth += 1
            if depth == LOOP_DEPTH + 1:
                yield Finding(
                    "error",
                    "too-many-threads",
                    f"repeats of cue `{cue.name}` nest more than {LOOP_DEPTH} deep",
                    context.span(item.mark),
                    label=f"repeat number {depth} inside one another",
                    help="multiply two of the counts into one repeat",
                    asked=depth,
                    limit=LOOP_DEPTH,
                    unit="deep",
                )
        elif isinstance(item, LoopEnd):
            depth -= 1
