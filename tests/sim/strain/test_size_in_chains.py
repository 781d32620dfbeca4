"""A part that only holds is bought for what the others of its chain do to it."""

from __future__ import annotations

import numpy as np

from sim.model import (
    Board,
    CalibrationPoint,
    Cue,
    InTurn,
    Load,
    Mount,
    Move,
    Press,
    Rating,
    Rig,
    Rod,
    Score,
    Servo,
    Show,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.score.tree import ready_ms
from sim.strain.coupling import coupled_show
from sim.strain.sizing import size
from sim.strain.torque_and_current import work

POINTS = (CalibrationPoint(-95.0, 800.0), CalibrationPoint(95.0, 2200.0))
RATING = (Rating(6.0, 600.0, 2.0, 3.0),)
ROOT = Servo("root", "b", 1, POINTS, (-60.0, 60.0), RATING, Load((Rod(0.02, 0.2),)))
TIP = Servo(
    "tip", "b", 2, POINTS, (-90.0, 90.0), RATING, Load((Rod(0.06, 0.2),)), mount=Mount("root", 0.2)
)


def test_a_root_that_stands_is_sized_for_the_tip_that_is_thrown() -> None:
    cue = Cue("throw", "", InTurn((Move("tip", 80.0, 300), Move("tip", 0.0, 300))))
    rig = Rig(boards=(Board("b", "atmega328p", 1),), outputs=(ROOT, TIP))
    show = coupled_show(Show(rig, Score("t", (cue,))))
    (root, _) = size(show).servos
    ready = ready_ms(show)
    times = np.arange(float(ready), ready + 700.0)
    seen = sample(rehearse(show, [Press(ready, cue="throw")], ready + 900), times)
    thrown = float(np.abs(work(show.rig, seen).servos["root"].torque_nm).max())
    held = (0.02 * 0.1 + 0.06 * (0.2 + 0.1)) * 9.80665
    assert thrown > 1.5 * held, "the throw must matter"
    assert root.set_by in ("holding", "heat")
    assert root.stall_nm * 0.8 >= thrown
