"""Measured calibration points put into a show's text: only those numbers of it change.

A point is measured on the real servo: the pulse that it gets, and where its part then stands. The
text may say that in other words: with a trim on top, by a constant, in brackets for several like
parts. So nothing here reads the text for itself. It is changed, read anew, and held against what
was measured; a change that would reach another servo is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from seqlang.loading import read_text
from seqlang.remedy_rounds import changed_file
from seqlang.text.findings import Fix, Span, applied
from seqlang.text.source import Source
from seqlang.text.units import ANGLE, LENGTH, SPEED, TIME, UNITS, Dimension, parse_quantity
from sim.model import Servo
from sim.rulebook import CALIBRATION_POINTS

if TYPE_CHECKING:
    from seqlang.loading import Loaded
    from seqlang.text.findings import Origin
    from sim.model import CalibrationPoint

_SAME: Final = 1e-6
"""Pulses (us) and places (deg, mm, rpm) that differ by less are the same: what floats leave."""

_PLACES: Final[Mapping[Dimension, tuple[Fraction, str]]] = {
    ANGLE: (Fraction(1), "deg"),
    LENGTH: (Fraction(1000), "mm"),
    SPEED: (Fraction(1, 6), "rpm"),
}
"""Where a part stands, or how fast it turns, by dimension: model units per coherent unit."""

_POINT: Final = re.compile(r"\s*(\S+?) *([^\s0-9.]\S*)\s+at\s+(\S+?) *([^\s0-9.]\S*)\s*")
_PROBES: Final = (1500, 1600)
"""Pulses (us) that every servo may have with any trim, for finding out what stands where."""


class CalibrationRefusedError(Exception):
    """The points make no calibration, or the text cannot hold them; its words say why."""


@dataclass(frozen=True, slots=True)
class MeasuredPoint:
    """The pulse (us) that a servo gets, and where its part stands with it (deg, mm or rpm)."""

    pulse_us: Fraction
    place: Fraction
    unit: str
    """Of `place`, as the model has it: `deg`, `mm`, `rpm`."""
    pulse_text: str
    place_text: str

    def __str__(self) -> str:
        return f"{self.pulse_text} at {self.place_text}"


@dataclass(frozen=True, slots=True)
class Recalibrated:
    """A show's text with other points for one servo. `fix` is None if they stand there already."""

    before: Servo
    after: Servo
    fix: Fix | None
    loaded: Loaded
    """The show as it reads with the change."""
    unit: str
    """Of where the part stands: `deg`, `mm`, `rpm`."""


def read_points(texts: Sequence[str]) -> tuple[MeasuredPoint, ...]:
    """Points as `pulse` lines write them, in ascending place; one text may hold several.

    Raises CalibrationRefusedError, in words, for what is none, and for points that contradict.
    """
    written = [part for text in texts for part in text.split(",")]
    points = sorted(map(_read_point, written), key=lambda point: point.place)
    most = CALIBRATION_POINTS[-1]
    if len(points) > most:
        raise CalibrationRefusedError(
            f"{len(points)} points are given, and a calibration has at most {most}"
        )
    for one, other in pairwise(points):
        if one.unit != other.unit:
            raise CalibrationRefusedError(f"`{one}` and `{other}` measure different things")
        if one.place == other.place:
            raise CalibrationRefusedError(f"`{one}` and `{other}` are at the same place")
    rises = [b.pulse_us - a.pulse_us for a, b in pairwise(points)]
    if not (all(rise > 0 for rise in rises) or all(rise < 0 for rise in rises)):
        words = ", ".join(map(str, points))
        raise CalibrationRefusedError(
            f"the pulses of `{words}` must all rise or all fall; measure again"
        )
    return tuple(points)


