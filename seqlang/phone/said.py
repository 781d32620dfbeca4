"""What a phone says: one JSON object in each message, with known fields and nothing else.

{"do": "pair", "code": "12345678"}      the first
{"do": "return", "pass": "9b1f..."}     the first of a phone that was let in before
{"do": "beat"}                          four times a second: somebody is there
{"do": "down", "button": 3, "n": 7}     `n` is the number of the answer
{"do": "up", "button": 3, "n": 8}
{"do": "stop", "press": "5f0c...", "n": 9}      `limp` likewise; the same press counts once
{"do": "ready-to-rearm", "n": 10}       the first of two steps
{"do": "rearm", "n": 11}

On the bench (`bench.py`) there are instead of buttons and re-arming:

{"do": "minded", "n": 12}               the cautions were read
{"do": "grasp", "n": 13}                a hand holds: the servo has pulses until `loose`
{"do": "loose", "n": 14}
{"do": "slide", "pulse": 1510}          where the servo is to turn to, in us; not answered
{"do": "servo", "servo": 2, "n": 15}    another servo, counted from 0
{"do": "record", "n": 16}               begin to record, or end it
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Final

from sim.rulebook import BUTTONS, PULSE_RANGE_US

MAX_BYTES: Final = 512
"""Of a message; a longer one ends its connection."""
LONGEST_WORD: Final = 64
MOST_SERVOS: Final = 1000
"""More than any show has."""

_FIELDS: Final[dict[str, frozenset[str]]] = {
    "pair": frozenset({"code"}),
    "return": frozenset({"pass"}),
    "beat": frozenset(),
    "down": frozenset({"button", "n"}),
    "up": frozenset({"button", "n"}),
    "stop": frozenset({"press", "n"}),
    "limp": frozenset({"press", "n"}),
    "ready-to-rearm": frozenset({"n"}),
    "rearm": frozenset({"n"}),
    "minded": frozenset({"n"}),
    "grasp": frozenset({"n"}),
    "loose": frozenset({"n"}),
    "slide": frozenset({"pulse"}),
    "servo": frozenset({"servo", "n"}),
    "record": frozenset({"n"}),
}


class NotUnderstoodError(ValueError):
    """What came is none of the messages of a phone; the words say why."""


@dataclass(frozen=True, slots=True)
class PhoneSaid:
    """A message; fields that its kind has not are 0 or empty."""

    do: str
    n: int = 0
    button: int = 0
    word: str = ""
    """The code, the pass, or the name of a press."""
    pulse_us: int = 0
    servo: int = 0
    """Counted from 0."""


def read_said(text: str | bytes) -> PhoneSaid:
    """The message in a text.

    Raises:
        NotUnderstoodError: it is no message of a phone.
    """
    if isinstance(text, bytes):
        raise NotUnderstoodError("it is no text")
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        raise NotUnderstoodError("it is no JSON") from None
    if not isinstance(found, dict):
        raise NotUnderstoodError("it is no object")
    do = found.pop("do", None)
    fields = _FIELDS.get(do) if isinstance(do, str) else None
    if fields is None or found.keys() != fields:
        raise NotUnderstoodError("these fields do not belong to this `do`")
    assert isinstance(do, str)
    return PhoneSaid(
        do,
        _number(found, "n", 1, 2**31) if "n" in fields else 0,
        _number(found, "button", BUTTONS[0], BUTTONS[-1]) if "button" in fields else 0,
        next((_word(found, key) for key in fields & {"code", "pass", "press"}), ""),
        _number(found, "pulse", *PULSE_RANGE_US) if "pulse" in fields else 0,
        _number(found, "servo", 0, MOST_SERVOS) if "servo" in fields else 0,
    )


def _number(found: dict[str, Any], key: str, least: int, most: int) -> int:
    value = found[key]
    if type(value) is not int or not least <= value <= most:
        raise NotUnderstoodError(f"`{key}` is not a number from {least} to {most}")
    return value


def _word(found: dict[str, Any], key: str) -> str:
    value = found[key]
    if not isinstance(value, str) or not 0 < len(value) <= LONGEST_WORD or not value.isascii():
        raise NotUnderstoodError(f"`{key}` is no word")
    return value
