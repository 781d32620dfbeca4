"""A show in several files: what is read, what is refused and where, and where findings point."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import seqlang
from seqlang.check import check
from seqlang.command import group
from seqlang.command._live import versions
from seqlang.loading import Loaded, load, load_text
from seqlang.text.findings import applied
from seqlang.text.indentation import MOST_CONTENT, MOST_INCLUDED, MOST_INCLUDED_DEEP
from seqlang.text.source import Source

SHOWS = Path(__file__).parents[2] / "shows"
FIRST = (SHOWS / "first" / "first.cues").read_text(encoding="utf-8")
RIG = FIRST[FIRST.index("supply desk") : FIRST.index("cue wave")]
SCORE = FIRST[FIRST.index("cue wave") :]
MAIN = f'show "First wave"\n\ninclude "rig.cues"\n\n{SCORE}'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A show whose rig stands in a file of its own."""
    show = tmp_path / "show"
    show.mkdir()
    (show / "main.cues").write_text(MAIN, encoding="utf-8")
    (show / "rig.cues").write_text(RIG, encoding="utf-8")
    return show


def written(folder: Path, **files: str) -> Loaded:
    """The show of a folder with these files in it; `a__b` lies in the folder `a`."""
    for name, text in files.items():
        path = folder / f"{name.replace('__', '/')}.cues"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return load(folder / "main.cues")


def told(loaded: Loaded) -> list[tuple[str, str, int]]:
    """Name, file and line of each finding."""
    return [
        (
            one.name,
            Path(one.span.path).name,
            loaded.sources[one.span.path].line_number(one.span.start),
        )
        for one in loaded.findings
    ]


def names(loaded: Loaded) -> list[str]:
    return [one.name for one in loaded.findings]


# -- lines that were meant to include -------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "at"),
    [
        ("include rig.cues", "rig.cues"),
        ("include rig", "rig"),
        ("include 'rig.cues'", "'rig.cues'"),
        ("include <rig.cues>", "<rig.cues>"),
        ("include \u201crig.cues\u201d", "\u201crig.cues\u201d"),
        ('include: "rig.cues"', '"rig.cues"'),
        ('include("rig.cues")', '"rig.cues")'),
        ('include "rig.cues";', '"rig.cues";'),
        ('include file "rig.cues"', 'file "rig.cues"'),
        ('includ "rig.cues"', "includ"),
        ('import "rig.cues"', "import"),
        ("import rig", "import"),
        ('use "rig.cues"', "use"),
        ('load "rig.cues"', "load"),
        ('require "rig.cues"', "require"),
        ('from "rig.cues" import *', "from"),
        ("from rig import *", "from"),
        ("from rig import jaw, pack", "from"),
        ('#include "rig.cues"', '#include "rig.cues"'),
        ("# include <rig.cues>", "# include <rig.cues>"),
    ],
)
def test_a_line_that_was_meant_to_include_is_all_that_is_told_of(
    folder: Path, line: str, at: str
) -> None:
    main = folder / "main.cues"
    text = MAIN.replace('include "rig.cues"', line)
    main.write_text(text, encoding="utf-8")
    (found,) = load(main).findings
    assert text[found.span.start : found.span.end] == at
    assert found.help == 'write `include "rig.cues"`'
    assert found.fix is not None
    assert applied(text, found.fix) == MAIN


def test_a_file_that_is_named_without_its_suffix_is_found(folder: Path) -> None:
    found = written(folder, main=MAIN.replace("rig.cues", "rig"))
    assert names(found) == ["include-missing"]
    assert found.findings[0].help == "did you mean `rig.cues`?"


def test_a_file_without_its_suffix_that_is_not_there_is_told_how_files_end(folder: Path) -> None:
    found = written(folder, main=MAIN.replace("rig.cues", "nothing"))
    assert names(found) == ["include-missing"]
    assert found.findings[0].help == (
        "files of a show end in `.cues`: write `nothing.cues`, or what the file is called"
    )
    assert found.findings[0].fix is None


