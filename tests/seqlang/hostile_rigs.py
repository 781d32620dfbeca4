"""Shows that nobody would write, each with far too much of one thing that is declared or played.

Beside `hostile_shows`, whose cues are long: here it is the rig, names, gestures and numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from tests.seqlang.rig_text import RIG

_ACT: Final = "cue act\n    fan on\n    hold 1 s\n"
_TAIL: Final = "remote\n    button 1: go act\n    stop button 31\n"
_SERVO: Final = RIG[RIG.index("servo jaw") : RIG.index("servo fin")]
_LARGER: Final = "board large: atmega2560, address 9\n    feed pack\n"
_SHORT: Final = RIG + _LARGER


def sensors(size: int) -> str:
    rows = (f"sensor s{n}: large pin PF{n % 8}\n    falls in 200 ms\n" for n in range(size // 2))
    return _SHORT + "".join(rows) + _ACT + _TAIL


def channels(size: int) -> str:
    rows = (
        f"channel c{n}: large pin PL0\n    button {n % 30 + 1} from 1700 us to 2100 us\n"
        for n in range(size // 2)
    )
    return _SHORT + "".join(rows) + _ACT + _TAIL


def bands(size: int) -> str:
    rows = (f"    button {n % 30 + 1} from {800 + n % 900} us to 2100 us\n" for n in range(size))
    return _SHORT + "channel stick: large pin PL0\n" + "".join(rows) + _ACT + _TAIL


def followers(size: int) -> str:
    """Lamps that all follow one sensor."""
    line = "    follows voice from 10 % to 60 %, 0 % to 60 %\n"
    rows = (f"lamp l{n}: large pin PB4\n{line}" for n in range(size // 2))
    return _SHORT + "sensor voice: large pin PF0\n" + "".join(rows) + _ACT + _TAIL


def servos_that_follow(size: int) -> str:
    line = "    follows voice from 10 % to 60 %, 0 deg to 50 deg\n"
    count = min(48, size // 8)
    rows = (
        _SERVO.replace("jaw: body pin PB1", f"s{n}: large pin P{'AC'[n // 8 % 2]}{n % 8}") + line
        for n in range(count)
    )
    moves = (f"    s{n % count} to {n % 60} deg in 900 ms\n" for n in range(size))
    rig = _SHORT + "sensor voice: large pin PF0\n" + "".join(rows)
    return rig + "cue act\n" + "".join(moves) + _TAIL


def follows_of_nothing(size: int) -> str:
    line = "    follows voise{} from 10 % to 60 %, 0 % to 60 %\n"
    rows = (f"lamp l{n}: large pin PB4\n{line.format(n)}" for n in range(size // 3))
    heard = (f"sensor voice{n}: large pin PF0\n" for n in range(size // 3))
    return _SHORT + "".join(heard) + "".join(rows) + _ACT + _TAIL


def presses(size: int) -> str:
    ways = ("", " twice", " long 1 s", " let go")
    rows = (f"    button {n % 30 + 1}{ways[n % 4]}: go act\n" for n in range(size))
    return _SHORT + _ACT + "remote\n" + "".join(rows) + "    stop button 31\n"


def cues_in_turn(size: int) -> str:
    """Lists of cues that a button goes through."""
    row = ", ".join(["act", "act"] * 40)
    rows = (f"    button {n % 30 + 1}: go next of {row}\n" for n in range(size // 20))
    return _SHORT + _ACT + "remote\n" + "".join(rows) + "    stop button 31\n"


def gestures_in_gestures(size: int) -> str:
    """Each plays the one before it ten times."""
    first = "gesture g0: part servo, reach 10 deg\n    part to reach in 1 s\n"
    rows = (
        f"gesture g{n}: part servo, reach 10 deg\n"
        + f"    play g{n - 1}, part part, reach (reach + 0.1 deg)\n" * 10
        for n in range(1, size // 11)
    )
    last = f"cue act\n    play g{size // 11 - 1}, part jaw\n"
    return RIG + first + "".join(rows) + last + _TAIL


def played_gestures(size: int) -> str:
    """Many gestures, each played with a value that is too much for the part."""
    rows = (
        f"gesture g{n}: reach 10 deg\n    jaw to reach in 10 ms\n    jaw to 0 deg in 1 s\n"
        for n in range(size // 4)
    )
    plays = (f"    play g{n}, reach {n % 60} deg\n" for n in range(size // 4))
    return RIG + "".join(rows) + "cue act\n" + "".join(plays) + _TAIL


def rows_of_a_thousand(size: int) -> str:
    body = (f"    lamp l{n}: body pin PD6\n" for n in range(size))
    return RIG + "row of 1000\n" + "".join(body) + _ACT + _TAIL


def rows(size: int) -> str:
    body = (f"row of 32\n    lamp l{n}: body pin PD6\n" for n in range(size // 2))
    return RIG + "".join(body) + _ACT + _TAIL


def mirrored_rows(size: int) -> str:
    body = (
        f"mirror left, right\n    row of 32\n        lamp l{n}: body pin PD6\n"
        for n in range(size // 3)
    )
    return RIG + "".join(body) + _ACT + _TAIL


def sides(size: int) -> str:
    body = (f"mirror a{n}, b{n}\n    lamp l{n}: body pin PD6\n" for n in range(size // 2))
    return RIG + "".join(body) + _ACT + _TAIL


def poses(size: int) -> str:
    body = (f"pose p{n}\n    jaw {n % 60} deg\n" for n in range(size // 3))
    taken = (f"    pose p{n} in 1 s\n" for n in range(size // 3))
    return RIG + "".join(body) + "cue act\n" + "".join(taken) + _TAIL


def the_same_pose(size: int) -> str:
    """All poses have one name, and so has every proposal for another one."""
    return RIG + "pose p\n    jaw 5 deg\n" * (size // 2) + _ACT + _TAIL


def supplies(size: int) -> str:
    body = (
        f"supply s{n}\n    source adapter 6 V, 2 A\nboard b{n}: atmega328p, address 2\n"
        f"    feed s{n}, 300 mm of 20 AWG\n"
        for n in range(size // 4)
    )
    return RIG + "".join(body) + _ACT + _TAIL


def inputs(size: int) -> str:
    body = (f"input {n % 31 + 1}: body pin PC{n % 6}\n" for n in range(size))
    return RIG + "".join(body) + _ACT + _TAIL


def points(size: int) -> str:
    """A calibration of thousands of points."""
    row = ", ".join(f"{1000 + n} us at {n % 90} deg" for n in range(40))
    pulses = f"    pulse {row}\n" * (size // 10)
    at = RIG.index("    travel")
    return RIG[:at] + pulses + RIG[at:] + _ACT + _TAIL


def usage(size: int) -> str:
    return RIG + _ACT + "usage\n" + "    act 3 per hour\n" * size + _TAIL


def choices(size: int) -> str:
    block = "        one of\n            jaw to 10 deg in 1 s\n            hold 1 s .. 2 s\n"
    body = "    repeat for ever\n" + block * (size // 3)
    return RIG + "cue act\n" + body + "idle: go act\n" + _TAIL


def draws_elsewhere(size: int) -> str:
    body = "".join(f"    hold {n} parsec .. {n + 1} parsec\n" for n in range(size))
    return RIG + "cue act\n" + body + _TAIL


def long_comments(size: int) -> str:
    line = "    fan on    # " + "(jaw to 10 deg in 1 s) " * 40 + "\n"
    return RIG + "cue act\n" + line * (size // 20) + _TAIL


def sums(size: int) -> str:
    """Sums of sums of constants, each as long as a line may be."""
    body = "".join(
        f"given x{n + 1} = ({' + '.join([f'x{n}'] * 100)}) / 100\n" for n in range(size // 12)
    )
    return "given x0 = 1 s\n" + body + RIG + _ACT + _TAIL


def huge_numbers(size: int) -> str:
    body = "".join(f"    hold {'9' * 900}{n} ms\n" for n in range(size // 14))
    return RIG + "cue act\n" + body + _TAIL


def long_fractions(size: int) -> str:
    body = "".join(f"    jaw to 1.{'3' * 900}{n} deg in 1 s\n" for n in range(size // 14))
    return RIG + "cue act\n" + body + _TAIL


def findings_of_many_kinds(size: int) -> str:
    lines = (
        *("jaw to 500 deg in 1 s", "jaw to 10 ms in 1 s", "hold 1 parsec", "hold 1", "fan dim"),
        *("nobody to 3 deg in 1 s", "pose nowhere in 1 s", "play nothing", "lure to 3 deg in 1 s"),
        *("jaw to 10 deg in 1 ms", "lure fade to 300 % in 1 s", "jaw to 10 deg in -1 s"),
    )
    body = "".join(f"    {lines[n % len(lines)]}\n" for n in range(size))
    return RIG + "cue act\n" + body + _TAIL


def misspelt_words(size: int) -> str:
    body = "".join(f"    jaw too {n % 60} deg in 1 s\n    hodl 1 s\n" for n in range(size // 2))
    return RIG + "cue act\n" + body + _TAIL


def wrong_units(size: int) -> str:
    """Thousands of findings that each propose a change."""
    body = "".join(f"    hold {n} secs\n" for n in range(size))
    return RIG + "cue act\n" + body + _TAIL


HOSTILE_RIGS: Final[tuple[Callable[[int], str], ...]] = (
    sensors,
    channels,
    bands,
    followers,
    servos_that_follow,
    follows_of_nothing,
    presses,
    cues_in_turn,
    gestures_in_gestures,
    played_gestures,
    rows_of_a_thousand,
    rows,
    mirrored_rows,
    sides,
    poses,
    the_same_pose,
    supplies,
    inputs,
    points,
    usage,
    choices,
    draws_elsewhere,
    long_comments,
    sums,
    huge_numbers,
    long_fractions,
    findings_of_many_kinds,
    misspelt_words,
    wrong_units,
)
"""Each makes a text of about that many lines of usual length."""
