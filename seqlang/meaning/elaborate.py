"""From the syntax tree to Rig and Score.

Every domain value made here carries a `mark`; `Loaded.origins[mark]` gives the place of its
statement and of the parts that a fix may replace. A part is there only if the text wrote it
(`has_part` first: `Origin.part` falls back to the whole statement).

| value | parts |
| --- | --- |
| `Supply` | `name`, `fuse`, `fuse kind` |
| `Cells` | `cells`, `chemistry`, `rows`, `capacity`, `resistance` |
| `Adapter` | `voltage`, `current` |
| `Regulator` | `voltage`, `current`, `dropout`, `efficiency` |
| `Board` | `name`, `chip`, `address`, `feed` (the whole line), `logic` (what comes after it) |
| `PackWatch` | `pin`, `warns`, `stops`, `reference` (the amounts); span: the line |
| `Divider` | `upper`, `lower` |
| `Wire` | `supply`, `length`, `gauge`, `strands` (all of it), `bundled` |
| `Servo` | `name`, `board`, `pin`, see below |
| `Rating` | `speed`, `torque`, `current`, `voltage`, `running` |
| `Load` | span: the first `load` line (or the servo's line); `level`, `sinks`, `axis`, `friction` |
| `PointMass` | `mass`, `radius`, `ahead` |
| `Rod` | `mass`, `length`, `from`, `ahead` |
| `Plate` | `mass`, `length`, `width`, `from`, `ahead` |
| `Box` | `mass`, `length`, `width`, `depth`, `from`, `ahead` |
| `Spring` | `rate`, `neutral` |
| `Gear` | `ratio` |
| `LeverPair` | `horn`, `arm`, `square` |
| `FourBar` | `ground`, `horn`, `rod`, `arm`, `zero` |
| `Lamp` | `name`, `board`, `pin`, `count`, `voltage`, `current`, `colour`, `safe` |
| `Strip` | `name`, `board`, `pin`, `pixels`, `order`, `current`, `cap`, `feed`, `safe` |
| `Switch` | `name`, `board`, `pin`, `active`, `current`, `safe` |
| `Input` | `button`, `board`, `pin`, `active` |
| `Sensor` | `name`, `board`, `pin`, `quiet`, `rises`, `falls` (the amounts) |
| `Follow` | `source`, `value from`, `value to`, `target from`, `target to`, `duration`, `mixed` |
| `Shine` | `servo`, `from`, `to`, `level from`, `level to` |
| `LevelBar` | `lamp` |
| `Wearer` | `tilt`, `region`, `temperature`, `margin`, `gait`, `wind` |
| `Move` | `name`, `target` (the amount; in the pose if it came from one), and pace |
| `Fade` | `name`, `target` (the whole light), `colour`, `level`, and pace |
| `Throw` | `name`, `state` |
| `Effect` | `name`, `effect`, `period`, `depth`, `seed`, `width` |
| `Hold` | `duration` |
| `InTurn`, `Together` | `keyword`, `interval` (of `stagger`); span: the header line |
| `Repeat` | `keyword`, `count`, `while held`, `for ever`; span: the header line |
| `Cue` | `name`, `title`, `conflict`; span: the header line |
| `Scaling` | `source`, `otherwise`; span: from `as far as` on |
| `Binding` | `button`, `cue`, `while held` |
| `Usage` | `cue`, `rate` |

A grip has `force`, `distance`, `contact` and `time`.
A servo has `name`, `board`, `pin`, `pulse` (the whole line), `pulse 1`, `angle 1` and so on in
the order of the text, `trim`, `limits`, `pulse low`, `pulse high`, `travel` (the line),
`travel low`, `travel high`, `acceleration`, `idling`, `dead band`, `tip`, `nip`, `backlash`,
`rotor` (or the time constant), and `safe` (the amount in the safe pose).
A pace is `pace` (the whole: `in 300 ms`, `at 90 deg/s`, `as fast as it can`, `within ...`),
`duration` (the amount of `in`), `speed` (the amount of `at` or the first of `within`), and `law`.

What has no mark of its own has a name in `Loaded.places` (name to `Origin`, if written): `show`
(part `title`), `idle` (`cue`), `lost` (`time`, `cue`), `low battery` (`cue`), `stop`
(`button`), `stop time` (`time`),
`run time` (`time`), `safe pose` (`name`; span: the header line), `remote` (the header line).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Final, TypeVar, cast

from lark import Token

from firmware_gen.chips import CHIPS, FIRST
from seqlang.meaning.alike.written import written_out
from seqlang.meaning.bar import bars
from seqlang.meaning.inputs import channel, sensor, wired_button
from seqlang.meaning.live import followed, follows
from seqlang.meaning.mounted import lights_on_parts, on_sound_carriers
from seqlang.meaning.notes import declared
from seqlang.meaning.output import output
from seqlang.meaning.pose import Pose, pose
from seqlang.meaning.rig import board, supply, wearer
from seqlang.meaning.scaling import scaled_by
from seqlang.meaning.score import score
from seqlang.meaning.shine import shines
from seqlang.meaning.values import COUNTED, Colour, Reading
from seqlang.text.findings import Fix, Span
from seqlang.text.names import nearest
from seqlang.text.syntax import CueText, GestureText, Line, TopLine, head_place, names_in
from seqlang.text.units import ANGLE, LENGTH, SPEED, Dimension, Quantity
from sim.model import Channel, Rig, Sensor, Servo, Show, Wearer

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence

    from firmware_gen.chips import Chip
    from seqlang.meaning.alike.told import Likes
    from seqlang.meaning.alike.written import WrittenOut
    from seqlang.meaning.kept_cues import KeptCues
    from seqlang.meaning.origins import Origins
    from seqlang.meaning.pose import OutputKind, Setting
    from seqlang.meaning.soonest import Beside, Fastest
    from seqlang.text.findings import Finding, Origin
    from seqlang.text.source import Source
    from seqlang.text.syntax import Amount
    from sim.model import JointLimits

_Signal = TypeVar("_Signal", Channel, Sensor)

OUTPUT_KINDS = ("servo", "lamp", "strip", "switch")


@dataclass(frozen=True, slots=True)
class Elaborated:
    """What a syntax tree comes to."""

    show: Show
    origins: Origins
    places: Mapping[str, Origin]
    findings: tuple[Finding, ...]
    told: Likes
    """What findings must know of what is described once and exists several times."""


def elaborate(
    items: Sequence[TopLine],
    source: Source,
    forgiven: Iterable[str] = (),
    kept: KeptCues | None = None,
) -> Elaborated:
    """Rig and Score of a syntax tree, as far as they make sense, and every finding on the way.

    `forgiven`: names declared in lines that could not be read. `kept`: the cues of the text's last
    version; they are brought up to date.
    """
    out = written_out(items, source, forgiven)
    if kept is not None:
        kept.turn(items, source, (*forgiven, *out.lost))
    if out.ways or out.members:
        kept = None  # what is written once is read several times
    once = partial(_elaborated, out, source, forgiven, kept)
    made, fastest = once(None, {})
    if any(isinstance(one, Servo) and one.mount for one in made.show.rig.outputs):
        from sim.strain.coupling import coupled_show, show_reaches

        # A part that carries another can be as fast as what the other does meanwhile lets it be,
        # which is known once there is a score: taken once more, no part is faster than it was then.
        reaches: Mapping[str, JointLimits] | None = show_reaches(made.show)
        made, fastest = once(reaches, {})
    else:
        coupled_show, reaches = _as_it_is, None
    made = replace(made, show=coupled_show(made.show))
    if not fastest or any(found.severity == "error" for found in made.findings):
        return made
    from seqlang.meaning.soonest import in_company

    def beside(volts: Beside) -> tuple[Elaborated, Show, Fastest]:
        again, times = once(reaches, volts)
        show = coupled_show(again.show)
        return replace(again, show=show), show, times

    return in_company(beside, (made, made.show, fastest))


def _as_it_is(show: Show) -> Show:
    return show


def _elaborated(
    out: WrittenOut,
    source: Source,
    forgiven: Iterable[str],
    kept: KeptCues | None,
    reaches: Mapping[str, JointLimits] | None,
    beside: Beside,
) -> tuple[Elaborated, Fastest]:
    """Once through the text, and the shortest durations that were searched for.

    `reaches`: how far the parts of chains go, if that is known. `beside`: what arrives at servos.
    """
    items = out.items
    reading = Reading(source, (*forgiven, *out.lost))
    reading.beside = beside
    reading.ways = out.ways
    reading.alike = {named: tuple(names) for named, names in out.members.items()}
    reading.findings += out.findings
    lines = [item for item in items if isinstance(item, Line)]
    cues = [item for item in items if isinstance(item, CueText)]
    gestures = [item for item in items if isinstance(item, GestureText)]
    for kind, name in _declared_names(lines, cues, gestures):
        reading.elsewhere.setdefault(name, kind)
    _constants(reading, [line for line in lines if line.kind == "given"])
    outputs = _outputs(reading, lines)
    reading.straight.update(_travelling(reading, lines, LENGTH))
    reading.spinning.update(_travelling(reading, lines, SPEED))
    poses = _poses(reading, lines, outputs)
    rig = _rig(reading, lines, outputs, _safe(reading, poses), scaled_by(cues))
    lights = [line for line in lines if line.kind in ("lamp", "strip")]
    rig = lights_on_parts(reading, lights, rig, outputs)
    if any(isinstance(one, Servo) and one.mount for one in rig.outputs):
        from sim.strain.coupling import coupled_rig, standing_reaches

        rig = on_sound_carriers(
            reading, [line for line in lines if line.kind == "servo"], rig, outputs
        )
        rig = coupled_rig(rig, standing_reaches(rig) if reaches is None else reaches)
        kept = None  # the rig hangs on the cues
    places: dict[str, Origin] = {}
    made = score(reading, lines, cues, gestures, outputs, poses, rig, places, kept)
    found = tuple(_renamed(finding, items, source) for finding in reading.findings)
    elaborated = Elaborated(Show(rig, made), reading.origins, places, found, out.told)
    return elaborated, reading.fastest


def _renamed(finding: Finding, items: Sequence[TopLine], source: Source) -> Finding:
    """A word of the language that was taken for a name gets another one wherever it is used."""
    if finding.name != "reserved-word" or finding.fix is None:
        return finding
    span, text = finding.span, finding.fix.text
    word = source.text[span.start : span.end]
    uses = [name for name in names_in(items) if name == word and name.start_pos != span.start]
    more = tuple(
        dict.fromkeys(
            (Span(source.path, name.start_pos, name.end_pos), text)
            for name in uses
            if name.start_pos is not None and name.end_pos is not None
        )
    )
    return replace(finding, fix=Fix(span, text, more))


def _declared_names(
    lines: Iterable[Line], cues: Iterable[CueText], gestures: Iterable[GestureText]
) -> Iterator[tuple[str, str]]:
    """Kind and name of everything that the text declares."""
    for line in lines:
        if line.kind in OUTPUT_KINDS:
            yield "output", str(line.token(1))
        elif line.kind in ("supply", "board"):
            yield line.kind, str(line.token(1))
        elif line.kind == "given":
            yield "constant", str(line.token(1))
        elif line.kind == "pose":
            yield "pose", str(line.tokens()[-1])
    for cue in cues:
        yield "cue", str(cue.name)
    for gesture in gestures:
        yield "gesture", str(gesture.name)


# -- names -------------------------------------------------------------------------------------


def _outputs(reading: Reading, lines: Iterable[Line]) -> dict[str, tuple[OutputKind, Token]]:
    """Every output that is declared, whether it is complete or not."""
    entries = [line for line in lines if line.kind in OUTPUT_KINDS]
    names = declared(reading, "output", (line.token(1) for line in entries))
    kinds = {id(line.items[1]): line.kind for line in entries}
    return {name: (cast("OutputKind", kinds[id(token)]), token) for name, token in names.items()}


def _travelling(reading: Reading, lines: Iterable[Line], dimension: Dimension) -> Iterable[str]:
    """Servos whose travel is of a dimension.

    A length: their parts move along a line. A speed: they turn round and round. What is missing or
    slipped in the travel is taken from its other end, then from the places of the pulses, so that
    one slip does not turn everything that is said of the part into mistakes.
    """
    for entry in (line for line in lines if line.kind == "servo"):
        known = next((at for at in _places(entry) if reading.is_of(at, *_OF_PLACES)), None)
        if known is not None and reading.is_of(known, dimension):
            yield str(entry.items[1])


_OF_PLACES: Final = (ANGLE, LENGTH, SPEED)


def _places(entry: Line) -> Iterator[Amount]:
    """What a servo's lines state of places, the one that decides first."""
    lines = entry.lines()
    for line in (line for line in lines if line.kind == "travel"):
        yield from (line.amount(1), line.amount(2))
    for line in (line for line in lines if line.kind == "pulse"):
        yield from (point.amount(1) for point in line.lines())