def _read_point(text: str) -> MeasuredPoint:
    found = _POINT.fullmatch(text)
    try:
        if found is None:
            raise ValueError
        pulse_text, place_text = f"{found[1]} {found[2]}", f"{found[3]} {found[4]}"
        pulse, place = parse_quantity(pulse_text), parse_quantity(place_text)
        per_unit, unit = _PLACES[place.dimension]
        if pulse.dimension != TIME:
            raise ValueError
    except (ValueError, KeyError, ZeroDivisionError):
        raise CalibrationRefusedError(
            f"`{text.strip()}` is not a point: write the pulse and where the part stands with it, "
            "such as `1010 us at 0 deg`, `1010 us at 0 mm` or `1500 us at 0 rpm`"
        ) from None
    return MeasuredPoint(
        pulse.value / UNITS["us"][0], place.value * per_unit, unit, pulse_text, place_text
    )


def reread(path: str, sources: Mapping[str, Source], texts: Mapping[str, str]) -> Loaded:
    """The show of `path` with `texts` in place of files; raises nothing, as `load`."""
    main = texts.get(path, sources[path].text)
    return read_text(Source(path, main), read_file=partial(changed_file, texts))


def servo_called(loaded: Loaded, name: str) -> Servo:
    """The servo of that name. Raises CalibrationRefusedError with the names that there are."""
    servos = _servos(loaded)
    named = [servo for servo in servos if servo.name == name]
    if named:
        return named[0]
    like = [servo.name for servo in servos if loaded.told.bases.get(servo.name) == name]
    if like:
        raise CalibrationRefusedError(
            f"`{name}` is several servos, and each has points of its own: {_listed(like)}"
        )
    there = f"there is {_listed(s.name for s in servos)}" if servos else "the show has none"
    raise CalibrationRefusedError(f"there is no servo `{name}`; {there}")


def recalibrated(loaded: Loaded, name: str, points: Sequence[MeasuredPoint]) -> Recalibrated:
    """The show with these points for one servo, whatever trim its text adds.

    `loaded` has no errors of reading. `points` as `read_points` gives them.

    Raises CalibrationRefusedError if the text cannot hold them, or if more than this servo would
    change.
    """
    servo = servo_called(loaded, name)
    if len(points) < CALIBRATION_POINTS[0] and points[0].unit != "rpm":  # those may have one
        raise CalibrationRefusedError(
            f"`{points[0]}` is one point, and a calibration needs two or more; measure another, "
            "far from it"
        )
    text = _Text(loaded, servo)
    text.demand_unit(points[0])
    if _same_points(servo.points, points):
        return Recalibrated(servo, servo, None, loaded, points[0].unit)
    fix = text.other_points(points)
    after = text.read_with(fix)
    _demand_read(after)
    now = servo_called(after, name)
    others = {one.name: one.points for one in _servos(loaded) if one.name != name}
    are = {one.name: one.points for one in _servos(after) if one.name != name}
    if not _same_points(now.points, points) or others != are:
        raise CalibrationRefusedError(
            f"the `pulse` line of `{name}` cannot be changed for it alone; write the points there "
            "by hand"
        )
    return Recalibrated(servo, now, fix, after, points[0].unit)


def _demand_read(loaded: Loaded) -> None:
    wrong = [finding for finding in loaded.findings if finding.severity == "error"]
    if wrong:
        raise CalibrationRefusedError(f"{wrong[0].message} ({wrong[0].name})")


def _servos(loaded: Loaded) -> list[Servo]:
    outputs = loaded.show.rig.outputs if loaded.show else ()
    return [output for output in outputs if isinstance(output, Servo)]


