"""The cautions' own words: each point is one whole sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from seqlang.cautions import (
    ALL,
    DEFER,
    FLASHING,
    GETTING_OUT,
    HEAT,
    LITHIUM,
    PINCH,
    TURNING,
    Caution,
)
from seqlang.check import check
from seqlang.checks.cautions_once import _pressing, _published
from seqlang.checks.context import Context
from seqlang.loading import load_text
from seqlang.text.findings import Finding
from seqlang.text.source import Source
from sim.model import Rig, Score, Show, Wearer
from sim.rig.pinch import Contact, Pinch
from sim.rig.regions import STATUS
from tests.seqlang.show_text import CELLS, LAMP, along, checked, servo, show


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
        (3, "`pack_3` holds 67 Wh, `pack_2` holds 45 Wh, `pack_1` holds 22 Wh"),
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
            "`jaw`: grips with 5 N 50 mm from its hinge as long as its spring or soft tip yields; "
            "when it stalls, 12 N at its tip",
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


# -- which cautions a rig gives reason for ---------------------------------------------------------

ROTOR = """    pulse 1300 us at -60 rpm, 1500 us at 0 rpm, 1700 us at 60 rpm
    travel -50 rpm to 50 rpm
    rating 110 rpm, 4 kgf.cm, 1.8 A at 6 V
    load plate 20 g, 80 mm by 80 mm, from -40 mm
    friction 10 mN.m