def _constants(reading: Reading, lines: Sequence[Line]) -> None:
    """Evaluate `given` lines in the order of the text."""
    from seqlang.meaning.pose import colour
    from sim.light.colours import COLOURS

    names = declared(reading, "constant", (line.token(1) for line in lines))
    reading.later = dict(names)
    for line in lines:
        name, value = line.token(1), line.items[2]
        if reading.later.pop(str(name), None) is None:
            continue  # the second of two, which has its finding
        is_colour = isinstance(value, Token) and (
            value.type == "COLOUR"
            or (
                value.type == "NAME" and value not in reading.constants and value.lower() in COLOURS
            )
        )
        made: Quantity | Colour | None
        if is_colour:
            made = reading.tried(colour, reading, cast("Token", value))
        elif _is_misspelt_colour(reading, value):
            made = None
        else:
            made = reading.tried(reading.given, value)
        if made is None:
            reading.forgiven.add(str(name))
        else:
            reading.constants[str(name)] = (name, made)


def _is_misspelt_colour(reading: Reading, value: object) -> bool:
    """Whether a constant's value is no constant, but near to a colour; that is then noted."""
    from sim.light.colours import COLOURS

    if not isinstance(value, Token) or value.type != "NAME":
        return False
    if value in reading.constants or value in reading.later or value.lower() in COUNTED:
        return False
    near = nearest(str(value), COLOURS)
    if near is None or nearest(str(value), reading.constants) is not None:
        return False
    reading.error(
        "unknown-name",
        f"there is no constant and no colour `{value}`",
        value,
        help=f"did you mean `{near}`?",
        fix=near,
    )
    return True


