"""light-too-long: the cues whose light may flash take longer to watch than a check does.

What: the cues in which a light can change eight times a second are watched frame by frame, up to
ten minutes each; all of them together take at most 100 minutes and 100,000 statements. In a strip
whose pixels differ each pixel is watched: at most 30,000,000 in all frames of all cues.
The pattern of a fast effect is looked at on every light it lies on, with 450,000 looks at most. An
irregular one that does not flash in its first beats is looked at to its end, which takes far more.

Why: the check finds only flashes that it looks for. If this is found, nothing else is checked.

Example: twenty cues that each repeat a flicker for ten minutes.

Instead: `repeat for ever` in place of a large count, because only two passes of it are watched;
slower changes; fewer such cues; the same few effects in place of many different ones.

Source of the limit: this tool's own (`sim/strain/eye.py`).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import Cue
from sim.rulebook import FRAME_MS
from sim.strain.eye import MOST_FRAMES, MOST_LOOKS, MOST_PIXELS, MOST_STATEMENTS

_MS_A_MINUTE = 60_000


def check(context: Context) -> Iterator[Finding]:
    if not context.eye.names:
        return
    cues = [cue for cue in context.lit.score.cues if context.playable(cue)]
    efforts = [(context.eye.effort(cue), cue) for cue in cues]
    if not efforts:
        return
    frames = sum(effort[0] for effort, _ in efforts)
    statements = sum(effort[1] for effort, _ in efforts)
    if frames > MOST_FRAMES:
        _, worst = max(efforts, key=lambda one: one[0][0])
        asked, limit, unit = (*(n * FRAME_MS / _MS_A_MINUTE for n in (frames, MOST_FRAMES)), "min")
        what = f"take {asked:.0f} minutes to watch, and at most {limit:.0f} are watched"
        label = "the longest"
    elif statements > MOST_STATEMENTS:
        (_, most), worst = max(efforts, key=lambda one: one[0][1])
        asked, limit, unit = statements, MOST_STATEMENTS, "statements"
        what = (
            f"carry out {statements} statements while they are watched for flashes, and at most "
            f"{MOST_STATEMENTS} can be followed"
        )
        label = f"most of it is here: {most} statements"
    elif (pixels := sum(context.eye.pixels(cue) for cue in cues)) > MOST_PIXELS:
        worst = max(cues, key=context.eye.pixels)
        asked, limit, unit = pixels, MOST_PIXELS, "pixels"
        what = (
            f"show {pixels} pixels in all frames in which they are watched, and at most "
            f"{MOST_PIXELS} can be worked out"
        )
        label = f"most of it is here: {context.eye.pixels(worst)} pixels"
    else:
        yield from _patterns(context, cues)
        return
    yield Finding(
        "error",
        "light-too-long",
        f"the cues whose light changes fast {what}",
        context.span(worst.mark, "name"),
        label=label,
        notes=("nothing else is checked",),
        help="write `repeat for ever` in place of a large count (two passes are watched), or let "
        "the light change more slowly",
        asked=asked,
        limit=limit,
        unit=unit,
    )


def _patterns(context: Context, cues: list[Cue]) -> Iterator[Finding]:
    of_cues = {cue.name: context.eye.looks(cue) for cue in cues}
    for cue in cues:
        if sum(of_cues.values()) > MOST_LOOKS:
            break  # to count the further looks some are taken
        of_cues[cue.name] += context.eye.further_looks(cue)
    looks = sum(of_cues.values())
    if looks <= MOST_LOOKS:
        return
    worst = max(cues, key=lambda cue: of_cues[cue.name])
    most = of_cues[worst.name]
    yield Finding(
        "error",
        "light-too-long",
        f"the fast effects of all cues, on all their lights, need {looks} looks, and a check takes "
        f"at most {MOST_LOOKS}",
        context.span(worst.mark, "name"),
        label=f"most of it is here: {most} looks",
        notes=("nothing else is checked",),
        help="use fewer different effects, lay each on fewer lights, or give them longer periods",
        asked=looks,
        limit=MOST_LOOKS,
        unit="looks",
    )
