"""Samples of a rehearsal at any times: motion, light, switches.

Motion is evaluated piece by piece in closed form. The moving samples of many pieces with one law
are gathered into blocks that stay in the processor's cache, so that short moves cost little more
than long ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array, Flags, Indices, Integers
from sim.light.effects import FULL, multipliers
from sim.light.lightness import colour_luminance, luminance
from sim.model import Lamp, Law, LevelBar, Servo, Strip, Switch
from sim.rehearsal.followers import FollowedSpan
from sim.rehearsal.motion import MotionPiece
from sim.rehearsal.shining import shone
from sim.rehearsal.trajectories import Fading, Modulation, Piece, TimeSpan, Trajectories, takes_over
from sim.rulebook import BAR_ENDS, EFFECT_STEPS, FRAME_MS, LEVEL_MAX
from sim.score.laws import forms, position

BLOCK: Final = 8192
"""Samples a block: a few arrays of this size fit the second-level cache."""

MS_PER_S: Final = 1000.0


@dataclass(frozen=True)
class ServoSamples:
    """One servo over the sampled times, arrays of their length.

    Where `powered` is False the servo gets no pulses; the angle is where it would be told to go.
    `under_way`: it is told to move, from the start of a motion up to its end. That holds where the
    speed is zero for an instant, as where one move ends and the next one leads back.
    """

    angle_deg: Array
    velocity_deg_s: Array
    acceleration_deg_s2: Array
    jerk_deg_s3: Array
    powered: Flags
    under_way: Flags


@dataclass(frozen=True)
class LampSamples:
    """One lamp over the sampled times; its luminance is relative (0 to 1) and equals its duty."""

    level_pct: Array
    luminance: Array


@dataclass(frozen=True)
class StripSamples:
    """One strip over the sampled times: arrays of shape (times, pixels, 3), red, green, blue.

    `linear` is each channel's duty (0 to 1), after the strip's current cap.
    """

    level_pct: Array
    linear: Array

    @property
    def luminance(self) -> Array:
        """Relative luminance of each pixel, shape (times, pixels)."""
        return colour_luminance(self.linear)


@dataclass(frozen=True)
class Samples:
    times_ms: Array
    servos: dict[str, ServoSamples]
    lamps: dict[str, LampSamples]
    strips: dict[str, StripSamples]
    switches: dict[str, Flags]


def sample(trajectories: Trajectories, times_ms: ArrayLike) -> Samples:
    """Everything at `times_ms`, a row of times in any order.

    Strips take 48 bytes a pixel and time: ask for long spans at the player's frame rate or less.
    """
    times = np.asarray(times_ms, dtype=np.float64)
    servos: dict[str, ServoSamples] = {}
    lamps: dict[str, LampSamples] = {}
    strips: dict[str, StripSamples] = {}
    switches: dict[str, Flags] = {}
    for output in trajectories.show.rig.outputs:
        name = output.name
        match output:
            case Servo() if name in trajectories.motions:
                angle, velocity, acceleration, jerk = carried_out(trajectories, name, times)
                angle = np.clip(angle, *output.travel_deg)  # as a board clamps its pulse
                on = within(trajectories.powered[name], times)
                going = under_way(trajectories, name, times)
                servos[name] = ServoSamples(angle, velocity, acceleration, jerk, on, going)
            case Lamp() if name in trajectories.lights:
                lamps[name] = _lamp(trajectories, output, times)
            case Strip() if name in trajectories.lights:
                strips[name] = _strip(trajectories, output, times)
            case Switch() if name in trajectories.switches:
                row = trajectories.switches[name]
                thrown = np.array([piece.on for piece in row])
                switches[name] = thrown[_piece_at(row, times)]
    return Samples(times, servos, lamps, strips, switches)


def carried_out(trajectories: Trajectories, name: str, times_ms: Array) -> tuple[Array, ...]:
    """A servo's angle and its three derivatives: by its own row, or as it follows a source."""
    found = motion(trajectories.motions[name], times_ms, 3)
    for span, here in _followed(trajectories, name, times_ms):
        for part, value in zip(found, span.motion(times_ms[here]), strict=False):
            part[here] = value
        found[3][here] = 0.0
    return found


