"""A motion that somebody made by hand, as a gesture of the language: takes in, lines of text out.

A take is what one servo was given while somebody turned it. Its pulses become places by the points
of the text, and `sim.score.fitting` finds the fewest moves that stay close to them. What the servo
cannot do is made so that it can, and told: places beyond the travel are drawn in, moves that are
too quick last longer. Then the gesture is tried in a copy of the show, played by a cue of its own,
because a gesture that nothing plays is not checked; its remedies for the gesture's lines are taken.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from seqlang.calibration import reread
from seqlang.check import check
from seqlang.jogging import estimated_place
from seqlang.meaning.write_numbers import INDENT
from seqlang.meaning.write_score import step_lines
from seqlang.remedy_rounds import FileChange, file_change
from seqlang.text.findings import Finding
from seqlang.text.names import RESERVED
from seqlang.text.source import Source
from sim.model import Hold, InTurn, Move, Rig, Servo, Step, Together
from sim.rig.slide import of_part
from sim.score.fitting import FittedMotion, fitted
from sim.strain.shortest import Impossible, shortest_duration_ms

if TYPE_CHECKING:
    from seqlang.loading import Loaded

USUAL_DEG: Final = 1.5
"""How far moves may lie beside what was recorded: what nobody sees on a moving part (own
judgement)."""
_USUAL_SHARE: Final = 0.03
"""Of the travel, for parts that are not measured in degrees."""
_MOST_ROUNDS: Final = 60
_NAME: Final = re.compile(r"[^\W\d]\w*")


@dataclass(frozen=True, slots=True)
class Take:
    """What one servo was given: pulses (us) at moments (s, rising, from the take's beginning)."""

    servo: str
    times_s: tuple[float, ...]
    pulses_us: tuple[float, ...]

    @property
    def lasts_s(self) -> float:
        return self.times_s[-1]


@dataclass(frozen=True, slots=True)
class FittedPart:
    """A take as moves that its servo can do by itself."""

    servo: Servo
    motion: FittedMotion
    """As it was found; the last word on durations have `steps`."""
    steps: tuple[Step, ...]
    tolerance: float
    samples: int
    told: tuple[str, ...]
    """What was changed so that the servo can do it, and what it cannot do at all."""


@dataclass(frozen=True, slots=True)
class TriedGesture:
    """A gesture for the text, and what trying it in a copy of the show brought."""

    name: str
    lines: tuple[str, ...]
    longer: tuple[tuple[str, str], ...]
    """Lines that had to change, as they were and as they are."""
    wrong: tuple[Finding, ...]
    """Errors of the check in the gesture that no other duration mends."""


def usual_tolerance(servo: Servo) -> float:
    """In the unit of the servo's part."""
    low, high = servo.travel_deg
    return USUAL_DEG if of_part(servo).place == "deg" else _USUAL_SHARE * (high - low)


def is_taken(loaded: Loaded, name: str) -> bool:
    """Whether a cue or a gesture has this name, also one of a side, of a row or of another file.

    `loaded` has no errors of reading. The language itself is asked, by a gesture of that name that
    is played: names of sides and rows come about only when something plays.
    """
    path = next(iter(loaded.sources))
    text = with_gesture(loaded.sources[path].text, (f"gesture {name}", f"{INDENT}hold 1 s"))
    text = with_gesture(text, (f"cue {name}_tried", f"{INDENT}play {name}"))
    found = reread(path, loaded.sources, {path: text}).findings
    return any(one.name == "duplicate-name" and f"`{name}`" in one.message for one in found)


def why_no_name(name: str, loaded: Loaded) -> str:
    """Why a new gesture of this show cannot have this name; empty if it can."""
    if not _NAME.fullmatch(name):
        return "a name is letters, digits and `_`, and begins with a letter or `_`"
    if name in RESERVED:
        return "that is a word of the language"
    return "the show has a cue or a gesture of that name" if is_taken(loaded, name) else ""


def free_name(loaded: Loaded, word: str = "by_hand", but: str = "") -> str:
    """The word, or the first `WORD_2`, `WORD_3` ... that is free; `but` is not."""
    names = (word, *(f"{word}_{number}" for number in range(2, 10_000)))
    return next(name for name in names if name != but and not is_taken(loaded, name))


# -- takes to moves --------------------------------------------------------------------------------


def fitted_part(rig: Rig, servo: Servo, take: Take, tolerance: float) -> FittedPart:
    """The fewest moves for a take. Raises `sim.score.fitting.NotFittedError`."""
    places = np.array([estimated_place(servo.points, pulse) for pulse in take.pulses_us])
    low, high = servo.travel_deg
    inside = np.clip(places, low, high)
    told = []
    if (beyond := float(np.abs(places - inside).max())) > 0.05:
        unit = of_part(servo).place
        told.append(
            f"the hand went {beyond:.1f} {unit} beyond the travel; the gesture goes to its end"
        )
    motion = fitted(take.times_s, inside, tolerance)
    steps = tuple(_steps(rig, servo, motion, told))
    return FittedPart(servo, motion, steps, tolerance, len(take.times_s), tuple(told))


def _steps(rig: Rig, servo: Servo, motion: FittedMotion, told: list[str]) -> Iterator[Step]:
    low, high = servo.travel_deg
    place, unit = motion.start, of_part(servo).place
    for stretch in motion.stretches:
        if stretch.law is None:
            yield Hold(stretch.duration_ms)
            continue
        target = min(max(stretch.place, low), high)
        where = f"the move from {place:g} to {target:g} {unit}"
        try:
            least_ms = shortest_duration_ms(rig, servo, place, target, stretch.law)
        except Impossible as reason:
            told.append(f"{where} is more than the servo can do: {reason}")
            least_ms = 0
        if least_ms > stretch.duration_ms:
            told.append(
                f"{where} took {stretch.duration_ms} ms by hand; the servo needs {least_ms} ms"
            )
        yield Move(servo.name, target, max(least_ms, stretch.duration_ms), stretch.law)
        place = target


def body(parts: Sequence[FittedPart]) -> Step:
    """One part's steps in turn; those of several together, each from the beginning of its take."""
    if len(parts) == 1:
        return InTurn(parts[0].steps)
    return Together(tuple(InTurn(tuple(_from_beginning(part))) for part in parts))


def _from_beginning(part: FittedPart) -> Iterator[Step]:
    before_ms = 10 * round(100.0 * part.motion.start_s)
    if before_ms > 0:
        yield Hold(before_ms)
    yield from part.steps


# -- moves to text ---------------------------------------------------------------------------------


def gesture_lines(name: str, parts: Sequence[FittedPart], rig: Rig) -> tuple[str, ...]:
    """The gesture in the cue language; its first lines say where it was recorded."""
    says = []
    for part in parts:
        unit = of_part(part.servo).place
        says.append(
            f"{INDENT}# by hand: {part.servo.name} from {part.motion.start:g} {unit}, at most "
            f"{part.motion.worst_miss:.2g} {unit} off"
        )
    return (f"gesture {name}", *says, *step_lines(body(parts), 1, rig))


def with_gesture(text: str, lines: Sequence[str]) -> str:
    """A file's text with a gesture behind it; nothing else of it changes."""
    tabs = re.search(r"^\t", text, re.MULTILINE) is not None
    block = "".join(_indented(line, tabs) + "\n" for line in lines)
    end = "" if text.endswith("\n") or not text else "\n"
    gap = "" if text.endswith("\n\n") else "\n"
    return f"{text}{end}{gap}{block}"


def _indented(line: str, tabs: bool) -> str:
    inside = line.lstrip(" ")
    depth = (len(line) - len(inside)) // len(INDENT)
    return ("\t" if tabs else INDENT) * depth + inside


def tried(loaded: Loaded, name: str, lines: Sequence[str]) -> TriedGesture:
    """The gesture as it passes the check in a copy of the show that plays it.

    `loaded` has no errors of reading. What lies outside the gesture is never changed.
    """
    path = next(iter(loaded.sources))
    text = loaded.sources[path].text
    probe = free_name(loaded, "try_it", name)
    whole = with_gesture(with_gesture(text, lines), (f"cue {probe}", f"{INDENT}play {name}"))
    first = with_gesture(text, ()).count("\n") + 1
    rows = range(first, first + len(lines))
    longer: list[tuple[str, str]] = []
    for _ in range(_MOST_ROUNDS):
        findings = check(reread(path, loaded.sources, {path: whole})).findings
        source = Source(path, whole)
        wrong = _wrong_in(source, findings, rows)
        change = next((made for one in wrong if (made := _change(one, source, rows))), None)
        if change is None:
            break
        longer.append((change.before[0].strip(), change.after[0].strip()))
        whole = change.text
    now = whole.split("\n")[first - 1 : first - 1 + len(lines)]
    return TriedGesture(name, tuple(now), tuple(longer), wrong)


def tried_source(loaded: Loaded, made: TriedGesture) -> Source:
    """The main file with the gesture, in which the places of `TriedGesture.wrong` lie."""
    path = next(iter(loaded.sources))
    return Source(path, with_gesture(loaded.sources[path].text, made.lines))


def _wrong_in(source: Source, findings: Sequence[Finding], rows: range) -> tuple[Finding, ...]:
    return tuple(
        one
        for one in findings
        if one.severity == "error"
        and one.span.path == source.path
        and source.line_number(one.span.start) in rows
    )


def _change(finding: Finding, source: Source, rows: range) -> FileChange | None:
    """What the finding's remedy changes, if that is one line of the gesture."""
    if finding.fix is None or list(finding.fix.by_file) != [source.path]:
        return None
    change = file_change(source, finding.fix)
    return change if change.line in rows and len(change.after) == 1 else None


def takes_in_order(takes: Mapping[str, Take], rig: Rig) -> list[tuple[Servo, Take]]:
    """Takes with their servos, in the order of the text; of servos that it has no more, none."""
    servos = [output for output in rig.outputs if isinstance(output, Servo)]
    return [(servo, takes[servo.name]) for servo in servos if servo.name in takes]
