"""Names: which words a show cannot take for its own, and which known name a wrong one is near."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

RESERVED: Final = frozenset(
    {
        *("and", "at", "cue", "cut", "fade", "gesture", "given", "go", "hold", "idle", "in"),
        *("include", "mirror", "off", "on", "play", "pose", "repeat", "run", "stagger"),
        *("together", "turn"),
    }
)
"""Words that start statements or could stand where a name stands; some wait for their use."""

PARAMETER_KINDS: Final = frozenset(
    {
        *("angle", "colour", "lamp", "length", "level", "light", "number", "servo", "speed"),
        *("strip", "switch", "time"),
    }
)
"""What a gesture's parameter may stand for, in words, where it has no default."""


MOST_IN_ROW: Final = 32
"""Things of one row (own limit): half the servos of a show."""


def nearest(wrong: str, known: Iterable[str]) -> str | None:
    """The known name that `wrong` most likely means, or None if none is near.

    Near: at most a third of the letters (and at least one, but not all of them) are missing, extra,
    wrong or swapped with a neighbour. Letter case does not count.
    """
    most = min(max(1, len(wrong) // 3), len(wrong) - 1)
    best: tuple[int, str] | None = None
    for name in known:
        if abs(len(name) - len(wrong)) > most:
            continue
        distance = _distance(wrong.lower(), name.lower())
        if distance <= most and (best is None or (distance, name) < best):
            best = (distance, name)
    return None if best is None else best[1]


def _distance(a: str, b: str) -> int:
    """Edits (insert, delete, replace, swap neighbours) that turn `a` into `b`.

    The restricted Damerau-Levenshtein distance, row by row.
    """
    before: list[int] = []
    row = list(range(len(b) + 1))
    for i, letter in enumerate(a, 1):
        earlier, before, row = before, row, [i, *[0] * len(b)]
        for j, other in enumerate(b, 1):
            row[j] = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (letter != other))
            if i > 1 and j > 1 and letter == b[j - 2] and a[i - 2] == other:
                row[j] = min(row[j], earlier[j - 2] + 1)
    return row[-1]