def under_way(trajectories: Trajectories, name: str, times_ms: Array) -> Flags:
    """Whether a servo is told to move at each of the times; see `ServoSamples`."""
    row = trajectories.motions[name]
    found = within(_moving_spans(row), times_ms)
    for span, here in _followed(trajectories, name, times_ms):
        found[here] = span.changes(times_ms[here])
    return found


def _moving_spans(row: Sequence[MotionPiece]) -> list[TimeSpan]:
    """When the pieces of a row move the part: each up to its end, or until the next takes over.

    A brake and the swell after it are one motion, also where the part turns round between them.
    """
    spans: list[TimeSpan] = []
    starts = takes_over(row).tolist()
    for piece, first, last in zip(row, starts, [*starts[1:], np.inf], strict=True):
        if piece.way_deg == piece.residual_deg == 0.0:
            continue
        begin = piece.begin_ms if piece.residual_deg == 0.0 else piece.start_ms
        span = TimeSpan(max(begin, first), min(piece.end_ms, last))
        if span.end_ms > span.start_ms:
            spans.append(span)
    return spans


def _followed(
    trajectories: Trajectories, name: str, times_ms: Array
) -> Iterator[tuple[FollowedSpan, Flags]]:
    """The spans in which an output follows a source, and which of the times lie in each."""
    for span in trajectories.followed.get(name, ()):
        yield span, (times_ms >= span.times_ms[0]) & (times_ms < span.end_ms)


# -- motion ---------------------------------------------------------------------------------------


def motion(
    row: Sequence[MotionPiece], times_ms: ArrayLike, order: int = 2, out: Array | None = None
) -> tuple[Array, ...]:
    """Angle and its derivatives up to `order` (3: jerk), in deg and s, at times in any order.

    Before the first piece the part rests where that piece begins. At an instant where a piece
    begins or ends, the value of the later side stands. `out`, of shape (order + 1, times), takes
    the result where many rows are sampled one after another.
    """
    times = np.asarray(times_ms, dtype=np.float64)
    whole = np.empty((order + 1, times.size)) if out is None else out
    if times.size and np.any(times[1:] < times[:-1]):
        by_time = np.argsort(times, kind="stable")
        whole[:, by_time] = motion(row, times[by_time], order)
        return tuple(whole)
    _fill(row, times, tuple(whole))
    return tuple(whole)


def _fill(row: Sequence[MotionPiece], times: Array, out: tuple[Array, ...]) -> None:
    sections = _sections(row, times)
    for n in np.flatnonzero(sections.begins > sections.first).tolist():
        _hold(out, sections.first[n], sections.begins[n], row[n].target_deg - row[n].way_deg)
    for n in np.flatnonzero(sections.last > sections.ends).tolist():
        _hold(out, sections.ends[n], sections.last[n], row[n].target_deg)
    swells: dict[Law, list[int]] = {}
    for n in np.flatnonzero(sections.ends > sections.begins).tolist():
        swells.setdefault(row[n].law, []).append(n)
    for law, numbers in swells.items():
        _swell(law, [row[n] for n in numbers], sections, np.array(numbers), times, out)
    braking = sections.first.copy()
    braking[0] = np.searchsorted(times, row[0].start_ms)  # samples before it have nothing to brake
    for n in np.flatnonzero(sections.braked > braking).tolist():
        _brake(row[n], braking[n], sections.braked[n], times, out)


class _Sections(NamedTuple):
    """Per piece of a row: the samples at which it takes over, has braked what was before, begins to
    swell, has swelled to its target, and is replaced by the next."""

    first: Indices
    braked: Indices
    begins: Indices
    ends: Indices
    last: Indices


def _sections(row: Sequence[MotionPiece], times: Array) -> _Sections:
    edges = [
        (
            piece.start_ms + piece.brake_ms,
            piece.begin_ms,
            piece.begin_ms + piece.duration_ms,
        )
        for piece in row
    ]
    braked, begins, ends = np.searchsorted(times, np.array(edges).T)
    first = np.searchsorted(times, takes_over(row))
    first[0] = 0
    last = np.append(first[1:], times.size)
    begins = np.clip(begins, first, last)
    return _Sections(first, np.clip(braked, first, last), begins, np.clip(ends, begins, last), last)


def _hold(out: tuple[Array, ...], first: int, last: int, angle: float) -> None:
    out[0][first:last] = angle
    for part in out[1:]:
        part[first:last] = 0.0