def test_an_include_without_a_path_is_all_that_is_told_of(folder: Path) -> None:
    found = written(folder, main=MAIN.replace('include "rig.cues"', "include"))
    assert told(found) == [("syntax", "main.cues", 3)]


@pytest.mark.parametrize("path", ["../rig.cues", "nothing.cues", "/etc/hosts"])
def test_no_include_is_proposed_of_what_cannot_be_included(folder: Path, path: str) -> None:
    (folder.parent / "rig.cues").write_text(RIG, encoding="utf-8")
    (found,) = written(folder, main=MAIN.replace('include "rig', f'load "{path}" # "rig')).findings
    assert found.fix is None


def test_an_include_in_a_comment_is_told_of_only_where_names_are_missing(folder: Path) -> None:
    assert names(written(folder, main='#include "rig.cues"\n' + RIG + SCORE)) == []


def test_a_line_of_an_included_file_that_was_meant_to_include_is_told_of(folder: Path) -> None:
    found = written(folder, more='import "rig.cues"\n', main=MAIN.replace("rig.cues", "more.cues"))
    assert told(found) == [("syntax", "more.cues", 1)]


# -- what is read --------------------------------------------------------------------------------


def test_a_show_in_two_files_is_the_show_in_one(folder: Path) -> None:
    whole = seqlang.load(SHOWS / "first" / "first.cues")
    cut = seqlang.load(folder / "main.cues")
    assert cut.passes
    assert cut.tables == whole.tables
    assert list(cut.loaded.sources) == [str(folder / "main.cues"), str(folder / "rig.cues")]


def test_what_is_included_may_include_and_a_path_counts_from_its_own_folder(folder: Path) -> None:
    board = RIG[: RIG.index("servo")]
    found = written(
        folder,
        rig='include "parts/flap.cues"\n',
        parts__flap='include "../power/desk.cues"\n' + RIG[RIG.index("servo") :],
        power__desk=board,
    )
    assert names(found) == []
    assert [Path(path).name for path in found.sources] == [
        *("main.cues", "rig.cues", "flap.cues", "desk.cues")
    ]


def test_a_constant_counts_as_given_where_its_file_is_included(folder: Path) -> None:
    score = SCORE.replace("900 ms", "pace")
    given = "given pace = 900 ms\n"
    above = written(folder, main=f'include "rig.cues"\ninclude "pace.cues"\n{score}', pace=given)
    assert names(above) == []
    below = written(folder, main=f'include "rig.cues"\n{score}include "pace.cues"\n')
    assert names(below) == ["used-before-given"]
    (finding,) = below.findings
    assert Path(finding.related[0][0].path).name == "pace.cues"


def test_an_include_behind_a_comment_in_a_title_or_in_a_block_brings_nothing(folder: Path) -> None:
    text = f'# include "no.cues"\nshow "include \\"no.cues\\""\n{RIG}{SCORE}'.replace('\\"', "'")
    assert names(written(folder, main=text)) == []
    inside = written(folder, main=MAIN.replace("cue wave", 'cue wave\n    include "a.cues"\ncue b'))
    assert "syntax" in names(inside)


@pytest.mark.parametrize("line", ['include  "rig.cues"  # the rig', 'include"rig.cues"'])
def test_spaces_and_a_comment_change_nothing(folder: Path, line: str) -> None:
    assert names(written(folder, main=MAIN.replace('include "rig.cues"', line))) == []


def test_a_file_without_a_line_end_at_its_end_ends_with_its_line(folder: Path) -> None:
    assert names(written(folder, rig=RIG.rstrip("\n"))) == []
    (folder / "rig.cues").write_bytes(b"\xef\xbb\xbf" + RIG.replace("\n", "\r\n").encode())
    assert names(load(folder / "main.cues")) == []


def test_one_file_may_be_indented_with_tabs_and_another_with_spaces(folder: Path) -> None:
    assert names(written(folder, rig=RIG.replace("    ", "\t"))) == []
    slip = written(folder, main=MAIN.replace("flap to 0 deg in 500 ms", "flap to 0 deg in 500"))
    assert [finding.fix is not None for finding in slip.findings] == [True]


