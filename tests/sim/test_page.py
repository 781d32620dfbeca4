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

from seqlang.loading import load, load_text
from seqlang.text.source import Source
from sim.pictures.page import page
from sim.rehearsal.run_through import run_through
from sim.rehearsal.sampling import sample
from sim.rehearsal.trajectories import Trajectories
from tests.seqlang.show_text import show

SHOWS = Path(__file__).resolve().parents[2] / "shows"
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="module")
def rehearsed() -> Trajectories:
    show = load(SHOWS / "anglerfish" / "anglerfish.cues").show
    assert show is not None
    return run_through(show)


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


def shown(text: str, tmp_path: Path) -> str:
    """The page's document after a browser has run it."""
    assert BROWSER
    file = tmp_path / "page.html"
    file.write_text(text, encoding="utf-8")
    words = [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic"]
    words += ["--no-first-run", "--disable-background-networking", "--disable-component-update"]
    words += ["--disable-sync", f"--user-data-dir={tmp_path / 'profile'}", "--dump-dom"]
    done = subprocess.run([*words, file.as_uri()], capture_output=True, text=True, timeout=60)
    return done.stdout


@pytest.mark.skipif(BROWSER is None, reason="no chromium: the page is not run in a browser")
@pytest.mark.parametrize(("level", "up"), [("10 deg", -1), ("10 deg, sinks", 1), ("-20 deg", 1)])
def test_a_part_is_drawn_on_the_side_on_which_it_is(level: str, up: int, tmp_path: Path) -> None:
    """At 0 deg, 10 deg before it is level: below while it rises, above while it sinks."""
    jaw = {"level": f"at {level}", "travel": "0 deg to 50 deg"}
    found = load_text(Source("t.cues", show(jaw=jaw))).show
    assert found is not None
    dom = shown(page(run_through(found)), tmp_path)
    arm = re.search(r'class="arm"[^>]*y2="([0-9.]+)"', dom)
    assert arm, dom[-500:]
    assert (78.0 - float(arm[1])) * up > 5.0
    # the arc of the travel goes the same way round as the part
    arc = re.search(r'class="travel" d="M100 78L\S+ \S+A66 66 0 0 (\d) ', dom)
    assert arc, dom[-500:]
    assert arc[1] == ("1" if "sinks" in level else "0")


@pytest.mark.skipif(BROWSER is None, reason="no chromium: the page is not run in a browser")
def test_the_page_runs_in_a_browser_and_moves(rehearsed: Trajectories, tmp_path: Path) -> None:
    watch = (
        "<script>document.getElementById('cues').querySelector('button').click();"
        "document.getElementById('play').click();"
        "document.title = document.querySelector('time').textContent + '|' "
        "+ document.querySelector('figcaption output').textContent;</script></html>"
    )
    dom = shown(page(rehearsed).replace("</html>", watch), tmp_path)
    title = re.search(r"<title>(.*?)</title>", dom)
    assert title, dom[-500:]
    clock, angle = title[1].split("|")
    first = payload(page(rehearsed))["cues"][0]
    assert clock.startswith(f"{first['start_ms'] / 1000:.2f} s")
    assert angle.endswith(" deg")
