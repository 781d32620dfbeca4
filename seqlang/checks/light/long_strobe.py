"""long-strobe: a light flashes without a pause for longer than guidance for events allows.

What: no light, and not all of them together, makes a row of flashes of more than 30 seconds.
Flashes that follow one another within half a second are one row; slower flashes are not a row.

Why: people who are sensitive to flicker need pauses, and the longer a row, the more of them react.
An audience should be warned of any strobe.

Example: `repeat 100 times` of a fade up and a fade down of 200 ms each.

Instead: twenty seconds of it, then some seconds of calm.

Source of the limit: guidance for strobe lights at public events in the United Kingdom, as others
report it (see `sim/light/sequences.py`); its own text was not found. It is guidance, not a
standard; the venue's rules come first. Its other limit, four flashes a second, is less strict than
`general-flash`. This tool decides how slow a row may be and still count.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from seqlang.checks.context import Context
from seqlang.checks.figures import listed
from seqlang.text.findings import Finding
from sim.light.sequences import STROBE_FLASHES, STROBE_S
from sim.model import Cue
from sim.strain.eye import LongRow


def check(context: Context) -> Iterator[Finding]:
    if not context.lamps and not context.strips:
        return
    for cue in context.lit.score.cues:
        if not context.eye.may_make_row(cue) or not context.playable(cue):
            continue
        if not context.eye.flashes(cue):
            for one in context.eye.long_rows(cue):
                yield _finding(context, cue, one)


def _finding(context: Context, cue: Cue, one: LongRow) -> Finding:
    lasts = one.row.lasts_s
    length = "without an end" if lasts == inf else f"for {lasts:.0f} s without a pause"
    flashes = "flashes" if len(one.outputs) == 1 else "flash"
    return Finding(
        "warning",
        "long-strobe",
        f"{listed(list(one.outputs))} {flashes} {one.row.rate:.1f} times a second {length} in cue "
        f"`{cue.name}`, and guidance for events allows {STROBE_S} s at a time",
        context.span(cue.mark, "name"),
        label="no pause of half a second or more",
        notes=(
            f"guidance for strobe lights at public events: at most {STROBE_FLASHES} flashes a "
            f"second, {STROBE_S} s at a time, and a warning at the door",
        ),
        help=f"add some seconds without flashes before {STROBE_S} s are over, or slow it to less "
        "than 2 flashes a second",
        asked=None if lasts == inf else lasts,
        limit=STROBE_S,
        unit="s",
    )
