"""Shows that nobody would write, each made to keep one part of the check busy for long."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from random import Random
from typing import Final

from tests.seqlang.rig_text import RIG

_TAIL: Final = "remote\n    button 1: go act\n    stop button 31\n"


def _cue(lines: Iterable[str], name: str = "act", depth: int = 1) -> str:
    return f"cue {name}\n" + "".join(f"{'    ' * depth}{line}\n" for line in lines)


def _move(chance: Random) -> str:
    return f"jaw to {chance.randint(0, 60)} deg in {chance.randint(90, 300) * 10} ms"


def _buttons(count: int) -> str:
    lines = (f"    button {n + 1}: go c{n}\n" for n in range(min(count, 30)))
    return "remote\n" + "".join(lines) + "    stop button 31\n"


def _cues(count: int, lines: Callable[[int], Iterable[str]]) -> str:
    return RIG + "".join(_cue(lines(n), f"c{n}") for n in range(count)) + _buttons(count)


def _hundred_pixels(text: str) -> str:
    return text.replace("pixels 30", "pixels 100")


def moves(size: int) -> str:
    chance = Random(size)
    return RIG + _cue(_move(chance) for _ in range(size)) + _TAIL


def the_same_again(size: int) -> str:
    return RIG + _cue(["jaw to 10 deg in 1 s", "jaw to 20 deg in 1 s"] * (size // 2)) + _TAIL


def many_laws(size: int) -> str:
    chance = Random(size)
    rows = (
        f"{_move(chance)}, double-S 0.{chance.randint(1000, 4999)}, 0.{chance.randint(1000, 4999)}"
        for _ in range(size)
    )
    return RIG + _cue(rows) + _TAIL


def effects(size: int) -> str:
    rows = []
    for n in range(size // 2):
        rows += [
            f"belly sparkle every {40 + n} ms, seed {n % 256}, width {n % 100 + 1}",
            "hold 1 s",
        ]
    return RIG + _cue(rows) + _TAIL


def effects_for_ever(size: int) -> str:
    rows = ["repeat for ever"]
    for n in range(size // 2):
        colour = ("red", "white", "blue")[n % 3]
        rows += [f"    belly run every {40 + n % 60} ms, width {n % 100 + 1}"]
        rows += [f"    belly fade to {colour} {n % 100} % in {20 + n % 2000 * 10} ms"]
    return _hundred_pixels(RIG) + _cue(rows) + _TAIL


def colours_of_many_cues(size: int) -> str:
    """Cues that leave more colours than are remembered, each of which any cue may begin with."""
    chance = Random(size)
    count = min(30, size // 4)

    def lines(_: int) -> list[str]:
        rows = []
        for _ in range(size // count // 2):
            rows += [f"belly fade to #{chance.randrange(1 << 24):06x} in 600 ms", "hold 600 ms"]
        return rows

    return _cues(count, lines)


def sparkles_left_on(size: int) -> str:
    """Cues that each leave another sparkle on, too dim to flash where one pixel is lit."""
    count = min(30, size // 4)

    def lines(n: int) -> list[str]:
        return ["belly cut to white 40 %", f"belly sparkle every {220 + n} ms, width 1, seed {n}"]

    return _hundred_pixels(_cues(count, lines))


def coloured_sparkles(size: int) -> str:
    count = min(30, size // 4)

    def lines(n: int) -> list[str]:
        return ["belly cut to red", f"belly sparkle every {300 + n} ms, width 1, seed {n}"]

    return _hundred_pixels(_cues(count, lines))


def embers_left_on(size: int) -> str:
    count = min(30, size // 4)

    def lines(n: int) -> list[str]:
        return ["belly cut to white 100 %", f"belly ember every {250 + n} ms, seed {n}"]

    return _hundred_pixels(_cues(count, lines))


def effects_on_many_lights(size: int) -> str:
    strips = "".join(f"strip s{n}: body pin PB{n}\n    pixels 100\n" for n in range(4))
    rows = []
    for n in range(size // 2):
        rows += [f"s{n % 4} fade to white {50 + n % 50} % in {n % 9 + 1} s"]
        rows += [f"s{n % 4} ember every {200 + n} ms, seed {n % 256}"]
    return RIG + strips + _cue(rows) + _TAIL


def servos_that_take_over(size: int) -> str:
    servo = RIG[RIG.index("servo jaw") : RIG.index("servo fin")]
    extra = "".join(
        servo.replace("jaw", f"j{n}").replace("PB1", pin)
        for n, pin in enumerate(("PB0", "PB3", "PB4", "PC0", "PC1", "PC2"))
    )
    names = " and ".join(f"j{n}" for n in range(6))

    def lines(n: int) -> list[str]:
        chance = Random(n)
        return [
            f"{names} to {chance.randint(0, 60)} deg in {chance.randint(90, 300) * 10} ms"
            for _ in range(max(2, size // 40))
        ]

    return RIG + extra + "".join(_cue(lines(n), f"c{n}") for n in range(30)) + _buttons(30)


def servos_that_move_together(size: int) -> str:
    """All on a supply that collapses under them, each cue with all of them."""
    chance = Random(size)
    servo = RIG[RIG.index("servo jaw") : RIG.index("servo fin")]
    pins = ("PB0", "PB1", "PB2", "PB3", "PB4", "PC0", "PC1", "PC2")
    boards = range(min(7, size // 100 + 1))
    rows = [
        f"board q{b}: atmega328p, address {b + 10}\n    feed pack, 2000 mm of 26 AWG\n"
        for b in boards
    ]
    names = [f"s{b * len(pins) + n}" for b in boards for n in range(len(pins))]
    for n, name in enumerate(names):
        here = f"{name}: q{n // len(pins)} pin {pins[n % len(pins)]}"
        rows.append(servo.replace("jaw: body pin PB1", here).replace("60 g", f"{60 - n} g"))
    every = " and ".join(names)

    def lines(_: int) -> list[str]:
        to, then = chance.randint(0, 60), chance.randint(0, 60)
        ms = chance.randint(90, 300) * 10
        return [f"{every} to {to} deg in {ms} ms", f"{every} to {then} deg as fast as it can"]

    cues = "".join(_cue(lines(n), f"c{n}") for n in range(min(250, size // 50)))
    return RIG + "".join(rows) + cues + _buttons(min(250, size // 50))


def repeats_in_repeats(size: int) -> str:
    chance = Random(size)
    rows: list[str] = []
    for _ in range(size // 5):
        rows += [f"{'    ' * n}repeat {chance.randint(2, 40)} times" for n in range(3)]
        rows += [
            f"            {_move(chance)}",
            f"            lure cut to {chance.randint(0, 99)} %",
        ]
    return RIG + _cue(rows) + _TAIL


def parts_on_parts(size: int) -> str:
    return _six_parts(size, ["on j{} at 50 mm, ahead 0 deg"])


def parts_side_by_side(size: int) -> str:
    return _six_parts(size, [])


def _six_parts(size: int, where: list[str]) -> str:
    servo = RIG[RIG.index("servo jaw") : RIG.index("servo fin")]
    pins = ("PB0", "PB3", "PB4", "PC0", "PC1", "PC2")
    parts = "".join(
        servo.replace("jaw", f"j{n}").replace("PB1", pin)
        + "".join(f"    {line.format(n - 1)}\n" for line in where if n)
        for n, pin in enumerate(pins)
    )
    chance = Random(size)
    rows = (
        f"j{chance.randrange(6)} to {chance.randint(0, 60)} deg in {chance.randint(90, 300)} ms"
        for _ in range(size)
    )
    return RIG + parts + _cue(rows) + _TAIL


def short_repeats(size: int) -> str:
    chance = Random(size)
    rows: list[str] = []
    for _ in range(size // 3):
        rows += [f"repeat {chance.randint(2, 9)} times"]
        rows += [f"    {_move(chance)}", f"    {_move(chance)}"]
    return RIG + _cue(rows) + _TAIL


def held_repeats(size: int) -> str:
    chance = Random(size)
    rows: list[str] = []
    for _ in range(size // 2):
        rows += ["repeat while held", f"    {_move(chance)}"]
    return RIG + _cue(rows) + _TAIL


def held_repeats_at_once(size: int) -> str:
    block = ["    in turn", "        repeat while held", "            hold 300 ms"]
    block += ["        jaw to 10 deg in 1 s"]
    return RIG + _cue(["together", *block * (size // 4)]) + _TAIL


def forks(size: int) -> str:
    block = ["together", "    repeat 3 times", "        jaw to 10 deg in 1 s"]
    block += ["    repeat 3 times", "        fan on", "        hold 500 ms"]
    return RIG + _cue(block * (size // 6)) + _TAIL


def stagger_of_repeats(size: int) -> str:
    block = ["    repeat 3 times", "        fan on", "        hold 10 ms"]
    return RIG + _cue(["stagger 10 ms", *block * (size // 3)]) + _TAIL


def moves_at_once(size: int) -> str:
    block = ["together", "    jaw to 10 deg in 1 s", "    jaw to 20 deg in 1 s"]
    return RIG + _cue(block * (size // 3)) + _TAIL


def repeats_of_holds(size: int) -> str:
    return RIG + _cue(["repeat 24 times", "    hold 1 h"] * (size // 2)) + _TAIL


def long_repeats(size: int) -> str:
    return RIG + _cue(["repeat 65534 times", "    hold 24 h"] * (size // 2)) + _TAIL


def plays_of_plays(size: int) -> str:
    chance = Random(size)
    first = _cue((_move(chance) for _ in range(100)), "c0")
    rest = "".join(_cue([f"play c{n - 1}"] * 10, f"c{n}") for n in range(1, size // 11))
    return RIG + first + rest + _buttons(30)


def many_cues(size: int) -> str:
    chance = Random(size)
    return _cues(size // 2, lambda _: [_move(chance)])


def as_fast_as_it_can(size: int) -> str:
    chance = Random(size)
    rows = (f"jaw to {chance.randint(0, 6000) / 100} deg as fast as it can" for _ in range(size))
    return RIG + _cue(rows) + _TAIL


def flickers(size: int) -> str:
    def lines(n: int) -> list[str]:
        return ["repeat 30000 times", f"    lure fade to {n} % in 10 ms", "    lure cut to 50 %"]

    return _cues(min(30, size // 4), lines)


def flashes(size: int) -> str:
    rows = (f"lure fade to {100 * (n % 2)} % in {50 + n % 7 * 10} ms" for n in range(size))
    return RIG + _cue(rows) + _TAIL


def flashing_repeats(size: int) -> str:
    rows = ["repeat 600 times", "    lure fade to 100 % in 60 ms", "    lure cut to off"]

    def lines(n: int) -> list[str]:
        return rows * (size // 100)

    return _cues(min(30, size // 4), lines)


def long_pairs(size: int) -> str:
    def lines(n: int) -> list[str]:
        block = ["repeat 120 times", f"    belly fade to red {n} % in 100 ms"]
        return [*block, "    belly fade to off in 200 ms", "    hold 4 s"]

    return _cues(min(30, size // 5), lines)


def boards(size: int) -> str:
    rows = (
        f"board b{n}: atmega328p, address {n % 254 + 1}\n    feed pack\nswitch s{n}: b{n} pin PB1\n"
        for n in range(size // 3)
    )
    return RIG + "".join(rows) + _cue(["fan on", "hold 1 s"]) + _TAIL


def servos(size: int) -> str:
    block = RIG[RIG.index("servo jaw") : RIG.index("servo fin")]
    rows = (block.replace("jaw", f"s{n}") for n in range(size // 6))
    return RIG + "".join(rows) + _cue(["fan on", "hold 1 s"]) + _TAIL


def loads(size: int) -> str:
    line = "    load 60 g at 60 mm\n"
    return RIG.replace(line, "    load 1 g at 60 mm\n" * size) + _cue(["fan on"]) + _TAIL


def long_lines(size: int) -> str:
    return RIG + _cue([f"hold ({'+'.join(['1 s'] * 240)})"] * (size // 25)) + _TAIL


def brackets(size: int) -> str:
    return RIG + _cue([f"hold {'(' * 15}1 s{'+1 s)' * 15}"] * (size // 3)) + _TAIL


def comments(size: int) -> str:
    return RIG + _cue(["fan on", "hold 1 s"]) + _TAIL + "# x\n" * (45 * size)


def garbage(size: int) -> str:
    return "".join(f"blah {n} x y\n" for n in range(8 * size))


def wrong_names(size: int) -> str:
    return RIG + _cue(["nobody to 10 deg in 1 s"] * size) + _TAIL


def misspelt_names(size: int) -> str:
    given = (f"given verylongconstantname{n} = 1 s\n" for n in range(size // 2))
    wrong = (f"hold verylongconstantnmae{n}" for n in range(size // 2))
    return "".join(given) + RIG + _cue(wrong) + _TAIL


def doubled_buttons(size: int) -> str:
    return RIG + _cue(["fan on", "hold 1 s"]) + _TAIL + "    button 1: go act\n" * size


def constants(size: int) -> str:
    rows = (f"given x{n + 1} = (x{n} * x{n} + 1 / 7)\n" for n in range(size))
    return "given x0 = (1 / 3)\n" + "".join(rows) + RIG + _cue(["fan on"]) + _TAIL


HOSTILE: Final[tuple[Callable[[int], str], ...]] = (
    moves,
    the_same_again,
    many_laws,
    effects,
    effects_for_ever,
    colours_of_many_cues,
    sparkles_left_on,
    coloured_sparkles,
    embers_left_on,
    effects_on_many_lights,
    servos_that_take_over,
    servos_that_move_together,
    repeats_in_repeats,
    parts_on_parts,
    parts_side_by_side,
    short_repeats,
    held_repeats,
    held_repeats_at_once,
    forks,
    stagger_of_repeats,
    moves_at_once,
    repeats_of_holds,
    long_repeats,
    plays_of_plays,
    many_cues,
    as_fast_as_it_can,
    flickers,
    flashes,
    flashing_repeats,
    long_pairs,
    boards,
    servos,
    loads,
    long_lines,
    brackets,
    comments,
    garbage,
    wrong_names,
    misspelt_names,
    doubled_buttons,
    constants,
)
"""Each makes a text of about that many lines."""
