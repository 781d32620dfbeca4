"""The preview page holds the very tables, fetches nothing, and is made of its modules."""

from __future__ import annotations

import base64
import dataclasses
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firmware_gen.build.webassembly import shipped
from firmware_gen.checked_table import sealed_bytes
from firmware_gen.link.frames import Receiver
from firmware_gen.link.protocol import ONE_WAY, RequestKind
from firmware_gen.page.page import LIVE, MODULES, PARTS, module, page
from seqlang.command._page_notes import page_notes
from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Press
from sim.pictures.creature import creature
from sim.pictures.figures import MOST_POINTS, work_figures
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.run_through import run_through
from sim.rehearsal.sampling import sample
from sim.rulebook import FRAME_MS
from sim.strain.torque_and_current import work
from tests.firmware_gen.page_shows import EVERYTHING, made, paged
from tests.seqlang.show_text import show


def payload(text: str) -> dict[str, Any]:
    found = re.search(r'<script id="data" type="application/json">(.*?)</script>', text, re.S)
    assert found
    data = json.loads(found[1])
    assert isinstance(data, dict)
    return data


def test_the_page_holds_the_very_tables_that_boards_are_given() -> None:
    text, checked, _ = paged(EVERYTHING)
    boards = payload(text)["boards"]
    assert [board["name"] for board in boards] == ["body", "bill"]
    for board in boards:
        assert base64.b64decode(board["table"]) == sealed_bytes(checked.tables[board["name"]])
    program = payload(text)["chips"]["atmega328p"]["program"]
    assert base64.b64decode(program) == shipped("atmega328p").read_bytes()


def test_the_page_fetches_nothing() -> None:
    text, _, _ = paged(EVERYTHING)
    assert not re.findall(r"""\bsrc\s*=|\bhref\s*=|@import|url\(|\bfetch\(|XMLHttpRequest""", text)
    assert not re.findall(r"^\s*import ", module(), re.M)


def test_a_title_cannot_break_out_of_the_page() -> None:
    _, checked, played = paged(EVERYTHING)
    evil = "</script><script>alert(1)</script> __DATA__"
    score = dataclasses.replace(checked.show.score, title=evil)
    compiled = dataclasses.replace(
        checked.compiled, show=dataclasses.replace(checked.show, score=score)
    )
    text = page(compiled, checked.tables, played)
    assert "<script>alert" not in text
    assert payload(text)["title"] == evil


def test_every_request_stands_there_as_two_frames_of_the_link_that_differ() -> None:
    sayings = payload(paged(EVERYTHING)[0])["sayings"]
    assert {"stop", "limp", "standby", "beacon", "down 2", "up 2", "go sag"} <= set(sayings)
    for name, both in sayings.items():
        frames = [Receiver().feed(base64.b64decode(one))[0] for one in both]
        assert frames[0].kind == frames[1].kind
        assert frames[0].kind & ONE_WAY
        assert frames[0].seq != frames[1].seq
        if name == "down 2":
            assert (frames[0].kind & ~ONE_WAY, frames[0].payload) == (RequestKind.BUTTON, b"\2\1")


def test_the_script_is_the_rehearsals_presses_by_frame() -> None:
    text, _, played = paged(EVERYTHING)
    script = payload(text)["rehearsal"]["script"]
    downs = [(frame, words) for frame, words in script if words.startswith("down")]
    pressed = [press for press in played.presses if press.button is not None]
    assert [frame * FRAME_MS for frame, _ in downs] == [
        pytest.approx(press.at_ms, abs=FRAME_MS) for press in pressed
    ]
    assert [words for _, words in downs] == [f"down {press.button}" for press in pressed]


# -- figures -----------------------------------------------------------------------------------


def test_figures_are_those_of_the_whole_rehearsal_at_once() -> None:
    _, _, played = paged(EVERYTHING)
    found = work_figures(played)
    assert found.frames == 1
    times = np.arange(0, played.length_ms + 1, FRAME_MS)
    whole = work(played.show.rig, sample(played, times))
    np.testing.assert_allclose(found.torque["wing"], np.abs(whole.servos["wing"].torque_nm))
    np.testing.assert_allclose(found.feed_a["pack"], whole.supplies["pack"].feed_a)
    np.testing.assert_allclose(found.board_v["bill"], whole.board_v["bill"])


