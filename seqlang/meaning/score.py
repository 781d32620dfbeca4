"""The score of a show: its cues in an order in which each knows those it plays, and the remote."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import nullcontext
from typing import TYPE_CHECKING, Literal, cast
from zlib import crc32

from lark import Token

from seqlang.meaning.cue import CueMaker, without
from seqlang.meaning.draws_elsewhere import told_first
from seqlang.meaning.durations import Pacer, is_derived
from seqlang.meaning.gesture import Gesture, gesture, plays_in
from seqlang.meaning.kept_cues import KeptCue
from seqlang.meaning.notes import declared
from seqlang.meaning.output import start_delays
from seqlang.meaning.remote import Remote, remote, run_time, usages
from seqlang.meaning.scaling import scaling, sources_of
from seqlang.meaning.stage import MOST_STEPS_OF_SHOW, Loops, Made, Stage, Tally
from seqlang.meaning.values import Reading
from seqlang.text.findings import Origin
from seqlang.text.syntax import (
    ActText,
    Block,
    CueText,
    GestureText,
    Line,
    Play,
    StatementText,
    Strike,
    place,
    start_of,
)
from sim.model import Cue, InTurn, Rig, Score, Show, Step, part_name
from sim.rulebook import SEED_MAX
from sim.score.draws import numbered

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from seqlang.meaning.kept_cues import CueAndPart, KeptCues
    from seqlang.meaning.pose import OutputKind, Pose


def score(
    reading: Reading,
    lines: Sequence[Line],
    texts: Sequence[CueText],
    gestures: Sequence[GestureText],
    outputs: Mapping[str, tuple[OutputKind, Token]],
    poses: Mapping[str, Pose],
    rig: Rig,
    places: dict[str, Origin],
    kept: KeptCues | None = None,
) -> Score:
    """The whole score; `places` is filled with what has no mark of its own.

    `kept`: the cues of the text's last version, if they may be taken from it.
    """
    named = _named(reading, texts, gestures)
    cues = {name: text for name, text in named.items() if isinstance(text, CueText)}
    made_of = {
        name: gesture(reading, text, outputs)
        for name, text in named.items()
        if isinstance(text, GestureText)
    }
    names = {name: text.name for name, text in cues.items()}
    distant = remote(reading, lines, names, places)
    if distant.idle or not any(line.kind == "idle" for line in lines):
        reading.strands = frozenset(distant.idle)
    order, cut = _in_order(reading, named)
    rest: dict[str, tuple[float, ...]] = {}
    loops: Loops = {}
    stage = Stage(
        *(reading, outputs, poses, Pacer(reading, rig, False), rest, names, {}, cut, loops),
        *(Tally(), made_of, {}, sources_of(rig, _sources(lines)), start_delays(reading, lines)),
    )
    every: list[CueText | GestureText] = [*texts, *gestures]
    if any(_derived(text) for text in every):
        rest.update(_rest(stage, order, rig, distant))
        kept = None  # where each part can be left hangs on all cues
    if kept is not None:
        reading.origins.begin_at(kept.next_mark)
    made = _cues(stage, order, rig, kept)
    _unplayed(reading, made_of, cues.values())
    return Score(
        title=_title(reading, lines, places),
        cues=tuple(one for name in cues for one in made[name]),
        bindings=distant.bindings,
        stop_button=distant.stop_button,
        lost_ms=distant.lost_ms,
        lost_cue=distant.lost_cue,
        low_cue=distant.low_cue,
        idle=distant.idle,
        glide_ms=distant.glide_ms,
        stop_ms=distant.stop_ms,
        usage=usages(reading, lines, names),
        run_time_h=run_time(reading, lines, places),
    )


def _sources(lines: Iterable[Line]) -> tuple[str, ...]:
    kinds = "radio_channel", "sensor"
    return tuple(str(line.token(1)) for line in lines if line.kind in kinds)


def _title(reading: Reading, lines: Sequence[Line], places: dict[str, Origin]) -> str:
    shows = [line for line in lines if line.kind == "show"]
    for extra in shows[1:]:
        reading.error(
            "duplicate-line",
            "`show` is stated twice",
            extra,
            related=((shows[0], "first stated here"),),
            help="a file holds one show",
            fix=reading.said_again(shows[0], extra),
        )
    if not shows:
        return ""
    places["show"] = Origin(reading.span(shows[0]), (("title", reading.span(shows[0].items[1])),))
    return str(shows[0].token(1))[1:-1]


def _named(
    reading: Reading, texts: Sequence[CueText], gestures: Sequence[GestureText]
) -> dict[str, CueText | GestureText]:
    """Cues and gestures by name, the first of a name only: `play` may mean either."""
    every: list[CueText | GestureText] = [*texts, *gestures]
    every.sort(key=start_of)
    kind = "cue" if not gestures else "gesture" if not texts else "cue or gesture"
    names = declared(reading, kind, (text.name for text in every))
    by_name = {id(text.name): text for text in every}
    return {name: by_name[id(token)] for name, token in names.items()}


# -- cues that play cues -----------------------------------------------------------------------


def _statements(text: CueText | GestureText) -> Iterator[StatementText]:
    pending = list(text.body)
    while pending:
        statement = pending.pop()
        yield statement
        if isinstance(statement, Block):
            pending.extend(statement.body)


def _derived(text: CueText | GestureText) -> bool:
    return any(
        isinstance(statement, ActText | Strike) and (is_derived(statement.pace) or statement.swing)
        for statement in _statements(text)
    )


def _in_order(
    reading: Reading, cues: Mapping[str, CueText | GestureText]
) -> tuple[list[CueText], frozenset[int]]:
    """Cues after those they play, and the places of `play` statements that close a circle.

    A gesture may play cues, and be played by some.

    A depth-first walk with its own stack: a show may chain more cues than Python's stack holds.
    """
    plays = {
        name: sorted(
            (s for s in _statements(text) if isinstance(s, Play) and str(s.cue) in cues),
            key=lambda play: cast("int", play.cue.start_pos),
        )
        for name, text in cues.items()
    }
    order: list[CueText] = []
    state: dict[str, Literal["open", "done"]] = {}
    cut: set[int] = set()
    for root in cues:
        if root in state:
            continue
        state[root] = "open"
        path: list[tuple[str, Iterator[Play]]] = [(root, iter(plays[root]))]
        trail: list[Play] = []
        while path:
            name, rest = path[-1]
            play = next(rest, None)
            if play is None:
                state[name] = "done"
                done = cues[name]
                if isinstance(done, CueText):
                    order.append(done)
                path.pop()
                if trail:
                    trail.pop()
                continue
            target = str(play.cue)
            if target not in state:
                state[target] = "open"
                path.append((target, iter(plays[target])))
                trail.append(play)
            elif state[target] == "open":
                cut.add(id(play))
                start = [step for step, _ in path].index(target)
                circle = [step for step, _ in path[start:]]
                _circle(reading, circle, [*trail[start:], play], isinstance(cues[target], CueText))
    return order, frozenset(cut)


def _circle(reading: Reading, names: Sequence[str], plays: Sequence[Play], is_cue: bool) -> None:
    chain = [*names, names[0]]
    shown = chain if len(chain) <= 8 else [*chain[:4], "...", *chain[-3:]]
    text = " plays ".join(f"`{name}`" if name != "..." else name for name in shown)
    reading.error(
        "cue-calls-itself",
        f"the {'cue' if is_cue else 'gesture'} `{names[0]}` would never end: {text}",
        plays[-1],
        "closes the circle",
        related=tuple((play, f"plays `{play.cue}`") for play in plays[:-1][:6]),
        help="take one of the `play` lines out, or use `repeat`",
    )


# -- steps -------------------------------------------------------------------------------------


def _cues(
    stage: Stage, order: Sequence[CueText], rig: Rig, kept: KeptCues | None = None
) -> dict[str, CueAndPart]:
    """By name, each cue and its part for letting go, if it has one."""
    missing = frozenset(stage.outputs) - {output.name for output in rig.outputs}
    if kept is None:
        return {str(text.name): _made(stage, text, missing) for text in order}
    return {str(text.name): _kept(stage, text, missing, kept) for text in order}


def _kept(stage: Stage, text: CueText, missing: frozenset[str], known: KeptCues) -> CueAndPart:
    """A cue as the last version had it, if it still says the same; else made, and kept."""
    reading, tally = stage.reading, stage.tally
    if any(isinstance(statement, Play) for statement in _statements(text)):
        return _made(stage, text, missing)
    start, end = place(text)
    words = reading.source.text[start:end]
    found = known.find(words)
    if found is not None and tally.steps + found.steps <= MOST_STEPS_OF_SHOW:
        tally.steps += found.steps
        reading.origins.take(found.nodes, start - found.start)
        cast("dict[str, Made]", stage.played)[str(text.name)] = found.body
        known.keep(words, found)
        return found.cues
    mark, steps = reading.origins.next_mark, tally.steps
    noted = len(reading.findings), reading.added_to
    cues = _made(stage, text, missing)
    if (len(reading.findings), reading.added_to) == noted and not tally.is_full:
        nodes, body = reading.origins.since(mark), stage.played[str(text.name)]
        known.keep(words, KeptCue(start, body, cues, nodes, tally.steps - steps))
    return cues


def _made(stage: Stage, text: CueText, missing: frozenset[str]) -> CueAndPart:
    name = str(text.name)
    last = text.busy or text.title or text.name
    statements, part = _apart(text)
    way = stage.reading.ways.get(id(text))
    with stage.reading.passing(way) if way else nullcontext():
        begin = len(stage.reading.findings)
        body = CueMaker(stage).make(statements, text.keyword, last)
        told_first(stage.reading, text, begin)
    if missing:
        body = body._replace(body=cast("InTurn", without(body.body, missing)))
    cast("dict[str, Made]", stage.played)[name] = body
    seed = _seed(stage.reading, text)
    scaled = None
    if text.scaling is not None:
        scaled = stage.reading.tried(scaling, stage.reading, text.scaling, stage.sources)
    cue = Cue(
        name=name,
        title="" if text.title is None else str(text.title)[1:-1],
        body=numbered(body.body, crc32(name.encode()) & SEED_MAX if seed is None else seed),
        conflict="take" if text.busy is None else cast("Literal['take']", str(text.busy)),
        mark=stage.reading.origins.mark(
            text.keyword,
            last,
            ("name", text.name),
            ("title", text.title),
            ("conflict", text.busy),
        ),
        let_go=None if part is None else part_name(name),
        seed=seed,
        scaling=scaled,
    )
    with stage.reading.passing(way) if way else nullcontext():
        return (cue,) if part is None else (cue, _part(stage, cue, part, missing))


def _seed(reading: Reading, text: CueText) -> int | None:
    if text.seed is None:
        return None
    return reading.tried(reading.count, text.seed, "a seed", 0, SEED_MAX)


def _apart(text: CueText) -> tuple[tuple[StatementText, ...], Block | None]:
    """What a cue does, and its part for letting go."""
    last = text.body[-1]
    if isinstance(last, Block) and last.kind == "when let go":
        return text.body[:-1], last
    return text.body, None


def _part(stage: Stage, cue: Cue, block: Block, missing: frozenset[str]) -> Cue:
    """The part for letting go of a cue, as a cue of its own."""
    keyword = block.head[0]
    body: Step | None = CueMaker(stage, is_part=True).make(block.body, keyword, keyword).body
    if missing:
        body = without(cast("Step", body), missing)
    mark = stage.reading.origins.mark(keyword, keyword, ("name", keyword))
    body = numbered(cast("Step", body), 0)
    return Cue(part_name(cue.name), "", body, "take", mark, scaling=cue.scaling)


def _unplayed(reading: Reading, gestures: Mapping[str, Gesture], cues: Iterable[CueText]) -> None:
    """A finding for each gesture that no cue comes to: nothing in it has been looked at."""
    pending = [str(play.cue) for cue in cues for play in plays_in(cue.body)]
    played: set[str] = set()
    while pending:
        name = pending.pop()
        if name in gestures and name not in played:
            played.add(name)
            pending += (str(play.cue) for play in plays_in(gestures[name].text.body))
    for name, one in gestures.items():
        if name not in played:
            reading.error(
                "gesture-unplayed",
                f"no cue plays the gesture `{name}`, so what it does is not checked",
                one.text.name,
                help=f"play it in a cue: `play {name}`",
                severity="advice",
            )


def _rest(
    final: Stage, order: Sequence[CueText], rig: Rig, distant: Remote
) -> dict[str, tuple[float, ...]]:
    """Where each servo can be left: read off the score before its durations are known.

    Fills the stage's `loops`, too. What this pass finds wrong, the real one finds again.
    """
    from sim.score.planned_moves import rest_angles

    draft = final.reading.apart()
    stage = final._replace(
        reading=draft, pacer=Pacer(draft, rig, True), rest={}, played={}, tally=Tally(), delays={}
    )
    made = _cues(stage, order, rig)
    cues = tuple(cue for several in made.values() for cue in several)
    return rest_angles(Show(rig, Score(title="", cues=cues, idle=distant.idle)))
