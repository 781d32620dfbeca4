"""Every change that is proposed, made: its finding goes, and nothing graver than advice comes.

Advice may come: how moves stretch where cues interrupt one another is reckoned for a show without
errors only.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.remedy_rounds import Rounds
from seqlang.text.findings import Finding, applied
from seqlang.text.source import Source
from tests.seqlang.examples import SHOWS
from tests.seqlang.mistakes.base import with_line
from tests.seqlang.test_mistakes import ALL, Mistake, errors

SAMPLED = ALL[::29]
"""Mistakes that are mended in rounds each time the tests run; all of them in the long run."""


def grave(text: str, path: Path) -> list[Finding]:
    """Errors and warnings of a show."""
    found = check(load_text(Source(str(path), text))).findings
    return [one for one in found if one.severity != "advice"]


def counted(findings: list[Finding]) -> Counter[tuple[str, str]]:
    return Counter((one.name, one.message) for one in findings)


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.stem)
def test_each_remedy_in_a_broken_show_takes_its_finding_away_and_brings_none(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    found = [*check(load_text(Source(str(path), text))).findings]
    before = counted([one for one in found if one.severity != "advice"])
    for finding in found:
        if finding.fix is None or {*finding.fix.by_file} != {str(path)}:
            continue
        mended = applied(text, finding.fix)
        every = check(load_text(Source(str(path), mended))).findings
        after = counted([one for one in every if one.severity != "advice"])
        assert not after - before, finding.message
        key = (finding.name, finding.message)
        assert counted([*every])[key] < counted(found)[key]
        if finding.severity != "advice":
            assert after.total() < before.total()


def assert_mended_in_rounds(mistake: Mistake) -> None:
    """That of all offers, taken one after another, none brings an error, and none is left.

    Warnings may come when a line can be read: of a region of the body, say, that was misspelt.
    """
    path = Path("test.cues")
    rounds = Rounds(str(path), with_line(mistake.line, mistake.wrong))
    left = errors(rounds.text)
    for offer in rounds.offers():
        rounds.take(offer)
        now = errors(rounds.text)
        assert len(now) <= len(left), offer.finding.message
        left = now
    if mistake.right is not None:
        assert rounds.changes > 0
        assert left == ()


@pytest.mark.parametrize("mistake", SAMPLED, ids=lambda one: f"{one.line}: {one.wrong}")
def test_a_mistake_is_mended_by_the_offers_one_after_another(mistake: Mistake) -> None:
    assert_mended_in_rounds(mistake)


@pytest.mark.long
@pytest.mark.parametrize("mistake", ALL, ids=lambda one: f"{one.line}: {one.wrong}")
def test_each_mistake_is_mended_by_the_offers_one_after_another(mistake: Mistake) -> None:
    assert_mended_in_rounds(mistake)


TOLD = """supply pack
    source adapter 6 V, 5 A
board box: {board}
    feed pack
{rig}cue snap
    eye fade to 80 % in 400 ms
cue bow
    eye fade to 20 % in 600 ms
remote
{remote}
"""


def mended_in_rounds(text: str) -> tuple[str, int]:
    """The text with every offer taken, and how many there were."""
    rounds = Rounds("test.cues", text)
    for offer in rounds.offers():
        rounds.take(offer)
    return rounds.text, rounds.changes


def test_the_lines_of_a_button_stay_together_when_it_is_the_stop_button_as_well() -> None:
    remote = (
        "    button {0}: go bow\n    button {0} twice: go snap\n    button {0} long: go snap\n"
        "    stop button 1"
    )
    lamp, board = "lamp eye: box pin PB7\n", "atmega2560, address 1"
    wrong = TOLD.format(board=board, rig=lamp, remote=remote.format(1))
    assert [one.message for one in errors(wrong)] == ["button 1 is the stop button"]
    right = TOLD.format(board=board, rig=lamp, remote=remote.format(2))
    assert mended_in_rounds(wrong) == (right, 1)


def test_where_buttons_are_wired_the_stop_button_s_cues_move_to_a_wired_one() -> None:
    rig = "lamp eye: box pin PB7\ninput 1: box pin PA0\ninput {}: box pin PA1\n"
    remote = "    button {0}: go bow\n    button {0} long: go snap\n    stop button 1"
    for other in (2, 9):
        wrong, right = (
            TOLD.format(
                board="atmega2560, address 1", rig=rig.format(other), remote=remote.format(button)
            )
            for button in (1, other)
        )
        assert mended_in_rounds(wrong) == (right, 1)


def test_a_chip_that_cannot_lead_is_changed_before_any_pin_that_suits_the_other_chip() -> None:
    rig = "board arm: atmega328p, address 2\n    feed pack\nlamp eye: box pin PB4\n"
    remote = "    button 1: go bow\n    button 2: go snap\n    stop button 3"
    wrong, right = (
        TOLD.format(board=f"{chip}, address 1, leads", rig=rig, remote=remote)
        for chip in ("atmega328p", "atmega2560")
    )
    assert {one.name for one in errors(wrong)} == {"cannot-lead", "pin-unfit"}
    assert mended_in_rounds(wrong) == (right, 1)


def test_a_chip_whose_pins_would_all_have_to_move_is_left_to_the_maker() -> None:
    remote = "    button 1: go bow\n    button 1 long: go snap\n    stop button 3"
    board = "atmega328p, address 1"
    text = TOLD.format(board=board, rig="lamp eye: box pin PD6\n", remote=remote)
    assert [one.name for one in errors(text)] == ["press-beyond-chip"]
    assert mended_in_rounds(text) == (text, 0)
    fitting = TOLD.format(board=board, rig="lamp eye: box pin PB3\n", remote=remote)
    mended, count = mended_in_rounds(fitting)
    assert (mended, count) == (fitting, 0)  # PB3 of the larger chip has no PWM channel
