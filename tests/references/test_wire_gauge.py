"""Wire against published tables.

Diameter: ASTM B258 formula (read). Resistivity 1/58 ohm mm2/m and 0.00393 per kelvin at 20 deg C:
IEC 60028:1925 (read). Last column, ohm per 1000 ft: hyperphysics.phy-astr.gsu.edu, wire gauge
table, citing Floyd (read); solid copper. Stranded wire, ohm per 1000 ft by construction: a maker's
chart (read). Bundled feeds: IEC 60364-5-52, table B.52.17, row 1, by several public files (read;
the standard not seen).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.model import Wire
from sim.rig import wire

TABLE = {
    10: (2.588187, 5.261155, 3.277109, 0.9989),
    12: (2.052525, 3.308773, 5.210808, 1.588),
    14: (1.627727, 2.080908, 8.285509, 2.525),
    16: (1.290846, 1.308696, 13.174475, 4.016),
    18: (1.023687, 0.823047, 20.948236, 6.385),
    20: (0.811821, 0.517619, 33.309000, 10.15),
    22: (0.643803, 0.325534, 52.963385, 16.14),
    24: (0.510559, 0.204730, 84.215080, 25.67),
    26: (0.404892, 0.128756, 133.907223, 40.81),
    28: (0.321094, 0.080976, 212.920824, 64.9),
    30: (0.254639, 0.050926, 338.557372, 103.2),
}
"""By gauge: mm, mm2, milliohm/m (recomputed), ohm per 1000 ft (printed)."""


@pytest.mark.parametrize("gauge", TABLE)
def test_a_gauge_has_the_printed_size_and_resistance(gauge: int) -> None:
    diameter, area, milliohm, printed = TABLE[gauge]
    assert wire.diameter_mm(gauge) == pytest.approx(diameter, rel=1e-6)
    assert wire.area_mm2(gauge) == pytest.approx(area, rel=1e-5)
    assert 1000.0 * wire.ohm_per_m(gauge) == pytest.approx(milliohm, rel=1e-6)
    assert wire.ohm_per_m(gauge) * 304.8 == pytest.approx(printed, rel=6e-4)


def test_a_feed_drops_its_voltage_there_and_back() -> None:
    """AWG 22, 1.5 m, 3 A: 0.47667046 V at 20 deg C, 0.55160306 V at 60 (recomputed)."""
    feed = Wire(1.5, 22, solid=True)
    assert 3.0 * wire.loop_ohm(feed) == pytest.approx(0.47667046084173653, rel=1e-12)
    assert 3.0 * wire.loop_ohm(feed, 60.0) == pytest.approx(0.5516030572860575, rel=1e-9)
    assert 5.0 * wire.loop_ohm(Wire(2.0, 18, solid=True)) == pytest.approx(
        0.41896471995841034, rel=1e-12
    )
    assert wire.loop_ohm(None) == 0.0


CHART = {
    (26, 7, 34): 37.3,
    (24, 7, 32): 23.3,
    (22, 7, 30): 14.74,
    (22, 19, 34): 13.73,
    (20, 10, 30): 10.32,
    (20, 26, 34): 10.05,
    (20, 19, 32): 8.63,
    (18, 16, 30): 6.48,
    (18, 7, 26): 5.86,
    (16, 26, 30): 4.0,
    (16, 19, 29): 4.27,
}
"""By gauge, strands and their gauge: ohm per 1000 ft as printed."""


@pytest.mark.parametrize("make", CHART)
def test_a_stranded_wire_has_the_resistance_of_its_strands(make: tuple[int, int, int]) -> None:
    gauge, count, strand = make
    feed = Wire(1.0, gauge, strands=(count, strand))
    assert wire.conductor_ohm_per_m(feed) * 304.8 == pytest.approx(CHART[make], rel=0.01)


def test_a_stranded_wire_of_unknown_make_is_taken_with_the_least_copper_of_the_chart() -> None:
    for (gauge, _, _), printed in CHART.items():
        assert wire.conductor_ohm_per_m(Wire(1.0, gauge)) * 304.8 >= printed * (1.0 - 1e-3)
    worst = max(printed / 304.8 / wire.ohm_per_m(g) for (g, _, _), printed in CHART.items())
    assert pytest.approx(worst, abs=5e-4) == wire.STRANDED_RISE


@pytest.mark.parametrize("make", CHART)
def test_a_wire_of_few_strands_carries_what_its_copper_does(make: tuple[int, int, int]) -> None:
    """What is sold as a gauge carries as that; a quarter of its strands is six gauges thinner."""
    gauge, count, strand = make
    assert wire.copper_awg(Wire(1.0, gauge, strands=(count, strand))) == gauge
    few = Wire(1.0, gauge - 6, strands=(count, strand))
    assert wire.copper_awg(few) in (gauge, gauge - 1)
    assert wire.feed_carries_a(few) == wire.carries_a(gauge)
    many = Wire(1.0, gauge + 6, strands=(count, strand))
    assert wire.copper_awg(many) == gauge + 6


def test_bundled_feeds_carry_less_each() -> None:
    table = {1: 1.0, 2: 0.8, 3: 0.7, 4: 0.65, 5: 0.6, 6: 0.57, 7: 0.54, 8: 0.52, 9: 0.5}
    table |= {12: 0.45, 16: 0.41, 20: 0.38}
    assert table == wire.BUNDLED
    assert wire.feed_carries_a(Wire(1.0, 22, bundled=3)) == pytest.approx(7.0 * 0.7)
    assert wire.bundled_share(10) == wire.bundled_share(12) == 0.45
    assert wire.bundled_share(40) == 0.38


def test_the_proposed_gauge_is_the_thinnest_that_keeps_drop_and_current() -> None:
    gauge = wire.gauge_for(Wire(1.5, 30), 6.0, 3.0, 2.0, 20.0)
    assert gauge is not None

    def fits(awg: int) -> bool:
        drop = 3.0 * wire.loop_ohm(Wire(1.5, awg))
        return drop <= wire.LONGEST_DROP * 6.0 and wire.CARRIES_A[awg] >= 2.0

    assert fits(gauge)
    assert not any(fits(awg) for awg in wire.GAUGES if awg > gauge)
    assert wire.gauge_for(Wire(100.0, 10), 6.0, 20.0, 5.0, 20.0) is None
    assert wire.gauge_for(Wire(0.1, 22), 6.0, 1.0, 7.0, 20.0) == 22
    assert wire.gauge_for(Wire(0.1, 22, bundled=2), 6.0, 1.0, 7.0, 20.0) == 20


def test_an_odd_gauge_promises_no_more_than_the_next_thinner_even_one() -> None:
    assert wire.carries_a(19) == wire.CARRIES_A[20]
    assert wire.carries_a(22) == wire.CARRIES_A[22]
    assert wire.carries_a(35) == wire.CARRIES_A[36] == 0.21


def test_the_even_gauges_carry_what_the_reprinted_table_says() -> None:
    """Chassis wiring, of the even gauges (from memory)."""
    assert tuple(range(10, 31, 2)) == wire.GAUGES
    table = {10: 55.0, 12: 41.0, 14: 32.0, 16: 22.0, 18: 16.0, 20: 11.0}
    table |= {22: 7.0, 24: 3.5, 26: 2.2, 28: 1.4, 30: 0.86}
    for gauge, amps in table.items():
        assert wire.carries_a(gauge) == amps
        assert wire.carries_a(gauge - 1) == amps
    assert wire.carries_a(31) == 0.53
    assert wire.carries_a(4) == 55.0


def test_a_warm_wire_needs_more_copper() -> None:
    """28 AWG solid loses just 5 % of the voltage at 20 deg C; 40 K more are 16 % more loss."""
    feed = Wire(1.0, 28, solid=True)
    volts = 1.2 * wire.loop_ohm(feed) / 0.05 * (1.0 + 1e-9)
    assert wire.gauge_for(feed, volts, 1.2, 1.0, 20.0) == 28
    assert wire.gauge_for(feed, volts, 1.2, 1.0, 60.0) == 26
    assert wire.gauge_for(feed, volts * (1.0 - 2e-9), 1.2, 1.0, 20.0) == 26


IEC_60228 = {
    # nominal mm2: ohm/km at 20 deg C, at the most: solid (class 1), flexible (class 5)
    # IEC 60228:2004, tables 1 and 3, plain copper, from memory.
    0.5: (36.0, 39.0),
    0.75: (24.5, 26.0),
    1.0: (18.1, 19.5),
    1.5: (12.1, 13.3),
    2.5: (7.41, 7.98),
    4.0: (4.61, 4.95),
    6.0: (3.08, 3.30),
    10.0: (1.83, 1.91),
}


@pytest.mark.parametrize("section", IEC_60228)
def test_a_metric_section_has_the_resistance_of_its_standard(section: float) -> None:
    solid, flexible = IEC_60228[section]
    gauge = wire.gauge_of(section)
    made = Wire(1.0, gauge, section_mm2=section)
    assert wire.conductor_ohm_per_m(made) == pytest.approx(flexible / 1000.0)
    assert wire.conductor_ohm_per_m(replace(made, solid=True)) == pytest.approx(solid / 1000.0)
    assert wire.conductor_ohm_per_m(made, 60.0) == pytest.approx(flexible / 1000.0 * 1.1572)
    # no section has more copper than its name says: its resistance is at least that of IEC 60028
    assert solid / 1000.0 >= wire.RESISTIVITY_OHM_MM2_M / section


@pytest.mark.parametrize(
    ("section", "gauge"), [(0.5, 22), (0.75, 20), (1.0, 18), (1.5, 16), (2.5, 14), (4.0, 12)]
)
def test_a_metric_section_carries_what_a_gauge_with_no_more_copper_does(
    section: float, gauge: int
) -> None:
    assert wire.gauge_of(section) == gauge
    assert wire.area_mm2(gauge) <= section < wire.area_mm2(gauge - 2)
    made = Wire(1.0, gauge, section_mm2=section)
    assert wire.feed_carries_a(made) == wire.carries_a(gauge)
    assert wire.section_for(gauge) == section


def test_even_the_thinnest_gauge_carries_something() -> None:
    carried = [wire.carries_a(gauge) for gauge in range(41)]
    assert carried == sorted(carried, reverse=True)
    assert carried[32] == 0.53
    assert carried[40] > 0.0
    assert max(wire.GAUGES) == 30


def test_a_wire_is_called_by_what_its_maker_states() -> None:
    assert wire.called(Wire(1.0, 18)) == "18 AWG"
    assert wire.called(Wire(1.0, 18, strands=(16, 30))) == "18 AWG"
    assert wire.called(Wire(1.0, 20, section_mm2=0.75)) == "0.75 mm2"
    assert wire.called(Wire(1.0, 16, section_mm2=1.5)) == "1.5 mm2"
    assert wire.called(Wire(1.0, 8, section_mm2=10.0)) == "10 mm2"
