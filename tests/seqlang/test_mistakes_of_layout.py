"""Mistakes of more than one line: one finding at the line at fault, whose change passes."""

from __future__ import annotations

import re

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding, applied
from seqlang.text.source import Source
from tests.seqlang.mistakes.base import LINES, with_line

SHOW = with_line("show", dict(LINES)["show"])


def line_of(words: str, text: str = SHOW) -> int:
    return text.split("\n").index(words) + 1


def errors(text: str) -> list[Finding]:
    found = check(load_text(Source("test.cues", text))).findings
    return [one for one in found if one.severity == "error"]


REMOTE = SHOW[SHOW.index("remote\n") : SHOW.index("usage\n")]
IDLE = dict(LINES)["idle"]

LAYOUT = {
    "a body at the margin": (
        SHOW.replace("cue rest\n    pose shut in 3 s", "cue rest\npose shut in 3 s\nhold 1 s"),
        "pose shut in 3 s",
        "belongs to `cue rest` above it and is not indented",
    ),
    "a remote at the margin": (
        SHOW.replace(REMOTE, re.sub(r"^    ", "", REMOTE, flags=re.MULTILINE)),
        "button 1: go act",
        "belongs to `remote` above it and is not indented",
    ),
    "one line at the margin": (
        SHOW.replace("    hold 600 ms", "hold 600 ms"),
        "hold 600 ms",
        "is not indented",
    ),
    "the first child too deep": (
        SHOW.replace("    jaw to 30 deg in 900 ms", "        jaw to 30 deg in 900 ms"),
        "        jaw to 30 deg in 900 ms",
        "indented by 8 spaces, and the lines of its block below it by 4",
    ),
    "the first line of a servo too deep": (
        SHOW.replace("    pulse", "      pulse", 1),
        "      pulse 900 us at 0 deg, 2100 us at 90 deg",
        "indented by 6 spaces, and the lines of its block below it by 4",
    ),
    "a later line too deep": (
        SHOW.replace("    hold 600 ms", "        hold 600 ms"),
        "        hold 600 ms",
        "the line above it has no block",
    ),
    "tabs among spaces": (
        SHOW.replace("    hold 600 ms", "\thold 600 ms").replace("    lure ste", "\tlure ste"),
        "\thold 600 ms",
        "indented with a tab, but the file uses spaces",
    ),
    "no-break spaces before a line": (
        SHOW.replace("    hold 600 ms", "\u00a0\u00a0\u00a0\u00a0hold 600 ms"),
        "\u00a0\u00a0\u00a0\u00a0hold 600 ms",
        "indented with a no-break space",
    ),
    "statements below idle": (
        SHOW.replace(IDLE, "idle:\n    tuft_1 fade to 40 % in 2 s\n    hold 1 s"),
        "idle:",
        "`idle` has no block",
    ),
    "statements below idle, and the way back": (
        SHOW.replace(IDLE, "idle\n    tuft_1 fade to 40 % in 2 s\n    back in 900 ms"),
        "idle",
        "`idle` has no block",
    ),
    "cues below idle": (
        SHOW.replace(IDLE, "idle:\n    go rest\n    go doze\n    back in 900 ms"),
        "idle:",
        "`idle` has no block",
    ),
    "a cue played below idle": (
        SHOW.replace(IDLE, "idle:\n    play rest"),
        "idle:",
        "`idle` has no block",
    ),
    "cues played in turn below idle, and a comment": (
        SHOW.replace(IDLE, "idle:  # by itself\n    play rest\n    play doze  # both"),
        "idle:  # by itself",
        "`idle` has no block",
    ),
    "the way back below idle": (
        SHOW.replace(IDLE, "idle: go rest, doze\n    back in 900 ms"),
        "    back in 900 ms",
        "`idle` has no block",
    ),
}


@pytest.mark.parametrize("kind", LAYOUT)
def test_the_line_at_fault_is_shown_and_moved(kind: str) -> None:
    text, line, says = LAYOUT[kind]
    (found,) = errors(text)
    source = Source("test.cues", text)
    assert source.line_number(found.span.start) == line_of(line, text)
    assert says in found.message
    assert found.fix is not None
    assert errors(applied(text, found.fix)) == []


