"""The preview page holds the rehearsal and runs in a real browser."""

from __future__ import annotations

import base64
import json
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from seqlang.load import load
from sim.pictures.page import page
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rehearsal.trajectories import Trajectories
from sim.score.tree import rehearsal_ms, rehearsal_of

SHOWS = Path(__file__).resolve().parents[2] / "shows"
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="module")
def rehearsed() -> Trajectories:
    show = load(SHOWS / "anglerfish" / "anglerfish.cues").show
    assert show is not None
    presses = rehearsal_of(show)
    return rehearse(show, presses, rehearsal_ms(show, presses))


def payload(text: str) -> dict:
    found = re.search(r'<script id="data" type="application/json">(.*?)</script>', text, re.S)
    assert found
    return json.loads(found[1])


def test_the_page_holds_the_angles_of_every_frame(rehearsed: Trajectories) -> None:
    data = payload(page(rehearsed))
    jaw = next(servo for servo in data["servos"] if servo["name"] == "jaw")
    angles = np.frombuffer(base64.b64decode(jaw["angles_cdeg"]), "<i2") / 100.0
    ideal = sample(rehearsed, np.arange(data["frames"]) * data["frame_ms"]).servos["jaw"]
    assert angles.size == data["frames"]
    assert np.abs(angles - ideal.angle_deg).max() <= 0.005 + 1e-9


def test_the_page_fetches_nothing(rehearsed: Trajectories) -> None:
    text = page(rehearsed)
    assert not re.findall(r"""(?:src|href)\s*=|@import|url\(|fetch\(|XMLHttpRequest""", text)


def test_a_title_cannot_break_out_of_the_page(rehearsed: Trajectories) -> None:
    import dataclasses

    evil = "</script><script>alert(1)</script>"
    score = dataclasses.replace(rehearsed.show.score, title=evil)
    show = dataclasses.replace(rehearsed.show, score=score)
    text = page(dataclasses.replace(rehearsed, show=show))
    assert "<script>alert" not in text


@pytest.mark.skipif(BROWSER is None, reason="no chromium: the page is not run in a browser")
def test_the_page_runs_in_a_browser_and_moves(rehearsed: Trajectories, tmp_path: Path) -> None:
    assert BROWSER
    watch = (
        "<script>document.getElementById('cues').querySelector('button').click();"
        "document.getElementById('play').click();"
        "document.title = document.querySelector('time').textContent + '|' "
        "+ document.querySelector('figcaption output').textContent;</script></html>"
    )
    file = tmp_path / "page.html"
    file.write_text(page(rehearsed).replace("</html>", watch), encoding="utf-8")
    words = [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic"]
    words += ["--no-first-run", "--disable-background-networking", "--disable-component-update"]
    words += ["--disable-sync", f"--user-data-dir={tmp_path / 'profile'}", "--dump-dom"]
    done = subprocess.run([*words, file.as_uri()], capture_output=True, text=True, timeout=60)
    title = re.search(r"<title>(.*?)</title>", done.stdout)
    assert title, done.stderr[-500:]
    clock, angle = title[1].split("|")
    first = payload(page(rehearsed))["cues"][0]
    assert clock.startswith(f"{first['start_ms'] / 1000:.2f} s")
    assert angle.endswith(" deg")
