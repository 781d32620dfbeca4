"""What a check leaves to another one, and whom it counts."""

from __future__ import annotations

from math import sqrt

import pytest

from seqlang.checks import passing
from seqlang.checks.motion import cord_slack
from seqlang.checks.supply.slower import _peaks
from seqlang.checks.wiring import board_overfull
from sim.score.planned_moves import PlannedMove
from tests.seqlang.checks.test_what_follows import text as followed
from tests.seqlang.checks.wiring.test_line_and_timer_pins import broken
from tests.seqlang.show_text import findings, show
from tests.sim.small_shows import move


def test_a_calibration_that_turns_back_is_told_and_no_end_of_the_travel_beside_it() -> None:
    jaw = {"pulse": "900 us at 0 deg, 2100 us at 40 deg, 1500 us at 50 deg"}
    text = show(jaw=jaw)
    assert len(findings(text, "calibration-order")) == 1
    assert findings(text, "travel-outside-calibration") == []
    straight = show(jaw={"pulse": "900 us at 0 deg, 1500 us at 40 deg, 2100 us at 50 deg"})
    assert findings(straight, "calibration-order") == []
    assert len(findings(straight, "travel-outside-calibration")) == 1


def test_a_board_takes_part_in_the_cues_of_its_own_outputs(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(board_overfull, "CUES", 2)
    rig = (
        "switch fan: body pin PD4\n",
        "board tail: atmega328p, address 2\n    feed pack, 600 mm of 18 AWG\n",
        "switch pump: tail pin PD4\n",
    )

    def told(*names: str) -> list[str]:
        cues = {f"c{n}": f"{name} on\nhold 1 s\n{name} off" for n, name in enumerate(names)}
        text = show(still=True, rig=rig, cues=cues, remote="button 1: go c0\nstop button 2")
        return [one.message for one in findings(text, "board-overfull")]

    assert told("fan", "fan", "pump", "pump") == []
    assert told("fan", "pump", "pump", "pump") == [
        "board `tail` takes part in 3 cues, and its player holds 2"
    ]


@pytest.mark.parametrize(("from_deg", "ms"), [(5.0, 400), (40.0, 400), (5.0, 1600), (80.0, 400)])
def test_what_a_move_is_slowed_down_by_are_its_own_peaks(from_deg: float, ms: int) -> None:
    """Minimum jerk: 15/8 of the mean speed, and 10/sqrt(3) of way over time squared."""
    speed, accel = _peaks(PlannedMove("first", move("jaw", 50, ms), from_deg, 0.0, False))
    way, seconds = abs(50.0 - from_deg), ms / 1000.0
    assert speed == pytest.approx(15 / 8 * way / seconds, rel=2e-3)
    assert accel == pytest.approx(10 / sqrt(3) * way / seconds**2, rel=2e-3)


def test_a_cord_is_looked_at_cut_short_where_its_moves_pass_by_a_hair(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Forces as small as those of rounding count as none, also for what is looked at next."""
    text = broken("cord-slack")
    (one,) = findings(text, "cord-slack")
    assert not one.message.endswith("cuts a move short")
    assert one.asked is not None
    monkeypatch.setattr(cord_slack, "LEAST_N", 1.0001 * one.asked)
    (cut,) = findings(text, "cord-slack")
    assert cut.message.endswith("cuts a move short")


@pytest.mark.parametrize(("most_ms", "told"), [(9_999, True), (10_000, False)])
def test_only_what_takes_longer_than_may_be_rehearsed_is_told_to_be_too_long(
    most_ms: int, told: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The cues take 10 s. They are not rehearsed, because what follows overloads its servo."""
    monkeypatch.setattr(passing, "REHEARSED_MS", most_ms)
    text = followed(", in 200 ms", load="300 g at 90 mm", more="axis level")
    assert len(findings(text, "follow-overload")) == 1
    assert len(findings(text, "servo-heat")) == told