def _swell(
    law: Law,
    pieces: Sequence[MotionPiece],
    sections: _Sections,
    numbers: Indices,
    times: Array,
    out: tuple[Array, ...],
) -> None:
    """Evaluate the swells of all pieces with one law, a block at a time."""
    begin = np.array([piece.begin_ms for piece in pieces])
    rate = np.array([1.0 / piece.duration_ms for piece in pieces])
    way = np.array([piece.way_deg for piece in pieces])
    origin = np.array([piece.target_deg - piece.way_deg for piece in pieces])
    scales = np.vstack(
        [begin, rate, origin, *(way * (MS_PER_S * rate) ** k for k in range(len(out)))]
    )
    for members, first, last in _blocks(sections.begins[numbers], sections.ends[numbers]):
        here = np.repeat(scales[:, members], last - first, axis=1)
        spans = _joined(first, last)
        x = np.concatenate([times[start:stop] for start, stop in spans])
        x -= here[0]
        x *= here[1]
        parts = forms(law, x, len(out) - 1)
        for part, scale in zip(parts, here[3:], strict=True):
            part *= scale
        parts[0] += here[2]
        at = 0
        for start, stop in spans:
            size = stop - start
            for part, whole in zip(parts, out, strict=True):
                whole[start:stop] = part[at : at + size]
            at += size


def _blocks(first: Indices, last: Indices) -> Iterator[tuple[slice, Indices, Indices]]:
    """Which pieces, and which samples of each, make up a block of at most `BLOCK` samples."""
    done = np.concatenate(([0], np.cumsum(last - first)))
    lows = np.arange(0, done[-1], BLOCK)
    highs = np.minimum(lows + BLOCK, done[-1])
    ns = np.searchsorted(done, lows, side="right") - 1
    ms = np.searchsorted(done, highs)
    offset = first - done[:-1]
    for low, high, n, m in zip(*(a.tolist() for a in (lows, highs, ns, ms)), strict=True):
        starts, ends = offset[n:m] + done[n:m], offset[n:m] + done[n + 1 : m + 1]
        starts[0], ends[-1] = offset[n] + low, offset[m - 1] + high
        yield slice(n, m), starts, ends


def _joined(first: Indices, last: Indices) -> list[tuple[int, int]]:
    """The spans of samples, neighbours joined."""
    spans: list[tuple[int, int]] = []
    for start, stop in zip(first.tolist(), last.tolist(), strict=True):
        if spans and spans[-1][1] == start:
            spans[-1] = (spans[-1][0], stop)
        else:
            spans.append((start, stop))
    return spans


def _brake(piece: MotionPiece, first: int, last: int, times: Array, out: tuple[Array, ...]) -> None:
    """Add what is left of the motion before, as it dies away."""
    share = times[first:last] - piece.start_ms
    share /= -piece.brake_ms
    share += 1.0
    rate = 2.0 * piece.residual_deg * MS_PER_S / piece.brake_ms
    if len(out) > 1:
        out[1][first:last] += rate * share
    if len(out) > 2:
        out[2][first:last] -= rate * MS_PER_S / piece.brake_ms
    share *= share
    share *= piece.residual_deg
    out[0][first:last] -= share


def within(spans: Sequence[TimeSpan], times_ms: Array) -> Flags:
    """Whether each time lies in one of the spans, which follow one another; their ends excluded."""
    edges = np.array([edge for span in spans for edge in (span.start_ms, span.end_ms)])
    return np.asarray(np.searchsorted(edges, times_ms, side="right") % 2 == 1)


# -- light ----------------------------------------------------------------------------------------


def _piece_at(row: Sequence[Piece], times: Array) -> NDArray[np.intp]:
    """The index of the piece that holds at each time."""
    return np.maximum(np.searchsorted(takes_over(row), times, side="right") - 1, 0)


def levels(row: Sequence[Fading], times_ms: ArrayLike) -> Array:
    """Levels before any effect, in half percents of L*, shape (times, channels)."""
    times = np.asarray(times_ms, dtype=np.float64)
    held = _piece_at(row, times)
    if held.size:  # a long show is sampled in blocks, each of which holds few of its pieces
        first = int(held.min())
        row, held = row[first : int(held.max()) + 1], held - first
    origin = np.array([piece.origin for piece in row])[held]
    target = np.array([piece.target for piece in row])[held]
    start = np.array([piece.start_ms for piece in row])[held]
    lasts = np.array([piece.duration_ms for piece in row])[held]
    with np.errstate(divide="ignore", invalid="ignore"):
        x = np.where(lasts > 0.0, np.clip((times - start) / lasts, 0.0, 1.0), 1.0)
    share = np.empty_like(x)
    laws = [piece.law for piece in row]
    for law in set(laws):
        mine = np.array([other == law for other in laws])[held]
        share[mine] = position(law, x[mine])
    return np.asarray(origin + (target - origin) * share[:, np.newaxis])


