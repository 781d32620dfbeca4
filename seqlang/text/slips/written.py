"""A line as it is written, where it stands, and where it stops being readable."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final, NamedTuple

from lark import Token, UnexpectedInput, UnexpectedToken
from lark.indenter import DedentError

from firmware_gen.chips import PORT_LETTERS
from seqlang.text.grammar import parser
from seqlang.text.names import RESERVED, nearest
from seqlang.text.syntax import ActText, CueText, Cut, EffectText, LightText, names_in
from seqlang.text.tokens import due, kind, literals, words_of
from sim.light.colours import COLOURS

if TYPE_CHECKING:
    from collections.abc import Mapping

BODIES: Final[dict[str, str]] = {
    "cue": "hold 1 s",
    "gesture": "hold 1 s",
    "pose": "a off",
    "safe": "a off",
    "servo": "friction 1 N.m",
    "lamp": "colour red",
    "strip": "shifter",
    "switch": "draws 1 A",
    "channel": "button 1 from 1 ms to 2 ms",
    "sensor": "quiet below 1 %",
    "supply": "fuse 1 A",
    "board": "feed a",
    "wearer": "walks",
    "remote": "stop button 1",
    "usage": "run time 1 h",
    "mirror": "input 1: a pin b",
    "row": "input 1: a pin b",
}
"""A line that each kind of top-level statement takes below it."""

HEADS: Final[dict[str, str]] = {
    "cue": "cue a",
    "gesture": "gesture a",
    "pose": "pose a",
    "safe": "pose a",
    "servo": "servo a: b pin c",
    "lamp": "lamp a: b pin c",
    "strip": "strip a: b pin c",
    "switch": "switch a: b pin c",
    "channel": "channel a: b pin c",
    "sensor": "sensor a: b pin c",
    "supply": "supply a",
    "board": "board a: b, address 1",
    "wearer": "wearer",
    "remote": "remote",
    "usage": "usage",
}
"""A top-level statement of each kind whose lines can be wrong."""

BLOCKS: Final = re.compile(r"(?:together|in +turn|stagger|one +of|repeat|when +let +go)\b")
_NEEDS_BODY: Final = frozenset(BODIES) - {
    *("board", "servo", "lamp", "switch", "channel", "sensor")
}
"""Kinds whose header alone is no whole statement."""

PIN: Final = rf"P[{PORT_LETTERS}][0-7]"
"""A pin of some chip, as data sheets write it."""
_PIN: Final = re.compile(PIN)
"""A pin, which is no output's name: a `watch` line below a board has one."""

_BOARD: Final = re.compile(
    r"(?:servo|lamp|strip|switch|input|channel|sensor) +([\w]+) *: *([^\W\d]\w*)"
)

WORD: Final = re.compile(r"[^\s,():#\"]+|.", re.DOTALL)


class Halt(NamedTuple):
    """Where the parser stops in a line: the offset, what could stand there, what stands there."""

    at: int
    due: frozenset[str]
    kind: str


class Slip(NamedTuple):
    """What one slip is, where it stands in the line, and the changes that undo it.

    `certain`: worth saying even where the changes alone do not make the line readable. `words`
    replaces what the table of examples says of such a line.
    """

    message: str
    start: int
    end: int
    help: str | None = None
    edits: tuple[tuple[int, int, str], ...] = ()
    certain: bool = False
    name: str = "syntax"
    by_example: bool = False
    """The table of examples says it better, if it knows the line."""
    whole: bool = False
    """The change is shown as a whole line."""


class Asked(NamedTuple):
    """What a parameter of a gesture stands for, and whether each play has to say it."""

    kind: str
    needed: bool


@dataclass(frozen=True)
class Surroundings:
    """What is known of a line besides its text."""

    head: str | None
    """The kind of top-level statement that it stands in; None for a line at the left margin."""
    has_block: bool
    names: Mapping[str, frozenset[str]] = field(default_factory=dict)
    """What the file declares, by kind."""
    gestures: Mapping[str, Mapping[str, Asked]] = field(default_factory=dict)
    """The parameters of the file's gestures."""
    body: str = ""
    """What stands below a header that may be a gesture's."""

    @cached_property
    def every_name(self) -> frozenset[str]:
        return frozenset[str]().union(*self.names.values())


