"""What cues warm a fuse like: a fan of 1 A goes on and off, and warmth follows in closed form.

A wire with one time constant T gives its heat off in proportion to its warmth. Heated with h for a
seconds and with c for b seconds, over and over, it is warmest as the heat ends:
c + (h - c) (1 - exp(-a / T)) / (1 - exp(-(a + b) / T)) (first order step responses).
"""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Show
from sim.rig.fuse import STANDARDS
from sim.strain.fuse_load import Warming, warmest, warming
from sim.strain.usage import Book

BLADE_S = 0.9427
"""Of a blade fuse: 1.35**2 (1 - exp(-0.75 / T)) = 1."""

TEXT = """
supply pack
    source adapter 6.0 V, 100 A
    fuse 5 A
board body: atmega328p, address 1
    feed pack, 100 mm of 18 AWG
switch fan: body pin PD7
    draws 970 mA
{cues}remote
    button 1: go {first}
    stop button 2
"""


def show(**cues: str) -> Show:
    """The board takes 30 mA: 1 A while the fan is on."""
    written = "".join(f"cue {name}\n{body}" for name, body in cues.items())
    made = load_text(Source("x.cues", TEXT.format(cues=written, first=next(iter(cues))))).show
    assert made is not None
    return made


def warmed(made: Show, kind: str = "blade") -> Warming | None:
    standard = STANDARDS[kind]  # type: ignore[index]
    return warming([Book(made)], made.rig.supplies[0], standard)


def beat(on_ms: int, off_ms: int, indent: str = "    ") -> str:
    steps = ("fan on", f"hold {on_ms} ms", "fan off", f"hold {off_ms} ms")
    return "".join(f"{indent}{step}\n" for step in steps)


def amps(on_s: float, off_s: float) -> float:
    high, low = 1.0, 0.03**2
    share = (1 - exp(-on_s / BLADE_S)) / (1 - exp(-(on_s + off_s) / BLADE_S))
    return float((low + (high - low) * share) ** 0.5)


@pytest.mark.parametrize(("on_ms", "off_ms"), [(400, 400), (1000, 400), (300, 2000), (9000, 500)])
def test_a_fan_that_goes_on_and_off_warms_as_a_steady_current_does(on_ms: int, off_ms: int) -> None:
    found = warmed(show(blow=beat(on_ms, off_ms)))
    assert found is not None
    assert found.amps == pytest.approx(amps(on_ms / 1000, off_ms / 1000), rel=0.02)
    assert found.cue == "blow"


PACK = "    source 2 lipo cells in 4 rows, 5000 mAh, 1 mohm\n"
"""4.2 V a cell when full, 3.6 to 3.8 V with the fifth that is left in it: from memory."""


def packed(supply: str, rest: str) -> Show:
    text = f"supply pack\n{PACK}{supply}board body: atmega328p, address 1\n    feed pack\n{rest}"
    made = load_text(Source("x.cues", text)).show
    assert made is not None
    return made


def test_behind_a_regulator_an_empty_pack_gives_most() -> None:
    """5 V and 2 A from a regulator of 90 % are 11.1 W: 1.32 A full, 1.46 to 1.54 A empty."""
    made = packed(
        "    regulator 5 V, 5 A, efficiency 90 %\n    fuse 5 A\n",
        "switch fan: body pin PD7\n    draws 1970 mA\n"
        "cue blow\n    fan on\n    hold 60 s\n    fan off\nremote\n    button 1: go blow\n",
    )
    found = warmed(made)
    assert found is not None
    assert 10.0 / 0.9 / (2 * 3.8) <= found.amps <= 10.0 / 0.9 / (2 * 3.6)


def test_a_stalled_servo_takes_most_of_a_full_pack() -> None:
    """A motor that stands takes current as its voltage goes: 4 A at 6 V are 5.6 A at 8.4 V."""
    made = packed(
        "    fuse 10 A\n",
        "servo claw: body pin PB1\n    pulse 900 us at 0 deg, 2100 us at 90 deg\n"
        "    travel 0 deg to 90 deg\n    rating 0.1 s/60deg, 10 kgf.cm, 4 A at 6 V\n"
        "    load 10 g at 20 mm\n    grips 100 N at 100 mm, past 40 deg, for 60 s\n"
        "cue shut\n    claw to 60 deg in 1 s\n    hold 50 s\n    claw to 0 deg in 1 s\n"
        "remote\n    button 1: go shut\n",
    )
    found = warmed(made)
    assert found is not None
    assert found.amps == pytest.approx(4.0 * 8.4 / 6.0 + 0.03, rel=0.03)


def test_of_several_cues_the_one_that_warms_most_is_told() -> None:
    made = show(little=beat(200, 2000), much=beat(2000, 200), middling=beat(400, 400))
    found = warmed(made)
    assert found is not None
    assert (found.cue, found.amps) == ("much", pytest.approx(amps(2.0, 0.2), rel=0.02))


def test_what_never_ends_warms_as_its_rounds_do_and_not_as_it_does_from_cold() -> None:
    """A quiet minute first, and rounds of 400 ms on and off: as the same without the minute."""
    endless = "    hold 60 s\n    repeat for ever\n" + beat(400, 400, " " * 8)
    found = warmed(show(blow=endless))
    assert found is not None
    assert found.amps == pytest.approx(amps(0.4, 0.4), rel=0.02)
    # from cold 400 ms alone bring it to so much
    assert (1 - exp(-0.4 / BLADE_S)) ** 0.5 < 0.8 * amps(0.4, 0.4)


@pytest.mark.parametrize(
    "heat", [(0.0, 0.0, 0.0), (9.0, 0.0, 0.0, 1.0), (1.0, 4.0, 9.0, 0.0), (9.0, 4.0, 1.0, 0.0)]
)
def test_warmth_follows_heat_that_came_before_and_not_what_comes(heat: tuple[float, ...]) -> None:
    """By the recurrence of a first order lag, played until nothing changes."""
    warm = most = 0.0
    for _ in range(200):
        most = 0.0
        for one in heat:
            warm += (one - warm) * (1 - exp(-1 / 3.0))
            most = max(most, warm)
    assert warmest(np.array(heat), 3.0) == pytest.approx(most, abs=1e-12)


def test_a_kind_that_promises_no_more_for_a_peak_has_no_warmth_of_its_own() -> None:
    assert warmed(show(blow=beat(400, 400)), "IEC fast") is None
