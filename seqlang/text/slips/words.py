"""Words of other languages, words in other forms, and names where they cannot stand."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Final

from seqlang.text.grammar import parser
from seqlang.text.names import nearest
from seqlang.text.slips.written import WORD, Slip, Written
from seqlang.text.tokens import words_of

if TYPE_CHECKING:
    from collections.abc import Iterator

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
        **dict.fromkeys(("gesture", "animation", "move", "track"), ("cue",)),
        **dict.fromkeys(("title", "name", "project"), ("show",)),
        **dict.fromkeys(("let", "const", "var", "define", "set", "#define", "int"), ("given",)),
        **dict.fromkeys(("person", "costume", "performer", "body", "user"), ("wearer",)),
        **dict.fromkeys(("controller", "buttons", "receiver", "keys", "inputs"), ("remote",)),
        **dict.fromkeys(("use", "uses", "schedule"), ("usage",)),
        **dict.fromkeys(("position", "posture", "preset"), ("pose",)),
        **dict.fromkeys(("battery", "psu", "power", "source"), ("supply",)),
        **dict.fromkeys(("mcu", "chip", "micro"), ("board",)),
        **dict.fromkeys(("button", "key"), ("input",)),
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
            ("call", "run", "do", "go", "start", "cue", "trigger", "execute", "goto"),
            ("play", "pose", "repeat"),
        ),
        **dict.fromkeys(("go to", "goto", "assume", "take", "pose to", "position"), ("pose",)),
        **dict.fromkeys(
            ("parallel", "simultaneously", "both", "all", "concurrently"), ("together",)
        ),
        **dict.fromkeys(
            ("at once", "at the same time", "in parallel", "all together", "meanwhile"),
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
    },
    "supply": {
        **dict.fromkeys(("battery", "cells", "pack", "power", "input"), ("source",)),
        **dict.fromkeys(("adapter", "psu", "usb"), ("source adapter",)),
        **dict.fromkeys(("bec", "ubec", "converter", "buck", "dcdc", "output"), ("regulator",)),
        **dict.fromkeys(("breaker",), ("fuse",)),
    },
    "board": {
        **dict.fromkeys(("supply", "power", "powered", "from", "fed", "wire", "cable"), ("feed",)),
    },
    "lamp": {
        **dict.fromkeys(("tint", "hue"), ("colour",)),
        **dict.fromkeys(("count", "bulbs"), ("leds",)),
    },
    "strip": {
        **dict.fromkeys(("leds", "count", "length"), ("pixels",)),
        **dict.fromkeys(("limit", "max", "maximum"), ("cap",)),
    },
    "switch": {
        **dict.fromkeys(("current", "load", "takes", "uses"), ("draws",)),
        **dict.fromkeys(("level", "logic", "on"), ("active",)),
    },
    "remote": {
        **dict.fromkeys(("key", "btn", "channel", "switch", "input", "on button"), ("button",)),
        **dict.fromkeys(("silent", "silence", "timeout", "failsafe", "signal lost"), ("lost",)),
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
        (r"(?:half|part) of", "50 %"),
        (r"fade out", "fade to off"),
        (r"(?:ease|eases?)[- ]?(?:in[- ]?(?:out)?|out)", "3-4-5"),
        (r"(?:s-?curve|smooth)", "3-4-5"),
        (r"linear(?:ly)?", "uniform"),
        (r"(?:sine|sinus|sinusoidal|cosine)", "harmonic"),
        (r"(?:set|jump|snap|go|goes|change) to", "cut to"),
        (r"(?:dim|dims|brighten|fade[sd]|ramp) to", "fade to"),
        (r"(?:high|true|yes)", "on"),
        (r"(?:low|false|no)", "off"),
        (r"(?:lo|negative)", "low"),
        (r"(?:hi|positive)", "high"),
        (r"(?:eff|eff\.|eta)", "efficiency"),
        (r"(?:drop|headroom)", "dropout"),
        (r"(?:flicker|candle|fire)", "ember"),
        (r"(?:pulse|pulsate|throb)", "breathe"),
        (r"(?:twinkle|glitter)", "sparkle"),
        (r"(?:chase|scan)", "run"),
        (r"(?:adaptor|psu|usb|mains|charger)", "adapter"),
        (r"(?:18650|21700|14500|26650)", "li-ion"),
        (r"(?:pull-?up)", "active low"),
    )
)
"""Ways to say it elsewhere, anywhere in a line."""

_LATER: Final = frozenset({"3-4-5", "uniform", "harmonic", "50 %", "1"})
"""What one of several things might have been meant by: said, but not changed unasked."""

_FUSES: Final = re.compile(r"(?<=A)(?: *, *| +)(T|F|M)\s*$")
_CELLS: Final = re.compile(
    r"([1-9][0-9]?) *[sS](?: *([1-9][0-9]?) *[pP])? +"
    r"(li-?ion|lipo|li-?po|lifepo4|nimh|alkaline)(?: +cells?)?",
    re.IGNORECASE,
)
_CELLS_LATER: Final = re.compile(
    r"(li-?ion|lipo|li-?po|lifepo4|nimh|alkaline) +([1-9][0-9]?)(?:[sS]| +cells?)"
    r"|([1-9][0-9]?) +cells? +(li-?ion|lipo|li-?po|lifepo4|nimh|alkaline)",
    re.IGNORECASE,
)
_KINDS: Final = {
    "liion": "li-ion",
    "lipo": "lipo",
    "lifepo4": "lifepo4",
    "nimh": "nimh",
    "alkaline": "alkaline",
}
_NAME: Final = re.compile(r"[^\W\d]\w*")
_HYPHENED: Final = re.compile(r"(?<![\w.-])([^\W\d]\w*)(?:-[^\W\d]\w*)+(?![\w-])")
_PAIR: Final = re.compile(r"(?<![\w-])([^\W\d]\w*) +([^\W\d]\w*)(?![\w-])")


def slips(line: Written) -> Iterator[Slip]:
    yield from _said(line)
    yield from _cells(line)
    yield from _fuse(line)
    yield from _compounds(line)
    yield from _phrases(line)
    yield from _bare_names(line)
    yield from _swapped(line)
    yield from _hyphens(line)
    yield from _pairs(line)
    yield from _first_words(line)
    yield from _misspelt(line)


def _said(line: Written) -> Iterator[Slip]:
    """What can only be explained: nobody but the maker knows what it shall be."""
    text = line.text[: line.code_end]
    for head, pattern, message, hint in _ONLY_SAID:
        if head != "*" and head != (line.around.head or ""):
            continue
        found = re.search(pattern, text)
        if found is not None and not line.quoted(found.start()):
            yield Slip(message.format(*found.groups()), *found.span(), help=hint, certain=True)
    found = re.match(r"([^\W\d]\w*)\b", text)
    switches = line.around.names.get("switch", frozenset())
    if line.around.head == "cue" and found is not None and found[1] in switches:
        moved = re.match(r"[^\W\d]\w* +(?:to|fade|cut)\b.*[0-9]", text)
        if moved is not None:
            yield Slip(
                f"`{found[1]}` is a switch: it is only on or off",
                *moved.span(),
                help=f"write `{found[1]} on` or `{found[1]} off`",
                certain=True,
            )


_ONLY_SAID: Final = (
    (
        "*",
        r"^([^\W\d]\w*\.\w+ *\()",
        "`{0}` calls something: this language has no calls",
        "a move is written `jaw to 30 deg in 1 s`, a pause `hold 1 s`",
    ),
    (
        "cue",
        r"^(if|else|elif|unless|when|switch|case|print|return|break|import|var)\b"
        r"(?! *\w+ *(?:on|off)$)",
        "`{0}` is of another language: a cue does its lines from top to bottom",
        "what starts a cue stands below `remote`: `button 1: go lure`",
    ),
    (
        "cue",
        r"^[^\W\d]\w* +(by) +[-0-9.]+",
        "a move names the place it goes to, not how far it goes",
        "such as `jaw to 30 deg in 1 s`",
    ),
    (
        "supply",
        r"^fuse +[0-9.]+ *A *,? *(slow|fast|quick|lag)\b",
        "`{0}` does not say by which standard the fuse is made",
        "`UL slow` and `UL fast` (UL 248-14), `IEC slow` and `IEC fast` (IEC 60127, marked T and "
        "F), or `blade`: it is printed on the fuse",
    ),
    (
        "servo",
        r"^gear +([0-9.]+) *[:/] *([0-9.]+)",
        "a gear's ratio is one number, not `{0}:{1}`",
        "how many degrees the horn turns for one of the part: `gear 2`, or `gear 0.5`",
    ),
    (
        "",
        r"^(?:servo|lamp|strip|switch|cue|pose|safe +pose|supply|board|given) +([0-9]\w*)",
        "`{0}` is no name: a name starts with a letter or `_`",
        "such as `wing_1`",
    ),
    (
        "*",
        r"(?<![\w.])([0-9]+(?:\.[0-9]+){{2,}})(?![\w.])".replace("{{", "{").replace("}}", "}"),
        "`{0}` is no number",
        "a number has one point",
    ),
)


def _cells(line: Written) -> Iterator[Slip]:
    """`2S lipo`, `2S2P li-ion`, `li-ion 2 cells`."""
    found = _CELLS.search(line.text, 0, line.code_end)
    if found is not None:
        kind = _KINDS[found[3].lower().replace("-", "")]
        rows = f" in {found[2]} rows" if found[2] else ""
        instead = f"{found[1]} {kind} cells{rows}"
    else:
        found = _CELLS_LATER.search(line.text, 0, line.code_end)
        if found is None:
            return
        count = found[2] or found[3]
        kind = _KINDS[(found[1] or found[4]).lower().replace("-", "")]
        instead = f"{count} {kind} cells"
    yield Slip(
        "the cells of a pack are counted in words",
        *found.span(),
        help=f"write `{instead}`",
        edits=((*found.span(), instead),),
        certain=True,
    )


def _fuse(line: Written) -> Iterator[Slip]:
    """The letters on a cartridge (IEC 60127-1: F quick-acting, T time-lag)."""
    found = _FUSES.search(line.text, 0, line.code_end)
    if found is None or not line.text.startswith("fuse") or found[1] == "M":
        return
    instead = ", IEC slow" if found[1] == "T" else ", IEC fast"
    yield Slip(
        f"the `{found[1]}` of a cartridge is written in words",
        *found.span(1),
        help=f"write `{instead[2:]}`",
        edits=((*found.span(), instead),),
        certain=True,
    )


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


def _hyphens(line: Written) -> Iterator[Slip]:
    """`left-wing` for `left_wing`."""
    for found in _HYPHENED.finditer(line.text, 0, line.code_end):
        if line.quoted(found.start()):
            continue
        instead = found[0].replace("-", "_")
        yield Slip(
            f"`{found[0]}` is no name: names are letters, digits and `_`",
            *found.span(),
            help=f"such as `{instead}`",
            edits=((*found.span(), instead),),
        )


def _phrases(line: Written) -> Iterator[Slip]:
    for pattern, instead in _PHRASES:
        for found in pattern.finditer(line.text, 0, line.code_end):
            if line.quoted(found.start()) or instead == found[0]:
                continue
            hint = f"did you mean `{instead}`?"
            fitting = line.due_at(found.start())
            if instead in _LATER or not any(
                instead == one or instead.startswith(f"{one} ") or one.startswith(instead)
                for one in fitting
            ):
                if not instead[0].isdigit() and instead not in ("li-ion", "adapter"):
                    continue
                if instead in _LATER:
                    continue
            yield Slip(
                f"`{found[0]}` does not fit here",
                *found.span(),
                help=hint,
                edits=((*found.span(), instead),),
            )


# -- names ---------------------------------------------------------------------------------------


def _bare_names(line: Written) -> Iterator[Slip]:
    """A cue's or a pose's name where a statement should be."""
    if line.around.head != "cue":
        return
    cues, poses = (line.around.names.get(kind, frozenset()) for kind in ("cue", "pose"))
    text = line.text[: line.code_end].rstrip()
    found = re.match(
        r"(?:(?:call|run|do|go|start|play|cue|trigger)(?: +cue)? +)?([^\W\d]\w*) *(?:\( *\))?$",
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


_LOOPS: Final = "what repeats is written `repeat 3 times`, `repeat for ever` or `repeat while held`"
_PAUSES: Final = "a pause is written `hold 1 s`"
_HINTS: Final = {
    "repeat": _LOOPS,
    "repeat for ever": _LOOPS,
    "hold": _PAUSES,
    "": "a move is written `jaw to 30 deg in 1 s`",
}


def _swapped(line: Written) -> Iterator[Slip]:
    """`fade lure to 60 %`, `turn on fan`, `breathe lure every 4 s`, `button 2: stop`."""
    text = line.text[: line.code_end]
    for pattern, instead, what in (
        (r"(?:[0-9]+[.)]|[-*\u2022]) +(.+)", r"\1", "lines have no numbers and no bullets"),
        (r"while *\(? *(?:true|1) *\)?", "repeat for ever", _LOOPS),
        (
            r"for\b.*\brange *\( *([0-9]+) *\)",
            r"repeat \1 times",
            _LOOPS,
        ),
        (r"for *\(.*<=? *([0-9]+) *;.*\)", r"repeat \1 times", _LOOPS),
        (r"([0-9]+) *(?:x|times)$", r"repeat \1 times", _LOOPS),
        (r"repeat +x *([0-9]+)$", r"repeat \1 times", "how often stands behind `repeat`"),
        (
            r"(?:delay|wait|sleep|pause) *\( *([0-9]+) *\)",
            r"hold \1 ms",
            _PAUSES,
        ),
        (
            r"(?:delay|wait|sleep|pause) *\( *([0-9.]+ *[a-z]+) *\)",
            r"hold \1",
            _PAUSES,
        ),
        (r"source +([0-9.]+ *V *,.*)", r"source adapter \1", "a plug-in supply is an adapter"),
        (r"leds +([0-9.]+ *V.*)", r"leds 1 of \1", "how many LEDs comes first"),
        (r"show +([^\"'#:]+)$", r'show "\1"', "a title stands in quotes"),
        (
            r"(cue +[^\W\d]\w*) +([^\"',#:(]+ [^\"',#:(]+ [^\"',#:(]+)$",
            r'\1 "\2"',
            "a title stands in quotes",
        ),
        (
            r"([^\W\d]\w*) +(?:to|is|goes|set) +(on|off)$",
            r"\1 \2",
            "an output is just `on` or `off`",
        ),
        (r"([^\W\d]\w*) *=? *1$", r"\1 on", "an output is `on` or `off`"),
        (r"([^\W\d]\w*) *=? *0$", r"\1 off", "an output is `on` or `off`"),
        (r"([^\W\d]\w*) +(?:to|at) +([0-9.]+ *%)$", r"\1 cut to \2", "a light fades, or is cut"),
        (r"([^\W\d]\w*) +to +([^,]+%.*)", r"\1 fade to \2", "a light fades"),
        (r"(.+\bfade) +from +[-0-9.]+ *%? +to\b", r"\1 to", "a fade starts where the light is"),
        (r"(.+), *((?:in|at|within) .+|as fast .+)", r"\1 \2", "no comma stands before the pace"),
        (r"(.+[0-9]) */ *h(?:r|our)?$", r"\1 per hour", "how often is counted per hour"),
        (
            r"button +([0-9]+) *: *go +([^\W\d]\w*) +(?:while|when|as long as|if) .+",
            r"button \1: go \2 while held",
            "a held button is `while held`",
        ),
        (r"(fade|cut) +([^\W\d]\w*) +to\b", r"\2 \1 to", "the light stands first"),
        (r"(?:turn|switch) +(on|off) +([^\W\d]\w*)", r"\2 \1", "the output stands first"),
        (r"(on|off) +([^\W\d]\w*)$", r"\2 \1", "the output stands first"),
        (r"(steady|breathe|ember|sparkle|run) +([^\W\d]\w*)\b", r"\2 \1", "the light stands first"),
        (
            r"([^\W\d]\w*) +in +([\w.]+ *[a-z]*) +to +(.+)",
            r"\1 to \3 in \2",
            "the target stands first",
        ),
        (
            r"in +([\w.]+ *[a-z]+) +([^\W\d]\w*) +to +(.+)",
            r"\2 to \3 in \1",
            "the output stands first",
        ),
        (
            r"button +([0-9]+) *:? *(?:go +)?stop$",
            r"stop button \1",
            "the words of a stop button stand in the other order",
        ),
        (r"pose +safe +([^\W\d]\w*)", r"safe pose \1", "`safe` stands before `pose`"),
        (r"([0-9]+) +([^\W\d]\w*) +per +hour", r"\2 \1 per hour", "the cue stands first"),
        (r"(near|from|of) +AWG +([0-9]+)", r"\1 \2 AWG", "the number stands first"),
        (r"(.*\bof) +AWG *([0-9]+)", r"\1 \2 AWG", "the number stands before its unit"),
        (r"rating +(?:at +)?([0-9.]+ *V) *:? *(.+)", r"rating \2 at \1", "the voltage stands last"),
        (
            r"fuse +(blade|UL +fast|UL +slow|IEC +fast|IEC +slow) +(.+)",
            r"fuse \2, \1",
            "the kind stands last",
        ),
        (
            r"([^\W\d]\w*) +(?:from +)?[-0-9.]+ *deg +to\b",
            r"\1 to",
            "a move starts where the part is",
        ),
    ):
        found = re.compile(pattern).match(text)
        if found is None:
            continue
        made = found.expand(instead)
        if what in (_LOOPS, _PAUSES):
            first = re.match(r"\S+?(?=[\s(]|$)", text)
            said = "" if first is None else first[0]
            yield Slip(
                f"`{said}` starts no statement",
                0,
                len(said),
                help=what,
                edits=((*found.span(), made),),
                whole=True,
            )
            continue
        yield Slip(
            what,
            found.start(),
            found.end(),
            help=f"write `{made}`",
            edits=((*found.span(), made),),
        )


# -- first words and misspellings ------------------------------------------------------------------


def _first_words(line: Written) -> Iterator[Slip]:
    table = _FIRST.get("pose" if line.around.head == "safe" else line.around.head)
    if table is None:
        return
    text = line.text[: line.code_end]
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
                f"`{written}` starts no statement",
                0,
                end,
                help=_HINTS.get(instead, f"did you mean `{instead}`?")
                if line.around.head == "cue"
                else f"did you mean `{instead}`?",
                edits=edits,
                certain=bool(instead),
            )
    if line.around.head is None:
        found = re.match(r"([^\W\d]\w*) *:?=", text)
        if found is not None and found[1] not in _starts(None):
            yield Slip(
                "a constant starts with `given`",
                *found.span(1),
                help=f"write `given {text.strip()}`",
                edits=((0, found.end(), f"given {found[1]} ="),),
            )


@cache
def _starts(head: str | None) -> frozenset[str]:
    """Words that can start a line there."""
    from seqlang.text.slips.written import Surroundings

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
    glued = re.match(r"([A-Za-z]+)([0-9]+)\b", line.text)
    if glued is not None and glued[1] in starts:
        yield Slip(
            f"`{glued[0]}` is read as one word",
            *glued.span(),
            help=f"write `{glued[1]} {glued[2]}`",
            edits=((*glued.span(), f"{glued[1]} {glued[2]}"),),
        )


def _near(word: str, near: str, start: int, how: str) -> Slip:
    return Slip(
        f"`{word}` {how}",
        start,
        start + len(word),
        help=f"did you mean `{near}`?",
        edits=((start, start + len(word), near),),
    )
