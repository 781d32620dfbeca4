"""The limits that FINDINGS.md tells of are those that the checks keep."""

from __future__ import annotations

import re
from math import ceil

import pytest

from firmware_gen.chips import CHIPS
from firmware_gen.listing.busy_frames import MOST_PLAYED
from firmware_gen.serial_rates import CLOCKS, TOLERANCE, TOLERANCE_DOUBLE
from seqlang.checks.supply.servo_overvoltage import FAR_OVER_RATED, OVER_RATED
from seqlang.checks.wiring import rig_too_large as rig
from seqlang.explain import explanations
from seqlang.meaning.durations import MOST_SEARCHED
from seqlang.meaning.mounted import MOST_IN_CHAIN
from seqlang.meaning.stage import MOST_STEPS, MOST_STEPS_OF_SHOW
from seqlang.text.indentation import (
    MOST_BRACKETS,
    MOST_BYTES,
    MOST_CHARACTERS,
    MOST_CONTENT,
    MOST_IN_LINE,
    MOST_INCLUDED,
    MOST_INCLUDED_DEEP,
    MOST_NESTED,
)
from seqlang.text.recover import MOST_ERRORS
from sim.light.sequences import STROBE_S
from sim.model import Follow, Lamp
from sim.rig.drive import LEAST_TRANSMISSION_DEG
from sim.rig.watch import SOURCE_OHM
from sim.rulebook import (
    ADDRESSES,
    ANSWERING,
    CLAIMS,
    CUES,
    FRAME_MS,
    INPUTS,
    LONGEST_DURATION_MS,
    LONGEST_SILENCE_MS,
    LONGEST_STOP_MS,
    LOOP_DEPTH,
    OPS_A_FRAME,
    OUTPUTS,
    SENSORS,
    STRANDS,
    THREADS,
    WAYS_OF_A_PASS,
)
from sim.strain.eye import MOST_FRAMES, MOST_LOOKS, MOST_PIXELS, MOST_STATEMENTS
from sim.strain.followed_light import shortest_way_ms

CHIP = CHIPS["atmega328p"]


def _shortest_s(level_pct: float) -> float:
    """In what time a white lamp follows from dark to a level, to a tenth upward (s)."""
    way = Follow("lure", "voice", 0.0, 1.0, 0.0, level_pct)
    return ceil(shortest_way_ms(Lamp("lure", "box", 0), way) / 100) / 10


KEPT: dict[str, tuple[float, ...]] = {
    "too-many-errors": (MOST_ERRORS,),
    "nested-too-deep": (MOST_NESTED, MOST_BRACKETS),
    "line-too-long": (MOST_IN_LINE,),
    "file-too-large": (MOST_BYTES / 1e6, MOST_CHARACTERS, MOST_CONTENT),
    "cue-too-long": (MOST_STEPS,),
    "show-too-long": (MOST_STEPS_OF_SHOW,),
    "too-many-searches": (MOST_SEARCHED,),
    "chain-too-long": (MOST_IN_CHAIN,),
    "answers-unheard": (ANSWERING,),
    "address-clash": (ADDRESSES[0], ADDRESSES[-1]),
    "board-overfull": (OUTPUTS, CHIP.servos, CHIP.strips, CHIP.pixels, INPUTS, SENSORS, CUES),
    "rig-too-large": (
        *(rig.MOST_BOARDS, rig.MOST_SERVOS, rig.MOST_OUTPUTS, rig.MOST_INPUTS, rig.MOST_CUES),
        *(rig.MOST_MOVES, rig.PAIRS_A_MOVE),
    ),
    "cannot-lead": (CLAIMS,),
    "too-many-claims": (CLAIMS,),
    "linkage-locks": (LEAST_TRANSMISSION_DEG,),
    "flat-linkage": (LEAST_TRANSMISSION_DEG,),
    "duration-too-long": (
        *(LONGEST_DURATION_MS / 1000, LONGEST_STOP_MS / 1000, LONGEST_SILENCE_MS / 1000),
    ),
    "servo-overvoltage": (100 * (OVER_RATED - 1), 100 * (FAR_OVER_RATED - 1)),
    "light-too-long": (
        *(MOST_FRAMES * FRAME_MS / 60_000, MOST_STATEMENTS, MOST_PIXELS, MOST_LOOKS),
    ),
    "long-strobe": (STROBE_S,),
    "too-many-threads": (THREADS, LOOP_DEPTH),
    "frame-overfull": (OPS_A_FRAME, FRAME_MS, MOST_PLAYED),
    "too-many-includes": (MOST_INCLUDED, MOST_INCLUDED_DEEP),
    "strands-clash": (STRANDS,),
    "too-many-ways": (WAYS_OF_A_PASS,),
    "watch-unfit": (SOURCE_OHM / 1000,),
    "radio-rate": (100 * (TOLERANCE - CLOCKS), 100 * (TOLERANCE_DOUBLE - CLOCKS)),
    "radio-beyond-board": (100 * (TOLERANCE - CLOCKS), 100 * (TOLERANCE_DOUBLE - CLOCKS)),
    "follow-flashes": (50, _shortest_s(50), 100, _shortest_s(100)),
}
"""The numbers in what a finding says is checked, in order."""

NO_LIMITS = {
    "not-text": "UTF-8",
    "no-standstill": "0 rpm",
    "safe-pose-spins": "0 rpm",
    "tag-clash": "the bits of a check sum",
    "pinch-over-limit": "a standard",
    "fuse-blows": "standards and what they say, held in tests/references/test_fuse_ratings.py",
    "wire-overload": "a standard and what it says, held in tests/references/test_fuse_ratings.py",
    "strip-overvoltage": "data sheets, from memory",
    "strip-data-low": "data sheets, held in tests/references/test_logic_voltages.py",
}
"""Findings whose numbers are none of ours."""


def numbers(text: str) -> list[float]:
    found = re.findall(r"[0-9][0-9,]*(?:\.[0-9]+)?", text)
    return [float(number.replace(",", "")) for number in found]


@pytest.mark.parametrize("name", sorted(KEPT))
def test_what_is_said_to_be_checked_is_what_is_checked(name: str) -> None:
    assert numbers(explanations()[name].what) == pytest.approx(KEPT[name])


def test_every_finding_that_tells_of_a_limit_is_held_to_it() -> None:
    telling = {
        name
        for name, one in explanations().items()
        if not name.startswith("caution-") and numbers(one.what or "")
    }
    assert telling == set(KEPT) | set(NO_LIMITS)
