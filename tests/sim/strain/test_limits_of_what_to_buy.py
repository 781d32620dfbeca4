"""What is told of fuses, lamps, strips and dividers, at both sides of each limit.

Fuses: an IEC quick-acting cartridge carries its rating for long and 150 % for an hour, and opens at
210 % at the latest (IEC 60127-2 by a public table, read); what surely opens a fuse is at most 1.45
times what its wire carries (IEC 60364-4-43, from memory). Resistors by Ohm's law. Pixels stand 5.3
V at most and take a data line of 70 % of their own supply (`sim.rig.supply`).
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from sim.model import (
    Adapter,
    Board,
    Cells,
    Divider,
    Electrics,
    FuseKind,
    Lamp,
    PackWatch,
    Regulator,
    Rig,
    Score,
    Show,
    Strip,
    Supply,
)
from sim.rig.fuse import STANDARDS
from sim.rig.supply import PIXEL_HIGHEST_V
from sim.rig.watch import Watched
from sim.strain.fuse_load import Warming
from sim.strain.light_sizes import size_lamp, size_strip
from sim.strain.sag import Sag
from sim.strain.servo_sizes import _down, _up
from sim.strain.supply_sizes import (
    _cautions,
    _fuse_cautions,
    _grip_caution,
    _held_caution,
    _regulator_a,
    _warming_caution,
)
from sim.strain.usage import Currents
from sim.strain.watch_sizes import size_watch

SUPPLY = Supply("p", Adapter(6.0, 9.0), fuse_a=2.0, fuse_kind="IEC fast")
BARE = replace(SUPPLY, fuse_a=None)
COOL = 20.0
CALM = Currents(0.5, 0.25, 0.3, 0.2, 0.4)


def sag(amps: float, source_a: float | None = None, collapsed: bool = False) -> Sag:
    return Sag(
        "b", "p", 6.0, amps, amps, amps if source_a is None else source_a, 6.0, (), collapsed
    )


# -- fuses ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rms_a", "peaks_a", "thinnest_a", "words"),
    [
        (2.0, (3.0, 1.0), 2.9, []),
        (2.01, (3.0,), inf, ["carries 2.01 A for long"]),
        (2.0, (1.0, 3.01), inf, ["may open at the peak of 3.01 A"]),
        # twice 2.1 over 1.45 is 2.897
        (2.0, (3.0,), 2.89, ["does not protect a wire that carries 2.89 A"]),
        # where nothing is at its worst, the RMS is the peak
        (3.01, (), inf, ["carries 3.01 A for long", "may open at the peak of 3.01 A"]),
        (2.0, (), inf, []),
    ],
)
def test_a_fuse_is_told_where_it_carries_too_much(
    rms_a: float, peaks_a: tuple[float, ...], thinnest_a: float, words: list[str]
) -> None:
    worst = [sag(9.9, source_a=amps) for amps in peaks_a]
    found = list(_fuse_cautions(SUPPLY, rms_a, worst, thinnest_a, COOL))
    assert found == [f"the 2 A fuse {one}" for one in words]
    assert list(_fuse_cautions(BARE, rms_a, worst, thinnest_a, COOL)) == []


@pytest.mark.parametrize(
    ("peak_a", "peak_s", "told"),
    [
        # quick-acting: 150 % for an hour, and no more for half a second
        (3.0, 3.0, False),
        (2.01, 7200.0, True),
        (3.0, 7200.0, True),
        (3.01, 7200.0, False),
        (2.0, 7200.0, False),
        (2.5, 0.5, False),
    ],
)
def test_a_grip_that_outlasts_a_peak_is_told(peak_a: float, peak_s: float, told: bool) -> None:
    """After an hour the rating alone is carried; over 150 % the peak by itself is told."""
    found = list(_grip_caution(SUPPLY, peak_a, peak_s, COOL))
    assert found == ([f"the 2 A fuse may open while parts grip for {peak_s:g} s"] if told else [])
    assert list(_grip_caution(BARE, peak_a, peak_s, COOL)) == []


@pytest.mark.parametrize(
    ("kind", "lasts_s", "told"),
    # time-lag: 400 % for 0.15 s, 275 % for 0.6 s, 150 % for an hour
    [("IEC slow", 0.5, False), ("IEC slow", 0.6, False), ("IEC slow", 0.61, True)],
)
def test_a_grip_is_held_against_what_the_fuse_carries_for_as_long(
    kind: FuseKind, lasts_s: float, told: bool
) -> None:
    supply = replace(SUPPLY, fuse_kind=kind)
    for peak_a, also in ((5.5, told), (3.0, False), (3.01, told), (5.51, False)):
        assert bool(list(_grip_caution(supply, peak_a, lasts_s, COOL))) is also


@pytest.mark.parametrize(("amps", "told"), [(3.0, False), (3.01, True)])
def test_what_goes_on_for_an_hour_is_told(amps: float, told: bool) -> None:
    held = list(_held_caution(SUPPLY, amps, COOL))
    assert held == (
        [f"the 2 A fuse may open while all is lit and held, with {amps:.2f} A"] if told else []
    )
    assert list(_held_caution(BARE, amps, COOL)) == []
    for cue, what in (("wave", "`wave`"), (None, "standing by")):
        warm = list(_warming_caution(SUPPLY, Warming(amps, cue), COOL))
        words = f"the 2 A fuse may open in {what}, which heats it like {amps:.2f} A on and on"
        assert warm == ([words] if told else [])
        assert list(_warming_caution(BARE, Warming(amps, cue), COOL)) == []
    assert list(_warming_caution(SUPPLY, None, COOL)) == []


def test_in_warm_air_a_blade_fuse_carries_less() -> None:
    """At 65 C 85 % for long; a sheet's points hold at 25 C, where 98.3 % are left: 86.4 % of them.

    Of 10 A: 75 % of 8.5 A for long, 135 % of 8.64 A for a peak, 8.64 A for an hour.
    """
    blade = replace(SUPPLY, fuse_a=10.0, fuse_kind="blade")
    left_a = 8.5 / (1.0 - 0.15 * 5.0 / 45.0)
    assert left_a == pytest.approx(8.644, abs=1e-3)
    for rms_a, peak_a, told in ((6.37, 11.66, 0), (6.38, 11.66, 1), (6.37, 11.68, 1)):
        assert len(list(_fuse_cautions(blade, rms_a, [sag(peak_a)], inf, 65.0))) == told
        assert list(_fuse_cautions(blade, rms_a, [sag(peak_a)], inf, COOL)) == []
    for amps, told in ((8.64, 0), (8.65, 1)):
        assert len(list(_held_caution(blade, amps, 65.0))) == told
        assert len(list(_warming_caution(blade, Warming(amps, None), 65.0))) == told
        assert len(list(_grip_caution(blade, amps, 3.0, 65.0))) == told
    assert STANDARDS["blade"].points_when_warm(25.0) == 1.0


@pytest.mark.parametrize(
    ("value", "up", "down"),
    [(0.3, 0.3, 0.3), (0.7, 0.7, 0.7), (0.31, 0.4, 0.3), (0.29, 0.3, 0.2), (2.0, 2.0, 2.0)],
)
def test_what_a_shop_prints_is_a_whole_number_of_steps(
    value: float, up: float, down: float
) -> None:
    """0.3 / 0.1 is a little less than 3 in binary fractions, and 0.7 / 0.1 less than 7."""
    assert (_up(value, 0.1), _down(value, 0.1)) == (up, down)
    assert _up(inf, 0.1) is None


# -- regulators, adapters and batteries -----------------------------------------------------------


@pytest.mark.parametrize(
    ("peak_a", "rms_a", "starts_a", "rated_a"),
    [
        (1.0, 0.8, (), 1.0),
        (1.0, 0.9, (), 1.125),
        (1.0, 0.8, (1.5, 1.2), 1.5),
        (2.0, 1, (1.5,), 2.0),
    ],
)
def test_a_regulator_bears_peak_and_start_and_four_fifths_of_it_for_long(
    peak_a: float, rms_a: float, starts_a: tuple[float, ...], rated_a: float
) -> None:
    starts = [sag(amps, source_a=99.0) for amps in starts_a]
    over = replace(CALM, rms_a=rms_a)
    regulator = Regulator(5.0, 3.0, 0.3, 0.8)
    assert _regulator_a(regulator, peak_a, starts, over) == pytest.approx(rated_a)
    assert _regulator_a(None, peak_a, starts, over) is None


@pytest.mark.parametrize(
    ("worst", "words"),
    [
        ([sag(3.0, 2.0), sag(1.0, 1.0)], []),
        ([sag(1.0, 1.0), sag(3.01, 2.0)], ["the regulator gives 3 A, the peak is 3.01 A"]),
        ([sag(1.0, 2.01), sag(1.0, 1.0)], ["the adapter gives 2 A, the peak is 2.01 A"]),
        ([], []),
        (
            [sag(1.0), sag(1.0, collapsed=True)],
            ["the supply collapses at the worst instant of the show or of power-up"],
        ),
    ],
)
def test_what_a_supply_cannot_give_is_told(worst: list[Sag], words: list[str]) -> None:
    supply = Supply("p", Adapter(6.0, 2.0), Regulator(5.0, 3.0, 0.3, 0.8))
    assert _cautions(supply, CALM, None, worst) == words


def test_where_nothing_is_at_its_worst_the_mix_counts() -> None:
    over = replace(CALM, peak_a=3.01, source_rms_a=2.01)
    supply = Supply("p", Adapter(6.0, 2.0), Regulator(5.0, 3.0, 0.3, 0.8))
    assert len(_cautions(supply, over, None, [])) == 2
    assert len(_cautions(supply, replace(over, peak_a=3.0), None, [])) == 1


@pytest.mark.parametrize(("capacity_ah", "told"), [(None, 0), (2.5, 0), (2.51, 1)])
def test_a_battery_is_told_that_is_too_small(capacity_ah: float | None, told: int) -> None:
    """Alkaline cells stand 0.4 of their capacity an hour: 1 A of 2.5 Ah."""
    supply = Supply("p", Cells("alkaline", 4, 2.5))
    for amps, more in ((1.0, 0), (1.01, 1)):
        assert len(_cautions(supply, CALM, capacity_ah, [sag(amps)])) == told + more


# -- lights ---------------------------------------------------------------------------------------


def lit(*lights: Lamp | Strip, feed_v: float = 5.0, pin_a: float = 0.04) -> Show:
    board = Board("b", "any", 1, "p", electrics=Electrics(0.0, pin_a=pin_a))
    return Show(Rig((Supply("p", Adapter(feed_v, 9.0)),), (board,), lights), Score("s", ()))


def test_a_lamp_on_its_pin_and_behind_a_transistor() -> None:
    """5 V less 3 V at 20 mA are 100 ohm, an E24 value; two of 20 mA are all that a pin gives."""
    for count, driven in ((1, False), (2, False), (3, True)):
        lamp = Lamp("lure", "b", 9, 3.0, 0.02, count)
        found = size_lamp(lit(lamp), lamp)
        assert found.resistor is not None
        assert found.resistor.preferred_ohm == pytest.approx(100.0)
        assert found.total_a == pytest.approx(0.02 * count)
        assert (found.voltage_v, found.leds, found.needs_driver) == (5.0, count, driven)


def test_a_lamp_whose_feed_is_too_low_has_no_resistor_and_takes_nothing() -> None:
    lamp = Lamp("lure", "b", 9, 5.5, 0.02)
    found = size_lamp(lit(lamp), lamp)
    assert (found.resistor, found.total_a) == (None, 0.0)


@pytest.mark.parametrize(
    ("feed_v", "converter"), [(PIXEL_HIGHEST_V, False), (PIXEL_HIGHEST_V + 0.01, True)]
)
def test_pixels_take_a_converter_where_the_feed_is_more_than_they_stand(
    feed_v: float, converter: bool
) -> None:
    """Ten pixels, three colours of 20 mA and 1 mA of each one's own."""
    strip = Strip("belly", "b", 3, pixels=10, cap_a=0.4)
    found = size_strip(lit(strip, feed_v=feed_v), strip)
    assert found.white_a == pytest.approx(0.61)
    assert found.show_a == pytest.approx(0.01)
    assert (found.pixels, found.cap_a, found.voltage_v) == (10, 0.4, feed_v)
    assert found.needs_converter is converter
    assert not found.needs_shifter


