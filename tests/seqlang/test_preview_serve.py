"""`bellcrank preview FILE --serve`: the page follows the text that is saved."""

from __future__ import annotations

import http.client
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner

from seqlang.command import group
from seqlang.command._live import versions
from tests.firmware_gen.browser import Opened, chromium, needs_browser
from tests.seqlang.show_text import show

SNAP = "jaw to 40 deg in 1 s\njaw to 0 deg in 1 s"
TWICE = f"repeat 2 times\n{''.join(f'    {line}' + chr(10) for line in SNAP.splitlines())}"


def saved(file: Path, text: str) -> None:
    """As editors save: a whole new file in the place of the old one."""
    new = file.with_suffix(".new")
    new.write_text(text, encoding="utf-8")
    os.replace(new, file)


@contextmanager
def served(file: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """The command as a user runs it, and where its page is."""
    words = [sys.executable, "-m", "seqlang", "preview", str(file), "--serve"]
    running = subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8"
    )
    assert running.stdout
    try:
        line = running.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+/", line)
        assert found, line
        yield found[0], running
    finally:
        running.kill()
        running.communicate()


@contextmanager
def watched(url: str, *, bound: bool = False) -> Iterator[Opened]:
    """The page in a browser; `bound`: by its own Content-Security-Policy, as for a user."""
    with chromium() as browser:
        found = Opened(browser.new_page(bypass_csp=not bound))
        found.page.goto(url)
        yield found


@needs_browser
def test_a_saved_score_goes_on_where_the_page_is(tmp_path: Path) -> None:
    file = tmp_path / "t.cues"
    file.write_text(show(cues={"snap": SNAP}), encoding="utf-8")
    with served(file) as (url, _), watched(url) as found:
        found.ready()
        found.js("() => { bellcrank.seek(150); bellcrank.run(true); globalThis.same = true; }")
        before = found.js("() => bellcrank.take.frames")
        saved(file, show(cues={"snap": TWICE}))
        found.wait(f"bellcrank.take.frames > {before} + 80")
        assert found.js("() => globalThis.same")
        assert found.js("() => bellcrank.frame") >= 150
        found.wait("bellcrank.frame > 200")
        assert found.said == []


@needs_browser
def test_ones_own_take_goes_on_with_the_new_score(tmp_path: Path) -> None:
    file = tmp_path / "t.cues"
    file.write_text(show(cues={"snap": SNAP}), encoding="utf-8")
    with served(file) as (url, _), watched(url) as found:
        found.ready()
        found.js("() => { bellcrank.seek(60); bellcrank.ask('down 1'); bellcrank.ask('up 1'); }")
        found.wait("bellcrank.frame > 80")
        old = found.js("() => bellcrank.show.boards[0].table")
        saved(file, show(cues={"snap": "jaw to 10 deg in 1 s\njaw to 0 deg in 1 s"}))
        found.wait(f"bellcrank.show.boards[0].table !== '{old}'")
        assert found.js("() => bellcrank.take.own")
        # 10 deg instead of 40: the take was played anew by the new table
        found.wait("bellcrank.frame > 150")
        assert found.js("() => bellcrank.take.recording.place(0, 60 + 55)") == pytest.approx(
            10, abs=1
        )


@needs_browser
def test_errors_take_the_place_of_the_old_picture_until_they_are_mended(tmp_path: Path) -> None:
    file = tmp_path / "t.cues"
    file.write_text(show(cues={"snap": SNAP}), encoding="utf-8")
    with served(file) as (url, _), watched(url, bound=True) as found:
        found.ready()
        saved(file, show(cues={"snap": "jaw to 400 deg in 1 s"}))
        found.page.wait_for_selector("#failing")
        told = found.page.inner_text("#failing")
        assert "400 deg" in told
        assert "caution" not in told
        assert "warning" not in told
        assert not found.page.is_visible("#stage")
        saved(file, show(cues={"snap": SNAP}))
        found.page.wait_for_selector("#failing", state="detached")
        assert found.page.is_visible("#stage")


@needs_browser
def test_another_rig_is_another_page(tmp_path: Path) -> None:
    file = tmp_path / "t.cues"
    file.write_text(show(cues={"snap": SNAP}), encoding="utf-8")
    with served(file) as (url, _), watched(url) as found:
        found.ready()
        found.js("() => { globalThis.same = true; }")
        saved(file, show(cues={"snap": SNAP}, jaw={"load": "50 g at 40 mm"}))
        found.wait("!globalThis.same && document.body.dataset.ready === 'yes'")
        assert found.js("() => bellcrank.show.parts[0].bodies[0].start_m") == pytest.approx(0.04)


@needs_browser
def test_a_show_that_has_errors_at_first_is_waited_for(tmp_path: Path) -> None:
    file = tmp_path / "t.cues"
    file.write_text("show", encoding="utf-8")
    with served(file) as (url, _), watched(url) as found:
        assert "error" in found.page.inner_text("#failing")
        saved(file, show(cues={"snap": SNAP}))
        found.ready()


def test_a_change_of_what_the_show_includes_is_a_version_too(tmp_path: Path) -> None:
    whole = show(cues={"snap": SNAP})
    rig, score = whole[: whole.index("cue snap")], whole[whole.index("cue snap") :]
    title, rig = rig.split("\n", 1)
    file = tmp_path / "t.cues"
    file.write_text(f'{title}\ninclude "rig.cues"\n{score}', encoding="utf-8")
    following = versions(file)
    missing = next(following)
    assert missing.data is None
    assert "rig.cues" in missing.findings
    (tmp_path / "rig.cues").write_text(rig, encoding="utf-8")
    first = next(following)
    assert first.data is not None, first.findings
    saved(tmp_path / "rig.cues", rig.replace("60 g at 50 mm", "50 g at 50 mm"))
    second = next(following)
    assert second.data is not None
    assert second.data["version"] != first.data["version"]
    assert len(second.files) == 2


def answer(url: str, host: str, path: str = "/") -> int:
    """The status with which a request is answered that names this host."""
    place = url.removeprefix("http://").rstrip("/")
    with closing(http.client.HTTPConnection(place, timeout=10)) as asking:
        asking.request("GET", path, headers={"Host": host or place})
        with asking.getresponse() as found:
            return found.status


def test_the_page_is_only_for_who_asks_for_it_by_the_names_of_this_computer(
    tmp_path: Path,
) -> None:
    """A name of somebody else that points here is how a page from elsewhere would read ours."""
    file = tmp_path / "t.cues"
    file.write_text(show(cues={"snap": SNAP}), encoding="utf-8")
    with served(file) as (url, running):
        port = url.rsplit(":", 1)[1].rstrip("/")
        assert answer(url, "") == 200
        assert answer(url, f"localhost:{port}") == 200
        assert answer(url, "elsewhere.example") == 421  # RFC 9110, 15.5.20
        assert answer(url, "elsewhere.example", "/changes") == 421
        assert answer(url, "", "/etc/passwd") == 404
        running.send_signal(signal.SIGINT)
        assert running.wait(10) == 0


def test_a_page_that_is_served_writes_no_file(tmp_path: Path) -> None:
    file = tmp_path / "t.cues"
    file.write_text(show(cues={"snap": SNAP}), encoding="utf-8")
    found = CliRunner().invoke(group, ["preview", str(file), "--serve", "--out", "x.html"])
    assert found.exit_code == 2
    assert "leave out --out" in found.stderr
