"""Radios, watched batteries, sensors and bands of a stick, said otherwise."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import PIN, Slip

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from seqlang.text.slips.written import Written

_NAME: Final = r"[^\W\d]\w*"
_NUMBER: Final = r"[0-9]+(?:\.[0-9]+)?"


def slips(line: Written) -> Iterator[Slip]:
    """What was meant by a line of a board, a sensor, a channel or the remote."""
    found = _BY_HEAD.get(line.around.head or "")
    if found is not None and line.halt is not None:
        for each in found:
            yield from each(line, line.text[: line.code_end].rstrip())


def whole(line: Written, said: str, text: str, made: str, more: str = "") -> Iterator[Slip]:
    """The whole line, written as the language has it."""
    if made != text:
        yield Slip(
            said,
            *(0, len(text)),
            help=f"write `{made}`{more}",
            edits=((0, len(text), made),),
            certain=True,
        )


def only(said: str, span: tuple[int, int], help_: str) -> Slip:
    return Slip(said, *span, help=help_, certain=True)


# -- radios ----------------------------------------------------------------------------------------

_RADIO: Final = re.compile(
    r"(?:a +)?(?:wireless|radio|rf|serial|uart|modem|transceiver|telemetry|line)\b"
    r"(?: +(?:link|radio|module|serial|line|rate|speed|baud|baud *rate))*"
)
_FREQUENCY: Final = re.compile(rf"[,:= ]*(?:at |on |of )? *{_NUMBER} *[kMG]?[Hh][Zz]\b")
_RATE: Final = re.compile(
    rf"[,:= ]*(?:(?:at|of|with|rate|baud(?: *rate)?|speed)\b[ :=]*)*({_NUMBER}) *(k?)"
    r"(?:baud|Baud|Bd|bd|bps|bit/s|bits/s|b/s)?(?![\w.])(?! *[mu]?s\b)"
)
_LATE: Final = re.compile(
    r"[,:= ]*(?:and +)?(?:(?:is +)?(?:late(?:ncy)?|delay(?:ed|s)?|lags?|behind)\b[ :=]*)?"
    rf"(?:(?:by|of)\b)? *({_NUMBER} *[mu]?s)(?:(?: +of)? +(?:late(?:ncy)?|delay|lag|behind))?(?!\w)"
)
_ONLY_UNITS: Final = re.compile(
    rf"radio +{_NUMBER} *(?!\S*[Hh][Zz])[A-Za-z]\S*(?: *, *late +by +{_NUMBER} *\w*)?"
    rf"|watch +pin +\w+ *, *divider +{_NUMBER} *\w+ +over +{_NUMBER} *\w+"
    rf"(?: *, *(?:warns|stops) +below +{_NUMBER} *\w+)*"
)
"""Lines in which nothing can be wrong but a unit."""

_SAYS_RADIO: Final = "a radio in place of the cable between boards has its rate in baud"


def _radio(line: Written, text: str) -> Iterator[Slip]:
    """`wireless 38400`, `radio 38400 baud, 6 ms`, `radio 2.4 GHz, 38400 baud`."""
    head = _RADIO.match(text)
    if head is None or _ONLY_UNITS.fullmatch(text):
        return
    rest, rate, late = text[head.end() :], "", ""
    frequency = _FREQUENCY.match(rest)
    rest = rest if frequency is None else rest[frequency.end() :]
    while rest.strip(" ,"):
        said, behind = _RATE.match(rest), _LATE.match(rest)
        if said is not None and not rate:
            rate, rest = f"{said[1]} {said[2]}baud", rest[said.end() :]
        elif behind is not None and not late:
            late, rest = f", late by {behind[1]}", rest[behind.end() :]
        else:
            return
    if rate:
        yield from whole(line, _SAYS_RADIO, text, f"radio {rate}{late}")
    elif frequency is not None:
        yield only(
            "a radio's rate is that of its serial line, and no frequency",
            (0, len(text)),
            "such as `radio 38400 baud`",
        )
    else:
        yield only(_SAYS_RADIO, (0, len(text)), "such as `radio 38400 baud, late by 6 ms`")


# -- watched batteries -----------------------------------------------------------------------------

_WATCH: Final = re.compile(
    r"(?:watch(?:es|ing)?|monitors?|measures?|battery|voltage)\b"
    r"(?: +(?:the|battery|voltage|watch|monitor|pack|at|on|by|with|of))*[ :]*"
)
_PIN: Final = re.compile(rf"(?:(?:at|on|by) +)?(?:pin +)?({PIN})(?!\w)")
_OHM: Final = r"(?:k *ohms?|kohms?|ohms?|[kK](?: *[\u03a9\u2126R])?|[\u03a9\u2126R])"
_DIVIDER: Final = re.compile(
    r"(?:(?:with|by|behind|and)\b *)?(?:a +)?(?:(?:voltage +)?divider\b[ :=]*)?(?:of +)?"
    rf"({_NUMBER}) *({_OHM}(?!\w))? *(?:over|above|to|and|with|[-/,:+])+ *"
    rf"({_NUMBER}) *({_OHM}(?!\w))?(?![\w.])"
)
_LIMIT: Final = re.compile(
    r"(?:and +)?(?P<what>warn(?:s|ing)?|alarms?|alerts?|low|stop(?:s|ping)?|cut(?:s|ting)?"
    r"(?:[ -]*off)?|off|empty|shuts?(?: *down)?|limp)\b[ :=]*(?:below|at|under|from|when|<)?[ :=]*"
    rf"(?P<volts>{_NUMBER} *m?V)(?:(?: */ *| +(?:a|per|each) +)cell| each)?(?!\w)"
)
_REFERENCE: Final = re.compile(rf"(?:with +)?ref(?:erence)?\b[ :=]*(?:of +)?({_NUMBER} *m?V)(?!\w)")
_PLAIN: Final = re.compile(rf"({_NUMBER}) *(.*)")
_FROM_OHMS: Final = 1000.0
"""A resistor without a unit is in ohm from here on, else in kohm (own guess)."""


def _watch(line: Written, text: str) -> Iterator[Slip]:
    """`watch PF1, 18k/22k, warn 3.6 V, cutoff 3.3V/cell`."""
    head = _WATCH.match(text)
    if head is None or _ONLY_UNITS.fullmatch(text):
        return
    made, rest = _watched(text[head.end() :])
    if made is not None and not rest.strip(" ,"):
        said = "a board watches its battery at a pin, one resistor of the divider over the other"
        if "/" in text and "cell" in text:
            said = "the limits of a watch are those of one cell"
        yield from whole(line, said, text, f"watch {made}")


def _watched(rest: str) -> tuple[str | None, str]:
    """What a board watches in the language's words, None if a part is missing; what is left."""
    parts: dict[str, str] = {}
    while rest := rest.strip(" ,:"):
        pin, pair = _PIN.match(rest), _DIVIDER.match(rest)
        limit, reference = _LIMIT.match(rest), _REFERENCE.match(rest)
        direct = re.match(r"direct(?:ly)?(?!\w)", rest)
        if pin is not None and "at" not in parts:
            parts["at"], rest = f"pin {pin[1]}", rest[pin.end() :]
        elif direct is not None and "at" not in parts:
            parts["at"], rest = "direct", rest[direct.end() :]
        elif pair is not None and "divider" not in parts:
            ends = _resistors(*pair.groups())
            parts["divider"], rest = f", divider {ends[0]} over {ends[1]}", rest[pair.end() :]
        elif limit is not None:
            kind = "warns" if limit["what"][0] in "wa" or limit["what"] == "low" else "stops"
            if kind in parts:
                break
            parts[kind], rest = f", {kind} below {limit['volts']}", rest[limit.end() :]
        elif reference is not None and "reference" not in parts:
            parts["reference"], rest = f", reference {reference[1]}", rest[reference.end() :]
        else:
            break
    at = parts.pop("at", "")
    if not at or ("divider" in parts) != (at != "direct"):
        return None, rest
    order = ("divider", "warns", "stops", "reference")
    return at + "".join(parts.get(one, "") for one in order), rest


