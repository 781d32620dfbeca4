"""What the preview page draws has room: limbs in their views, words in their rows, and fingers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

import pytest

from sim.pictures.creature import creature
from tests.firmware_gen.browser import chromium, needs_browser, opened
from tests.firmware_gen.page_shows import EVERYTHING, VOICE, made, paged
from tests.firmware_gen.test_page_in_browser import in_modules

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = needs_browser

NEWT = 'show "Newt"\n\nwearer\n    tilt 15 deg\n\nsupply pack\n    source adapter 6 V, 20 A\n\n'
NEWT += "board body: atmega328p, address 1\n    feed pack, 100 mm of 10 AWG\n\n"
for name, pin, travel, load in (
    ("neck", "PB1", "-40 deg to 40 deg", "100 g at 30 mm"),
    ("jaw", "PB2", "0 deg to 60 deg", "30 g at 30 mm"),
    ("tail", "PB3", "-40 deg to 40 deg", "40 g at 60 mm"),
):
    NEWT += f"servo {name}: body pin {pin}\n    pulse 900 us at -60 deg, 2100 us at 60 deg\n"
    NEWT += f"    travel {travel}\n    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V\n"
    NEWT += f"    load {load}\n\n"
NEWT += "cue nod\n    neck to 10 deg in 1 s\n\nremote\n    button 1: go nod\n    stop button 2\n"
"""Weights at the tips of parts: discs that reach past the end of the limb."""

REDRAWN = """async ([parts, tilt, wide, high, poses]) => {
    const { Stage } = await import("/stage.js");
    const holder = document.body.appendChild(document.createElement("div"));
    holder.style.width = `${wide}px`;
    const canvas = holder.appendChild(document.createElement("canvas"));
    const stage = new Stage(canvas, parts, tilt, []);
    stage.showHardest = true;
    stage.resize({ card: "#fff", paper: "#eee", ink: "#000", dim: "#666", part: "#036",
        fill: "#0362", reach: "#b80", bad: "#a00", font: "12px sans-serif" });
    const { width, height } = canvas;
    const pixels = () => canvas.getContext("2d").getImageData(0, 0, width, height).data;
    const differing = [];
    for (const pose of poses) {
        const places = new Map(parts.map(({ name, travel: [low, high] }, n) =>
            [name, { at: low + pose[n] * (high - low), limp: false }]));
        stage.draw(places, null, true);
        const after = pixels();
        stage.stale = true;
        stage.draw(places, null, true);
        const anew = pixels();
        let count = 0;
        for (let n = 0; n < anew.length; n++) if (Math.abs(anew[n] - after[n]) > 2) count++;
        differing.push(count);
    }
    return [stage.limbs.length, differing];
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.mark.parametrize("size", [(300, 568), (330, 320), (850, 800)], ids=str)
@pytest.mark.parametrize("text", [NEWT, EVERYTHING], ids=["weights", "everything"])
def test_a_limb_that_moves_is_drawn_whole_and_leaves_nothing_behind(
    browser: Browser, text: str, size: tuple[int, int]
) -> None:
    """Drawn from pose to pose, the sheet is the same as one on which that pose is drawn alone."""
    show = made(text)[0].show
    parts = [asdict(part) for part in creature(show)]
    dice = Random(7)
    poses = [[share] * len(parts) for share in (0.0, 0.5, 1.0)]
    poses += [[dice.random() for _ in parts] for _ in range(12)]
    for part in parts:
        part["held"] = None
    limbs, differing = in_modules(browser, REDRAWN, [parts, 15, *size, poses])
    assert limbs >= 2
    assert differing == [0] * len(poses)


@pytest.mark.parametrize(
    ("text", "sliders"),
    [(NEWT, {"lean"}), (VOICE, {"stick-stick", "stick-knob", "stick-voice"})],
    ids=["lean", "sticks"],
)
@pytest.mark.parametrize("size", [(568, 320), (1280, 800)], ids=str)
def test_every_slider_is_high_enough_for_a_finger(
    browser: Browser, tmp_path: Path, size: tuple[int, int], text: str, sliders: set[str]
) -> None:
    with opened(browser, paged(text)[0], tmp_path, size) as found:
        heights = found.js(
            """() => [...document.querySelectorAll("input[type=range]")]
                .filter(node => node.checkVisibility())
                .map(node => [node.id, node.getBoundingClientRect().height])"""
        )
        assert set(dict(heights)) == sliders
        assert min(height for _, height in heights) >= 44  # WCAG 2.2, 2.5.5


@pytest.mark.parametrize("size", [(320, 568), (568, 320), (1280, 800)], ids=str)
def test_what_follows_a_slider_is_read_whole(
    browser: Browser, tmp_path: Path, size: tuple[int, int]
) -> None:
    with opened(browser, paged(VOICE)[0], tmp_path, size) as found:
        words = found.js(
            """() => [...document.querySelectorAll(".follower .words")].map(node => {
                const [one, row] = [node, node.closest(".marks")]
                    .map(at => at.getBoundingClientRect());
                const within = row.left - 1 <= one.left && one.right <= row.right + 1
                    && row.top - 1 <= one.top && one.bottom <= row.bottom + 1;
                return [node.textContent, within, node.scrollWidth <= node.clientWidth + 1,
                    getComputedStyle(node).textOverflow]; })"""
        )
        assert [one[0].split(" ", 1)[1] for one in words] == ["-20 deg to 20 deg"]
        assert all(one[1:] == [True, True, "clip"] for one in words)
