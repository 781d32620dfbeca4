"""Strips that show a level, while buttons are pressed at random: no group of pixels flashes unsaid.

Shows are texts, as a maker would write them. Each is checked, then played: a hand presses its
buttons at random, never closer than the quickest finger. The light of each group of neighbouring
pixels is then counted here, by the words of WCAG 2.2 (2.3.1), without the code of the check: pairs
of opposing changes of a tenth of full light or more, the darker state below 0.80; of a saturated
red (R / (R + G + B) at least 0.8) also changes of (R - G - B) * 320 by over 20.
"""

from __future__ import annotations

import random
from math import floor, pi

import numpy as np
import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Press, Show
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample

PLAYED_MS = 9_000
FRAME_MS = 20
RIG = """supply pack
    source adapter 5 V, 10 A
board box: atmega2560, address 1
    feed pack
    logic direct
{servo}lamp level: box pin PE3
{follows}strip tube: box pin PB0
    pixels {pixels}, pitch {pitch} mm
    shows level{end}{cap}
wearer
    viewed from {viewed} cm
safe pose rest
    tube {light}, level {safe}
"""
SERVO = """servo jaw: box pin PB5
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.05 s/60deg, 29 kgf.cm, 2 A at 5 V
"""


class Maker:
    """Writes shows whose cues move a level, and now and then light the strip."""

    def __init__(self, seed: int, moves: bool = False) -> None:
        """`moves`: a servo moves the level, because its lamp follows the part."""
        self.chance = random.Random(seed)
        self.moves = moves

    def text(self) -> str:
        one = self.chance.choice
        self.light = one(("white", "white", "orange", "teal 70 %", "white 45 %", "red 20 %"))
        by_speed = one(("from 5 deg to 40 deg", "from 10 deg/s to 90 deg/s"))
        rig = RIG.format(
            servo=SERVO if self.moves else "",
            follows=f"    follows jaw {by_speed}, 0 % to 80 %\n" if self.moves else "",
            pixels=one((20, 40, 70, 100)),
            pitch=one((7, 17, 33)),
            end=one(("", " from the end", " from the middle")),
            cap=one(("", "", "", "\n    cap 400 mA")),
            viewed=one((50, 100, 200)),
            light=self.light,
            safe=one(("off", "50 %")),
        )
        names = [f"c{n}" for n in range(self.chance.randint(1, 3))]
        cues = "".join(self.cue(name) for name in names)
        idle = ""
        if self.chance.random() < 0.2 and not self.moves:
            cues += f"cue breath\n{self.fade('    ')}{self.fade('    ')}    hold 2 s\n"
            idle = "idle: go breath\n"
        buttons = ""
        for n, name in enumerate(names, 1):
            held = " while held" if self.chance.random() < 0.25 else ""
            buttons += f"    button {n}: go {name}{held}\n"
        return f"{rig}{cues}{idle}remote\n{buttons}    stop button 9\n"

    def cue(self, name: str) -> str:
        busy = self.chance.choice(("", "", ", if busy refuse", ", if busy wait"))
        lines = [self.fade("    ") for _ in range(self.chance.randint(1, 2))]
        if self.chance.random() < 0.15:
            lines.append(f"    tube fade to {self.chance.choice(('blue', self.light))} in 400 ms\n")
        if self.chance.random() < 0.4:
            lines.insert(1, f"    hold {self.chance.choice((100, 400, 900))} ms\n")
        if self.chance.random() < 0.25:
            lines += ["    when let go\n", self.fade("        ")]
        elif self.chance.random() < 0.15:
            lines += ["    repeat while held\n        hold 100 ms\n", self.fade("    ")]
        return f"cue {name}{busy}\n" + "".join(lines)

    def fade(self, indent: str) -> str:
        level = self.chance.choice((0, 20, 50, 52, 54, 60, 100))
        lasts = self.chance.choice((1, 100, 100, 300, 600, 1500, 6000, 30000))
        if self.moves and self.chance.random() < 0.9:
            return f"{indent}jaw to {self.chance.choice((0, 20, 40))} deg in {max(lasts, 60)} ms\n"
        return f"{indent}level fade to {level} % in {lasts} ms\n"

    def presses(self, buttons: int) -> list[Press]:
        found, at = [], 700
        slow, steady = self.chance.choice((0, 0, 60, 200)), self.chance.choice((0.5, 1.0))
        button = 1
        while at < PLAYED_MS - 1000:
            found.append(Press(at, button=button, held_ms=self.chance.choice((20, 60, 100))))
            at += 120 + self.chance.randint(0, slow)
            other = button % buttons + 1
            button = other if self.chance.random() < steady else self.chance.randint(1, buttons)
        return found


