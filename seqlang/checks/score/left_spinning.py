"""left-spinning: a cue ends, and a part that it has set turning goes on turning.

What: a part that a cue has set turning stands still when the cue ends, or idle takes it back. A
warning; advice where the cue of another button takes the part back.

Why: such a part turns until something else stops it. It winds up what it catches while nobody looks
at it, and the figures for battery and heat count it as standing between cues.

Example:

    cue whirl
        rotor to 60 rpm in 800 ms
        hold 3 s

Instead:

    cue whirl
        rotor to 60 rpm in 800 ms
        hold 3 s
        rotor to 0 rpm in 800 ms

Source of the limit: TABLE.md, 2.4 (an output without an owner keeps its place); common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from seqlang.checks.context import Context
from seqlang.checks.figures import figure
from seqlang.text.findings import Finding
from sim.model import Cue, Move
from sim.score.planned_moves import last_moves
from sim.score.tree import acts, duration_ms, parts_for_letting_go


def check(context: Context) -> Iterator[Finding]:
    score = context.show.score
    round_and_round = {name for name, servo in context.servos.items() if servo.load.spins}
    if not round_and_round or context.partial:
        return
    idle = frozenset().union(*(context.uses.get(name, frozenset()) for name in score.idle))
    parts = parts_for_letting_go(score)
    for cue in score.cues:
        if cue.name in score.idle or cue.name not in context.reachable or cue.let_go:
            continue
        if duration_ms(cue.body) == inf:  # `endless_cue` says what takes it back
            continue
        before = parts.get(cue.name)
        ends = ({} if before is None else last_moves(before)) | last_moves(cue)
        for name in sorted(round_and_round & set(ends) - idle):
            if ends[name].angle_deg != 0.0:
                yield _finding(context, cue, ends[name])


def _finding(context: Context, cue: Cue, last: Move) -> Finding:
    others = [
        other.name
        for other in context.show.score.cues
        if other is not cue
        and other.name in context.reachable
        and any(
            isinstance(act, Move) and act.output == last.output and act.angle_deg == 0.0
            for act in acts(other.body)
        )
    ]
    until = f"until `{others[0]}` or a stop" if others else "until a stop"
    return Finding(
        "advice" if others else "warning",
        "left-spinning",
        f"`{last.output}` goes on turning at {figure(last.angle_deg)} rpm when `{cue.name}` has "
        f"ended, {until}",
        context.span(last.mark, "target"),
        label="the last that the cue asks of it",
        notes=("battery and heat are worked out as if it stood still between cues",),
        help=f"end the cue with `{last.output} to 0 rpm in 800 ms`",
        asked=abs(last.angle_deg),
        limit=0.0,
        unit="rpm",
    )
