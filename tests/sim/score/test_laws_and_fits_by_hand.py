"""Laws against their closed forms and the lists of the page, progress and fits by hand."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

import firmware_gen
from sim.model import Law
from sim.score.fitting import LONGEST_S, NotFittedError, _around, _CutStretches, fitted
from sim.score.fixed_laws import LAW_LISTS, ONE, progress
from sim.score.laws import position, shape

PAGE = Path(firmware_gen.__file__).parent / "TABLE.md"


def test_the_harmonic_law_is_half_of_one_less_a_cosine() -> None:
    """s = (1 - cos pi x) / 2 (handbooks of cams), and so its rates by calculus."""
    x = np.linspace(0.0, 1.0, 201)
    form = shape(Law("harmonic"), x)
    angle = np.pi * x
    assert form.s == pytest.approx((1.0 - np.cos(angle)) / 2.0, abs=1e-12)
    assert form.v == pytest.approx(np.pi / 2.0 * np.sin(angle), abs=1e-12)
    assert form.a == pytest.approx(np.pi**2 / 2.0 * np.cos(angle), abs=1e-11)
    assert form.j == pytest.approx(-(np.pi**3) / 2.0 * np.sin(angle), abs=1e-11)


def test_the_lists_of_gains_are_those_that_the_page_gives() -> None:
    rows = re.findall(r"^\| ([a-z0-9 -]+) \| ((?:\d+ ){24}\d+) \|$", PAGE.read_text("utf-8"), re.M)
    assert {name: tuple(map(int, row.split())) for name, row in rows} == dict(LAW_LISTS)


@pytest.mark.parametrize(
    ("elapsed", "total", "share"),
    [
        (0, 1, 0),
        (1, 2, 32768),
        (1, 3, 21845),
        (2, 3, 43691),
        # 65535 fits into 16 bits as it is: 21845 of it is a third
        (21845, 65535, 21845),
        # of more than that the last bits go, to the nearest: 17501 of 35000, 16667 of 50000
        (35001, 70000, 32770),
        (33333, 100000, 21846),
        # 66667 of 200000 as 16667 of 50000, by fours: 66667 + 2 over 4
        (66667, 200000, 21846),
        # 1 at the end alone
        (99999999, 100000000, ONE - 1),
        (100000000, 100000000, ONE),
        (100000001, 100000000, ONE),
    ],
)
def test_progress_is_the_nearest_share_in_so_many_bits(
    elapsed: int, total: int, share: int
) -> None:
    assert progress(elapsed, total) == share


def test_a_motion_is_fitted_alike_whenever_it_was_sampled() -> None:
    """A move of a second, long after the clock of the samples began."""
    times_s = np.arange(0.0, 3.0, 0.04)
    places = 10.0 + 30.0 * position(Law("3-4-5"), times_s - 1.0)
    early = fitted(times_s, places, 1.0)
    late = fitted(times_s + 0.9 * LONGEST_S, places, 1.0)
    assert early.moves == late.moves == 1
    assert [(one.duration_ms, one.law) for one in late.stretches] == [
        (one.duration_ms, one.law) for one in early.stretches
    ]
    assert late.start_s - early.start_s == pytest.approx(0.9 * LONGEST_S, abs=0.02)


@pytest.mark.parametrize(("lasts_s", "passes"), [(LONGEST_S, True), (LONGEST_S + 1.0, False)])
def test_what_lasts_too_long_is_told_by_how_long_it_lasts(lasts_s: float, passes: bool) -> None:
    times_s = 1000.0 + np.array([0.0, lasts_s / 2.0, lasts_s])
    places = np.zeros(3)
    if passes:
        assert fitted(times_s, places, 1.0).moves == 0
        return
    with pytest.raises(NotFittedError, match=f"it lasts {lasts_s:.0f} s"):
        fitted(times_s, places, 1.0)


def test_a_stretch_is_settled_between_its_own_neighbours() -> None:
    law = Law("3-4-5")
    cut = _CutStretches(np.arange(7.0), np.arange(7.0), (law,) * 6)
    spans = [(2, 2), (0, 0), (5, 5), (1, 3), (0, 5)]
    windows = [_around(cut, *span) for span in spans]
    assert [(one.first, one.last) for one in windows] == [(1, 3), (0, 1), (4, 5), (0, 4), (0, 5)]
    assert windows[0].part.times.tolist() == [1.0, 2.0, 3.0, 4.0]
