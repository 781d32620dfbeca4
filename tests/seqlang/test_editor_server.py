"""The language server, asked by a client over the pipes of a real process."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from editor_client import EditorClient, Json, RequestFailedError, edit, span
from hypothesis import given, settings
from hypothesis import strategies as st
from show_text import findings, show

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding
from seqlang.text.source import Source

ROOT = Path(__file__).parents[2]
ANGLERFISH = (ROOT / "shows" / "anglerfish" / "anglerfish.cues").read_text(encoding="utf-8")
SLOW, FAST = "jaw to 40 deg in 1 s", "jaw to 40 deg in 90 ms"
OWL = show(title="Eule 🦉 für Ömer")


@pytest.fixture(scope="module")
def client() -> Iterator[EditorClient]:
    with EditorClient() as one:
        yield one


def place_of(text: str, words: str, into: int = 0) -> tuple[int, int]:
    """Line and UTF-16 units before the first place of some words, both from 0."""
    before = text[: text.index(words) + into]
    line = before.rpartition("\n")[2]
    return before.count("\n"), len(line.encode("utf-16-le")) // 2


def replaced(text: str, old: str, new: str) -> Json:
    """The change that an editor sends for it."""
    return edit(place_of(text, old), place_of(text, old, len(old)), new)


def errors(found: list[Json]) -> list[str]:
    return [one["code"] for one in found if one["severity"] == 1]


def applied(text: str, edits: list[Json]) -> str:
    """A text with the edits of an answer made; places in UTF-16 units."""
    lines = text.split("\n")
    for one in sorted(edits, key=lambda e: (*e["range"]["start"].values(),), reverse=True):
        start, end = one["range"]["start"], one["range"]["end"]
        first = lines[start["line"]].encode("utf-16-le")[: 2 * start["character"]]
        last = lines[end["line"]].encode("utf-16-le")[2 * end["character"] :]
        whole = first.decode("utf-16-le") + one["newText"] + last.decode("utf-16-le")
        lines[start["line"] : end["line"] + 1] = whole.split("\n")
    return "\n".join(lines)


def checks_of(text: str) -> list[Finding]:
    return list(check(load_text(Source("x.cues", text))).findings)


# -- findings ----------------------------------------------------------------------------------


def test_findings_are_those_of_the_check_at_their_places(client: EditorClient) -> None:
    text = show(cues={"snap": f"{FAST}\njaw to 0 deg in 1 s"})
    client.open(text)
    found = client.findings()
    checked = check(load_text(Source("x.cues", text))).findings
    assert [one["code"] for one in found] == [one.name for one in checked]
    one = next(one for one in found if one["code"] == "servo-speed")
    assert (one["severity"], one["source"]) == (1, "bellcrank")
    assert one["range"] == span(place_of(text, "90 ms"), place_of(text, "90 ms", 5))


def test_an_edit_brings_a_finding_and_another_takes_it_away(client: EditorClient) -> None:
    text = show()
    client.open(text)
    assert errors(client.findings()) == []
    client.change(replaced(text, SLOW, FAST))
    assert "servo-speed" in errors(client.findings())
    client.change(replaced(text.replace(SLOW, FAST), FAST, SLOW))
    assert errors(client.findings()) == []


def test_places_count_utf_16_units_before_them(client: EditorClient) -> None:
    text = OWL.replace("jaw to 40 deg in 1 s", "jaw to 40 deg in 1 s  # 🦉🦉 größer")
    text = text.replace('"Eule', '"🦉🦉 Eule')
    client.open(text)
    assert errors(client.findings()) == []
    client.change(replaced(text, "für", "f🦉r"))
    client.change(edit(place_of(text, "größer"), place_of(text, "größer", 3), "𝔤ä"))
    text = text.replace("für", "f🦉r").replace("grö", "𝔤ä")
    client.change(replaced(text, "1 s  # ", "90 ms  # "))
    text = text.replace("1 s  # ", "90 ms  # ")
    found = client.findings()
    assert [one["code"] for one in found] == [f.name for f in checks_of(text)]
    titled = show(cues={'snap "🦉🦉"': "jaw to 40 deg in 1 s"}).replace(
        '"🦉🦉"', '"🦉🦉", if bsy wait'
    )
    client.open(titled)
    one = next(one for one in client.findings() if one["code"] == "syntax")
    assert one["range"]["start"] == dict(
        zip(("line", "character"), place_of(titled, "bsy"), strict=True)
    )


@pytest.mark.parametrize("encoding", ["utf-8", "utf-32"])
def test_an_editor_may_count_in_other_units(encoding: str) -> None:
    with EditorClient((encoding,)) as client:
        assert client.server["capabilities"]["positionEncoding"] == encoding
        text = show(cues={"snap": "jaw to 40 deg in 1 s"})
        titled = text.replace('"Test"', '"🦉 größer"')
        client.open(titled)
        line = titled.splitlines()[0]
        before = line[: line.index("größer")]
        units = len(before.encode()) if encoding == "utf-8" else len(before)
        client.change(edit((0, units), (0, units), "🦉"))
        client.change(edit((0, 0), (0, 4), "shwo"))
        assert errors(client.findings()) == ["syntax"]


def test_text_that_is_broken_off_in_the_middle_of_typing_is_answered(client: EditorClient) -> None:
    text = show()
    client.open(text)
    line = place_of(text, SLOW)[0]
    whole = "    " + SLOW
    for length in range(4, len(whole)):
        client.change(edit((line, 0), (line, 999), whole[:length]))
        assert client.findings() == [*client.published][-1]["diagnostics"]
    client.change(edit((line, 0), (line, 999), whole))
    assert errors(client.findings()) == []


def test_stale_answers_are_never_published(client: EditorClient) -> None:
    text = show()
    uri = client.open(text)
    client.findings()
    line = place_of(text, SLOW)[0]
    for number in range(40):
        client.change(edit((line, 0), (line, 999), f"    jaw to 40 deg in {100 + number} ms"))
    last = client.findings()
    versions = [one["version"] for one in client.published if one["uri"] == uri]
    assert versions == sorted(versions)
    assert versions[-1] == client.version
    assert all(versions.count(version) <= 2 for version in versions)
    wanted = findings(show().replace(SLOW, "jaw to 40 deg in 139 ms"))
    assert errors(last) == [one.name for one in wanted if one.severity == "error"]


def test_the_first_answer_keeps_what_the_checks_said_of_words_that_stay(
    client: EditorClient,
) -> None:
    text = show(cues={"snap": f"{FAST}\njaw to 0 deg in 1 s"})
    uri = client.open(text)
    client.findings()
    client.change(edit((0, 0), (0, 0), "# a line more\n"))
    client.findings()
    first, second = [
        one["diagnostics"] for one in client.published if (one["uri"], one["version"]) == (uri, 2)
    ]
    assert first == second
    assert "servo-speed" in errors(first)


def test_a_closed_text_has_no_findings(client: EditorClient) -> None:
    uri = client.open(show(cues={"snap": FAST}))
    client.findings()
    client.tell("textDocument/didClose", {"textDocument": {"uri": uri}})
    client.about("hover", position={"line": 0, "character": 0})
    assert client.published[-1]["uri"] == uri
    assert client.published[-1]["diagnostics"] == []


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n",
        "\r",
        "\ufeff",
        "cue",
        "\u2028\x0c\x85",
        "\0",
        "cue a\n    \ud800 to 3\n",
        "#",
        "🦉",
    ],
    ids=ascii,
)
def test_any_text_is_answered(client: EditorClient, text: str) -> None:
    client.open(text)
    assert client.findings() is not None
    for method in ("hover", "definition", "completion", "prepareRename"):
        client.at(method, 0, 1)
    for method in ("documentSymbol", "semanticTokens/full"):
        client.about(method)
    client.about("formatting", options={"tabSize": 4, "insertSpaces": True})


def test_a_text_of_4_mb_is_answered_and_edited(client: EditorClient) -> None:
    comment = "# " + "ä" * 97 + "\n"
    text = ANGLERFISH + comment * ((4_000_000 - len(ANGLERFISH)) // len(comment))
    client.open(text)
    assert errors(client.findings()) == []
    client.change(replaced(text, "jaw to wide in 900 ms", "jaw to wide in 90 ms"))
    assert "servo-speed" in errors(client.findings())
    line = text.count("\n") - 1
    client.change(edit((line, 0), (line, 0), comment * 400))
    assert errors(client.findings()) == ["file-too-large"]


def test_line_ends_of_all_systems_count_as_one(client: EditorClient) -> None:
    text = show()
    for end in ("\r\n", "\r"):
        client.open(text.replace("\n", end))
        assert errors(client.findings()) == []
        client.change(replaced(text, SLOW, FAST))
        assert "servo-speed" in errors(client.findings())
    client.open(text.replace("\n", "\r\n").replace(" deg", "  deg"))
    edits = client.about("formatting", options={"tabSize": 4, "insertSpaces": True})
    assert all("\r\n" in one["newText"] for one in edits)


def test_form_feeds_and_line_separators_end_no_line(client: EditorClient) -> None:
    """LSP 3.17: only \\n, \\r\\n and \\r do; Python's own splitlines knows more."""
    text = show().replace('"Test"', '"a\u2028b\u0085c"').replace("cue snap", "# \x0c\x0b\ncue snap")
    client.open(text)
    assert errors(client.findings()) == []
    client.change(replaced(text, SLOW, FAST))
    assert errors(client.findings()) == [
        f.name for f in checks_of(text.replace(SLOW, FAST)) if f.severity == "error"
    ]


