"""Syntax errors in plain words, found by example.

Each entry of `EXAMPLES` pairs wrong texts with what to say about them. An error is explained by
the first entry one of whose texts fails after the same keywords of its line, where the same tokens
could come next, at the same kind of token; if there is none, the last and then the middle of these
conditions falls. What no entry knows is explained from the tokens that could come next.
Slips of the pen (a word misspelt, a unit unknown, a quote not closed) come before all that.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

from lark import UnexpectedCharacters, UnexpectedInput, UnexpectedToken
from lark.lexer import PatternStr

from firmware_gen.chips import FIRST
from seqlang.text.findings import Finding, Fix, Span
from seqlang.text.grammar import failure, parser
from seqlang.text.names import nearest
from seqlang.text.source import Source
from seqlang.text.units import FOREIGN, OTHERWISE, UNITS

if TYPE_CHECKING:
    pass


class Example(NamedTuple):
    """What to say about texts that fail like `wrong`: what is due there, and how to write it."""

    due: str
    help: str
    wrong: tuple[str, ...]


def _cue(*lines: str) -> str:
    return "cue a\n" + "".join(f"    {line}\n" for line in lines)


def _in(header: str, *lines: str) -> str:
    return header + "\n" + "".join(f"    {line}\n" for line in lines)


_SERVO: Final = "servo jaw: body pin PB1"

BLOCK_DUE: Final = Example(
    "this line needs an indented block below it",
    "write its statements below it, each with four more spaces in front",
    (
        "cue a\n",
        _cue("together"),
        _cue("in turn", "hold 3 s"),
        "cue a\ncue b\n    hold 3 s\n",
        "pose a\n",
        "supply a\n",
        "remote\n",
        "wearer\n",
        "usage\n",
    ),
)

EXAMPLES: Final[tuple[Example, ...]] = (
    Example("a pose has a name", "such as `pose shut`", ("pose\n", "pose 3\n", "safe pose\n")),
    Example(
        "a move needs to say how long it takes",
        "add `in 300 ms`, `at 90 deg/s` or `as fast as it can`",
        (
            _cue("jaw to 30 deg"),
            _cue("jaw to (a + 3 deg)"),
            _cue("jaw to 30 deg, cycloidal"),
            _cue("jaw and fin to 30 deg"),
            _cue("jaw to 30 deg, fin to 20 deg"),
        ),
    ),
    Example(
        "a fade needs to say how long it takes",
        "add `in 2 s`, or write `cut to` for a change at once",
        (_cue("belly fade to orange 80 %"), _cue("belly fade to orange"), _cue("lure fade to off")),
    ),
    Example(
        "a pose needs to say how long it takes to get there",
        "add `in 1 s`",
        (_cue("pose shut"),),
    ),
    Example(
        "outputs with the same target are joined by `and`",
        "such as `jaw and fin to 30 deg in 300 ms`",
        (_cue("jaw, fin to 30 deg in 2 s"), _cue("jaw and fin, tail to 30 deg in 2 s")),
    ),
    Example(
        "after an output, say what it shall do",
        "such as `to 30 deg in 300 ms`, `fade to 50 % in 2 s`, `cut to 80 %`, `on`, `off`, or an "
        "effect such as `breathe every 3 s`",
        (_cue("jaw 30 deg in 2 s"), _cue("jaw"), _cue("jaw = 30 deg"), _cue("jaw: 3")),
    ),
    Example(
        "`fade` needs `to` and a light",
        "such as `fade to orange 80 % in 2 s`",
        (_cue("belly fade orange in 2 s"), _cue("belly fade")),
    ),
    Example("`cut` needs `to` and a light", "such as `cut to 80 %`", (_cue("belly cut orange"),)),
    Example(
        "a target is needed after `to`",
        "an angle such as `30 deg`",
        (_cue("jaw to in 2 s"), _cue("jaw to")),
    ),
    Example(
        "a light is needed after `fade to`",
        "such as `80 %` for a lamp, `orange 80 %` or `#ff8000` for a strip, or `off`",
        (_cue("belly fade to in 2 s"), _cue("belly fade to")),
    ),
    Example(
        "a time is needed after `in`",
        "such as `in 300 ms`",
        (_cue("jaw to 30 deg in"), _cue("jaw to 30 deg in, cycloidal")),
    ),
    Example(
        "a speed is needed after `at`",
        "such as `at 90 deg/s`",
        (_cue("jaw to 30 deg at"),),
    ),
    Example(
        "a motion law is needed after the comma",
        "one of uniform, parabolic, trapezoid 1/3, harmonic, cycloidal, 3-4-5, 4-5-6-7, "
        "modified sine, modified trapezoid, double-S 1/3, 1/2",
        (_cue("jaw to 30 deg in 2 s,"), _cue("jaw to 30 deg in 2 s, smooth")),
    ),
    Example(
        "the move ends here; only a comma and a motion law may follow",
        "such as `jaw to 30 deg in 2 s, cycloidal`; otherwise begin a new line",
        (_cue("jaw to 30 deg in 2 s smooth"),),
    ),
    Example(
        "the move ends here; only a comma and a motion law may follow",
        "such as `jaw to 30 deg at 90 deg/s, cycloidal`; otherwise begin a new line",
        (_cue("jaw to 30 deg at 90 deg/s smooth"),),
    ),
    Example(
        "the fade ends here",
        "begin a new line for what comes next",
        (_cue("belly fade to 50 % in 2 s smooth"),),
    ),
    Example(
        "`trapezoid` needs the share of the time in which it speeds up",
        "such as `trapezoid 1/3`",
        (_cue("jaw to 30 deg in 2 s, trapezoid"),),
    ),
    Example(
        "`double-S` needs two shares: one of the time, to speed up, and one of that, for jerk",
        "such as `double-S 1/3, 1/2`",
        (_cue("jaw to 30 deg in 2 s, double-S"), _cue("jaw to 30 deg in 2 s, double-S 1/3")),
    ),
    Example(
        "`within` needs three limits: speed, acceleration and jerk",
        "such as `within 200 deg/s, 1500 deg/s2, 20000 deg/s3`",
        (
            _cue("jaw to 30 deg within"),
            _cue("jaw to 30 deg within 200 deg/s"),
            _cue("jaw to 30 deg within 200 deg/s, 3 deg/s2"),
            _cue("jaw to 30 deg within 200 deg/s,"),
        ),
    ),
    Example(
        "`hold` needs a time",
        "such as `hold 500 ms`",
        (_cue("hold"), _cue("hold for 3 s")),
    ),
    Example(
        "`stagger` needs the time from one start to the next",
        "such as `stagger 80 ms`",
        (_cue("stagger", "    jaw to 3 deg in 2 s"),),
    ),
    Example(
        "`repeat` needs to say how often",
        "`repeat 3 times`, `repeat for ever` or `repeat while held`",
        (_cue("repeat", "    hold 2 s"), _cue("repeat 3", "    hold 2 s"), _cue("repeat for 3 s")),
    ),
    Example(
        "`play` needs the name of a cue",
        "such as `play blink`",
        (_cue("play"), _cue("play 3")),
    ),
    Example(
        "an effect's options are `every`, `depth`, `seed` and `width`",
        "such as `breathe every 3 s, depth 60 %`",
        (_cue("belly breathe 3 s"), _cue("belly breathe every 3 s, 40 %")),
    ),
    Example(
        "a cue's header is its name and, in quotes, its title",
        'such as `cue lure "The lure beckons"`, then maybe `, if busy wait`',
        ("cue\n", 'cue "a"\n', "cue a b\n", "cue a:\n    hold 2 s\n", 'cue a "b" c\n'),
    ),
    Example(
        "after the comma comes what the cue does when an output is taken",
        "`, if busy take`, `, if busy wait` or `, if busy refuse`",
        ("cue a, wait\n", "cue a, if busy\n", "cue a, if wait\n"),
    ),
    Example(
        "a servo, lamp, strip or switch needs its board and pin",
        "such as `servo jaw: body pin PB1`",
        (
            "servo jaw\n",
            "servo jaw:\n",
            "servo jaw: body\n",
            "servo jaw: PB1\n",
            "servo jaw: body pin\n",
            "servo jaw body pin PB1\n",
            "lamp a\n",
            "strip a\n",
            "switch a\n",
        ),
    ),
    Example(
        "a board needs its chip and its address",
        f"such as `board body: {FIRST.name}, address 1`",
        ("board body\n", "board body:\n", f"board body: {FIRST.name}\n", "board body: a, 1\n"),
    ),
    Example(
        "`feed` names a supply and maybe its wire",
        "such as `feed pack, 600 mm of 20 AWG`",
        (_in("board a: b, address 1", "feed"), _in("board a: b, address 1", "feed a, 3 m")),
    ),
    Example(
        "`source` is cells or an adapter",
        "such as `source 2 li-ion cells, 3000 mAh` or `source adapter 6 V, 5 A`",
        (
            _in("supply a", "source"),
            _in("supply a", "source 2 cells"),
            _in("supply a", "source 2 li-ion"),
            _in("supply a", "source 2 li-ion cells"),
            _in("supply a", "source adapter 6 V"),
        ),
    ),
    Example(
        "`regulator` needs a voltage and a current",
        "such as `regulator 6 V, 5 A`",
        (_in("supply a", "regulator"), _in("supply a", "regulator 6 V")),
    ),
    Example(
        "`pulse` pairs pulse widths with angles",
        "such as `pulse 900 us at 0 deg, 2100 us at 90 deg`",
        (_in(_SERVO, "pulse"), _in(_SERVO, "pulse 900 us"), _in(_SERVO, "pulse 900 us to 3 us")),
    ),
    Example(
        "`travel` needs two angles",
        "such as `travel 2 deg to 55 deg`",
        (_in(_SERVO, "travel"), _in(_SERVO, "travel 2 deg"), _in(_SERVO, "travel 2 deg, 3 deg")),
    ),
    Example(
        "`rating` needs speed, stall torque and stall current, and their voltage",
        "such as `rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V`",
        (
            _in(_SERVO, "rating"),
            _in(_SERVO, "rating 3 rpm"),
            _in(_SERVO, "rating 3 rpm, 3 N.m"),
            _in(_SERVO, "rating 3 rpm, 3 N.m, 3 A"),
        ),
    ),
    Example(
        "`on` names the servo whose part this one stands on, and where on it",
        "such as `on root at 300 mm, weighs 20 g`",
        (_in(_SERVO, "on"), _in(_SERVO, "on root"), _in(_SERVO, "on root, weighs 3 g")),
    ),
    Example(
        "`load` is a mass at a distance, a rod, a plate or a box",
        "such as `load 120 g at 80 mm`, `load rod 40 g, 120 mm`, `load plate 60 g, 90 mm by 50 mm`",
        (
            _in(_SERVO, "load"),
            _in(_SERVO, "load rod 3 g"),
            _in(_SERVO, "load plate 3 g, 3 mm"),
            _in(_SERVO, "load box 3 g, 3 mm by 3 mm"),
        ),
    ),
    Example(
        "`grips` needs a force and its distance, where the part meets what it holds, and for how "
        "long at one go",
        "such as `grips 8 N at 60 mm, past 40 deg, for 2 s`",
        (
            _in(_SERVO, "grips"),
            _in(_SERVO, "grips 3 N"),
            _in(_SERVO, "grips 3 N at 3 mm"),
            _in(_SERVO, "grips 3 N at 3 mm, for 3 s"),
            _in(_SERVO, "grips 3 N at 3 mm, past 3 deg"),
        ),
    ),
    Example(
        "`stalls` needs where the part meets what it holds, and for how long at one go",
        "such as `stalls past 40 deg, for 500 ms`",
        (
            _in(_SERVO, "stalls"),
            _in(_SERVO, "stalls for 3 s"),
            _in(_SERVO, "stalls past 3 deg"),
        ),
    ),
    Example(
        "only a line of a servo can stand here",
        "its lines start with pulse, travel, rating, load, level, axis, spring, friction, gear, "
        "levers, four-bar, rotor, time constant, backlash, acceleration, limits, idling, "
        "dead band, tip, nip, grips, stalls, ram or slope",
        (_in(_SERVO, "3"), _in(_SERVO, "travel 3 deg to 5 deg", "3")),
    ),
    Example(
        "a button starts a cue with `go`",
        "such as `button 1: go lure` or `button 2: go chew while held`",
        (
            _in("remote", "button"),
            _in("remote", "button 1"),
            _in("remote", "button 1 go a"),
            _in("remote", "button 1: a"),
            _in("remote", "button 1: go"),
            _in("remote", "button 1: go a, while held"),
        ),
    ),
    Example(
        "`stop` names its button, or how long the move to the safe pose takes",
        "such as `stop button 4` or `stop in 1.5 s`",
        (_in("remote", "stop"), _in("remote", "stop 4"), _in("remote", "stop: button 4")),
    ),
    Example(
        "`lost` needs a time and a cue",
        "such as `lost 2 s: go rest`",
        (_in("remote", "lost"), _in("remote", "lost 2 s"), _in("remote", "lost 2 s, go rest")),
    ),
    Example(
        "`idle` names the cue that runs when nothing else does",
        "such as `idle: go doze`",
        ("idle\n", "idle doze\n", "idle: doze\n", "idle: go\n"),
    ),
    Example(
        "a constant needs `=` and a value",
        "such as `given pace = 300 ms`",
        ("given\n", "given a\n", "given a 3 ms\n", "given a =\n"),
    ),
    Example("`show` needs its title in quotes", 'such as `show "My first show"`', ("show a\n",)),
    Example(
        "a pose gives each output its place",
        "such as `jaw 4 deg, belly off, fan on`",
        (_in("pose a", "jaw"), _in("pose a", "jaw to 4 deg"), _in("pose a", "jaw 4 deg,")),
    ),
    Example(
        "in brackets, an operator stands between two amounts",
        "such as `(beat * 1.5 + 20 ms)`",
        (
            _cue("hold ()"),
            _cue("hold (3 s +)"),
            _cue("hold (3 s"),
            _cue("hold (3 s 4 s)"),
            _cue("hold (* 3 s)"),
        ),
    ),
    Example(
        "`usage` says how often a cue runs, or how long a charge lasts",
        "such as `lure 20 per hour` or `run time 4 h`",
        (_in("usage", "a"), _in("usage", "a 20"), _in("usage", "run time")),
    ),
    Example(
        "this line cannot stand at the left margin",
        "lines at the left margin start with show, given, wearer, supply, board, servo, lamp, "
        "strip, switch, input, pose, safe pose, cue, idle, remote or usage; is the indentation "
        "missing?",
        ("jaw to 30 deg in 3 s\n", "3\n", "hold 3 s\n", "to 3\n"),
    ),
)


# -- explaining --------------------------------------------------------------------------------


def explain(error: UnexpectedInput, source: Source, line: int) -> Finding:
    """The finding for a syntax error; `line` is the offset where the line at fault starts."""
    at = _At(error, source, line)
    return (
        _needless_indent(at)
        or _foreign_comment(at)
        or _foreign_mark(at)
        or _decimal_comma(at)
        or _foreign_verb(at)
        or _stop_as_cue(at)
        or _foreign_character(at)
        or _open_quote(at)
        or _unit_read_in_part(at)
        or _hyphen_in_name(at)
        or _misspelt(at)
        or _unknown_unit(at)
        or _by_example(at)
        or _by_tokens(at)
    )


class _At:
    """Where an error stands, what was found there and what could have come."""

    def __init__(self, error: UnexpectedInput, source: Source, line: int) -> None:
        text = source.text
        self.error = error
        self.source = source
        self.due = due(error)
        self.kind = kind(error)
        end = text.find("\n", line)
        self.line_end = end = len(text) if end < 0 else end
        self.first = line + len(text[line:end]) - len(text[line:end].lstrip(" \t"))
        """Where the line's own text starts."""
        start = error.pos_in_stream or 0
        self.start = start if line <= start <= end else self.first
        if self.kind in ("_NL", "$END", "_INDENT", "_DEDENT"):
            self.start = line + len(text[line:end].rstrip())
        self.word = "" if self.start >= end else _WORD.match(text, self.start)[0]  # type: ignore[index]

    def finding(self, message: str, span: tuple[int, int] | None = None, **more: object) -> Finding:
        start, end = span or (self.start, self.start + max(1, len(self.word)))
        name = str(more.pop("name", "syntax"))
        return Finding(
            "error",
            name,
            message,
            Span(self.source.path, start, end),
            **more,  # type: ignore[arg-type]  # by the names of the fields
        )

    def fix(self, start: int, end: int, text: str) -> Fix:
        return Fix(Span(self.source.path, start, end), text)


