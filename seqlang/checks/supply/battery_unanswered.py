"""battery-unanswered: a low battery starts nothing, or nothing says that it is low.

What: where a board watches its battery, `battery low` starts a cue; and where `battery low` stands
under `remote`, a board watches its battery, and no other board leads it.

Why: if nobody sees a warning, the parts stop in mid-show. A board that follows starts no cue of its
own. It stops all the same.

Example:

    board box: atmega2560, address 1
        watch pin PF1, divider 22 kohm over 15 kohm

Instead:

    remote
        battery low: go warn

Source of the limit: TABLE.md, section 11 (a warning).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding


def check(context: Context) -> Iterator[Finding]:
    if context.partial:
        return
    rig, score = context.show.rig, context.show.score
    watching = [one for one in rig.boards if one.watch is not None]
    heard = [one for one in watching if rig.leader is None or one.leads]
    if score.low_cue is None and heard and heard[0].watch is not None:
        yield Finding(
            "warning",
            "battery-unanswered",
            f"board `{heard[0].name}` watches its battery, and a low one starts nothing",
            context.span(heard[0].watch.mark),
            label="says nothing before it stops",
            help="let a light or a move say it: `battery low: go CUE` under `remote`",
        )
    if score.low_cue is not None and not heard:
        follows = bool(watching)
        yield Finding(
            "warning",
            "battery-unanswered",
            f"nothing starts `{score.low_cue}`: no board that may start it watches a battery",
            context.place("low battery", "cue"),
            label="never starts",
            help="let the board that leads watch its battery"
            if follows
            else "give a board a `watch` line, such as `watch pin PF1, divider 22 kohm over "
            "15 kohm`",
        )
