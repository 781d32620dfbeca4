"""EVENT.md says what is so: its figures are the program's, and its commands run."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from firmware_gen.link.owner.arbiter import SILENT_S as OWNER_SILENT_S
from firmware_gen.link.protocol import HELD_FRAMES
from seqlang.command import group, spare
from seqlang.command.remote import command
from seqlang.phone import hand, pairing, serving
from seqlang.phone.page import PARTS
from sim.rulebook import FRAME_S

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "seqlang" / "EVENT.md").read_text(encoding="utf-8")
SCRIPT = (PARTS / "phone.js").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "words",
    [
        f"let go of after {hand.SILENT_S:g} s of silence",
        f"by the board itself after {HELD_FRAMES * FRAME_S:g} s at the latest",
        f"After {pairing.TRIES} wrong codes from one address",
        f"that address waits {pairing.LOCK_S:g} s, then twice as long",
        f"After {pairing.ALL_TRIES} wrong codes in all",
        f"At most {serving.MOST_PHONES} phones",
        "a code of eight digits",
        "ISO 13850",
        "IEC 60204-1",
    ],
)
def test_the_page_states_the_programs_own_figures(words: str) -> None:
    assert words in PAGE


def of_the_script(name: str) -> float:
    found = re.search(rf"^const {name} = (\d+);", SCRIPT, re.M)
    assert found
    return float(found[1]) / 1000


def test_whoever_notices_first_lets_go_before_the_next_one_has_to() -> None:
    beat_s = of_the_script("BEAT_MS")
    assert 2 * beat_s < hand.SILENT_S < OWNER_SILENT_S < HELD_FRAMES * FRAME_S


def test_the_page_holds_a_re_arm_as_long_as_the_laptop_wants_it_held() -> None:
    least_s, most_s = hand.REARM_S
    assert least_s < of_the_script("STEP_MS") < of_the_script("HOLD_MS") < most_s
    assert of_the_script("FORGET_MS") < most_s


def test_every_option_that_the_page_names_exists() -> None:
    named = set(re.findall(r"`(--[a-z]+)", PAGE)) | set(re.findall(r"remote \S+ (--[a-z]+)", PAGE))
    assert named == {"--open", "--address", "--port", "--board"}
    params = (*command.params, *spare.command.params)
    assert named <= {option for one in params for option in one.opts}


def test_with_open_the_command_says_where_the_page_is_and_what_it_is_not() -> None:
    show = ROOT / "shows" / "first" / "first.cues"
    words = [sys.executable, "-m", "seqlang", "remote", str(show), "--open", "--for", "1 s"]
    done = subprocess.run(words, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
    found = re.search(r"^the page is at http://([\d.]+):\d+/#(\d{8})$", done.stdout, re.M)
    assert found
    assert f"the code is {found[2][:4]} {found[2][4:]}" in done.stdout
    assert "a phone is not an emergency stop" in done.stdout
    assert "listens in this network" in done.stdout


def test_a_show_with_errors_gets_no_page(tmp_path: Path) -> None:
    file = tmp_path / "wrong.cues"
    file.write_text("cue wave\n    flap to 3 deg in 1 s\n", encoding="utf-8")
    done = CliRunner().invoke(group, ["remote", str(file)])
    assert done.exit_code == 1
    assert "the page is at" not in done.output
