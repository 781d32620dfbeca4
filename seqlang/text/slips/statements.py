"""Whole statements: in another order, or as other languages have them."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import PIN, Slip
from seqlang.text.tokens import literals

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

LOOPS: Final = "what repeats is written `repeat 3 times`, `repeat for ever` or `repeat while held`"
PAUSES: Final = "a pause is written `hold 1 s`"
CALLS: Final = "this language has no calls"
_ONLY_SAID: Final = (
    (
        "*",
        r"^([^\W\d]\w*\.(?!(?:on|off) *\( *\))\w+ *\()",
        "`{0}` looks like a call, and this language has no calls",
        "a move is written `jaw to 30 deg in 1 s`, a pause `hold 1 s`",
    ),
    (
        "cue",
        r"^(if|else|elif|unless|when|switch|case|print|return|break|import|var)\b"
        r"(?! *\w+ *(?:on|off)$)(?!.*\b(?:let *go|releas|up\b))",
        "`{0}` is of another language: a cue does its lines from top to bottom",
        "what starts a cue is written below `remote`: `button 1: go lure`",
    ),
    (
        "remote",
        r"^(if|case|when|switch)\b(?! +(?:the +)?(?:low +)?(?:battery|voltage|pack|cell))",
        "`{0}` is of another language: a remote's line names a button and what it starts",
        "such as `button 1: go lure`",
    ),
    (
        "cue",
        r"^(?!(?:stagger|repeat|hold|every|in) )[^\W\d]\w* +(by) +[-0-9.]+",
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
        r"^(?:servo|lamp|strip|switch|channel|sensor|cue|gesture|pose|safe +pose|supply|board"
        r"|given) +([0-9]\w*)",
        "`{0}` is not a name: a name starts with a letter or `_`",
        "such as `wing_1`",
    ),
    (
        "board",
        r"^(leads)\b",
        "`leads` stands on the board's own line",
        "behind its address, such as `address 1, leads`",
    ),
    (
        "remote",
        r"^(idle)\b",
        "`idle` does not stand below `remote`",
        "write it at the left margin, such as `idle: go breathe`",
    ),
    (
        "remote",
        r"^button +[0-9]+ *(?:,|&|\+|and|or) *[0-9]+",
        "a line names one button",
        "write one line for each button",
    ),
    (
        "channel",
        r"^button +[0-9]+ *: *(go\b.*)",
        "what a button starts is written below `remote`",
        "its band is written here, such as `button 1 from 1700 us to 2100 us`",
    ),
    (
        "remote",
        r"\bgo +[^\W\d]\w* +(or)\b",
        "a button cannot choose by chance",
        "`go next of` starts the next cue of a list at each press; `one of` chooses in a strand of "
        "idle",
    ),
    (
        "cue",
        r"^([0-9.]+ *%) *[:,]? *(?:[^\W\d]\w* +(?:to|fade|cut|on|off)\b|hold\b|play\b|pose\b)",
        "a statement cannot have a chance in percent",
        "each thing below `one of` comes equally often; one that is written there twice comes "
        "twice as often",
    ),
    (
        "",
        r"^input +[0-9]+ *: *(pin)\b",
        "an input needs its board before its pin",
        "such as `input 5: box pin PC0`",
    ),
    (
        "remote",
        r"\bgo +(?:(?:one|any) +of|random(?:ly)?(?: +of)?)(?= +[^\W\d]\w* *,)",
        "a button cannot choose by chance",
        "`go next of` starts the next cue of a list at each press; `one of` chooses in a strand of "
        "idle",
    ),
    (
        "cue",
        r"^(hold|.+ (?:in|to)) +[0-9.]+ *(?:%|[a-z]+) +or +[0-9.]+ *(?:%|[a-z]+)",
        "`or` chooses nothing",
        "in a strand of idle, `one of` chooses one of the statements below it",
    ),
    (
        "",
        r"^(?:servo|lamp|strip|switch) +[^\W\d]\w* *: *[^\W\d]\w* +pins? +\(?"
        rf"({PIN}(?:(?: *(?:[,/&+;-]|\.\.+) *| +(?:(?:and|to|or) +)?){PIN})+)",
        "`{0}` is more than one pin",
        "below `row of N`, or a mirrored side, several are written in brackets: `pin (PD3, PD5)`",
    ),
    (
        "*",
        r"(?<![\w.])([0-9]+(?:\.[0-9]+){2,})(?![\w.])",
        "`{0}` is not a number",
        "a number has one point",
    ),
)
"""What a line stands in (`*`: anything), what it looks like, what is wrong, and what helps."""

_STRANDS: Final = (
    "`idle` names its cues with commas between them; the time of the way back may follow"
)


def _idle(found: re.Match[str]) -> str:
    """The line of idle with the cues and the time that a line names."""
    names = re.findall(r"[^\W\d]\w*", found[1])
    back = ("back", "return", "returns", "glide") if found.re.groups > 1 else ()
    cues = [name for name in names if name not in ("go", "play", "run", "do", "and", *back)]
    return f"idle: go {', '.join(cues)}" + (f", back in {found[2]}" if back else "")


BREATHS: Final = "a held part breathes by an angle: `hold 8 s, jaw breathing 2 deg every 4 s`"
_SWING: Final = r"(?:anticipation|overshoot)(?: +[0-9.]+ *%)?"
_REARRANGED: Final = tuple(
    (re.compile(pattern), instead, what)
    for pattern, instead, what in (
        (r"(?:[0-9]+[.):]|[-*\u2022]) +(.+)", r"\1", "lines have no numbers and no bullets"),
        (
            r"radio *(?:: *|at +|of +)?([0-9.]+ *k?baud),? +"
            r"(?:late|delay|delayed|latency|lag|lags)(?: +(?:by|of))? *([0-9.]+ *m?s)$",
            r"radio \1, late by \2",
            "`late by` comes after the rate, and says how late the radio is",
        ),
        (
            r"radio *(?:: *|at +|of +)?([0-9.]+ *k?baud),? +([0-9.]+ *m?s) +"
            r"(?:late|delay|latency|lag)$",
            r"radio \1, late by \2",
            "`late by` comes after the rate, and says how late the radio is",
        ),
        (
            r"(?:radio *(?:: *|at +|of +)|line +|baud +(?:rate +)?)([0-9.]+) *(k?)(?:baud)?$",
            r"radio \1 \2baud",
            "a radio in place of the cable between boards has its rate in baud",
        ),
        (
            rf"watch(?:es)?(?: +(?:the +)?battery)?(?: +(?:at|on))? *:? *(?:pin +)?({PIN}),? *"
            r"(?:(?:with|by|behind) +)?(?:a +)?divider *:? *(?:of +)?([0-9.]+ *[kM]?ohm) *"
            r"(?:over|/|and|to|,|:) *([0-9.]+ *[kM]?ohm)$",
            r"watch pin \1, divider \2 over \3",
            "a board watches its battery at a pin, one resistor of the divider over the other",
        ),
        (
            r"(watch\b.*), *warn(?:s|ing)? +(?:below|at|under) +([0-9.]+ *m?V), *(?:and +)?"
            r"(?:stop(?:s|ping)?|cuts?(?: +off)?) +(?:below|at|under) +([0-9.]+ *m?V)$",
            r"\1, warns below \2, stops below \3",
            "the limits of one cell are `warns below` and `stops below`",
        ),
        (
            r"(watch\b.*), *(warn|stop)(?:s|ing)? +(?:below|at|under) +([0-9.]+ *m?V)$",
            r"\1, \2s below \3",
            "the limits of one cell are `warns below` and `stops below`",
        ),
        (
            rf"answers?\b *(?:[:=,] *)?(?:(?:on|at|to|by) +)?(?:pin\b.*|{PIN}|yes|on|true|"
            r"(?:the +)?leader|back|over +.*|hub|1)$",
            "answers",
            "`answers` is a whole line: its pin is fixed by the chip",
        ),
        (
            r"one +of +(?:these|them|those|(?:the +)?following|[0-9]+)(?: +things)?$",
            "one of",
            "`one of` chooses among the statements below it, however many",
        ),
        (
            r"(board +[^\W\d]\w* *: *[^\W\d]\w*), *leads, *(address +[0-9]+)$",
            r"\1, \2, leads",
            "`leads` comes after the address",
        ),
        (
            r"(board\b.*\baddress +[0-9]+),? +(?:is +)?(?:the +)?(?:master|main|first|leads .+)$",
            r"\1, leads",
            "a board that tells the others what runs is `leads`, and nothing behind it",
        ),
        (
            r"(board\b.*\baddress +[0-9]+),? +(?:follow(?:s|er|ing)?|listens|secondary)"
            r"(?: +(?:to +)?[^\W\d]\w*)?$",
            r"\1",
            "a board needs no word to follow: it follows the board that `leads`",
        ),
        (
            r"(input +[0-9]+ *:.*), *(?:debounced?|filter(?:ed)?|bounces?)(?: +(?:for|by))? +"
            r"([0-9.]+ *[a-z]+)$",
            r"\1, settles \2",
            "how long a contact has to stand still is `settles`",
        ),
        (
            r"(button +[0-9]+) *:? *(?:at +|between +)?([0-9]+ *us) *(?:to|-|\.\.+|and) *"
            r"([0-9]+ *us)$",
            r"\1 from \2 to \3",
            "a band goes `from` one pulse `to` another",
        ),
        (
            r"(button +[0-9]+) +(?:from +)?(?:above|over|beyond|more +than|>=?|at +least) *"
            r"([0-9]+ *us)$",
            r"\1 from \2 to 2100 us",
            "a band has two ends",
        ),
        (
            r"(button +[0-9]+) +(?:from +)?(?:below|under|less +than|<=?|at +most|up +to|to) *"
            r"([0-9]+ *us)$",
            r"\1 from 900 us to \2",
            "a band has two ends",
        ),
        (
            r"(input +[0-9]+ *:[^,]*), *(settles +[^,]+), *(active +(?:low|high))$",
            r"\1, \3, \2",
            "`active` comes before `settles`",
        ),
        (
            r"(cue +[^\W\d]\w*(?: +\"[^\"]*\")?(?:, *if +busy +\w+)?) *[,(]? *"
            r"(?:random +|random +seed +|rand +|seed) *[:=]? *([0-9]+) *\)?$",
            r"\1, seed \2",
            "a seed comes after a comma, as `seed` and a number",
        ),
        (
            r"(cue +[^\W\d]\w*(?: +\"[^\"]*\")?)(, *seed +[0-9]+)"
            r"(, *if +busy +(?:take|wait|refuse))$",
            r"\1\3\2",
            "`if busy` comes before `seed`",
        ),
        (
            r"(cue +[^\W\d]\w*(?: +\"[^\"]*\")?)(, *as +far +as [^\"]*?)"
            r"((?:, *if +busy +(?:take|wait|refuse))?(?:, *seed +[0-9]+)?)$",
            r"\1\3\2",
            "`as far as` comes last in a cue's header",
        ),
        (
            r"(cue\b.*, *as +far +as +[^\W\d]\w* +from .*), *"
            r"(?:(?:or|if|when) +)?(?:otherwise|lost|default|beyond|else)(?: +to)? *[:=]? *"
            r"([0-9.]+ *%)$",
            r"\1, else \2",
            "how far a cue goes without its source stands behind `else`",
        ),
        (
            r"(cue\b[^,]*?(?:, *if +busy +\w+)?(?:, *seed +[0-9]+)?) *,? *"
            r"(?:as +(?:far|much|deep|big|wide) +as|as +far|scaled?(?: +(?:by|with|to))?|by)"
            r" +(?:the +)?([^\W\d]\w*) +(?:from +)?([0-9.]+ *(?:%|[mu]s) +to +.*)$",
            r"\1, as far as \2 from \3",
            "what says how far a cue goes stands behind `as far as`",
        ),
        (
            r"(button +[0-9]+ +twice) +[0-9.]+ *m?s *:(.*)",
            r"\1:\2",
            "`twice` has no time: both presses come within 400 ms",
        ),
        (
            r"long(?: +press)?(?: +(?:of|on))? +(button +[0-9]+) *:(.*)",
            r"\1 long:\2",
            "the kind of press comes after the button's number",
        ),
        (
            r"(?:double(?: +(?:press|click))?|twice)(?: +(?:of|on))? +(button +[0-9]+) *:(.*)",
            r"\1 twice:\2",
            "the kind of press comes after the button's number",
        ),
        (
            r"row +(?:[^\W\d]\w* +)?of +([0-9]+)(?: +[^\W\d]\w*)?$",
            r"row of \1",
            "`row` says how many things are in it, and they are named below it",
        ),
        (r"while *\(? *(?:true|1) *\)?", "repeat for ever", LOOPS),
        (
            r"for\b.*\brange *\( *([0-9]+) *\)",
            r"repeat \1 times",
            LOOPS,
        ),
        (r"for *\(.*<=? *([0-9]+) *;.*\)", r"repeat \1 times", LOOPS),
        (r"([0-9]+) *(?:x|times)$", r"repeat \1 times", LOOPS),
        (
            r"repeat +(?:[*x] *|for +)([0-9]+) *(?:x|times?)?$",
            r"repeat \1 times",
            "`repeat` comes before how often",
        ),
        (
            r"(?:repeat|loop) +(?:for +)?([0-9]+) +(?:loops?|cycles?|rounds?|rep(?:eat)?s?)$",
            r"repeat \1 times",
            "`repeat` comes before how often",
        ),
        (
            r"(?:(?:when|on|if|after|upon|once|at|until)(?: +(?:the +)?(?:button|key|it))?"
            r"(?: +(?:is|was|goes))? +)?(?:let *go(?: +of)?|released?|releasing|up|button[ -]*up"
            r"|key[ -]*up)(?: +(?:the +)?button)?:?$",
            "when let go",
            "what is done when the button is let go stands below `when let go`",
        ),
        (
            r"idle *:? *(?:=|-)? *((?:(?:(?:go|play|run|do) +)?[^\W\d]\w*(?: *[,;|+&] *| +and +))*"
            r"(?:(?:go|play|run|do) +)?[^\W\d]\w*) *(?:[,;]| and)? *(?:and +)?(?:go(?:es)? +)?"
            r"(?:(?:back|return|glide|fade back|come back|returns)(?: +(?:to +it|back))?"
            r"(?: +(?:in|after|within|at|over|for|takes))?|in|over) +([0-9.]+ *[a-z]+)$",
            _idle,
            _STRANDS,
        ),
        (
            r"idle *:? *(?:=|-)? *(?=.*\b(?:go|play|run|do)\b.*[,;|+&]|.* and )"
            r"((?:(?:(?:go|play|run|do) +)?[^\W\d]\w*(?: *[,;|+&] *| +and +))+"
            r"(?:(?:go|play|run|do) +)?[^\W\d]\w*)$",
            _idle,
            _STRANDS,
        ),
        (
            r"(?:delay|wait|sleep|pause|hold)(?:_?ms)? *\( *([0-9]+) *\)",
            r"hold \1 ms",
            PAUSES,
        ),
        (
            r"(?:delay|wait|sleep|pause|hold)_?(us|s) *\( *([0-9.]+) *\)",
            r"hold \2 \1",
            PAUSES,
        ),
        (r"usleep *\( *([0-9]+) *\)", r"hold \1 us", PAUSES),
        (r"([^\W\d]\w*)\.(on|off) *\( *\)", r"\1 \2", CALLS),
        (r"[^\W\d]\w* *\( *([^\W\d]\w*) *, *(?:HIGH|high|on|true|1) *\)", r"\1 on", CALLS),
        (r"[^\W\d]\w* *\( *([^\W\d]\w*) *, *(?:LOW|low|off|false|0) *\)", r"\1 off", CALLS),
        (
            r"[^\W\d]\w* *\( *([^\W\d]\w*) *, *(-?[0-9.]+ *[a-z]*) *, *([0-9.]+ *[a-z]*) *\)",
            r"\1 to \2 in \3",
            CALLS,
        ),
        (
            r"([^\W\d]\w*) *(?:->|=>|=|:) *(-?[0-9.]+ *(?:deg|rad|mm|cm|rpm)) *,? *"
            r"([0-9.]+ *(?:ms|s|min))\b",
            r"\1 to \2 in \3",
            "a move is the part, `to` its target, `in` its time",
        ),
        (
            r"(?:(?:static|const|constexpr|final|unsigned|int|float|double|long|auto|var|let|val"
            r"|u?int(?:8|16|32)_t)\b *){2,}([^\W\d]\w*) *:?= *([-0-9(#].*)",
            r"given \1 = \2",
            "a constant starts with `given`",
        ),
        (
            r"(?:(?:const|static|char|string|str|auto|var|let)\b *\*? *)*title *= *(\"[^\"]*\")",
            r"show \1",
            "the title of a show comes after `show`",
        ),
        (
            r"(?:delay|wait|sleep|pause) *\( *([0-9.]+ *[a-z]+) *\)",
            r"hold \1",
            PAUSES,
        ),
        (r"source +([0-9.]+ *V *,.*)", r"source adapter \1", "a plug-in supply is an adapter"),
        (
            rf"(.*?)((?:, *{_SWING})+)(, *(?!{_SWING})[\w %./,-]+)$",
            r"\1\3\2",
            "the law comes before `anticipation` and `overshoot`",
        ),
        (
            rf"(.*?)((?:,? +{_SWING})+),? +(in +[0-9][\w. ]*)",
            r"\1 \3\2",
            "`anticipation` and `overshoot` come after the time",
        ),
        (
            r"(.*?), *([0-9.]+ *%) +(?:of +)?(anticipation|overshoot)",
            r"\1, \3 \2",
            "the share comes after its word",
        ),
        (
            r"(hold +[^,]*?),? +breath(?:e|es|ing) +([^\W\d]\w*),? +(-?[0-9].*)",
            r"\1, \2 breathing \3",
            BREATHS,
        ),
        (
            r"(hold +[0-9.]+ *[a-z]+),? +([^\W\d]\w*(?: +and +[^\W\d]\w*)*) +"
            r"breath(?:e|es|ing)(?: +by)? +(-?[0-9.]+ *[a-z]+),?( +every +.*)?",
            r"\1, \2 breathing \3\4",
            BREATHS,
        ),
        (
            r"([^\W\d]\w*(?: +and +[^\W\d]\w*)*) +breath(?:e|es|ing)(?: +by)? +"
            r"(-?[0-9.]+ *(?:deg|rad|mm|cm)),?( +every +.*?)?,? +(?:for|in) +([0-9.]+ *[a-z]+)",
            r"hold \4, \1 breathing \2\3",
            BREATHS,
        ),
        (
            r"hold +([^\W\d]\w*) +([0-9.]+ *[a-z]+),? +breath(?:e|es|ing) +(-?[0-9].*)",
            r"hold \2, \1 breathing \3",
            BREATHS,
        ),
        (r"leds +([0-9.]+ *V.*)", r"leds 1 of \1", "how many LEDs comes first"),
        (r"show +([^\"'#:]+)$", r'show "\1"', "a title is written in quotes"),
        (
            r"(cue +[^\W\d]\w*) +([^\"',#:(]+ [^\"',#:(]+ [^\"',#:(]+)$",
            r'\1 "\2"',
            "a title is written in quotes",
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
        (r"(.+), *((?:in|at|within) .+|as fast .+)", r"\1 \2", "there is no comma before the pace"),
        (r"(.+[0-9]) */ *h(?:r|our)?$", r"\1 per hour", "how often is counted per hour"),
        (
            r"button +([0-9]+) *: *go +([^\W\d]\w*) +(?:while|when|as long as|if) .+",
            r"button \1: go \2 while held",
            "a held button is `while held`",
        ),
        (r"(fade|cut) +([^\W\d]\w*) +to\b", r"\2 \1 to", "the light comes first"),
        (r"(?:turn|switch) +(on|off) +([^\W\d]\w*)", r"\2 \1", "the output comes first"),
        (r"(on|off) +([^\W\d]\w*)$", r"\2 \1", "the output comes first"),
        (r"(steady|breathe|ember|sparkle|run) +([^\W\d]\w*)\b", r"\2 \1", "the light comes first"),
        (
            r"([^\W\d]\w*) +in +([\w.]+ *[a-z]*) +to +(.+)",
            r"\1 to \3 in \2",
            "the target comes first",
        ),
        (
            r"in +([\w.]+ *[a-z]+) +([^\W\d]\w*) +to +(.+)",
            r"\2 to \3 in \1",
            "the output comes first",
        ),
        (
            r"button +([0-9]+) *:? *(?:go +)?stop$",
            r"stop button \1",
            "a stop button is written `stop button N`",
        ),
        (r"pose +safe +([^\W\d]\w*)", r"safe pose \1", "`safe` comes before `pose`"),
        (r"([0-9]+) +([^\W\d]\w*) +per +hour", r"\2 \1 per hour", "the cue comes first"),
        (r"(near|from|of) +AWG +([0-9]+)", r"\1 \2 AWG", "the number comes first"),
        (r"(.*\bof) +AWG *([0-9]+)", r"\1 \2 AWG", "the number comes before its unit"),
        (r"rating +(?:at +)?([0-9.]+ *V) *:? *(.+)", r"rating \2 at \1", "the voltage comes last"),
        (
            r"fuse +(blade|UL +fast|UL +slow|IEC +fast|IEC +slow) +(.+)",
            r"fuse \2, \1",
            "the kind comes last",
        ),
        (
            r"([^\W\d]\w*) +(?:from +)?[-0-9.]+ *deg +to\b",
            r"\1 to",
            "a move starts where the part is",
        ),
    )
)
"""What a line may look like, how it is written here, and what is to be said of it."""


def only_said(line: Written) -> Iterator[Slip]:
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


_EVERY: Final = re.compile(
    r"([^\W\d]\w*) +(?:(once|twice|[0-9]+(?:\.[0-9]+)?)(?: *(?:x|times))? *)?"
    r"(?:every|each|per|an?|in an?|/) *([0-9]+(?:\.[0-9]+)?)? *"
    r"(s|sec|seconds?|m|min|minutes?|h|hr|hours?|d|days?) *$"
)
_A_DAY_H: Final = 24
_OF_AN_HOUR: Final = {"s": Fraction(3600), "m": Fraction(60), "h": Fraction(1)}


def _rates(line: Written) -> Iterator[Slip]:
    """`croak every 3 min`, `croak twice an hour`: use is counted per hour."""
    found = _EVERY.match(line.text[: line.code_end])
    if line.around.head != "usage" or found is None:
        return
    times = {None: "1", "once": "1", "twice": "2"}.get(found[2], found[2])
    periods = Fraction(found[3] or 1)
    share = _OF_AN_HOUR.get(found[4][0], Fraction(1, _A_DAY_H))
    if not periods:
        return
    rate = f"{float(round(Fraction(times) * share / periods, 2)):g}"
    yield Slip(
        "how often is counted per hour",
        found.end(1) + 1,
        found.end(),
        help=f"write `{found[1]} {rate} per hour`",
        edits=((*found.span(), f"{found[1]} {rate} per hour"),),
        certain=True,
    )


_GRIPS: Final = (
    r"(?:with +)?({n} *(?:N|mN|kgf|gf))(?!\w)",
    r"(?:at +)?({n} *(?:mm|cm|m|in|inch))(?!\w)",
    r"(?:past|from|beyond|after|over|above|behind|at|(below|under|before)) +(-?{n} *(?:deg|rad))",
    r"for +({n} *(?:ms|s|min))(?!\w)",
)
"""The parts of a line about a grip, in whatever order they come: force, where, from when, how
long."""


def _grips(line: Written) -> Iterator[Slip]:
    """`grips past 50 deg with 3 N for 5 s`."""
    text = line.text[: line.code_end].rstrip()
    head = re.match(r"grips? +", text)
    if line.around.head != "servo" or head is None:
        return
    force, where, past, last = (
        re.search(pattern.format(n=r"[0-9]+(?:\.[0-9]+)?"), text) for pattern in _GRIPS
    )
    if force is None or past is None or last is None:
        return
    side = "below" if past[1] else "past"
    at = "60 mm" if where is None else where[1]
    made = f"grips {force[1]} at {at}, {side} {past[2]}, for {last[1]}"
    if made == text:
        return
    yield Slip(
        "a grip is its force, where it presses, from which angle on and for how long",
        head.end(),
        len(text),
        help=f"write `{made}`" + (", with its own distance from the hinge" * (where is None)),
        edits=() if where is None else ((0, len(text), made),),
        certain=True,
    )


def rearranged(line: Written) -> Iterator[Slip]:
    """`fade lure to 60 %`, `turn on fan`, `breathe lure every 4 s`, `button 2: stop`."""
    yield from _rates(line)
    yield from _grips(line)
    text = line.text[: line.code_end]
    for pattern, instead, what in _REARRANGED:
        found = pattern.match(text)
        if found is None:
            continue
        made = instead(found) if callable(instead) else found.expand(instead)
        if made == text.rstrip():
            continue
        if what in (LOOPS, PAUSES):
            first = re.match(r"\S+?(?=[\s(]|$)", text)
            said = "" if first is None else first[0]
            yield Slip(
                f"`{said}` does not start a statement",
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


def call(line: Written) -> Slip | None:
    """That a line calls something; the last thing to say of it."""
    found = re.match(r"([^\W\d]\w*) *\(", line.text[: line.code_end])
    if line.around.head != "cue" or found is None or found[1] in literals():
        return None
    return Slip(
        f"`{found[0]}` looks like a call, and {CALLS}",
        *found.span(),
        help="a move is written `jaw to 30 deg in 1 s`, a pause `hold 1 s`",
        certain=True,
    )