_WORD: Final = re.compile(r"[^\s,():#\"]+|.", re.DOTALL)
_NUMBER_BEFORE: Final = re.compile(r"-?[0-9]+(?:\.[0-9]+)? *\Z")
_WITH_UNIT: Final = re.compile(r"-?[0-9]+(?:\.[0-9]+)? *([^\W\d_][^\s,():#\"]*)")
_COMMENTS: Final = ("//", "/*", "--")
_COMMA: Final = re.compile(r"(?<![\w.,])[0-9]+,[0-9]+(?![\w.,])")
_THOUSANDS: Final = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_CURLY: Final = re.compile(
    '[\u201c\u201d\u201e\u00ab\u00bb]([^\u201c\u201d\u201e\u00ab\u00bb"\n]*)[\u201c\u201d\u00ab\u00bb"]'
)
_MARKS: Final = {
    ";": ("a line ends without `;`", "one statement stands on each line"),
    "{": ("a block has no brackets", "what belongs to a statement is indented below it"),
    "}": ("a block has no brackets", "what belongs to a statement is indented below it"),
}
"""Marks of other languages: what is wrong with them, and what to do."""
_MOVES: Final = ("move", "turn", "set")
_VERB: Final = re.compile(r"(wait|sleep|pause|delay|move|turn|set) +")
_CALL: Final = re.compile(r"(wait|sleep|pause|delay) *\(")
_LOOP: Final = re.compile(r"(?:for|loop|while)\b")
_COUNTED: Final = re.compile(r"(for|loop) +[0-9]+ +times *$")
_HYPHENED: Final = re.compile(r"(?<![\w.-])([^\W\d]\w*)(?:-[^\W\d]\w*)+(?![\w-])")
_STOP: Final = re.compile(r"button +([0-9]+) *:? *(?:go +)?stop\b")
_HEADS: Final = ("hold", "play", "pose", "together", "stagger", "repeat")