def test_findings_name_the_file_and_the_line_they_are_in(folder: Path) -> None:
    slips = written(folder, rig=RIG.replace("60 g", "60"), main=MAIN.replace("500 ms", "500"))
    lines = (RIG.index("60 g"), MAIN.index("500 ms"))
    assert told(slips) == [
        ("missing-unit", "rig.cues", RIG.count("\n", 0, lines[0]) + 1),
        ("missing-unit", "main.cues", MAIN.count("\n", 0, lines[1]) + 1),
    ]
    unread = written(folder, rig=RIG.replace("servo flap", "servoo flap"), main=MAIN)
    assert told(unread)[0][:2] == ("syntax", "rig.cues")


def test_checks_point_into_the_file_that_must_change(folder: Path) -> None:
    text = RIG.replace("1000 us at 0 deg", "450 us at 0 deg")
    found = check(written(folder, rig=text)).findings
    one = next(one for one in found if one.name == "pulse-outside-range")
    assert one.span.path == str(folder / "rig.cues")
    assert text[one.span.start : one.span.end] == "0 deg"


def test_names_given_in_two_files_are_shown_in_both(folder: Path) -> None:
    twice = written(folder, main=MAIN + "\nlamp flap: box pin PD6\n")
    (one,) = [one for one in twice.findings if one.name == "duplicate-name"]
    paths = [Path(span.path).name for span in (one.span, one.related[0][0])]
    assert sorted(paths) == ["main.cues", "rig.cues"]
    shown = CliRunner().invoke(group, ["check", str(folder / "main.cues")]).output
    assert f"   in   {folder / 'rig.cues'}\n" in shown


# -- what is refused -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "name", "words"),
    [
        ("/etc/passwd", "include-outside", "from the top of a disk"),
        ("//server/rig.cues", "include-outside", "from the top of a disk"),
        ("C:/rig.cues", "include-outside", "from the top of a disk"),
        ("c:rig.cues", "include-outside", "from the top of a disk"),
        ("\\\\server\\rig.cues", "include-outside", "from the top of a disk"),
        ("../rig.cues", "include-outside", "leads out of the show's folder"),
        ("parts/../../rig.cues", "include-outside", "leads out of the show's folder"),
        ("./.././show/rig.cues", "include-outside", "leads out of the show's folder"),
        ("parts\\rig.cues", "include-path", "folders are joined by `/`"),
        ("rig.cues:stream", "include-path", "`:` is not allowed"),
        ("rig*.cues", "include-path", "`*` is not allowed"),
        ("rig\x07.cues", "include-path", "an invisible character"),
        ("nul", "include-path", "`nul` is a device"),
        ("parts/COM1.cues", "include-path", "`COM1.cues` is a device"),
        ("rig.cues ", "include-path", "which some computers drop"),
        ("rig.", "include-path", "which some computers drop"),
        ("", "include-path", "this names no file"),
        ("parts/", "include-path", "this names no file"),
        (".", "include-path", "this names no file"),
        ("parts/..", "include-path", "this names no file"),
        ("parts", "include-path", "`parts` is a folder"),
        ("rigs.cues", "include-missing", "there is no file `rigs.cues`"),
        ("rig.cues/rig.cues", "include-missing", "there is no file"),
    ],
)
def test_a_path_that_is_not_taken_is_told_at_its_place(
    folder: Path, path: str, name: str, words: str
) -> None:
    (folder / "parts").mkdir()
    (folder.parent / "rig.cues").write_text(RIG, encoding="utf-8")
    loaded = written(folder, main=MAIN.replace("rig.cues", path))
    (one,) = loaded.findings
    assert (one.name, one.severity, loaded.show) == (name, "error", None)
    assert words in one.message
    text = loaded.sources[one.span.path].text[one.span.start : one.span.end]
    assert text == (path or '""')


