"""Sampling motion against numpy's bare cost of one 3-4-5 polynomial on as many samples.

Sixteen servos over 600 s at 1 kHz are 9.6 million samples of angle, speed and acceleration. The
baseline is `10 x**3 - 15 x**4 + 6 x**5`, factored as one would write it by hand, over an array of
9.6 million shares. Both run in turn in the same process, and the fastest round of each counts:
what slows a round down is the machine's other work. Each servo's samples go into the same array,
made beforehand; the polynomial makes its own, as numpy does.

Three scores: parts that never rest, all by the default law; the anglerfish's own rehearsal, again
and again, its servos taken round until there are sixteen; and, as the worst case, parts that never
rest with every law of the language in equal parts. Four of those take a sine and a cosine each
sample, which alone cost numpy three to four times the polynomial: that row has a wider bound.
"""

from __future__ import annotations

import random
import time
from pathlib import Path

import numpy as np

from sim.model import MINIMUM_JERK, Law
from sim.rehearsal.fixed_motion import servo_limits
from sim.rehearsal.motion import MotionPiece, begin, resting
from sim.rehearsal.sampling import motion
from sim.score.laws import LAW_NAMES

SERVOS = 16
LENGTH_MS = 600_000
LIMIT = 4.0
WORST_CASE_LIMIT = 8.0
ROUNDS = 9
ANGLERFISH = Path(__file__).resolve().parents[2] / "shows" / "anglerfish" / "anglerfish.cues"


def run() -> list[tuple[str, float, float]]:
    shares = np.linspace(0.0, 1.0, SERVOS * LENGTH_MS)
    times = np.arange(float(LENGTH_MS))
    every = [Law(name, 0.3, 0.2) for name in LAW_NAMES]
    scores = [
        ("default law, never at rest", rows([MINIMUM_JERK]), LIMIT),
        ("the anglerfish", anglerfish_rows(), LIMIT),
        ("every law, never at rest", rows(every), WORST_CASE_LIMIT),
    ]
    return [
        (f"9.6 M samples of motion over a polynomial: {name}", _ratio(score, times, shares), limit)
        for name, score, limit in scores
    ]


def _ratio(score: list[list[MotionPiece]], times: np.ndarray, shares: np.ndarray) -> float:
    out = np.zeros((3, times.size))
    ours: list[float] = []
    bare: list[float] = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        polynomial(shares)
        middle = time.perf_counter()
        for row in score:
            motion(row, times, 2, out)
        bare.append(middle - start)
        ours.append(time.perf_counter() - middle)
    return min(ours) / min(bare)


def polynomial(x: np.ndarray) -> np.ndarray:
    return x * x * x * (10.0 + x * (6.0 * x - 15.0))


def rows(laws: list[Law]) -> list[list[MotionPiece]]:
    """Sixteen parts that go from target to target, one move in five cut short by the next."""
    chance = random.Random(1)
    limits = servo_limits(900, 9000, (-6000, 6000))
    found = []
    for _ in range(SERVOS):
        row, now = [resting(0, 0.0)], 0
        while now < LENGTH_MS:
            lasts = chance.randrange(200, 2000)
            target, law = chance.uniform(-60.0, 60.0), chance.choice(laws)
            row.append(begin(row[-1], now * 256, target, lasts * 256, law, limits, None))
            now += lasts if chance.random() < 0.8 else lasts // 2
        found.append(row)
    return found


def anglerfish_rows() -> list[list[MotionPiece]]:
    from dataclasses import replace

    from seqlang.loading import load
    from sim.rehearsal.rehearse import rehearse
    from sim.rehearsal.run_through import run_through

    show = load(ANGLERFISH).show
    assert show is not None
    whole = run_through(show)
    presses, length = whole.presses, whole.length_ms
    again = [
        replace(press, at_ms=press.at_ms + n * length)
        for n in range(LENGTH_MS // length + 1)
        for press in presses
    ]
    played = rehearse(show, again, LENGTH_MS)
    servos = [list(row) for row in played.motions.values()]
    return [servos[n % len(servos)] for n in range(SERVOS)]
