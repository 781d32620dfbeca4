"""`one of`: read, written, played alike by rehearsal and board, and checked at its worst."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.compiler.show import compile_show
from firmware_gen.table.ops import ChooseTo
from seqlang.check import check
from seqlang.checks import BUDGETS, CHECKS
from seqlang.meaning.write_show import text_of
from sim.light.flash import flashing
from sim.model import NO_MARK, Hold, InTurn, OneOf, Repeat, Step, Together
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.score.draws import at_its_hardest, draws_in
from sim.score.planned_moves import planned_moves
from sim.score.tree import walk
from sim.strain.light_sources import light_sources
from sim.strain.reachable import Reachable
from tests.seqlang.test_drawn_amounts import RIG, loaded, one_strand
from tests.sim.played_both_ways import compare

GAZE = """
    repeat for ever
        one of
            neck to -20 deg .. 20 deg in 400 ms
            in turn
                neck to 35 deg in 700 ms
                hold 200 ms .. 500 ms
                neck to -10 deg in 700 ms
            repeat 2 times
                one of
                    heart fade to 50 % in 500 ms
                    lid to 20 deg in 600 ms
            hold 300 ms
        hold 100 ms .. 400 ms
        lid to 40 deg in 700 ms
"""


def test_the_board_plays_the_choices_of_the_rehearsal() -> None:
    for seed in range(6):
        show = one_strand(GAZE.replace("300 ms\n", f"{300 + 10 * seed} ms\n")).show
        assert show is not None
        found = compare(show, (), 40_000)
        assert found.at == []
        assert found.pulse_us <= 0.5
        assert found.lamp < 0.002


def test_every_alternative_comes_about_and_each_about_as_often_as_another() -> None:
    body = "    repeat for ever\n        one of\n" + "".join(
        f"            neck to {angle} deg in 300 ms\n" for angle in (-30, -10, 10, 30)
    )
    show = one_strand(body).show
    assert show is not None
    motions = rehearse(show, (), 900_000).motions["neck"]
    targets = [round(one.planned.target / 3_276_800) for one in motions]
    targets = targets[targets.index(10) :]  # the safe angle is none of them
    assert {*targets} == {-30, -10, 10, 30}
    counts = [targets.count(angle) for angle in {*targets}]
    assert min(counts) > 0.85 * max(counts)
    assert len({*pairwise(targets)}) == 16


def test_a_move_that_fails_from_one_alternative_alone_is_found() -> None:
    body = """
    repeat for ever
        one of
            neck to 35 deg in 900 ms
            neck to 5 deg in 130 ms
            hold 400 ms
        hold 200 ms
"""
    (found,) = [one for one in check(one_strand(body)).findings if one.severity == "error"]
    assert found.name in ("servo-speed", "servo-torque")
    assert not check(one_strand(body.replace("130 ms", "500 ms"))).failed


def test_every_way_comes_after_every_way_with_all_pairs_of_values() -> None:
    show = one_strand(GAZE).show
    assert show is not None
    hard = at_its_hardest(show)
    (cue,) = hard.score.cues
    assert not list(draws_in(cue.body))
    moves = {(one.from_deg, one.move.angle_deg) for one in planned_moves(show)}
    for first in (-20.0, 0.0, 20.0, -10.0):
        for then in (-20.0, 0.0, 20.0, 35.0):
            assert (first, then) in moves


def test_no_random_play_goes_beyond_what_is_reachable() -> None:
    for seed in range(4):
        show = loaded(
            f"{RIG}cue gaze, seed {seed}\n{GAZE}idle: go gaze\nremote\n    stop button 2\n"
        ).show
        assert show is not None
        reaches = Reachable(show).reaches
        for name, row in rehearse(show, (), 60_000).motions.items():
            low, high = reaches[name].angle_deg
            for piece in row:
                assert low - 0.01 <= piece.planned.target / 3_276_800 <= high + 0.01


def test_light_that_may_be_chosen_to_flash_is_found() -> None:
    body = """
    repeat for ever
        one of
            heart fade to 0 % in 40 ms
            heart fade to 100 % in 40 ms
            hold 40 ms
        hold {} ms
