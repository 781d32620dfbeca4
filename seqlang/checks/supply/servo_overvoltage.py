"""servo-overvoltage: a servo's feed can be well over the highest voltage it is rated at.

What: the highest voltage at the servo's board (a full battery, no load) is at most 15 %
over the highest voltage of the servo's ratings; over 25 % is an error.

Why: the motor and its electronics burn, and the gears see more torque than they are made for. The
other checks would only see a stronger servo.

Example:

    source 2 li-ion cells, 3000 mAh
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6.0 V

Instead: a regulator of 6.0 V between them.

Source of the limit: common practice, no source. A servo rated at the 7.4 V of two lithium cells is
run on their 8.4 V when full, 13.5 % more; data sheets that state a highest voltage come first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from seqlang.checks.alike import told_once
from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.text.findings import Finding
from sim.model import Servo, Supply
from sim.rig.supply import highest_v, of_board

OVER_RATED = 1.15
"""Highest voltage over the highest rated one without a word."""

FAR_OVER_RATED = 1.25
"""From here on it is an error."""


def check(context: Context) -> Iterable[Finding]:
    return told_once(_each(context))


def _each(context: Context) -> Iterator[tuple[str, Finding]]:
    rig = context.show.rig
    for servo in context.servos.values():
        _, supply = of_board(rig, servo.board)
        if supply is None or not servo.ratings:
            continue
        rated = max(rating.voltage_v for rating in servo.ratings)
        volts = highest_v(rig, servo.board)
        if volts <= OVER_RATED * rated + 1e-9:
            continue
        yield servo.name, _finding(context, servo, supply, volts, rated)


def _finding(context: Context, servo: Servo, supply: Supply, volts: float, rated: float) -> Finding:
    volts_text, rated_text = figures(volts, rated)
    return Finding(
        "error" if volts > FAR_OVER_RATED * rated else "warning",
        "servo-overvoltage",
        f"servo `{servo.name}` can get {volts_text} V from supply `{supply.name}`, and it is "
        f"rated at {rated_text} V",
        context.span(servo.mark, "name"),
        label="burns, and strips its gears",
        related=((context.span(supply.mark, "name"), "its highest voltage, without a load"),),
        help=f"state and fit a regulator of {figure(rated)} V, or, if the servo's data sheet "
        "allows more, state its rating at that voltage as well",
        asked=volts,
        limit=OVER_RATED * rated,
        unit="V",
    )