@dataclass(frozen=True)
class Written:
    """One state of a line, without indentation, that may not be readable yet."""

    text: str
    around: Surroundings

    @cached_property
    def _read(self) -> tuple[object, UnexpectedInput | None]:
        before, after = self._around()
        text = self.text.replace("\n", "\n ") if before else self.text
        try:
            return parser().parse(f"{before}{text}\n{after}"), None
        except UnexpectedInput as error:
            return None, error
        except DedentError:  # what comes after the line belongs to no block that it opens
            return None, _past_the_block()

    @cached_property
    def halt(self) -> Halt | None:
        """Where the line stops being readable in its place; None if it can be read."""
        before, _ = self._around()
        error = self._read[1]
        if error is None:
            return None
        position = error.pos_in_stream
        at = len(self.text) if position is None else position - len(before)
        what = kind(error)
        if what in ("_NL", "$END", "_INDENT", "_DEDENT"):
            at = len(self.text.rstrip())
        return Halt(min(max(at, 0), len(self.text)), due(error), what)

    @cached_property
    def makes_sense(self) -> bool:
        """Whether the names in a line that can be read are known, or near to known ones."""
        known = self.around.every_name
        if self.around.head is None:
            plugs = _BOARD.match(self.text)
            boards = self.around.names.get("board", frozenset())
            if plugs is not None and plugs[1] in RESERVED:
                return False
            return plugs is None or not boards or _is_near(plugs[2], boards)
        if not any(self.around.names.get(kind) for kind in ("servo", "lamp", "strip", "switch")):
            return True
        own = {"a", "b", "c"}.union(*self.around.gestures.values())
        return all(
            str(name) in own
            or (self.around.head == "board" and _PIN.fullmatch(str(name)) is not None)
            or (_is_no_word(str(name), known) and _is_near(str(name), known))
            or str(name).lower() in COLOURS
            for name in names_in(self._read[0])
        ) and _fits(self._read[0], self.around)

    def due_at(self, at: int) -> frozenset[str]:
        """Words and signs that could stand at a place of the line."""
        if self.halt is not None and self.halt.at == at:
            found = self.halt.due
        else:
            halt = Written(self.text[:at] + " ?", self.around).halt
            found = frozenset() if halt is None or halt.at < at else halt.due
        return frozenset(word for name in found for word in words_of(name))

    def _around(self) -> tuple[str, str]:
        if self.around.head is None:
            first = self.text.partition(" ")[0].partition(":")[0]
            body = BODIES.get(first)
            needed = first in _NEEDS_BODY or self.around.has_block
            return "", f" {body}\n" if body and needed else ""
        head = HEADS.get(self.around.head)
        if head is None:
            return "", ""
        whole = "\n" in self.text  # a block with what stands in it
        block = self.around.has_block or (BLOCKS.match(self.text) is not None and not whole)
        statement = self.around.head == "cue"
        return f"{head}\n ", "  hold 1 s\n" if block and statement else ""

    @cached_property
    def code_end(self) -> int:
        """Where a comment starts, or the line ends."""
        quoted = False
        for at, letter in enumerate(self.text):
            quoted ^= letter == '"'
            if letter == "#" and not quoted:
                return at
        return len(self.text)

    def word_at(self, at: int) -> str:
        found = WORD.match(self.text, at)
        return "" if at >= len(self.text) or found is None else found[0]

    def quoted(self, at: int) -> bool:
        """Whether a place lies within a title."""
        return self.text.count('"', 0, at) % 2 == 1

    def changed(self, edits: tuple[tuple[int, int, str], ...]) -> Written:
        text = self.text
        for start, end, instead in sorted(edits, reverse=True):
            text = text[:start] + instead + text[end:]
        return Written(text.strip(), self.around)


def _past_the_block() -> UnexpectedInput:
    return UnexpectedToken(Token("_DEDENT", ""), set())  # type: ignore[no-untyped-call]


def _fits(tree: object, around: Surroundings) -> bool:
    """Whether the outputs of a cue's statement can do what it asks of them."""
    cue = tree[-1] if isinstance(tree, list) and tree else None
    if not isinstance(cue, CueText):
        return True
    lights = around.names.get("lamp", frozenset()) | around.names.get("strip", frozenset())
    servos = around.names.get("servo", frozenset())
    for statement in cue.body:
        if isinstance(statement, ActText):
            for target in statement.targets:
                light = isinstance(target.value, LightText)
                alien = servos if light else lights | around.names.get("switch", frozenset())
                constants = around.names.get("given", frozenset())
                value = target.value
                named = isinstance(value, Token) and value.type == "NAME"
                if alien & set(map(str, target.names)) or (
                    named and not _is_near(str(value), constants)
                ):
                    return False
        elif isinstance(statement, Cut | EffectText) and not lights >= set(
            map(str, statement.names)
        ):
            return False
    return True


def _is_no_word(name: str, known: frozenset[str]) -> bool:
    """Whether a name is none of the language's words, or one that the file took for a name."""
    return name not in RESERVED and (name not in literals() or name in known)


def _is_near(name: str, known: frozenset[str]) -> bool:
    return name in known or nearest(name, known) is not None