def due(error: UnexpectedInput) -> frozenset[str]:
    """Names of the tokens that could have come."""
    interactive = getattr(error, "interactive_parser", None)
    if interactive is None:
        return frozenset()
    return frozenset(interactive.accepts())


def kind(error: UnexpectedInput) -> str:
    """The kind of token that came instead."""
    return error.token.type if isinstance(error, UnexpectedToken) else "character"


def _needless_indent(at: _At) -> Finding | None:
    if at.kind != "_INDENT":
        return None
    return at.finding(
        "this line is indented, but the line above it has no block",
        (at.first, max(at.first + 1, at.line_end)),
        help="indent it like the line above, or add the header that it belongs to",
    )


def _foreign_comment(at: _At) -> Finding | None:
    mark = next((m for m in _COMMENTS if at.source.text.startswith(m, at.start)), None)
    if mark is None:
        return None
    return at.finding(
        f"`{mark}` does not start a comment here",
        (at.start, at.start + len(mark)),
        help="comments start with `#`",
        fix=at.fix(at.start, at.start + len(mark), "#"),
    )


def _foreign_mark(at: _At) -> Finding | None:
    """`;` at the end of a line, `{` and `}` around a block."""
    mark = at.source.text[at.start : at.start + 1]
    if mark not in _MARKS or at.start >= at.line_end:
        return None
    message, instead = _MARKS[mark]
    return at.finding(
        message,
        (at.start, at.start + 1),
        help=instead,
        fix=at.fix(at.start, at.start + 1, ""),
    )


