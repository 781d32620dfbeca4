"""Heat in servos: holding and RMS torque against what a hobby servo stands for long.

A motor's heat is the square of its current, its current follows its torque, so over minutes the RMS
torque counts. No maker states what a hobby servo stands continuously; common practice says a third
of its stall torque at most, and less in a closed case.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, log
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.model import Cue, Repeat, Servo, Show, Wearer
from sim.rig.disturbance import settled
from sim.rig.grip import gripping, presses, pressing
from sim.rig.holding_torque import holding_nm
from sim.score.tree import Lengths, duration_ms, walk
from sim.strain.hardest_torque import hardest_torques
from sim.strain.reachable import Reachable
from sim.strain.torque_and_current import moving_in
from sim.strain.usage import SAMPLE_MS, Book, CueAlone, Mix, rounds_ms

CONTINUOUS: Final = 1.0 / 3.0
"""Share of stall torque that a hobby servo stands continuously (common practice, from memory: a
fifth to a third; no source)."""

WINDOW_S: Final = 600.0
"""The busiest ten minutes are judged: a small servo's case warms up in a few (common practice)."""

WINDING_S: Final = 10.0
"""Thermal time constant (s) of a small brushed motor's winding against its case (makers' sheets of
motors of 10 to 25 mm: 5 to 20 s, from memory)."""


@dataclass(frozen=True, slots=True)
class Heat:
    """One servo in the show's busiest ten minutes.

    `most_share`: RMS torque that no play goes over, whatever is pressed and how often (a bound).

    `hold_share`: the hardest pose in which the show leaves the part, as a share of the stall torque
    at the lowest rating, and `hold_deg` that pose. `rms_share`: RMS torque over the ten minutes,
    likewise; `duty`: share of the time in motion. `limit`: what either may reach. Where the score
    states no mix, the cue that heats most runs over and over: `cue` names it.
    """

    servo: str
    hold_share: float
    hold_deg: float
    rms_share: float
    duty: float
    limit: float
    cue: str | None
    most_share: float


@dataclass(frozen=True, slots=True)
class HeldPose:
    """A pose that a servo holds, and its torque there as a share of the stall torque."""

    share: float
    angle_deg: float


def hardest_hold(one: Servo, rest: tuple[float, ...], wearer: Wearer) -> HeldPose:
    """Of the poses in which a show leaves a rated servo, the hardest to hold for minutes.

    A pose that its linkage cannot hold counts as nothing: that it locks is another fault.
    """
    torques = np.nan_to_num(holding_nm(one, np.array(rest), settled(wearer)), posinf=0.0)
    hardest = int(np.argmax(torques))
    return HeldPose(float(torques[hardest]) / one.ratings[0].stall_nm, rest[hardest])


def longest_s(share: float) -> float:
    """How long (s) a servo may give `share` of its stall torque at one go, from a cool winding.

    The winding's excess over its case grows as share**2 (1 - exp(-t / tau)), a body of one heat
    capacity under constant losses (heat balance; IEC 60034-1's short-time duty S2 is of this kind).
    It may reach what the torque that a servo stands for ever brings it to: share**2 (1 - exp(-t /
    tau)) = `CONTINUOUS`**2. Infinite up to that torque.
    """
    if share <= CONTINUOUS:
        return inf
    return -WINDING_S * log(1.0 - (CONTINUOUS / share) ** 2)


@dataclass(frozen=True, slots=True)
class GripHeat:
    """One grip of a servo, of its own or of a part that it carries (`gripper`).

    `share`: horn torque over the stall torque at the lowest rating. `lasts_s`: how long at one go,
    `longest_s`: how long its winding stands that.
    """

    servo: str
    gripper: str
    share: float
    lasts_s: float
    longest_s: float


def grip_heats(show: Show) -> tuple[GripHeat, ...]:
    """How long each servo on which a grip presses has to stand it, and can; in the rig's order.

    Of several grips that press on one servo the longest counts, with the torque of all.
    """
    found = []
    asked = presses(show.rig)
    for one in (o for o in show.rig.outputs if isinstance(o, Servo) and o.name in asked):
        hard = gripping(show.rig, one)
        if hard is None or not one.ratings:
            continue
        grippers = [press.gripper for press in asked[one.name]]
        longest = max(grippers, key=lambda servo: servo.grip.lasts_s if servo.grip else 0.0)
        assert longest.grip is not None
        # a stalled servo at more than its rated voltage is hotter still
        share = hard.torque_nm / one.ratings[0].stall_nm
        stands = longest_s(share)
        found.append(GripHeat(one.name, longest.name, share, longest.grip.lasts_s, stands))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Overstay:
    """A cue (None: standing in the safe pose) that keeps a part gripping longer than declared.

    `seconds` is infinite for the safe pose and for a cue that ends in being taken over.
    """

    servo: str
    cue: str | None
    seconds: float


def closed_when_safe(show: Show) -> tuple[Overstay, ...]:
    """Parts that stand past their contact in the safe pose, for as long as nothing happens."""
    servos = (o for o in show.rig.outputs if isinstance(o, Servo) and o.grip is not None)
    return tuple(
        Overstay(one.name, None, inf)
        for one in servos
        if one.grip is not None and pressing(one.grip, one.safe_deg)
    )


