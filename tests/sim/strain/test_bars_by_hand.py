"""A strip that shows a level: what its bar may change, and how slow a hand must be, by hand.

A way up or down is one change; eight within a window of 1,020 ms (a second and a frame) are one
flash too many. Full white has the luminance 1, and a tenth of it counts (WCAG 2.2, general flash).
"""

from __future__ import annotations

from math import ceil

import pytest

from sim.model import (
    BLACK,
    Cue,
    Fade,
    Follow,
    InTurn,
    Lamp,
    LevelBar,
    Rig,
    Score,
    Show,
    Step,
    Strip,
    StripLight,
    Together,
)
from sim.strain.bar_light import changes_of_bar, contrast, shortest_way_ms
from sim.strain.light_bound import LightBound
from sim.strain.light_states import LightStates

LEVEL, TUBE = Lamp("level", "b", 9), Strip("tube", "b", 3, pixels=20)
BAR = LevelBar("tube", "level")
WHITE, RED = (255, 255, 255), (255, 0, 0)


def show(*cues: Cue, follows: tuple[Follow, ...] = (), tube: Strip = TUBE) -> Show:
    return Show(Rig((), (), (LEVEL, tube), follows=follows), Score("t", cues))


def lit(colour: tuple[int, int, int], level_pct: float = 100.0) -> LightStates:
    return LightStates(show(Cue("lit", "", Fade("tube", StripLight(colour, level_pct), 100))))


@pytest.mark.parametrize(
    ("colour", "least_changes"),
    [
        (WHITE, 1.0 / 0.1),
        # red has 0.2126 of white's luminance (IEC 61966-2-1), but 320 of the 20 that count as red
        (RED, 320.0 / 20.0),
        ((0, 255, 0), 0.7152 / 0.1),
    ],
)
def test_a_bars_contrast_is_the_greater_of_general_and_red(
    colour: tuple[int, int, int], least_changes: float
) -> None:
    assert contrast(TUBE, lit(colour)) == pytest.approx(least_changes)


def test_a_bars_contrast_is_that_of_its_brightest_light() -> None:
    bright, dim = (StripLight(WHITE, level) for level in (100.0, 20.0))
    fades = tuple(Fade("tube", light, 100) for light in (dim, bright, dim))
    assert contrast(TUBE, LightStates(show(Cue("lit", "", InTurn(fades))))) == pytest.approx(10.0)
    assert contrast(TUBE, LightStates(show())) == 0.0


def way(
    states: LightStates, targets: tuple[float, float], viewing_m: float = 0.5, both: bool = False
) -> int:
    follow = Follow("level", "stick", 1000.0, 2000.0, *targets)
    return shortest_way_ms(TUBE, follow, viewing_m, states, both)


@pytest.mark.parametrize("targets", [(20.0, 80.0), (80.0, 20.0)])
def test_a_hand_takes_seven_windows_for_a_way_of_so_many_changes(
    targets: tuple[float, float],
) -> None:
    """Six tenths of 20 pixels are 12; at 0.5 m a pixel by itself fills 0.006 sr, at 1 m five.

    0.006 sr are 1,500 mm2 at 0.5 m and 6,000 at 1 m; a pixel's square has 33.3 mm a side: 1,109.
    """
    assert way(lit(WHITE), targets) == ceil(12 * 10 * 1020 / 7) == 17_486
    assert way(lit(WHITE), targets, viewing_m=1.0) == ceil(12 * 10 * 1020 / (7 * 5)) == 3_498
    assert way(lit(RED), targets) == ceil(12 * 16 * 1020 / 7) == 27_978
    assert way(lit(WHITE), targets, both=True) == ceil(6 * 10 * 1020 / 7) == 8_743


def test_a_bar_too_dim_to_count_may_go_as_fast_as_it_likes() -> None:
    """L* 37 is a luminance of 0.095, L* 39 one of 0.107 (CIE 1976)."""
    assert way(lit(WHITE, 37.0), (0.0, 100.0)) == 0
    counts = 10 * ((39 + 16) / 116) ** 3
    found = way(lit(WHITE, 39.0), (0.0, 100.0))
    assert found == pytest.approx(20 * counts * 1020 / 7, rel=0.02)  # levels are half percents


# -- what cues change -----------------------------------------------------------------------------


def fades(output: str, count: int) -> Step:
    """So many in turn, up and down."""
    several: list[float | StripLight] = [0.0, 100.0]
    if output == "tube":
        several = [BLACK, StripLight(WHITE)]
    return InTurn(tuple(Fade(output, several[(n + 1) % 2], 100) for n in range(count)))


def cue(name: str, level: int, tube: int) -> Cue:
    return Cue(name, "", Together((fades("level", level), fades("tube", tube))))


@pytest.mark.parametrize(
    ("level", "own", "changes"),
    [
        (0, 0, 0),
        (5, 0, 5),
        # under a bar that goes once, light that turns n times turns the product 2 n - 1 times
        (1, 1, 1 + 1),
        (2, 3, 2 + 5),
        (4, 2, 4 + 3),
        # without a bar nothing but the strip's own light is seen
        (0, 3, 3),
    ],
)
def test_a_bar_counts_its_level_and_twice_its_own_light(level: int, own: int, changes: int) -> None:
    only = cue("only", level, own)
    found, busiest = changes_of_bar(LightBound(show(only)), (only,), BAR)
    assert (found, busiest) == (changes, only)


def test_of_several_cues_the_busiest_level_meets_the_busiest_light() -> None:
    cues = cue("a", 1, 2), cue("b", 3, 0), cue("c", 2, 4)
    found, busiest = changes_of_bar(LightBound(show(*cues)), cues, BAR)
    assert (found, busiest) == (3 + 2 * 4 - 1, cues[1])
    assert changes_of_bar(LightBound(show()), (), BAR) == (0, None)
