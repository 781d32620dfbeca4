"""Lights that give less than all of their light, to look like others: from the text to the wire."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.compiler.show import compile_show
from firmware_gen.player.player import Player
from firmware_gen.table.records import LampRecord, StripRecord
from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.light.lightness import luminance
from sim.model import Lamp, Press, Show, Strip
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.score.tree import ready_ms
from tests.sim.played_both_ways import compare

RIG = """
supply pack
    source adapter 6 V, 10 A
board body: atmega328p, address 1
    feed pack
lamp eye: body pin PD6
    {lamp}
strip belly: body pin PD7
    pixels 4
    {strip}
cue lit
    eye fade to 80 % in 20 ms
    belly fade to white 80 % in 20 ms
    hold 2 s
cue swim
    eye breathe every 700 ms
    belly run every 900 ms, width 2
    eye fade to 90 %, belly fade to orange 90 % in 600 ms
    hold 2 s
remote
    button 1: go lit
    button 2: go swim
    stop button 9
"""


def loaded(lamp: str = "leds 1 of 3 V, 20 mA", strip: str = "cap 1 A") -> Show:
    found = load_text(Source("x.cues", RIG.format(lamp=lamp, strip=strip)))
    assert [one.message for one in found.findings] == []
    assert found.show is not None
    return found.show


def lights(show: Show) -> tuple[Lamp, Strip]:
    lamp, strip = show.rig.outputs
    assert isinstance(lamp, Lamp)
    assert isinstance(strip, Strip)
    return lamp, strip


def test_a_trim_is_a_share_of_the_light_in_steps_of_a_table() -> None:
    lamp, strip = lights(loaded("trim 80 %", "balance 100 %, 88 %, 72 %"))
    assert lamp.trims == (205 / 256,)
    assert strip.trims == (1.0, 225 / 256, 184 / 256)


def test_trim_and_balance_of_a_strip_multiply() -> None:
    _, strip = lights(loaded(strip="balance 100 %, 80 %, 60 %\n    trim 50 %"))
    assert strip.trims == (128 / 256, 102 / 256, 77 / 256)


def test_what_is_not_trimmed_takes_no_byte_more() -> None:
    (plain,) = compile_show(loaded()).boards
    (whole,) = compile_show(loaded("trim 100 %", "cap 1 A\n    balance 100 %, 100 %, 100 %")).boards
    (less,) = compile_show(loaded("trim 80 %", "cap 1 A\n    trim 90 %")).boards
    assert len(plain.data) == len(whole.data) == len(less.data) - 4
    lamp, strip = less.table.outputs
    assert isinstance(lamp, LampRecord)
    assert isinstance(strip, StripRecord)
    assert (lamp.trims, strip.trims) == ((204,), (229, 229, 229))


def test_the_board_sends_the_trimmed_light() -> None:
    """CIE 15: L* 80 is a luminance of 0.567; so much of it as the trim leaves."""
    show = loaded("trim 80 %", "balance 100 %, 50 %, 25 %")
    (board,) = compile_show(show).boards
    player = Player(board.data)
    for _ in range(30):
        player.heard()
        player.frame()
    player.button(1, down=True)
    for _ in range(10):
        frame = player.frame()
    whole = float(luminance(80.0))
    assert whole == pytest.approx(((80 + 16) / 116) ** 3)
    assert frame.duties[0] / 65535 == pytest.approx(whole * 205 / 256, abs=1e-3)
    green, red, blue = frame.strips[0][:3]
    assert red / 255 == pytest.approx(whole, abs=0.01)
    assert green / red == pytest.approx(0.5, abs=0.01)
    assert blue / red == pytest.approx(0.25, abs=0.01)


def test_a_trimmed_show_plays_as_rehearsed() -> None:
    show = loaded("trim 63 %", "balance 100 %, 50 %, 25 %")
    at = ready_ms(show) + 200
    found = compare(show, (Press(at, button=1), Press(at + 900, button=2)), 3000)
    assert (found.lamp < 0.002, found.strip < 0.02, found.at) == (True, True, [])


def test_currents_and_flashes_see_the_trimmed_light() -> None:
    def seen(show: Show) -> tuple[float, np.ndarray]:
        at = ready_ms(show) + 200
        samples = sample(rehearse(show, (Press(at, button=1),), at + 900), [at + 500.0])
        return float(samples.lamps["eye"].luminance[0]), samples.strips["belly"].linear[0, 0]

    lamp, strip = seen(loaded())
    less_lamp, less_strip = seen(loaded("trim 50 %", "cap 1 A\n    balance 100 %, 50 %, 25 %"))
    assert less_lamp == pytest.approx(lamp / 2)
    assert less_strip == pytest.approx(strip * np.array([1.0, 0.5, 0.25]))


@pytest.mark.parametrize(
    ("lamp", "strip"),
    [("trim 0 %", "cap 1 A"), ("trim 120 %", "cap 1 A"), ("trim 3 us", "cap 1 A")],
)
def test_a_share_outside_its_range_is_an_error(lamp: str, strip: str) -> None:
    found = load_text(Source("x.cues", RIG.format(lamp=lamp, strip=strip))).findings
    assert len(found) == 1
    assert found[0].severity == "error"
