"""Effects as a preview and as a board reckon them: alike to the bit (TABLE.md 3.4)."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.player.light import RunningEffect
from firmware_gen.table.layout import EFFECTS
from firmware_gen.table.ops import Modulate
from sim.light.effects import depth_level, multipliers
from sim.light.flash import PASSING_EFFECT_MS, passing_effect_ms, passing_period_ms
from sim.model import Effect


@pytest.mark.parametrize("name", ["breathe", "ember", "sparkle", "run"])
@pytest.mark.parametrize(("depth", "pixels", "width"), [(100.0, 1, 1), (37.5, 5, 2), (0.5, 3, 60)])
def test_preview_and_board_show_the_same_effect(
    name: str, depth: float, pixels: int, width: int
) -> None:
    """Every millisecond of four beats of 256 ms: each place in the beat once."""
    effect = Effect("l", name, 256, depth, 9, width)  # type: ignore[arg-type]
    op = Modulate(0, EFFECTS.index(name), 256, depth_level(effect), 9, width)
    board = RunningEffect(op, 0, pixels)
    seen = multipliers(effect, np.arange(1024), pixels)
    for ms in range(1024):
        shown = board.multipliers(ms << 8)
        assert seen[ms].tolist() == (shown * pixels if len(shown) == 1 else shown)


def test_an_effect_passes_from_the_period_in_which_eight_changes_take_over_a_second() -> None:
    """On and off: three whole periods hold seven changes. An ember changes once a beat: eight take
    over six beats, and a frame of 20 ms more."""
    assert [passing_period_ms(changes) for changes in (1, 2, 3, 7, 9)] == [
        143,
        334,
        501,
        1001,
        1001,
    ]
    assert PASSING_EFFECT_MS == {"breathe": 334, "sparkle": 334, "run": 334, "ember": 171}
    assert passing_effect_ms("ember", 2) == 334
    assert passing_effect_ms("ember", 1) == 171
    assert passing_effect_ms("steady") == 0