def _decimal_comma(at: _At) -> Finding | None:
    """`1,5 s`: the parser is content with the 1 and stumbles over something behind it."""
    for found in _COMMA.finditer(at.source.text, at.first, at.line_end):
        quoted = at.source.text.count('"', at.first, found.start()) % 2 == 1
        if found.start() <= at.start and not quoted:
            point = found[0].replace(",", ".")
            if _THOUSANDS.fullmatch(found[0]):
                # Only the maker knows which of the two it is: nothing to put there unasked.
                whole = found[0].replace(",", "")
                return at.finding(
                    f"the comma in `{found[0]}` does not fit here",
                    found.span(),
                    help=f"thousands are written without a sign, decimals with a point: `{whole}` "
                    f"or `{point}`",
                )
            return at.finding(
                f"the comma in `{found[0]}` does not fit here",
                found.span(),
                help=f"decimals are written with a point: `{point}`",
                fix=at.fix(*found.span(), point),
            )
    return None


def _foreign_verb(at: _At) -> Finding | None:
    """`wait 1 s` and `move jaw to ...`, where the language holds, and moves without a verb."""
    if not {"FADE", "TO"} <= at.due:
        return None
    called = _CALL.match(at.source.text, at.first, at.line_end)
    if called is not None:
        return at.finding(
            f"`{called[1]}` starts no statement",
            (at.first, at.first + len(called[1])),
            help="a pause is written `hold 1 s`",
        )
    if _LOOP.match(at.source.text, at.first, at.line_end):
        return _foreign_loop(at)
    found = _VERB.match(at.source.text, at.first, at.line_end)
    if found is None or found.end() != at.start:
        return None
    verb, start = found[1], at.first
    pauses = at.source.text[at.start].isdigit()
    if pauses == (verb in _MOVES):
        return None
    return at.finding(
        f"`{verb}` does not start a statement",
        (start, start + len(verb)),
        help=f"{'a pause' if pauses else 'a move'} is written "
        f"`{'hold 1 s' if pauses else 'jaw to 30 deg in 1 s'}`",
        fix=at.fix(start, start + len(verb), "hold") if pauses else at.fix(start, found.end(), ""),
    )


