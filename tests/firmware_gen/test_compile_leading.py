"""Tables of a show in which one board leads: roles, all cues at the leader, claims, time kept."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_gen.chips.atmega328p import CHIP as SMALL
from firmware_gen.chips.atmega2560 import CHIP as LARGE
from firmware_gen.compiler.show import CompileError, compile_show
from firmware_gen.table.decode import decode
from firmware_gen.table.layout import ALONE, FOLLOWS, LEADS
from firmware_gen.table.ops import Delay
from firmware_gen.table.records import RadioRecord
from sim.model import Board, Cue, Hold, InTurn, LineRadio, Rig, Score, Show, Step, Switch, Throw
from sim.rulebook import CLAIMS
from sim.score.claims import claims


def horn(name: str, board: str, pin: int) -> Switch:
    return Switch(name, board, pin, True, False)


def cue(name: str, *outputs: str, conflict: str = "take") -> Cue:
    steps: list[Step] = [Throw(one, True) for one in outputs]
    steps += [Hold(1500), *(Throw(one, False) for one in outputs)]
    return Cue(name, name, InTurn(tuple(steps)), conflict=conflict)  # type: ignore[arg-type]


def show(*cues: Cue, leads: bool = True, chip: str = LARGE.name, horns: int = 4) -> Show:
    boards = (Board("hub", chip, 1, leads=leads), Board("arm", LARGE.name, 2))
    pins = sorted(LARGE.pins_for("switch"))
    own = (horn("own", "hub", pins[0]),)
    free = sorted(LARGE.pins_for("switch"))
    others = tuple(horn(f"h{n}", "arm", free[n]) for n in range(horns))
    return Show(Rig(boards=boards, outputs=own + others), Score(title="t", cues=cues))


def test_one_board_leads_and_the_others_follow() -> None:
    hub, arm = compile_show(show(cue("a", "own", "h0"))).boards
    assert (hub.table.role, arm.table.role) == (LEADS, FOLLOWS)
    assert decode(hub.data).role == LEADS
    assert decode(arm.data).role == FOLLOWS


def test_without_a_leader_each_board_is_alone_and_has_its_own_cues() -> None:
    hub, arm = compile_show(show(cue("a", "own"), cue("b", "h0"), leads=False)).boards
    assert (hub.table.role, arm.table.role) == (ALONE, ALONE)
    assert [one.name for one in hub.cues] == ["a"]
    assert [one.name for one in arm.cues] == ["b"]


def test_the_leader_has_every_cue_for_as_long_as_it_lasts() -> None:
    hub, arm = compile_show(show(cue("a", "own"), cue("b", "h0"))).boards
    assert [one.name for one in hub.cues] == ["a", "b"]
    assert [one.name for one in arm.cues] == ["b"]
    elsewhere = hub.table.cues[1]
    assert elsewhere.outputs == 0
    waited = [op.duration_ms for op in hub.table.threads[elsewhere.start] if isinstance(op, Delay)]
    assert sum(waited) == 1500


def test_outputs_that_the_same_cues_use_are_one_claim() -> None:
    made = show(cue("a", "h0", "h1"), cue("b", "h2"), cue("c", "own"), cue("d", "h0", "h1", "h2"))
    assert claims(made) == ({"h0", "h1"}, {"h2"})
    hub, arm = compile_show(made).boards
    assert [one.claims for one in hub.table.cues] == [0b01, 0b10, 0, 0b11]
    assert {one.claims for one in arm.table.cues} == {0}
    assert [one.claims for one in decode(hub.data).cues] == [0b01, 0b10, 0, 0b11]


def test_two_cues_meet_in_a_claim_exactly_where_they_meet_in_an_output_elsewhere() -> None:
    cues = [cue("a", "h0", "h1"), cue("b", "h1", "h2"), cue("c", "h2", "own"), cue("d", "h3")]
    hub = compile_show(show(*cues)).boards[0]
    uses = {"a": {"h0", "h1"}, "b": {"h1", "h2"}, "c": {"h2"}, "d": {"h3"}}
    for one in hub.table.cues:
        for other in hub.table.cues:
            first, second = (
                uses[hub.cues[hub.table.cues.index(record)].name] for record in (one, other)
            )
            assert bool(one.claims & other.claims) == bool(first & second)


def test_a_claim_counts_what_the_part_for_letting_go_holds() -> None:
    part = cue("a after", "h3")
    hub = compile_show(
        show(replace(cue("a", "h0"), let_go="a after"), part, cue("b", "h3"))
    ).boards[0]
    start, _, other = hub.table.cues
    assert start.claims & other.claims


@pytest.mark.parametrize("ways", [CLAIMS, CLAIMS + 1])
def test_sixteen_claims_fit_and_one_more_does_not(ways: int) -> None:
    cues = [cue(f"c{n}", f"h{n}") for n in range(CLAIMS)]
    if ways > CLAIMS:
        free = sorted(LARGE.pins_for("switch"))
        made = show(*cues, cue("more", "h16"), horns=CLAIMS)
        third = Board("leg", LARGE.name, 3)
        rig = replace(
            made.rig,
            boards=(*made.rig.boards, third),
            outputs=(*made.rig.outputs, horn("h16", "leg", free[0])),
        )
        with pytest.raises(CompileError) as caught:
            compile_show(replace(made, rig=rig))
        assert (caught.value.name, caught.value.limit) == ("too-many-claims", CLAIMS)
        return
    hub = compile_show(show(*cues, horns=CLAIMS)).boards[0]
    assert [one.claims for one in hub.table.cues] == [1 << n for n in range(CLAIMS)]


def test_a_chip_that_cannot_lead_gets_no_table() -> None:
    with pytest.raises(CompileError) as caught:
        compile_show(show(cue("a", "h0"), chip=SMALL.name))
    assert caught.value.name == "cannot-lead"


def over_radio(baud: int, late_ms: int = 0) -> Show:
    made = show(cue("a", "h0"))
    hub, *others = made.rig.boards
    boards = (replace(hub, radio=LineRadio(baud, late_ms)), *others)
    return replace(made, rig=replace(made.rig, boards=boards))


def test_every_board_knows_the_rate_of_the_radio_and_how_late_it_is() -> None:
    # 24 bytes of 10 bits take 12.5 ms at 19,200 baud and 0.96 ms at 250,000.
    for one in compile_show(over_radio(19_200, 15)).boards:
        (radio,) = one.table.senses
        assert radio == RadioRecord(0, round(256 * (15 + 12.5 - 0.96)))
        assert decode(one.data).senses == (radio,)
    assert compile_show(over_radio(250_000)).boards[0].table.senses == (RadioRecord(5, 0),)
    assert compile_show(show(cue("a", "h0"))).boards[0].table.senses == ()


def test_a_rate_that_no_table_knows_gets_none() -> None:
    with pytest.raises(CompileError) as caught:
        compile_show(over_radio(9_600))
    assert caught.value.name == "radio-rate"
