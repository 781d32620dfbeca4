"""Trims that are set on a served page come into the text, from that page alone."""

from __future__ import annotations

import http.client
import json
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from seqlang.command._live import version_of
from seqlang.command._set_trims import AskedTrims, read_asked, set_trims
from tests.firmware_gen.browser import needs_browser
from tests.firmware_gen.page_shows import LANTERN
from tests.seqlang.test_preview_serve import served, watched

TEXT = "# from the stalls\n" + LANTERN.replace("20 mA\n", "20 mA  # one\n")
TRIMMED = TEXT.replace("pin PD3\n", "pin PD3\n    trim 60 %\n")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "t.cues"
    path.write_text(TEXT, encoding="utf-8")
    return path


def version(file: Path) -> str:
    data = version_of(file).data
    assert data is not None
    return str(data["version"])


def asked(file: Path, **lights: tuple[float, ...]) -> AskedTrims:
    return AskedTrims(version(file), lights)


@needs_browser
def test_what_was_set_on_the_page_stands_in_the_text_and_the_page_goes_on(file: Path) -> None:
    with served(file) as (url, _), watched(url, bound=True) as found:
        found.ready()
        found.page.evaluate("globalThis.same = true")
        found.page.click("#trims summary")
        found.page.locator("#shares input").first.fill("60")
        found.page.click("#write-trims")
        found.page.wait_for_selector("#retrimmed", state="hidden")
        told = found.page.get_by_text("Written into t.cues. Flash the boards")
        told.wait_for(timeout=20_000)
        assert found.page.evaluate("globalThis.same"), "it is the same page, with another table"
        assert found.page.evaluate("bellcrank.trims.lights[0].said") == [60]
        assert found.page.evaluate("bellcrank.show.boards[0].trial") is None
        assert found.said == []
    assert file.read_text(encoding="utf-8").split() == TRIMMED.split()
    assert len(file.read_text().splitlines()) == len(TEXT.splitlines()) + 1


@needs_browser
def test_a_page_from_a_file_has_nobody_to_write(tmp_path: Path, file: Path) -> None:
    from tests.firmware_gen.browser import chromium, opened
    from tests.firmware_gen.page_shows import paged

    with chromium() as browser, opened(browser, paged(TEXT)[0], tmp_path) as found:
        found.page.click("#trims summary")
        found.page.locator("#shares input").first.fill("60")
        assert found.page.locator("#untrim").is_visible()
        assert found.page.locator("#write-trims").is_hidden()


def test_line_ends_stay_and_a_line_that_comes_has_them_too(file: Path) -> None:
    file.write_bytes(TEXT.replace("\n", "\r\n").encode())
    assert set_trims(file, asked(file, glow=(60.0,))).done
    raw = file.read_bytes()
    assert raw.count(b"\r\n") == raw.count(b"\n") == TEXT.count("\n") + 1
    assert b"trim 60 %\r\n" in raw


def test_another_text_than_the_page_shows_is_not_written(file: Path) -> None:
    old = asked(file, glow=(60.0,))
    other = TEXT + "# saved meanwhile\n"
    file.write_text(other, encoding="utf-8")
    answer = set_trims(file, old)
    assert not answer.done
    assert "has changed since this page showed it" in answer.words
    assert file.read_text(encoding="utf-8") == other


def test_the_trims_that_stand_there_write_nothing(file: Path) -> None:
    before = file.stat().st_mtime_ns
    answer = set_trims(file, asked(file, glow=(100.0,)))
    assert (answer.done, answer.words) == (True, "The text has these trims already.")
    assert file.stat().st_mtime_ns == before


def test_a_light_that_is_not_there_and_a_file_that_may_not_be_written_are_refused(
    file: Path,
) -> None:
    gone = set_trims(file, asked(file, glim=(50.0,)))
    assert (gone.done, gone.words) == (
        False,
        "Nothing is written: there is no lamp or strip `glim`.",
    )
    file.chmod(0o444)
    kept = set_trims(file, asked(file, glow=(50.0,)))
    assert not kept.done
    assert "cannot be written" in kept.words
    assert file.read_text(encoding="utf-8") == TEXT


FLASHES = """\
supply pack
    source adapter 5 V, 3 A
board box: atmega328p, address 1
    feed pack
strip line: box pin PD7
    pixels 30, each 12 mA
    trim 3 %
cue up
    repeat 10 times
        line fade to white 100 % in 80 ms
        hold 20 ms
        line fade to black in 80 ms
        hold 20 ms
remote
    button 1: go up
    stop button 2
"""


def test_trims_with_which_the_show_would_fail_are_not_written(file: Path) -> None:
    """With 3 % of its light a strip is too dark to flash; with all of it, it does."""
    file.write_text(FLASHES, encoding="utf-8")
    answer = set_trims(file, asked(file, line=(100.0, 100.0, 100.0, 100.0)))
    assert not answer.done
    assert answer.words.startswith("Nothing is written. With them: `line` flashes 5 times")
    assert file.read_text(encoding="utf-8") == FLASHES
    assert set_trims(file, asked(file, line=(2.0, 100.0, 100.0, 100.0))).done
    assert file.read_text(encoding="utf-8") == FLASHES.replace("3 %", "2 %")


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"\xff",
        b"[" * 60000,
        b'{"version": "x", "lights": {}}',
        b'{"version": null, "lights": {"glow": [50]}}',
        b'{"version": "x", "lights": {"glow": 50}}',
        b'{"version": "x", "lights": {"glow": ["50"]}}',
        b'{"version": "x", "lights": {"glow": [true]}}',
        b'{"version": "x", "lights": {"glow": [0.9]}}',
        b'{"version": "x", "lights": {"glow": [100.1]}}',
        b'{"version": "x", "lights": {"glow": [NaN]}}',
    ],
)
def test_what_no_page_of_ours_sends_is_not_read(body: bytes) -> None:
    assert read_asked(body) is None


def sent(url: str, body: bytes, **headers: str) -> tuple[int, Any]:
    """What is answered to trims that are sent with these headers instead of a page's own."""
    place = url.removeprefix("http://").rstrip("/")
    own = {"Origin": f"http://{place}", "Content-Type": "application/json"}
    given = own | {name.replace("_", "-"): text for name, text in headers.items()}
    with closing(http.client.HTTPConnection(place, timeout=20)) as asking:
        asking.request("POST", "/trims", body, {n: t for n, t in given.items() if t})
        with asking.getresponse() as found:
            data = found.read()
            return found.status, json.loads(data) if found.status == 200 else None


def test_nobody_but_the_page_itself_sets_trims(file: Path) -> None:
    body = json.dumps({"version": version(file), "lights": {"glow": [60]}}).encode()
    with served(file) as (url, _):
        assert sent(url, body, Origin="")[0] == 403
        assert sent(url, body, Origin="null")[0] == 403
        assert sent(url, body, Origin="http://elsewhere.example")[0] == 403
        assert sent(url, body, Host="elsewhere.example")[0] == 421
        assert sent(url, body, Content_Type="text/plain")[0] == 415
        assert sent(url, b"{}")[0] == 400
        assert sent(url, b" " * 60_001)[0] == 413
        assert file.read_text(encoding="utf-8") == TEXT
        assert sent(url, body) == (
            200,
            {
                "done": True,
                "words": "Written into t.cues. Flash the boards, and look at the real lights.",
            },
        )
        assert file.read_text(encoding="utf-8") != TEXT
