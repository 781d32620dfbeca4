"""Each rule of the pages, changed in a small implementation, is noticed by a shared vector."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import firmware_gen
from tests.firmware_gen.find_vectors import SUBJECTS, Case, Subject
from tests.firmware_gen.rule_variations import Variation, read


@cache
def cases(subject: Subject) -> dict[str, Case]:
    return {case["title"]: case for case in subject.cases()}


def changes() -> Iterator[Any]:
    for subject in SUBJECTS:
        for one in read(subject.name):
            yield pytest.param(subject, one, id=f"{subject.name}: {one.name}")


@pytest.mark.parametrize(("subject", "variation"), list(changes()))
def test_a_changed_rule_is_noticed(subject: Subject, variation: Variation) -> None:
    case = cases(subject)[variation.noticed_by]
    assert subject.differs(variation.apply(subject.source()), case)


@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda subject: subject.name)
def test_each_title_and_each_name_stands_once(subject: Subject) -> None:
    assert len(cases(subject)) == len(subject.cases())
    changed = read(subject.name)
    assert len({one.name for one in changed}) == len(changed)


@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda subject: subject.name)
def test_the_changed_rules_are_those_of_the_page(subject: Subject) -> None:
    page = (Path(firmware_gen.__file__).parent / subject.page).read_text(encoding="utf-8")
    words = " ".join(page.split())
    assert [one.says for one in read(subject.name) if one.says not in words] == []


NO_RULES = (
    "The player is called once per frame",
    "**Modes**",
    "*Starting* is entered",
    "*Ready*: strands and cues run.",
    "*Stopping* is entered",
    "What a request does",
    "| request |",
    "Buttons:",
    "What counts in `refused`:",
    "Each frame, in this order:",
    "In the frame of time t,",
    "At thread time T of run r:",
    "A light has these values:",
    "A run lets go at a time T:",
    "When it lets go:",
    "A strand is a cue with that flag.",
    "**Beside cues.** A cue that starts takes",
    "A law takes the share",
    "**Harmonic, cycloidal,",
    "| law |",
    "3. Speed r and position R in the rise:",
    "The table needs alpha A",
    "The rest of 3.1 describes",
    "Positions are i32",
    "Why limits hold:",
    # What section 2 comes to, way by way: the emulated chips' tests go each of them.
    "This table sums up the rules above.",
    *(f"| {here} |" for here in ("here", "blank", "starting", "ready", "stopping", "limp")),
    "A brown-out or the watchdog may reset",
    # A press is a start at once, so what it adds shows nowhere else.
    "- A button is remembered as down",
    # A motion or fade at rest shows the same as one that has ended, until time wraps.
    "6. Outputs are evaluated",
)
"""How lines of sections 2 and 3 begin that introduce, explain, or cannot be told from outside."""


def test_every_rule_of_the_player_has_a_change() -> None:
    page = (Path(firmware_gen.__file__).parent / "TABLE.md").read_text(encoding="utf-8")
    text = page[page.index("## 2. ") : page.index("## 4. ")]
    items = re.split(r"\n(?=\s*(?:- |\d\. |\|))|\n\n", text)
    rules = [" ".join(item.split()) for item in items]
    said = {one.says for one in read("player")}
    assert [
        rule
        for rule in rules
        if rule
        and not rule.startswith(("#", "| ---", *NO_RULES))
        and not any(words in rule for words in said)
    ] == []


def test_every_rule_of_boards_that_follow_has_a_change() -> None:
    page = (Path(firmware_gen.__file__).parent / "TABLE.md").read_text(encoding="utf-8")
    text = page[page.index("**A board that leads.**") : page.index("States and ways between them.")]
    items = re.split(r"\n(?=\s*(?:- |\d\. ))|\n\n", text)
    said = {one.says for one in read("led")}
    introduced = ("**A board that leads.**", "**A board that follows**", "What began late:")
    # Those words stand for what other tests hold: an hour and a half, and where the times begin.
    others = ("- When 250000 frames have passed", "- A run, a part or a strand gets its first")
    assert [
        rule
        for rule in (" ".join(item.split()) for item in items)
        if rule
        and not rule.startswith((*introduced, *others))
        and not any(words in rule for words in said)
    ] == []


NO_RULES_OF_SENSES = (
    "This section holds on a chip with senses",
    "**The source.**",
    "**Where it is wanted.**",
    "So the speed changes evenly",
    "So a sag of less than 5 s",
    "This table shows where a board goes.",
    "**What is seen.**",
    "Effects and trims count",
    # Looks at pins and a chip's timers are the firmware's: other tests hold them.
    "**Looks.**",
    "A timer measures a channel.",
    "On a chip with senses a strip may",
    "So one pixel",
    "Its pin is an input",
    # By other tests: at the ends of a run, in boards that lead, and in hand-made tables.
    "The run keeps its scale when",
)
"""How lines of sections 8 to 14 begin that introduce, explain, or do not concern a player."""

ORDER_OF_REQUESTS = ("Downs and ups come behind", "The watch then does what follows.")
"""How lines begin that no vector tells from another order of requests yet."""


def test_every_rule_of_senses_has_a_change() -> None:
    page = (Path(firmware_gen.__file__).parent / "TABLE.md").read_text(encoding="utf-8")
    text = page[page.index("## 8. ") :]
    items = re.split(r"\n(?=\s*(?:- |\d\. |\|))|\n\n", text)
    said = {
        one.says
        for name in ("presses", "tracking", "battery", "shine", "bar", "scale")
        for one in read(name)
    }
    assert [
        rule
        for rule in (" ".join(item.split()) for item in items)
        if rule
        and not rule.startswith(("#", "|", *NO_RULES_OF_SENSES, *ORDER_OF_REQUESTS))
        and not any(words in rule for words in said)
    ] == []