@pytest.mark.skipif(os.name == "nt", reason="there a drive may be this computer's")
@pytest.mark.parametrize("path", ["C:/rig.cues", "c:\\rig.cues", "D:rig.cues"])
def test_a_drive_of_another_computer_is_not_looked_for_in_the_folder(
    folder: Path, path: str
) -> None:
    (one,) = written(folder, main=MAIN.replace("rig.cues", path)).findings
    assert (one.name, one.fix) == ("include-outside", None)
    assert (one.help or "").startswith("put the file into the show's folder")


@pytest.mark.parametrize(
    ("path", "instead"),
    [
        ("parts\\rig.cues", "parts/rig.cues"),
        ("rigg.cues", "rig.cues"),
        ("parts/rigs.cues", "parts/rig.cues"),
        ("{folder}/parts/rig.cues", "parts/rig.cues"),
    ],
)
def test_where_the_right_path_is_known_it_is_proposed_and_passes(
    folder: Path, path: str, instead: str
) -> None:
    (folder / "parts").mkdir()
    (folder / "parts" / "rig.cues").write_text(RIG, encoding="utf-8")
    wrong = path.replace("{folder}", str(folder))
    (one,) = written(folder, main=MAIN.replace("rig.cues", wrong)).findings
    assert one.fix is not None
    assert one.fix.text == instead
    assert f"`{instead}`" in (one.help or "")
    done = CliRunner().invoke(group, ["check", "--fix", "--yes", str(folder / "main.cues")])
    assert done.exit_code == 0, done.output
    text = (folder / "main.cues").read_text(encoding="utf-8")
    assert text == MAIN.replace("rig.cues", instead)


def test_a_link_inside_the_folder_is_followed_and_one_that_leads_out_is_not(folder: Path) -> None:
    (folder / "near.cues").symlink_to(folder / "rig.cues")
    assert names(written(folder, main=MAIN.replace("rig.cues", "near.cues"))) == []
    outside = folder.parent / "secret.cues"
    outside.write_text(RIG, encoding="utf-8")
    (folder / "far.cues").symlink_to(outside)
    (folder / "up").symlink_to(folder.parent)
    for path in ("far.cues", "up/secret.cues"):
        found = written(folder, main=MAIN.replace("rig.cues", path))
        assert names(found) == ["include-outside"], path
    in_again = MAIN.replace("rig.cues", "up/show/rig.cues")
    assert names(written(folder, main=in_again)) == []


def test_the_show_itself_may_stand_behind_a_link(folder: Path) -> None:
    linked = folder.parent / "linked"
    linked.symlink_to(folder)
    assert names(load(linked / "main.cues")) == []


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
def test_no_pipe_and_no_device_is_opened(folder: Path) -> None:
    os.mkfifo(folder / "pipe.cues")
    (one,) = written(folder, main=MAIN.replace("rig.cues", "pipe.cues")).findings
    assert (one.name, "is a device, not a file" in one.message) == ("include-path", True)


def test_a_file_that_must_not_be_read_is_told(folder: Path) -> None:
    def refuse(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(path))

    (one,) = load_text(Source(str(folder / "main.cues"), MAIN), refuse).findings
    assert one.name == "include-missing"
    assert one.message == "`rig.cues` cannot be opened: permission denied"


def test_a_circle_is_told_where_it_closes_and_where_its_file_was_included(folder: Path) -> None:
    found = written(folder, rig=RIG + 'include "more.cues"\n', more='include "rig.cues"\n')
    (one,) = found.findings
    assert told(found) == [("include-circle", "more.cues", 1)]
    assert [Path(span.path).name for span, _ in one.related] == ["main.cues"]
    assert told(written(folder, rig=RIG + 'include "main.cues"\n'))[0][0] == "include-circle"


def test_a_second_include_of_a_file_is_told_whatever_path_leads_there(folder: Path) -> None:
    (folder / "near.cues").symlink_to(folder / "rig.cues")
    for again in ("rig.cues", "./rig.cues", "near.cues"):
        found = written(folder, main=MAIN + f'include "{again}"\n')
        assert names(found) == ["included-twice"], again
        fix = found.findings[0].fix
        assert fix is not None
        assert fix.text == ""
    by_another = written(folder, main=MAIN + 'include "more.cues"\n', more='include "rig.cues"\n')
    assert told(by_another) == [("included-twice", "more.cues", 1)]