PIECES = ["", "\n", "    ", "jaw", " to 30 deg", "🦉", "#", '"', "cue x\n", "\r\n", "(", " in 1 s"]


@settings(max_examples=20, deadline=None)
@given(
    edits=st.lists(
        st.tuples(
            st.floats(0.0, 1.0),
            st.sampled_from([0, 0, 1, 3, 30]),
            st.sampled_from(PIECES),
            st.booleans(),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_edits_leave_what_a_fresh_start_would_say(
    client: EditorClient, edits: list[tuple[float, int, str, bool]]
) -> None:
    """Whether the answer is waited for between edits, or comes to an older text in the meantime."""
    text = show()
    client.open(text)
    for share, length, piece, waits in edits:
        start = round(share * len(text))
        end = min(len(text), start + length)
        places = [
            (one.count("\n"), len(one.rpartition("\n")[2].encode("utf-16-le")) // 2)
            for one in (text[:start], text[:end])
        ]
        client.change(edit(places[0], places[1], piece))
        text = (text[:start] + piece + text[end:]).replace("\r\n", "\n")
        if waits:
            client.findings()
    found = client.findings()
    fresh = check(load_text(Source("x.cues", text if text.endswith("\n") else text + "\n")))
    assert [(one["code"], one["range"]["start"]["line"]) for one in found] == [
        (one.name, text.count("\n", 0, one.span.start)) for one in fresh.findings
    ]
    for method in ("hover", "completion", "definition"):
        client.at(method, *places[0])
    client.about("documentSymbol")


# -- questions ---------------------------------------------------------------------------------


def test_completion_offers_what_is_due(client: EditorClient) -> None:
    text = show(cues={"snap": "jaw to 40 deg in 1 s"})
    client.open(text)
    line = place_of(text, "jaw to 40 deg")[0]
    client.findings()
    client.change(edit((line, 0), (line, 999), "    jaw to 40 "))
    labels = [one["label"] for one in client.at("completion", line, 14)["items"]]
    assert labels[:2] == ["deg", "rad"]
    assert "in" in labels
    client.change(edit((line, 0), (line, 999), "    ja"))
    (one,) = client.at("completion", line, 6)["items"]
    assert one["label"] == "jaw"
    assert one["textEdit"]["range"] == span((line, 4), (line, 6))


def test_hover_tells_how_hard_a_part_works_in_a_move(client: EditorClient) -> None:
    client.open(ANGLERFISH)
    client.findings()
    line, character = place_of(ANGLERFISH, "jaw to wide in 900 ms")
    told = client.at("hover", line, character + 1)["contents"]["value"]
    for words in ("**jaw**: servo", "in this move", "torque:", "speed:", "passes", "stall torque"):
        assert words in told
    law = client.at("hover", *place_of(ANGLERFISH, "modified sine", 3))["contents"]["value"]
    assert "the usual choice of cam makers" in law
    lines = client.at("hover", *place_of(ANGLERFISH, "regulator", 2))["contents"]["value"]
    assert "a converter between source and boards" in lines


def test_definition_and_references_of_a_name(client: EditorClient) -> None:
    client.open(ANGLERFISH)
    place = place_of(ANGLERFISH, "jaw to wide in 900 ms", 8)
    found = client.at("definition", *place)
    assert found["range"]["start"]["line"] == place_of(ANGLERFISH, "given wide")[0]
    all_places = client.at("references", *place, context={"includeDeclaration": True})
    assert len(all_places) == ANGLERFISH.count("wide")
    used = client.at("references", *place, context={"includeDeclaration": False})
    assert len(used) == len(all_places) - 1


def test_rename_changes_every_place_of_that_thing_only(client: EditorClient) -> None:
    """`lure` is a lamp and a cue."""
    client.open(ANGLERFISH)
    place = place_of(ANGLERFISH, "lamp lure", 6)
    edits = client.at("rename", *place, newName="bait")["changes"][client.uri]
    after = applied(ANGLERFISH, edits)
    assert "cue lure " in after
    assert "go lure" in after
    assert "lamp bait: head" in after
    assert "lure fade" not in after
    before = check(load_text(Source("x.cues", ANGLERFISH)))
    changed = check(load_text(Source("x.cues", after)))
    assert before.show is not None
    assert changed.show is not None
    tables = [[b.data for b in one.compiled.boards] for one in (before.show, changed.show)]
    assert tables[0] == tables[1]


@pytest.mark.parametrize(
    ("new", "why"),
    [
        ("fade", "word of the language"),
        ("belly", "already"),
        ("3d", "is not a name"),
        ("a b", "is not a name"),
        ("", "is not a name"),
    ],
)
def test_rename_refuses_a_name_that_would_not_do(client: EditorClient, new: str, why: str) -> None:
    client.open(ANGLERFISH)
    with pytest.raises(RequestFailedError, match=why):
        client.at("rename", *place_of(ANGLERFISH, "lamp lure", 6), newName=new)
    assert client.at("prepareRename", *place_of(ANGLERFISH, "source")) is None


@pytest.mark.parametrize(
    "body",
    [
        b"{junk",
        b"\xff\xfe{}",
        b"[1, 2]",
        b"null",
        b"3",
        b"{}",
        b'{"jsonrpc": "2.0", "method": "textDocument/didChange", "params": {"x": 1}}',
        b'{"jsonrpc": "2.0", "method": "textDocument/didClose", "params": 3}',
        b'{"jsonrpc": "2.0", "method": "of/nobody"}',
    ],
)
def test_what_is_no_message_is_logged_in_words_and_the_next_is_answered(body: bytes) -> None:
    """The client's end asserts that nothing stands on the standard error."""
    with EditorClient() as client:
        client.send_body(body)
        client.open(show())
        assert errors(client.findings()) == []
        assert all("Traceback" not in line for line in client.logged)
        assert len(client.logged) == 1
        assert "this message was not understood: " in client.logged[0]
        client.logged.clear()


@pytest.mark.parametrize("params", [{"x": 1}, [1], {"textDocument": {"uri": 3}}])
def test_a_request_that_cannot_be_read_is_answered_with_an_error(params: object) -> None:
    with EditorClient() as client:
        with pytest.raises(RequestFailedError, match="Invalid Params"):
            client.ask("textDocument/hover", params)
        client.open(show())
        assert errors(client.findings()) == []
        client.logged.clear()


def test_a_request_of_no_known_kind_is_answered_with_an_error(client: EditorClient) -> None:
    with pytest.raises(RequestFailedError, match="Method Not Found"):
        client.ask("of/nobody", {})


def test_a_quick_fix_makes_its_finding_go(client: EditorClient) -> None:
    text = OWL.replace(SLOW, FAST)
    client.open(text)
    client.findings()
    line = place_of(text, FAST)[0]
    found = client.about(
        "codeAction", range=span((line, 5), (line, 5)), context={"diagnostics": []}
    )
    assert found == []
    at = place_of(text, "in 90 ms", 4)
    found = client.about("codeAction", range=span(at, at), context={"diagnostics": []})
    assert found[0]["kind"] == "quickfix"
    assert "servo-speed" in found[0]["title"]
    after = applied(text, found[0]["edit"]["changes"][client.uri])
    assert [f.name for f in findings(after) if f.severity == "error"] == []


def test_formatting_gives_the_canonical_layout_in_small_edits(client: EditorClient) -> None:
    text = ANGLERFISH.replace("jaw to wide in 900 ms", "jaw   to wide in 900ms")
    client.open(text)
    edits = client.about("formatting", options={"tabSize": 2, "insertSpaces": False})
    assert applied(text, edits) == ANGLERFISH
    assert len(edits) == 1
    assert len(edits[0]["newText"]) < 100
    client.open("cue a\n  hold\n")
    assert client.about("formatting", options={"tabSize": 4, "insertSpaces": True}) is None


def test_symbols_are_the_statements_at_the_margin(client: EditorClient) -> None:
    client.open(ANGLERFISH)
    found = client.about("documentSymbol")
    names = [one["name"] for one in found]
    assert {"jaw", "belly", "doze", "shut", "wide", "pack", "head"} <= set(names)
    doze = next(one for one in found if one["name"] == "doze")
    assert doze["selectionRange"]["start"]["line"] == doze["range"]["start"]["line"]
    assert doze["range"]["end"]["line"] > doze["range"]["start"]["line"]


def test_semantic_tokens_cover_names_by_what_they_name(client: EditorClient) -> None:
    client.open(OWL)
    data = client.about("semanticTokens/full")["data"]
    legend = client.server["capabilities"]["semanticTokensProvider"]["legend"]["tokenTypes"]
    lines, line, character, found = OWL.split("\n"), 0, 0, {}
    for n in range(0, len(data), 5):
        line += data[n]
        character = data[n + 1] + (0 if data[n] else character)
        raw = lines[line].encode("utf-16-le")[2 * character : 2 * (character + data[n + 2])]
        found[raw.decode("utf-16-le")] = legend[data[n + 3]]
    assert found["jaw"] == "variable"
    assert found["snap"] == "function"
    assert found["servo"] == "keyword"
    assert found['"Eule 🦉 für Ömer"'] == "string"
    assert found["40 deg"] == "number"


# -- the command -------------------------------------------------------------------------------


def test_without_the_library_the_command_says_how_to_get_it() -> None:
    script = (
        "import sys\n"
        "sys.modules['pygls'] = None\n"
        "from seqlang.command import main\n"
        "main(['editor'])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 2
    assert "pip install '.[editor]'" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_command_tells_where_the_colouring_grammar_stands() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "seqlang", "editor", "--colouring"], capture_output=True, text=True
    )
    grammar = json.loads(Path(done.stdout.strip()).read_text(encoding="utf-8"))
    assert grammar["scopeName"] == "source.cues"
