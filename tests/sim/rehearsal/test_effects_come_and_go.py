"""Light that does not pop: effects come and go softly, and a cut stays a cut."""

from __future__ import annotations

import numpy as np
import pytest

from sim.arrays import Array
from sim.model import Binding, Board, Cue, Effect, Fade, Hold, InTurn, Lamp, Press, Rig, Score, Show
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rulebook import EFFECT_SOFT_MS, FRAME_MS

BREATH = Effect("lamp", "breathe", 400, 80.0)
EMBER = Effect("lamp", "ember", 300, 60.0, 7)


def seen(*cues: Cue, presses: tuple[Press, ...], length_ms: int = 4000) -> Array:
    """The lamp's level (L* percent) in every frame."""
    bindings = tuple(Binding(n + 1, cue.name) for n, cue in enumerate(cues))
    rig = Rig(boards=(Board("b", "atmega328p", 1),), outputs=(Lamp("lamp", "b", 22),))
    played = rehearse(Show(rig, Score("light", cues, bindings)), presses, length_ms)
    return sample(played, np.arange(0.0, length_ms, FRAME_MS)).lamps["lamp"].level_pct


def cue(name: str, *steps: object) -> Cue:
    return Cue(name, "", InTurn((*steps, Hold(20))))  # type: ignore[arg-type]


LIT = Fade("lamp", 80.0, 0)


def largest_step(levels: Array) -> float:
    return float(np.abs(np.diff(levels)).max())


@pytest.mark.parametrize("at_ms", range(500, 900, 60))
def test_a_cue_that_takes_over_goes_on_from_the_light_as_it_is_seen(at_ms: int) -> None:
    glow = cue("glow", LIT, BREATH, Hold(5000))
    still = cue("still", Fade("lamp", 60.0, 800))
    levels = seen(glow, still, presses=(Press(0, button=1), Press(at_ms, button=2)))
    # the breath's own steepest frame: 80 % of 80 % over 200 ms, half a cosine
    steepest = 0.8 * 80.0 * np.pi / 2.0 * FRAME_MS / 200.0
    assert largest_step(levels[3:]) <= steepest + 80.0 / 16 + 1.0
    assert levels[-1] == pytest.approx(60.0)


def test_an_effect_is_all_there_after_a_third_of_a_second_and_gone_after_another() -> None:
    run = Effect(
        "lamp", "run", 2000, 100.0, 0, 1
    )  # a lamp is one pixel: the spot comes, and is past
    levels = seen(
        cue("a", LIT, run, Hold(1000), Effect("lamp", "steady"), Hold(1000)),
        presses=(Press(0, button=1),),
    )
    start = int(np.argmax(levels > 0.0))
    steps = EFFECT_SOFT_MS // FRAME_MS
    assert levels[start + 1] > 0.9 * 80.0
    assert levels[start + steps + 2] < levels[start + steps // 2] < levels[start + 1]
    gone = start + 1000 // FRAME_MS + steps
    assert levels[gone - 4] < 80.0
    assert levels[gone + 1] == pytest.approx(80.0)


def test_a_cut_leaves_nothing_of_an_effect_that_goes() -> None:
    glow = cue("glow", LIT, BREATH, Hold(5000))
    cut = cue("cut", Fade("lamp", 30.0, 10))
    for at_ms in (600, 700, 740):
        levels = seen(glow, cut, presses=(Press(0, button=1), Press(at_ms, button=2)))
        assert set(np.round(levels[at_ms // FRAME_MS :], 6).tolist()) == {30.0}


def test_the_same_effect_laid_again_goes_on_as_it_was() -> None:
    once = cue("once", LIT, EMBER, Hold(3000))
    again = cue("again", LIT, EMBER, Hold(700), EMBER, Hold(333), EMBER, Hold(1800))
    press = (Press(0, button=1),)
    assert seen(once, presses=press).tolist() == seen(again, presses=press).tolist()


def test_an_effect_stays_on_when_its_cue_has_ended() -> None:
    levels = seen(cue("a", LIT, BREATH), presses=(Press(0, button=1),))
    assert levels[-25:].min() < 20.0
    assert levels[-25:].max() > 75.0


def test_another_effect_comes_when_the_one_before_has_gone() -> None:
    levels = seen(
        cue("a", LIT, BREATH, Hold(1000), EMBER, Hold(2000)), presses=(Press(0, button=1),)
    )
    start = int(np.argmax(levels > 0.0))
    change = start + 1000 // FRAME_MS + EFFECT_SOFT_MS // FRAME_MS - 1
    assert levels[change - 1 : change + 2].max() == pytest.approx(80.0)  # for a frame none is there
    assert levels[change + 20 :].min() < 70.0