@pytest.mark.parametrize("over", [0, 1])
def test_as_many_files_as_the_limit_are_included_and_no_more(folder: Path, over: int) -> None:
    count = MOST_INCLUDED + over - 1
    files = {f"n{n}": f"given n{n} = {n} mm\n" for n in range(count)}
    lines = "".join(f'include "{name}.cues"\n' for name in files)
    found = written(folder, main=MAIN + lines, **files)
    assert names(found) == ["too-many-includes"] * over
    if over:
        assert (found.findings[0].asked, found.findings[0].limit) == (count + 1, MOST_INCLUDED)


@pytest.mark.parametrize("over", [0, 1])
def test_files_include_one_another_as_deep_as_the_limit_and_no_deeper(
    folder: Path, over: int
) -> None:
    deepest = MOST_INCLUDED_DEEP + over
    files = {f"d{n}": f'include "d{n + 1}.cues"\n' for n in range(1, deepest)}
    files[f"d{deepest}"] = RIG
    found = written(folder, main=MAIN.replace("rig.cues", "d1.cues"), **files)
    assert names(found) == ["too-many-includes"] * over
    if over:
        assert told(found)[0][1] == f"d{MOST_INCLUDED_DEEP}.cues"


def test_all_files_together_are_no_larger_than_one_may_be(folder: Path) -> None:
    room = MOST_CONTENT - len("".join(line.strip() for line in MAIN.split("\n")))
    line = "given a = 1 mm\n"
    fits = line * (room // len(line.strip()))
    assert "file-too-large" not in names(written(folder, rig=fits))
    found = written(folder, rig=fits + line)
    assert told(found) == [("file-too-large", "main.cues", 3)]


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (RIG.encode("utf-16"), "not-text"),
        (RIG.encode().replace(b"flap", b"fl\xe4p", 1), "not-text"),
        (b"\x00\x01", "not-text"),
        (b"# nothing yet\n", "empty-show"),
        (b"#" + b"x" * 1000 + b"\n", "line-too-long"),
        (RIG.replace("    pulse", "\tpulse").encode(), "mixed-indent"),
        (RIG.replace("    travel", "  travel").encode(), "uneven-indent"),
    ],
)
def test_what_is_wrong_with_a_file_as_a_whole_is_told_in_it_and_where_it_is_included(
    folder: Path, data: bytes, name: str
) -> None:
    (folder / "rig.cues").write_bytes(data)
    (one,) = load(folder / "main.cues").findings
    assert (one.name, Path(one.span.path).name) == (name, "rig.cues")
    (way,) = one.trail
    assert way.span is not None
    assert (way.words, Path(way.span.path).name) == ("included here", "main.cues")


def test_a_line_below_an_include_or_first_in_a_file_that_is_indented_is_told(folder: Path) -> None:
    below = written(folder, main=MAIN.replace("\n\ncue", "\n    feed desk\ncue"))
    assert told(below) == [("uneven-indent", "main.cues", 4)]
    first = written(folder, main=MAIN, rig="    feed desk\n" + RIG)
    assert told(first) == [("uneven-indent", "rig.cues", 1)]
    assert first.findings[0].trail[0].words == "included here"


def test_a_missing_file_is_the_only_thing_said_of_what_hangs_on_it(folder: Path) -> None:
    (folder / "rig.cues").unlink()
    found = check(load(folder / "main.cues")).findings
    assert [one.name for one in found] == ["include-missing"]


# -- commands ------------------------------------------------------------------------------------


def run(*arguments: str) -> Result:
    return CliRunner().invoke(group, list(arguments))


