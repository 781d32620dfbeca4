"""mixed-without-idle: a part is mixed with idle, and idle does not move it.

What: where a line says `mixed with idle`, a strand of idle moves that part.

Why: the motion of idle is added to what the part follows. Here idle has none, so the words do
nothing.

Example:

    follows stick from 1000 us to 2000 us, -30 deg to 30 deg, mixed with idle

Instead:

    follows stick from 1000 us to 2000 us, -30 deg to 30 deg

Or let a cue of `idle` move the part.

Source of the limit: this tool's rule (TABLE.md, section 10).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding, Fix, Span


def check(context: Context) -> Iterator[Finding]:
    moved = {name for cue in context.show.score.idle for name in context.uses.get(cue, ())}
    for follow in context.show.rig.follows:
        if not follow.mixed or follow.output in moved or context.partial:
            continue
        words = context.span(follow.mark, "mixed")
        yield Finding(
            "warning",
            "mixed-without-idle",
            f"`{follow.output}` is mixed with idle, and idle does not move it",
            words,
            label="does nothing",
            help=f"or let a strand of idle move `{follow.output}`",
            fix=Fix(_with_comma(context, words), ""),
        )


def _with_comma(context: Context, words: Span) -> Span:
    """The words, and the comma before them."""
    before = context.sources[words.path].text[: words.start].rstrip(" \t")
    return Span(words.path, len(before.removesuffix(",").rstrip(" \t")), words.end)
