"""Words of other languages, and words in other forms."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Final

from seqlang.text.grammar import parser
from seqlang.text.names import nearest
from seqlang.text.slips.packs_and_fuses import IRON
from seqlang.text.slips.statements import LOOPS, PAUSES
from seqlang.text.slips.written import BLOCKS, WORD, Slip, Surroundings, Written
from seqlang.text.tokens import words_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_FIRST: Final[dict[str | None, dict[str, tuple[str, ...]]]] = {
    None: {
        **dict.fromkeys(("led", "light", "leds", "bulb"), ("lamp",)),
        **dict.fromkeys(("motor", "actuator", "joint", "axis"), ("servo",)),
        **dict.fromkeys(("relay", "output", "fan", "pump"), ("switch",)),
        **dict.fromkeys(("leds", "pixels", "ledstrip"), ("strip",)),
        **dict.fromkeys(
            ("scene", "sequence", "def", "function", "macro", "routine", "action", "void", "proc"),
            ("cue",),
        ),
        **dict.fromkeys(("animation", "move", "track"), ("cue",)),
        **dict.fromkeys(("import", "require", "insert"), ("include",)),
        **dict.fromkeys(("title", "name", "project"), ("show",)),
        **dict.fromkeys(("let", "const", "var", "define", "set", "#define", "int"), ("given",)),
        **dict.fromkeys(("float", "double", "long", "auto", "unsigned", "uint16_t"), ("given",)),
        **dict.fromkeys(("person", "costume", "performer", "body", "user"), ("wearer",)),
        **dict.fromkeys(("controller", "buttons", "receiver", "keys", "inputs"), ("remote",)),
        **dict.fromkeys(("radio", "ch", "receiver", "rx", "rc", "stick"), ("channel",)),
        **dict.fromkeys(("use", "uses", "schedule"), ("usage",)),
        **dict.fromkeys(("position", "posture", "preset"), ("pose",)),
        **dict.fromkeys(("battery", "psu", "power", "source"), ("supply",)),
        **dict.fromkeys(("mcu", "chip", "micro"), ("board",)),
        **dict.fromkeys(("button", "key"), ("input",)),
        **dict.fromkeys(("analog", "analogue", "adc", "mic", "microphone", "knob"), ("sensor",)),
        **dict.fromkeys(("potentiometer", "pot", "voice", "ain"), ("sensor",)),
        **dict.fromkeys(("safe", "home", "neutral", "rest"), ("safe pose",)),
        **dict.fromkeys(("when idle", "on idle", "default", "pose safe"), ("idle", "safe pose")),
    },
    "cue": {
        **dict.fromkeys(("wait", "sleep", "pause", "delay", "wiat", "dealy", "stay"), ("hold",)),
        **dict.fromkeys(("loop", "for", "while", "times"), ("repeat", "repeat for ever")),
        **dict.fromkeys(
            ("move", "set", "turn", "rotate", "then", "please", "-", "*", "the"), ("",)
        ),
        **dict.fromkeys(("switch", "servo", "lamp", "strip", "output", "next", "now"), ("",)),
        **dict.fromkeys(
            (
                *("call", "run", "do", "go", "start", "cue", "gesture", "trigger", "execute"),
                "goto",
            ),
            ("play", "pose", "repeat"),
        ),
        **dict.fromkeys(("go to", "goto", "assume", "take", "pose to", "position"), ("pose",)),
        **dict.fromkeys(
            ("parallel", "simultaneously", "both", "all", "concurrently"), ("together",)
        ),
        **dict.fromkeys(
            ("either", "choose", "random", "randomly", "choice", "any", "pick", "maybe"),
            ("one of",),
        ),
        **dict.fromkeys(("any of", "choose one", "pick one", "one", "either of"), ("one of",)),
        **dict.fromkeys(
            ("at once", "at the same time", "in parallel", "all together", "meanwhile"),
            ("together",),
        ),
        **dict.fromkeys(
            ("same time", "all at once", "at same time", "side by side"),
            ("together",),
        ),
        **dict.fromkeys(
            ("sequence", "sequential", "serial", "one after another", "in sequence", "in series"),
            ("in turn",),
        ),
        **dict.fromkeys(("offset", "cascade", "ripple", "delayed"), ("stagger",)),
    },
    "servo": {
        **dict.fromkeys(("weight", "mass", "carries"), ("load",)),
        **dict.fromkeys(("range", "moves", "angle", "angles"), ("travel",)),
        **dict.fromkeys(("rated", "spec", "specs", "stall", "torque", "speed"), ("rating",)),
        **dict.fromkeys(("calibration", "calibrate", "pwm", "points"), ("pulse",)),
        **dict.fromkeys(("limit", "max", "min"), ("limits",)),
        **dict.fromkeys(("accel", "ramp"), ("acceleration",)),
        **dict.fromkeys(("play", "slack"), ("backlash",)),
        **dict.fromkeys(("ratio", "gearing", "gears"), ("gear",)),
        **dict.fromkeys(("follow", "following", "tracks", "channel"), ("follows",)),
    },
    "supply": {
        **dict.fromkeys(("battery", "cells", "pack", "power", "input"), ("source",)),
        **dict.fromkeys(("adapter", "psu", "usb"), ("source adapter",)),
        **dict.fromkeys(("bec", "ubec", "converter", "buck", "dcdc", "output"), ("regulator",)),
        **dict.fromkeys(("breaker",), ("fuse",)),
    },
    "board": {
        **dict.fromkeys(("supply", "power", "powered", "from", "fed", "wire", "cable"), ("feed",)),
        **dict.fromkeys(("watches", "battery", "monitor", "measure", "voltage"), ("watch",)),
    },
    "lamp": {
        **dict.fromkeys(("tint", "hue"), ("colour",)),
        **dict.fromkeys(("count", "bulbs"), ("leds",)),
        **dict.fromkeys(("follow", "following", "tracks", "channel"), ("follows",)),
    },
    "strip": {
        **dict.fromkeys(("leds", "count", "length"), ("pixels",)),
        **dict.fromkeys(("limit", "max", "maximum"), ("cap",)),
    },
    "switch": {
        **dict.fromkeys(("current", "load", "takes", "uses"), ("draws",)),
        **dict.fromkeys(("level", "logic", "on"), ("active",)),
    },
    "sensor": {
        **dict.fromkeys(
            ("threshold", "floor", "gate", "deadband", "dead band", "silent", "ignores below"),
            ("quiet below",),
        ),
        **dict.fromkeys(("quiet", "quiet under", "silence below"), ("quiet below",)),
        **dict.fromkeys(("attack", "rise", "rises", "rise time", "rising"), ("rises in",)),
        **dict.fromkeys(
            ("release", "decay", "fall", "falls", "fall time", "falling"), ("falls in",)
        ),
    },
    "remote": {
        **dict.fromkeys(("key", "btn", "channel", "switch", "input", "on button"), ("button",)),
        **dict.fromkeys(
            ("low battery", "battery is low", "low voltage", "battery warning", "battery empty"),
            ("battery low",),
        ),
        **dict.fromkeys(("silent", "silence", "timeout", "failsafe", "signal lost"), ("lost",)),
        **dict.fromkeys(("on lost", "no signal", "no remote", "signal loss", "loss"), ("lost",)),
        **dict.fromkeys(("remote lost", "if lost", "when lost", "after"), ("lost",)),
        **dict.fromkeys(("emergency stop", "e-stop", "estop", "panic", "halt", "kill"), ("stop",)),
    },
    "wearer": {
        **dict.fromkeys(("walking", "gait walks"), ("walks",)),
        **dict.fromkeys(("dancing", "gait dances"), ("dances",)),
        **dict.fromkeys(("standing", "gait stands"), ("stands",)),
        **dict.fromkeys(("jumping", "gait jumps"), ("jumps",)),
        **dict.fromkeys(("temperature", "temp"), ("air",)),
        **dict.fromkeys(("lean", "leans", "tilts"), ("tilt",)),
        **dict.fromkeys(("reserve", "headroom", "safety"), ("margin",)),
        **dict.fromkeys(("view", "seen", "distance"), ("viewed",)),
        **dict.fromkeys(("region", "at", "on"), ("near",)),
    },
    "usage": {
        **dict.fromkeys(("play", "cue", "button"), ("",)),
        "lasts": ("run time",),
        "run": ("run time",),
    },
    "pose": {},
}
"""Words that start a line elsewhere, by what the line stands in, with those that do it here."""

_PHRASES: Final = tuple(
    (re.compile(rf"(?<![\w-]){pattern}(?![\w-])", re.IGNORECASE), instead)
    for pattern, instead in (
        (
            r"as (?:fast|quick|quickly|soon) as (?:possible|they can|he can|she can|can be|can)",
            "as fast as it can",
        ),
        (
            r"(?:fast|quickly|asap|at (?:full|max|maximum|top) speed|full speed|max speed)",
            "as fast as it can",
        ),
        (
            r"(?:endless(?:ly)?|indefinitely|always|infinite(?:ly)?|for all time|until stopped)",
            "for ever",
        ),
        (
            r"(?:while(?:st)? (?:pressed|holding|down|held down|pushed|on|pressing)"
            r"|when (?:held|pressed)"
            r"|until (?:released|let go)|as long as (?:held|pressed))",
            "while held",
        ),
        (r"twice", "2 times"),
        (r"times (?:per|an|each|every) h(?:our|r)?", "per hour"),
        (r"(?:per (?:h|hr|hours)|an hour|a hour|hourly|each hour|every hour)", "per hour"),
        (r"(?:until|till|for) (?:ever|always)", "for ever"),
        (r"fade out", "fade to off"),
        (r"(?:set|jump|snap|go|goes|change) to", "cut to"),
        (r"(?:dim|dims|brighten|fade[sd]|ramp) to", "fade to"),
        (r"(?:high|true|yes)", "on"),
        (r"(?:low|false|no)", "off"),
        (r"(?:lo|negative)", "low"),
        (r"(?:hi|positive)", "high"),
        (r"(?:eff|eff\.|eta)", "efficiency"),
        (r"(?:drop|headroom)", "dropout"),
        (r"(?:flickers?|candle|fire)", "ember"),
        (r"(?:pulses?|pulsates?|throbs?)", "breathe"),
        (r"(?:twinkles?|glitters?|sparkles)", "sparkle"),
        (r"(?:chases?|scans?)", "run"),
        (r"p/?h", "per hour"),
        (IRON, "lifepo4"),
        (r"(?:lion|lithium(?:[- ]ion)?)(?! *(?:iron|poly))", "li-ion"),
        (r"(?:lithium[- ]polymer|li-?poly)", "lipo"),
        (r"(?:adaptor|psu|usb|mains|charger)", "adapter"),
        (r"(?:18650|21700|14500|26650)", "li-ion"),
        (r"(?:pull-?up)", "active low"),
    )
)
"""Ways to say it elsewhere, anywhere in a line."""

_ANYWHERE: Final = frozenset({"2 times", "li-ion", "adapter"})
"""Tried where the parser does not wait for them: what comes before them may be wrong as well."""

_HINTS: Final = {
    "repeat": LOOPS,
    "repeat for ever": LOOPS,
    "hold": PAUSES,
    "": "a move is written `jaw to 30 deg in 1 s`",
}


def means_block(text: str) -> bool:
    """Whether a line of a cue, whatever it reads as, says elsewhere that a block follows."""
    said = text.strip().rstrip(":({ ").lower()
    return any(BLOCKS.match(one) for one in _FIRST["cue"].get(said, ()))


def in_other_words(line: Written) -> Iterator[Slip]:
    """Words that are joined otherwise, or that say what this language says in others."""
    yield from _compounds(line)
    yield from _phrases(line)


def at_the_start(line: Written) -> Iterator[Slip]:
    """A first word that starts nothing here, and what is misspelt."""
    yield from _first_words(line)
    yield from _misspelt(line)


# -- words of several parts ----------------------------------------------------------------------


def _squashed(text: str) -> str:
    return re.sub(r"[\s_-]", "", text).lower()


@cache
def _composed() -> dict[str, str]:
    """Every word of several parts, or of several forms, by its letters alone."""
    found = {"safepose": "safe pose", "stopbutton": "stop button", "ifbusy": "if busy"}
    for terminal in parser().terminals:
        for word in words_of(terminal.name):
            if len(_squashed(word)) >= 4 and word[0].isalnum():
                found[_squashed(word)] = word
    return found


def _compounds(line: Written) -> Iterator[Slip]:
    """`dead-band`, `forever`, `Li-Ion`, `double S`: the right letters, otherwise joined."""
    halt = line.halt
    if halt is None:
        return
    starts = [one.start() for one in re.finditer(r"(?<![\w-])[\w-]+", line.text[: line.code_end])]
    near = [at for at in starts if at <= halt.at][-4:] + [at for at in starts if at > halt.at][:1]
    for start in near:
        for count in (4, 3, 2, 1):
            found = re.compile(rf"\w[\w-]*(?: +[\w-]+){{{count - 1}}}(?![\w-])").match(
                line.text, start, line.code_end
            )
            if found is None or line.quoted(start):
                continue
            letters = _squashed(found[0])
            word = _composed().get(letters)
            if word is None and count == 2 and len(letters) >= 8 and letters.isalpha():
                close = nearest(letters, [key for key in _composed() if " " in _composed()[key]])
                word = None if close is None else _composed()[close]
            if word is None or word == found[0]:
                continue
            yield Slip(
                f"`{found[0]}` does not fit here",
                *found.span(),
                help=f"did you mean `{word}`?",
                edits=((*found.span(), word),),
            )


def _phrases(line: Written) -> Iterator[Slip]:
    for pattern, instead in _PHRASES:
        for found in pattern.finditer(line.text, 0, line.code_end):
            if line.quoted(found.start()) or instead == found[0]:
                continue
            fits = any(
                instead == one or instead.startswith(f"{one} ") or one.startswith(instead)
                for one in line.due_at(found.start())
            )
            if not fits and instead not in _ANYWHERE:
                continue
            yield Slip(
                f"`{found[0]}` does not fit here",
                *found.span(),
                help=f"did you mean `{instead}`?",
                edits=((*found.span(), instead),),
            )


# -- first words and misspellings ------------------------------------------------------------------


_ON_A_PIN: Final = ("servo", "lamp", "strip", "switch", "channel", "sensor")
_NO_KIND: Final = re.compile(r"([^\W\d]\w*) *: *[^\W\d]\w* +pin\b")


def _kindless(line: Written, text: str, table: Mapping[str, tuple[str, ...]]) -> Iterator[Slip]:
    """`stick: hub pin PL0`: the name may tell the kind, as a stick is a channel."""
    name = text.partition(":")[0].rstrip()
    if name in _starts(None):
        return
    kinds = [kind for kind in table.get(name.lower(), ()) if kind in _ON_A_PIN]
    message = f"the line does not say what `{name}` is: its kind comes before its name"
    for kind in kinds:
        made = f"{kind} {text.rstrip()}"
        edits = ((0, 0, f"{kind} "),)
        yield Slip(message, 0, len(name), help=f"write `{made}`", edits=edits, certain=True)
    if not kinds:
        known = ", ".join(_ON_A_PIN[:-1])
        help_ = f"what is on a pin is a {known} or {_ON_A_PIN[-1]}"
        yield Slip(message, 0, len(name), help=help_, certain=True)


def _first_words(line: Written) -> Iterator[Slip]:
    table = _FIRST.get("pose" if line.around.head == "safe" else line.around.head)
    if table is None:
        return
    text = line.text[: line.code_end]
    if line.around.head is None and _NO_KIND.match(text):
        yield from _kindless(line, text, table)
        return
    for size in (4, 3, 2, 1):
        found = re.match(rf"\S+(?: +\S+){{{size - 1}}}", text)
        if found is None:
            continue
        said = re.match(r"(.+?)[:({]*$", found[0])
        written = found[0] if said is None else said[1]
        for instead in table.get(written.lower(), ()):
            if instead.startswith(f"{written} ") and text[len(written) :].split()[:1] == [
                instead.split()[1]
            ]:
                continue
            end = found.start() + len(written)
            gap = len(text[end:]) - len(text[end:].lstrip())
            edits = ((0, end + gap, ""),) if not instead else ((0, end, instead),)
            yield Slip(
                f"`{written}` does not start a statement",
                0,
                end,
                help=_HINTS.get(instead, f"did you mean `{instead}`?")
                if line.around.head == "cue"
                else f"did you mean `{instead}`?",
                edits=edits,
                certain=bool(instead),
            )
    if line.around.head is None:
        found = re.match(r"([^\W\d]\w*) *(?::?=|[,:](?= *-?[0-9#(]))", text)
        if found is not None and found[1] not in _starts(None):
            yield Slip(
                "a constant starts with `given`",
                *found.span(1),
                help=f"write `given {found[1]} = {text[found.end() :].strip()}`",
                edits=((0, found.end(), f"given {found[1]} ="),),
            )


@cache
def _starts(head: str | None) -> frozenset[str]:
    """Words that can start a line there."""
    halt = Written("?", Surroundings(head, False)).halt
    return frozenset() if halt is None else frozenset(w for t in halt.due for w in words_of(t))


def _misspelt(line: Written) -> Iterator[Slip]:
    """A word near one that could stand here, or near one that could start the line."""
    halt = line.halt
    if halt is None:
        return
    word = line.word_at(halt.at)
    fitting = {one for name in halt.due for one in words_of(name) if one.isalpha()}
    if word.isidentifier():
        near = nearest(word, fitting)
        if near is not None and near != word:
            yield _near(word, near, halt.at, "does not fit here")
    first = WORD.match(line.text)
    head = "" if first is None else first[0]
    if not head.isidentifier():
        return
    starts = {one for one in _starts(line.around.head) if one.isalpha()}
    near = nearest(head, starts)
    if near is not None and near != head:
        yield _near(head, near, 0, "does not start a statement" if halt.at else "does not fit here")
    yield from _run_together(line)
    glued = re.match(r"([A-Za-z]+)([0-9]+)\b", line.text)
    if glued is not None and glued[1] in starts:
        yield Slip(
            f"`{glued[0]}` is read as one word",
            *glued.span(),
            help=f"write `{glued[1]} {glued[2]}`",
            edits=((*glued.span(), f"{glued[1]} {glued[2]}"),),
        )


_BEFORE_NUMBERS: Final = re.compile(r"\b(to|in|at|every|of|by|from|hold|pin)(-?[0-9][\w.]*)")
_AFTER_NAMES: Final = ("to", "fade", "cut", "and", "on", "off")


def _run_together(line: Written) -> Iterator[Slip]:
    """`to30 deg in900 ms`, `jawto 30 deg`: a space that was not struck."""
    known = line.around.every_name
    found = [one for one in _BEFORE_NUMBERS.finditer(line.text) if one[0] not in known]
    if found:
        yield Slip(
            f"`{found[0][0]}` is read as one word",
            *found[0].span(),
            help=f"write `{found[0][1]} {found[0][2]}`",
            edits=tuple((*one.span(), f"{one[1]} {one[2]}") for one in found),
            certain=True,
        )
    for word in re.finditer(r"[^\W\d]\w*", line.text[: line.code_end]):
        for tail in _AFTER_NAMES:
            name = word[0].removesuffix(tail)
            if word[0] not in known and name != word[0] and name in known:
                yield Slip(
                    f"`{word[0]}` is read as one word",
                    *word.span(),
                    help=f"write `{name} {tail}`",
                    edits=((*word.span(), f"{name} {tail}"),),
                )


def _near(word: str, near: str, start: int, how: str) -> Slip:
    return Slip(
        f"`{word}` {how}",
        start,
        start + len(word),
        help=f"did you mean `{near}`?",
        edits=((start, start + len(word), near),),
    )