# -- the rig -----------------------------------------------------------------------------------


def _poses(
    reading: Reading, lines: Iterable[Line], outputs: Mapping[str, tuple[OutputKind, Token]]
) -> dict[str, Pose]:
    entries = [line for line in lines if line.kind == "pose"]
    names = declared(reading, "pose", (line.tokens()[-1] for line in entries))
    made = {
        str(line.tokens()[-1]): reading.on_its_way(line, pose, reading, line, outputs)
        for line in reversed(entries)
    }
    return {name: found for name in names if (found := made[name]) is not None}


def _safe(reading: Reading, poses: Mapping[str, Pose]) -> Mapping[str, Setting]:
    """The settings of the safe pose; none where the text has no safe pose."""
    safe = [one for one in poses.values() if one.safe]
    for extra in safe[1:]:
        reading.error(
            "duplicate-line",
            "there are two safe poses",
            head_place(*extra.header),
            related=((safe[0].header[0], "the first"),),
            help="a show has one safe pose",
        )
    return safe[0].settings if safe else {}


def _the_wearer(reading: Reading, stated: Sequence[Line]) -> Wearer:
    for extra in stated[1:]:
        reading.error(
            "duplicate-line",
            "`wearer` is stated twice",
            extra.items[0],
            related=((stated[0].items[0], "first stated here"),),
            help="keep one of the two",
        )
    return wearer(reading, stated[0]) if stated else Wearer()


