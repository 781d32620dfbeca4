"""What is proposed to buy passes the checks' own limits, and the next size down does not.

The limits are worked out anew here, from the standards' tables in `tests/references` and the laws
beside each.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from firmware_gen.chips.atmega328p import CHIP
from sim.model import (
    Adapter,
    Board,
    Cells,
    Cue,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Load,
    Move,
    PointMass,
    Rating,
    Regulator,
    Rig,
    Score,
    Servo,
    Show,
    Step,
    Supply,
    Wearer,
    Wire,
)
from sim.rig import wire
from sim.rig.fuse import STANDARDS
from sim.rig.resistor import E24
from sim.rig.supply import highest_v
from sim.strain.sag import sags, start_sags, without_limits
from sim.strain.sizing import size
from sim.strain.supply_sizes import SupplySize
from tests.sim.test_reachable_states import POINTS

KINDS = ("blade", "UL fast", "UL slow", "IEC fast", "IEC slow")


def random_show(seed: int) -> Show:
    chance = np.random.default_rng(seed)
    servos = tuple(
        Servo(
            f"s{n}",
            "b",
            n,
            POINTS,
            (-30.0, 50.0),
            (Rating(6.0, 500.0, float(chance.uniform(0.5, 2.0)), float(chance.uniform(0.8, 3.0))),),
            Load((PointMass(float(chance.uniform(0.01, 0.15)), 0.06),)),
        )
        for n in range(int(chance.integers(1, 6)))
    )
    lamp = Lamp(
        "lamp",
        "b",
        22,
        forward_v=float(chance.choice((1.9, 2.1, 3.0, 3.3))),
        current_a=float(chance.choice((0.005, 0.01, 0.02, 0.15))),
        count=int(chance.integers(1, 4)),
    )
    steps: list[Step] = [
        Move(one.name, float(chance.integers(-30, 51)), int(chance.integers(300, 1500)))
        for one in servos
    ]
    cue = Cue("act", "", InTurn((*steps, Fade("lamp", 100.0, 500), Hold(500))))
    kind = str(chance.choice(KINDS))
    fed: dict[str, object] = {"fuse_kind": kind}
    if chance.random() < 0.5:
        source: Adapter | Cells = Adapter(6.0, 5.0)
    else:
        source = Cells("li-ion", 2, 3.0, resistance_ohm=0.03)
        fed["regulator"] = Regulator(6.0, 10.0)
    pack = Supply("p", source, **fed)  # type: ignore[arg-type]
    board = Board(
        "b", CHIP.name, 1, "p", Wire(float(chance.uniform(0.2, 2.0)), 20), electrics=CHIP.electrics
    )
    warm = float(chance.choice((20.0, 35.0, 45.0)))
    wearer = Wearer(tilt_deg=20.0, temperature_c=warm)
    return Show(Rig((pack,), (board,), (*servos, lamp), wearer=wearer), Score("", (cue,)))


def carries(show: Show, sized: SupplySize, rating_a: float) -> bool:
    """Whether a fuse carries RMS, peak and one starting servo, and protects the wire."""
    (supply,) = show.rig.supplies
    standard = STANDARDS[supply.fuse_kind]
    start = max(one.source_a for one in start_sags(without_limits(show)))
    long = standard.continuous * standard.left_when_warm(show.rig.wearer.temperature_c)
    peak = max(sized.source_peak_a, start)
    return sized.source_rms_a <= long * rating_a and peak <= standard.peak_share * rating_a


@pytest.mark.parametrize("seed", range(14))
def test_the_fuse_that_is_named_is_the_least_that_carries_the_show(seed: int) -> None:
    show = random_show(seed)
    (sized,) = size(show).supplies
    named = sized.fuse.rating_a
    standard = STANDARDS[show.rig.supplies[0].fuse_kind]
    sold = standard.ratings_a
    here = show.rig.boards[0].wire
    assert here is not None
    protects = [
        rating for rating in sold if rating * standard.wire_share <= wire.feed_carries_a(here)
    ]
    if named is None:
        # none that its wire allows carries the show
        assert not any(carries(show, sized, rating) for rating in protects)
        return
    assert named in protects
    assert carries(show, sized, named)
    smaller = [rating for rating in sold if rating < named]
    assert not smaller or not carries(show, sized, smaller[-1])


def drop_and_heat(show: Show, sized: SupplySize, gauge_awg: int) -> bool:
    """Whether a wire of that gauge drops at most 5 % and carries what its fuse lets through."""
    (board,), (feed,) = show.rig.boards, sized.feeds
    assert board.wire is not None
    thin = replace(board.wire, gauge_awg=gauge_awg, strands=None, section_mm2=None)
    warm = show.rig.wearer.temperature_c
    drop = wire.loop_ohm(thin, warm) * feed.peak_a / highest_v(show.rig, "b")
    standard = STANDARDS[show.rig.supplies[0].fuse_kind]
    fuse = (sized.fuse.rating_a or 0.0) * standard.wire_share
    return drop <= 0.05 and wire.feed_carries_a(thin) >= max(fuse, feed.rms_a)


@pytest.mark.parametrize("seed", range(14))
def test_the_wire_that_is_named_is_the_thinnest_that_drops_little_and_stands_its_fuse(
    seed: int,
) -> None:
    show = random_show(seed)
    (sized,) = size(show).supplies
    (feed,) = sized.feeds
    gauges = sorted(wire.GAUGES, reverse=True)
    if feed.gauge_awg is None:
        assert not any(drop_and_heat(show, sized, gauge) for gauge in gauges)
        return
    assert drop_and_heat(show, sized, feed.gauge_awg)
    thinner = [gauge for gauge in gauges if gauge > feed.gauge_awg]
    assert not any(drop_and_heat(show, sized, gauge) for gauge in thinner)


@pytest.mark.parametrize("seed", range(14))
def test_an_adapter_that_gives_the_peak_that_is_named_holds_and_a_weaker_one_does_not(
    seed: int,
) -> None:
    show = random_show(seed)
    (pack,) = show.rig.supplies
    show = replace(show, rig=replace(show.rig, supplies=(replace(pack, regulator=None),)))
    most = max(
        one.source_a
        for one in (*sags(without_limits(show)), *start_sags(without_limits(show)))
    )  # fmt: skip

    def holds(amps: float) -> bool:
        fed = replace(pack, source=Adapter(6.0, amps), regulator=None)
        tried = replace(show, rig=replace(show.rig, supplies=(fed,)))
        return not any(one.collapsed for one in (*sags(tried), *start_sags(tried)))

    if isinstance(pack.source, Cells):
        return
    assert holds(most * 1.001)
    assert not holds(most * 0.98)


@pytest.mark.parametrize("seed", range(14))
def test_the_regulator_that_is_named_holds_the_show_and_one_below_it_does_not(seed: int) -> None:
    show = random_show(seed)
    (pack,) = show.rig.supplies
    (sized,) = size(show).supplies
    if pack.regulator is None:
        return
    named = sized.regulator_a
    assert named is not None

    def holds(amps: float) -> bool:
        fed = replace(pack, regulator=replace(pack.regulator, current_a=amps))
        tried = replace(show, rig=replace(show.rig, supplies=(fed,)))
        asked = max(one.supply_a for one in (*sags(tried), *start_sags(tried)))
        collapsed = any(one.collapsed for one in (*sags(tried), *start_sags(tried)))
        return not collapsed and asked <= amps and sized.rms_a <= 0.8 * amps

    assert holds(named * 1.0001)
    assert not holds(named * 0.98)


@pytest.mark.parametrize("seed", range(14))
def test_the_resistor_that_is_named_is_the_least_of_its_series_that_keeps_the_current(
    seed: int,
) -> None:
    """Ohm's law: R >= (V - Vf) / I; the next value of E24 (IEC 60063) below lets through more."""
    show = random_show(seed)
    (lamp,) = size(show).lamps
    (one,) = (o for o in show.rig.outputs if isinstance(o, Lamp))
    if lamp.resistor is None:
        assert lamp.voltage_v <= one.forward_v
        return
    ohm = lamp.resistor.preferred_ohm
    row = sorted(round(float(base) * 10.0**decade, 6) for base in E24 for decade in range(-1, 6))
    assert any(value == pytest.approx(ohm) for value in row)
    assert (lamp.voltage_v - one.forward_v) / ohm <= one.current_a * (1 + 1e-9)
    below = max((low for low, high in pairwise(row) if high == pytest.approx(ohm)), default=0.0)
    assert (lamp.voltage_v - one.forward_v) / below > one.current_a
