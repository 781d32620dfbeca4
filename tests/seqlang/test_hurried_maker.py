"""Slips of a hurried maker: each message says what was found and what would pass."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from rig_text import RIG, cue, loaded

from firmware_gen.files import write_whole
from seqlang.check import check
from seqlang.command.size import _made_up
from seqlang.loading import load
from seqlang.text.findings import Finding
from seqlang.text.grammar import parser
from seqlang.text.render import text
from seqlang.text.tokens import HIDDEN, KINDS, words_of
from sim.strain.sizing import size

ROOT = Path(__file__).resolve().parents[2]


def only(findings: tuple[Finding, ...]) -> Finding:
    (one,) = (finding for finding in findings if finding.severity == "error")
    return one


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_a_file_in_utf_16_is_told_from_a_picture(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "wide.cues"
    path.write_bytes('show "A"\n'.encode(encoding))
    found = only(load(path).findings)
    assert found.name == "not-text"
    assert "UTF-16" in found.message
    assert "UTF-8" in (found.help or "")


def test_zero_bytes_alone_are_no_utf_16(tmp_path: Path) -> None:
    path = tmp_path / "picture.cues"
    path.write_bytes(bytes(range(256)))
    assert "UTF-16" not in only(load(path).findings).message


@pytest.mark.parametrize("line", ["jaw to 30 deg in 1,5 s", "hold 1,5 s", "jaw to 12,5 deg in 1 s"])
def test_a_decimal_comma_becomes_a_point(line: str) -> None:
    found = only(cue(line).findings)
    assert "comma" in found.message
    assert found.fix is not None
    mended = line.replace(",", ".")
    assert found.fix.text in mended
    assert not [f for f in cue(mended).findings if f.severity == "error"]


@pytest.mark.parametrize(
    ("written", "proposed"), [("0.9", "0.9 s"), ("3", "3 s"), ("300", "300 ms"), ("12.5", "12.5 s")]
)
def test_a_time_without_a_unit_gets_the_likely_one(written: str, proposed: str) -> None:
    found = only(cue(f"jaw to 30 deg in {written}").findings)
    assert found.name == "missing-unit"
    assert found.fix is not None
    assert found.fix.text == proposed


@pytest.mark.parametrize("tail", [" smooth", " please"])
@pytest.mark.parametrize("pace", ["in 900 ms", "at 90 deg/s"])
def test_what_follows_a_whole_move_is_not_taken_for_its_target(tail: str, pace: str) -> None:
    found = only(cue(f"jaw to 30 deg {pace}{tail}").findings)
    assert "the move ends here" in found.message


@pytest.mark.parametrize(
    "line", ["hold 1 s", "jaw to 30 deg in 900 ms", "jaw to 30 deg at 90 deg/s", "repeat 2 times"]
)
@pytest.mark.parametrize("mark", [";", " {"])
def test_marks_of_other_languages_are_left_out(line: str, mark: str) -> None:
    found = only(cue(f"{line}{mark}", *["    hold 1 s"] * line.startswith("repeat")).findings)
    assert mark.strip() in found.message or "bracket" in found.message
    assert found.fix is not None
    assert (found.fix.text, found.fix.span.end - found.fix.span.start) == ("", 1)


@pytest.mark.parametrize(
    "quotes", ["\u201c\u201d", "\u201e\u201c", "\u201d\u201d", "\u00ab\u00bb", '\u201c"']
)
def test_both_quotes_of_a_telephone_are_mended_at_once(quotes: str) -> None:
    text = RIG + f"cue act {quotes[0]}Wings open{quotes[1]}\n    hold 1 s\n"
    found = only(loaded(text).findings)
    assert found.fix is not None
    mended = text[: found.fix.span.start] + found.fix.text + text[found.fix.span.end :]
    assert mended == RIG + 'cue act "Wings open"\n    hold 1 s\n'


def test_a_travel_without_any_calibration_gets_no_end_that_leaves_nothing_of_it() -> None:
    """The points lie the other way round: from 0 to 90 deg, for a travel from -60 to 0 deg."""
    text = RIG.replace("travel 0 deg to 60 deg", "travel -60 deg to 0 deg", 1)
    found = next(f for f in check(loaded(text)).findings if f.name == "travel-outside-calibration")
    assert found.fix is None
    assert found.help == "measure points on both sides of the travel"


@pytest.mark.parametrize("number", ["3,200", "12,000"])
def test_a_comma_before_three_digits_is_left_to_the_maker(number: str) -> None:
    found = only(cue(f"hold {number} ms").findings)
    assert found.fix is None
    assert f"`{number.replace(',', '')}`" in (found.help or "")
    assert f"`{number.replace(',', '.')}`" in (found.help or "")


@pytest.mark.parametrize("word", ["for 3 times", "loop 3 times", "while (1)", "delay(1000)"])
def test_words_of_other_languages_lead_to_this_one(word: str) -> None:
    found = only(cue(word).findings)
    assert "does not start a statement" in found.message
    assert ("`hold 1 s`" if "delay" in word else "`repeat 3 times`") in (found.help or "")


@pytest.mark.parametrize(
    ("written", "unit"),
    [("2.2 kg-cm", "kgf.cm"), ("2.2 kg.cm", "kgf.cm"), ("2.2 oz-in", "ozf.in")],
)
def test_a_unit_that_starts_like_another_is_told_as_a_whole(written: str, unit: str) -> None:
    found = only(loaded(RIG.replace("9.4 kgf.cm", written, 1)).findings)
    assert found.name == "unknown-unit"
    assert found.help == f"did you mean `{unit}`?"


@pytest.mark.parametrize("unit", ["x", "mph", "km", "m3", "Hz"])
def test_no_unit_of_another_kind_is_proposed(unit: str) -> None:
    found = only(cue(f"hold 3 {unit}").findings)
    assert found.name == "unknown-unit"
    assert found.fix is None


def test_what_is_due_is_named_as_it_is_written() -> None:
    """Each word that a message may say is due is one that the parser takes there."""
    for terminal in parser().terminals:
        said_otherwise = terminal.name in KINDS or terminal.name in HIDDEN
        if said_otherwise or terminal.name in ("COMMENT", *parser().lexer_conf.ignore):
            continue
        said = words_of(terminal.name)
        assert said, terminal.name
        for word in said:
            assert re.fullmatch(terminal.pattern.to_regexp(), word), (terminal.name, word)


@pytest.mark.parametrize("name", ["left-jaw", "a-b-c"])
def test_a_hyphen_in_a_name_becomes_a_low_line(name: str) -> None:
    found = loaded(RIG.replace("servo jaw:", f"servo {name}:", 1)).findings[0]
    assert f"`{name}` is not a name" in found.message
    assert found.fix is not None
    assert found.fix.text == name.replace("-", "_")


def test_two_lines_that_answer_the_same_question_are_both_named() -> None:
    twice = loaded(RIG + "wearer\n    walks\n    dances\n").findings
    (found,) = (f for f in twice if f.name == "duplicate-line")
    assert found.message == "`walks` and `dances` state the same thing"


def test_a_word_where_an_amount_is_due_is_not_taken_for_a_missing_constant_alone() -> None:
    found = only(cue("hold T10").findings)
    assert found.help == "a time is needed here, in `us` or `ms` or `s` or `min` or `h`"


def test_a_pin_in_small_letters_is_proposed_in_capitals() -> None:
    found = only(loaded(RIG.replace("pin PB1", "pin pb1")).findings)
    assert "did you mean `PB1`?" in (found.help or "")


@pytest.mark.parametrize("verb", ["wait", "sleep", "pause", "delay"])
def test_other_words_for_a_pause_lead_to_hold(verb: str) -> None:
    found = only(cue(f"{verb} 1 s").findings)
    assert "`hold 1 s`" in (found.help or "")
    assert found.fix is not None
    assert found.fix.text == "hold"


def test_a_verb_before_a_move_is_left_out() -> None:
    shown = cue("move jaw to 10 deg in 1 s")
    assert only(shown.findings).fix is not None
    assert "leave out `move`" in text(shown.findings, shown.sources)


@pytest.mark.parametrize("mark", ["//", "--", "/*"])
def test_comments_of_other_languages_are_recognised(mark: str) -> None:
    found = only(cue(f"{mark} a remark", "hold 1 s").findings)
    assert "comments start with `#`" in (found.help or "")


def test_stop_behind_a_button_is_turned_round() -> None:
    found = only(loaded("remote\n    button 2: stop\n").findings)
    assert found.fix is not None
    assert found.fix.text == "stop button 2"


def test_a_move_of_a_lamp_leads_to_a_whole_fade() -> None:
    found = only(cue("lure to 50 deg in 1 s").findings)
    assert "`lure fade to 50 % in 1 s`" in (found.help or "")


@pytest.mark.parametrize(
    ("needs", "words"),
    [
        ((0.4, 0.09), "its torque makes up for it"),
        ((3.0, 0.2), "its speed makes up for it"),
        ((0.4, 0.2), ""),
    ],
)
def test_a_servo_slower_than_the_cheapest_that_does_is_explained(
    needs: tuple[float, float], words: str
) -> None:
    show = load(ROOT / "shows" / "first" / "first.cues").show
    assert show is not None
    one = replace(
        size(show).servos[0],
        torque_kgf_cm=needs[0],
        seconds_per_60deg=needs[1],
        has_kgf_cm=2.2,
        has_seconds_per_60deg=0.12,
        enough=True,
    )
    assert "".join(_made_up([one])).partition("lower than that, but ")[2] == words


# -- the command line ---------------------------------------------------------------------------


def test_the_help_of_the_whole_command_cuts_no_line_off() -> None:
    out = subprocess.run(
        [sys.executable, "-m", "seqlang", "--help"], capture_output=True, text=True, check=True
    ).stdout
    listed = out[out.index("Commands:") :].splitlines()[1:]
    assert len(listed) >= 12
    assert [line for line in listed if line.endswith("...")] == []


def test_a_file_that_cannot_be_written_is_named_as_it_was_asked_for(tmp_path: Path) -> None:
    wanted = tmp_path / "gone"
    wanted.mkdir()
    (wanted / "a").mkdir()
    with pytest.raises((IsADirectoryError, PermissionError)) as failed:
        write_whole(wanted / "a", b"x")
    assert failed.value.filename == str(wanted / "a")
    assert [each.name for each in wanted.iterdir()] == ["a"]


def test_what_is_written_through_a_link_lands_in_the_file_behind_it(tmp_path: Path) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.write_bytes(b"old")
    link.symlink_to("real")
    write_whole(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no such pipes")
def test_a_pipe_or_device_is_not_replaced_by_a_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(OSError, match="not a file") as failed:
        write_whole(tmp_path / "pipe", b"x")
    assert failed.value.filename == str(tmp_path / "pipe")
    assert (tmp_path / "pipe").is_fifo()
    assert [each.name for each in tmp_path.iterdir()] == ["pipe"]


@pytest.mark.skipif(os.name != "posix", reason="closes outputs as a POSIX shell does")
@pytest.mark.parametrize("closed", [(1,), (2,), (1, 2)])
def test_a_closed_output_changes_no_status(closed: tuple[int, ...]) -> None:
    for arguments, status in ((["shows/first/first.cues"], 0), (["gone.cues"], 2)):
        done = subprocess.run(
            [
                "sh",
                "-c",
                f'"$@" {" ".join(f"{n}>&-" for n in closed)}',
                "sh",
                sys.executable,
                "-m",
                "seqlang",
                "check",
                *arguments,
            ],
            cwd=ROOT,
            capture_output=True,
            check=False,
        )
        assert done.returncode == status, done.stderr


def test_wrong_usage_is_said_with_the_usage_and_one_line() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "seqlang", "chek"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    usage, error = done.stderr.splitlines()
    assert usage.startswith("Usage: bellcrank")
    assert error == "error: there is no command `chek`; did you mean `check`?"


def test_nobody_left_to_read_an_error_changes_no_status(tmp_path: Path) -> None:
    program = "import sys, os; r, w = os.pipe(); os.close(r); os.dup2(w, 2)\n"
    program += "from seqlang.command import main; main(['check', sys.argv[1]])"
    done = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "gone.cues")],
        capture_output=True,
        check=False,
    )
    assert done.returncode == 2


def test_a_decimal_comma_is_found_though_the_parser_stumbles_later() -> None:
    text_of = RIG.replace("0.17 s/60deg", "0,17 s/60deg", 1)
    found = only(loaded(text_of).findings)
    assert found.fix is not None
    assert found.fix.text == "0.17"


def test_a_comma_in_a_title_is_no_decimal() -> None:
    found = only(loaded('cue a "1,5 m" b\n    hold 1 s\n').findings)
    assert "comma in" not in found.message


SLIDE = """
servo lift: body pin PB4
    pulse 1000 us at 0 mm, 2000 us at 50 mm
    travel {travel}
    rating 40 mm/s, 50 N, 800 mA at 6 V
    load 100 g
    slope 10 deg
