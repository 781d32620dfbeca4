"""The checks, one small module per kind of finding, named for the bad thing.

Each module has one function `check(scene) -> Iterator[Finding]`; `CHECKS` lists them in the
order they run (the order of findings comes from the text).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from seqlang.checks import (
    address_clash,
    board_overfull,
    brown_out,
    button_bound_twice,
    button_not_wired,
    calibration_order,
    cautions_once,
    duration_too_long,
    endless_cue,
    flashing_light,
    fuse_blows,
    interrupted_flash,
    interrupted_overload,
    no_stop_button,
    output_driven_twice,
    pin_clash,
    pin_unfit,
    pulse_outside_range,
    repeat_without_time,
    servo_acceleration,
    servo_heat,
    servo_speed,
    servo_torque,
    speed_jump,
    strip_over_supply,
    supply_overload,
    tag_clash,
    target_outside_travel,
    too_many_threads,
    travel_outside_calibration,
    unreachable_cue,
    voltage_sag,
    wire_overload,
)
from seqlang.checks.scene import Scene
from seqlang.diagnostics import Finding

CHECKS: tuple[Callable[[Scene], Iterable[Finding]], ...] = (
    address_clash.check,
    board_overfull.check,
    brown_out.check,
    button_bound_twice.check,
    button_not_wired.check,
    calibration_order.check,
    cautions_once.check,
    duration_too_long.check,
    endless_cue.check,
    flashing_light.check,
    fuse_blows.check,
    interrupted_flash.check,
    interrupted_overload.check,
    no_stop_button.check,
    output_driven_twice.check,
    pin_clash.check,
    pin_unfit.check,
    pulse_outside_range.check,
    repeat_without_time.check,
    servo_acceleration.check,
    servo_heat.check,
    servo_speed.check,
    servo_torque.check,
    speed_jump.check,
    strip_over_supply.check,
    supply_overload.check,
    tag_clash.check,
    target_outside_travel.check,
    too_many_threads.check,
    travel_outside_calibration.check,
    unreachable_cue.check,
    voltage_sag.check,
    wire_overload.check,
)
