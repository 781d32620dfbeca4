"""A check of any file ends soon: what would take long goes over a budget, and is a finding."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from rig_text import RIG, cue, loaded, names, with_rig

from seqlang import check as checking
from seqlang.check import check
from seqlang.checks.context import Context
from seqlang.checks.light import light_too_long
from seqlang.checks.motion.failing_moves import pace_span
from seqlang.checks.supply import slower
from seqlang.checks.wiring import rig_too_large
from seqlang.command import WRONG_USAGE, main
from seqlang.loading import Loaded
from seqlang.meaning import acts, durations, notes
from seqlang.meaning.values import _given_in_comments
from seqlang.text import indentation
from seqlang.text.findings import Span
from seqlang.text.names import nearest
from sim.model import Move
from sim.rehearsal.run_through import LongRehearsalError, run_through
from sim.strain import light_states
from sim.strain.eye import Eye
from sim.strain.light_states import LightStates
from tests.seqlang.hostile_rigs import HOSTILE_RIGS
from tests.seqlang.hostile_shows import (
    HOSTILE,
    colours_of_many_cues,
    effects_for_ever,
    flickers,
    parts_on_parts,
    parts_side_by_side,
)

SECONDS = 10
MEGABYTES = 500
REHEARSAL_SECONDS = 15


def run_alone(path: Path) -> tuple[int, int]:
    """Status and peak memory (MB) of `bellcrank check` in a process that ends when its time is up.

    The peak is this program's own: the system's count may go on from the program that started it.
    """

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))

    measured = (
        "import re, runpy\n"
        "try:\n    runpy.run_module('seqlang', run_name='__main__')\n"
        "finally:\n    found = re.search(r'VmHWM:\\s+(\\d+)', open('/proc/self/status').read())\n"
        "    print('peak', int(found[1]) // 1024)"
    )
    done = subprocess.run(
        [sys.executable, "-c", measured, "check", str(path)],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=limit,
    )
    assert done.returncode in (0, 1), done.stderr
    return done.returncode, int(done.stdout.split()[-1])


@pytest.mark.parametrize("hostile", [*HOSTILE, *HOSTILE_RIGS], ids=lambda one: one.__name__)
def test_a_hostile_show_of_some_lines_is_checked(hostile: Callable[[int], str]) -> None:
    found = check(loaded(hostile(120)))
    assert found.findings


def test_the_brightest_colour_is_looked_for_once_however_many_cues_may_begin_with_it() -> None:
    show = loaded(colours_of_many_cues(120)).show
    assert show is not None
    states, asked = LightStates(show), light_states.light_luminance.cache_info
    light_states.light_luminance.cache_clear()
    for one in show.score.cues:
        states.entries(one)
    looked = asked().hits + asked().misses
    assert looked <= 2 * len(states.left("belly")) + 2 * len(show.score.cues)


@pytest.mark.long
@pytest.mark.parametrize("lines", [6_000, 18_000, 80_000])
@pytest.mark.parametrize("hostile", [*HOSTILE, *HOSTILE_RIGS], ids=lambda one: one.__name__)
def test_a_hostile_show_of_any_length_is_checked_within_the_stated_time_and_memory(
    hostile: Callable[[int], str], lines: int, tmp_path: Path
) -> None:
    path = tmp_path / "hostile.cues"
    path.write_text(hostile(lines)[: indentation.MOST_CHARACTERS])
    status, peak_mb = run_alone(path)
    assert status in (0, 1)
    assert 0 < peak_mb < MEGABYTES


def test_the_manuals_own_long_repeat_is_a_finding_at_once() -> None:
    found = check(cue("repeat 1000 times", "    hold 1 h"))
    assert "repeat-too-long" in {finding.name for finding in found.findings}
    assert "table-too-large" not in {finding.name for finding in found.findings}


def test_a_repeat_of_something_longer_than_a_day_is_too_long() -> None:
    assert names(cue("repeat 1 times", "    hold 24 h", "    hold 24 h")) == []
    assert names(cue("repeat 2 times", "    hold 24 h", "    hold 1 ms")) == ["repeat-too-long"]
    assert names(cue("repeat 2 times", "    hold 12 h")) == []
    assert names(cue("repeat 2 times", "    hold 12 h", "    hold 1 ms")) == ["repeat-too-long"]


def test_a_cue_may_have_so_many_steps_and_not_one_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(acts, "MOST_STEPS", 6)
    assert names(cue(*["fan on"] * 6)) == []
    assert names(cue(*["fan on"] * 7)) == ["cue-too-long"]
    assert names(cue("jaw and fin to 10 deg in 1 s", *["fan on"] * 3)) == []
    assert names(cue("jaw and fin to 10 deg in 1 s", *["fan on"] * 4)) == ["cue-too-long"]


def test_a_show_may_have_so_many_steps_and_not_one_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(acts, "MOST_STEPS_OF_SHOW", 6)
    two = RIG + "cue a\n" + "    fan on\n" * 3 + "cue b\n" + "    fan on\n" * 3
    assert names(loaded(two)) == []
    assert names(loaded(two + "    fan on\n")) == ["show-too-long"]
    assert names(loaded(RIG + "cue a\n    fan on\n    fan on\ncue b\n    play a\n")) == []
    assert "show-too-long" in names(
        loaded(RIG + "cue a\n    fan on\n    fan on\ncue b\n    play a\n    play a\n")
    )


def test_so_many_moves_are_worked_out_and_not_one_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(durations, "MOST_SEARCHED", 2)
    fast, back = "jaw to 10 deg as fast as it can", "jaw to 30 deg in 1 s"
    another = "jaw to 20 deg as fast as it can"
    assert names(cue(back, fast, back, fast, back, another, back, fast)) == []
    assert names(cue(back, fast, another, back, another)) == ["too-many-searches"]


def test_a_file_may_have_so_much_text_and_any_amount_of_comment(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    text = "cue a\n    hold 1 s\n" + "# comment\n" * 100
    monkeypatch.setattr(indentation, "MOST_CONTENT", 13)
    assert names(loaded(text)) == []
    monkeypatch.setattr(indentation, "MOST_CONTENT", 12)
    assert names(loaded(text)) == ["file-too-large"]


@pytest.mark.parametrize("what", ["BOARDS", "SERVOS", "OUTPUTS", "CUES"])
def test_a_rig_of_just_so_many_parts_is_checked(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    show = cue("hold 1 s")
    counts = {"BOARDS": 1, "SERVOS": 2, "OUTPUTS": 5, "CUES": 1}
    monkeypatch.setattr(rig_too_large, f"MOST_{what}", counts[what])
    assert "rig-too-large" not in {finding.name for finding in check(show).findings}
    monkeypatch.setattr(rig_too_large, f"MOST_{what}", counts[what] - 1)
    assert {finding.name for finding in check(show).findings} == {"rig-too-large"}


def test_just_so_many_moves_from_all_their_starts_are_checked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # from the safe pose and from 30 deg, where it may rest, and on from 10 deg
    show = cue("jaw to 10 deg in 1 s", "jaw to 30 deg in 1 s")
    monkeypatch.setattr(rig_too_large, "MOST_MOVES", 3)
    assert "rig-too-large" not in {finding.name for finding in check(show).findings}
    monkeypatch.setattr(rig_too_large, "MOST_MOVES", 2)
    (found,) = check(show).findings
    assert (found.name, found.asked, found.limit) == ("rig-too-large", 3, 2)
    assert found.label == "most of them are here: 3"


def test_a_move_in_a_chain_counts_for_what_its_parts_do_to_one_another(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # six parts on one another: 18 for each of the moves
    show = loaded(parts_on_parts(2))
    counted = _asked_of_moves(show, monkeypatch)
    assert counted > 0
    assert counted % 18 == 0
    monkeypatch.setattr(rig_too_large, "MOST_MOVES", counted)
    assert "rig-too-large" not in {finding.name for finding in check(show).findings}
    monkeypatch.setattr(rig_too_large, "MOST_MOVES", counted - 1)
    (found,) = check(show).findings
    assert found.asked == counted
    assert "a move in the longest chain of parts on one another counts as 18" in found.notes


def _asked_of_moves(show: Loaded, monkeypatch: pytest.MonkeyPatch) -> float:
    monkeypatch.setattr(rig_too_large, "MOST_MOVES", 0)
    (found,) = check(show).findings
    assert found.asked is not None
    return found.asked


@pytest.mark.parametrize("what", ["MOST_FRAMES", "MOST_STATEMENTS"])
def test_just_so_much_light_is_watched(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    show = cue("repeat 50 times", "    lure fade to 50 % in 100 ms", "    lure cut to 40 %")
    assert show.show is not None
    effort = Eye(show.show).effort(show.show.score.cues[0])
    spent = effort[what == "MOST_STATEMENTS"]
    assert spent > 0
    monkeypatch.setattr(light_too_long, what, spent)
    assert "light-too-long" not in {finding.name for finding in check(show).findings}
    monkeypatch.setattr(light_too_long, what, spent - 1)
    assert {finding.name for finding in check(show).findings} == {"light-too-long"}


def test_just_so_many_pixels_are_worked_out_in_all_frames(monkeypatch: pytest.MonkeyPatch) -> None:
    """`run` makes the 30 pixels of the strip differ, beside a lamp; without it the strip is one."""
    lines = ["belly cut to white 100 %", "belly run every 100 ms, width 3", "hold 1 s"]
    show = cue(*lines)
    assert show.show is not None
    eye, act = Eye(show.show), show.show.score.cues[0]
    spent = eye.pixels(act)
    assert spent == eye.effort(act)[0] * (30 + 1)
    monkeypatch.setattr(light_too_long, "MOST_PIXELS", spent)
    assert "light-too-long" not in {finding.name for finding in check(show).findings}
    monkeypatch.setattr(light_too_long, "MOST_PIXELS", spent - 1)
    (found,) = check(show).findings
    assert (found.name, found.asked, found.limit) == ("light-too-long", spent, spent - 1)
    assert found.label == f"most of it is here: {spent} pixels"
    alike = cue("belly cut to white 100 %", "belly breathe every 100 ms", "hold 1 s")
    assert alike.show is not None
    still, same = Eye(alike.show), alike.show.score.cues[0]
    assert still.pixels(same) == still.effort(same)[0] * 2


def test_no_number_is_told_to_be_the_least_when_the_search_for_it_was_cut_short(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    show = cue("repeat for ever", "    lure fade to 100 % in 60 ms", "    lure cut to off")
    found = {finding.name: finding for finding in check(show).findings}
    assert found["general-flash"].fix is not None
    trials = iter([False] * 4)
    monkeypatch.setattr(Eye, "is_tired", property(lambda _: next(trials, True)))
    found = {finding.name: finding for finding in check(show).findings}
    assert found["general-flash"].fix is None
    assert found["general-flash"].help.startswith("slow it down")


def test_just_so_many_looks_are_taken_at_patterns(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = ["belly fade to white 100 % in 1 s", "belly run every 100 ms, width 3", "hold 1 s"]
    show = cue("repeat for ever", *(f"    {line}" for line in lines))
    assert show.show is not None
    spent = Eye(show.show).looks(show.show.score.cues[0])
    assert spent > 0
    monkeypatch.setattr(light_too_long, "MOST_LOOKS", spent)
    assert "light-too-long" not in {finding.name for finding in check(show).findings}
    monkeypatch.setattr(light_too_long, "MOST_LOOKS", spent - 1)
    assert {finding.name for finding in check(show).findings} == {"light-too-long"}


def test_what_an_irregular_pattern_takes_to_its_end_counts_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    show = cue("belly cut to white 40 %", "belly sparkle every 220 ms, width 1")
    assert show.show is not None
    eye, act = Eye(show.show), show.show.score.cues[0]
    begun, spent = eye.looks(act), eye.looks(act) + eye.further_looks(act)
    assert spent > 10 * begun
    monkeypatch.setattr(light_too_long, "MOST_LOOKS", spent)
    assert "light-too-long" not in {finding.name for finding in check(show).findings}
    for limit in (spent - 1, begun - 1):
        monkeypatch.setattr(light_too_long, "MOST_LOOKS", limit)
        assert {finding.name for finding in check(show).findings} == {"light-too-long"}


def test_looks_that_are_asked_for_are_told_with_the_cue_that_asks_for_most(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The first looks of all cues are added up. Only where they are within the limit, the further
    ones of one cue after the other join them, as long as that stays so."""
    few, many = "belly sparkle every 300 ms, width 1", "belly sparkle every 220 ms, width 1"
    sparkles = (("first", few), ("second", many), ("third", few))
    lines = (f"cue {name}\n    belly cut to white 40 %\n    {line}" for name, line in sparkles)
    show = with_rig(*lines)
    assert show.show is not None
    eye, cues = Eye(show.show), show.show.score.cues
    begun = [eye.looks(one) for one in cues]
    more = [eye.further_looks(one) for one in cues]
    assert begun[1] > begun[0] > 0
    assert more[1] > more[0] > sum(begun)
    for limit, asked, most, name in (
        (sum(begun) - 1, sum(begun), begun[1], "second"),
        (sum(begun), sum(begun) + more[0], begun[0] + more[0], "first"),
        (sum(begun) + more[0], sum(begun) + sum(more[:2]), begun[1] + more[1], "second"),
        (sum(begun) + sum(more) - 1, sum(begun) + sum(more), begun[1] + more[1], "second"),
        (sum(begun) + sum(more), None, 0, ""),
    ):
        monkeypatch.setattr(light_too_long, "MOST_LOOKS", limit)
        found = [one for one in check(show).findings if one.name == "light-too-long"]
        if asked is None:
            assert found == []
            continue
        (one,) = found
        assert (one.asked, one.limit) == (asked, limit)
        assert f"need {asked} looks, and a check takes at most {limit}" in one.message
        assert one.label == f"most of it is here: {most} looks"
        assert show.sources[one.span.path].text[one.span.start : one.span.end] == name