pose up
    jaw 10 deg, lift 20 mm
"""


def mended(show: str) -> str:
    """A show after the change that its only error proposes; the change passes."""
    found = only(check(loaded(show)).findings)
    assert found.fix is not None, found
    places = [(found.fix.span, found.fix.text), *found.fix.more]
    for span, words in sorted(places, key=lambda one: -one[0].start):
        show = show[: span.start] + words + show[span.end :]
    assert not [f for f in check(loaded(show)).findings if f.severity == "error"]
    return show


@pytest.mark.parametrize("slip", ["2 - 45 mm", "2 mm \u2013 45 mm", "2 mm 45 mm", "2 to 45 mm"])
def test_a_slip_in_a_travel_leaves_the_part_on_its_line(slip: str) -> None:
    show = RIG + SLIDE.format(travel=slip) + "cue c\n    lift to 30 mm in 3 s\nidle: go c\n"
    assert "    travel 2 mm to 45 mm\n" in mended(show)


def test_amounts_of_two_outputs_do_not_change_places() -> None:
    found = only(loaded(RIG + "pose up\n    jaw 10 rpm, fin 30 deg\n").findings)
    assert found.name == "unit-mismatch"
    assert "swap it with" not in (found.help or "")
    assert found.fix is None


@pytest.mark.parametrize("angle", ["-30", "-12.5"])
def test_a_target_without_its_to_keeps_its_minus(angle: str) -> None:
    found = only(cue(f"fin {angle} deg in 900 ms").findings)
    assert found.fix is None or angle in found.fix.text


@pytest.mark.parametrize(("mass", "force"), [("300 g", "300 gf"), ("0.3 kg", "0.3 kgf")])
def test_a_grip_read_from_a_scale_keeps_its_size(mass: str, force: str) -> None:
    grip = f"    grips {mass} at 60 mm, past 50 deg, for 2 s\n"
    show = RIG.replace("servo jaw: body pin PB1\n", "servo jaw: body pin PB1\n" + grip)
    found = only(loaded(show).findings)
    assert found.fix is not None
    assert found.fix.text == force


@pytest.mark.parametrize(
    ("ours", "foreign", "same"),
    [
        ("40 mm/s", "4 cm/s", "40 mm/s"),
        ("40 mm/s", "2 in/s", "50.8 mm/s"),
        ("900 mm/s2", "90 cm/s2", "900 mm/s2"),
    ],
)
def test_a_unit_of_another_size_is_converted_and_not_taken_for_its_neighbour(
    ours: str, foreign: str, same: str
) -> None:
    part = SLIDE.format(travel="2 mm to 45 mm\n    acceleration 900 mm/s2")
    show = RIG + part + "cue c\n    lift to 30 mm in 3 s\nidle: go c\n"
    assert mended(show.replace(ours, foreign)) == show.replace(ours, same)


@pytest.mark.parametrize("word", ["km/s", "dm/s", "um/s", "cm/h", "dV"])
def test_no_unit_that_differs_in_a_prefix_alone_is_proposed(word: str) -> None:
    found = only(cue(f"hold 3 {word}").findings)
    assert found.fix is None


@pytest.mark.parametrize("indent", [1, 2, 3])
def test_one_line_indented_too_little_goes_to_the_lines_around_it(indent: int) -> None:
    steps = ["jaw to 30 deg in 1 s", "jaw to 20 deg in 1 s", "jaw to 10 deg in 1 s"]
    whole = RIG + "cue c\n" + "".join(f"    {step}\n" for step in steps) + "idle: go c\n"
    assert mended(whole.replace("    " + steps[1], " " * indent + steps[1])) == whole


def test_what_is_left_out_is_said_once() -> None:
    shown = cue("together:", "    jaw to 30 deg in 1 s")
    assert text([only(shown.findings)], shown.sources).count("leave out `:`") == 1


def test_beats_a_minute_are_taken_as_the_time_of_one_and_not_for_turns() -> None:
    show = "given beat = 120 bpm\n" + RIG + "cue c\n    hold (2 * beat)\nidle: go c\n"
    assert mended(show).startswith("given beat = 500 ms\n")