def test_which_cue_a_block_below_idle_belongs_to_is_left_to_the_maker() -> None:
    wrong = "idle: go rest\n    tuft_1 fade to 40 % in 2 s"
    (found,) = errors(with_line("idle", wrong))
    assert "`idle` has no block" in found.message
    assert found.fix is None
    assert "such as `cue at_rest`" in (found.help or "")


def test_the_cue_made_of_a_block_below_idle_gets_a_free_name() -> None:
    text = SHOW.replace("cue doze", "cue at_rest").replace(IDLE, "idle:\n    fan on\n    hold 1 s")
    (found,) = errors(text)
    assert found.fix is not None
    mended = applied(text, found.fix)
    assert "idle: go at_rest_2\n\ncue at_rest_2\n    fan on\n" in mended
    assert errors(mended) == []


EVERYWHERE = {
    "a hyphen in a name": (SHOW.replace("left_fin", "left-fin"), "`left-fin` is not a name"),
    "a name of two words": (
        SHOW.replace("left_fin 0 deg, ", "").replace("left_fin", "left fin"),
        "`left fin` is read as two words",
    ),
    "a word of the language as a name": (SHOW.replace("left_fin", "turn"), "`turn` is a word"),
    "semicolons": (re.sub(r"( ms| s)\n", r"\1;\n", SHOW), "a line ends without `;`"),
    "no-break spaces": (
        SHOW.replace("jaw to", "jaw\u00a0to"),
        "U+00A0 (no-break space)",
    ),
    "a name that is declared otherwise": (
        SHOW.replace("servo left_fin", "servo leftfin"),
        "there is no output `left_fin`",
    ),
}


@pytest.mark.parametrize("kind", EVERYWHERE)
def test_one_mistake_made_everywhere_is_one_finding_with_one_change(kind: str) -> None:
    text, says = EVERYWHERE[kind]
    (found,) = errors(text)
    assert says in found.message
    assert found.fix is not None
    assert len(found.fix.places) > 1
    assert errors(applied(text, found.fix)) == []


TWICE = {
    "cap": "cap 500 mA\ncap 500  mA",
    "feed": "feed pack, 600 mm of 18 AWG\nfeed pack, 600 mm of 18 AWG",
    "rating": "\n".join(["rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V"] * 2),
    "rate": "act 20 per hour\nact 20 per hour",
    "stop": "stop button 4\nstop button 4",
    "show": 'show "Fins"\nshow "Fins"',
}


@pytest.mark.parametrize("name", TWICE)
def test_a_line_that_says_the_same_again_is_taken_out(name: str) -> None:
    text = with_line(name, TWICE[name])
    (found,) = errors(text)
    assert found.name == "duplicate-line"
    assert found.fix is not None
    assert applied(text, found.fix) == with_line(name, TWICE[name].partition("\n")[0])


@pytest.mark.parametrize(
    ("name", "lines"),
    [
        ("cap", "cap 500 mA\ncap 600 mA"),
        ("rate", "act 20 per hour\nact 30 per hour"),
        ("fintravel", "travel 0 deg to 60 deg\ntravel 0 deg to 50 deg"),
        ("cap", "cap 500 mA  # of the old supply\ncap 500 mA"),
    ],
)
def test_which_of_two_lines_that_differ_is_meant_is_left_to_the_maker(
    name: str, lines: str
) -> None:
    (found,) = errors(with_line(name, lines))
    assert (found.name, found.fix) == ("duplicate-line", None)
    assert found.help == "keep one of the two lines"


@pytest.mark.parametrize(
    ("before", "again", "free"),
    [
        ("cue act", "pose wide\n    jaw 30 deg\n", "wide_2"),
        ("cue act", "pose wide_2\n    jaw 3 deg\npose wide\n    jaw 30 deg\n", "wide_3"),
        ("board body", "supply wall\n    source adapter 6 V, 2 A\n", "wall_2"),
    ],
)
def test_the_second_of_a_name_gets_one_that_is_free(before: str, again: str, free: str) -> None:
    text = SHOW.replace(f"\n{before}", f"\n{again}{before}")
    (found,) = errors(text)
    assert found.name == "duplicate-name"
    assert found.fix is not None
    assert found.fix.text == free
    assert errors(applied(text, found.fix)) == []


