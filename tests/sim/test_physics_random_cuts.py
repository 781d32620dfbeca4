"""The worst interruption that the search finds, against shows interrupted at random.

The rehearsal plays each show with its cues started (and stopped) at random instants, by the rules
of the table's specification; every servo's motion, as sampled, is then held against its line. Half
a percent is left for the player's rounding and for chains of interruptions, of which the search
looks at one link at a time.
"""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from seqlang.loading import load
from sim.model import Press, Servo, Show
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.score.planned_moves import planned_moves
from sim.score.tree import ready_ms
from sim.strain.envelope import assess, operate
from sim.strain.interruption import interruptions

SHOWS = sorted((Path(__file__).parents[2] / "shows").glob("*/*.cues"))

LENGTH_MS = 80_000


def pressed_at_random(show: Show, seed: int) -> list[Press]:
    chance = random.Random(seed)
    cues = [binding.cue for binding in show.score.bindings]
    at, presses = ready_ms(show) + 20, []
    while at < LENGTH_MS - 2000:
        presses.append(Press(at, cue=chance.choice(cues)))
        at += chance.choice((chance.randrange(40, 400), chance.randrange(400, 2500), 12_000))
    return presses


def planned_share(show: Show, one: Servo) -> float:
    own = [p for p in planned_moves(show) if p.move.output == one.name]
    rows = [p for p in own if p.move.angle_deg != p.from_deg]
    found = assess(
        show.rig,
        one,
        [p.from_deg for p in rows],
        [p.move.angle_deg for p in rows],
        [p.move.duration_ms for p in rows],
        [p.move.law for p in rows],
    )
    return float(found.peak_share.max(initial=0.0))


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.stem)
def test_no_random_interruption_works_a_servo_harder_than_is_foretold(path: Path) -> None:
    show = load(path).show
    assert show is not None
    cuts = {one.servo: one for one in interruptions(show)}
    servos = [o for o in show.rig.outputs if isinstance(o, Servo)]
    foretold = {
        one.name: max(planned_share(show, one), *(cut.share for cut in cuts[one.name].found), 0.0)
        for one in servos
    }
    times = np.arange(0.0, LENGTH_MS, 2.0)
    for seed in range(6):
        played = sample(rehearse(show, pressed_at_random(show, seed), LENGTH_MS), times)
        for one in servos:
            motion = played.servos[one.name]
            live = times > ready_ms(show) + 20
            worst = operate(
                show.rig,
                one,
                motion.angle_deg[live],
                motion.velocity_deg_s[live],
                motion.acceleration_deg_s2[live],
            ).share.max()
            assert worst <= foretold[one.name] * 1.005 + 1e-3, (one.name, seed)
