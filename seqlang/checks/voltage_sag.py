"""voltage-sag: a move passes by itself, but not at the voltage left while other parts move too.

What: each move still keeps its margin at the lowest voltage that its board sees in the show, when
cues that share no output run at once and the battery is at the end of its charge.

Why: a servo's speed and torque fall with its voltage; two cues started together then both lag.

Example: a fast move planned to the last millisecond, and a second cue that loads the same pack.

Instead:

    jaw to 55 deg in 420 ms

Source of the limit: as for `servo-speed`, at the voltage of `sim/sag.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks import pace
from seqlang.checks.sagging import cues_running, while_running
from seqlang.checks.scene import Scene
from seqlang.checks.words import figure, figures
from seqlang.checks.workload import Way
from seqlang.diagnostics import Finding
from sim.envelope import assess
from sim.sag import Sag
from sim.score import PlannedMove
from sim.shortest import Impossible, shortest_duration_ms


def check(scene: Scene) -> Iterator[Finding]:
    by_board = {sag.board: sag for sag in scene.sags if not sag.collapsed}
    for work in scene.work.values():
        sag = by_board.get(work.servo.board)
        if sag is None or len(sag.cues) == 0:
            continue
        ways = work.ways
        low = assess(
            scene.sound_show.rig,
            work.servo,
            [way.from_deg for way in ways],
            [way.to_deg for way in ways],
            [way.duration_ms for way in ways],
            [way.law for way in ways],
            sag.voltage_v,
        )
        starved = work.assessment.passes & ~low.passes
        if not starved.any():
            continue
        worst: dict[int, tuple[PlannedMove, int]] = {}
        for planned, way in zip(work.asked, work.way_of, strict=True):
            known = worst.get(planned.move.mark)
            if starved[way] and (known is None or low.peak_share[way] > low.peak_share[known[1]]):
                worst[planned.move.mark] = planned, way
        for planned, way in worst.values():
            yield _finding(scene, planned, ways[way], sag, float(low.peak_share[way]))


def _finding(scene: Scene, planned: PlannedMove, way: Way, sag: Sag, share: float) -> Finding:
    move, servo = planned.move, scene.servos[planned.move.output]
    limit = 1.0 - scene.show.rig.wearer.margin
    asked_text, limit_text = figures(100 * share, 100 * limit)
    try:
        shortest = shortest_duration_ms(
            scene.sound_show.rig, servo, way.from_deg, way.to_deg, way.law, sag.voltage_v
        )
    except Impossible:
        shortest = None
    fix = None if shortest is None else pace.slower(scene, move, shortest)
    return Finding(
        "warning",
        "voltage-sag",
        f"`{move.output}` would be worked to {asked_text} % of its line at the "
        f"{figure(sag.voltage_v)} V left {while_running(sag)}, and {limit_text} % "
        "keep the margin",
        pace.pace_span(scene, move),
        label="passes by itself, not beside other parts",
        related=cues_running(scene, sag),
        help="use thicker wire or a stronger supply"
        if fix is None
        else f"`{fix.text}` passes at that voltage; thicker wire or a stronger supply help too",
        fix=fix,
        asked=share,
        limit=limit,
        unit="of the servo's line",
    )