class _Text:
    """The text that says one servo's points."""

    def __init__(self, loaded: Loaded, servo: Servo) -> None:
        self._loaded = loaded
        self._servo = servo
        self._path = next(iter(loaded.sources))
        own = loaded.origins[servo.mark]
        self._parts = dict(own.parts)
        self._count = len(servo.points)
        self._trims: dict[int, dict[str, float]] = {}
        """By point of the text, of twins that have the same number there."""
        self._twins = [
            other
            for other in _servos(loaded)
            if other is not servo and _begins(loaded.origins[other.mark]) == _begins(own)
        ]

    def read_with(self, fix: Fix) -> Loaded:
        sources = self._loaded.sources
        texts = {path: applied(sources[path].text, one) for path, one in fix.by_file.items()}
        return reread(self._path, sources, texts)

    def demand_unit(self, point: MeasuredPoint) -> None:
        """Whether the part is measured in degrees, along a line or in turns, the text knows."""
        _demand_read(self.read_with(Fix(self._parts["angle 1"], point.place_text)))

    def other_points(self, points: Sequence[MeasuredPoint]) -> Fix:
        order, trim_us = self._probed()
        if len(points) == self._count:
            return self._in_place(points, order, trim_us)
        if self._twins:
            raise CalibrationRefusedError(
                f"`{self._servo.name}` shares its line of {self._count} points with "
                f"{_listed(twin.name for twin in self._twins)}; measure {self._count} points, or "
                "write them there by hand"
            )
        falls = order[0] > order[-1]
        return self._all_anew(points[::-1] if falls else points, trim_us)

    def _in_place(
        self, points: Sequence[MeasuredPoint], order: Sequence[int], trim_us: Fraction
    ) -> Fix:
        """Each number that differs is replaced where it stands."""
        changes: list[tuple[Span, str]] = []
        rows = zip(points, self._servo.points, order, strict=True)
        for index, (point, is_, number) in enumerate(rows):
            if abs(float(point.pulse_us) - is_.pulse_us) > _SAME:
                theirs = {
                    twin.name: _us(twin.points[index].pulse_us - self._trims[number][twin.name])
                    for twin in self._twins
                }
                mine = _less(point, trim_us)
                changes.append(self._for_each(f"pulse {number}", mine, theirs))
            if abs(float(point.place) - is_.angle_deg) > _SAME:
                theirs = {
                    twin.name: f"{twin.points[index].angle_deg:.6g} {point.unit}"
                    for twin in self._twins
                }
                changes.append(self._for_each(f"angle {number}", point.place_text, theirs))
        return Fix(*changes[0], tuple(changes[1:]))

    def _all_anew(self, points: Sequence[MeasuredPoint], trim_us: Fraction) -> Fix:
        """As many points as stand there in their places, the rest behind them or taken out."""
        changes: list[tuple[Span, str]] = []
        kept = min(len(points), self._count)
        for number, point in enumerate(points[:kept], 1):
            changes.append((self._parts[f"pulse {number}"], _less(point, trim_us)))
            changes.append((self._parts[f"angle {number}"], point.place_text))
        end = self._parts[f"angle {self._count}"].end
        last, words = changes.pop()
        more = "".join(
            f", {_less(point, trim_us)} at {point.place_text}" for point in points[kept:]
        )
        changes.append((Span(last.path, last.start, end), words + more))
        return Fix(*changes[0], tuple(changes[1:]))

    def _for_each(self, part: str, mine: str, theirs: Mapping[str, str]) -> tuple[Span, str]:
        """What stands in the place of a number from now on.

        Where it is that of like parts, too: brackets with a value for each, of which the others
        keep theirs. Raises CalibrationRefusedError where brackets cannot say it.
        """
        span = self._parts[part]
        origins = self._loaded.origins
        alike = [
            one
            for one in sorted([self._servo, *self._twins], key=lambda one: one.mark)
            if _part(origins[one.mark], part) == span
        ]
        if len(alike) == 1:
            return span, mine
        name = self._servo.name
        base = self._loaded.told.bases.get(name, name)
        values = [mine if one.name == name else theirs[one.name] for one in alike]
        if [one.name for one in alike] == [f"{base}_{n}" for n in range(1, len(alike) + 1)]:
            return span, f"({', '.join(values)})"
        sides = [one.name.removesuffix(f"_{base}") for one in alike]
        if len(sides) == 2 and all(one.name.endswith(f"_{base}") for one in alike):
            pairs = (f"{side}: {value}" for side, value in zip(sides, values, strict=True))
            return span, f"({', '.join(pairs)})"
        text = self._loaded.sources[span.path].text[span.start : span.end]
        line = self._loaded.sources[span.path].line_number(span.start)
        raise CalibrationRefusedError(
            f"{span.path}:{line}: `{text}` holds for "
            f"{_listed(one.name for one in alike if one is not self._servo)} too, and values in "
            "brackets cannot stand there; give each of these parts lines of its own, or a trim"
        )

    def _probed(self) -> tuple[list[int], Fraction]:
        """Which point of the text (from 1) each of the servo's points is, and the trim on it.

        Found out by changing one pulse of the text after the other.
        """
        found = [self._probe(number) for number in range(1, self._count + 1)]
        order = sorted(range(1, self._count + 1), key=lambda number: found[number - 1][0])
        return order, Fraction(str(round(found[0][1], 6)))

    def _probe(self, number: int) -> tuple[int, float]:
        """The place of a point of the text among the servo's points, and the trim on it."""
        was = self._servo.points
        for pulse_us in _PROBES:
            read = self.read_with(Fix(self._parts[f"pulse {number}"], f"{pulse_us} us"))
            now = servo_called(read, self._servo.name).points
            for index, (one, other) in enumerate(zip(was, now, strict=True)):
                if one != other:
                    self._trims[number] = {
                        twin.name: servo_called(read, twin.name).points[index].pulse_us - pulse_us
                        for twin in self._twins
                        if len(twin.points) == len(now)
                    }
                    return index, other.pulse_us - pulse_us
        raise CalibrationRefusedError(f"the `pulse` line of `{self._servo.name}` cannot be changed")


