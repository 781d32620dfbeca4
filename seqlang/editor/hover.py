"""What a part is, how hard it works, what a word means: Markdown for the place pointed at."""

from __future__ import annotations

import re
from math import isinf
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from seqlang.editor.manual import explained
from seqlang.editor.naming import ShowNames
from seqlang.meaning.write_score import scaling_words
from seqlang.text.occurrences import SOURCES
from seqlang.text.units import UNITS, title_of
from sim.light.colours import COLOURS
from sim.model import Cells, Repeat, Servo
from sim.rig import servo as lines
from sim.rig.slide import of_part
from sim.score.scaling import scaled_cues
from sim.score.tree import duration_ms, walk

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from seqlang.check import Checked
    from seqlang.checks.workload import ServoWorkload
    from seqlang.loading import Loaded
    from seqlang.text.findings import Span
    from seqlang.text.occurrences import Occurrence
    from seqlang.text.source import Source
    from sim.model import Show, Step, Supply

_QUANTITY: Final = re.compile(r"-?[0-9]+(?:\.[0-9]+)? *([A-Za-z%][\w./]*|%)")


_MOST_LISTED: Final = 12
"""Names that are shown; of more the rest are counted."""

MOST_TOLD: Final = 4
"""Things of one name that are told of one by one."""


class HoverText(NamedTuple):
    """What is told of the stretch of text from `start` to `end`."""

    start: int
    end: int
    markdown: str


def told(source: Source, offset: int, loaded: Loaded, checked: Checked | None) -> HoverText | None:
    """What can be told of a place; None if nothing. `checked` None: the checks are not done.

    `source`: the show's whole text, to which the place and those of the answer belong.
    """
    names = ShowNames(loaded.items)
    one = names.at(offset)
    if one is not None:
        words = [*_name(one, names, source, loaded, checked)]
        if one.named == "output":
            for name in names.single(one)[:MOST_TOLD]:
                words += _move(one, name, loaded, checked)
        return HoverText(one.start, one.end, "\n".join(words))
    line_start = source.text.rfind("\n", 0, offset) + 1
    line = source.line_text(source.line_number(offset))
    bare = line.partition(" #")[0]
    column = offset - line_start
    if column > len(bare) or line.lstrip().startswith("#"):
        return None
    for match in _QUANTITY.finditer(bare):
        if match.start() <= column <= match.end() and match[1] in UNITS:
            text = f"`{match[0]}`: {title_of(UNITS[match[1]][1])}"
            return HoverText(line_start + match.start(), line_start + match.end(), text)
    row = explained(bare, column)
    if row is None:
        return None
    start, end, rows = row
    return HoverText(line_start + start, line_start + end, "\n\n".join(rows))


def _name(
    one: Occurrence, names: ShowNames, source: Source, loaded: Loaded, checked: Checked | None
) -> Iterator[str]:
    """What a name names."""
    declaration = names.declaration(one)
    show = loaded.show
    if one.named == "output" and show is not None:
        several = names.single(one)
        if several != (one.name,):
            yield f"**{names.whole(one)}** stands for {_listed(several)}\n"
        for name in several[:MOST_TOLD]:
            yield from _output(name, show, declaration, source, checked)
    elif one.named == "cue" and show is not None:
        yield from _cue(names.whole(one), show)
    elif one.named == "supply" and show is not None:
        for name in names.single(one)[:MOST_TOLD]:
            yield from _supply(name, show, checked)
    elif one.named == "colour" and one.name.lower() in COLOURS:
        red, green, blue = COLOURS[one.name.lower()]
        yield f"**{one.name}**: colour `#{red:02x}{green:02x}{blue:02x}` (CSS)"
    elif declaration is not None:
        yield f"**{one.name}**: {one.named}"
        yield f"\n```\n{source.line_text(source.line_number(declaration.start)).strip()}\n```"
    else:
        yield f"**{one.name}**: {one.named}"
    if one.named in SOURCES and show is not None:
        followed = [follow.output for follow in show.rig.follows if follow.source == one.name]
        if followed:
            yield f"\nfollowed by {_listed(followed)}"
        scaled = [cue.name for cue in scaled_cues(show.score, one.name)]
        if scaled:
            yield f"\nsays how far {_listed(scaled)} goes"


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(f"`{name}`" for name in names[:_MOST_LISTED])
    left = len(names) - _MOST_LISTED
    return shown + (f" and {left} more" if left > 0 else "")