"""
    for wait_ms in (60, 400):
        strand = one_strand(body.format(wait_ms))
        assert strand.show is not None
        times = np.arange(0.0, 120_000.0, 20.0)
        seen = sample(rehearse(strand.show, (), 120_000), times)
        flashes = bool(flashing(times, light_sources(strand.show, seen)))
        told = "general-flash" in {one.name for one in check(strand).findings}
        assert told == flashes == (wait_ms < 400)


def alternatives(count: int, indent: str = "        ") -> str:
    rows = "".join(f"{indent}    hold {100 + n} ms\n" for n in range(count))
    return f"{indent}one of\n{rows}"


@pytest.mark.parametrize(("count", "passes"), [(1, False), (2, True), (8, True), (9, False)])
def test_a_choice_is_from_two_to_eight(count: int, passes: bool) -> None:
    found = check(one_strand(f"    repeat for ever\n{alternatives(count)}")).findings
    errors = [one for one in found if one.severity == "error"]
    assert not errors if passes else [one.name for one in errors] == ["number-out-of-range"]


@pytest.mark.parametrize(
    ("counts", "passes"), [((3, 4), True), ((2, 2, 3), True), ((13,), False), ((7, 2), False)]
)
def test_at_most_twelve_ways_lead_through_a_pass(counts: tuple[int, ...], passes: bool) -> None:
    body = "    repeat for ever\n" + "".join(alternatives(count) for count in counts)
    if counts == (13,):  # a choice within a choice
        inner = alternatives(6, " " * 12)
        body = f"    repeat for ever\n        one of\n{inner}{inner}            hold 1 s\n"
    found = [one for one in check(one_strand(body)).findings if one.severity == "error"]
    assert not found if passes else [one.name for one in found] == ["too-many-ways"]


def test_choices_behind_too_many_ways_are_left_out_and_told_of_once() -> None:
    body = "    repeat for ever\n" + alternatives(4) * 40
    loaded = one_strand(body)
    assert [one.name for one in loaded.findings if one.severity == "error"] == ["too-many-ways"]
    assert loaded.show is not None
    (strand,) = (cue for cue in loaded.show.score.cues if cue.name in loaded.show.score.idle)
    kept = [step for step in walk(strand.body) if isinstance(step, OneOf)]
    assert len(kept) == 1


@pytest.mark.parametrize(("times", "passes"), [(1, True), (2, False)])
def test_a_repeat_counts_the_ways_of_two_of_its_passes(times: int, passes: bool) -> None:
    inner = alternatives(4, " " * 12)
    body = f"    repeat for ever\n        repeat {times} times\n{inner}        hold 1 s\n"
    found = [one for one in check(one_strand(body)).findings if one.severity == "error"]
    assert not found if passes else [one.name for one in found] == ["too-many-ways"]


def test_what_is_chosen_takes_time_and_ends() -> None:
    for line in ("heart breathe every 4 s", "repeat for ever\n                hold 1 s"):
        body = f"    repeat for ever\n        one of\n            {line}\n            hold 1 s\n"
        (found,) = [one for one in check(one_strand(body)).findings if one.severity == "error"]
        assert found.name == "wrong-kind"
        assert "`one of` chooses here" in found.message


@pytest.mark.parametrize("word", ["either", "choose one", "any of", "random", "oneof"])
def test_other_words_for_a_choice_are_answered_with_the_word_that_passes(word: str) -> None:
    strand = one_strand(GAZE.replace("one of", word, 1))
    (found,) = [one for one in strand.findings if one.severity == "error"]
    assert found.fix is not None
    assert found.fix.text == "one of"


def test_a_choice_outside_idle_is_found() -> None:
    text = f"{RIG}cue nod\n{alternatives(2, '    ')}remote\n    button 1: go nod\n"
    assert "draw-outside-idle" in {one.name for one in check(loaded(text)).findings}


def test_choices_beside_others_have_threads_of_their_own_and_what_follows_waits() -> None:
    body = """
    repeat for ever
        together
            one of
                neck to -20 deg in 600 ms
                in turn
                    neck to 20 deg in 700 ms
                    hold 900 ms
            lid to 20 deg .. 40 deg in 700 ms .. 900 ms
        heart fade to 40 % in 500 ms
        heart fade to 10 % in 500 ms
