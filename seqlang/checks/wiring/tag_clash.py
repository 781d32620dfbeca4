"""tag-clash: two cue names give the same number on the link.

What: the table and the link call a cue by a 16-bit check sum of its name; two cues of a show
must not share one.

Why: a trigger for one would start the other.

Example: two names whose CRC-16 is the same (among 32 cues, about one show in 130).

Instead: rename one of them.

Source of the limit: TABLE.md, cues (tags differ within a table).
"""

from __future__ import annotations

from collections.abc import Iterator

from firmware_gen.crc import cue_tag
from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import Cue


def check(context: Context) -> Iterator[Finding]:
    first: dict[int, Cue] = {}
    taken = {cue_tag(cue.name) for cue in context.written.score.cues}
    for cue in context.written.score.cues:
        earlier = first.setdefault(cue_tag(cue.name), cue)
        if earlier is cue:
            continue
        free = next(
            f"{cue.name}_{n}" for n in range(2, 40) if cue_tag(f"{cue.name}_{n}") not in taken
        )
        yield Finding(
            "error",
            "tag-clash",
            f"cues `{earlier.name}` and `{cue.name}` have the same number on the link",
            context.span(cue.mark, "name"),
            label=f"0x{cue_tag(cue.name):04X}, like `{earlier.name}`",
            related=((context.span(earlier.mark, "name"), "the other cue"),),
            help=f"rename it, to `{free}` for example",
        )