def _foreign_loop(at: _At) -> Finding:
    """`for 3 times`, `while (1)`."""
    found = _LOOP.match(at.source.text, at.first, at.line_end)
    end = at.first if found is None else found.end()
    counted = _COUNTED.match(at.source.text, at.first, at.line_end)
    return at.finding(
        f"`{at.source.text[at.first : end]}` starts no statement",
        (at.first, end),
        help="what repeats is written `repeat 3 times`, `repeat for ever` or `repeat while held`",
        fix=None if counted is None else at.fix(at.first, end, "repeat"),
    )


def _stop_as_cue(at: _At) -> Finding | None:
    """`button 2: stop` for `stop button 2`."""
    found = _STOP.match(at.source.text, at.first, at.line_end)
    if found is None or at.word != "stop":
        return None
    instead = f"stop button {found[1]}"
    return at.finding(
        "the words of a stop button stand in the other order",
        help=f"write `{instead}`",
        fix=at.fix(*found.span(), instead),
    )


def _foreign_character(at: _At) -> Finding | None:
    """Characters that no show has: odd spaces, typographic quotes, degree signs."""
    if not isinstance(at.error, UnexpectedCharacters) or at.start >= at.line_end:
        return None
    letter = at.source.text[at.start]
    if letter.isascii() and letter.isprintable():
        return None
    name = unicodedata.name(letter, "a control character").lower()
    quoted = _CURLY.match(at.source.text, at.start, at.line_end)
    if quoted is not None:
        return at.finding(
            f"the character U+{ord(letter):04X} ({name}) does not belong here",
            quoted.span(),
            help=f'write `"{quoted[1]}"` instead',
            fix=at.fix(*quoted.span(), f'"{quoted[1]}"'),
        )
    plain = {"“": '"', "”": '"', "„": '"', "−": "-", "–": "-", "×": "*", "°": " deg", "µ": "u"}
    instead = plain.get(letter, " " if letter.isspace() else None)
    written = None if instead is None else f"`{instead.strip()}`" if instead.strip() else "a space"
    return at.finding(
        f"the character U+{ord(letter):04X} ({name}) does not belong here",
        (at.start, at.start + 1),
        help=None if written is None else f"write {written} instead",
        fix=None if instead is None else at.fix(at.start, at.start + 1, instead),
    )