@pytest.mark.parametrize(
    ("feed_v", "shifter", "needs"), [(3.5, False, False), (3.49, False, True), (3.49, True, False)]
)
def test_pixels_at_five_volts_take_a_shifter_where_the_pin_gives_less_than_seven_tenths(
    feed_v: float, shifter: bool, needs: bool
) -> None:
    strip = Strip("belly", "b", 3, pixels=10, feed_v=5.0, shifter=shifter)
    assert size_strip(lit(strip, feed_v=feed_v), strip).needs_shifter is needs


# -- dividers -------------------------------------------------------------------------------------


def test_a_watch_with_a_divider_gets_one_that_fits_a_full_battery() -> None:
    """Two lithium cells of 4.2 V at a chip of 5 V: 95 % of that at the pin, at the most."""
    own = Divider(10_000.0, 10_000.0)
    one = Watched(
        "b", PackWatch(0, own), Cells("li-ion", 2, 2.0), 5.0, 8.4, 3.4, 3.0, False, 0.0
    )  # fmt: skip
    found = size_watch(one)
    assert (found.has_upper_ohm, found.has_lower_ohm) == (10_000.0, 10_000.0)
    assert found.upper_ohm is not None
    assert found.lower_ohm is not None
    share = found.lower_ohm / (found.upper_ohm + found.lower_ohm)
    assert found.at_pin_v == pytest.approx(8.4 * share)
    assert 0.9 * 4.75 <= found.at_pin_v <= 4.75
    in_parallel = 1.0 / (1.0 / found.upper_ohm + 1.0 / found.lower_ohm)
    assert found.source_ohm == pytest.approx(in_parallel)
    assert in_parallel <= 10_000.0
    assert found.drain_a == pytest.approx(8.4 / (found.upper_ohm + found.lower_ohm))
    assert (found.warns_v, found.stops_v, found.chip_v) == (6.8, 6.0, 5.0)
    assert found.lowest_v == one.lowest_stop_v < 3.0


def test_a_watch_of_the_chips_own_supply_needs_no_divider() -> None:
    one = Watched("b", PackWatch(), Cells("li-ion", 1, 2.0), 4.2, 4.2, 3.4, 3.0, True, 0.0)
    found = size_watch(one)
    assert (found.upper_ohm, found.lower_ohm, found.at_pin_v, found.source_ohm) == (None,) * 4
    assert (found.has_upper_ohm, found.has_lower_ohm, found.drain_a) == (None, None, 0.0)
    assert (found.warns_v, found.stops_v) == (3.4, 3.0)
