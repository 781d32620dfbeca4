"""Text to syntax: what may stand where, and where it stands."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lark import Lark, Token, UnexpectedInput
from lark.exceptions import LexError
from rig_text import cue, good, loaded, marked_text, names, with_rig

from seqlang.text.grammar import Indentation, grammar_text, parser
from seqlang.text.indentation import faults
from seqlang.text.names import RESERVED, nearest
from seqlang.text.parse import parse
from seqlang.text.pieces import ReadPieces
from seqlang.text.source import Source
from seqlang.text.syntax import CueText, end_of, start_of

ROOT = Path(__file__).parents[2]
SHOWS = sorted((ROOT / "shows").glob("*/*.cues"))


def test_the_grammar_has_no_conflict_that_the_parser_settles_by_itself(
    caplog: pytest.LogCaptureFixture,
) -> None:
    import logging

    import lark

    lark.logger.setLevel(logging.DEBUG)
    with caplog.at_level(logging.DEBUG, logger="lark"):
        Lark(grammar_text(), parser="lalr", postlex=Indentation(), debug=True)
    lark.logger.setLevel(logging.CRITICAL)
    assert [r.message for r in caplog.records if "onflict" in r.message] == []


def test_no_two_tokens_that_may_stand_in_one_place_match_the_same_text() -> None:
    pytest.importorskip("interegular")
    strictly = {"parser": "lalr", "postlex": Indentation(), "strict": True}
    assert Lark(grammar_text(), **strictly).parse('show "a"\n').data == "start"
    rival = grammar_text().replace("hold: HOLD", "hold: (HOLD | RIVAL)") + "\nRIVAL: /hol[d]/\n"
    with pytest.raises(LexError):
        Lark(rival, **strictly)


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.stem)
def test_a_shipped_show_has_no_syntax_error(path: Path) -> None:
    parsed = parse(Source(str(path), path.read_text()))
    assert parsed.findings == []
    assert len(parsed.items) > 5


def test_a_comment_may_stand_anywhere_and_a_colour_is_no_comment() -> None:
    found = good(
        cue("# first", "belly fade to #ff8000 80 % in 1 s   # and a note", "", "  # at the end")
    )
    fade = found.show.score.cues[0].body.children[0]
    assert fade.light.colour == (255, 128, 0)


def test_a_comment_that_looks_like_a_colour_is_a_comment_where_no_colour_can_stand() -> None:
    found = good(cue("hold 3 s #facade"))
    assert [step.duration_ms for step in found.show.score.cues[0].body.children] == [3000]


def test_a_name_may_start_with_a_word_of_the_language() -> None:
    found = loaded("cue in_between\n    hold 1 s\ncue holding\n    play in_between\n")
    assert names(found) == []


def test_windows_line_ends_change_nothing(tmp_path: Path) -> None:
    from seqlang.loading import load

    path = tmp_path / "a.cues"
    path.write_bytes(b'show "a"\r\ncue a\r\n    hold 1 s\r\n    hold 2 s\r\n')
    found = load(path)
    assert names(found) == []
    assert len(found.show.score.cues[0].body.children) == 2


def test_a_byte_order_mark_changes_nothing(tmp_path: Path) -> None:
    from seqlang.loading import load

    path = tmp_path / "a.cues"
    path.write_bytes(b'\xef\xbb\xbfshow "a"\n')
    assert load(path).show.score.title == "a"


def test_the_last_line_needs_no_line_end(tmp_path: Path) -> None:
    from seqlang.loading import load

    path = tmp_path / "a.cues"
    path.write_text("cue a\n    hold 1 s")
    assert names(load(path)) == []


def test_a_node_knows_where_it_stands() -> None:
    text = 'cue a "A"\n    together\n        hold (3 s * 2)\n'
    (item,) = parse(Source("", text)).items
    assert isinstance(item, CueText)
    hold = item.body[0].body[0]
    assert text[start_of(hold) : end_of(hold)] == "hold (3 s * 2)"
    assert text[start_of(item.body[0]) :].startswith("together")


def test_inches_are_told_from_the_word_in() -> None:
    found = with_rig(
        "servo x: body pin PB4",
        "    pulse 900 us at 0 deg, 2100 us at 90 deg",
        "    travel 0 deg to 60 deg",
        "    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V",
        "    load 2 oz at 4 in",
        "    load plate 2 oz, 4 in by 2 in, from 1 in",
        "cue a",
        "    x to 30 in 400 ms",
    )
    assert names(found) == ["missing-unit"]
    assert found.findings[0].message == "an angle is needed here, but `30` has no unit"


PARSED = "import seqlang.text.grammar as p; print(len(p.parser().parse('cue a\\n    hold 1 s\\n')))"


def parsed_beside(caches: Path) -> tuple[str, str]:
    """What a process prints that parses a text of one cue, with its caches in that folder."""
    names = ("HOME", "LOCALAPPDATA", "XDG_CACHE_HOME")
    place = {**os.environ, **dict.fromkeys(names, str(caches))}
    done = subprocess.run(
        [sys.executable, "-c", PARSED], capture_output=True, text=True, env=place, cwd=ROOT
    )
    return done.stdout.strip(), done.stderr


def test_parser_tables_that_are_spoilt_are_built_again(tmp_path: Path) -> None:
    assert parsed_beside(tmp_path) == ("1", "")
    (kept,) = tmp_path.rglob("*.tables")
    whole = kept.stat().st_size
    for spoil in (b"", b"not a table", b"\x80\x04garbage" * 100, kept.read_bytes()[:-1000]):
        kept.write_bytes(spoil)
        assert parsed_beside(tmp_path) == ("1", "")
        assert kept.stat().st_size > 0.9 * whole


def test_parser_tables_are_kept_whole_and_alone_and_are_used_again(tmp_path: Path) -> None:
    parsed_beside(tmp_path)
    (kept,) = (path for path in tmp_path.rglob("*") if path.is_file())
    before = kept.stat()
    assert parsed_beside(tmp_path) == ("1", "")
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [kept]
    assert (kept.stat().st_ino, kept.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


def test_parsing_leaves_nothing_in_the_package_that_an_installer_does_not_know(
    tmp_path: Path,
) -> None:
    # A parser's tables beside the modules once outlived their package. What was left of its
    # folder then hid the package that was installed next from somewhere else.
    package = tmp_path / "seqlang"
    shutil.copytree(ROOT / "seqlang", package, ignore=shutil.ignore_patterns("__pycache__"))
    for room in ("sim", "firmware_gen"):
        (tmp_path / room).symlink_to(ROOT / room)
    before = {path for path in package.rglob("*") if path.suffix != ".pyc"}
    place = {**os.environ, "PYTHONPATH": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "kept")}
    script = PARSED + "; print(p.__file__)"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=place, cwd=tmp_path
    )
    assert done.stdout.split() == ["1", str(package / "text" / "grammar.py")]
    after = {path for path in package.rglob("*") if path.suffix != ".pyc"}
    assert {path for path in after - before if path.name != "__pycache__"} == set()


def test_parsing_works_where_no_folder_for_caches_can_be_made(tmp_path: Path) -> None:
    nowhere = tmp_path / "a file"
    nowhere.touch()
    assert parsed_beside(nowhere) == ("1", "")
    assert list(tmp_path.iterdir()) == [nowhere]


def test_parsing_works_where_nothing_can_be_written(monkeypatch: pytest.MonkeyPatch) -> None:
    import seqlang.text.grammar as module

    monkeypatch.setattr(module, "_tables", lambda: None)
    module.parser.cache_clear()
    try:
        assert names(loaded("cue a\n    hold 1 s\n")) == []
    finally:
        module.parser.cache_clear()


def test_places_are_the_same_whether_tables_are_built_or_kept(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import seqlang.text.grammar as module

    monkeypatch.setattr(module, "_tables", lambda: None)
    module.parser.cache_clear()
    try:
        found = good(cue("jaw to 30 deg in 1.5 s"))
    finally:
        module.parser.cache_clear()
    (move,) = found.show.score.cues[0].body.children
    assert marked_text(found, move.mark, "pace") == "in 1.5 s"


@pytest.mark.parametrize(
    "context",
    ["cue a\n    {} to 3 deg in 3 s\n", "pose a\n    {} 3 deg\n", "usage\n    {} 3 per hour\n"],
)
def test_every_word_that_cannot_name_an_output_or_cue_is_reserved(context: str) -> None:
    words = {t.pattern.value for t in parser().terminals if t.pattern.value.isalpha()}
    shadowed = set()
    for word in words:
        try:
            parser().parse(context.format(word))
        except UnexpectedInput:
            shadowed.add(word)
    assert len(words) > 60
    assert shadowed <= RESERVED


def test_the_nearest_name_is_the_one_with_the_fewest_slips() -> None:
    known = ["fin_left", "fin_right", "jaw", "belly"]
    assert nearest("fin_lfet", known) == "fin_left"
    assert nearest("Jaw", known) == "jaw"
    assert nearest("jwa", known) == "jaw"
    assert nearest("tail", known) is None
    assert nearest("jaw", []) is None


# -- a text that is edited ---------------------------------------------------------------------


def tokens_of(node: object) -> list[tuple[str, str, int | None, int | None]]:
    """Every token below a node with its place."""
    if isinstance(node, Token):
        return [(node.type, str(node), node.start_pos, node.end_pos)]
    if isinstance(node, list | tuple):
        return [one for part in node for one in tokens_of(part)]
    return []


EDITED = (Path(__file__).parents[2] / "shows/anglerfish/anglerfish.cues").read_text("utf-8")
INSERTS = (
    "",
    "x",
    "\n",
    "    ",
    "cue b\n",
    "hold 3 s\n",
    "# c",
    '"',
    "(",
    "jaw to ",
    "1",
    "\n\n\n",
)


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 40), st.sampled_from(INSERTS)), max_size=6)
)
def test_after_any_edits_a_text_reads_as_if_it_were_new(
    edits: list[tuple[float, int, str]],
) -> None:
    text, pieces = EDITED, ReadPieces()
    for place, cut, words in edits:
        at = int(place * len(text))
        text = text[:at] + words + text[at + cut :]
        source = Source("x.cues", text if text.endswith("\n") else text + "\n")
        if faults(source):
            continue
        again, fresh = parse(source, pieces), parse(source)
        assert again.items == fresh.items
        assert tokens_of(again.items) == tokens_of(fresh.items)
        assert again.findings == fresh.findings
        assert again.lost_names == fresh.lost_names


def test_what_an_edit_left_alone_is_not_parsed_again() -> None:
    pieces = ReadPieces()
    before = parse(Source("x.cues", EDITED), pieces).items
    after = parse(Source("x.cues", EDITED + "\ncue more\n    hold 1 s\n"), pieces).items
    assert all(one is other for one, other in zip(before[:-1], after, strict=False))


def test_two_texts_may_be_read_beside_one_another() -> None:
    """An editor's server reads one text while it lays out another."""
    one = parser().parse_interactive('cue a\n    repeat 2 times\n        hold 1 s\nshow "x"\n')
    other = parser().parse_interactive("cue b\n  hold 1 s\n")
    first, second = one.iter_parse(), other.iter_parse()
    kinds = [next(first).type for _ in range(5)]
    kinds += [token.type for token in second]
    kinds += [token.type for token in first]
    assert kinds.count("_INDENT") == kinds.count("_DEDENT") == 3
