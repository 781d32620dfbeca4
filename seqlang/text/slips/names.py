"""Names: where they cannot stand, and in the spellings that no name has."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from firmware_gen.chips import PORT_LETTERS
from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

_NAME: Final = re.compile(r"[^\W\d]\w*")
_HYPHENED: Final = re.compile(r"(?<![\w.-])([^\W\d]\w*)(?:-[^\W\d]\w*)+(?![\w-])")
_PAIR: Final = re.compile(r"(?<![\w-])([^\W\d]\w*) +([^\W\d]\w*)(?![\w-])")


def slips(line: Written) -> Iterator[Slip]:
    """What is wrong with names in a line."""
    yield from _bare_names(line)
    yield from _pins(line)
    yield from _hyphens(line)
    yield from _pairs(line)


def _bare_names(line: Written) -> Iterator[Slip]:
    """A cue's or a pose's name where a statement should be."""
    if line.around.head != "cue":
        return
    cues, poses = (line.around.names.get(kind, frozenset()) for kind in ("cue", "pose"))
    text = line.text[: line.code_end].rstrip()
    found = re.match(
        r"(?:(?:call|run|do|go|go *to|start|play|cue|trigger)(?: +cue)? +)?"
        r"([^\W\d]\w*) *(?:\( *\))?$",
        text,
    )
    if found is not None and found[1] in cues:
        yield Slip(
            f"`{found[1]}` is a cue, which is played",
            0,
            len(text),
            help=f"write `play {found[1]}`",
            edits=((0, len(text), f"play {found[1]}"),),
            certain=True,
        )
    found = re.match(r"(?:(?:go|pose|move)? *(?:to )? *)?([^\W\d]\w*)(?= |$)", text)
    if found is not None and found[1] in poses and not re.match(rf"pose +{found[1]}\b", text):
        yield Slip(
            f"`{found[1]}` is a pose",
            *found.span(),
            help=f"write `pose {found[1]}` and how long it takes",
            edits=((*found.span(), f"pose {found[1]}"),),
            certain=True,
        )


_PIN: Final = re.compile(
    rf"\bpin +((?:PORT|PIN|P)[_. ]?([{PORT_LETTERS}])[_. ]?([0-7]))(?=\s*(?:,|$))", re.IGNORECASE
)


def _pins(line: Written) -> Iterator[Slip]:
    """`PORTB.1`, `PB 1`: a port and a bit, otherwise joined than in the data sheet."""
    found = _PIN.search(line.text, 0, line.code_end)
    if found is None:
        return
    name = f"P{found[2]}{found[3]}".upper()
    if name != found[1]:
        yield Slip(
            f"`{found[1]}` is not a pin",
            *found.span(1),
            help=f"did you mean `{name}`?",
            edits=((*found.span(1), name),),
            certain=True,
            name="unknown-pin",
        )


def _hyphens(line: Written) -> Iterator[Slip]:
    """`left-wing` for `left_wing`."""
    for found in _HYPHENED.finditer(line.text, 0, line.code_end):
        if line.quoted(found.start()):
            continue
        instead = found[0].replace("-", "_")
        yield Slip(
            f"`{found[0]}` is not a name: names are letters, digits and `_`",
            *found.span(),
            help=f"such as `{instead}`",
            edits=((*found.span(), instead),),
        )


def _pairs(line: Written) -> Iterator[Slip]:
    """`left fin` for `left_fin`, where that is declared, or is being declared."""
    known = frozenset().union(*line.around.names.values())
    for start in [one.start() for one in _NAME.finditer(line.text, 0, line.code_end)]:
        found = _PAIR.match(line.text, start, line.code_end)
        if found is None:
            continue
        joined = f"{found[1]}_{found[2]}"
        header = line.around.head is None and re.match(
            r"(?:servo|lamp|strip|switch|supply|board|cue|pose|safe pose) +$", line.text[:start]
        )
        if joined in known or header:
            yield Slip(
                f"`{found[0]}` is read as two words: names are letters, digits and `_`",
                *found.span(),
                help=f"such as `{joined}`",
                edits=((*found.span(), joined),),
                certain=joined in known,
            )
