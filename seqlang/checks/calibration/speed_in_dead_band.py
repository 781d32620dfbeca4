"""speed-in-dead-band: a part that should turn gets a pulse at which its servo stands still.

What: the pulse of every speed that a cue asks for lies outside the servo's dead band round the
pulse of standstill (a warning).

Why: a continuous-rotation servo stands still, or starts now and then, while its pulse is within the
dead band: the slow turn in the text is no turn at all.

Example:

    pulse      1300 us at -60 rpm, 1500 us at 0 rpm, 1700 us at 60 rpm
    dead band  30 us
    ...
    rotor to 2 rpm in 500 ms

Instead:

    rotor to 5 rpm in 500 ms

Source of the limit: the servo's `dead band` line, by default 4 us (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

from seqlang.checks.calibration.calibration_order import is_ordered
from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Finding
from sim.model import Move, Servo
from sim.rig.standstill import pulse_us, slowest_rpm, stands_still


def check(context: Context) -> Iterator[Finding]:
    seen: set[int] = set()
    for move in context.moves:
        servo = context.servos.get(move.output)
        if servo is None or not servo.load.spins or move.angle_deg == 0.0:
            continue
        if is_ordered(servo) and stands_still(servo, move.angle_deg) and move.mark not in seen:
            seen.add(move.mark)
            yield _finding(context, servo, move)


def _finding(context: Context, servo: Servo, move: Move) -> Finding:
    off = abs(float(pulse_us(servo, move.angle_deg) - pulse_us(servo, 0.0)))
    asked, limit = figures(off, servo.dead_band_us / 2.0)
    side = 1 if move.angle_deg > 0.0 else -1
    # a hair over the edge of the dead band, which still counts as standing
    slowest = 1.0001 * slowest_rpm(servo, side)
    span = context.span(move.mark, "target")
    fix = None
    if isfinite(slowest) and servo.travel_deg[0] <= side * slowest <= servo.travel_deg[1]:
        place = units.SPINNING.place
        fix = rewritten(context, span, side * slowest, place, "up" if side > 0 else "down")
    return Finding(
        "warning",
        "speed-in-dead-band",
        f"`{servo.name}` stands still at {figure(move.angle_deg)} rpm: its pulse is {asked} us "
        f"from that of standstill, and its dead band reaches to {limit} us",
        span,
        label="too slow to turn at all",
        related=((context.span(servo.mark, "pulse"), "the calibration points"),),
        help=f"`{fix.text}` is the slowest that turns; or measure the dead band and say it, such "
        "as `dead band 10 us`"
        if fix
        else "measure the dead band and say it, such as `dead band 10 us`",
        fix=fix,
        asked=off,
        limit=servo.dead_band_us / 2.0,
        unit="us",
    )