"""
    strand = one_strand(body)
    assert not check(strand).failed
    assert strand.show is not None
    (cue,) = strand.show.score.cues
    (block,) = [s for s in walk(cue.body) if isinstance(s, Together) and len(s.children) == 3]
    assert isinstance(block.children[-1], Hold)
    assert block.children[-1].duration_ms == 1600
    found = compare(strand.show, (), 30_000)
    assert found.at == []
    assert found.pulse_us <= 0.5


def test_a_choice_is_one_op_of_the_table() -> None:
    show = one_strand(GAZE).show
    assert show is not None
    (board,) = compile_show(show).boards
    choices = [op for row in board.table.threads for op in row if isinstance(op, ChooseTo)]
    assert sorted(len(op.threads) for op in choices) == [2, 4]
    assert len({op.key for op in choices}) == 2


def plain(step: Step) -> Step:
    """The step without marks."""
    if isinstance(step, InTurn | Together | OneOf):
        return replace(step, children=tuple(map(plain, step.children)), mark=NO_MARK)
    if isinstance(step, Repeat):
        return replace(step, body=plain(step.body), mark=NO_MARK)
    return replace(step, mark=NO_MARK)


LEAVES = st.sampled_from(
    (
        "hold 300 ms",
        "hold 300 ms .. 700 ms",
        "neck to 10 deg in 500 ms",
        "neck to 10 deg .. 20 deg in 500 ms .. 800 ms",
        "heart fade to 20 % .. 40 % in 400 ms",
    )
)


def blocks(inner: st.SearchStrategy[list[str]]) -> st.SearchStrategy[list[str]]:
    heads = st.sampled_from(("one of", "in turn", "together", "stagger 100 ms", "repeat 2 times"))
    return st.tuples(heads, st.lists(inner, min_size=2, max_size=3)).map(
        lambda made: [made[0], *(f"    {line}" for part in made[1] for line in part)]
    )


@settings(max_examples=30)
@given(st.recursive(LEAVES.map(lambda line: [line]), blocks, max_leaves=8))
def test_any_choices_written_and_loaded_are_the_same_and_play_alike(rows: list[str]) -> None:
    body = "".join(f"        {row}\n" for row in rows)
    strand = one_strand(f"    repeat for ever\n{body}        hold 100 ms\n")
    if any(one.severity == "error" for one in strand.findings) or strand.show is None:
        assert any(isinstance(one.asked, int) for one in strand.findings)  # too many, too deep
        return
    show = strand.show
    again = loaded(text_of(show)).show
    assert again is not None
    for one, other in zip(show.score.cues, again.score.cues, strict=True):
        assert plain(other.body) == plain(one.body)
    if any(f.severity == "error" for f in check(strand).findings):
        return  # too many threads, an output driven twice
    found = compare(show, (), 12_000)
    assert found.at == []
    assert found.pulse_us <= 0.5


def test_a_choice_of_which_nothing_is_left_goes_with_what_is_lost() -> None:
    """Its output was not read, so no alternative can be played; checks go on with the rest."""
    body = """
    repeat for ever
        one of
            gone fade to 50 % in 500 ms
            gone fade to 1 % in 600 ms
        neck to 10 deg in 1 s
        neck to -10 deg in 1 s
"""
    lost = one_strand(body, f"{RIG}lamp gone: nowhere pin PD6\n")
    assert "unknown-name" in {one.name for one in check(lost).findings}
    assert lost.show is not None
    steps = [one for cue in lost.show.score.cues for one in walk(cue.body)]
    assert steps
    assert not any(isinstance(one, OneOf) for one in steps)


@pytest.mark.parametrize(
    ("wait", "looks"), [("hold 300 ms", 1), ("hold 300 ms .. 400 ms", 2)], ids=["stated", "drawn"]
)
def test_only_waits_that_are_drawn_are_looked_at_twice(wait: str, looks: int) -> None:
    """A choice is written out as every way after every way: it has no shortest and no longest."""
    body = f"""
    repeat for ever
        one of
            neck to -20 deg in 1 s
            neck to 20 deg in 1 s
        {wait}
"""
    calls: list[int] = []
    done = check(one_strand(body), before_each=lambda: calls.append(1))
    assert done.show is not None
    assert len(calls) == len(BUDGETS) + looks * len(CHECKS) + 1
