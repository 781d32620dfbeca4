"""Inputs made of known ones: taken apart, mixed and spoilt, the way hands and wires do it."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from random import Random
from typing import Final, TypeAlias

ODD: Final = (
    *("\t", "\n", " ", "    ", "#", '"', "(", ")", ",", ":", "-", "%", "/", "=", "\u00a0"),
    *("\u2212", "\u201c", "µ", "°", "🦉", "é", "\x0c", "\u2028", "\ufeff", "0", "1e9", "9" * 40),
    *("-1", "0.5", "nan", "ms", "deg", "kg", "AWG", "to", "at", "in", "and", "off", "for ever"),
)
_WORD: Final = re.compile(r"\s+|[\w.%/]+|.", re.DOTALL)

_Spoiler: TypeAlias = "Callable[[Random, list[str], Sequence[str]], None]"


def spoilt_text(chance: Random, seeds: Sequence[str]) -> str:
    """One of the texts with a few changes; parts of the others are built into it."""
    lines = chance.choice(seeds).split("\n")
    for _ in range(chance.choice((1, 1, 2, 3, 8))):
        chance.choice(_SPOILERS)(chance, lines, seeds)
        if not lines:
            lines = [""]
    return "\n".join(lines)


def _lose(chance: Random, lines: list[str], _: Sequence[str]) -> None:
    at = chance.randrange(len(lines))
    del lines[at : at + chance.choice((1, 1, 3))]


def _double(chance: Random, lines: list[str], _: Sequence[str]) -> None:
    at = chance.randrange(len(lines))
    lines[at:at] = lines[at : at + chance.choice((1, 2, 5))] * chance.choice((1, 1, 30))


def _move(chance: Random, lines: list[str], _: Sequence[str]) -> None:
    line = lines.pop(chance.randrange(len(lines)))
    lines.insert(chance.randint(0, len(lines)), line)


def _borrow(chance: Random, lines: list[str], seeds: Sequence[str]) -> None:
    other = chance.choice(seeds).split("\n")
    start = chance.randrange(len(other))
    taken = other[start : start + chance.choice((1, 1, 4, 12))]
    at = chance.randint(0, len(lines))
    lines[at:at] = taken


def _shift(chance: Random, lines: list[str], _: Sequence[str]) -> None:
    at = chance.randrange(len(lines))
    for n in range(at, min(len(lines), at + chance.choice((1, 1, 4)))):
        spaces = chance.choice(("", " ", "    ", "        ", "\t"))
        lines[n] = spaces + (lines[n].lstrip() if chance.random() < 0.5 else lines[n])


def _word(chance: Random, lines: list[str], seeds: Sequence[str]) -> None:
    at = chance.randrange(len(lines))
    words = _WORD.findall(lines[at])
    if not words:
        lines[at] = chance.choice(ODD)
        return
    spot = chance.randrange(len(words))
    kind = chance.randrange(4)
    if kind == 0:
        del words[spot]
    elif kind == 1:
        words[spot] = chance.choice(ODD)
    elif kind == 2:
        words.insert(spot, chance.choice(ODD))
    else:
        line = chance.choice(chance.choice(seeds).split("\n"))
        words[spot] = chance.choice(_WORD.findall(line) or [""])
    lines[at] = "".join(words)


def _number(chance: Random, lines: list[str], _: Sequence[str]) -> None:
    places = [n for n, line in enumerate(lines) if re.search(r"\d", line)]
    if places:
        at = chance.choice(places)
        number = chance.choice(("0", "-1", "1", "0.001", "255", "65536", "1000000", "9" * 30))
        found = chance.choice(list(re.finditer(r"\d+(\.\d+)?", lines[at])))
        lines[at] = lines[at][: found.start()] + number + lines[at][found.end() :]


_SPOILERS: Final[tuple[_Spoiler, ...]] = (
    *(_lose, _double, _move, _borrow, _shift, _word, _word, _word, _number, _number),
)


def spoilt_bytes(chance: Random, seeds: Sequence[bytes]) -> bytes:
    """One of the rows of bytes with a few changes."""
    data = bytearray(chance.choice(seeds))
    for _ in range(chance.choice((1, 1, 2, 4, 12))):
        at = chance.randint(0, len(data))
        kind = chance.randrange(5)
        if kind == 0 and data:
            data[min(at, len(data) - 1)] = chance.choice(
                (0, 1, 127, 128, 255, chance.randrange(256))
            )
        elif kind == 1 and data:
            data[min(at, len(data) - 1)] ^= 1 << chance.randrange(8)
        elif kind == 2:
            del data[at : at + chance.randint(1, 6)]
        elif kind == 3:
            data[at:at] = chance.randbytes(chance.randint(1, 6))
        else:
            other = chance.choice(seeds)
            start = chance.randint(0, len(other))
            data[at:at] = other[start : start + chance.randint(1, 24)]
    return bytes(data)