"""


def cautions_of(text: str) -> dict[str, Finding]:
    return {one.name: one for one in checked(text).findings if one.name.startswith("caution-")}


def test_that_local_codes_come_first_stands_once_below_the_last_caution_of_the_text() -> None:
    found = list(cautions_of(show(supply=CELLS, rig=LAMP)).values())
    assert len(found) > 3
    (deferring,) = (one for one in found if DEFER in one.notes)
    assert deferring.span.start == max(one.span.start for one in found)
    assert deferring.notes[-1] == DEFER
    assert len(deferring.notes) > 1


def test_the_caution_of_heat_names_the_servo_that_stalls_at_the_greatest_current() -> None:
    """Of a servo with two ratings the greater current counts."""
    ear = servo("ear", "PB2", {"rating": "0.15 s/60deg, 10 kgf.cm, 1.9 A at 6.0 V"})
    text = show(rig=[ear], jaw={"rating": "0.17 s/60deg, 8 kgf.cm, 1.6 A at 4.8 V"})
    text = text.replace("    load", "    rating 0.15 s/60deg, 10 kgf.cm, 2 A at 6.0 V\n    load", 1)
    assert cautions_of(text)[HEAT.name].message == f"{HEAT.title}: `jaw` stalls at 2 A"
    hotter = text.replace("1.9 A", "2.1 A")
    assert cautions_of(hotter)[HEAT.name].message == f"{HEAT.title}: `ear` stalls at 2.1 A"
    assert HEAT.name not in cautions_of(show(still=True, rig=LAMP, cues={"snap": GLOW}))


GLOW = "lure fade to 50 % in 2 s\nlure fade to off in 2 s"


@pytest.mark.parametrize(
    ("rotor", "rotary", "said"),
    [
        (-40, 30, "`rotor` at 40 rpm"),
        (20, -30, "`rotary` at 30 rpm"),
    ],
)
def test_the_caution_of_turning_names_the_part_that_turns_fastest_either_way(
    rotor: int, rotary: int, said: str
) -> None:
    body = "".join(
        f"{name} to {rpm} rpm in 800 ms\n{name} to 0 rpm in 800 ms\n"
        for name, rpm in (("rotor", rotor), ("rotary", rotary))
    )
    rig = [f"servo rotor: body pin PB2\n{ROTOR}", f"servo rotary: body pin PB3\n{ROTOR}"]
    text = show(rig=rig, cues={"snap": body})
    assert cautions_of(text)[TURNING.name].message == f"{TURNING.title}: {said}"


def test_a_hinged_part_gives_no_reason_for_the_caution_of_turning() -> None:
    assert TURNING.name not in cautions_of(show())


@pytest.mark.parametrize(
    ("given", "worn"),
    [
        ("", False),
        ("wearer\n    tilt 0 deg\n", False),
        ("wearer\n    tilt 1 deg\n", True),
        ("wearer\n    near hand\n", True),
        ("wearer\n    walks\n", True),
    ],
)
def test_a_show_with_a_wearer_says_how_to_get_out(given: str, worn: bool) -> None:
    found = cautions_of(show(given=given))
    assert (GETTING_OUT.name in found) is worn
    if worn:
        assert found[GETTING_OUT.name].message == f"{GETTING_OUT.title}: 1 part moves"


def test_one_battery_beside_an_adapter_makes_parts_worn_and_a_light_alone_holds_nobody() -> None:
    pack = "supply cells\n    source 4 nimh cells, 2000 mAh\n    fuse 5 A\n"
    assert GETTING_OUT.name in cautions_of(show(given=pack))
    light = show(supply=CELLS, still=True, rig=LAMP, cues={"snap": GLOW})
    assert FLASHING.name in cautions_of(light)
    assert GETTING_OUT.name not in cautions_of(light)


def test_a_part_whose_force_is_not_known_is_cautioned_without_one() -> None:
    """A servo without a load line has no tip to press with."""
    assert cautions_of(show(jaw={"load": None}))[PINCH.name].message == PINCH.title


def test_a_hinged_part_presses_at_its_tip_and_one_along_a_line_everywhere() -> None:
    assert cautions_of(show())[PINCH.name].message.endswith(" N at its tip")
    assert cautions_of(along())[PINCH.name].message.endswith(" N")


def published(*found: Pinch, region: str | None = None) -> list[str]:
    rig = Rig(wearer=Wearer(region=region))
    return list(_published(Context(Show(rig, Score("")), {}, {}, {}), found))


def test_only_the_parts_over_the_limits_of_a_region_are_named() -> None:
    """The chest's 140 N and a hand's 140 N and 190 N/cm2: ISO/TS 15066 (see `sim/rig/regions.py`).

    A nip that the rig does not state is held against a hand's limits, whatever the region.
    """
    calm = replace(JAW, servo="ear", nip=Contact(0.015, 140.0, 190.0))
    hard = replace(JAW, nip=Contact(0.015, 140.1, 40.0))
    stated = replace(JAW, servo="fin", nip=Contact(0.015, 141.0, 40.0), nip_stated=True)
    hand = "the 140 N and 190 N/cm2 published for hands and fingers"
    chest = "the 140 N and 120 N/cm2 published for chest"
    assert published(calm, hard) == [f"`jaw` over {hand}: {STATUS}"]
    assert published(calm, JAW) == [f"all under {hand}: {STATUS}"]
    assert published(calm, hard, stated, region="chest") == [
        f"at their tips `fin` over {chest}: {STATUS}",
        f"on a finger `jaw` over {hand}",
    ]
    assert published(stated, region="chest") == [f"`fin` over {chest}: {STATUS}"]
    assert published(JAW, region="chest") == [f"all under {chest}: {STATUS}"]


@pytest.mark.parametrize(
    ("energy_j", "jump_j", "over"),
    [(1.69, 1.69, False), (1.7, 0.0, True), (0.0, 1.7, True)],
)
def test_a_part_with_more_energy_than_a_low_energy_door_is_named(
    energy_j: float, jump_j: float, over: bool
) -> None:
    """1.69 J: see `LOW_ENERGY_J`. In motion or when it jumps at power-up."""
    fast = replace(JAW, energy_j=energy_j, jump_j=jump_j)
    words = published(replace(JAW, servo="ear"), fast)[1:]
    door = "a door that counts as low-energy (ANSI/BHMA A156.19, by a door maker's manual)"
    assert words == ([f"`jaw` over the 1.69 J of {door}"] if over else [])


def test_millimetres_and_millijoules_are_a_thousandth_to_the_last_digit_shown() -> None:
    one = replace(JAW, nip=Contact(0.999, 48.0, 40.0), energy_j=0.998, jump_j=0.999)
    assert _pressing(one) == (
        f"{STALLS}, 48 N (40 N/cm2) on a finger 999 mm from its hinge; up to 998 mJ in motion, "
        "999 mJ when it jumps at power-up"
    )


def test_a_part_that_turns_round_and_round_is_told_no_jump_at_power_up_however_slow_it_is() -> None:
    """20 kg of 1 m by 1 m about its middle, 1.67 kg m2, at 0.1 rpm: 0.09 mJ."""
    slow = ROTOR.replace("-50 rpm to 50 rpm", "-0.1 rpm to 0.1 rpm")
    slow = slow.replace(
        "20 g, 80 mm by 80 mm, from -40 mm", "20 kg, 1000 mm by 1000 mm, from -500 mm"
    )
    body = "rotor to 0.1 rpm in 2 s\nrotor to 0 rpm in 2 s"
    text = show(still=True, rig=f"servo rotor: body pin PB2\n{slow}", cues={"snap": body})
    (words,) = [one for one in cautions_of(text)[PINCH.name].notes if one.startswith("`rotor`")]
    assert words.endswith(" mJ in motion")