def test_fix_changes_each_file_that_needs_it_and_keeps_its_line_ends(folder: Path) -> None:
    (folder / "rig.cues").write_bytes(RIG.replace("60 g", "60").replace("\n", "\r\n").encode())
    main = folder / "main.cues"
    main.write_text(MAIN.replace("500 ms", "500"), encoding="utf-8")
    done = run("check", "--fix", "--yes", str(main))
    assert done.exit_code == 0, done.output
    assert f"{folder / 'rig.cues'}:{RIG.count(chr(10), 0, RIG.index('60 g')) + 1}: " in done.output
    assert main.read_text(encoding="utf-8") == MAIN
    assert (folder / "rig.cues").read_bytes() == RIG.replace("\n", "\r\n").encode()


def test_a_change_that_has_places_in_two_files_is_made_in_both(folder: Path) -> None:
    """A word of the language that is taken for a name gets another name wherever it is used."""
    (folder / "rig.cues").write_text(RIG.replace("flap", "turn"), encoding="utf-8")
    main = folder / "main.cues"
    main.write_text(MAIN.replace("flap", "turn"), encoding="utf-8")
    assert run("check", "--fix", "--yes", str(main)).exit_code == 0
    assert "servo turn_1:" in (folder / "rig.cues").read_text(encoding="utf-8")
    assert "turn_1 to 50 deg" in main.read_text(encoding="utf-8")


def test_an_included_file_that_cannot_be_written_is_told_and_nothing_changes(folder: Path) -> None:
    rig = folder / "rig.cues"
    rig.write_text(RIG.replace("60 g", "60"), encoding="utf-8")
    rig.chmod(0o444)
    done = run("check", "--fix", "--yes", str(folder / "main.cues"))
    assert done.exit_code == 2
    assert f"`{rig}` cannot be written" in str(done.exception or "") + done.output
    assert "60 at" in rig.read_text(encoding="utf-8")


def test_json_and_sarif_name_the_file_of_each_finding(folder: Path) -> None:
    written(folder, rig=RIG.replace("60 g", "60"))
    main = str(folder / "main.cues")
    (record,) = json.loads(run("check", "--format", "json", main).output)["findings"]
    assert record["span"]["path"] == record["fix"]["span"]["path"] == str(folder / "rig.cues")
    log = json.loads(run("check", "--format", "sarif", main).output)["runs"][0]
    (result,) = log["results"]
    uri = (folder / "rig.cues").as_uri()
    place = result["locations"][0]["physicalLocation"]["artifactLocation"]
    change = result["fixes"][0]["artifactChanges"][0]["artifactLocation"]
    assert place["uri"] == change["uri"] == uri
    assert {one["location"]["uri"] for one in log["artifacts"]} == {
        uri,
        (folder / "main.cues").as_uri(),
    }


def test_format_lays_out_the_file_it_is_given_and_no_other(folder: Path) -> None:
    (folder / "main.cues").write_text(MAIN.replace(' "rig', '   "rig'), encoding="utf-8")
    (folder / "rig.cues").write_text(RIG.replace("    ", "  "), encoding="utf-8")
    assert run("format", str(folder / "main.cues")).exit_code == 0
    assert (folder / "main.cues").read_text(encoding="utf-8") == MAIN
    assert "\n  feed" in (folder / "rig.cues").read_text(encoding="utf-8")
    assert run("format", str(folder / "rig.cues")).exit_code == 0


def test_the_other_commands_read_what_a_show_includes(folder: Path, tmp_path: Path) -> None:
    main = str(folder / "main.cues")
    out = str(tmp_path / "out")
    assert run("compile", main, "--out", out).exit_code == 0
    assert run("size", main).exit_code == 0
    assert run("preview", main, "--out", str(tmp_path / "page.html")).exit_code == 0


def test_the_served_page_follows_a_file_that_is_included(folder: Path) -> None:
    following = versions(folder / "main.cues")
    assert next(following).data is not None
    (folder / "rig.cues").write_text(RIG.replace("60 g", "60"), encoding="utf-8")
    assert "missing-unit" in next(following).findings
    (folder / "rig.cues").write_text(RIG, encoding="utf-8")
    assert next(following).data is not None