def test_a_pattern_that_flashes_at_first_is_not_looked_at_to_its_end() -> None:
    show = cue("belly cut to white 100 %", "belly sparkle every 100 ms, width 50")
    assert show.show is not None
    assert Eye(show.show).further_looks(show.show.score.cues[0]) == 0


def test_hundreds_of_different_fast_effects_are_not_all_looked_at() -> None:
    found = {finding.name for finding in check(loaded(effects_for_ever(400))).findings}
    assert found == {"light-too-long"}


@given(wrong=st.text("ab_1", min_size=2, max_size=9), known=st.sets(st.text("ab1", min_size=1)))
def test_the_nearest_name_is_that_with_the_fewest_slips_by_the_recurrence(
    wrong: str, known: set[str]
) -> None:
    assume(all(_joined(one) != _joined(wrong) for one in known))  # those are nearer than any other
    most = min(max(1, len(wrong) // 3), len(wrong) - 1)
    slips = sorted((full_distance(wrong, one), one) for one in known)
    near = [name for edits, name in slips if edits <= most]
    assert nearest(wrong, known) == (near[0] if near else None)


def _joined(name: str) -> str:
    return name.replace("_", "")


def full_distance(a: str, b: str) -> int:
    """The restricted Damerau-Levenshtein distance, as its recurrence defines it."""
    table = {(i, 0): i for i in range(len(a) + 1)} | {(0, j): j for j in range(len(b) + 1)}
    for i in range(1, len(a) + 1):
        for j in range(1, len(b) + 1):
            by = (table[i - 1, j] + 1, table[i, j - 1] + 1)
            table[i, j] = min(*by, table[i - 1, j - 1] + (a[i - 1] != b[j - 1]))
            if i > 1 and j > 1 and a[i - 1] == b[j - 2] and a[i - 2] == b[j - 1]:
                table[i, j] = min(table[i, j], table[i - 2, j - 2] + 1)
    return table[len(a), len(b)]


def test_a_text_is_searched_once_for_what_its_comments_define() -> None:
    _given_in_comments.cache_clear()
    uses = "".join(f"    hold pause{n}\n" for n in range(50))
    found = loaded("#define pause3 1 s\n" + RIG + "cue act\n" + uses).findings
    assert "the line that gives it is a comment" in " ".join(one.message for one in found)
    assert _given_in_comments.cache_info().misses <= 2  # once more with the remedies tried


def test_the_pace_of_a_move_is_looked_up_once_however_often_it_is_slowed_down(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looked: list[int] = []

    def counted(context: Context, move: Move) -> Span:
        looked.append(move.mark)
        return pace_span(context, move)

    monkeypatch.setattr(slower, "pace_span", counted)
    found = check(loaded(parts_side_by_side(60)))
    assert "supply-overload" in {one.name for one in found.findings}
    assert len(looked) == len(set(looked)) > 20


def test_doubled_names_are_numbered_on_from_the_last_number() -> None:
    tried = iter(range(2, 52))  # one number for each
    taken = {"p"}
    found = [notes._free("p", taken, tried) for _ in range(50)]
    assert found == [f"p_{n}" for n in range(2, 52)]


def test_so_many_letters_are_compared_for_a_near_name_and_not_one_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    two_names = 2 * len("pause0x") * 3 * len("pause0")
    monkeypatch.setattr(notes, "MOST_COMPARED", two_names)
    uses = "".join(f"    hold pause{n}x\n" for n in range(3))
    given = "".join(f"given pause{n} = 1 s\n" for n in range(3))
    found = loaded(given + RIG + "cue act\n" + uses).findings
    assert [finding.name for finding in found] == ["unknown-name"] * 3
    assert [finding.fix and finding.fix.text for finding in found] == ["pause0", "pause1", None]
    monkeypatch.setattr(notes, "MOST_COMPARED", two_names - 1)
    found = loaded(given + RIG + "cue act\n" + uses).findings
    assert [finding.fix and finding.fix.text for finding in found] == ["pause0", None, None]


def test_of_one_kind_so_many_findings_are_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [f"lure fade to 5 % in {n} days" for n in range(1, 5)]
    monkeypatch.setattr(checking, "MOST_OF_A_KIND", 4)
    every = [f for f in check(cue(*lines)).findings if f.severity == "error"]
    monkeypatch.setattr(checking, "MOST_OF_A_KIND", 2)
    some = [f for f in check(cue(*lines)).findings if f.severity == "error"]
    assert len(every) == 4
    assert [f.span for f in some] == [f.span for f in every[:2]]
    assert some[-1].notes[-1] == "2 more of this kind further on are not shown"


HOURS = "\n".join(["cue act", *["    hold 1 h"] * 5, "remote", "    button 1: go act", ""])


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (["plot"], "--cue and --press"),
        (["plot", "--press", "1 at 2 s"], "stop at 60 s"),
        (["preview"], "`bellcrank plot` does both"),
    ],
)
def test_hours_of_show_are_not_drawn_and_the_message_says_what_would_do(
    asked: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "hours.cues"
    path.write_text(RIG + HOURS + "    stop button 2\n")
    with pytest.raises(SystemExit) as ended:
        main([asked[0], str(path), *asked[1:]])
    assert ended.value.code == WRONG_USAGE
    said = " ".join(capsys.readouterr().err.split())
    assert "takes 5 h to play, and at most 2 h are rehearsed" in said
    assert told in said
    assert [each.name for each in tmp_path.iterdir()] == ["hours.cues"]


def test_hours_of_flickers_are_not_rehearsed() -> None:
    show = loaded(flickers(120)).show
    assert show is not None
    with pytest.raises(LongRehearsalError):
        run_through(show)


@pytest.mark.long
def test_as_many_hours_of_flickers_as_are_rehearsed_end_within_the_stated_time(
    tmp_path: Path,
) -> None:
    path = tmp_path / "rehearsed.py"
    path.write_text(
        "from sim.rehearsal.run_through import run_through\n"
        "from tests.seqlang.hostile_shows import flickers\n"
        "from tests.seqlang.rig_text import loaded\n"
        "run_through(loaded(flickers(44)).show)\n"
    )
    limits = (REHEARSAL_SECONDS, REHEARSAL_SECONDS)
    done = subprocess.run(
        [sys.executable, str(path)],
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, limits),
    )
    assert done.returncode == 0
