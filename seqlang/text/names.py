"""Names: which words a show cannot take for its own, and which known name a wrong one is near."""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import Final

RESERVED: Final = frozenset(
    {
        *("and", "at", "cue", "cut", "fade", "gesture", "given", "go", "hold", "idle", "if"),
        *("in", "include", "mirror", "off", "on", "play", "pose", "repeat", "run", "stagger"),
        *("together", "turn"),
    }
)
"""Words that start statements or could stand where a name stands; some wait for their use."""

OF_ANY_SIDE: Final = "*_"
"""Before a name that was lost: it may be that of a thing on a side whose name was lost as well."""

NAMELESS: Final = "?"
"""Before a kind of things, one of which was lost with its name: any unknown name may be its."""

PARAMETER_KINDS: Final = frozenset(
    {
        *("angle", "colour", "lamp", "length", "level", "light", "number", "servo", "speed"),
        *("strip", "switch", "time"),
    }
)
"""What a gesture's parameter may stand for, in words, where it has no default."""


KINDS_ELSEWHERE: Final = {
    **dict.fromkeys(("motor", "joint", "part", "actuator"), "servo"),
    **dict.fromkeys(("led", "bulb"), "lamp"),
    **dict.fromkeys(("leds", "pixels", "ledstrip"), "strip"),
    **dict.fromkeys(("relay",), "switch"),
    **dict.fromkeys(("duration", "delay", "period", "ms", "seconds", "pace"), "time"),
    **dict.fromkeys(("degrees", "deg", "degree", "target", "position"), "angle"),
    **dict.fromkeys(("color", "rgb", "hue"), "colour"),
    **dict.fromkeys(("percent", "brightness", "intensity"), "level"),
    **dict.fromkeys(("int", "integer", "count", "times"), "number"),
    **dict.fromkeys(("distance", "mm"), "length"),
    **dict.fromkeys(("velocity", "rate"), "speed"),
}
"""What the kinds of parameters are called elsewhere."""

_NUMBERED: Final = re.compile(r"([^\W\d]\w*?)([0-9]{1,6})")

MOST_IN_ROW: Final = 32
"""Things of one row (own limit): half the servos of a show."""


def _letters(name: str) -> str:
    return name.replace("_", "").lower()


def _words(name: str) -> list[str]:
    return sorted(name.lower().split("_"))


def nearest(wrong: str, known: Collection[str]) -> str | None:
    """The known name that `wrong` most likely means, or None if none is near.

    Near: at most a third of the letters (and at least one, but not all of them) are missing, extra,
    wrong or swapped with a neighbour. Letter case does not count. A name of the same words,
    otherwise joined or in another order, is nearer than any other.

    Slips are counted as optimal string alignment counts them (the restricted Damerau-Levenshtein
    distance).
    """
    for same in (_letters, _words):
        alike = [name for name in known if name != wrong and same(name) == same(wrong)]
        if alike:
            return min(alike)
    from rapidfuzz.distance import OSA  # 9 ms, which a show without mistakes need not wait for

    most = min(max(1, len(wrong) // 3), len(wrong) - 1)
    best: tuple[int, str] | None = None
    for name in known:
        distance = OSA.distance(wrong.lower(), name.lower(), score_cutoff=most)
        if distance <= most and (best is None or (distance, name) < best):
            best = (distance, name)
            most = distance
    return None if best is None else best[1]


def beyond_row(wrong: str, known: Collection[str]) -> tuple[str, str] | None:
    """The first and the last of names that differ in their numbers, if `wrong` has another number.

    `tuft_7`, or `tuft7`, where there are `tuft_1` to `tuft_3`.
    """
    found = _NUMBERED.fullmatch(wrong)
    if found is None or wrong in known:
        return None
    name = found[1].rstrip("_") + "_"
    numbers = [
        int(one[2])
        for one in map(_NUMBERED.fullmatch, known)
        if one is not None and one[1].lower() == name.lower()
    ]
    if len(numbers) < 2 or int(found[2]) in numbers:
        return None
    base = next(one for one in known if one.lower().startswith(name.lower()))[: len(name)]
    return f"{base}{min(numbers)}", f"{base}{max(numbers)}"
