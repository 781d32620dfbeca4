"""rig-too-large: a rig has more boards, servos or other parts than the check can handle.

What: at most 16 boards, 64 servos, 256 outputs, 256 wired buttons, 512 cues; and 120,000 moves, a
move counted once for every angle from which a cue may start it. A move of a part in a chain of N
parts on one another counts as N x N / 2 moves.

Why: the check looks at what all parts draw together in any posture; with hundreds of servos it
would run for minutes. So it would with hundreds of cues that each move dozens of servos, from
wherever any other cue has left them. In a chain, each part feels every other one. If this is found,
nothing else is checked.

Example: a file with 17 boards.

Instead: a second show for the second costume; fewer cues that move every servo, or cues that leave
a servo at the same few angles.

Source of the limit: this tool's own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import Servo
from sim.strain.coupling import chains

MOST_BOARDS = 16
MOST_SERVOS = 64
MOST_OUTPUTS = 256
MOST_INPUTS = 256
MOST_CUES = 512
MOST_MOVES = 120_000
PAIRS_A_MOVE = 2
"""Pairs of parts in a chain whose work on one another takes as long as one move."""


def check(context: Context) -> Iterator[Finding]:
    rig = context.show.rig
    servos = [output for output in rig.outputs if isinstance(output, Servo)]
    counts = (
        ("boards", rig.boards, MOST_BOARDS),
        ("servos", servos, MOST_SERVOS),
        ("outputs", rig.outputs, MOST_OUTPUTS),
        ("wired buttons", rig.inputs, MOST_INPUTS),
        ("cues", context.written.score.cues, MOST_CUES),
    )
    over = False
    for what, found, limit in counts:
        if len(found) > limit:
            over = True
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
    if not over:
        yield from _moves(context)


def _moves(context: Context) -> Iterator[Finding]:
    in_chains = {
        servo.name: max(1, len(chain) ** 2 // PAIRS_A_MOVE)
        for chain in chains(context.show.rig)
        for servo in chain
    }
    of_cues: Counter[str] = Counter()
    for one in context.planned:
        of_cues[one.cue] += in_chains.get(one.move.output, 1)
    count = of_cues.total()
    if count <= MOST_MOVES:
        return
    cue = max(context.show.score.cues, key=lambda each: of_cues[each.name])
    yield Finding(
        "error",
        "rig-too-large",
        f"the cues make {count} moves, counted from every angle where each may start, and at most "
        f"{MOST_MOVES} are checked together",
        context.span(cue.mark, "name" if context.has_part(cue.mark, "name") else None),
        label=f"most of them are here: {of_cues[cue.name]}",
        notes=(*_of_chains(in_chains), "nothing else is checked"),
        help="move fewer servos in so many cues, let cues end at the same few angles, or make two "
        "shows of it",
        asked=count,
        limit=MOST_MOVES,
        unit="moves",
    )


def _of_chains(in_chains: Mapping[str, int]) -> Iterator[str]:
    """How moves of the longest chain are counted."""
    if (most := max(in_chains.values(), default=1)) > 1:
        yield f"a move in the longest chain of parts on one another counts as {most}"
