"""TUTORIAL.md and RECIPES.md: every listing is a file, every command is run, every output is so."""

from __future__ import annotations

import os
import re
from pathlib import Path

import numpy as np
import pytest

import seqlang
from sim.score.tree import duration_ms
from tests.seqlang.played_page import ROOT, Session, played

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are a thing of POSIX")

ROOM = ROOT / "seqlang"
FAILS = {"TUTORIAL.md": ["bellcrank check fin.cues"], "RECIPES.md": []}
"""The commands that end with an error on purpose."""


def timeless(page: str) -> str:
    """Without what differs from run to run: the times of a board that runs in real time."""
    page = re.sub(r"^ +[0-9]+\.[0-9]{2} s  ", "TIME  ", page, flags=re.M)
    return re.sub(r"playing for  [0-9.]+ s \([0-9]+ frames\)", "playing for  TIME", page)


@pytest.mark.parametrize("name", ["TUTORIAL.md", "RECIPES.md"])
def test_a_reader_who_does_what_the_page_says_sees_what_it_shows(name: str, tmp_path: Path) -> None:
    page = (ROOM / name).read_text(encoding="utf-8")
    (tmp_path / "work").mkdir()
    (tmp_path / "home").mkdir()
    session = Session(tmp_path / "work", tmp_path / "home")
    assert timeless(played(page, session)) == timeless(page)
    failed = [line for line, status in session.statuses if status]
    assert failed == FAILS[name]


@pytest.mark.parametrize("name", ["TUTORIAL.md", "RECIPES.md", "LANGUAGE.md"])
def test_every_page_that_is_linked_exists(name: str) -> None:
    page = (ROOM / name).read_text(encoding="utf-8")
    links = set(re.findall(r"\]\(([^)#:]+)\)", page))
    assert {link for link in links if not (ROOM / link).exists()} == set()


def test_the_tutorial_makes_one_mistake_and_calibrates_by_its_own_arithmetic() -> None:
    page = (ROOM / "TUTORIAL.md").read_text(encoding="utf-8")
    assert page.count("error: ") == 2  # found, and shown again by `--fix`
    due = 1000 + 50 / 90 * 1000
    assert round(due) == 1556
    assert round(round(due - 1000) / 47, 2) == 11.83
    assert round(1000 / (556 / 47), 1) == 84.5


# -- the recipes ----------------------------------------------------------------------------------

RECIPES = dict(
    re.findall(
        r"Into `(\w+)\.cues`:\n\n```cues\n(.*?)^```",
        (ROOM / "RECIPES.md").read_text(encoding="utf-8"),
        re.M | re.S,
    )
)


def recipe(name: str) -> seqlang.OpenShow:
    return seqlang.load_string(RECIPES[name], f"{name}.cues")


def written_ms(show: seqlang.OpenShow, name: str) -> float:
    """How long a cue takes once, as it is written."""
    (body,) = (cue.body for cue in show.show.score.cues if cue.name == name)
    return duration_ms(body)


def moving_ms(show: seqlang.OpenShow, servo: str, *, cue: str) -> list[int]:
    """How long each move of a servo takes when a cue is played alone; ms, to 5 ms."""
    samples = show.rehearse(cues=[cue]).samples(rate_hz=200).servos[servo]
    moves = np.abs(samples.velocity_deg_s) > 1e-6
    edges = np.flatnonzero(np.diff(np.concatenate(([False], moves, [False])).astype(int)))
    return [int(b - a) * 5 for a, b in zip(edges[::2], edges[1::2], strict=True)]


def test_the_recipes_are_those_of_the_page() -> None:
    assert list(RECIPES) == [
        *("blink", "gaze", "about", "breathing", "ripple", "wing", "grip", "stick", "nods"),
        *("bow", "song"),
    ]


@pytest.mark.parametrize("name", list(RECIPES))
def test_a_recipe_passes_without_a_warning(name: str) -> None:
    found = recipe(name).findings
    assert [one.name for one in found if one.severity in ("error", "warning")] == []


def test_the_lids_blink_at_the_published_rate() -> None:
    """At rest 17 a minute, 3.53 s apart: Bentivoglio et al. 1997, 150 people."""
    show = recipe("blink")
    samples = show.rehearse("stop at 600 s").samples(rate_hz=50, from_ms=5_000, to_ms=600_000)
    closed = samples.servos["lids"].angle_deg < 3.0
    times_s = samples.times_ms[1:][np.diff(closed.astype(int)) == 1] / 1000.0
    apart_s = np.diff(times_s)
    assert apart_s.mean() == pytest.approx(3.53, rel=0.05)
    assert apart_s.min() < 1.5
    assert apart_s.max() > 5.5
    assert moving_ms(show, "lids", cue="blink")[:2] == pytest.approx([170, 200], abs=10)