def _open_quote(at: _At) -> Finding | None:
    text = at.source.text[at.first : at.line_end]
    if text.count('"') % 2 == 0 or not isinstance(at.error, UnexpectedCharacters):
        return None
    start = at.first + text.rfind('"')
    return at.finding(
        "this quote is not closed on its line",
        (start, at.line_end),
        help='end the text with `"`',
    )


def _hyphen_in_name(at: _At) -> Finding | None:
    """`left-wing` for `left_wing`: the parser reads a name, then stumbles over the hyphen."""
    names = _HYPHENED.finditer(at.source.text, at.first, at.line_end)
    found = next((name for name in names if name.end(1) == at.start), None)
    if found is None:
        return None
    instead = found[0].replace("-", "_")
    return at.finding(
        f"`{found[0]}` is no name: names are letters, digits and `_`",
        found.span(),
        help=f"such as `{instead}`",
        fix=at.fix(*found.span(), instead),
    )


def _misspelt(at: _At) -> Finding | None:
    """A word near one that could stand here, or near one that could start the line."""
    words = {word for name in at.due for word in words_of(name) if word.isalpha()}
    near = nearest(at.word, words) if at.word.isidentifier() else None
    if near is not None and near != at.word:
        return at.finding(
            f"`{at.word}` does not fit here",
            help=f"did you mean `{near}`?",
            fix=at.fix(at.start, at.start + len(at.word), near),
        )
    found = _WORD.match(at.source.text, at.first)
    head = found[0] if found else ""
    near = nearest(head, _HEADS) if {"FADE", "TO"} <= at.due else None
    if near is None or near == head or at.first == at.start:
        return None
    return at.finding(
        f"`{head}` does not start a statement",
        (at.first, at.first + len(head)),
        help=f"did you mean `{near}`?",
        fix=at.fix(at.first, at.first + len(head), near),
    )


