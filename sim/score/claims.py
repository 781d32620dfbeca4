"""What the cues of a board that leads hold on the other boards.

Whether a cue may start, and which cue it takes over, is decided once, by the board that leads. So
it must know of two cues that meet in an output of another board. Outputs that exactly the same cues
hold always go together: they are one claim.
"""

from __future__ import annotations

from sim.model import Show
from sim.score.tree import outputs_held


def claims(show: Show) -> tuple[frozenset[str], ...]:
    """The claims of a show with a board that leads, each as the names of its outputs; none of a
    show without one. They are in the order in which the rig names their first outputs."""
    leader = show.rig.leader
    if leader is None:
        return ()
    held = [outputs_held(show.score, cue) for cue in show.score.cues]
    alike: dict[tuple[int, ...], list[str]] = {}
    for output in show.rig.outputs:
        holders = tuple(number for number, names in enumerate(held) if output.name in names)
        if holders and output.board != leader.name:
            alike.setdefault(holders, []).append(output.name)
    return tuple(frozenset(names) for names in alike.values())
