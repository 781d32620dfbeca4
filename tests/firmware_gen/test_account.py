"""The account adds up."""

from __future__ import annotations

import re
from dataclasses import replace

from firmware_gen.compiler.show import compile_show
from firmware_gen.listing.account import account, account_text, mean_costs
from sim.model import Cue, Fade, Hold, InTurn, Move, Score, Strip, StripLight, Together
from tests.firmware_gen.test_disassemble import SHOW


def test_sections_and_cues_add_up_to_the_table() -> None:
    board = compile_show(SHOW).boards[0]
    found = account(board)
    assert sum(size for _, size in found.sections) == found.size == len(board.data)
    assert sum(size for _, size in found.cues) == dict(found.sections)["code"]
    assert found.share == len(board.data) / 500


def _costs(*steps):
    score = Score("test", (Cue("one", "", InTurn(steps)),))
    return account(compile_show(replace(SHOW, score=score)).boards[0])


def test_a_move_costs_its_op_and_the_wait_after_it() -> None:
    # op, duration, target; then one byte for the rest of the wait
    found = _costs(Move("jaw", 30, 300), Hold(400))
    assert (found.moves.count, found.moves.size) == (1, 4.0)
    assert found.fades.count == 0


def test_what_starts_together_shares_the_wait() -> None:
    both = Together((Move("jaw", 30, 300), Fade("lure", 50.0, 300)))
    found = _costs(both, Hold(800))
    assert (found.moves.mean, found.fades.size - 3) == (3.5 + 0.5, 4.0)  # a wait of two bytes


def test_a_fade_bears_the_colours_of_its_table() -> None:
    without = _costs(Fade("lure", 50.0, 300))
    with_colour = _costs(Fade("belly", StripLight((255, 0, 0)), 300))
    assert without.fades.size == 3 + 3  # black, the strip's safe light
    assert with_colour.fades.size == 3 + 6


def test_a_wait_before_the_first_statement_counts_for_it() -> None:
    assert _costs(Hold(100), Move("jaw", 30, 300)).moves.size == 4.0


def test_means_go_over_all_tables() -> None:
    one, two = _costs(Move("jaw", 30, 300)), _costs(Move("jaw", 30.5, 301), Move("jaw", 3, 300))
    moves, fades = mean_costs([one, two])
    assert (moves.count, moves.mean) == (3, (3 + 5 + 3) / 3)
    assert fades.mean is None


def test_the_text_is_aligned_and_names_board_share_and_digest() -> None:
    compiled = compile_show(SHOW)
    lines = account_text(compiled).splitlines()
    assert lines[0] == "head: ATmega328P, address 3"
    rows = [re.match(r"  [a-z ]+?  +(\d+)(?=  |$)", line) for line in lines[2:13]]
    assert len({row.end(1) for row in rows if row}) == 1
    assert sum(row is not None for row in rows) == 11
    assert any("% of a slot of 500 bytes" in line for line in lines)
    assert lines[-1] == f"digest {compiled.digest}"
    assert f"show {compiled.number:08x}" in lines


def test_a_table_over_a_slot_says_so() -> None:
    many = InTurn(tuple(Move("jaw", 3 + n % 50 + 0.25, 301 + n) for n in range(120)))
    strip = Strip("belly", "head", 23, 30)
    show = replace(
        SHOW,
        rig=replace(SHOW.rig, outputs=(SHOW.rig.outputs[0], strip)),
        score=Score("test", (Cue("one", "", many),)),
    )
    compiled = compile_show(show)
    assert not compiled.boards[0].fits
    assert "too large for a slot" in account_text(compiled)
