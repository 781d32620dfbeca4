"""The checks, one small module per kind of finding, named for the bad thing.

Each module has one function `check(context) -> Iterator[Finding]`; `CHECKS` lists them in the
order they run (the order of findings comes from the text).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from seqlang.checks import cautions_once
from seqlang.checks.calibration import (
    calibration_gap,
    calibration_order,
    linkage_locks,
    pulse_outside_range,
    speed_in_dead_band,
    target_outside_travel,
    travel_outside_calibration,
)
from seqlang.checks.context import Context
from seqlang.checks.light import (
    flashing_light,
    follow_flashes,
    interrupted_flash,
    light_too_long,
    long_strobe,
)
from seqlang.checks.motion import (
    cord_slack,
    duration_too_long,
    follow_overload,
    grip_too_long,
    grip_too_weak,
    interrupted_overload,
    pinch_over_limit,
    rating_impossible,
    safe_pose_spins,
    servo_acceleration,
    servo_heat,
    servo_speed,
    servo_torque,
    speed_jump,
)
from seqlang.checks.remote import (
    button_bound_twice,
    button_not_wired,
    button_on_follower,
    follow_beyond_chip,
    follow_elsewhere,
    mixed_without_idle,
    no_stop_button,
    press_beyond_chip,
)
from seqlang.checks.score import (
    draw_outside_idle,
    endless_cue,
    left_spinning,
    output_driven_twice,
    repeat_without_time,
    strands_clash,
    too_many_threads,
    unreachable_cue,
)
from seqlang.checks.supply import (
    battery_short,
    brown_out,
    chip_overvoltage,
    fuse_blows,
    left_unchecked,
    pack_overload,
    servo_overvoltage,
    strip_data_low,
    strip_over_supply,
    strip_overvoltage,
    supply_overload,
    voltage_sag,
    wire_overload,
)
from seqlang.checks.wiring import (
    address_clash,
    analog_beyond_chip,
    board_overfull,
    cannot_lead,
    channel_timer,
    line_pin_taken,
    pin_clash,
    pin_unfit,
    radio_line,
    rig_too_large,
    tag_clash,
    two_leaders,
)
from seqlang.text.findings import Finding

BUDGETS: tuple[Callable[[Context], Iterable[Finding]], ...] = (
    light_too_long.check,
    rig_too_large.check,
)
"""Run first; what goes over one of them is not checked any further, as that would take too long."""

CHECKS: tuple[Callable[[Context], Iterable[Finding]], ...] = (
    address_clash.check,
    analog_beyond_chip.check,
    battery_short.check,
    board_overfull.check,
    brown_out.check,
    button_bound_twice.check,
    button_not_wired.check,
    button_on_follower.check,
    calibration_gap.check,
    calibration_order.check,
    cannot_lead.check,
    cautions_once.check,
    channel_timer.check,
    chip_overvoltage.check,
    cord_slack.check,
    draw_outside_idle.check,
    duration_too_long.check,
    endless_cue.check,
    flashing_light.check,
    follow_beyond_chip.check,
    follow_elsewhere.check,
    follow_flashes.check,
    follow_overload.check,
    fuse_blows.check,
    grip_too_long.check,
    grip_too_weak.check,
    interrupted_flash.check,
    interrupted_overload.check,
    left_spinning.check,
    line_pin_taken.check,
    linkage_locks.check,
    left_unchecked.check,
    long_strobe.check,
    mixed_without_idle.check,
    no_stop_button.check,
    output_driven_twice.check,
    pack_overload.check,
    pin_clash.check,
    pin_unfit.check,
    radio_line.check,
    pinch_over_limit.check,
    press_beyond_chip.check,
    pulse_outside_range.check,
    rating_impossible.check,
    repeat_without_time.check,
    servo_acceleration.check,
    servo_heat.check,
    servo_overvoltage.check,
    servo_speed.check,
    servo_torque.check,
    safe_pose_spins.check,
    speed_in_dead_band.check,
    speed_jump.check,
    strands_clash.check,
    strip_data_low.check,
    strip_overvoltage.check,
    strip_over_supply.check,
    supply_overload.check,
    tag_clash.check,
    target_outside_travel.check,
    too_many_threads.check,
    two_leaders.check,
    travel_outside_calibration.check,
    unreachable_cue.check,
    voltage_sag.check,
    wire_overload.check,
)
