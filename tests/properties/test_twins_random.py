"""A show and its twin are judged alike: mirrored, renamed, begun later, or with its boards turned
round."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cue,
    Effect,
    Fade,
    Lamp,
    Move,
    Press,
    Servo,
    Show,
    Spring,
    Step,
    Strip,
    Supply,
    Throw,
    Wire,
    part_name,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rulebook import FRAME_MS
from sim.score.planned_moves import planned_moves
from sim.score.tree import ready_ms, swapped
from sim.strain.coupling import coupled_show
from sim.strain.hardest_torque import hardest_torques
from sim.strain.heat import heats
from sim.strain.interruption import interruptions
from sim.strain.reachable import Reachable
from sim.strain.sag import sags, start_sags
from sim.strain.torque_and_current import work
from tests.sim.test_physics_light_random import Maker
from tests.sim.test_reachable_states import RandomShow
from tests.sim.test_twins_judged_alike import light

Figures = dict[str, float]
Anything = TypeVar("Anything")


def on_two_boards(show: Show) -> Show:
    """The show with its lights and every second part on a board and a supply of their own."""
    (board,) = show.rig.boards
    other = Board("c", board.chip, 2, "q", Wire(0.3, 20), electrics=board.electrics)
    outputs = tuple(
        replace(one, board="c") if isinstance(one, Lamp | Strip) or n % 2 else one
        for n, one in enumerate(show.rig.outputs)
    )
    supplies = (*show.rig.supplies, Supply("q", Adapter(6.0, 60.0)))
    return replace(
        show, rig=replace(show.rig, outputs=outputs, boards=(board, other), supplies=supplies)
    )


def coupled_anew(show: Show) -> Show:
    """Its chains worked out again, as after any change of parts."""
    outputs = tuple(
        replace(one, load=replace(one.load, coupled=None)) if isinstance(one, Servo) else one
        for one in show.rig.outputs
    )
    return coupled_show(replace(show, rig=replace(show.rig, outputs=outputs)))


def figures(show: Show) -> Figures:
    """What parts and supplies are judged by; power-up, which goes by order, in `at_power_up`."""
    found: Figures = {}
    states = Reachable(show)
    for name, one in hardest_torques(show, planned_moves(show)).items():
        found[f"torque {name}"] = one.torque_nm
    for sag in sags(show):
        found |= {f"volts {sag.board}": sag.voltage_v, f"amps {sag.board}": sag.source_a}
    for heat in heats(show):
        found[f"most {heat.servo}"] = heat.most_share
    for cut in interruptions(show):
        if cut.found:
            worst = max(cut.found, key=lambda each: each.share)
            found[f"cut {cut.servo}"] = worst.share
    for name, reach in states.reaches.items():
        found[f"speed {name}"] = reach.speed_deg_s
        found[f"reach {name}"] = reach.angle_deg[1] - reach.angle_deg[0]
    return found


def mirrored(show: Show) -> Show:
    """Every part on the other side of a mirror: its angles count the other way."""

    def turned(one: Servo) -> Servo:
        low, high = one.travel_deg
        points = tuple(CalibrationPoint(-p.angle_deg, p.pulse_us) for p in one.points[::-1])
        springs = tuple(Spring(s.rate_nm_per_rad, -s.neutral_deg) for s in one.load.springs)
        load = replace(
            one.load, level_deg=-one.load.level_deg, springs=springs, lowers=not one.load.lowers
        )
        mount = one.mount and replace(
            one.mount, straight_deg=-one.mount.straight_deg, ahead_deg=-one.mount.ahead_deg
        )
        return replace(
            one,
            points=points,
            travel_deg=(-high, -low),
            load=load,
            safe_deg=-one.safe_deg,
            mount=mount,
        )

    def moved(step: Step) -> Step:
        return replace(step, angle_deg=-step.angle_deg) if isinstance(step, Move) else step

    outputs = tuple(turned(o) if isinstance(o, Servo) else o for o in show.rig.outputs)
    cues = tuple(replace(cue, body=swapped(cue.body, moved)) for cue in show.score.cues)
    return coupled_anew(
        replace(
            show,
            rig=replace(show.rig, outputs=outputs),
            score=replace(show.score, cues=cues),
        )
    )


class Renamed:
    """A show with other names for everything, which sort the other way round."""

    def __init__(self, show: Show) -> None:
        outputs = [one.name for one in show.rig.outputs]
        self.outputs = {name: f"o{99 - n}" for n, name in enumerate(outputs)}
        plain = [cue.name for cue in show.score.cues if " " not in cue.name]
        self.cues = {name: f"q{99 - n}" for n, name in enumerate(plain)}
        for cue in show.score.cues:
            if cue.let_go is not None:
                self.cues[cue.let_go] = part_name(self.cues[cue.name])
        rig, score = show.rig, show.score
        self.show = coupled_anew(
            replace(
                show,
                rig=replace(rig, outputs=tuple(map(self._output, rig.outputs))),
                score=replace(
                    score,
                    cues=tuple(map(self._cue, score.cues)),
                    bindings=tuple(replace(b, cue=self.cues[b.cue]) for b in score.bindings),
                    idle=tuple(self.cues[name] for name in score.idle),
                ),
            )
        )

    def _output(self, one: Anything) -> Anything:
        new = replace(one, name=self.outputs[one.name])  # type: ignore[attr-defined, type-var]
        if isinstance(new, Servo) and new.mount is not None:
            return replace(new, mount=replace(new.mount, on=self.outputs[new.mount.on]))
        return new

    def _cue(self, cue: Cue) -> Cue:
        def named(step: Step) -> Step:
            if isinstance(step, Move | Fade | Effect | Throw):
                return replace(step, output=self.outputs[step.output])
            return step

        let_go = cue.let_go and self.cues[cue.let_go]
        body = swapped(cue.body, named)
        return replace(cue, name=self.cues[cue.name], body=body, let_go=let_go)

    def back(self, found: Figures) -> Figures:
        """Figures of the twin under the names of the first show."""
        old = {new: name for name, new in self.outputs.items()}
        split = ((key.split(" "), value) for key, value in found.items())
        return {f"{what} {old.get(name, name)}": value for (what, name), value in split}


def boards_turned(show: Show) -> Show:
    return replace(
        show,
        rig=replace(show.rig, boards=show.rig.boards[::-1], supplies=show.rig.supplies[::-1]),
    )


seeds = st.integers(0, 100_000)


@settings(max_examples=6)
@given(seeds)
def test_a_show_in_the_mirror_is_judged_alike(seed: int) -> None:
    show = RandomShow(seed).show
    assert figures(mirrored(show)) == pytest.approx(figures(show), rel=1e-6, abs=1e-9)


@settings(max_examples=6)
@given(seeds)
def test_a_show_with_other_names_is_judged_alike(seed: int) -> None:
    show = RandomShow(seed).show
    other = Renamed(show)
    assert other.back(figures(other.show)) == pytest.approx(figures(show), rel=1e-9)


@settings(max_examples=6)
@given(seeds)
def test_the_order_of_boards_and_supplies_does_not_matter(seed: int) -> None:
    show = coupled_anew(on_two_boards(RandomShow(seed).show))
    other = boards_turned(show)
    assert figures(other) == pytest.approx(figures(show), rel=1e-9)
    starts = {one.board: one.voltage_v for one in start_sags(show)}
    assert {one.board: one.voltage_v for one in start_sags(other)} == pytest.approx(starts)


@settings(max_examples=5)
@given(seeds)
def test_lights_with_other_names_are_judged_alike(seed: int) -> None:
    show = Maker(seed).show()
    other = Renamed(show)
    names = {new: old for old, new in other.cues.items()}
    outputs = {new: old for old, new in other.outputs.items()}
    found = {}
    for key, value in light(other.show).items():
        what, cue = key.split(" ")
        if isinstance(value, set):
            value = {(k, frozenset(outputs[o] for o in several), n) for k, several, n in value}
        found[f"{what} {names[cue]}"] = value
    assert found == light(show)


@settings(max_examples=5)
@given(seeds, st.integers(1, 300))
def test_a_play_that_begins_later_asks_the_same(seed: int, frames: int) -> None:
    made = RandomShow(seed)
    show = replace(made.show, score=replace(made.show.score, idle=()))
    presses, later = made.presses(), frames * int(FRAME_MS)
    length = max(press.at_ms for press in presses) + 1500
    times = np.arange(float(ready_ms(show)), float(length), 8.0)

    def asked(by_ms: int) -> list[np.ndarray]:
        moved: list[Press] = [replace(press, at_ms=press.at_ms + by_ms) for press in presses]
        seen = sample(rehearse(show, moved, length + by_ms), times + by_ms)
        done = work(show.rig, seen)
        rows = [one.torque_nm for one in done.servos.values()]
        return [*rows, *done.board_a.values(), *(s.source_a for s in done.supplies.values())]

    for mine, others in zip(asked(0), asked(later), strict=True):
        np.testing.assert_allclose(others, mine, rtol=1e-6, atol=1e-9)
