"""The rehearsal and the integer player agree in every frame, whatever is pressed.

Bounds: a pulse of the player is whole ticks of 0.5 us, so up to half a tick is rounding; the rest
of the allowed tick covers its fixed-point shapes.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from played_both_ways import compare
from small_shows import rehearsals, shows

from seqlang.loading import load
from shows import __file__ as shows_folder
from sim.rehearsal.run_through import run_through

TICK_US = 0.5
DEMO_SHOWS = sorted(Path(shows_folder).parent.glob("*/*.cues"))


@pytest.mark.parametrize("path", DEMO_SHOWS, ids=lambda path: path.stem)
def test_every_cue_of_the_demo_shows_plays_within_one_tick(path: Path) -> None:
    show = load(path).show
    assert show is not None
    whole = run_through(show)
    found = compare(show, whole.presses, whole.length_ms)
    assert found.at == []
    assert found.pulse_us <= TICK_US
    assert found.lamp < 0.002
    assert found.strip < 0.004


@settings(max_examples=60)
@given(st.data())
def test_any_show_under_any_presses_plays_within_one_tick(data: st.DataObject) -> None:
    length_ms = 9000
    show = data.draw(shows())
    presses = data.draw(rehearsals(show, length_ms))
    silences = data.draw(st.sampled_from(([], [(2500.0, 6400.0)])))
    found = compare(show, presses, length_ms, silences)
    assert found.at == []
    assert found.pulse_us <= TICK_US
