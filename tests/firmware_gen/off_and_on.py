"""A part that loses its power in a cue and comes back: played on the core, and its picture.

`python -m tests.firmware_gen.off_and_on` draws `firmware_gen/off_and_on.svg` again.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Final

import firmware_gen
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.test_following import WAVE, Creature

PICTURE: Final = Path(firmware_gen.__file__).parent / "off_and_on.svg"
READY: Final = 60
"""Frames after which all boards are ready, and the cue starts."""
CUE: Final = 330
"""Frames in which some board is still in the cue, and on its way back into idle."""
AFTER: Final = 400
PART: Final = 2
"""Number of the servo whose board is cut off, among those of all boards."""
COUNT: Final = 4

Rows = tuple[tuple[int, ...], ...]


def play(off_at: int | None, off_for: int = 10) -> Rows:
    """Pulses of all servos from the frame in which the cue is asked for; the board of `PART` is
    without power from `off_at` on (None: never)."""
    creature = Creature(ApartPlayer, COUNT)
    creature.play(READY)
    creature.lead.trigger(WAVE)
    rows: list[tuple[int, ...]] = []
    for number in range(CUE + AFTER):
        is_off = off_at is not None and off_at <= number < off_at + off_for
        if off_at is not None and number == off_at + off_for:
            creature.nodes[PART - 1].start()
        pulses = creature.frame(lambda n, off=is_off: off and n == PART - 1)  # type: ignore[misc]
        if is_off:  # what its core would have played without its power does not count
            pulses[PART] = 0
        rows.append(tuple(pulses))
    return tuple(rows)


@cache
def twin() -> Rows:
    """What is played where nothing is cut off."""
    return play(None)


def fastest(rows: Sequence[Sequence[int]]) -> int:
    """The greatest step of a pulse from frame to frame, where it has pulses."""
    steps = [
        abs(after - before)
        for one, other in pairwise(rows)
        for before, after in zip(one, other, strict=True)
        if before and after
    ]
    return max(steps)


# -- the picture -----------------------------------------------------------------------------------

OFF_AT: Final = 90
SHOWN: Final = 480
_WIDTH, _HEIGHT, _LEFT, _TOP = 720, 300, 60, 40
_LOW, _HIGH = 1000, 5000


def _x(frame: int) -> float:
    return _LEFT + frame * (_WIDTH - _LEFT - 20) / SHOWN


def _y(pulse: int) -> float:
    return _TOP + (_HIGH - pulse) * (_HEIGHT - _TOP - 50) / (_HIGH - _LOW)


def _line(rows: Rows, style: str) -> str:
    """A line for each stretch with pulses."""
    pieces: list[list[str]] = [[]]
    for frame, row in enumerate(rows[:SHOWN]):
        if row[PART]:
            pieces[-1].append(f"{_x(frame):.1f},{_y(row[PART]):.1f}")
        elif pieces[-1]:
            pieces.append([])
    return "".join(
        f'<polyline fill="none" {style} points="{" ".join(piece)}"/>\n' for piece in pieces if piece
    )


def picture() -> str:
    """One part loses its power in a cue and comes back, beside a twin that does not."""
    rows = play(OFF_AT)
    on = OFF_AT + 10
    first = next(n for n in range(on, len(rows)) if rows[n][PART])
    joined = next(
        n
        for n in range(first, len(rows))
        if all(abs(a[PART] - b[PART]) <= 4 for a, b in zip(rows[n:], twin()[n:], strict=True))
    )
    marks = (
        (OFF_AT, "power off"),
        (on, "on again"),
        (joined, "as if nothing had been"),
    )
    text = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" '
        'font-family="sans-serif" font-size="12">\n'
        f'<rect width="{_WIDTH}" height="{_HEIGHT}" fill="#fff"/>\n'
        '<text x="20" y="20">A part off and on again in the middle of a cue: pulse of its servo'
        "</text>\n"
    ]
    for pulse in (1000, 2000, 3000, 4000, 5000):
        text.append(
            f'<path stroke="#ddd" d="M{_LEFT} {_y(pulse):.1f}H{_WIDTH - 20}"/>\n'
            f'<text x="{_LEFT - 6}" y="{_y(pulse) + 4:.1f}" text-anchor="end">'
            f"{pulse // 2} us</text>\n"
        )
    for second in range(SHOWN // 50 + 1):
        text.append(
            f'<text x="{_x(50 * second):.1f}" y="{_HEIGHT - 32}" text-anchor="middle">'
            f"{second} s</text>\n"
        )
    text.append(_line(twin(), 'stroke="#999" stroke-width="2" stroke-dasharray="5 4"'))
    text.append(_line(rows, 'stroke="#0a5" stroke-width="2.5"'))
    for place, (frame, words) in enumerate(marks):
        text.append(
            f'<path stroke="#b33" stroke-dasharray="2 3" d="M{_x(frame):.1f} {_TOP}V'
            f'{_HEIGHT - 50}"/>\n<text x="{_x(frame) + (4 if place else -4):.1f}" '
            f'y="{_HEIGHT - 56}" text-anchor="{"start" if place else "end"}" '
            f'fill="#b33">{words}</text>\n'
        )
    text.append(
        f'<text x="20" y="{_HEIGHT - 10}">Green: the part. Dashed: the same part if its power had '
        "stayed on.</text>\n</svg>\n"
    )
    return "".join(text)


if __name__ == "__main__":
    PICTURE.write_text(picture(), encoding="utf-8", newline="\n")
