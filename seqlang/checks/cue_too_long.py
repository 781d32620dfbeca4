"""cue-too-long: a cue's counted repeats add up to more than a day, or a count is too large.

What: a cue ends within 24 h, and a repeat has a count of at most 65534. Longer ones are written as
repeats for ever.

Why: such a count is a slip of the pen; the table keeps counts in 16 bits.

Example:

    repeat 1000000 times
        belly fade to 80% in 1 s
        belly fade to 20% in 1 s

Instead:

    repeat 43200 times

Source of the limit: TABLE.md, code (loop start: u16); the day is this tool's rule.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from seqlang import units
from seqlang.checks.rewrite import rewritten
from seqlang.checks.scene import Scene
from seqlang.checks.words import figure
from seqlang.diagnostics import Finding
from sim.model import Cue, Repeat
from sim.score import Lengths, walk

MOST_TIMES = 65_534
"""TABLE.md: 0 means for ever, 65535 while held."""

LONGEST_MS = 24 * 3600 * 1000


def check(scene: Scene) -> Iterator[Finding]:
    for cue in scene.show.score.cues:
        repeats = [step for step in walk(cue.body) if isinstance(step, Repeat) and step.times]
        if not repeats:
            continue
        over = [repeat for repeat in repeats if (repeat.times or 0) > MOST_TIMES]
        for repeat in over:
            yield _count(scene, repeat)
        if not over:
            yield from _length(scene, cue, repeats)


def _count(scene: Scene, repeat: Repeat) -> Finding:
    times = repeat.times or 0
    span = scene.span(repeat.mark, "count")
    return Finding(
        "error",
        "cue-too-long",
        f"a repeat of {times} times is more than the {MOST_TIMES} times a table can say",
        span,
        label=f"at most {MOST_TIMES}",
        help="`repeat for ever` runs until something else starts",
        fix=rewritten(scene, span, MOST_TIMES, units.PLAIN, "down"),
        asked=times,
        limit=MOST_TIMES,
        unit="times",
    )


def _length(scene: Scene, cue: Cue, repeats: list[Repeat]) -> Iterator[Finding]:
    lengths = Lengths(cue.body)
    total = lengths[cue.body]
    if total <= LONGEST_MS or total == inf:
        return
    longest = max(repeats, key=lambda repeat: lengths[repeat])
    times = longest.times or 0
    # what the cue would take with one pass of it, and how many more passes a day has room for
    surplus = total - LONGEST_MS
    outer = (total - lengths[longest]) > surplus
    passing = int((lengths[longest] - surplus) // lengths[longest.body]) if outer else 0
    passing = passing or max(1, int(times * LONGEST_MS / total))
    span = scene.span(longest.mark, "count")
    yield Finding(
        "error",
        "cue-too-long",
        f"cue `{cue.name}` would run for {figure(total / 3_600_000)} h, longer than the "
        f"{LONGEST_MS // 3_600_000} h a cue may take",
        span,
        label=f"each pass takes {figure(lengths[longest.body] / 1000)} s",
        help=f"`repeat {passing} times`, or `repeat for ever` until something else starts",
        fix=rewritten(scene, span, passing, units.PLAIN, "down"),
        asked=total / 3_600_000,
        limit=LONGEST_MS / 3_600_000,
        unit="h",
    )
