"""scale-unfit: a cue has `as far as`, and cannot be scaled.

What: such a cue moves a servo, and somebody starts it. It is no strand of idle. It is not a cue
that boards start by themselves, for a silent remote or a low battery.

Why: only moves are scaled, and lights stay as they are written. A cue that boards start by
themselves starts when nobody has set a knob. Idle begins once, and would keep for hours what it
read then.

Example:

    cue sway, as far as knob from 10 % to 90 %
        neck to 10 deg in 2 s
    idle: go sway

Instead:

    cue sway
        neck to 10 deg in 2 s
    idle: go sway

Source of the limit: this tool's rule (LANGUAGE.md, 5.12).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import Cue, Move
from sim.score.tree import acts


def check(context: Context) -> Iterator[Finding]:
    score = context.written.score
    for cue in context.scaled:
        if cue.name in score.idle:
            yield _finding(
                context,
                cue,
                f"`{cue.name}` is a strand of idle, which begins by itself",
                "let what parts do in idle follow the source: `follows ... mixed with idle`",
            )
        elif cue.name in score.unasked:
            yield _finding(
                context,
                cue,
                f"a board starts `{cue.name}` by itself, for a silent remote or a low battery",
                f"write another cue for that, which plays this one: `play {cue.name}`",
            )
        elif not servos_of(context, cue):
            yield _finding(
                context,
                cue,
                f"`{cue.name}` moves no servo, and lights are not scaled",
                "let the light follow the source",
            )


def servos_of(context: Context, cue: Cue) -> tuple[str, ...]:
    """The servos that a cue moves, its part for letting go included."""
    both = [one for one in context.written.score.cues if one.name in (cue.name, cue.let_go)]
    names = (act.output for one in both for act in acts(one.body) if isinstance(act, Move))
    return tuple(dict.fromkeys(names))


def _finding(context: Context, cue: Cue, message: str, help_: str) -> Finding:
    assert cue.scaling is not None
    return Finding(
        "error",
        "scale-unfit",
        message,
        context.span(cue.scaling.mark),
        label="says how far it goes",
        help=f"{help_}; or leave out `, as far as ...`",
    )
