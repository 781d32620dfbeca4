"""Remote, idle, and how the show is used."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lark import Token

from seqlang.meaning.notes import Fault
from seqlang.meaning.values import Reading
from seqlang.text.findings import Origin
from seqlang.text.syntax import Line, Sum
from seqlang.text.units import DURATION, PLAIN, RUN_TIME
from sim.model import Binding, Manner, PressKind, Score, Usage
from sim.rulebook import (
    BUTTONS,
    FRAME_MS,
    LONG_PRESS_MS,
    LONGEST_GLIDE_MS,
    LONGEST_LONG_FRAMES,
    SHORTEST_LONG_PRESS_MS,
    SHORTEST_SILENCE_MS,
    SHORTEST_STOP_MS,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(slots=True)
class Remote:
    """What starts cues."""

    bindings: tuple[Binding, ...] = ()
    stop_button: int | None = None
    stop_ms: int = Score("").stop_ms
    lost_ms: int | None = None
    lost_cue: str | None = None
    low_cue: str | None = None
    idle: tuple[str, ...] = ()
    glide_ms: int = Score("").glide_ms


def remote(
    reading: Reading,
    lines: Sequence[Line],
    cues: Mapping[str, Token],
    places: dict[str, Origin],
) -> Remote:
    """Bindings, stop, lost and idle of a show."""
    made = Remote()
    bindings: list[Binding] = []
    seen: dict[str, Line] = {}
    for line in _lines_of(reading, lines, "remote", places):
        if line.kind == "button":
            bindings += reading.tried(_bindings, reading, line, cues) or ()
        elif _first(reading, seen, line):
            reading.tried(_rule, reading, line, cues, made, places)
    made.bindings = tuple(bindings)
    for line in lines:
        if line.kind == "idle" and _first(reading, seen, line):
            _idle(reading, line, cues, made, places)
    return made


def _lines_of(
    reading: Reading, lines: Sequence[Line], kind: str, places: dict[str, Origin]
) -> Iterator[Line]:
    for entry in lines:
        if entry.kind == kind:
            places.setdefault(kind, Origin(reading.span(entry.items[0])))
            yield from entry.lines()


def _first(reading: Reading, seen: dict[str, Line], line: Line) -> bool:
    """Whether this is the first line of its kind; a second is a finding."""
    first = seen.setdefault(line.kind, line)
    if first is line:
        return True
    reading.error(
        "duplicate-line",
        f"`{reading.text(line.items[0])}` is stated twice",
        line,
        related=((first, "first stated here"),),
        help="keep one of the two lines",
        fix=reading.said_again(first, line),
    )
    return False


def _origin(reading: Reading, line: Line, **parts: object) -> Origin:
    return Origin(
        reading.span(line),
        tuple((name.replace("_", " "), reading.span(node)) for name, node in parts.items()),
    )


def _cue(reading: Reading, name: Token, cues: Mapping[str, Token]) -> str:
    if str(name) not in cues:
        stops = "a stop button is written `stop button N`" if str(name) == "stop" else None
        reading.unknown(name, "cue", cues, stops)
        raise Fault
    return str(name)


def _strand(
    reading: Reading, name: Token, cues: Mapping[str, Token], found: dict[str, Token]
) -> None:
    _cue(reading, name, cues)
    if str(name) in found:
        reading.error(
            "duplicate-name",
            f"idle names `{name}` twice",
            name,
            help="name each strand once",
        )
        raise Fault
    found[str(name)] = name


def _idle(
    reading: Reading,
    line: Line,
    cues: Mapping[str, Token],
    made: Remote,
    places: dict[str, Origin],
) -> None:
    """`idle: go CUE, CUE, back in TIME`."""
    named = line.tokens()[1:]
    found: dict[str, Token] = {}
    for name in named:
        reading.tried(_strand, reading, name, cues, found)
    made.idle = tuple(found)
    parts: dict[str, object] = {f"cue {name}": token for name, token in found.items()}
    for glide in line.lines():
        back_ms = reading.tried(_back_ms, reading, glide)
        made.glide_ms = made.glide_ms if back_ms is None else round(back_ms)
        parts["back"] = glide.items[1]
    places["idle"] = _origin(reading, line, cue=named[0], **parts)


def _back_ms(reading: Reading, glide: Line) -> float:
    return reading.within(glide.amount(1), DURATION, "the way back into idle", 0, LONGEST_GLIDE_MS)


_PRESSES: Final[dict[str, PressKind]] = {"LONG": "long", "TWICE": "twice", "RELEASED": "up"}


def _bindings(reading: Reading, line: Line, cues: Mapping[str, Token]) -> tuple[Binding, ...]:
    """A line of a button: one binding, or one for each cue of a list."""
    number = reading.tried(reading.count, line.amount(1), "a button's number", 1, BUTTONS[-1])
    inner = {part.kind: part for part in line.lines()}
    press, listed = inner.get("press"), inner.get("next_of")
    named = [item for item in line.tokens()[2:] if item.type == "NAME"]
    if isinstance(line.items[1], Sum):  # then it is no token
        named = [item for item in line.tokens()[1:] if item.type == "NAME"]
    tokens = named if listed is None else list(listed.tokens()[1:])
    names = [reading.tried(_cue, reading, token, cues) for token in tokens]
    kind, long_ms = _press(reading, press)
    how = line.items[-1]
    word = how.type if isinstance(how, Token) else ""
    if number is None or any(name is None for name in names):
        raise Fault
    mark = reading.origins.mark(
        *(line, line),
        ("button", line.items[1]),
        ("press", press),
        ("cue", tokens[0]),
        ("list", listed),
        ("while held", how if word == "WHILE_HELD" else None),
        ("toggle", how if word == "PRESSED_AGAIN" else None),
    )
    manner: Manner = "toggle" if word == "PRESSED_AGAIN" else "start"
    if listed is not None:
        manner = "next"
    return tuple(
        Binding(number, name, word == "WHILE_HELD", mark, kind, manner, long_ms)
        for name in names
        if name is not None
    )


def _press(reading: Reading, press: Line | None) -> tuple[PressKind, int]:
    """What a button must do, and after how many ms a long press is one."""
    if press is None:
        return "down", 0
    kind = _PRESSES[press.token(0).type]
    if kind != "long":
        return kind, 0
    if len(press.items) == 1:
        return kind, LONG_PRESS_MS
    most = LONGEST_LONG_FRAMES * FRAME_MS
    what = "the time of a long press"
    return kind, round(
        reading.within(press.amount(1), DURATION, what, SHORTEST_LONG_PRESS_MS, most)
    )


def _rule(
    reading: Reading,
    line: Line,
    cues: Mapping[str, Token],
    made: Remote,
    places: dict[str, Origin],
) -> None:
    if line.kind == "lost":
        made.lost_ms = reading.tried(
            reading.milliseconds, line.amount(1), "the silence", SHORTEST_SILENCE_MS
        )
        made.lost_cue = reading.tried(_cue, reading, line.token(2), cues)
        if made.lost_ms is None or made.lost_cue is None:
            made.lost_ms = made.lost_cue = None
        places["lost"] = _origin(reading, line, time=line.items[1], cue=line.items[2])
    elif line.kind == "low_battery":
        named = line.token(2)
        made.low_cue = _cue(reading, named, cues)
        places["low battery"] = _origin(reading, line, cue=named)
    elif line.kind == "stop":
        places["stop"] = _origin(reading, line, button=line.items[2])
        made.stop_button = reading.count(line.amount(2), "a button's number", 1, BUTTONS[-1])
    else:
        made.stop_ms = reading.milliseconds(
            line.amount(2), "the move to the safe pose", SHORTEST_STOP_MS
        )
        places["stop time"] = _origin(reading, line, time=line.items[2])


# -- use ---------------------------------------------------------------------------------------


def usages(reading: Reading, lines: Sequence[Line], cues: Mapping[str, Token]) -> tuple[Usage, ...]:
    """How often each cue is expected to run."""
    found: dict[str, tuple[Usage, Line]] = {}
    for line in _lines_of(reading, lines, "usage", {}):
        if line.kind != "rate":
            continue
        made = reading.tried(_usage, reading, line, cues)
        if made is None:
            continue
        if made.cue in found:
            reading.error(
                "duplicate-line",
                f"the use of `{made.cue}` is stated twice",
                line,
                related=((found[made.cue][1], "first stated here"),),
                help="keep one of the two lines",
                fix=reading.said_again(found[made.cue][1], line),
            )
            continue
        found[made.cue] = (made, line)
    return tuple(usage for usage, _ in found.values())


def _usage(reading: Reading, line: Line, cues: Mapping[str, Token]) -> Usage:
    rate = reading.tried(reading.within, line.amount(1), PLAIN, "a rate", 0, 100_000)
    name = reading.tried(_cue, reading, line.token(0), cues)
    if rate is None or name is None:
        raise Fault
    mark = reading.origins.mark(line, line, ("cue", line.items[0]), ("rate", line.items[1]))
    return Usage(name, rate, mark)


def run_time(reading: Reading, lines: Sequence[Line], places: dict[str, Origin]) -> float | None:
    """How long a charge must last, in hours."""
    seen: dict[str, Line] = {}
    hours: float | None = None
    for line in _lines_of(reading, lines, "usage", {}):
        if line.kind == "run_time" and _first(reading, seen, line):
            hours = reading.tried(reading.within, line.amount(1), RUN_TIME, "the run time", above=0)
            places["run time"] = _origin(reading, line, time=line.items[1])
    return hours
