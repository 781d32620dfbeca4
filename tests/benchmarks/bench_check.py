"""`bellcrank check`: a cold process against its imports, long shows against a bare parse."""

from __future__ import annotations

import gc
import os
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path

from lark import Lark

ROOT = Path(__file__).resolve().parents[2]
ANGLERFISH = ROOT / "shows" / "anglerfish" / "anglerfish.cues"
LAWS = ("", ", cycloidal", ", modified sine", ", 4-5-6-7", ", trapezoid 1/3")
SERVOS = tuple(f"part_{n}" for n in range(8))
PINS = ("PB0", "PB1", "PB2", "PB4", "PB5", "PC0", "PC1", "PC2")


def run() -> list[tuple[str, float, float]]:
    return [
        ("check of the anglerfish, cold, over `import lark, numpy`", cold_ratio(), 4.5),
        *long_ratios(),
    ]


# -- a cold process ----------------------------------------------------------------------------


def cold_ratio(pairs: int = 11) -> float:
    """Median processor time of a check over the median of bare imports, run in turn.

    A clock would measure what else the machine does: one commit gave 3.9 to 5.1 on it.

    Both sides run from compiled modules, as installed packages do, whatever the environment says
    of writing them: a folder of their own holds what the first two runs have compiled.
    """
    check = [sys.executable, "-m", "seqlang", "check", str(ANGLERFISH)]
    bare = [sys.executable, "-c", "import lark, numpy"]
    with tempfile.TemporaryDirectory() as compiled:
        unwanted = ("PYTHONDONTWRITEBYTECODE", "PYTHONPYCACHEPREFIX")
        kept = {name: value for name, value in os.environ.items() if name not in unwanted}
        place = {**kept, "PYTHONPYCACHEPREFIX": compiled}
        _worked_s(check, place), _worked_s(bare, place)
        times = [(_worked_s(check, place), _worked_s(bare, place)) for _ in range(pairs)]
    ours, theirs = zip(*times, strict=True)
    return statistics.median(ours) / statistics.median(theirs)


def _worked_s(command: list[str], environment: dict[str, str]) -> float:
    """Processor time of a process, in the program and in the system for it."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, capture_output=True, cwd=ROOT, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return (after.ru_utime + after.ru_stime) - (before.ru_utime + before.ru_stime)


# -- long shows --------------------------------------------------------------------------------


def long_ratios() -> list[tuple[str, float, float]]:
    from seqlang.check import check
    from seqlang.loading import load_text
    from seqlang.text.grammar import Indentation, grammar_text
    from seqlang.text.source import Source

    bare = Lark(grammar_text(), parser="lalr", postlex=Indentation())
    long = big_show(10_000)

    def ours(lines: int) -> Callable[[], object]:
        shows = (big_show(lines, seed) for seed in count())

        def check_another() -> object:
            # never the same again: what an edit leaves alone is not worked out anew
            return check(load_text(Source("big.cues", next(shows))))

        return check_another

    bare.parse(long), ours(1_000)()
    times = _medians(5, ours(1_000), ours(10_000), lambda: bare.parse(long))
    return [
        ("check of 10,000 lines over lark's bare parse of them", times[1] / times[2], 5.0),
        ("check of 10,000 lines over that of 1,000", times[1] / times[0], 11.0),
    ]


def _medians(rounds: int, *tasks: Callable[[], object]) -> list[float]:
    """Median times of tasks that take turns."""
    times: list[list[float]] = [[] for _ in tasks]
    for _ in range(rounds):
        for task, found in zip(tasks, times, strict=True):
            gc.collect()
            start = time.perf_counter()
            task()
            found.append(time.perf_counter() - start)
    return [statistics.median(found) for found in times]


def big_show(lines: int, seed: int = 0) -> str:
    """A show of that many lines: a rig of eight servos, a strip and a lamp, and many cues."""
    chance = random.Random(lines + seed)
    text = [*_rig()]
    cue = 0
    while len(text) < lines - 80:
        text += _cue(cue, chance)
        cue += 1
    text += ["remote", *(f"    button {n + 1}: go cue_{n}" for n in range(min(cue, 30)))]
    text += ["    stop button 31"]
    text += ["# a comment line fills up"] * (lines - len(text))
    return "\n".join(text) + "\n"


def _rig() -> list[str]:
    rig = [
        'show "A long show"',
        "given beat = 600 ms",
        "supply wall",
        "    source adapter 6 V, 20 A",
        "board box: atmega328p, address 1",
        "    feed wall, 300 mm of 16 AWG",
    ]
    for name, pin in zip(SERVOS, PINS, strict=True):
        rig += [
            f"servo {name}: box pin {pin}",
            "    pulse 1000 us at -45 deg, 2000 us at 45 deg",
            "    travel -40 deg to 40 deg",
            "    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V",
            "    load 60 g at 60 mm",
        ]
    rig += ["strip belly: box pin PD7", "    pixels 30, order grb, each 20 mA"]
    rig += ["lamp lure: box pin PD6", "    leds 1 of 3.0 V, 20 mA"]
    return rig


def _cue(number: int, chance: random.Random) -> list[str]:
    passages = [line for _ in range(3) for line in _passage(chance)]
    return [f'cue cue_{number} "Cue number {number}"', *passages, ""]


def _passage(chance: random.Random) -> list[str]:
    a, b, c = chance.sample(SERVOS, 3)

    def angle() -> str:
        return f"{chance.randint(-38, 38)} deg"

    def ease() -> str:
        return f"in {chance.randint(90, 300) * 10} ms{chance.choice(LAWS)}"

    return [
        "    together",
        f"        {a} to {angle()} {ease()}",
        f"        {b} to {angle()}, {c} to {angle()} {ease()}",
        f"        belly fade to #{chance.randrange(1 << 24):06x} {chance.randint(20, 80)} % in 2 s",
        "    stagger 80 ms",
        f"        {a} to {angle()} {ease()}",
        f"        {b} to {angle()} in (beat * 2)",
        f"    hold {chance.randint(1, 20) * 100} ms",
        "    repeat 2 times",
        f"        {c} to {angle()} {ease()}",
        f"        {c} to {angle()} {ease()}",
        f"    lure fade to {chance.randint(0, 100)} % in 1.5 s",
        f"    {a} to {angle()} {ease()}       # and back",
    ]
