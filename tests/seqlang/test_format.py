"""The canonical layout: one case a rule, and `bellcrank format` around it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from seqlang.command import main
from seqlang.text import format as layout
from seqlang.text.format import Formatted, formatted
from seqlang.text.source import Source

NEAT = """\
given a = 3 s

cue rest
    hold a
"""
MESSY = "given a=3s\ncue rest\n  hold   a\n\n\n"


def laid_out(text: str) -> str:
    made = formatted(Source("x.cues", text))
    assert made.findings == ()
    return made.text


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        pytest.param("cue a\n\thold 3 s\n", "cue a\n    hold 3 s\n", id="tabs become spaces"),
        pytest.param("idle :go   a\n", "idle: go a\n", id="spaces between words"),
        pytest.param("given a = 300ms\n", "given a = 300 ms\n", id="a space before a unit"),
        pytest.param("given a = 80%\n", "given a = 80 %\n", id="a space before a percent sign"),
        pytest.param(
            "given a = (3 s+2*-b -( 1 s ))\n",
            "given a = (3 s + 2 * -b - (1 s))\n",
            id="sums",
        ),
        pytest.param(
            "cue a\n  x to 3 deg in 1 s,trapezoid 1 /3\n",
            "cue a\n    x to 3 deg in 1 s, trapezoid 1/3\n",
            id="fractions are closed up",
        ),
        pytest.param(
            "cue a\n  x to 3 deg as  fast as   it can\n",
            "cue a\n    x to 3 deg as fast as it can\n",
            id="words of one token",
        ),
        pytest.param('show  "a  b"\n', 'show "a  b"\n', id="a title stays as it is"),
        pytest.param(
            "given a = 1 s\ngiven long_one = 2 s\n",
            "given a        = 1 s\ngiven long_one = 2 s\n",
            id="constants in a column",
        ),
        pytest.param(
            "given a = 1 s\n\ngiven long_one = 2 s\n",
            "given a = 1 s\n\ngiven long_one = 2 s\n",
            id="a blank line parts the columns of constants",
        ),
        pytest.param(
            "wearer\n  tilt 3 deg\n  stands\n  air 30 C\n",
            "wearer\n    tilt        3 deg\n    stands\n    air         30 C\n",
            id="a sheet of the rig has columns",
        ),
        pytest.param(
            "usage\n  run time 3 h\n  a 3 per hour\n",
            "usage\n    run time 3 h\n    a 3 per hour\n",
            id="sentences have none",
        ),
        pytest.param(
            "cue a\n  hold 3 s # one\n  hold 300 ms     # two\n",
            "cue a\n    hold 3 s     # one\n    hold 300 ms  # two\n",
            id="comments behind statements in a column",
        ),
        pytest.param(
            "cue a   # one\n  hold 300 ms # two\n",
            "cue a  # one\n    hold 300 ms  # two\n",
            id="a header's comment has no column with those of its block",
        ),
        pytest.param(
            "given a = 1 s\ncue b\n  hold a\nidle: go b\n",
            "given a = 1 s\n\ncue b\n    hold a\n\nidle: go b\n",
            id="blank lines round blocks",
        ),
        pytest.param(
            "cue a\n  hold 1 s\n# of b\ncue b\n  hold 1 s\n",
            "cue a\n    hold 1 s\n\n# of b\ncue b\n    hold 1 s\n",
            id="a comment belongs to the block below it",
        ),
        pytest.param(
            "cue a\n  hold 1 s\n  # of a\ncue b\n  hold 1 s\n",
            "cue a\n    hold 1 s\n    # of a\n\ncue b\n    hold 1 s\n",
            id="a comment indented like the block above it ends that",
        ),
        pytest.param(
            "cue a\n# first\n\n  hold 1 s\n\n\n\n  hold 2 s\n\n",
            "cue a\n    # first\n\n    hold 1 s\n\n    hold 2 s\n",
            id="no two blank lines, none at the end",
        ),
        pytest.param('\n\n# top\n\nshow "x"', '# top\n\nshow "x"\n', id="none at the start"),
        pytest.param(
            "cue a\n\n  together\n\n    hold 1 s\n",
            "cue a\n    together\n        hold 1 s\n",
            id="none below a header",
        ),
        pytest.param(
            '# a\u2028b \u00a0\nshow "x"\n', '# a\u2028b \u00a0\nshow "x"\n', id="odd comment"
        ),
    ],
)
def test_a_rule_of_the_layout(text: str, expected: str) -> None:
    assert laid_out(text if text.endswith("\n") else text + "\n") == expected
    assert laid_out(expected) == expected


def test_a_text_that_does_not_parse_stays_and_says_why() -> None:
    text = "cue a\n  hold\n  wait 3 s\n"
    made = formatted(Source("x.cues", text))
    assert made.text == text
    assert [finding.name for finding in made.findings] == ["syntax", "syntax"]


def test_names_that_do_not_exist_keep_no_text_from_being_laid_out() -> None:
    assert laid_out("cue a\n  nobody to 3 deg in 1 s\n").startswith("cue a\n    nobody")


def test_a_line_that_would_grow_beyond_the_limit_is_left_with_its_reason() -> None:
    text = "given a = (" + "1+" * 400 + "1)\n"
    made = formatted(Source("x.cues", text))
    assert (made.text, [finding.name for finding in made.findings]) == (text, ["line-too-long"])
    assert laid_out("given a = (" + "1+" * 200 + "1)\n").count(" + ") == 200


def test_a_layout_that_would_lose_a_word_is_never_given_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    spelling = layout._spelling
    monkeypatch.setattr(
        layout, "_spelling", lambda token: "1 s" if str(token) == "3 s" else spelling(token)
    )
    rows = layout._rows
    calls: list[str] = []

    def honest(text: str) -> object:  # the second reading sees what was really written
        calls.append(text)
        if len(calls) == 2:
            monkeypatch.setattr(layout, "_spelling", spelling)
        return rows(text)

    monkeypatch.setattr(layout, "_rows", honest)
    monkeypatch.setattr(
        layout,
        "_said",
        lambda found: [
            (row.depth, token.type, str(token)) for row in found for token in row.tokens
        ],
    )
    with pytest.raises(AssertionError, match="would have changed"):
        formatted(Source("x.cues", "cue a\n    hold 3 s\n"))


# -- the command -------------------------------------------------------------------------------


def run(*arguments: str, text: bytes = b"") -> tuple[int, bytes, str]:
    done = subprocess.run(
        [sys.executable, "-m", "seqlang", "format", *arguments], input=text, capture_output=True
    )
    return done.returncode, done.stdout, done.stderr.decode()


def test_files_are_laid_out_in_place_and_named_once(tmp_path: Path) -> None:
    messy, neat = tmp_path / "messy.cues", tmp_path / "neat.cues"
    messy.write_text(MESSY)
    neat.write_text(NEAT)
    before = neat.stat().st_mtime_ns
    status, out, err = run(str(messy), str(neat))
    assert (status, err) == (0, "")
    assert out.decode().split() == ["laid", "out", str(messy)]
    assert messy.read_text() == NEAT
    assert neat.stat().st_mtime_ns == before
    assert run(str(messy), str(neat))[:2] == (0, b"")


def test_check_names_what_would_change_and_changes_nothing(tmp_path: Path) -> None:
    messy, neat = tmp_path / "messy.cues", tmp_path / "neat.cues"
    messy.write_text(MESSY)
    neat.write_text(NEAT)
    status, out, err = run("--check", str(neat), str(messy))
    assert (status, err) == (1, "")
    assert out.decode().split() == ["would", "change", str(messy)]
    assert messy.read_text() == MESSY
    assert run("--check", str(neat)) == (0, b"", "")


def test_a_file_that_does_not_parse_is_left_and_the_others_are_laid_out(tmp_path: Path) -> None:
    broken, messy = tmp_path / "broken.cues", tmp_path / "messy.cues"
    broken.write_text("cue a\n  hold\n")
    messy.write_text(MESSY)
    status, _, err = run(str(broken), str(messy))
    assert status == 1
    assert f"{broken}:2:" in err
    assert "(syntax)" in err
    assert broken.read_text() == "cue a\n  hold\n"
    assert messy.read_text() == NEAT


def test_a_dash_reads_the_input_and_writes_the_output() -> None:
    assert run("-", text=MESSY.encode()) == (0, NEAT.encode(), "")
    assert run("-", text=b"\xef\xbb\xbf" + MESSY.replace("\n", "\r\n").encode())[1] == NEAT.encode()
    assert run("--check", "-", text=NEAT.encode()) == (0, b"", "")
    assert run("--check", "-", text=MESSY.encode())[0] == 1
    status, out, err = run("-", text=b"cue a\n  hold\n")
    assert (status, out) == (1, b"")
    assert "-:2:" in err
    assert run("-", "x.cues")[0] == 2


@pytest.mark.parametrize("content", [b"\xff\xfe\0", b"cue \xff", b"\0", b""], ids=repr)
def test_what_is_no_show_is_left_with_a_finding(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.cues"
    path.write_bytes(content)
    status, out, err = run(str(path))
    assert (status, out) == (1, b"")
    assert "error:" in err
    assert "Traceback" not in err
    assert path.read_bytes() == content


def test_a_file_keeps_the_line_ends_it_has(tmp_path: Path) -> None:
    path = tmp_path / "x.cues"
    path.write_bytes(MESSY.replace("\n", "\r\n").encode())
    assert run(str(path))[0] == 0
    assert path.read_bytes() == NEAT.replace("\n", "\r\n").encode()
    assert run("--check", str(path)) == (0, b"", "")


def test_a_file_that_is_not_there_is_wrong_use(tmp_path: Path) -> None:
    status, _, err = run(str(tmp_path / "none.cues"))
    assert status == 2
    assert "Traceback" not in err


def test_a_file_that_cannot_be_opened_keeps_no_other_from_being_laid_out(tmp_path: Path) -> None:
    first, last = tmp_path / "first.cues", tmp_path / "last.cues"
    first.write_text(MESSY)
    last.write_text(MESSY)
    status, _, err = run(str(first), str(tmp_path / "none.cues"), str(last))
    assert status == 2
    assert err.startswith("error: ")
    assert "none.cues" in err
    assert (first.read_text(), last.read_text()) == (NEAT, NEAT)


def test_a_file_that_is_not_to_be_written_stays_and_is_named(tmp_path: Path) -> None:
    kept, messy = tmp_path / "kept.cues", tmp_path / "messy.cues"
    kept.write_text(MESSY)
    kept.chmod(0o444)
    messy.write_text(MESSY)
    status, _, err = run(str(kept), str(messy))
    assert status == 2
    assert f"`{kept}`: this file is marked as not to be written" in " ".join(err.split())
    assert kept.read_text() == MESSY
    assert messy.read_text() == NEAT


@pytest.mark.parametrize("rights", [0o600, 0o640, 0o755])
def test_who_may_read_a_file_stays_as_it_was(rights: int, tmp_path: Path) -> None:
    path = tmp_path / "x.cues"
    path.write_text(MESSY)
    path.chmod(rights)
    assert run(str(path))[0] == 0
    assert path.read_text() == NEAT
    assert path.stat().st_mode & 0o777 == rights


def test_a_file_that_changes_while_it_is_laid_out_keeps_the_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.cues"
    path.write_text(MESSY)

    def interrupted(source: Source) -> Formatted:
        path.write_text("# saved in the editor\n")
        return formatted(source)

    monkeypatch.setattr("seqlang.text.format.formatted", interrupted)
    with pytest.raises(SystemExit) as end:
        main(["format", str(path)])
    assert end.value.code == 2
    assert "meanwhile" in capsys.readouterr().err
    assert path.read_text() == "# saved in the editor\n"


def test_what_is_given_back_without_findings_is_the_text_laid_out() -> None:
    assert formatted(Source("x.cues", MESSY)) == Formatted(NEAT, ())