@pytest.mark.parametrize("block", ["repeat 3 times", "together", "in turn", "stagger 100 ms"])
def test_the_only_line_below_a_block_without_a_body_is_moved_into_it(block: str) -> None:
    text = SHOW.replace("    pose shut in 3 s", f"    {block}\n    pose shut in 3 s")
    (found,) = errors(text)
    assert "needs an indented block" in found.message
    assert found.fix is not None
    assert applied(text, found.fix) == text.replace(
        "    pose shut in 3 s", "        pose shut in 3 s"
    )
    more = text.replace("    pose shut in 3 s", "    pose shut in 3 s\n    hold 1 s")
    (found,) = errors(more)
    assert found.fix is None


@pytest.mark.parametrize(
    "header",
    [
        "Servo left_fin: body pin PB2",
        'servo "left_fin": body pin PB2',
        "servo left_fin body, PB2",
        "motor left_fin body PB2",
    ],
)
def test_a_broken_header_brings_no_errors_of_what_it_declares(header: str) -> None:
    found = errors(with_line("fin", header))
    assert len(found) == 1
    assert found[0].name == "syntax"


@pytest.mark.parametrize("line", ["regulator 6 V 5 A", "regulator 5 A, 6 V", "regulator 6 V"])
def test_behind_a_regulator_that_cannot_be_read_no_voltage_is_called_wrong(line: str) -> None:
    (found,) = errors(with_line("regulator", line))
    assert found.name in ("syntax", "unit-mismatch")


def test_braces_of_another_language_are_one_finding() -> None:
    text = SHOW.replace(
        "cue rest\n    pose shut in 3 s\n", "cue rest {\n    pose shut in 3 s;\n}\n"
    )
    found = errors(text)
    for _ in range(3):
        if found and found[0].fix is not None:
            text = applied(text, found[0].fix)
            found = errors(text)
    assert found == []


TOGETHER = "    together\n        jaw to 10 deg in 1 s\n        left_fin to 40 deg in 1 s\n"
TIMED = SHOW.replace(TOGETHER, f"{TOGETHER}    at 9410 ms\n")


@pytest.mark.parametrize(
    "header", ["together:", "together {", "parallel", "same time", "at once", "all at once"]
)
def test_a_wrong_header_of_what_moves_together_brings_no_word_about_the_clock(header: str) -> None:
    """One after another the parts would need longer, and the clock would be past 9410 ms."""
    assert errors(TIMED) == []
    text = TIMED.replace("    together\n", f"    {header}\n")
    (found,) = errors(text)
    assert found.span.start >= text.index(header)
    assert found.fix is not None
    assert applied(text, found.fix).replace("together \n", "together\n") == TIMED


def test_a_header_that_nobody_can_mend_brings_no_word_about_the_clock() -> None:
    (found,) = errors(TIMED.replace("    together\n", "    wings flutter\n"))
    assert (found.name, found.fix) == ("syntax", None)


def test_a_time_that_is_late_beside_sound_headers_is_told() -> None:
    (found,) = errors(TIMED.replace("    together\n", "    in turn\n"))
    assert found.name == "behind-time"


def indented(text: str) -> str:
    return "".join(f"    {line}" if line.strip() else line for line in text.splitlines(True))


def test_a_text_that_is_indented_as_a_whole_moves_to_the_margin() -> None:
    (found,) = errors(indented(SHOW))
    assert found.name == "uneven-indent"
    assert "every line of this file is indented, by 4 or more" in found.message
    assert found.fix is not None
    assert applied(indented(SHOW), found.fix) == SHOW


@pytest.mark.parametrize("text", ['    show "x"\n        supply p\n    board b\n', "  a\n\tb\n c"])
def test_behind_a_first_line_that_is_indented_others_are_told_of_and_nothing_breaks(
    text: str,
) -> None:
    assert all(one.name in ("uneven-indent", "mixed-indent") for one in errors(text))
    assert errors(text)


def test_a_constant_of_another_language_is_told_where_it_is_used() -> None:
    text = SHOW.replace("given beat = 400 ms", "#define BEAT 400 ms").replace(
        "hold 600 ms", "hold BEAT"
    )
    (found,) = errors(text)
    assert found.message == "there is no constant `BEAT`: the line that gives it is a comment"
    assert found.span.start == text.index("hold BEAT") + 5
    assert found.fix is not None
    mended = applied(text, found.fix)
    assert "\ngiven BEAT = 400 ms\n" in mended
    assert errors(mended) == []
