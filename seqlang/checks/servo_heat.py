"""servo-heat: a servo holds or works harder for minutes than it stands.

What: the torque a servo holds in any pose the show leaves it in, and its RMS torque over the
busiest ten minutes, stay under a third of its stall torque.

Why: a servo's heat goes with the square of its torque; a pose that is hard to hold cooks it while
nothing seems to happen.

Example: a heavy jaw that rests half open.

Instead: let it rest where the weight hangs straight down, counterweight it with a spring, or take
a stronger servo.

Source of the limit: common practice, no source (see `sim/heat.py`).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from firmware_gen.chips import LIMITS
from seqlang.checks.scene import Scene
from seqlang.checks.words import figure, figures
from seqlang.diagnostics import Finding
from sim.heat import CONTINUOUS, Heat, heats
from sim.holding import holding_nm
from sim.score import rest_angles
from sim.servo import KGF_CM_NM


def check(scene: Scene) -> Iterator[Finding]:
    if not _could_be_hot(scene) or len(scene.cues) > LIMITS.cues:
        return
    if not all(scene.playable(cue) for cue in scene.show.score.cues):
        return
    for heat in heats(scene.sound_show):
        if heat.too_hot:
            yield _finding(scene, heat)


def _could_be_hot(scene: Scene) -> bool:
    """Whether any pose or move goes over the limit at all: then the show is rehearsed for it."""
    tilt = scene.show.rig.wearer.tilt_deg
    rest = rest_angles(scene.sound_show)
    for name in scene.sound:
        servo = scene.servos[name]
        limit = CONTINUOUS * servo.ratings[0].stall_nm
        if float(holding_nm(servo, np.array(rest[name]), tilt).max()) > limit:
            return True
        work = scene.work.get(name)
        if work is not None and float(work.assessment.rms_torque_nm.max()) > limit:
            return True
    return False


def _finding(scene: Scene, heat: Heat) -> Finding:
    holds = heat.hold_share > heat.limit
    share = heat.hold_share if holds else heat.rms_share
    asked, limit = figures(100 * share, 100 * heat.limit)
    where = f"holding {figure(heat.hold_deg)} deg" if holds else _over_time(heat)
    servo = scene.servos[heat.servo]
    stall = servo.ratings[0].stall_nm
    return Finding(
        "warning",
        "servo-heat",
        f"`{heat.servo}` is loaded with {asked} % of its stall torque {where}, and stands about "
        f"{limit} % for long",
        scene.span(servo.mark, "name"),
        label=f"{figure(share * stall)} N.m",
        related=((scene.span(servo.load.mark), f"what `{heat.servo}` carries"),),
        help="rest it where less weight pulls, add a spring as counterweight, or take a servo of "
        f"at least {figure(share * stall / heat.limit / KGF_CM_NM)} kgf.cm",
        asked=share,
        limit=heat.limit,
        unit="of the stall torque",
    )


def _over_time(heat: Heat) -> str:
    over = "over ten busy minutes" if heat.cue is None else f"while `{heat.cue}` runs on and on"
    return f"{over}, RMS"