def _resistors(first: str, unit: str | None, last: str, other: str | None) -> tuple[str, str]:
    """Both of a divider with their units, of which one may stand for both."""
    meant = [_ohms(one) for one in (unit or other, other or unit)]
    numbers = (first, last)
    plain = "ohm" if all(float(one) >= _FROM_OHMS for one in numbers) else "kohm"
    one, two = (f"{number} {kind or plain}" for number, kind in zip(numbers, meant, strict=True))
    return one, two


def _ohms(unit: str | None) -> str | None:
    return None if unit is None else "kohm" if unit[0] in "kK" else "ohm"


# -- sensors ---------------------------------------------------------------------------------------

_AMOUNT: Final = rf"(?P<amount>-?{_NUMBER} *(?:[a-zA-Z]+|%)?|\([^()]*\))"
_QUIET: Final = re.compile(
    r"(?:is +)?(?:quiet|silent|silence|mute[sd]?|noise|min(?:imum)?|(?:noise *)?(?:gate|floor)"
    r"|threshold|dead *(?:band|zone)|ignore[sd]?|zero|nothing|off)\b"
    r"(?: +(?:floor|gate|level|threshold|zone|band))*"
    rf"(?:[ :=]*(?:below|under|up +to|until|at|of|less +than|<=?))?[ :=]*{_AMOUNT}$"
)
_TIMES: Final = re.compile(
    r"(?:(?P<rise>rise[sn]?|rising|attacks?|up)|(?P<fall>falls?|falling|release[sd]?|decays?|down)"
    r"|(?P<both>smooth(?:s|ed|ing)?|filter(?:s|ed|ing)?|averages?|averaging|damp(?:s|ed|ing)?|lag))"
    r"\b(?: +time)?(?:[ :=]*(?:in|by|over|within|of|for|after|with))?[ :=]*"
    rf"(?P<amount>{_NUMBER} *(?:[a-z]+)?)$"
)
_IN_A_LINE: Final = re.compile(
    r"(?:rises?|falls?|quiet|attack|release|decay)\b.*[,;] *(?:and +)?"
    r"(?:rises?|falls?|quiet|attack|release|decay)\b"
)