def most_flashes(light: np.ndarray, least: float, bright: float) -> int:
    """The most pairs of opposing changes of a row of values within any second."""
    at: list[int] = []
    low = high = light[0]
    up: bool | None = None
    for frame, value in enumerate(light):
        fell, rose = high - value >= least - 1e-9, value - low >= least - 1e-9
        if fell and up is not False:
            at += [frame] if value < bright else []
            up, low = False, value
        elif rose and up is not True:
            at += [frame] if low < bright else []
            up, high = True, value
        low, high = (value if up else min(low, value)), (max(high, value) if up else value)
        if up is None:
            low, high = min(low, value), max(high, value)
    most = max((sum(a <= b <= a + 1000 // FRAME_MS for b in at) for a in at), default=0)
    return most // 2


def flashes_of_groups(show: Show, presses: list[Press]) -> int:
    """The most flashes within a second of any group of pixels that fills 0.006 sr."""
    played = rehearse(show, presses, PLAYED_MS)
    (strip,) = (o for o in show.rig.outputs if o.name == "tube")
    linear = sample(played, np.arange(0.0, PLAYED_MS, FRAME_MS)).strips["tube"].linear
    area = 0.006 * show.rig.wearer.viewing_m**2
    size = max(1, min(strip.pixels, floor(area / strip.pitch_m**2 + 1e-9)))
    worst = 0
    for first in range(strip.pixels - size + 1):
        red, green, blue = linear[:, first : first + size].mean(axis=1).T
        luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue
        worst = max(worst, most_flashes(luminance, 0.1, 0.8))
        total = np.maximum(red + green + blue, 1e-12)
        if (red / total >= 0.8).any():
            excess = np.maximum(red - green - blue, 0.0)
            worst = max(worst, most_flashes(excess, 20 / 320 + 1e-9, 2.0))
    return worst


def tried(seed: int, moves: bool = False) -> tuple[bool, bool]:
    """Whether something is said of a random show's bar, and whether a play of it flashes."""
    maker = Maker(seed, moves)
    text = maker.text()
    made = load_text(Source("random.cues", text))
    assert made.show is not None, text
    found = [one for one in check(made).findings if one.name == "bar-flashes"]
    buttons = len(made.show.score.bindings)
    flashes = max(flashes_of_groups(made.show, maker.presses(buttons)) for _ in range(4))
    assert found or flashes <= 3, (seed, flashes, text)
    return bool(found), flashes > 3


def test_no_group_of_pixels_flashes_by_random_presses_where_nothing_is_said() -> None:
    tries = [tried(seed) for seed in range(60)]
    said = sum(told for told, _ in tries)
    assert sum(seen for _, seen in tries) >= 2
    assert said < len(tries)


def test_nor_where_the_level_is_that_of_a_lamp_that_follows_a_move() -> None:
    tries = [tried(seed, moves=True) for seed in range(40)]
    assert sum(seen for _, seen in tries) >= 2
    assert sum(told for told, _ in tries) < len(tries)


def test_the_count_is_that_of_a_light_that_goes_on_and_off() -> None:
    """Five times a second for a second: four flashes lie within, and a fifth begins."""
    frames = np.arange(100)
    blinking = (frames // 5 % 2).astype(float)
    assert most_flashes(blinking, 0.1, 0.8) == 5
    assert most_flashes(0.09 * blinking, 0.1, 0.8) == 0
    assert most_flashes(0.8 + 0.2 * blinking, 0.1, 0.8) == 0
    assert most_flashes(0.5 + 0.1 * np.sin(2 * pi * frames / 25), 0.1, 0.8) == 2


@pytest.mark.long
def test_nor_in_many_random_shows() -> None:
    flashed = [tried(seed, moves=seed % 3 == 0)[1] for seed in range(1000, 1600)]
    assert sum(flashed) >= 10, "too few plays that flash to say much"
