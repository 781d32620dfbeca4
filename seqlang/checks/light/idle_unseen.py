"""idle-unseen: a strand of idle sets an output that follows something else all the time.

What: a strand of idle fades no lamp that follows a move, and it sets no output that follows a
sensor, unless a part's line says `mixed with idle`.

Why: idle goes on for as long as the show is ready, and so does the follower. A lamp that follows a
move goes back to it at once. So the fade shows only as a jerk, again at every pass. An output that
follows a sensor shows nothing of idle. A cue that a button starts has the output while it runs.

Example:

    lamp throat: head pin PE3
        follows jaw from 5 deg to 40 deg, 0 % to 70 %
    cue dream
        throat fade to 30 % in 2 s
        throat fade to 0 % in 2 s
    idle: go dream

Instead: take the fades out of the strand, or the `follows` line out of the lamp. An effect
(`throat breathe every 4 s`) lies over what the lamp follows, in idle too.

Source of the limit: this tool's rule (TABLE.md, sections 10 and 12).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import Cue, Fade, Follow, Move, Sensor, Shine
from sim.score.tree import acts


def check(context: Context) -> Iterator[Finding]:
    rig, score = context.written.rig, context.written.score
    shines = {one.output: one for one in rig.shines}
    sensors = {
        one.output: one
        for one in rig.follows
        if not one.mixed and isinstance(context.sources_followed.get(one.source), Sensor)
    }
    bound = {binding.cue for binding in score.bindings} | score.unasked
    for cue in score.cues:
        if cue.name not in score.idle:
            continue
        told: set[str] = set()
        for act in acts(cue.body):
            if not isinstance(act, Fade | Move) or act.output in told:
                continue
            if (shine := shines.get(act.output)) is not None:
                told.add(act.output)
                yield _jerks(context, cue, act, shine)
            elif act.output in sensors and cue.name not in bound:
                told.add(act.output)
                yield _unseen(context, cue, act, sensors[act.output])


def _jerks(context: Context, cue: Cue, act: Fade | Move, shine: Shine) -> Finding:
    return Finding(
        "error",
        "idle-unseen",
        f"strand `{cue.name}` of idle fades `{shine.output}`, which follows `{shine.servo}` and "
        "jumps back to it afterwards",
        context.span(act.mark, "name"),
        label="seen as a jerk",
        related=((context.span(shine.mark), f"follows `{shine.servo}` all the time"),),
        help=f"take the fades of `{shine.output}` out of `{cue.name}`, or this line out of "
        f"`{shine.output}`",
    )


def _unseen(context: Context, cue: Cue, act: Fade | Move, follow: Follow) -> Finding:
    does = "fades" if isinstance(act, Fade) else "moves"
    return Finding(
        "warning",
        "idle-unseen",
        f"strand `{cue.name}` of idle {does} `{follow.output}`, which follows `{follow.source}` "
        "instead",
        context.span(act.mark, "name"),
        label="does nothing",
        related=((context.span(follow.mark), f"follows `{follow.source}` all the time"),),
        help=f"take `{follow.output}` out of `{cue.name}`"
        + ("" if isinstance(act, Fade) else ", or write `, mixed with idle` behind this line"),
    )
