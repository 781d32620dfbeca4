"""The chip's integers against the closed forms and the handbooks."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from firmware_gen.build.fit_laws import fitted
from firmware_gen.table.laws import law_by_id, law_parameters
from firmware_gen.table.layout import LAW_IDS, LAWS_BY_ID
from firmware_gen.table.lightness import (
    CUBE_OFFSET,
    CUBE_START,
    LEVEL_TOP,
    channel_byte,
    channel_bytes,
    duty_of,
    lightness_of,
)
from sim.light.lightness import luminance
from sim.model import Law, LawName
from sim.rulebook import PEAK_RANGE
from sim.score.fixed_laws import LAW_LISTS, progress
from sim.score.laws import coefficients, shape
from tests.firmware_gen import second_player

LAWS = (
    *(Law(name) for name in LAW_IDS if name not in ("trapezoid", "double-S")),
    Law("trapezoid", 1 / 3),
    Law("trapezoid", 0.02),
    Law("double-S", 1 / 3, 0.2),
    Law("double-S", 0.5, 0.5),
    Law("double-S", 0.1, 0.01),
    Law("3-4-5", peak=0.27),
    Law("cycloidal", peak=0.7),
    Law("parabolic", peak=0.3),
    Law("trapezoid", 1 / 3, peak=0.6),
    Law("double-S", 0.5, 0.5, 0.3),
)
X = np.unique(np.concatenate([np.arange(0, 65537, 41), np.arange(0, 65537, 256)]))

HANDBOOK = {
    "uniform": (1.0, None),
    "parabolic": (2.0, 4.0),
    "harmonic": (pi / 2, pi**2 / 2),
    "cycloidal": (2.0, 2 * pi),
    "3-4-5": (15 / 8, 10 / sqrt(3)),
    "4-5-6-7": (35 / 16, 84 * sqrt(5) / 25),
    "modified sine": (4 * pi / (4 + pi), 4 * pi**2 / (4 + pi)),
    "modified trapezoid": (2.0, 8 * pi / (2 + pi)),
}
"""Cv and Ca. Closed forms; 1.76 and 5.53 of the modified sine and the 3-4-5's 1.875 and 10/sqrt(3)
were seen in print (mechdesigner.support, socsci.ru.nl/wilberth), the others recomputed."""


def _fixed(law: Law):
    return law_by_id(*law_parameters(law))


def _as_held(law: Law) -> Law:
    _, alpha, beta, peak = law_parameters(law)
    return Law(law.name, alpha / 65536, beta / 65536, peak / 65536)


@pytest.mark.parametrize("law", LAWS, ids=str)
def test_positions_and_slopes_follow_the_closed_form(law: Law) -> None:
    ideal = shape(_as_held(law), X / 65536)
    found = np.array([_fixed(law).shape(int(x)) for x in X])
    # a few units of the last place: a stroke of 2400 ticks has 0.11 tick in three of them; the
    # longer half of a law with another peak has as much more of them, and is rounded once more
    peak = _as_held(law).peak
    limit = 3 if peak == 0.5 else 6 * max(peak, 1 - peak) + 1
    assert np.abs(found[:, 0] - 65536 * ideal.s).max() < limit
    assert np.abs(found[:, 1] - 16384 * ideal.v).max() < 4


@pytest.mark.parametrize("law", LAWS, ids=str)
def test_every_law_is_the_same_backwards_and_starts_and_ends_at_rest(law: Law) -> None:
    fixed, back = _fixed(law), _fixed(replace(law, peak=1 - law.peak))
    top = fixed.peak
    assert fixed.shape(0)[0] == 0
    assert fixed.shape(65536)[0] == 65536
    assert law.name == "uniform" or fixed.shape(0)[1] == fixed.shape(65536)[1] == 0
    assert abs(fixed.shape(top)[0] - top) <= (1 if law.peak == 0.5 else 2)
    for x in X[top != X].tolist():
        s, slope = fixed.shape(x)
        assert back.shape(65536 - x) == (65536 - s, slope)


@pytest.mark.parametrize("law", LAWS, ids=str)
def test_a_part_never_turns_back_within_a_move(law: Law) -> None:
    positions = [_fixed(law).position(x) for x in range(0, 65537, 16)]
    assert positions == sorted(positions)


@pytest.mark.parametrize("name", HANDBOOK)
def test_coefficients_are_the_handbooks_rounded_up(name: str) -> None:
    cv, ca = HANDBOOK[name]
    law = law_by_id(LAW_IDS[name])
    assert 0 <= law.cv - 4096 * cv < 1
    assert law.ca == 0 if ca is None else 0 <= law.ca - 4096 * ca < 1


@given(st.integers(64, 32768), st.integers(1, 32768))
def test_coefficients_of_a_double_s_are_rounded_up(alpha: int, beta: int) -> None:
    # Cv = 1/(1 - alpha), Ca = Cv/(alpha (1 - beta)): Biagiotti and Melchiorri 2008, s. 3.4
    law = law_by_id(LAW_IDS["double-S"], alpha, beta)
    a, b = alpha / 65536, beta / 65536
    cv, ca = 1 / (1 - a), 1 / ((1 - a) * a * (1 - b))
    assert -1e-6 < law.cv - 4096 * cv < 1
    assert -1e-6 < law.ca / (4096 * ca) - 1 < 1e-4


@pytest.mark.parametrize("law", LAWS, ids=str)
def test_a_swelling_move_and_a_dying_brake_stay_under_the_speed_limit(law: Law) -> None:
    fixed = _fixed(law)
    y = np.linspace(0, 1, 4001)
    speed = shape(_as_held(law), y * fixed.peak / 65536).v / (fixed.cv / 4096)
    assert ((1 - y) + fixed.overlap / 256 * speed).max() <= 1 + 1e-9
    assert fixed.overlap == 0 or 128 <= fixed.overlap <= 256


def test_the_overlap_factor_is_as_large_as_it_may_be() -> None:
    # 3-4-5: y/g(y) with g = (2y - y^2)^2 has its least value 27/32 at y = 2/3
    assert law_by_id(LAW_IDS["3-4-5"]).overlap == 27 * 256 // 32
    # a trapezoid accelerates evenly: y/g(y) = 2 alpha until it cruises
    assert law_by_id(LAW_IDS["trapezoid"], 21845).overlap == int(256 * 2 * 21845 / 65536)
    assert law_by_id(LAW_IDS["trapezoid"], 16000).overlap == 0


@pytest.mark.parametrize("name", LAW_LISTS)
def test_lists_are_the_fit_to_the_closed_forms(name: LawName) -> None:
    assert LAW_LISTS[name] == fitted(name)


def test_lists_begin_at_rest_and_end_at_half_the_way_and_the_laws_speed() -> None:
    for law_id in (3, 4, 5, 6, 7, 8):
        gains = LAW_LISTS[LAWS_BY_ID[law_id]]
        assert (len(gains), gains[-1]) == (25, 0)
        assert min(gains) >= 0
        speed, way = -gains[0] / 2, -gains[0] / 6
        for gain in gains[:-1]:
            speed += gain
            way += speed
        assert abs(way / 2**20 - 0.5) < 4 / 2**20
        assert abs(speed * 48 / 2**20 - coefficients(Law(LAWS_BY_ID[law_id])).cv) < 3 / 16384


def test_a_listed_laws_acceleration_stays_within_half_a_percent_of_its_peak() -> None:
    for law_id in (3, 4, 5, 6, 7, 8):
        peak = max(LAW_LISTS[LAWS_BY_ID[law_id]]) * 48**2 / 2**20
        assert abs(peak / coefficients(Law(LAWS_BY_ID[law_id])).ca - 1) < 0.005


# round(65535 Y) of CIE L*: CIE 15 with the exact rationals, recomputed
DUTIES = {0: 0, 1: 73, 5: 363, 8: 580, 10: 738, 20: 1959, 25: 2894, 30: 4087, 40: 7373, 50: 12071}
DUTIES |= {60: 18431, 70: 26705, 75: 31639, 80: 37146, 90: 50005, 100: 65535}


def level_duty(level: int) -> int:
    return duty_of(lightness_of(level))


def test_duties_are_those_of_cie_lightness() -> None:
    # both ends to the bit; between them as near as three roundings of a 16-bit cube come
    assert (level_duty(0), level_duty(LEVEL_TOP)) == (DUTIES[0], DUTIES[100])
    for level, duty in DUTIES.items():
        assert abs(level_duty(512 * level) - duty) <= 2


def test_duties_at_every_level_are_close_and_rise() -> None:
    levels = np.arange(LEVEL_TOP + 1)
    duties = np.array([level_duty(int(level)) for level in levels])
    assert (np.diff(duties) >= 0).all()
    # 2.6 of 65535, as TABLE.md says
    assert np.abs(duties - 65535 * luminance(levels / 512)).max() <= 2.6


def test_no_product_of_a_duty_exceeds_sixteen_bits() -> None:
    top = lightness_of(LEVEL_TOP)
    assert top + CUBE_OFFSET < 65536
    assert max(duty_of(lightness) for lightness in range(top - 9, top + 1)) == 65535


def test_cubes_begin_where_cie_ends_its_line() -> None:
    # CIE 15: L* 8, which is (6/29)^3 of full light
    assert lightness_of(8 * 512 - 1) < CUBE_START <= lightness_of(8 * 512 + 1)


def test_channel_bytes_are_the_duties_rounded_to_bytes() -> None:
    held = channel_bytes()
    assert (held[0], held[-1], len(held)) == (0, 255, lightness_of(LEVEL_TOP) + 1)
    for lightness in range(0, len(held), 97):
        assert held[lightness] == channel_byte(duty_of(lightness))
    for duty in range(65536):
        assert abs(channel_byte(duty) - 255 * duty / 65535) <= 0.505


@given(st.integers(1, 2**30), st.data())
def test_progress_is_the_share_of_the_whole(total: int, data: st.DataObject) -> None:
    elapsed = data.draw(st.integers(0, total))
    assert 0 <= progress(elapsed, total) <= 65536
    assert abs(progress(elapsed, total) / 65536 - elapsed / total) < 1 / 16384
    assert progress(0, total) == 0
    assert progress(total, total) == 65536
    assert progress(total - 1, total) < 65536


def test_laws_out_of_a_tables_range_take_its_nearest() -> None:
    assert law_parameters(Law("trapezoid", 0.0001)) == (2, 64, 0, 32768)
    assert law_parameters(Law("double-S", 0.5, 1e-9)) == (9, 32768, 1, 32768)


# -- to the bit -----------------------------------------------------------------------------------

# Another reader of TABLE.md 3.1 wrote the same arithmetic from the text alone (`second_player`).


@pytest.mark.parametrize("peak", [32768, 17039, 20000, 48497])
@pytest.mark.parametrize("law_id", sorted(second_player.GAINS))
def test_listed_laws_are_to_the_bit_what_the_text_says(law_id: int, peak: int) -> None:
    law, other = law_by_id(law_id, peak=peak), second_player.Law(law_id, peak=peak)
    for x in (*X.tolist(), 32767, 32769, 65535, peak, peak + 1):
        assert law.shape(x) == second_player.shape(other, x)
    assert (law.cv, law.ca, law.overlap) == second_player.figures(other)


@given(
    st.integers(64, 32768),
    st.integers(0, 32768),
    st.integers(*PEAK_RANGE),
    st.lists(st.integers(0, 65536), min_size=20),
)
@example(32768, 8192, 32768, [16384, 49152])
@example(32768, 0, 32768, [16384, 32768])
@example(20000, 32768, 32768, [10000, 20000, 19999, 20001])
def test_ramps_are_to_the_bit_what_the_text_says(
    alpha: int, beta: int, peak: int, places: list[int]
) -> None:
    name = "double-S" if beta else "trapezoid"
    law = law_by_id(LAW_IDS[name], alpha, beta, peak)
    other = second_player.Law(second_player.DOUBLE_S, alpha, beta, peak)
    bends = [alpha, alpha // 2, alpha * beta >> 16, alpha - (alpha * beta >> 16)]
    for x in (*places, *bends, *(min(bend + 1, 65536) for bend in bends)):
        assert law.shape(x) == second_player.shape(other, x)
    if beta or alpha < 32768:  # a trapezoid of 1/2 is the parabolic law
        assert (law.cv, law.ca, law.overlap) == second_player.figures(other)


@given(st.integers(1, 2**30), st.data())
def test_progress_is_to_the_bit_what_the_text_says(total: int, data: st.DataObject) -> None:
    for elapsed in (data.draw(st.integers(0, total)), 0, total - 1, total):
        assert progress(elapsed, total) == second_player.progress(elapsed, total)
    small = min(total, 65535)
    for elapsed in {0, 1, small // 3, small // 2}:
        assert abs(progress(elapsed, small) - 65536 * elapsed / small) <= 0.5 or elapsed == small
