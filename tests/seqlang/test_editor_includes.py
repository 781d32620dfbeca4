"""The editor's answers about a show in several files, over the pipes of a real server."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from editor_client import EditorClient, Json, edit

SHOWS = Path(__file__).parents[2] / "shows"
FIRST = (SHOWS / "first" / "first.cues").read_text(encoding="utf-8")
RIG = FIRST[FIRST.index("supply desk") : FIRST.index("cue wave")]
SCORE = FIRST[FIRST.index("cue wave") :]
MAIN = f'show "First wave"\n\ninclude "parts/rig.cues"\n\n{SCORE}'


@pytest.fixture
def client() -> Iterator[EditorClient]:
    with EditorClient() as client:
        yield client


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "parts").mkdir()
    (tmp_path / "main.cues").write_text(MAIN, encoding="utf-8")
    (tmp_path / "parts" / "rig.cues").write_text(RIG, encoding="utf-8")
    return tmp_path


def spot(text: str, words: str, count: int = 1) -> tuple[int, int]:
    at = -1
    for _ in range(count):
        at = text.index(words, at + 1)
    return text.count("\n", 0, at), at - text.rfind("\n", 0, at) - 1


def codes(found: list[Json]) -> list[str]:
    return [one["code"] for one in found if one["severity"] == 1]


def uris(folder: Path) -> tuple[str, str]:
    return (folder / "main.cues").as_uri(), (folder / "parts" / "rig.cues").as_uri()


def test_findings_of_a_file_that_is_not_open_go_to_that_file(
    client: EditorClient, folder: Path
) -> None:
    main, rig = uris(folder)
    (folder / "parts" / "rig.cues").write_text(RIG.replace("60 g", "60"), encoding="utf-8")
    client.open(MAIN, main)
    assert codes(client.findings()) == []
    (one,) = client.told_of(rig, lambda found: "missing-unit" in codes(found))[:1]
    line, character = spot(RIG, "60 g")
    assert one["range"]["start"] == {"line": line, "character": character}


def test_an_open_file_wins_over_the_disk_and_a_change_in_it_reaches_the_show(
    client: EditorClient, folder: Path
) -> None:
    main, rig = uris(folder)
    client.open(MAIN, main)
    assert codes(client.findings()) == []
    client.open(RIG.replace("servo flap", "servo flip"), rig)
    client.told_of(main, lambda found: "unknown-name" in codes(found))
    start = spot(RIG, "flap")
    client.change(edit(start, (start[0], start[1] + 4), "flap"))
    client.told_of(main, lambda found: codes(found) == [])


def test_an_included_file_opened_alone_is_read_with_the_show_that_includes_it(
    client: EditorClient, folder: Path
) -> None:
    _, rig = uris(folder)
    client.open(RIG, rig)
    found = client.findings()
    assert codes(found) == []
    assert "no-stop-button" not in [one["code"] for one in found]
    line, character = spot(RIG, "flap")
    hover = client.at("hover", line, character)["contents"]["value"]
    assert "(in `wave`)" in hover


def test_from_a_use_to_the_declaration_in_another_file_and_back(
    client: EditorClient, folder: Path
) -> None:
    main, rig = uris(folder)
    client.open(MAIN, main)
    client.findings()
    found = client.at("definition", *spot(MAIN, "flap"))
    assert found["uri"] == rig
    assert found["range"]["start"]["line"] == spot(RIG, "flap")[0]
    uses = client.at("references", *spot(MAIN, "flap"), context={"includeDeclaration": True})
    assert [one["uri"] for one in uses].count(rig) == 1
    assert [one["uri"] for one in uses].count(main) == MAIN.count("flap to")
    there = client.at("definition", *spot(MAIN, "parts/rig"))
    assert (there["uri"], there["range"]["start"]["line"]) == (rig, 0)


def changed(text: str, edits: list[Json]) -> str:
    lines = text.split("\n")
    for one in sorted(edits, key=lambda e: (*e["range"]["start"].values(),), reverse=True):
        start, end = one["range"]["start"], one["range"]["end"]
        line = lines[start["line"]]
        new = line[: start["character"]] + one["newText"] + line[end["character"] :]
        lines[start["line"]] = new
    return "\n".join(lines)


def test_a_rename_changes_every_file_of_the_show(client: EditorClient, folder: Path) -> None:
    main, rig = uris(folder)
    client.open(RIG, rig)
    client.findings()
    answer: Any = client.at("rename", *spot(RIG, "flap"), newName="fin")
    assert set(answer["changes"]) == {main, rig}
    assert changed(RIG, answer["changes"][rig]) == RIG.replace("flap", "fin")
    assert changed(MAIN, answer["changes"][main]) == MAIN.replace("flap", "fin")


def test_a_file_of_an_include_is_completed_and_names_of_all_files_are_proposed(
    client: EditorClient, folder: Path
) -> None:
    main, _ = uris(folder)
    text = MAIN.replace("parts/rig.cues", "pa")
    client.open(text, main)
    line, character = spot(text, '"pa')
    found = client.at("completion", line, character + 3)["items"]
    assert [one["label"] for one in found] == ["parts/rig.cues"]
    client.change({"text": MAIN})  # a version of its own, so that its findings are not the older's
    client.findings()
    line, character = spot(MAIN, "flap to 50")
    labels = [one["label"] for one in client.at("completion", line, character)["items"]]
    assert "flap" in labels
    start = spot(MAIN, "50 deg")
    units = client.at("completion", start[0], start[1] + 3)["items"]
    assert units[0]["label"] == "deg"


def test_quick_fixes_outline_and_colours_are_those_of_the_file_asked_about(
    client: EditorClient, folder: Path
) -> None:
    main, rig = uris(folder)
    client.open(MAIN, main)
    client.findings()
    outline = [one["name"] for one in client.about("documentSymbol")]
    assert outline == ["First wave", "parts/rig.cues", "wave", "remote"]
    whole = client.about("semanticTokens/full")["data"]
    assert sum(whole[::5]) <= MAIN.count("\n")
    client.open(RIG.replace("60 g", "60"), rig)
    client.findings()
    line, character = spot(RIG, "60 g")
    place = {"line": line, "character": character}
    (action,) = client.about(
        "codeAction", range={"start": place, "end": place}, context={"diagnostics": []}
    )
    assert list(action["edit"]["changes"]) == [rig]


def test_a_closed_file_leaves_no_findings_behind(client: EditorClient, folder: Path) -> None:
    main, rig = uris(folder)
    (folder / "parts" / "rig.cues").write_text(RIG.replace("60 g", "60"), encoding="utf-8")
    client.open(MAIN, main)
    client.told_of(rig, lambda found: codes(found) == ["missing-unit"])
    client.tell("textDocument/didClose", {"textDocument": {"uri": main}})
    client.told_of(rig, lambda found: found == [])
    client.told_of(main, lambda found: found == [])
    left = {one["uri"]: one["diagnostics"] for one in client.published}
    assert (left[main], left[rig]) == ([], [])
    assert not any(left.values())
