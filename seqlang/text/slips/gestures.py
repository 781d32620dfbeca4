"""Gestures as other languages have them: with brackets, with values in an order, without names."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple

from seqlang.text.names import KINDS_ELSEWHERE, PARAMETER_KINDS
from seqlang.text.slips.written import Asked, Slip

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from seqlang.text.slips.written import Written

_PLAYED: Final = re.compile(
    r"(?:(play|call|run|do|go|start|perform|execute|gesture|trigger)(?: +(?:the +)?gesture)? +)?"
    r"([^\W\d]\w*) *(.*?);?$"
)
HEADER: Final = re.compile(
    r"(gesture|def|function|func|fn|void|proc|macro|sub|routine|action|sequence|cue) +"
    r"([^\W\d]\w*) *(.*?)[ :{]*$"
)
_ARGUMENT: Final = re.compile(r"(?:([^\W\d]\w*) *(?:[:=] *| +))?(\S.*)")
_UNITS: Final = (
    ("time", r"(?:us|ms|s|min|h)"),
    ("angle", r"(?:deg|rad)"),
    ("length", r"(?:mm|cm|m|in|inch)"),
    ("speed", r"(?:deg/s|rad/s|rpm)"),
    ("level", r"%"),
    ("number", r""),
)
"""What kind of parameter takes an amount with these units."""

_SUCH: Final = {
    "angle": "30 deg",
    "length": "20 mm",
    "time": "500 ms",
    "speed": "60 deg/s",
    "level": "60 %",
    "number": "3",
    "colour": "orange",
}
_USES: Final = (
    ("light", r"\b{0}\b(?: +and +\w+)* +(?:fade|cut|breathe|ember|sparkle|run|steady)\b"),
    ("servo", r"\b{0}\b(?: +and +\w+)* +(?:to|breathing)\b"),
    ("switch", r"\b{0}\b +(?:on|off)\b"),
    ("level", r"\b(?:fade|cut) +to +(?:\w+ +)?\(?{0}\b"),
    ("angle", r"\bto +\(?{0}\b"),
    ("time", r"\b(?:in|hold|every|stagger) +\(?{0}\b"),
    ("speed", r"\bat +\(?{0}\b"),
    ("level", r"\bdepth +\(?{0}\b"),
    ("number", r"\brepeat +\(?{0}\b"),
)
"""What a parameter stands for, by how a gesture's statements use it; the first that fits."""

_OUTPUTS: Final = {"light": ("lamp", "strip")}
_BY_NAME: Final = "a gesture's values are given by their names, with commas between"
_BEHIND_COLON: Final = (
    "a gesture's parameters come after `:`, each with its usual value or with its kind"
)


class _PlacedValue(NamedTuple):
    name: str | None
    text: str


def slips(line: Written) -> Iterator[Slip]:
    """What is wrong with a gesture's header, or where one is played."""
    if line.around.head == "cue":
        yield from _plays(line)
        yield from _values_of_names(line)
    elif line.around.head is None:
        yield from _headers(line)


# -- where one is played ---------------------------------------------------------------------------


def _plays(line: Written) -> Iterator[Slip]:
    text = line.text[: line.code_end].rstrip()
    found = _PLAYED.match(text)
    if found is None or found[2] not in line.around.gestures:
        return
    several = _several(line, text, found)
    if several is not None:
        yield several
        return
    asked = line.around.gestures[found[2]]
    kinds = {name: one.kind for name, one in asked.items()}
    values = _values(found[3])
    chosen = _chosen(values, kinds, line)
    start = found.start(2)
    needed = {name for name, one in asked.items() if one.needed}
    if chosen is None and found[1] == "play" and all(one.name in kinds for one in values):
        return  # it is one of the values that is wrong
    if chosen is None or not needed <= chosen.keys():
        kinds = {name: kind for name, kind in kinds.items() if name in needed} or kinds
        such = ", ".join(f"{name} {_example(kind, line)}" for name, kind in kinds.items())
        said = None if values or found[1] in ("play", None) else found[1]
        message = _BY_NAME if values else f"`{found[2]}` is a gesture, which is played"
        yield Slip(
            f"`{said}` does not start a statement" if said else message,
            start if values else 0,
            len(text) if said is None else len(said),
            help=f"such as `play {found[2]}" + (f", {such}`" if such else "`"),
            certain=True,
        )
        return
    made = ", ".join((f"play {found[2]}", *(f"{name} {text}" for name, text in chosen.items())))
    if made == text.rstrip("; "):
        return
    if found[1] != "play" and not (found[3] and found[1] is None):
        said = found[1] or found[2]
        message = f"`{said}` does not start a statement" if found[1] else f"`{said}` is a gesture, "
        message += "" if found[1] else "which is played"
        yield _play(message, 0, len(said), text, made)
    else:
        yield _play(_BY_NAME, start, len(text), text, made)


