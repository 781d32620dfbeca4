"""rating-impossible: a servo's data sheet promises more than its current allows.

What: stall torque times no-load speed is at most what the motor takes at a stall, V times I, less
what it needs to run without a load (a warning). Without a stated `running` current it is at most
what sound sheets claim, half of that (advice).

Why: either the stated torque and speed are too high, or the stated stall current is far too low.
A supply, a fuse and a wire that are sized for too low a current fail at the first stall.

Example:

    rating 0.16 s/60deg, 13.5 kgf.cm, 1.3 A at 5 V

Instead: state the current that a meter shows when the horn is held for a second.

    rating 0.16 s/60deg, 13.5 kgf.cm, 3.5 A at 5 V

Source of the limit: the straight torque-speed line (MIT, Understanding D.C. Motor Characteristics)
and Ohm's law; sound sheets as stated in `sim/rig/ratings.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Finding
from sim.model import Rating, Servo
from sim.rig.ratings import SOUND, Claim, claim, sound_stall_a
from sim.rig.slide import of_horn


def check(context: Context) -> Iterator[Finding]:
    for servo in context.servos.values():
        for rating in servo.ratings:
            found, running_a = claim(rating), rating.no_load_a
            if running_a is not None and running_a >= rating.stall_a:
                yield _thirsty(context, servo, rating, running_a)
            elif not found.can_be:
                yield _finding(context, servo, rating, found)
            elif running_a is None and found.claimed > SOUND * (1.0 + 1e-9):
                yield _unlikely(context, servo, rating, found)


def _thirsty(context: Context, servo: Servo, rating: Rating, running_a: float) -> Finding:
    """A servo that draws more while it turns free than while it is held."""
    running, stall = figures(running_a, rating.stall_a)
    return Finding(
        "warning",
        "rating-impossible",
        f"`{servo.name}` is rated to draw {running} A while it turns without a load, and {stall} A "
        "when it stalls",
        context.span(rating.mark, "current"),
        label="a stall takes more",
        help=f"hold the {_end(servo)} for a second and measure the current; then let it run, and "
        "measure again",
        asked=running_a,
        limit=rating.stall_a,
        unit="A",
    )


def _unlikely(context: Context, servo: Servo, rating: Rating, found: Claim) -> Finding:
    """A rating without a running current that no sound sheet has, though a motor could."""
    claimed, most = figures(100 * found.claimed, 100 * SOUND)
    return Finding(
        "advice",
        "rating-impossible",
        f"in the rating of `{servo.name}`, {_product(servo)} is {claimed} % of voltage times stall "
        f"current, and sound data sheets have {most} % at most",
        context.span(rating.mark, "current"),
        label="little current for its strength and speed",
        help=f"hold the {_end(servo)} for a second and measure the current; or measure what it "
        "draws while it turns free, and say `running`",
        asked=found.claimed,
        limit=SOUND,
        unit="of the voltage times the stall current",
    )


def _product(servo: Servo) -> str:
    return f"{of_horn(servo).strength} times no-load speed"


def _end(servo: Servo) -> str:
    return "rod" if servo.linear else "horn"


def _finding(context: Context, servo: Servo, rating: Rating, found: Claim) -> Finding:
    effort = "force" if servo.linear else "torque"
    claimed, most = figures(100 * found.claimed, 100 * found.most)
    span = context.span(rating.mark, "current")
    fix = rewritten(context, span, sound_stall_a(rating), units.AMPERES, "up")
    return Finding(
        "warning",
        "rating-impossible",
        f"in the rating of `{servo.name}`, {_product(servo)} is {claimed} % of voltage times stall "
        f"current, and a motor reaches {most} % at most",
        span,
        label=f"too little current for that {effort} and speed",
        notes=(f"sound data sheets have 29 to {figure(100 * SOUND)} %",),
        help=f"hold the {_end(servo)} for a second and measure the current; for the printed "
        f"{effort} and speed `{fix.text}` are likely",
        fix=fix,
        asked=found.claimed,
        limit=found.most,
        unit="of the voltage times the stall current",
    )