def effect_multipliers(row: Sequence[Modulation], times_ms: Array, pixels: int) -> Array:
    """What each pixel's level is multiplied by, 0 to 1, shape (times, pixels)."""
    held = _piece_at(row, times_ms)
    share = np.ones((times_ms.size, pixels))
    for n in set(held.tolist()):
        piece = row[n]
        if piece.effect is not None:
            mine = held == n
            since = np.maximum(times_ms[mine] - piece.start_ms, 0.0)
            share[mine] = (
                multipliers(piece.effect, since, pixels, _weights(piece, times_ms[mine])) / FULL
            )
    return share


def _weights(piece: Modulation, times: Array) -> Integers:
    """How much of an effect that comes or goes is there, frame by frame, in `EFFECT_STEPS`."""
    frames = np.floor_divide(np.maximum(times - piece.shown_ms, 0.0), FRAME_MS).astype(np.int64)
    return np.clip(piece.weight + piece.step * frames, 0, EFFECT_STEPS)


def _shown(trajectories: Trajectories, name: str, times: Array) -> Array:
    """A lamp's levels before its effect, in half percents."""
    steady = levels(trajectories.lights[name], times)[:, 0]
    shine = next((s for s in trajectories.show.rig.shines if s.output == name), None)
    if shine is not None and name in trajectories.shining:
        angle, velocity, *_ = carried_out(trajectories, shine.servo, times)
        glide_ms = trajectories.show.score.glide_ms
        spans = trajectories.shining[name]
        steady = shone(steady, times, shine, spans, glide_ms, angle, velocity)
    for span, here in _followed(trajectories, name, times):
        steady[here] = span.level(times[here])
    return steady


def _lamp(trajectories: Trajectories, lamp: Lamp, times: Array) -> LampSamples:
    name = lamp.name
    steady = _shown(trajectories, name, times)
    shares = effect_multipliers(trajectories.effects[name], times, 1)[:, 0]
    level = steady * shares / 2.0
    return LampSamples(level, luminance(level) * (lamp.trims or (1.0,))[0])


def _strip(trajectories: Trajectories, strip: Strip, times: Array) -> StripSamples:
    steady = levels(trajectories.lights[strip.name], times)
    shares = effect_multipliers(trajectories.effects[strip.name], times, strip.pixels)
    level = steady[:, np.newaxis, :] * shares[:, :, np.newaxis] / 2.0
    linear = luminance(level) * np.array(strip.trims or (1.0, 1.0, 1.0))
    bar = next((one for one in trajectories.show.rig.bars if one.strip == strip.name), None)
    if bar is not None:
        lit = _covered(_shown(trajectories, bar.lamp, times), strip.pixels, bar)
        level = level * (lit > 0.0)[:, :, np.newaxis]
        linear = linear * lit[:, :, np.newaxis]
    if strip.cap_a is not None:
        current = linear.sum(axis=(1, 2)) * strip.channel_a
        with np.errstate(divide="ignore"):
            linear = linear * np.minimum(1.0, strip.cap_a / current)[:, np.newaxis, np.newaxis]
    return StripSamples(level, linear)


def _covered(steady: Array, pixels: int, bar: LevelBar) -> Array:
    """How much of each pixel a bar covers, 0 to 1, shape (times, pixels): TABLE.md, section 13.

    `steady`: its lamp's levels in half percents.
    """
    length = (steady / LEVEL_MAX * pixels)[:, np.newaxis]
    first = {"the start": 0.0 * length, "the end": pixels - length}.get(
        BAR_ENDS[bar.end], (pixels - length) / 2.0
    )
    start = np.arange(pixels)[np.newaxis]
    way = np.minimum(first + length, start + 1.0) - np.maximum(first, start)
    return np.asarray(np.clip(way, 0.0, 1.0))
