"""Where in its time a move or a fade is fastest, as a show says it."""

from __future__ import annotations

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.meaning.write_show import text_of
from seqlang.text.findings import Finding
from seqlang.text.source import Source
from sim.model import Fade, Law, Move, Show
from sim.score.laws import position
from sim.score.tree import acts
from tests.seqlang.test_motion_that_looks_alive import RIG, TAIL

WRONG = [
    ("jaw to 50 deg in 900 ms, fastest at 25.9 %", "26 %"),
    ("jaw to 50 deg in 900 ms, fastest at 74.1 %", "74 %"),
    ("jaw to 50 deg in 900 ms, fastest at 40", "40 %"),
    ("jaw to 50 deg in 900 ms, fastest at 4", "74 %"),
    ("eye fade to 50 % in 900 ms, fastest at 30 %", None),
    ("jaw to 50 deg in 900 ms, uniform, fastest at 30 %", None),
    ("jaw to 50 deg within 300 deg/s, 2000 deg/s2, 20000 deg/s3, fastest at 30 %", None),
]


def read(*lines: str) -> tuple[Show | None, list[Finding]]:
    body = "".join(f"    {line}\n" for line in lines)
    found = load_text(Source("x.cues", f"{RIG}cue a\n{body}{TAIL}"))
    return found.show, list(found.findings)


def show_of(*lines: str) -> Show:
    show, findings = read(*lines)
    assert [one.message for one in findings] == []
    assert show is not None
    return show


def laws_in(show: Show) -> list[Law]:
    (cue,) = show.score.cues
    return [act.law for act in acts(cue.body) if isinstance(act, Move | Fade)]


@pytest.mark.parametrize(
    ("line", "law"),
    [
        ("jaw to 50 deg in 900 ms, fastest at 30 %", Law("3-4-5", peak=0.3)),
        ("jaw to 50 deg in 900 ms, fastest at 2/3", Law("3-4-5", peak=2 / 3)),
        ("jaw to 50 deg in 900 ms, cycloidal, fastest at 0.26", Law("cycloidal", peak=0.26)),
        ("jaw to 9 deg in 1 s, trapezoid 1/4, fastest at 0.6", Law("trapezoid", 0.25, peak=0.6)),
        (
            "jaw to 9 deg in 1 s, double-S 0.25, 0.5, fastest at 0.6",
            Law("double-S", 0.25, 0.5, 0.6),
        ),
        ("eye fade to 50 % in 900 ms, harmonic, fastest at 30 %", Law("harmonic", peak=0.3)),
        ("jaw to 50 deg at 60 deg/s, fastest at 30 %", Law("3-4-5", peak=0.3)),
        ("jaw to 50 deg as fast as it can, fastest at 30 %", Law("3-4-5", peak=0.3)),
        ("jaw to 50 deg in 1 s, fastest at 50 %", Law("3-4-5")),
    ],
)
def test_the_share_stands_behind_the_law_or_in_its_place(line: str, law: Law) -> None:
    assert laws_in(show_of(line)) == [law]


def test_a_pose_and_a_move_with_overshoot_take_it_too() -> None:
    pose = laws_in(show_of("pose up in 900 ms, fastest at 30 %"))
    assert pose == [Law("3-4-5", peak=0.3)] * 2 + [Law("uniform")]
    both = show_of("jaw to 20 deg in 1 s", "jaw to 50 deg in 1 s, fastest at 30 %, overshoot 8 %")
    assert laws_in(both)[1:] == [Law("3-4-5", peak=0.3)] * 2


def test_a_constant_may_say_it() -> None:
    line = "given soon = 30 %\n"
    found = load_text(
        Source("x.cues", f"{line}{RIG}cue a\n    jaw to 50 deg in 1 s, fastest at soon\n{TAIL}")
    )
    assert found.show is not None
    assert laws_in(found.show) == [Law("3-4-5", peak=0.3)]


@pytest.mark.parametrize(("line", "share"), WRONG)
def test_what_cannot_be_is_answered_with_what_passes(line: str, share: str | None) -> None:
    _, (finding,) = read(line)
    fix = finding.fix
    if share is None:
        assert finding.severity == "error"
    else:
        assert fix is not None
        assert fix.text == share
        start = line.rindex("at ") + 3
        assert show_of(line[:start] + share)


def test_the_text_that_is_written_back_says_it_again() -> None:
    show = show_of("jaw to 50 deg in 900 ms, cycloidal, fastest at 30 %")
    assert "cycloidal, fastest at 30 %" in text_of(show)


def test_a_brisk_start_asks_for_more_than_an_even_one_does() -> None:
    """The acceleration of the shorter side is that of the even law divided by twice its share, so
    the duration within an acceleration limit grows with its root: 1.39 times at 26 %."""
    even, brisk = (
        next(
            act.duration_ms
            for act in acts(show_of(f"jaw to 50 deg as fast as it can{law}").score.cues[0].body)
            if isinstance(act, Move)
        )
        for law in ("", ", fastest at 26 %")
    )
    assert even < brisk <= 1.42 * even


def test_after_a_third_of_the_time_a_brisk_part_has_gone_farther() -> None:
    third = 1.0 / 3.0
    brisk, even, slow = (position(Law("3-4-5", peak=one), third) for one in (0.3, 0.5, 0.7))
    assert brisk > even > slow


def test_a_show_with_it_passes_the_checks() -> None:
    line = "jaw to 50 deg in 900 ms, fastest at 30 %"
    text = f"{RIG}cue a\n    {line}\n    jaw to 10 deg in 900 ms\n{TAIL}"
    found = check(load_text(Source("x.cues", text)))
    assert [one.name for one in found.findings if one.severity == "error"] == []
