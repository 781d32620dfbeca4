"""Torque, current and voltage of a take that somebody presses, against a rehearsal of its presses.

The page has them from its boards and from tables; the rehearsal from `sim.strain`, which its own
tests hold against the outside. Both are asked about the same frames.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from firmware_gen.page.page import page
from seqlang.check import CheckedShow, check
from seqlang.loading import load
from sim.model import Adapter, Press, Servo, Show
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rehearsal.trajectories import Trajectories
from sim.rig.slide import of_horn
from sim.rig.supply import Demand, feed_v_at, solve
from sim.rulebook import FRAME_MS
from sim.strain.torque_and_current import RigWork, work
from tests.firmware_gen.browser import chromium, needs_browser, opened
from tests.firmware_gen.page_shows import EVERYTHING, LONG_SNAKE, SNAKE, VOICE, paged
from tests.firmware_gen.page_shows import made as made_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = needs_browser

SHOWS = Path(__file__).parents[2] / "shows"
LENGTH_MS = 9000
EDGE_MS = 1.2
"""A share of 1/512 of a motion of 600 ms: so close the page's rows tell when a jump comes."""

ASK = """() => {
    const { take, readings } = bellcrank;
    const rows = [];
    for (let frame = 0; frame < take.frames; frame++) {
        const { servos, feeds, boards } = readings.efforts.of(take.at(frame));
        rows.push({ servos: [...servos], feeds: [...feeds], boards: [...boards] });
    }
    return rows;
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@dataclass(frozen=True)
class PageAndRehearsal:
    """Rows over the frames, by servo, supply and board: what the page says, and the rehearsal at
    each frame and just before and behind it: where an acceleration jumps, all are right."""

    page: dict[tuple[str, str], np.ndarray]
    at: dict[tuple[str, str], np.ndarray]
    beside: list[dict[tuple[str, str], np.ndarray]]


def pressed_at_random(show: Show, dice: Random) -> tuple[Press, ...]:
    """Buttons one upon the other, a cue by name, a stop or a limp, and then on again."""
    buttons = [one.button for one in show.score.bindings]
    cues = [cue.name for cue in show.score.cues]
    presses, at = [], 700
    while at < LENGTH_MS - 500:
        what = dice.random()
        if what < 0.6 and buttons:
            held_ms = dice.choice((100, 700, 1500))
            presses.append(Press(at, button=dice.choice(buttons), held_ms=held_ms))
            at += held_ms
        elif what < 0.92:
            presses.append(Press(at, cue=dice.choice(cues)))
        else:
            presses.append(Press(at, action=dice.choice(("stop", "limp"))))
            presses.append(Press(at + 900, action="standby"))
            at += 900
        at += dice.randrange(100, 1900, 20)
    for source in (*show.rig.channels, *show.rig.sensors):
        name = source.name
        is_channel = source in show.rig.channels
        for moment in range(800, LENGTH_MS, 1100):
            value = dice.uniform(1000, 2000) if is_channel else dice.uniform(0.0, 1.0)
            presses.append(Press(moment, source=name, value=round(value, 2)))
    return tuple(presses)


def told(
    browser: Browser, made: CheckedShow, played: Trajectories, folder: Path
) -> PageAndRehearsal:
    text = page(made.compiled, made.tables, played)
    with opened(browser, text, folder) as found:
        rows = found.js(ASK)
        assert found.said == []
    times_ms = np.arange(len(rows)) * float(FRAME_MS)
    beside = [from_sim(played, times_ms + way * EDGE_MS) for way in (-1.0, 1.0)]
    return PageAndRehearsal(from_page(rows), from_sim(played, times_ms), beside)


def from_page(rows: list[Any]) -> dict[tuple[str, str], np.ndarray]:
    kept: dict[tuple[str, str], list[float]] = {}
    for row in rows:
        for name, one in row["servos"]:
            assert one["isKnown"], name
            for kind in ("torque", "limit", "current"):
                kept.setdefault((kind, name), []).append(one[kind])
        for kind in ("feeds", "boards"):
            for name, value in row[kind]:
                kept.setdefault((kind, name), []).append(value)
    return {key: np.array(values) for key, values in kept.items()}


def from_sim(played: Trajectories, times_ms: np.ndarray) -> dict[tuple[str, str], np.ndarray]:
    done: RigWork = work(played.show.rig, sample(played, times_ms))
    servos = {one.name: one for one in played.show.rig.outputs if isinstance(one, Servo)}
    found: dict[tuple[str, str], np.ndarray] = {}
    for name, one in done.servos.items():
        unit = of_horn(servos[name]).newton_metres
        found["torque", name] = np.abs(one.torque_nm) / unit
        found["limit", name] = one.allowed_nm / unit
        found["current", name] = one.current_a
    found |= {("feeds", name): one.feed_a for name, one in done.supplies.items()}
    found |= {("boards", name): volts for name, volts in done.board_v.items()}
    return found


def assert_alike(both: PageAndRehearsal, share: float) -> None:
    """All rows within a share of what the rehearsal goes up to, in all frames."""
    assert both.page.keys() == both.at.keys()
    for key, mine in both.page.items():
        wanted = both.at[key]
        all_of = [wanted, *(row[key] for row in both.beside)]
        least, most = np.min(all_of, axis=0), np.max(all_of, axis=0)
        off = np.maximum(np.maximum(least - mine, mine - most), 0.0)
        far = off > share * float(np.max(np.abs(wanted))) + 1e-4
        where = np.flatnonzero(far)[:9], mine[far][:9], wanted[far][:9]
        assert not far.any(), (key, where)


def played_at_random(made: CheckedShow, seed: str) -> Trajectories:
    return rehearse(made.show, pressed_at_random(made.show, Random(seed)), LENGTH_MS)


@pytest.mark.parametrize("name", sorted(path.stem for path in SHOWS.glob("*/*.cues")))
def test_a_pressed_take_of_each_demo_is_as_hard_as_its_rehearsal(
    name: str, browser: Browser, tmp_path: Path
) -> None:
    made = check(load(SHOWS / name / f"{name}.cues")).show
    assert made is not None
    assert_alike(told(browser, made, played_at_random(made, name), tmp_path), 0.005)


@pytest.mark.parametrize("seed", ["one", "two"])
@pytest.mark.parametrize(
    ("text", "share"),
    [(EVERYTHING, 0.005), (VOICE, 0.005), (SNAKE, 0.01)],
    ids=["hinged across and sliding", "following a source", "three on one another"],
)
def test_a_pressed_take_is_as_hard_as_its_rehearsal_whatever_its_parts_are(
    text: str, share: float, seed: str, browser: Browser, tmp_path: Path
) -> None:
    made, _ = made_of(text)
    assert_alike(told(browser, made, played_at_random(made, seed), tmp_path), share)


def test_the_readings_of_ones_own_take_tell_torque_current_and_voltage(
    browser: Browser, tmp_path: Path
) -> None:
    """What is read there, against the rehearsal of the press that the page wrote down."""
    text, made, _ = paged(EVERYTHING)
    with opened(browser, text, tmp_path) as found:
        found.js("() => bellcrank.seek(60)")
        found.page.get_by_role("button", name="button 1: look").click()
        found.wait("bellcrank.take.own && bellcrank.frame > 120")
        found.js("() => bellcrank.run(false)")
        found.js("() => bellcrank.seek(100)")
        found.page.wait_for_timeout(200)
        (pressed,) = [frame for frame, request in found.script() if request == "down 1"]
        rows = found.page.locator("#readings tbody tr")
        row = rows.filter(has=found.page.get_by_text("neck", exact=True))
        words = row.locator("td").nth(2).locator("span").first.inner_text()
        feeds = found.page.locator("#feeds").inner_text()
    played = rehearse(made.show, (Press(pressed * FRAME_MS, button=1, held_ms=100),), LENGTH_MS)
    wanted = from_sim(played, np.array([100.0 * FRAME_MS]))
    torque, limit, current = (
        float(wanted[kind, "neck"][0]) for kind in ("torque", "limit", "current")
    )
    said = re.fullmatch(r"(\d+\.\d+) of (\d+\.\d+) N\.m, (\d+\.\d+) A", words)
    assert said, words
    assert torque > 0.005
    assert [float(one) for one in said.groups()] == pytest.approx(
        [torque, limit, current], abs=0.011
    )
    for kind, unit in (("feeds", "A"), ("boards", "V")):
        for (which, name), value in wanted.items():
            if which == kind:
                told_of = re.search(rf"{name} (\d+\.\d+) {unit}", feeds)
                assert told_of, feeds
                assert float(told_of[1]) == pytest.approx(float(value[0]), abs=0.02)


def test_of_a_chain_too_long_for_tables_only_what_it_takes_to_stand_still_is_told(
    browser: Browser, tmp_path: Path
) -> None:
    made, _ = made_of(LONG_SNAKE)
    played = rehearse(made.show, (Press(1000, button=1),), 2000)
    with opened(browser, page(made.compiled, made.tables, played), tmp_path) as found:
        servos = dict(
            found.js("() => [...bellcrank.readings.efforts.of(bellcrank.take.at(60)).servos]")
        )
    assert servos == {f"part_{n}": {"isKnown": False} for n in range(5)}


def test_a_feed_beyond_its_limit_gives_no_voltage_and_below_it_what_solving_gives() -> None:
    """Against `solve`, which is asked with a board that draws so much."""
    made, _ = made_of(SNAKE)
    (supply,) = made.show.rig.supplies
    for amps in (0.0, 0.7, 3.0):
        demand = {"spine": Demand(fixed_a=amps)}
        solved = solve(made.show.rig, supply, demand)
        assert float(feed_v_at(supply, amps)) == pytest.approx(float(solved.feed_v[0]), abs=1e-6)
    wall = replace(supply, source=Adapter(6.0, 2.0))
    assert feed_v_at(wall, [1.99, 2.01]).tolist() == pytest.approx([6.0, 0.0], abs=1e-6)
