"""strands-clash: two strands of idle use the same output.

What: each output belongs to one strand of idle at most, and idle has at most 7 strands.

Why: strands go on side by side for as long as the show is ready, so each would cut the moves of the
other for ever.

Example:

    idle: go breathe, blink

where both move `lid`.

Instead: let one strand do both, or give one of them another part.

Source of the limit: TABLE.md, 1.3 (strands share no output).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import listed
from seqlang.text.findings import Finding
from sim.rulebook import STRANDS


def check(context: Context) -> Iterator[Finding]:
    idle = context.show.score.idle
    taken: dict[str, str] = {}
    for name in idle:
        own = context.uses.get(name, frozenset())
        shared = sorted(own & taken.keys())
        if shared:
            other = taken[shared[0]]
            yield Finding(
                "error",
                "strands-clash",
                f"strands `{other}` and `{name}` of idle both use {listed(shared)}",
                context.place("idle", f"cue {name}"),
                label="the second that uses it",
                related=((context.place("idle", f"cue {other}"), "the first"),),
                help=f"let `{other}` do what `{name}` does, or take {listed(shared)} out of one",
            )
        taken |= dict.fromkeys(own, name)
    if len(idle) > STRANDS:
        yield Finding(
            "error",
            "strands-clash",
            f"idle has {len(idle)} strands, and a board plays {STRANDS}",
            context.place("idle", f"cue {idle[STRANDS]}"),
            label=f"number {STRANDS + 1}",
            help="put two strands into one cue, with `together`",
            asked=len(idle),
            limit=STRANDS,
            unit="strands",
        )
