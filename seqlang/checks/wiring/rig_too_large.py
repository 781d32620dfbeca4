"""rig-too-large: a rig has more boards, servos or other parts than the check can handle.

What: at most 16 boards, 64 servos, 256 outputs, 256 wired buttons, 512 cues.

Why: the check looks at what all parts draw together in any posture; with hundreds of servos it
would run for minutes. If this is found, nothing else is checked.

Example: a file with 17 boards.

Instead: a second show for the second costume.

Source of the limit: this tool's own.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import Servo

MOST_BOARDS = 16
MOST_SERVOS = 64
MOST_OUTPUTS = 256
MOST_INPUTS = 256
MOST_CUES = 512


def check(context: Context) -> Iterator[Finding]:
    rig = context.show.rig
    servos = [output for output in rig.outputs if isinstance(output, Servo)]
    counts = (
        ("boards", rig.boards, MOST_BOARDS),
        ("servos", servos, MOST_SERVOS),
        ("outputs", rig.outputs, MOST_OUTPUTS),
        ("wired buttons", rig.inputs, MOST_INPUTS),
        ("cues", context.show.score.cues, MOST_CUES),
    )
    for what, found, limit in counts:
        if len(found) > limit:
            surplus = found[limit]
            part = "name" if context.has_part(surplus.mark, "name") else None
            yield Finding(
                "error",
                "rig-too-large",
                f"this show has {len(found)} {what}, and at most {limit} are checked together",
                context.span(surplus.mark, part),
                label=f"number {limit + 1}",
                notes=("nothing else is checked",),
                help="make two shows of it",
                asked=len(found),
                limit=limit,
                unit=what,
            )
