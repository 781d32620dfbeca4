"""How many changes a fade from colour to colour holds, against the changes of its sampled light."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.light.flash import flashing, general_changes, red_changes
from sim.light.hues import MOST_LIGHTS, MOST_WAYS, ways_of_fades
from sim.model import Board, Cue, Fade, InTurn, Press, Repeat, Rig, Score, Show, Strip, StripLight
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.strain.eye import Eye
from sim.strain.light_sources import light_sources

MAGENTA, GREEN = StripLight((255, 0, 255)), StripLight((0, 255, 0))
RED, WHITE = StripLight((255, 0, 0)), StripLight((255, 255, 255))


def between(strip: Strip, one: StripLight, other: StripLight, ms: int) -> Show:
    body = Repeat(InTurn((Fade("belly", one, ms), Fade("belly", other, ms))), None)
    rig = Rig((), (Board("b", "atmega328p", 1),), (strip,))
    return Show(rig, Score("", (Cue("c", "", body),)))


def belly(cap_a: float | None = None) -> Strip:
    return Strip("belly", "b", 4, 5, cap_a=cap_a)


@pytest.mark.parametrize(
    ("lights", "ways"),
    [
        ((WHITE,), 1),
        ((RED, StripLight((255, 0, 0), 40.0)), 1),
        ((WHITE, RED), 1),
        # luminance goes from 0.28 down to 0.18 and up to 0.72 (IEC 61966-2-1 and CIE 15)
        ((MAGENTA, GREEN), 2),
    ],
)
def test_a_fade_turns_only_where_one_channel_rises_while_another_falls(
    lights: tuple[StripLight, ...], ways: int
) -> None:
    assert ways_of_fades(belly(), lights) == ways


@pytest.mark.parametrize(("beside_red", "ways"), [(41, 2), (40, 1)])
def test_a_dim_fade_that_passes_a_saturated_red_turns_to_it_and_away(
    beside_red: int, ways: int
) -> None:
    """From red with green to red with blue. In steps of half a percent of L* (IEC 61966-2-1, CIE
    15) red is 35 %, linear 0.0850; of 41, green or blue is 16.5 %, 0.0220; of 40, 16 %, 0.0210. So
    0.794 or 0.802 of the sum is red, and from 0.8 on it is a saturated red (WCAG 2.2). Half-way
    both are at 8.25 %, 0.0091, and 0.82 is red. Luminance and R - G - B change too little."""
    with_green, with_blue = StripLight((82, beside_red, 0)), StripLight((82, 0, beside_red))
    assert ways_of_fades(belly(), (with_green, with_blue)) == ways


@pytest.mark.parametrize(("cap_a", "ways"), [(None, 1), (0.3, 1), (0.1, 2)])
def test_under_a_cap_a_fade_turns_though_all_its_channels_rise(
    cap_a: float | None, ways: int
) -> None:
    """From green at 75 % of L* to white, five pixels of 60 mA; capped to 20 mA each, the sum of a
    pixel's channels is 1. Luminance (IEC 61966-2-1 and CIE 15) is 0.35 to begin with, about 0.52
    half-way, where the cap is met (green 0.71, red and blue 0.18), and 1/3 at the end."""
    assert ways_of_fades(belly(cap_a), (StripLight((0, 185, 0)), WHITE)) == ways


@pytest.mark.parametrize(
    ("one", "other", "ways"),
    [
        ((192, 0, 192), (128, 192, 64), 2),
        ((128, 64, 192), (192, 192, 0), 2),
        ((192, 0, 255), (255, 128, 0), 1),
        ((0, 192, 255), (255, 64, 0), 1),
    ],
)
def test_a_strip_without_a_trim_is_one_whose_channels_all_shine_in_full(
    one: tuple[int, int, int], other: tuple[int, int, int], ways: int
) -> None:
    """Of each pair, a channel that were a quarter brighter would turn another number of times."""
    lights = StripLight(one), StripLight(other)
    even = replace(belly(), trims=(1.0, 1.0, 1.0))
    assert ways_of_fades(belly(), lights) == ways_of_fades(even, lights) == ways


def test_of_too_many_lights_the_most_is_taken() -> None:
    greys = [StripLight((255, 255, 255), float(level)) for level in range(10, 10 + MOST_LIGHTS)]
    assert ways_of_fades(belly(), greys[:-1]) == 1
    assert ways_of_fades(belly(), greys) == MOST_WAYS


@pytest.mark.parametrize("ms", [220, 250, 300])
def test_colours_that_bend_flash_and_are_named(ms: int) -> None:
    show = between(belly(), MAGENTA, GREEN, ms)
    played = rehearse(show, [Press(20, cue="c")], 6000)
    times = np.arange(0.0, 6000.0, 20.0)
    seen = flashing(times, light_sources(show, sample(played, times)))
    assert {one.kind for one in seen} == {"general"}
    assert {one.found.kind for one in Eye(show).flashes(show.score.cues[0])} == {"general"}


def test_the_same_colours_pass_where_they_change_slowly() -> None:
    show = between(belly(), MAGENTA, GREEN, 600)
    assert not Eye(show).flashes(show.score.cues[0])


CHANNEL = st.sampled_from((0, 60, 130, 255))
LIGHTS = st.builds(
    StripLight, st.tuples(CHANNEL, CHANNEL, CHANNEL), st.sampled_from((100.0, 60.0, 20.0))
)


@given(LIGHTS, LIGHTS, st.sampled_from((None, 0.1, 0.25)))
def test_no_sampled_fade_holds_more_changes(
    one: StripLight, other: StripLight, cap_a: float | None
) -> None:
    strip = belly(cap_a)
    show = between(strip, one, other, 2000)
    played = rehearse(show, [Press(20, cue="c")], 4200)
    times = np.arange(2040.0, 4020.0, 20.0)
    source = light_sources(show, sample(played, times))["belly"]
    most = ways_of_fades(strip, (one, other))
    assert general_changes(times, source.luminance).at_ms.size <= most
    assert red_changes(times, source.rgb).at_ms.size <= most
