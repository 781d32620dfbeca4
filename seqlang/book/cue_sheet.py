"""The helper's sheet: button, what happens, how long it takes, what ends it."""

from __future__ import annotations

from collections.abc import Iterator
from math import isinf
from typing import TYPE_CHECKING, Final

from seqlang.book.paper import facts, paragraph, section, table
from sim.model import Lamp, Repeat, Servo, Strip, bound_lines
from sim.score.tree import Lengths, duration_ms, named_cues, outputs_held, walk

if TYPE_CHECKING:
    from seqlang.book.matter import BookMatter
    from sim.model import Binding, Cue, Show

_BUSY: Final = {
    "take": "takes them over at once",
    "wait": "waits until they are free",
    "refuse": "does nothing",
}


def cue_sheet(matter: BookMatter) -> str:
    """A row for each button and each cue that no button starts; stop and silence above them."""
    show = matter.show
    bound = [(_button(show, one), one.cue, one) for one in show.score.bindings]
    named = {cue.name for _, name, _ in bound for cue in show.score.cues if cue.name == name}
    free = [
        (_starter(show, cue.name), cue.name, None)
        for cue in named_cues(show.score)
        if cue.name not in named
    ]
    cues = {cue.name: cue for cue in show.score.cues}
    bound.sort(key=lambda row: row[2].button)
    rows = [(mark, *_row(show, cues[name], by)) for mark, name, by in [*bound, *free]]
    return section(
        "cues",
        "Cue sheet for the helper",
        facts(_always(show)),
        table(
            ("Button", "Cue", "What happens", "Lasts", "Ends early by", "If its parts are busy"),
            rows,
            "cues",
        ),
        *([paragraph(_DASH)] if any(row[0] == "-" for row in rows) else []),
        *([paragraph(_IDLE)] if show.score.idle else []),
    )


_DASH: Final = "No button starts a cue marked with a dash. `bellcrank trigger NAME` does."
_IDLE: Final = "An idle cue goes on by itself, on every part that no other cue holds."


def _starter(show: Show, name: str) -> str:
    """What starts a cue that no button does."""
    score = show.score
    ways = [
        *(["remote lost"] if name == score.lost_cue and score.lost_ms is not None else []),
        *(["battery low"] if name == score.low_cue else []),
        *(["idle"] if name in score.idle else []),
    ]
    return ", ".join(ways) or "-"


_PRESSES: Final = {"down": "", "long": ", long press", "twice": ", twice", "up": ", let go"}


def _button(show: Show, binding: Binding) -> str:
    """The button and how it is pressed; of a list also which press in turn it is."""
    how = f"{binding.button}{_PRESSES[binding.kind]}"
    if binding.manner == "next":
        line = next(line for line in bound_lines(show.score) if binding in line)
        how = f"{how}, press {line.index(binding) + 1} of {len(line)}"
    return how


def _always(show: Show) -> Iterator[tuple[str, str]]:
    score = show.score
    stop = score.stop_button
    seconds = _seconds(score.stop_ms)
    to_do = f"all parts go to the safe pose in {seconds}, then their pulses end"
    yield ("STOP", f"button {stop}: {to_do}" if stop else f"no button; `bellcrank stop`: {to_do}")
    yield "Emergency", "the switch in the supply's lead. The stop button is not an emergency stop."
    if score.lost_ms is not None and score.lost_cue is not None:
        lost = f"after {_seconds(score.lost_ms)} of silence the cue `{score.lost_cue}` starts"
        yield "Remote lost", lost
    else:
        yield "Remote lost", "nothing happens: what runs goes on to its end"
    yield from _battery(show)
    for source in dict.fromkeys(follow.source for follow in show.rig.follows):
        led = [follow.output for follow in show.rig.follows if follow.source == source]
        led += [bar.strip for bar in show.rig.bars if bar.lamp in led]
        held = "it" if len(led) == 1 else "them"
        yield f"Follows {source}", f"{', '.join(led)}, while no cue holds {held}"
    yield "Ready again", "`bellcrank standby` after a stop, or power off and on; keep clear"


def _battery(show: Show) -> Iterator[tuple[str, str]]:
    if show.score.low_cue is not None:
        told = f"the cue `{show.score.low_cue}` starts, and again each minute: change the battery"
        yield "Battery low", told
    if any(board.watch is not None for board in show.rig.boards):
        empty = "a board that watches it moves its parts to the safe pose, then ends their pulses"
        yield "Battery empty", empty


def _row(show: Show, cue: Cue, by: Binding | None) -> tuple[str, ...]:
    happens = f"{cue.title}. {_parts(show, cue)}" if cue.title else _parts(show, cue)
    busy = _BUSY[cue.conflict]
    if by is None and cue.name in show.score.idle:
        busy = "goes on unseen until they are free"
    return cue.name, happens, _lasts(show, cue, by), _ends(show, cue, by), busy


def _parts(show: Show, cue: Cue) -> str:
    held = outputs_held(show.score, cue)
    used = [one for one in show.rig.outputs if one.name in held]
    kinds = (
        ("moves", [one.name for one in used if isinstance(one, Servo)]),
        ("lights", [one.name for one in used if isinstance(one, Lamp | Strip)]),
        ("switches", [o.name for o in used if not isinstance(o, Servo | Lamp | Strip)]),
    )
    said = "; ".join(f"{verb} {', '.join(names)}" for verb, names in kinds if names)
    return f"{said[:1].upper()}{said[1:]}." if said else "Nothing but a pause."


def _lasts(show: Show, cue: Cue, by: Binding | None) -> str:
    once = duration_ms(cue.body)
    if isinf(once):
        return "until something ends it"
    lasts = _seconds(once)
    if by is not None and by.manner == "toggle":
        lasts = f"{lasts} or longer: until pressed again"
    elif by is not None and by.while_held:
        lasts = f"{lasts} each time, again while held"
    elif any(isinstance(step, Repeat) and step.while_held for step in walk(cue.body)):
        lasts = f"{lasts} or longer: while held"
    part = next((c for c in show.score.cues if c.name == cue.let_go), None)
    return lasts if part is None else f"{lasts}; let go: {_seconds(duration_ms(part.body))}"


def _ends(show: Show, cue: Cue, by: Binding | None) -> str:
    ways = []
    score = show.score
    if score.stop_button is not None:
        ways.append(f"stop (button {score.stop_button})")
    lengths = Lengths(cue.body)
    loops = [s for s in walk(cue.body) if isinstance(s, Repeat) and s.while_held and lengths[s]]
    if by is not None and by.manner == "toggle":
        ways.append("the same press again")
    elif (by is not None and by.while_held) or loops or cue.let_go:
        ways.append("letting go of the button")
    held = outputs_held(score, cue)
    others = [
        other.name
        for other in named_cues(score)
        if other.name != cue.name
        and other.conflict == "take"
        and other.name not in score.idle
        and held & outputs_held(score, other)
    ]
    starting = [one for one in named_cues(score) if one.name not in (cue.name, *score.idle)]
    if others and len(others) == len(starting) > 1:
        ways.append("any other cue")
    elif others:
        ways.append(f"taken over by {', '.join(others)}")
    return "; ".join(ways) or "nothing"


def _seconds(duration: float) -> str:
    return f"{duration / 1000:.1f} s" if duration >= 1000 else f"{duration / 1000:g} s"