def _part(origin: Origin, name: str) -> Span | None:
    return next((span for key, span in origin.parts if key == name), None)


def _begins(origin: Origin) -> tuple[str, int]:
    """Where a servo's `pulse` line begins."""
    span = origin.part("pulse")
    return span.path, span.start


def _same_points(are: Sequence[CalibrationPoint], wanted: Sequence[MeasuredPoint]) -> bool:
    return len(are) == len(wanted) and all(
        abs(one.pulse_us - float(point.pulse_us)) <= _SAME
        and abs(one.angle_deg - float(point.place)) <= _SAME
        for one, point in zip(are, wanted, strict=True)
    )


def _less(point: MeasuredPoint, trim_us: Fraction) -> str:
    """A pulse as the text has it, to which a trim is added."""
    if not trim_us:
        return point.pulse_text
    return _us(float(point.pulse_us - trim_us))


def _us(pulse_us: float) -> str:
    return f"{pulse_us:.6f}".rstrip("0").rstrip(".") + " us"


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def spliced(raw: bytes, text: str, fix: Fix) -> bytes:
    """A file's bytes with a change made that is located in its decoded text.

    All other bytes stay, whatever line ends and marks they are. Lines that come get the line ends
    that most have.
    """
    decoded = raw.decode("utf-8")
    line_end = "\r\n" if 2 * decoded.count("\r\n") > decoded.count("\n") else "\n"
    shift = len(decoded) - len(decoded.removeprefix("\ufeff"))
    starts = [shift, *(end.end() for end in re.finditer(r"\r\n|\r|\n", decoded))]
    source = Source("", text)
    for span, instead in reversed(fix.places):
        line = source.line_number(span.start)
        start = starts[line - 1] + source.column_number(span.start) - 1
        end = start + span.end - span.start
        if decoded[start:end] != text[span.start : span.end]:
            raise ValueError("the file has changed since it was read")
        decoded = decoded[:start] + instead.replace("\n", line_end) + decoded[end:]
    return decoded.encode("utf-8")