def _unknown_unit(at: _At) -> Finding | None:
    """A number followed by a word that is no unit."""
    number = _NUMBER_BEFORE.search(at.source.text[at.first : at.start])
    if number is None or not re.match(r"[^\W\d_]", at.word) or at.word in _literals():
        return None
    if "CHEMISTRY" in at.due:
        return None
    return _no_unit(at, at.first + number.start(), at.start, at.word)


def _unit_read_in_part(at: _At) -> Finding | None:
    """`2.2 kg-cm`, `0.08 s/60`: the parser is content with `kg` and `s`."""
    for found in _WITH_UNIT.finditer(at.source.text, at.first, at.line_end):
        if found.start(1) < at.start < found.end(1) and found[1] in OTHERWISE:
            return _no_unit(at, found.start(), found.start(1), found[1])
    return None


def _no_unit(at: _At, number: int, start: int, unit: str) -> Finding:
    """That `unit`, at `start`, is none; its number is at `number`."""
    near = OTHERWISE.get(unit) or (None if unit in FOREIGN else nearest(unit, UNITS))
    return at.finding(
        f"there is no unit `{unit}`",
        (number, start + len(unit)),
        name="unknown-unit",
        help=f"did you mean `{near}`?"
        if near
        else FOREIGN.get(unit) or f"units are {', '.join(UNITS)}",
        fix=at.fix(start, start + len(unit), near) if near else None,
    )


def _by_example(at: _At) -> Finding | None:
    if at.due == {"_INDENT"}:
        return at.finding(BLOCK_DUE.due, (at.first, at.line_end), help=BLOCK_DUE.help)
    keywords = _keywords(at.source.text[at.first : at.start])
    known = _signatures()
    for signature in _narrowing(keywords, at.due, at.kind):
        if signature in known:
            example = EXAMPLES[known[signature]]
            return at.finding(example.due, help=example.help)
    return None


