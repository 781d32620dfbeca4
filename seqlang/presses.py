"""What is pressed in a rehearsal, as people write it: `1 at 2 s`, `stick 1700 us at 4 s`."""

from __future__ import annotations

import re
from typing import Final, Literal, cast

from seqlang.sources import parse_setting
from seqlang.text.names import nearest
from seqlang.text.units import TIME, parse_quantity
from sim.model import Press, Show
from sim.score.tree import named_cues

_SETTING: Final = re.compile(r"\s*(?P<what>\S+\s+.+?)\s+at\s+(?P<at>.+?)\s*")
_PRESS: Final = re.compile(r"\s*(?P<what>\S+)\s+at\s+(?P<at>.+?)(?:\s+for\s+(?P<held>.+?))?\s*")

ACTIONS: Final = ("stop", "limp", "standby")

LONGEST_MS: Final = 24 * 3600 * 1000
"""No rehearsal is longer than a day."""


def parse_press(text: str, show: Show) -> Press:
    """A press such as `1 at 2 s`, `2 at 5 s for 900 ms`, `lure at 8 s` or `stop at 9 s`.

    Also where a channel or a sensor stands from then on: `stick 1700 us at 2 s`, `stick none at
    4 s`, `voice 40 % at 3 s`. Raises ValueError, which says what would do.
    """
    setting = _SETTING.fullmatch(text)
    if setting is not None and not _PRESS.fullmatch(text):
        name, value = parse_setting(setting["what"], show)
        return Press(_time_ms(setting["at"], text), source=name, value=value)
    found = _PRESS.fullmatch(text)
    if found is None:
        raise ValueError(f'`{text}` is not a press; write it like "1 at 2 s" or "stop at 9 s"')
    at_ms = _time_ms(found["at"], text)
    what = found["what"]
    if what in ACTIONS:
        return Press(at_ms, action=cast(Literal["stop", "limp", "standby"], what))
    if what.isdecimal():
        return _button(show, int(what), at_ms, found["held"], text)
    known = [cue.name for cue in named_cues(show.score)]
    if what not in known:
        near = nearest(what, [*known, *ACTIONS])
        hint = f"did you mean `{near}`?" if near else f"the show has {', '.join(known)}"
        raise ValueError(f"there is no cue `{what}`; {hint}")
    return Press(at_ms, cue=what)


def _button(show: Show, button: int, at_ms: int, held: str | None, text: str) -> Press:
    bound = {binding.button for binding in show.score.bindings}
    if show.score.stop_button is not None:
        bound.add(show.score.stop_button)
    if button not in bound:
        listed = ", ".join(str(one) for one in sorted(bound)) or "none"
        raise ValueError(f"button {button} does nothing in this show; its buttons: {listed}")
    return Press(at_ms, button=button, held_ms=100 if held is None else _time_ms(held, text))


def _time_ms(written: str, text: str) -> int:
    try:
        quantity = parse_quantity(written)
    except (KeyError, ValueError, ZeroDivisionError):
        raise ValueError(
            f"`{written}` in `{text}` is not a time; write it like 2 s or 900 ms"
        ) from None
    if quantity.dimension != TIME:
        raise ValueError(f"`{written}` in `{text}` is not a time; write it like 2 s or 900 ms")
    ms = round(1000 * quantity.value)
    if not 0 <= ms <= LONGEST_MS:
        raise ValueError(f"`{written}` in `{text}` lies outside 0 s to 24 h")
    return ms
