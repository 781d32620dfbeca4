"""The rehearsal: what a show does when its buttons are pressed at given times.

Each board plays for itself by the rules of the table's specification, section 2
(`sim.rehearsal.scheduler`). Requests are taken at the player's frames, as on the board; between
the frames at which something happens nothing is computed. Motion and light come out as closed-form
pieces (`sim.rehearsal.trajectories`).
"""

from __future__ import annotations

from collections.abc import Iterable

from sim.model import Press, Show
from sim.rehearsal.outputs import Outputs
from sim.rehearsal.scheduler import BoardPlay, Hearing, requests_by_frame
from sim.rehearsal.trajectories import Trajectories
from sim.score.tree import motion_limits


def rehearse(
    show: Show,
    presses: Iterable[Press],
    length_ms: int,
    silences: Iterable[tuple[float, float]] = (),
) -> Trajectories:
    """Play `presses` on every board of the show, for `length_ms` from power-up.

    The remote is heard all the time but for the spans `silences` (from, to, in ms). Raises
    `sim.score.threads.ThreadError` for a cue that no board could run.
    """
    pressed = tuple(sorted(presses, key=lambda press: press.at_ms))
    requests = requests_by_frame(pressed)
    hearing = Hearing(silences, requests)
    limits = motion_limits(show)
    names = [board.name for board in show.rig.boards]
    boards = [BoardPlay(show, name, Outputs(show, name, limits)) for name in names]
    for board in boards:
        board.play(requests, hearing, length_ms)
    return Trajectories(
        show,
        length_ms,
        {name: tuple(row) for board in boards for name, row in board.outputs.motions.items()},
        {name: tuple(row) for board in boards for name, row in board.outputs.powered.items()},
        {name: tuple(row) for board in boards for name, row in board.outputs.lights.items()},
        {name: tuple(row) for board in boards for name, row in board.outputs.effects.items()},
        {name: tuple(row) for board in boards for name, row in board.outputs.switches.items()},
        tuple(run for board in boards for run in board.past),
        tuple(mode for board in boards for mode in board.modes),
        tuple(refusal for board in boards for refusal in board.refusals),
        pressed,
    )
