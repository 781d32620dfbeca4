"""`check` and `size` tell one run time, and for which use of the show it is."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from seqlang.command import group

RIG = """
supply pack
    source 2 li-ion cells, 2000 mAh
    regulator 6.0 V, 5 A
board body: atmega328p, address 1
    feed pack, 300 mm of 20 AWG
servo arm: body pin PB1
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 90 deg
    rating 0.17 s/60deg, 20 kgf.cm, 4.5 A at 6.0 V
    load 150 g at 100 mm
    level at 0 deg
lamp eye: body pin PD6
safe pose hangs
    arm 90 deg
"""
NOD = "cue nod\n    arm to 60 deg in 1 s\n    arm to 90 deg in 1 s\n"
DOZE = "cue doze\n    eye fade to 20 % in 5 s\n    hold {}\n    eye fade to 0 % in 5 s\n"
LIFT = "cue doze\n    arm to 30 deg in 1 s\n    hold {}\n    arm to 90 deg in 1 s\n    hold {}\n"
SPIN = (
    "cue nods_on\n    repeat for ever\n        arm to 60 deg in 1 s\n        arm to 90 deg in 1 s\n"
)
IDLE = "idle: go doze\n"
USE = "usage\n    nod 20 per hour\n    run time 900 h\n"
WANTS = "usage\n    run time 900 h\n"
HOURLY = "in each hour `nod` 20 times"


@pytest.mark.parametrize(
    ("score", "use"),
    [
        (NOD + USE, HOURLY + "; for the rest standing by, or what goes"),
        (NOD + DOZE.format("30 s") + IDLE + USE, HOURLY + "; for the rest idle, or what"),
        (NOD + DOZE.format("10 s .. 60 s") + IDLE + USE, HOURLY + "; for the rest idle"),
        (NOD + LIFT.format("2 s .. 50 s", "9 s") + IDLE + USE, HOURLY),
        (NOD + LIFT.format("9 s", "2 s .. 50 s") + IDLE + USE, HOURLY),
        (NOD + DOZE.format("60 s") + IDLE + WANTS, "the text states no `usage`, so what takes"),
        (NOD + SPIN + IDLE.replace("doze", "nods_on") + WANTS, "the text states no `usage`"),
        (NOD + USE.replace("20", "3000"), "the use stated for each hour takes 1.67 hours, so"),
        (SPIN + USE.replace("nod 20", "nods_on 1"), "in each hour `nods_on` once; for the rest"),
    ],
    ids=[
        "no-idle", "long-idle", "drawn-idle", "drawn-hold", "drawn-rest", "nothing-stated",
        "endless-idle", "crowded", "endless",
    ],
)  # fmt: skip
def test_check_and_size_tell_the_same_run_time_and_the_same_use(
    score: str, use: str, tmp_path: Path
) -> None:
    path = tmp_path / "show.cues"
    path.write_text(RIG + score)
    run = CliRunner()
    told = json.loads(run.invoke(group, ["size", str(path), "--format", "json"]).stdout)
    found = json.loads(run.invoke(group, ["check", str(path), "--format", "json"]).stdout)
    (short,) = [one for one in found["findings"] if one["name"] == "battery-short"]
    (supply,) = told["supplies"]
    assert short["limit"] == pytest.approx(supply["run_time_h"], rel=1e-9)
    (note,) = short["notes"]
    assert note.startswith(use)
    words = " ".join(run.invoke(group, ["size", str(path)]).stdout.split())
    assert f"are for this use: {note}" in words
    minutes = int(60 * short["limit"])
    hours = f"{minutes // 60} h {minutes % 60:02d} min" if short["limit"] < 100.0 else "over 100 h"
    assert f"2000 mAh lasts {hours} in this use" in words
    printed = re.search(r"lasts (\S+) h, and", short["message"])
    assert printed
    assert float(printed[1].replace(",", "")) == pytest.approx(supply["run_time_h"], rel=2e-2)