def _sensor(line: Written, text: str) -> Iterator[Slip]:
    """`silent below 8 %`, `attack 20 ms`, `smooth 20 ms`."""
    said = "a sensor line is `quiet below` with a share, or `rises in` or `falls in` with a time"
    quiet, times = _QUIET.match(text), _TIMES.match(text)
    if quiet is not None:
        yield from whole(line, said, text, f"quiet below {quiet['amount'].strip()}")
    elif times is not None and times["both"]:
        yield only(
            f"`{times['both']}` does not say which way the value goes",
            times.span("both"),
            f"write a line for each way: `rises in {times['amount']}` and "
            f"`falls in {times['amount']}`",
        )
    elif times is not None:
        word = "rises" if times["rise"] else "falls"
        yield from whole(line, said, text, f"{word} in {times['amount']}")
    elif _IN_A_LINE.match(text):
        yield only(
            "each of `quiet below`, `rises in` and `falls in` has a line of its own",
            (0, len(text)),
            "write one below the other",
        )


# -- bands of a channel ----------------------------------------------------------------------------

_US: Final = rf"({_NUMBER})(?: *(us|ms))?"
_BANDS: Final = (
    (re.compile(rf"button +([0-9]+) *:? *(?:at|=|near|around|is|about|@) *{_US}$"), "near"),
    (re.compile(rf"button +([0-9]+) *:? *(?:from|since|starts? +at) *{_US}$"), "from"),
    (
        re.compile(
            rf"(?:from +)?{_US} *(?:to|-|\.\.+|and|until) *{_US} *(?::|=|->|is|as|for)? *"
            r"(?:go +)?button +([0-9]+)$"
        ),
        "swapped",
    ),
    (
        re.compile(
            rf"(?:if|when)? *(?:stick|value|pulse|it)? *(?:is +)?(>=?|<=?|above|over|below|under) *"
            rf"{_US} *(?::|=|->|then)? *(?:go +)?button +([0-9]+)$"
        ),
        "beyond",
    ),
)
_GOES: Final = re.compile(rf"(?:button +([0-9]+)\b.*?[:,]? *|)(go +({_NAME}))")
_LOWEST_US, _HIGHEST_US = 900, 2100
_HALF_US: Final = 100
_SAYS_BAND: Final = "a band goes `from` one pulse `to` another"