def test_a_long_rehearsal_is_thinned_and_keeps_its_worst_moments() -> None:
    made_show, _ = made(EVERYTHING)
    presses = [Press(1000 + 4000 * n, button=1 + n % 2, held_ms=900) for n in range(100)]
    played = rehearse(made_show.show, presses, 405_000)
    found = work_figures(played)
    assert found.frames == 4
    times = np.arange(0, played.length_ms + 1, FRAME_MS)
    whole = work(played.show.rig, sample(played, times))
    for name, row in found.feed_a.items():
        assert row.size <= MOST_POINTS
        assert row.max() == pytest.approx(whole.supplies[name].feed_a.max())
    for name, volts in found.board_v.items():
        assert volts.min() == pytest.approx(whole.board_v[name].min())
    share = whole.servos["wing"].share
    worst = int(np.argmax(share))
    assert found.torque["wing"][worst // 4] == pytest.approx(
        abs(whole.servos["wing"].torque_nm[worst])
    )


def test_a_force_of_a_linear_servo_stands_there_in_newtons() -> None:
    _, _, played = paged(EVERYTHING)
    found = work_figures(played)
    # at rest the rod carries 40 g: m g = 0.39 N (standard gravity, NIST SP 811 App. B.8)
    assert found.torque["crest"][-1] == pytest.approx(0.04 * 9.80665, rel=0.15)


# -- findings ----------------------------------------------------------------------------------

TWICE = """\
jaw to 40 deg in 1 s
jaw to 0 deg in 130 ms
"""


def test_a_finding_is_marked_where_its_statement_begins_in_the_rehearsal() -> None:
    text = show(
        cues={"snap": "jaw to 40 deg in 1 s\njaw to 0 deg in 1 s", "bow": "jaw to 9 deg in 90 ms"}
    )
    loaded = load_text(Source("t.cues", text))
    assert loaded.show is not None
    played = run_through(loaded.show)
    from seqlang.check import check

    found = check(loaded)
    notes = page_notes(found.findings, loaded.origins, loaded.sources, played)
    timed = [note for note in notes if note.at_ms]
    assert timed, [note.name for note in notes]
    (bow,) = {run.start_ms for run in played.runs if run.cue == "bow"}
    assert any(note.at_ms == (pytest.approx(bow),) for note in timed)
    assert all(not note.name.startswith("caution") for note in notes)


# -- the drawing -------------------------------------------------------------------------------


def test_a_part_stands_behind_what_carries_it_and_has_its_own_sizes() -> None:
    made_show, _ = made(EVERYTHING)
    parts = {part.name: part for part in creature(made_show.show)}
    names = list(parts)
    assert names.index("neck") < names.index("head")
    assert (parts["head"].carrier, parts["head"].at_m, parts["head"].turned_deg) == (
        "neck",
        0.18,
        90.0,
    )
    (box,) = parts["head"].bodies
    assert (box.kind, box.length_m, box.across_m, box.along_hinge_m) == ("box", 0.12, 0.04, 0.05)
    assert parts["neck"].upright
    assert parts["crest"].way_deg == 90.0
    assert parts["lantern"].spins
    assert parts["lantern"].held is None


def test_poses_are_harder_to_hold_the_more_the_wearer_may_lean() -> None:
    made_show, _ = made(EVERYTHING)
    parts = {part.name: part for part in creature(made_show.show)}
    neck = parts["neck"].held  # upright: it carries nothing while nobody leans
    assert neck is not None
    assert neck.leans_deg[0] == 0.0
    assert neck.leans_deg[-1] == 20.0
    assert max(neck.shares[0]) == pytest.approx(0.0, abs=1e-6)
    assert all(b >= a for a, b in zip(neck.shares[1], neck.shares[3], strict=True))
    assert max(neck.shares[3]) > 0.05


# -- modules -----------------------------------------------------------------------------------


def test_every_module_stands_in_the_page_behind_those_that_it_needs() -> None:
    files = {path.stem for path in PARTS.glob("*.js")}
    assert {*MODULES, LIVE} == files
    for place, name in enumerate((*MODULES, LIVE)):
        text = (PARTS / f"{name}.js").read_text("utf-8")
        needed = re.findall(r'from "\./(\w+)\.js"', text)
        assert set(needed) <= set(MODULES[:place]), name


def test_no_two_modules_have_one_name_at_their_tops() -> None:
    names: dict[str, list[str]] = {}
    for path in sorted(PARTS.glob("*.js")):
        top = re.findall(
            r"^(?:export )?(?:async )?(?:const|let|function\*?|class) (\w+)",
            path.read_text("utf-8"),
            re.M,
        )
        for name in top:
            names.setdefault(name, []).append(path.name)
    assert {name: where for name, where in names.items() if len(where) > 1} == {}


@pytest.mark.parametrize("path", sorted(PARTS.iterdir()), ids=lambda path: path.name)
def test_a_part_of_the_page_is_short_and_says_what_it_is(path: Path) -> None:
    lines = path.read_text("utf-8").splitlines()
    assert len(lines) < 400
    if path.suffix == ".js":
        assert lines[0].startswith("// ")
