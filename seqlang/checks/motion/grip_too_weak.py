"""grip-too-weak: a servo cannot press as hard as its `grips` line says.

What: the declared force, with the pose held as well and the rig's margin in hand, takes no more
than the stall torque at the lowest voltage that the show leaves. A spring or a weight that closes
the part gives a share of that force. A spring or a weight that pulls the part open needs more of
the servo. The same holds for a servo whose part carries the gripping part: its hinge bears the
force on a longer lever.

Why: the hand closes, and the thing that it should carry slips out.

Example:

    grips 40 N at 60 mm, past 40 deg, for 1 s

Instead: grip closer to the hinge, gear down, take a stronger servo, or a force it has:

    grips 12 N at 60 mm, past 40 deg, for 1 s

Source of the limit: the servo's `rating` line (straight torque-speed line; MIT, Understanding D.C.
Motor Characteristics) and the lever; the margin is the rig's own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from seqlang.checks.alike import told_once
from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Finding
from sim.rig.grip import Gripping, greatest_force_n, gripping, presses
from sim.rig.servo import line
from sim.rig.slide import of_horn, of_part
from sim.rig.supply import highest_v

if TYPE_CHECKING:
    from sim.model import Servo


def check(context: Context) -> Iterable[Finding]:
    return told_once(_each(context))


def _each(context: Context) -> Iterator[tuple[str, Finding]]:
    rig = context.sound_show.rig
    for name in presses(rig):
        servo = context.servos[name]
        hard = gripping(rig, servo)
        if hard is None or hard.stalls:
            continue
        volts = context.lowest_v.get(servo.board, highest_v(rig, servo.board))
        has_nm = float(line(servo, volts).stall_nm) * (1.0 - rig.wearer.margin)
        if hard.torque_nm > has_nm * (1.0 + 1e-9):
            yield name, _finding(context, servo, hard, has_nm, volts)


def _finding(
    context: Context, servo: Servo, hard: Gripping, has_nm: float, volts: float
) -> Finding:
    rig = context.sound_show.rig
    part, horn = of_part(servo), of_horn(servo)
    asked, limit = figures(horn.of_torque(hard.torque_nm), horn.of_torque(has_nm))
    grippers = [press.gripper for press in presses(rig)[servo.name]]
    force_n = greatest_force_n(rig, servo, has_nm)
    grip = servo.grip
    closer = "" if servo.load.slide is not None else "grip closer to the hinge, gear down, or "
    if grip is None or len(grippers) > 1:
        mark = next(one.grip.mark for one in grippers if one.grip is not None)
        fix, where = None, context.span(mark)
    else:
        where = context.span(grip.mark, "force")
        fix = (
            rewritten(context, where, force_n, units.NEWTONS, "down")
            if 0.0 < force_n < (grip.force_n or 0.0)
            else None
        )
    return Finding(
        "error",
        "grip-too-weak",
        f"`{servo.name}` must give {asked} {horn.effort} to grip, and can give {limit} "
        f"{horn.effort}",
        where,
        label=f"at {figure(hard.angle_deg)} {part.place} of `{servo.name}`",
        related=((context.span(servo.mark, "name"), "the servo that bears it"),),
        notes=(
            f"{figure(volts)} V at the worst instant, "
            f"{figure(100 * rig.wearer.margin)} % kept as margin",
        ),
        help=f"{closer}take a stronger servo"
        if fix is None
        else f"`{fix.text}` is what it can grip with; or {closer}take a stronger servo",
        fix=fix,
        asked=horn.of_torque(hard.torque_nm),
        limit=horn.of_torque(has_nm),
        unit=horn.effort,
    )