def _us(number: str, unit: str | None) -> float:
    """A pulse in us; a small number without a unit is in ms."""
    value = float(number)
    return 1000 * value if unit == "ms" or (unit is None and value < 10) else value


def _band(line: Written, text: str) -> Iterator[Slip]:
    """`button 2 at 2000 us`, `1900 us to 2100 us: button 2`, `if > 1900: button 2`."""
    for pattern, kind in _BANDS:
        found = pattern.match(text)
        if found is None:
            continue
        if kind == "swapped":
            button, low, high = found[5], _us(*found.group(1, 2)), _us(*found.group(3, 4))
        elif kind == "beyond":
            button, end = found[4], _us(*found.group(2, 3))
            over = found[1][0] in ">ao"
            low, high = (end, _HIGHEST_US) if over else (_LOWEST_US, end)
        else:
            button, place = found[1], _us(*found.group(2, 3))
            low, high = (
                (place - _HALF_US, place + _HALF_US) if kind == "near" else (place, _HIGHEST_US)
            )
        if low < high:
            made = f"button {button} from {low:g} us to {high:g} us"
            yield from whole(line, _SAYS_BAND, text, made)
        return
    goes = _GOES.match(text)
    if goes is not None:
        yield only(
            "what a button starts is written below `remote`",
            goes.span(2),
            f"its band is written here; below `remote` comes `button {goes[1] or 'N'}: {goes[2]}`",
        )


# -- the remote's line of a low battery ------------------------------------------------------------

_LOW: Final = re.compile(
    r"(?:(?:if|when|on|at|once|while) +)?(?:the +)?(?:low +)?"
    r"(?:battery|batt|pack|voltage|cells?|accu|akku)\b(?P<how>.*)$"
)
_STARTS: Final = r"(?: *[:,]+ *| +)(?:(?:then +)?(?:go|goes|play|start|run)(?: +to)? +)?"


def _low_battery(line: Written, text: str) -> Iterator[Slip]:
    """`if battery < 3.6 V: go warn`, `battery flat: go warn`."""
    found = _LOW.match(text)
    if found is None:
        return
    how = found["how"]
    cues = "|".join(map(re.escape, sorted(line.around.names.get("cue", frozenset()))))
    started = re.search(rf"{_STARTS}({cues})(?!\w)[^:]*$", how) if cues else None
    instead = re.match(rf"[^:]*?{_STARTS}(stop|limp|off)$", how)
    act = re.search(rf"[:,] *({_NAME} +(?:to|fade|cut|on|off)\b.*)$", how)
    if started is not None:
        limit = re.search(rf"{_NUMBER} *(?:m?V|%)", how)
        said, more = "a low battery starts a cue with `go`", ""
        if limit is not None:
            said = f"`{limit[0]}` does not belong here: the board has the limit of a low battery"
            more = "; the limit stands below the board, such as `warns below 3.4 V` of a cell"
        elif re.search(r"\b(?:empty|flat|dead)\b", how):
            more = "; it starts before the battery is empty, which stops the board by itself"
        yield from whole(line, said, text, f"battery low: go {started[1]}", more)
    elif instead is not None:
        yield only(
            "an empty battery stops its board by itself",
            (found.start("how") + instead.start(1), len(text)),
            "`battery low` starts a cue, such as `battery low: go warn`; when to stop stands "
            "below the board, as `stops below`",
        )
    elif act is not None:
        yield only(
            "a low battery starts a cue, and does nothing else",
            (found.start("how") + act.start(1), len(text)),
            "write a cue of it, such as `cue warn`, and here `battery low: go warn`",
        )


_BY_HEAD: Final[dict[str, tuple[Callable[[Written, str], Iterator[Slip]], ...]]] = {
    "board": (_radio, _watch),
    "sensor": (_sensor,),
    "channel": (_band,),
    "remote": (_low_battery,),
}
