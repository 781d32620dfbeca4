"""The cautions' own words: each point is one whole sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from seqlang.cautions import ALL, FLASHING, LITHIUM, Caution
from seqlang.check import check
from seqlang.checks.cautions_once import _pressing
from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.rig.pinch import Contact, Pinch


@pytest.mark.parametrize("caution", ALL, ids=lambda caution: caution.name)
def test_each_point_of_a_caution_is_a_sentence_of_its_own(caution: Caution) -> None:
    """A stray comma between two lines had made two points of one, the first with a gap behind."""
    for words in (caution.title, *caution.words):
        assert words == " ".join(words.split())
        assert not words.endswith((",", ";"))


@pytest.mark.parametrize(
    ("packs", "said"),
    [
        (1, "`pack_1` holds 22 Wh"),
        (2, "`pack_2` holds 45 Wh, `pack_1` holds 22 Wh"),
        (4, "`pack_4` holds 90 Wh, `pack_3` holds 67 Wh, `pack_2` holds 45 Wh, and 1 more"),
    ],
)
def test_the_caution_of_lithium_names_the_packs_with_what_they_hold(packs: int, said: str) -> None:
    lines = ["lamp eye: box_1 pin PD6"]
    for number in range(1, packs + 1):
        lines += [
            *(f"supply pack_{number}", f"    source 2 li-ion cells, {3000 * number} mAh"),
            *("    regulator 5 V, 5 A", "    fuse 5 A"),
            *(f"board box_{number}: atmega328p, address {number}", f"    feed pack_{number}"),
        ]
    lines += ["cue glow", "    eye fade to 50 % in 2 s", "    eye fade to off in 2 s"]
    lines += ["remote", "    button 1: go glow", "    stop button 2"]
    found = check(load_text(Source("test.cues", "\n".join(lines) + "\n"))).findings
    (caution,) = (one for one in found if one.name == LITHIUM.name)
    assert caution.message == f"{LITHIUM.title}: {said}"


LIVE = """supply pack
    source adapter 6 V, 5 A
board box: atmega2560, address 1
    feed pack
servo jaw: box pin PB5
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
sensor voice: box pin PF0
lamp glow: box pin PE3
    follows voice from 10 % to 60 %, 0 % to 60 %, in 5 s
lamp gap: box pin PE4
    follows jaw from 5 deg to 40 deg, 0 % to 70 %
strip gills: box pin PB0
    pixels 4
    feed 5 V
    shows glow
lamp spare: box pin PE5
safe pose shut
    gills teal 30 %
cue gape
    jaw to 20 deg in 2 s
    jaw to 0 deg in 2 s
remote
    button 1: go gape
    stop button 2
"""


def test_the_caution_of_flashing_counts_what_follows_and_shows_beside_what_cues_light() -> None:
    found = check(load_text(Source("test.cues", LIVE))).findings
    (caution,) = (one for one in found if one.name == FLASHING.name)
    assert caution.message == f"{FLASHING.title}: 3 lights play"  # all but `spare`


TIP, NIP = Contact(0.06, 12.0, 3.0), Contact(0.015, 48.0, 40.0)
JAW = Pinch("jaw", TIP, None, False, 40.0, 90.0, 0.0)
STALLS = "`jaw`: when it stalls, 12 N at its tip"


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (JAW, STALLS),
        (replace(JAW, straight=True), "`jaw`: when it stalls, 12 N"),
        (
            replace(JAW, nip=NIP),
            f"{STALLS}, 48 N (40 N/cm2) on a finger 15 mm from its hinge",
        ),
        (
            replace(JAW, nip=NIP, nip_stated=True),
            f"{STALLS}, 48 N (40 N/cm2) on what is caught 15 mm from its hinge",
        ),
        (
            replace(JAW, grip=Contact(0.05, 5.0, 0.0)),
            "`jaw`: grips with 5 N 50 mm from its hinge, as long as what should yield does; when "
            "it stalls, 12 N at its tip",
        ),
        # energies are told from a hundredth of a mJ on, that of a jump where it is greater
        (replace(JAW, energy_j=0.99e-5, jump_j=0.5), STALLS),
        (replace(JAW, energy_j=1e-5), f"{STALLS}; up to 0.01 mJ in motion"),
        (replace(JAW, energy_j=0.04, jump_j=0.04), f"{STALLS}; up to 40 mJ in motion"),
        (
            replace(JAW, energy_j=0.04, jump_j=0.25),
            f"{STALLS}; up to 40 mJ in motion, 250 mJ when it jumps at power-up",
        ),
    ],
)
def test_what_a_part_can_do_to_a_finger_is_told_in_its_units(one: Pinch, words: str) -> None:
    assert _pressing(one) == words