_Signature: TypeAlias = tuple[object, ...]


def _narrowing(keywords: _Signature, due: frozenset[str], kind: str) -> tuple[_Signature, ...]:
    """Signatures of an error, the most telling first."""
    return ((keywords, due, kind), (keywords, due), *([(keywords,)] if keywords else []))


def _keywords(before: str) -> _Signature:
    """The keywords before the place of an error in its line, each once."""
    literals = _literals()
    words = (word for word in re.findall(r"[^\W\d][\w-]*", before) if word in literals)
    return tuple(dict.fromkeys(words))


@cache
def _literals() -> frozenset[str]:
    plain = {_literal(terminal.name) for terminal in parser().terminals}
    return frozenset({word for word in plain if word and word[0].isalpha()} | {"double-S"})


@cache
def _signatures() -> dict[_Signature, int]:
    """Entries of `EXAMPLES` by their signatures, the first entry of each."""
    found: dict[_Signature, int] = {}
    for index, example in enumerate(EXAMPLES):
        for wrong in example.wrong:
            error = failure(wrong)
            if error is None:
                continue
            at = _At(error, Source("", wrong), line_at_fault(error, wrong))
            keywords = _keywords(wrong[at.first : at.start])
            for signature in _narrowing(keywords, at.due, at.kind):
                found.setdefault(signature, index)
    return found


def line_at_fault(error: UnexpectedInput, text: str) -> int:
    """Offset of the start of the line in which an error stands, for errors within a line."""
    at = min(error.pos_in_stream or 0, len(text) - 1)
    return text.rfind("\n", 0, at) + 1


# -- from the tokens alone ---------------------------------------------------------------------

_KINDS: Final = {
    "QUANTITY": "a quantity such as `30 deg`",
    "NUMBER": "a number",
    "NAME": "a name",
    "STRING": "a text in quotes",
    "COLOUR": "a colour such as `#ff8000`",
    "LPAR": "a sum in brackets",
    "_NL": "the end of the line",
    "_INDENT": "an indented block",
    "CHEMISTRY": "a kind of cell such as `li-ion`",
    "ORDER_NAME": "an order such as `grb`",
    "EFFECT": "an effect such as `breathe`",
    "LAW": "a motion law",
    "FRACTION": "a fraction such as `1/3`",
    "ADD": "`+`",
    "MULTIPLY": "`*`",
}
_HIDDEN: Final = frozenset({"BROKEN", "_DEDENT", "$END", "MINUS"})


def _literal(terminal: str) -> str | None:
    """The word or sign that a token stands for, if it is only one."""
    if terminal.startswith("$"):
        return None
    try:
        pattern = parser().get_terminal(terminal).pattern
    except KeyError:
        return None
    return pattern.value if isinstance(pattern, PatternStr) else None


def words_of(terminal: str) -> tuple[str, ...]:
    """The words that a token stands for, each as it is written; none if it has no fixed ones."""
    literal = _literal(terminal)
    if literal is not None:
        return (literal,)
    pattern = next((one.pattern for one in parser().terminals if one.name == terminal), None)
    found = None if pattern is None else _CHOICE.fullmatch(pattern.value)
    return () if found is None else tuple(found[1].replace(" +", " ").split("|"))


_CHOICE: Final = re.compile(r"(?:\(\?:)?([\w +|-]+?)\)?\(\?!\\w\)")
"""The pattern of a token that is one of several fixed words."""


def _by_tokens(at: _At) -> Finding:
    words = sorted(
        words
        for name in at.due - _HIDDEN
        for words in (
            [_KINDS[name]] if name in _KINDS else [f"`{word}`" for word in words_of(name)]
        )
    )
    due_words = words[0] if words else "nothing more"
    if len(words) > 1:
        due_words = ", ".join(words[:-1]) + " or " + words[-1]
    found = f"`{at.word}` does not fit here" if at.word.strip() else "the line ends too early"
    return at.finding(found, help=f"possible here: {due_words}")
