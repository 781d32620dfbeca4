"""Boards that are said to answer: who hears them, from both sides of each condition."""

from __future__ import annotations

import pytest

from seqlang.checks.wiring.rig_too_large import MOST_BOARDS
from sim.rulebook import ANSWERING
from tests.seqlang.show_text import applied, findings, show


def board(name: str, address: int, lines: str = "", leads: str = "") -> str:
    return f"board {name}: atmega2560, address {address}{leads}\n    feed pack\n{lines}"


def told(*boards: str) -> str:
    return show(rig=list(boards))


ARM = board("arm", 3, "    answers\n")


@pytest.mark.parametrize(
    ("hub", "why", "way"),
    [
        (
            board("hub", 2),
            "no board of the show leads",
            "let a board lead, or leave out `answers`",
        ),
        (
            board("hub", 2, "    radio 38400 baud\n", ", leads"),
            "`hub` speaks over a radio, which goes one way",
            "leave out `answers`, or lay a cable",
        ),
    ],
)
def test_a_board_answers_only_a_board_that_leads_over_a_cable(hub: str, why: str, way: str) -> None:
    text = told(hub, ARM)
    (one,) = findings(text, "answers-unheard")
    assert one.severity == "error"
    assert one.message == f"nobody hears the answers of board `arm`: {why}"
    assert one.help == way
    assert text[one.span.start : one.span.end] == "answers"
    assert findings(applied(text, one), "answers-unheard") == []
    assert findings(told(board("hub", 2, leads=", leads"), ARM), "answers-unheard") == []
    assert findings(told(hub, board("arm", 3)), "answers-unheard") == []


def test_the_board_that_leads_does_not_answer_itself() -> None:
    (one,) = findings(told(board("hub", 2, "    answers\n", ", leads"), ARM), "answers-unheard")
    assert one.message == "nobody hears the answers of board `hub`: it is the board that leads"
    assert one.help == "leave out `answers`"


def test_all_boards_beside_the_one_that_leads_may_answer() -> None:
    """As many as are checked together; one that leads and is said to answer counts for none."""
    assert ANSWERING == MOST_BOARDS - 1

    def told_by(hub: str) -> list[str]:
        arms = [board(f"arm_{n}", n, "    answers\n") for n in range(3, MOST_BOARDS + 1)]
        body = "board body: atmega328p, address 1"
        text = told(hub, *arms)
        assert text.count(body) == 1
        text = text.replace(body, "board body: atmega2560, address 1\n    answers")
        return [one.message for one in findings(text, "answers-unheard")]

    assert told_by(board("hub", 2, leads=", leads")) == []
    assert told_by(board("hub", 2, "    answers\n", ", leads")) == [
        "nobody hears the answers of board `hub`: it is the board that leads"
    ]
