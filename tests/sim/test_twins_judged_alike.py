"""Shows that do the same are judged the same: renamed, in another order, or written another way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from sim.model import Cue, Effect, Fade, Hold, InTurn, Move, Repeat, Score, Servo, Show, Step
from sim.rig.supply import highest_v
from sim.score.planned_moves import planned_moves
from sim.score.tree import children, swapped
from sim.strain.coupling import coupled_show
from sim.strain.eye import Eye
from sim.strain.hardest_torque import hardest_torques
from sim.strain.heat import heats
from sim.strain.sag import sags
from sim.strain.usage import Book
from tests.sim.test_physics_light_random import Maker
from tests.sim.test_reachable_states import RandomShow

Twin = Callable[[Show], Show]


def every_body(show: Show, change: Callable[[Step], Step]) -> Show:
    cues = tuple(replace(cue, body=change(cue.body)) for cue in show.score.cues)
    return replace(show, score=replace(show.score, cues=cues))


def other_order(show: Show) -> Show:
    """Cues, buttons and outputs from the last to the first."""
    score, rig = show.score, show.rig
    turned = replace(score, cues=score.cues[::-1], bindings=score.bindings[::-1])
    return replace(show, score=turned, rig=replace(rig, outputs=rig.outputs[::-1]))


def waits_in_two(show: Show) -> Show:
    def change(step: Step) -> Step:
        if not isinstance(step, Hold) or step.duration_ms < 2:
            return step
        first = step.duration_ms // 3
        return InTurn((Hold(first), Hold(step.duration_ms - first)))

    return every_body(show, lambda body: swapped(body, change))


def one_more_block(show: Show) -> Show:
    """Every statement in a block of its own, and every body in one more."""

    def change(step: Step) -> Step:
        return InTurn((InTurn((step,)),)) if isinstance(step, Hold | Move | Fade) else step

    return every_body(show, lambda body: InTurn((swapped(body, change),)))


def repeats_written_out(show: Show) -> Show:
    def out(step: Step) -> Step:
        if isinstance(step, Repeat):
            body = out(step.body)
            if step.times is None or step.while_held:
                return replace(step, body=body)
            return InTurn((body,) * step.times)
        inner = children(step)
        return replace(step, children=tuple(map(out, inner))) if inner else step  # type: ignore[call-arg]

    return every_body(show, out)


def other_marks(show: Show) -> Show:
    """The same statements, said elsewhere in the text."""

    def change(step: Step) -> Step:
        return replace(step, mark=700) if isinstance(step, Move | Fade | Effect | Hold) else step

    return every_body(show, lambda body: swapped(body, change))


TWINS: tuple[Twin, ...] = (
    other_order,
    waits_in_two,
    one_more_block,
    repeats_written_out,
    other_marks,
)


def strain(show: Show) -> dict[str, float]:
    """What torque, supply and heat are judged by."""
    found: dict[str, float] = {}
    for name, one in hardest_torques(show, planned_moves(show)).items():
        found[f"torque {name}"] = one.torque_nm
    for sag in sags(show):
        found |= {f"volts {sag.board}": sag.voltage_v, f"amps {sag.board}": sag.supply_a}
    for heat in heats(show):
        found[f"heat {heat.servo}"] = heat.rms_share
    for servo in (o for o in show.rig.outputs if isinstance(o, Servo)):
        found[f"highest {servo.name}"] = highest_v(show.rig, servo.board)
    return found


@pytest.mark.parametrize("twin", TWINS, ids=lambda one: one.__name__)
@pytest.mark.parametrize("seed", [0, 3])
def test_parts_are_judged_alike_however_the_show_is_written(seed: int, twin: Twin) -> None:
    show = RandomShow(seed).show
    other = twin(show)
    if twin is other_order:
        other = coupled_show(other)
    mine, others = strain(show), strain(other)
    if twin is other_order:
        # of parts on parts heat is searched, from poses that are paired in the order of the cues
        heat = {key: value for key, value in mine.items() if key.startswith("heat")}
        assert {key: others.pop(key) for key in heat} == pytest.approx(heat, rel=2e-3)
        mine = {key: value for key, value in mine.items() if key not in heat}
    assert others == pytest.approx(mine, rel=1e-9)


def light(show: Show) -> dict[str, object]:
    eye = Eye(show)
    found: dict[str, object] = {}
    for cue in show.score.cues:
        found[f"bound {cue.name}"] = eye.bound.of(cue)
        found[f"flash {cue.name}"] = {
            (one.found.kind, frozenset(one.found.outputs), one.found.count)
            for one in eye.flashes(cue)
        }
    return found


@pytest.mark.parametrize("twin", TWINS, ids=lambda one: one.__name__)
def test_lights_are_judged_alike_however_the_show_is_written(twin: Twin) -> None:
    for seed in range(400, 404):
        show = Maker(seed).show()
        mine, others = light(show), light(twin(show))
        if twin is repeats_written_out:  # either way of writing has a bound of its own
            mine, others = (
                {key: value for key, value in one.items() if key.startswith("flash")}
                for one in (mine, others)
            )
        assert others == mine, seed


def test_a_strand_that_ends_works_its_parts_as_one_that_repeats_for_ever() -> None:
    show = RandomShow(3).show
    names = [o.name for o in show.rig.outputs if isinstance(o, Servo)]
    swing = InTurn((Move(names[0], 40.0, 600), Move(names[0], -20.0, 600)))
    slow = Repeat(InTurn((Fade("lamp", 80.0, 9000), Fade("lamp", 0.0, 9000))), None)

    def of(body: Step) -> Show:
        cues = (Cue("swing", "", body), Cue("glow", "", InTurn((slow,))))
        score = Score("", cues, idle=("swing", "glow"), stop_ms=900)
        return coupled_show(replace(show, score=score))

    ends, goes_on = of(swing), of(InTurn((Repeat(swing, None),)))
    taken = []
    for one in (ends, goes_on):
        book = Book(one)
        assert book.rest is not None
        taken.append(float(np.mean(book[book.rest.name].upright.supplies["p"].source_a)))
    assert taken[0] == pytest.approx(taken[1], rel=1e-9)
    assert strain(ends) == pytest.approx(strain(goes_on), rel=1e-9)