def _once(
    reading: Reading,
    lines: Sequence[Line],
    named: Mapping[str, Token],
    make: Callable[[Reading, Line, Mapping[str, Chip]], _Signal],
    boards: Mapping[str, Chip],
) -> tuple[_Signal, ...]:
    """What the lines stand for; of several with one name, the first that states it."""
    found = (
        reading.on_its_way(line, make, reading, line, boards)
        for line in lines
        if named[str(line.token(1))] is line.token(1)
    )
    return tuple(made for made in found if made)


def _rig(
    reading: Reading,
    lines: Sequence[Line],
    outputs: Mapping[str, tuple[OutputKind, Token]],
    safe: Mapping[str, Setting],
    scaled: Collection[str],
) -> Rig:
    """`scaled`: the sources by which cues are scaled."""
    by_kind: dict[str, list[Line]] = {}
    for line in lines:
        by_kind.setdefault(line.kind, []).append(line)
    supplies = declared(reading, "supply", (line.token(1) for line in by_kind.get("supply", ())))
    boards = _chips(reading, by_kind.get("board", []))
    first = {id(token) for _, token in outputs.values()}
    made_outputs = tuple(
        made
        for line in lines
        if line.kind in OUTPUT_KINDS
        and (made := reading.on_its_way(line, output, reading, line, boards, safe)) is not None
        and id(line.items[1]) in first
    )
    found_supplies = [
        reading.on_its_way(line, supply, reading, line) for line in by_kind.get("supply", ())
    ]
    found_boards = [
        reading.on_its_way(line, board, reading, line, supplies)
        for line in by_kind.get("board", ())
    ]
    inputs = [
        reading.on_its_way(line, wired_button, reading, line, boards)
        for line in by_kind.get("input", ())
    ]
    channels, sensors = by_kind.get("radio_channel", []), by_kind.get("sensor", [])
    named = declared(reading, "signal", (line.token(1) for line in (*channels, *sensors)))
    followers = [line for line in lines if line.kind in ("servo", "lamp")]
    used = {*followed(followers), *scaled}
    for line in channels:
        _has_a_use(reading, line, used)
    rig = _consistent(
        Rig(
            supplies=tuple({s.name: s for s in reversed(found_supplies) if s}.values())[::-1],
            boards=tuple({b.name: b for b in reversed(found_boards) if b}.values())[::-1],
            outputs=made_outputs,
            inputs=tuple(made for made in inputs if made),
            channels=_once(reading, channels, named, channel, boards),
            sensors=_once(reading, sensors, named, sensor, boards),
            wearer=_the_wearer(reading, by_kind.get("wearer", [])),
        )
    )
    return replace(
        rig,
        follows=follows(reading, followers, rig, outputs, named),
        shines=shines(reading, followers, rig, outputs, named),
        bars=bars(reading, [line for line in lines if line.kind == "strip"], rig, outputs),
    )


