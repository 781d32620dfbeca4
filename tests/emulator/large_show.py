"""A show of about 2.3 KB or more, more than a slot: eight servos that nod, each move another."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

PINS = ("PB0", "PB1", "PB2", "PB4", "PB5", "PC0", "PC1", "PC2")


def large_show(moves: int = 540, chip: str = "atmega328p", pins: Sequence[str] = PINS) -> str:
    chance = Random(moves)
    rig = [
        'show "Minutes"',
        "supply wall",
        "    source adapter 6 V, 20 A",
        f"board box: {chip}, address 9",
        "    feed wall, 300 mm of 14 AWG",
    ]
    for number, pin in enumerate(pins):
        rig += [
            f"servo part_{number}: box pin {pin}",
            "    pulse 1000 us at -45 deg, 2000 us at 45 deg",
            "    travel -40 deg to 40 deg",
            "    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V",
            "    load 60 g at 60 mm",
            "    acceleration 4000 deg/s2",
        ]
    cues = []
    for number in range(3):
        cues.append(f'cue act_{number} "Act {number + 1}"')
        cues += [
            f"    part_{chance.randrange(8)} to {chance.randint(-30, 30)} deg in "
            f"{chance.randint(110, 190) * 10 + n % 7} ms"
            for n in range(moves // 3)
        ]
    remote = ["remote", *(f"    button {n + 1}: go act_{n}" for n in range(3))]
    return "\n".join([*rig, *cues, *remote, "    stop button 9"]) + "\n"
