"""The listing says what each byte means, in the words of a show."""

from __future__ import annotations

import pytest

from firmware_gen.compiler.show import compile_show
from firmware_gen.crc import crc16
from firmware_gen.listing.disassemble import Names, disassemble, disassemble_board, listing
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import TableError
from sim.model import (
    Binding,
    Board,
    CalibrationPoint,
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Law,
    Move,
    Rating,
    Repeat,
    Rig,
    Score,
    Servo,
    Show,
    Strip,
    StripLight,
    Switch,
    Throw,
    Together,
)
from tests.firmware_gen.malformed_tables import ENCODED, GOOD, LAWS
from tests.firmware_gen.tables_by_hand import CASES

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
SHOW = Show(
    Rig(
        boards=(Board("head", "atmega328p", 3),),
        outputs=(
            Servo(
                "jaw", "head", 1, POINTS, (2.0, 55.0), (Rating(6.0, 353.0, 0.9, 2.0),), safe_deg=4.0
            ),
            Lamp("lure", "head", 22),
            Strip("belly", "head", 23, 30),
            Switch("horn", "head", 8),
        ),
    ),
    Score(
        "test",
        (
            Cue(
                "snap",
                "",
                InTurn(
                    (
                        Move("jaw", 45.5, 260, Law("cycloidal"), mark=11),
                        Fade("lure", 50.0, 1500, mark=12),
                        Throw("horn", True, mark=13),
                        Effect("belly", "ember", 120, 80.0, 3, mark=14),
                        Hold(700),
                        Repeat(InTurn((Move("jaw", 30, 300), Move("jaw", 8, 300))), 3, mark=15),
                        Fade("belly", StripLight((255, 0, 0)), 400, Law("harmonic")),
                    )
                ),
            ),
            Cue(
                "chew",
                "",
                Together(
                    (
                        Repeat(InTurn((Move("jaw", 9, 300), Move("jaw", 8, 310))), None, True),
                        Fade("lure", 10.0, 300),
                    )
                ),
                "wait",
            ),
        ),
        (Binding(1, "snap"), Binding(2, "chew", True)),
        stop_button=4,
        lost_ms=2000,
        lost_cue="snap",
        idle=("chew",),
    ),
)


def test_every_byte_belongs_to_one_line() -> None:
    board = compile_show(SHOW).boards[0]
    lines = disassemble_board(board)
    assert b"".join(line.data for line in lines) == board.data
    at = 0
    for line in lines:
        assert line.offset == at
        at += len(line.data)


@pytest.mark.parametrize("case", CASES, ids=[case[0] for case in CASES])
def test_any_table_can_be_put_into_words(case) -> None:
    data = encode(case[1])
    assert b"".join(line.data for line in disassemble(data)) == data


@pytest.mark.parametrize(
    "words",
    [
        "jaw to 45.5 deg in 260 ms, cycloidal; hold 260 ms",
        "lure fade to 50% in 1.5 s",
        "horn on",
        "belly ember every 120 ms, depth 80%, seed 3, width 1",
        "repeat 3 times",
        "repeat while held",
        "belly fade to colour 1 in 400 ms, harmonic",
        "fork to ",
        "button 2: go chew while held",
        "cue chew: tag ",
        "if busy wait",
        "servo jaw, pin PB1: 900 us at 0 deg, 2100 us at 90 deg; travel 2 deg to 55 deg",
        "strip belly, pin PD7: 30 pixels, order grb",
        "lost 2 s: go snap",
        "stop button 4",
        "colour 1: red ",
    ],
)
def test_lines_speak_the_words_of_a_show(words: str) -> None:
    assert words in listing(disassemble_board(compile_show(SHOW).boards[0]))


def test_lines_lead_to_the_statements_that_asked_for_them() -> None:
    lines = disassemble_board(compile_show(SHOW).boards[0])
    marked = {line.mark: line.text for line in lines if line.mark != -1}
    assert {mark: text.split()[0] for mark, text in marked.items()} == {
        11: "jaw",
        12: "lure",
        13: "horn",
        14: "belly",
        15: "repeat",
    }
    assert "line 15" in listing(lines, lambda mark: f"line {mark}")


def test_loops_are_set_in() -> None:
    lines = disassemble_board(compile_show(SHOW).boards[0])
    depths = {line.text: line.depth for line in lines if line.section.startswith("cue snap")}
    assert depths["repeat 3 times"] == 0
    assert depths["jaw to 30 deg in 300 ms; hold 300 ms"] == 1
    assert depths["again"] == 0


def test_without_names_outputs_and_cues_go_by_number() -> None:
    text = listing(disassemble(ENCODED.data))
    assert "output 1 fade to 100% in 1.5 s" in text
    assert "go cue 0" in text
    named = listing(disassemble(ENCODED.data, Names(("jaw", "lamp"), ("one",))))
    assert "lamp fade to 100% in 1.5 s" in named
    assert "output 2" in named


def test_a_malformed_table_is_refused_as_a_board_would() -> None:
    with pytest.raises(TableError) as caught:
        disassemble(ENCODED.data[:-1])
    assert caught.value.code == 1


def test_a_valid_table_in_another_form_is_named_as_such() -> None:
    # law 0 moves from 1-byte to 2-byte form nowhere; a duration of 260 ms written as c9 04 does
    data = bytearray(ENCODED.data)
    place = ENCODED.places[0][1]
    assert data[place : place + 2] == bytes((0x60, 0x19))
    longer = bytes(data[: place + 1]) + bytes((0xC9, 0x04)) + bytes(data[place + 2 : -2])
    fixed = bytearray(longer)
    fixed[2:4] = (len(longer) + 2).to_bytes(2, "little")
    start = ENCODED.sections["cues"][0]
    second = int.from_bytes(fixed[start + 12 : start + 14], "little") + 1
    fixed[start + 12 : start + 14] = second.to_bytes(2, "little")
    fork = ENCODED.places[0][0]
    fixed[fork + 1 : fork + 3] = (ENCODED.places[1][0] + 1).to_bytes(2, "little")
    with pytest.raises(TableError, match="shortest form"):
        disassemble(bytes(fixed) + crc16(bytes(fixed)).to_bytes(2, "little"))
    assert GOOD.laws[0].law_id == data[LAWS]
