"""Figures of a rehearsal, thinned: each point against all frames that fall together in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Press
from sim.pictures import figures
from sim.pictures.figures import work_figures
from sim.pictures.plot_data import LONGEST_RESPONSE_MS, MOST_SAMPLES, plotted
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.strain.torque_and_current import RigWork, work
from tests.seqlang.show_text import LAMP, show

SNAP = "jaw to 50 deg in 300 ms\njaw to 4 deg in 500 ms"
LOADED = load_text(Source("test.cues", show(cues={"snap": SNAP}))).show
assert LOADED is not None
SHOW = LOADED
PLAYED = rehearse(SHOW, (Press(100, button=1),), 1200)
"""61 frames."""
WHOLE: RigWork = work(SHOW.rig, sample(PLAYED, np.arange(61) * 20.0))


@pytest.mark.parametrize(
    ("most", "together", "points"),
    [(61, 1, 61), (60, 2, 31), (31, 2, 31), (30, 3, 21), (7, 9, 7), (1, 61, 1)],
)
@pytest.mark.parametrize("stretch", [1, 10, 61])
def test_of_frames_that_fall_together_the_worst_stays(
    monkeypatch: pytest.MonkeyPatch, most: int, together: int, points: int, stretch: int
) -> None:
    """However many frames are worked out at once."""
    monkeypatch.setattr(figures, "MOST_POINTS", most)
    monkeypatch.setattr(figures, "STRETCH", stretch)
    found = work_figures(PLAYED)
    assert found.frames == together
    jaw = WHOLE.servos["jaw"]
    ((board, volts),), ((supply, fed),) = WHOLE.board_v.items(), WHOLE.supplies.items()
    groups = [slice(at, at + together) for at in range(0, 61, together)]
    assert len(groups) == points
    worst = [group.start + int(np.argmax(jaw.share[group])) for group in groups]
    np.testing.assert_allclose(
        found.torque["jaw"], np.abs(jaw.torque_nm[worst]), rtol=1e-9, atol=1e-12
    )
    np.testing.assert_allclose(found.limit["jaw"], jaw.allowed_nm[worst], rtol=1e-9, atol=1e-12)
    most_a = [max(jaw.current_a[group]) for group in groups]
    np.testing.assert_allclose(found.current["jaw"], most_a, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(
        found.feed_a[supply], [max(fed.feed_a[g]) for g in groups], rtol=1e-9, atol=1e-12
    )
    np.testing.assert_allclose(
        found.board_v[board], [min(volts[g]) for g in groups], rtol=1e-9, atol=1e-12
    )


@pytest.mark.parametrize(
    ("length_ms", "step_ms", "samples"),
    [
        (1200, 5, 241),
        (1201, 5, 242),
        (MOST_SAMPLES * 5, 5, 20_001),
        (MOST_SAMPLES * 5 + 1, 6, 16_668),  # 100,001 ms: 16,666.8 steps
        (800_000, 40, 20_001),
        (800_040, 41, 19_515),  # 19,513.2 steps
    ],
)
def test_a_rehearsal_is_sampled_each_5_ms_and_a_long_one_20_000_times(
    length_ms: int, step_ms: int, samples: int
) -> None:
    shown = plotted(replace(PLAYED, length_ms=length_ms))
    times = shown.samples.times_ms
    assert times[1] - times[0] == step_ms
    assert times[-1] >= length_ms > times[-2]
    assert times.size == samples
    assert shown.seconds[-1] == pytest.approx(times[-1] / 1000.0)


def test_how_a_part_answers_is_shown_of_ten_minutes_at_most(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert LONGEST_RESPONSE_MS == 600_000
    whole = plotted(PLAYED)
    assert whole.response_deg["jaw"].shape == whole.samples.times_ms.shape
    monkeypatch.setattr("sim.pictures.plot_data.LONGEST_RESPONSE_MS", 1200)
    assert plotted(PLAYED).response_deg.keys() == whole.response_deg.keys()
    monkeypatch.setattr("sim.pictures.plot_data.LONGEST_RESPONSE_MS", 1199)
    assert plotted(PLAYED).response_deg == {}


def test_what_is_no_servo_or_was_not_rehearsed_has_no_torque_and_no_answer() -> None:
    lamp_too = load_text(Source("test.cues", show(rig=LAMP, cues={"snap": SNAP}))).show
    assert lamp_too is not None
    assert [one.name for one in lamp_too.rig.outputs] == ["jaw", "lure"]
    played = rehearse(lamp_too, (Press(100, button=1),), 1200)
    assert work_figures(played).torque.keys() == {"jaw"}
    assert plotted(played).response_deg.keys() == {"jaw"}
    assert plotted(replace(played, motions={}, powered={})).response_deg == {}