def test_each_way_of_looking_about_comes_about_as_often() -> None:
    """A third of about 95 passes, within two and a half standard deviations (binomial)."""
    samples = recipe("about").rehearse("stop at 600 s").samples(rate_hz=20, to_ms=600_000)
    eyes, head = (samples.servos[name] for name in ("eyes", "head"))

    def begun(now: np.ndarray) -> int:
        return int(np.count_nonzero(np.diff(now.astype(int)) == 1))

    outward = np.diff(np.abs(head.angle_deg), prepend=0.0) > 0.0
    ways = [begun(eyes.angle_deg > 15.0), begun(eyes.angle_deg < -15.0), begun(outward)]
    passes = sum(ways)
    assert 80 <= passes <= 120
    spread = (passes * (1 / 3) * (2 / 3)) ** 0.5
    assert all(abs(way - passes / 3) <= 2.5 * spread for way in ways)


def test_a_small_nod_in_the_root_of_its_share_of_the_time_accelerates_like_a_large_one() -> None:
    """Acceleration goes by way over time squared: of one law in closed form."""

    def peak(cue: str) -> float:
        samples = recipe("nods").rehearse(cues=[cue]).samples(rate_hz=500).servos["neck"]
        return float(np.abs(np.gradient(samples.velocity_deg_s, 0.002)).max())

    assert peak("small") / peak("large") == pytest.approx(0.5 / 0.7**2, rel=0.02)


def test_breath_goes_in_and_out_in_the_published_ratio() -> None:
    """12 to 20 a minute, in to out as 1 to 2: teaching pages of physiology."""
    show = recipe("breathing")
    assert 60_000 / 20 <= written_ms(show, show.show.score.idle[0]) <= 60_000 / 12
    inward, outward = 4 / 3, 4 * 2 / 3
    assert f"{inward:.2f} s in" in (ROOM / "RECIPES.md").read_text()
    assert f"{outward:.2f} s out" in (ROOM / "RECIPES.md").read_text()


def test_an_eye_jumps_as_long_as_the_page_says_and_a_servo_takes_longer() -> None:
    """D = 2.2 A + 21 ms, A in deg: the main sequence of saccades, as several papers give it."""
    page = (ROOM / "RECIPES.md").read_text()
    assert f"20 deg take {2.2 * 20 + 21:.0f} ms" in page
    first = moving_ms(recipe("gaze"), "eyes", cue="look")[0]
    assert first == pytest.approx(90, abs=10)
    assert "gets 90 ms for that" in page


@pytest.mark.parametrize("held_ms", [1500, 3000])
def test_a_hand_holds_its_pose_while_the_button_is_down_and_opens_within_a_tenth(
    held_ms: int,
) -> None:
    played_show = recipe("grip").rehearse(f"1 at 1 s for {held_ms} ms")
    samples = played_show.samples(rate_hz=100, from_ms=0, to_ms=1000 + held_ms + 900)
    angles = dict(zip(samples.times_ms, samples.servos["finger"].angle_deg, strict=True))
    up = 1000 + held_ms
    assert {round(angles[t], 2) for t in angles if 1900 <= t <= up} == {58.0}
    assert angles[up + 300] < 58.0
    assert angles[up + 900] == pytest.approx(0.0, abs=0.01)


def test_the_spines_follow_each_other_by_a_quarter_of_the_stroke() -> None:
    samples = recipe("ripple").rehearse(cues=["ripple"]).samples(rate_hz=200)
    starts = [
        samples.times_ms[np.argmax(samples.servos[name].velocity_deg_s > 0.01)]
        for name in ("first", "second", "third")
    ]
    assert np.diff(starts) == pytest.approx([150, 150], abs=20)


def test_the_mouth_moves_when_the_beats_of_the_sound_are_due() -> None:
    show = recipe("song")
    played_song = show.rehearse(cues=["song"])
    (sound,) = [one for one in played_song.trajectories.switches["player"] if one.on]
    starts_ms = sound.start_ms + 180
    samples = played_song.samples(rate_hz=500).servos["jaw"].angle_deg
    for beats, angle in ((1, 5.0), (2, 5.0), (3, 35.0), (4, 0.0), (5, 30.0)):
        at = round((starts_ms + beats * 500 + 20) / 2)  # within a frame
        assert samples[at] == pytest.approx(angle, abs=1.0), beats