_JOINED: Final = re.compile(r", *([^\W\d]\w*) +([^\W\d]\w*(?:(?: +and +| *& *| *\+ *)[^\W\d]\w*)+)")


def _several(line: Written, text: str, played: re.Match[str]) -> Slip | None:
    """`play snip, claw jaw and fin`: a parameter stands for one output."""
    found = _JOINED.search(text)
    if found is None or found[1] not in line.around.gestures[played[2]]:
        return None
    outputs = re.split(r" +and +| *[&+] *", found[2])
    kind = line.around.gestures[played[2]][found[1]].kind
    if not all(_fits(one, kind, line) for one in outputs):
        return None
    start, end = found.span(2)
    plays = [f"    play {text[played.start(2) : start]}{one}{text[end:]}" for one in outputs]
    return Slip(
        f"`{found[1]}` stands for one output, and {len(outputs)} are given",
        start,
        end,
        help="play it once for each of them, below `together`",
        edits=((0, len(text), "\n".join(["together", *plays])),),
        certain=True,
    )


def _play(message: str, start: int, end: int, text: str, made: str) -> Slip:
    return Slip(
        message, start, end, help=f"write `{made}`", edits=((0, len(text), made),), certain=True
    )


def _values(written: str) -> list[_PlacedValue]:
    """What comes after a gesture's name, however it is joined."""
    text = re.sub(r"^(?:with|using|on|for|by|of|[:,]) *", "", written.strip())
    if text.startswith("(") and text.endswith(")"):
        text = text[1:-1]
    parts = [part.strip() for part in re.split(r"[,;]| +and +", text)]
    found = []
    for part in filter(None, parts):
        whole = _ARGUMENT.fullmatch(part)
        assert whole is not None
        found.append(_PlacedValue(whole[1], whole[2]))
    return found


def _chosen(
    values: Sequence[_PlacedValue], kinds: Mapping[str, str], line: Written
) -> dict[str, str] | None:
    """The values by the names of parameters; None where one of them fits nothing."""
    if len(values) == 1 and len(kinds) > 1:
        values = _split(values[0], kinds)
    found: dict[str, str] = {}
    rest = []
    for value in values:
        name, text = value
        if name is not None and name not in kinds and text in kinds:
            name, text = text, name  # `800 ms beat`, `jaw claw`
        turned = re.fullmatch(r"(.+?) +([^\W\d]\w*)", text) if name is None else None
        if turned is not None and turned[2] in kinds:
            name, text = turned[2], turned[1]
        if name is not None and name in kinds and name not in found:
            found[name] = text
        else:
            rest.append(text if name is None else f"{name} {text}")
    crossed = {name for name, text in found.items() if not _fits(text, kinds[name], line)}
    rest += [found.pop(name) for name in crossed]  # `beat jaw, claw 800 ms`
    for text in rest:
        free = [one for one in kinds if one not in found and _fits(text, kinds[one], line)]
        if not free:
            return None
        found[free[0]] = text
    return {name: found[name] for name in kinds if name in found}


def _split(value: _PlacedValue, kinds: Mapping[str, str]) -> list[_PlacedValue]:
    """`claw jaw beat 800 ms`, or `jaw 800 ms`: without commas."""
    whole = value.text if value.name is None else f"{value.name} {value.text}"
    amounts = r"-?[0-9.]+(?: *(?:%|[a-z]+(?:/s)?)\b)?|#[0-9A-Fa-f]{6}|[^\W\d]\w*"
    words = [found[0].strip() for found in re.finditer(amounts, whole)]
    found: list[_PlacedValue] = []
    name: str | None = None
    for word in words:
        if word in kinds and name is None:
            name = word
        else:
            found.append(_PlacedValue(name, word))
            name = None
    return found


def _fits(text: str, kind: str, line: Written) -> bool:
    """Whether a value can be one of that kind."""
    if kind in ("servo", "lamp", "strip", "switch", "light"):
        kinds = _OUTPUTS.get(kind, (kind,))
        return any(text in line.around.names.get(one, frozenset()) for one in kinds)
    if kind == "colour":
        return re.fullmatch(r"#[0-9A-Fa-f]{6}|[^\W\d]\w*", text) is not None
    if text in line.around.names.get("given", frozenset()) or text.startswith("("):
        return True
    unit = dict(_UNITS).get(kind)
    number = r"-?[0-9]+(?:\.[0-9]+)?"
    return unit is not None and re.fullmatch(rf"{number}(?: *{unit})?", text) is not None


def _example(kind: str, line: Written) -> str:
    """A value of that kind, an output's name if the show has one."""
    for one in _OUTPUTS.get(kind, (kind,)):
        names = line.around.names.get(one, frozenset())
        single = [name for name in names if not any(_is_of(other, name) for other in names)]
        if single:
            return min(single)
    return _SUCH.get(kind, "3")