def overstays(show: Show, book: Book) -> tuple[Overstay, ...]:
    """What keeps parts past their contact for longer than their grips say, longest first."""
    found = list(closed_when_safe(show))
    for one in (o for o in show.rig.outputs if isinstance(o, Servo) and o.grip is not None):
        grip = one.grip
        assert grip is not None
        for name, cue in book.cues.items():
            lasts_ms = duration_ms(cue.body)
            run = book[name]
            seconds, still = _held_s(run, one, lasts_ms)
            if (
                lasts_ms == inf
                and still > 0.0
                and still >= (_pass_ms(cue) - 2 * SAMPLE_MS) / 1000.0
            ):
                seconds = inf
            if seconds > grip.lasts_s + 2 * SAMPLE_MS / 1000.0:
                found.append(Overstay(one.name, name, seconds))
    return tuple(sorted(found, key=lambda stay: -stay.seconds))


def _pass_ms(cue: Cue) -> float:
    """The longest pass of what a cue repeats without end: whoever holds on for one does for all."""
    lengths = Lengths(cue.body)
    endless = (s for s in walk(cue.body) if isinstance(s, Repeat) and lengths[s] == inf)
    return max(lengths[s.body] for s in endless if lengths[s.body] < inf)


def _held_s(run: CueAlone, one: Servo, lasts_ms: float) -> tuple[float, float]:
    """The longest time (s) at one go for which the cue itself keeps a part past its contact, and
    for how long it has when the samples end."""
    assert one.grip is not None
    samples = run.samples
    seen = samples.servos[one.name]
    inside = samples.times_ms - samples.times_ms[0] < lasts_ms
    holds = pressing(one.grip, seen.angle_deg) & seen.powered & inside
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    rows = edges[1::2] - edges[::2]
    last = rows[-1] if rows.size and holds[-1] else 0
    longest = max(rows, default=0)
    return float(longest) * run.step_ms / 1000.0, float(last) * run.step_ms / 1000.0


def heats(show: Show, book: Book | None = None) -> tuple[Heat, ...]:
    """The heat of every servo that carries a rating."""
    book = Book(show) if book is None else book
    mix = book.mix(WINDOW_S)
    most = most_nm(show, book.states)
    servos = (o for o in show.rig.outputs if isinstance(o, Servo) and o.ratings)
    return tuple(_heat(show, book, mix, one, most[one.name]) for one in servos)


def most_nm(show: Show, states: Reachable) -> dict[str, float]:
    """Horn torque (N.m) that each servo never goes over for long, so its RMS neither.

    That of its hardest instant (`sim.strain.hardest_torque`), but without the wearer's jolts.
    """
    calm = replace(show, rig=replace(show.rig, wearer=settled(show.rig.wearer)))
    hardest = hardest_torques(calm, states.planned)
    return {name: one.torque_nm for name, one in hardest.items()}


def _heat(show: Show, book: Book, mix: Mix, one: Servo, most: float) -> Heat:
    stall = one.ratings[0].stall_nm
    hold = hardest_hold(one, book.states.held_long_deg[one.name], show.rig.wearer)
    squares = {name: _mean_square(book, name, one) for name in (*book.cues, None)}
    cue: str | None = None
    if mix.stated:
        square = _crowded(mix, squares, book.goes_on)
        duty = sum(share.share * _moving(book, share.cue, one) for share in mix.shares)
    else:
        cue = max(squares, key=lambda name: squares[name])
        square, duty = squares[cue], _moving(book, cue, one)
    return Heat(
        one.name,
        hold.share,
        hold.angle_deg,
        square**0.5 / stall,
        duty,
        CONTINUOUS,
        cue,
        most / stall,
    )


def _crowded(mix: Mix, squares: Mapping[str | None, float], goes_on: Sequence[str]) -> float:
    """Mean of squares over the window; if more is asked than fits in it, the hottest runs are.

    `goes_on`: cues that may fill what no cue asks for, instead of standing by.
    """
    hot = dict(squares)
    for share in mix.shares:
        if share.rests:
            hot[share.cue] = max(squares[name] for name in (share.cue, *goes_on))
    left, total = 1.0, 0.0
    for share in sorted(mix.shares, key=lambda share: -hot[share.cue]):
        taken = min(share.share * mix.asked, left)
        total += taken * hot[share.cue]
        left -= taken
    return total


def _mean_square(book: Book, cue: str | None, one: Servo) -> float:
    """Mean square horn torque (N2.m2) over a cue that runs over and over, in the worst posture.

    Of a long cue over the busiest window in it, and no less than over one pass of what it repeats
    for as long as it likes or is held. From the pose from which it is greatest: a hand that opens
    grips until it has left what it held.
    """
    runs = book.from_every_pose(cue)
    rounds = () if cue is None else rounds_ms(book.cues[cue])
    return max(
        _busiest(run.settled.servos[one.name].torque_nm ** 2, rounds, run.step_ms) for run in runs
    )


def _busiest(squares: Array, rounds: Sequence[tuple[float, float]], step_ms: int) -> float:
    """The greatest mean of what samples show, `step_ms` apart: of stretches that come again and
    again, and of what is left beside them, each in the busiest `WINDOW_S` that it fills."""
    spans = [(round(first / step_ms), round(last / step_ms)) for first, last in rounds]
    rows = [squares, *(squares[first : max(last, first + 1)] for first, last in spans)]
    return max(_busiest_of(row, step_ms) for row in rows if row.size)


def _busiest_of(squares: Array, step_ms: int) -> float:
    """The greatest mean over `WINDOW_S` of samples that come again and again without a pause."""
    window = round(1000.0 * WINDOW_S / step_ms)
    if squares.size <= window:
        return float(np.mean(squares))
    sums = np.concatenate([[0.0], np.cumsum(np.concatenate([squares, squares[:window]]))])
    return float(np.max(sums[window:] - sums[:-window])) / window


def _moving(book: Book, cue: str | None, one: Servo) -> float:
    return float(np.mean(moving_in(one, book[cue].samples.servos[one.name])))