def _is_mentioned(reading: Reading, name: Token) -> bool:
    """Whether a line of a block has the name in it, whatever else stands there."""
    return re.search(rf"^[ \t]+[^#\n]*\b{name}\b", reading.source.text, re.MULTILINE) is not None


def _has_a_use(reading: Reading, line: Line, used: Collection[str]) -> None:
    """A finding where a channel holds down no button, nothing follows it and no cue is scaled."""
    if len(line.items) > 4 or str(line.items[1]) in used:
        return
    name = line.token(1)
    if any(nearest(other, [str(name)]) for other in used) or _is_mentioned(reading, name):
        return  # what was to follow it cannot be read, or has its name misspelt
    reading.error(
        "missing-line",
        f"channel `{name}` has no `button` line, and nothing follows it",
        head_place(line.token(0), line.token(3)),
        help="add one below it, such as `button 1 from 1700 us to 2100 us`, or let a part follow "
        f"it: `follows {name} from 1000 us to 2000 us, 0 deg to 40 deg` below the servo",
    )


def _chips(reading: Reading, lines: Sequence[Line]) -> dict[str, Chip]:
    """The chip of every board that is declared; any one where it is not known."""
    chips = {str(line.token(1)): str(line.token(2)) for line in reversed(lines)}
    names = declared(reading, "board", (line.token(1) for line in lines))
    return {name: CHIPS.get(chips[name], FIRST) for name in names}


def _consistent(rig: Rig) -> Rig:
    """The rig without what hangs on a part that could not be made: checks need no such care."""
    supplies = {supply.name for supply in rig.supplies}
    boards = {board.name for board in rig.boards}
    return replace(
        rig,
        boards=tuple(b if b.supply in supplies else replace(b, supply=None) for b in rig.boards),
        outputs=tuple(output for output in rig.outputs if output.board in boards),
        inputs=tuple(one for one in rig.inputs if one.board in boards),
        channels=tuple(one for one in rig.channels if one.board in boards),
        sensors=tuple(one for one in rig.sensors if one.board in boards),
    )