def _is_of(one: str, name: str) -> bool:
    """Whether something is one of several things that a name means."""
    return one.endswith(f"_{name}") or one.startswith(f"{name}_")


def parameters(header: str) -> dict[str, Asked]:
    """A gesture's parameters by name; `header`: its whole line."""
    found: dict[str, Asked] = {}
    _, _, behind = header.partition(":")
    for part in behind.split("#")[0].split(","):
        whole = re.fullmatch(r" *([^\W\d]\w*) +(\S.*?) *", part)
        if whole is not None:
            found[whole[1]] = Asked(_kind_of(whole[2]), whole[2] in PARAMETER_KINDS)
    return found


def _kind_of(value: str) -> str:
    if value in PARAMETER_KINDS:
        return value
    number = r"-?[0-9]+(?:\.[0-9]+)?"
    return next(
        (kind for kind, unit in _UNITS if re.fullmatch(rf"{number} *{unit}", value)), "colour"
    )


_SIGIL: Final = re.compile(r"[$@]\{?([^\W\d]\w*)\}?|\{([^\W\d]\w*)\}|<([^\W\d]\w*)>")
_WITH_UNIT: Final = re.compile(r"(?<![\w.])([^\W\d]\w*)( +(?:deg(?:/s)?|ms|s|mm|rpm|%))(?![\w/])")


def _values_of_names(line: Written) -> Iterator[Slip]:
    """`$reach`, `{reach}`, `reach deg`: a name stands for its amount with its unit."""
    known = line.around.every_name
    for found in _SIGIL.finditer(line.text, 0, line.code_end):
        name = found[1] or found[2] or found[3]
        if name in known and not line.quoted(found.start()):
            yield Slip(
                f"`{found[0]}` does not fit here: a name stands by itself",
                *found.span(),
                help=f"write `{name}`",
                edits=((*found.span(), name),),
                certain=True,
            )
    for found in _WITH_UNIT.finditer(line.text, 0, line.code_end):
        if found[1] in line.around.names.get("given", frozenset()):
            yield Slip(
                f"`{found[1]}` has its unit already",
                *found.span(),
                help=f"leave out `{found[2].strip()}`",
                edits=((*found.span(2), ""),),
                certain=True,
            )


# -- its header ------------------------------------------------------------------------------------


def _headers(line: Written) -> Iterator[Slip]:
    """`gesture snip(finger, beat)`, `gesture snip: finger: servo`, `def snip(finger):`."""
    text = line.text[: line.code_end].rstrip()
    found = HEADER.match(text)
    paired = r"\( *\w" if found is not None and found[1] == "cue" else r"[(:] *\w"
    if found is None or (found[1] != "gesture" and not re.match(paired, found[3])):
        return
    inner = re.sub(r"^(?:with|takes|[:,]) *", "", found[3].strip())
    if inner.startswith("("):
        inner = inner[1:].removesuffix(")").rstrip()
    if re.match(r"seed\b|rand", inner):
        return
    parts = [_parameter(part.strip(), line.around.body) for part in re.split("[,;]", inner)]
    if not inner or any(part is None for part in parts):
        return
    made = f"gesture {found[2]}: " + ", ".join(part for part in parts if part is not None)
    if made == text:
        return
    begin = found.end(2) if found[1] == "gesture" else 0
    yield Slip(
        _BEHIND_COLON if found[1] == "gesture" else f"`{found[1]}` does not start a gesture",
        begin,
        len(text) if found[1] == "gesture" else found.end(1),
        help=f"write `{made}`",
        edits=((0, len(text), made),),
        certain=True,
    )


def _parameter(written: str, body: str) -> str | None:
    """A parameter as it is written here; None if nobody knows what it stands for."""
    found = re.fullmatch(r"([^\W\d]\w*)(?: *[:=] *| +)(\S.*)", written)
    if found is not None:
        name, value = found[1], found[2].strip()
        typed = re.fullmatch(r"([^\W\d]\w*) *=? *(-?[0-9].*)", value)
        if typed is not None and typed[1] in {*PARAMETER_KINDS, *KINDS_ELSEWHERE}:
            value = typed[2]  # `reach angle 40 deg`: the unit says what it is for
        elif typed is not None and name in {*PARAMETER_KINDS, *KINDS_ELSEWHERE}:
            name, value = typed[1], typed[2]  # `angle reach = 40 deg`
        if name in PARAMETER_KINDS and re.fullmatch(r"[^\W\d]\w*", value):
            name, value = value, name
        return f"{name} {KINDS_ELSEWHERE.get(value, value)}"
    if re.fullmatch(r"[^\W\d]\w*", written) is None:
        return None
    for kind, use in _USES:
        if re.search(use.format(written), body):
            return f"{written} {kind}"
    return None