def _output(
    name: str,
    show: Show,
    declaration: Occurrence | None,
    source: Source,
    checked: Checked | None,
) -> Iterator[str]:
    output = next((o for o in show.rig.outputs if o.name == name), None)
    kind = "output" if output is None else type(output).__name__.lower()
    yield f"**{name}**: {kind}"
    if declaration is not None:
        yield f"\n```\n{source.line_text(source.line_number(declaration.start)).strip()}\n```"
    if not isinstance(output, Servo):
        return
    part = of_part(output)
    low, high = output.travel_deg
    yield f"\nmoves from {low:g} to {high:g} {part.place}\n"
    summary = None if checked is None else checked.summary
    for found in () if summary is None else summary.servos:
        if found.servo == name:
            yield (
                f"over the whole show at most {found.torque.share:.0%} of its stall torque "
                f"(in `{found.torque.cue}`), {found.speed.share:.0%} of its speed "
                f"(in `{found.speed.cue}`)\n"
            )


def _move(one: Occurrence, name: str, loaded: Loaded, checked: Checked | None) -> Iterator[str]:
    """How hard a part works in the statement in which its name stands."""
    context = None if checked is None else checked.context
    work = None if context is None else context.work.get(name)
    if context is None or work is None or loaded.whole is None:
        return
    place = loaded.whole.span(one.start, one.end)
    here = [
        way
        for planned, way in zip(work.asked, work.way_of, strict=True)
        if _covers(context.origin(planned.move.mark).span, place)
    ]
    if here:
        hardest = max(here, key=lambda way: float(work.assessment.peak_share[way]))
        if name != one.name:
            yield f"`{name}`:\n"
        yield from _worked(work, hardest)
    if len(set(here)) > 1:
        yield f"shown for the hardest of {len(set(here))} places where this move may start\n"


def _covers(span: Span, place: Span) -> bool:
    return span.path == place.path and span.start <= place.start < span.end


def _worked(work: ServoWorkload, way: int) -> Iterator[str]:
    asked, move = work.assessment, work.ways[way]
    line = lines.line(work.servo, asked.voltage_v)
    torque = float((asked.peak_torque_nm / np.maximum(line.stall_nm, 1e-12))[way])
    speed = float((asked.peak_speed_deg_s / np.maximum(line.speed_deg_s, 1e-12))[way])
    place = of_part(work.servo).place
    yield (
        f"**in this move**, from {move.from_deg:g} to {move.to_deg:g} {place} in "
        f"{move.duration_ms} ms ({move.law.name}):\n"
    )
    yield f"- torque: {torque:.0%} of stall"
    yield f"- speed: {speed:.0%} of its own"
    verdict = "passes" if asked.passes[way] else "**does not pass**"
    share = float(asked.peak_share[way])
    yield f"- worst instant: {share:.0%} of what the servo has there; {verdict}\n"


def _cue(name: str, show: Show) -> Iterator[str]:
    cue = next((one for one in show.score.cues if one.name == name), None)
    yield f"**{name}**: cue" + (f", “{cue.title}”" if cue is not None and cue.title else "")
    if cue is None:
        return
    yield f"\n{_length(cue.body)}\n"
    score = show.score
    if cue.scaling is not None:
        yield f"goes{scaling_words(cue, show.rig).removeprefix(',')}\n"
    starts = [f"button {one.button}" for one in score.bindings if one.cue == name]
    starts += ["idle"] if name in score.idle else []
    starts += ["a silent remote"] if score.lost_cue == name else []
    starts += ["a low battery"] if score.low_cue == name else []
    if starts:
        yield f"started by {', '.join(starts)}\n"


def _length(body: Step) -> str:
    lasts = duration_ms(body)
    if isinf(lasts):
        return "goes on until a stop, or until another cue takes over"
    held = any(isinstance(step, Repeat) and step.while_held for step in walk(body))
    return f"lasts {lasts / 1000:g} s" + (", or longer while its button is held" if held else "")


def _supply(name: str, show: Show, checked: Checked | None) -> Iterator[str]:
    supply: Supply | None = next((s for s in show.rig.supplies if s.name == name), None)
    yield f"**{name}**: supply"
    if supply is None:
        return
    source = supply.source
    if isinstance(source, Cells):
        yield f"\n{source.series} {source.chemistry} cells, {source.capacity_ah * 1000:g} mAh\n"
    else:
        yield f"\n{source.voltage_v:g} V, {source.current_a:g} A\n"
    summary = None if checked is None else checked.summary
    for found in () if summary is None else summary.supplies:
        if found.supply == name and found.limit_a is not None:
            yield (
                f"at most {found.peak_a:.2g} A of {found.limit_a:g} A ({found.limit}); lowest "
                f"{found.lowest_v:.3g} V at `{found.board}`\n"
            )
