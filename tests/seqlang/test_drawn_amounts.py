"""What a strand draws: read from the text, played alike by rehearsal and table, and checked."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.compiler.show import compile_show
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from seqlang.check import check, with_graver
from seqlang.loading import Loaded, load_text
from seqlang.text.findings import Finding, Severity, Span
from seqlang.text.source import Source
from sim.light.flash import flashing
from sim.model import Servo
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.score.draws import at_its_hardest
from sim.strain.heat import heats
from sim.strain.light_sources import light_sources
from sim.strain.reachable import Reachable
from sim.strain.torque_and_current import work

RIG = """
supply pack
    source adapter 6 V, 5 A
board head: atmega328p, address 1
    feed pack
servo lid: head pin PB1
    pulse 1000 us at 0 deg, 2000 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.12 s/60deg, 1.8 kgf.cm, 0.7 A at 6 V
    load 5 g at 20 mm
servo neck: head pin PB2
    pulse 1000 us at -45 deg, 2000 us at 45 deg
    travel -40 deg to 40 deg
    rating 0.12 s/60deg, 1.8 kgf.cm, 0.7 A at 6 V
    load 20 g at 30 mm
lamp heart: head pin PD6
"""
CUES = """
cue blink, seed 7
    repeat for ever
        hold 300 ms .. 900 ms
        lid to 0 deg in {blink}
        lid to 45 deg .. 55 deg in 350 ms .. 400 ms
cue gaze
    neck to -20 deg .. 20 deg, heart fade to 20 % .. 60 % in 400 ms .. 900 ms
    hold 100 ms .. 300 ms
idle: go blink, gaze
remote
    button 1: go bite
    stop button 2
cue bite
    lid to 10 deg in 350 ms
    lid to 2 deg in 200 ms
"""


def loaded(show: str) -> Loaded:
    return load_text(Source("test.cues", show))


def text(blink: str = "280 ms") -> str:
    return RIG + CUES.format(blink=blink)


def test_a_show_that_draws_passes_and_a_faster_move_is_found_at_the_range_it_comes_from() -> None:
    assert not check(loaded(text())).failed
    found = [one for one in check(loaded(text("250 ms"))).findings if one.severity == "error"]
    assert [one.name for one in found] == ["servo-speed"]
    (way, *_) = found[0].related
    source = text("250 ms")
    assert "45 deg .. 55 deg" in source[way[0].start : way[0].end]


def test_a_range_is_checked_at_both_ends() -> None:
    over = text().replace("45 deg .. 55 deg", "45 deg .. 70 deg")
    assert "target-outside-travel" in {one.name for one in check(loaded(over)).findings}
    turned = text().replace("45 deg .. 55 deg", "55 deg .. 45 deg")
    (wrong,) = [one for one in check(loaded(turned)).findings if one.severity == "error"]
    assert wrong.name == "number-out-of-range"
    assert wrong.fix is not None
    assert wrong.fix.text == "45 deg .. 55 deg"


def test_the_board_plays_the_draws_of_the_rehearsal() -> None:
    show = loaded(text()).show
    assert show is not None
    table = decode(compile_show(show).boards[0].data)
    player, found = Player(table), rehearse(show, (), 30_000)
    servos = [one for one in show.rig.outputs if isinstance(one, Servo)]
    frames = [player.frame() for _ in range(1500)]
    for place, servo in enumerate(servos):
        for piece in found.motions[servo.name]:
            planned = piece.planned
            frame = -(-planned.end // 5120)
            later = [one.planned.start for one in found.motions[servo.name]]
            if frame >= 1500 or any(planned.end - 5120 < t <= frame * 5120 for t in later):
                continue
            low, high = servo.points
            angle = planned.target / 3_276_800
            share = (angle - low.angle_deg) / (high.angle_deg - low.angle_deg)
            pulse_us = low.pulse_us + share * (high.pulse_us - low.pulse_us)
            shown = frames[frame].pulses[place]
            if shown:
                assert abs(shown / 2 - pulse_us) <= 0.6


def test_no_random_play_goes_beyond_what_is_reachable() -> None:
    for seed in range(4):
        show = loaded(text().replace("seed 7", f"seed {seed}")).show
        assert show is not None
        reaches = Reachable(show).reaches
        found = rehearse(show, (), 60_000)
        assert len({piece.planned.target for piece in found.motions["neck"]}) > 20
        for name, row in found.motions.items():
            low, high = reaches[name].angle_deg
            for piece in row:
                assert low - 0.01 <= piece.planned.target / 3_276_800 <= high + 0.01


def test_a_seed_gives_other_draws_and_the_same_text_the_same() -> None:
    shows = [loaded(text().replace("seed 7", f"seed {n}")).show for n in (7, 7, 8)]
    made = [compile_show(show).boards[0].data for show in shows if show is not None]
    assert made[0] == made[1]
    assert made[0] != made[2]


def one_strand(body: str, rig: str = RIG) -> Loaded:
    return loaded(f"{rig}cue gaze, seed 5\n{body}idle: go gaze\nremote\n    stop button 2\n")


def test_a_move_behind_a_repeat_with_draws_is_checked_from_all_that_they_leave() -> None:
    body = """
    repeat for ever
        neck to 30 deg in {} ms
        repeat 2 times
            hold 400 ms
            neck to -30 deg .. 30 deg in 1 s
"""
    found = check(one_strand(body.format(170))).findings
    assert "servo-speed" in {one.name for one in found}
    assert not check(one_strand(body.format(900))).failed


def test_light_that_may_be_drawn_to_flash_is_found() -> None:
    body = """
    repeat for ever
        heart fade to 0 % .. 100 % in 40 ms
        hold {} ms
"""
    for wait_ms in (60, 100, 400):
        strand = one_strand(body.format(wait_ms))
        assert strand.show is not None
        times = np.arange(0.0, 120_000.0, 20.0)
        seen = sample(rehearse(strand.show, (), 120_000), times)
        flashes = bool(flashing(times, light_sources(strand.show, seen)))
        told = "general-flash" in {one.name for one in check(strand).findings}
        assert told == flashes == (wait_ms < 400)


def test_draws_in_a_short_repeat_take_no_heat_from_what_is_beside_it() -> None:
    """A part that turns upright heats by being moved, so that its share of the time counts."""
    rig = RIG.replace(
        "lamp heart",
        """servo arm: head pin PB3
    pulse 1000 us at -45 deg, 2000 us at 45 deg
    travel -40 deg to 40 deg
    rating 0.12 s/60deg, 10 kgf.cm, 2 A at 6 V
    load 250 g at 100 mm
    axis upright
lamp heart""",
    )
    swing = "        arm to 40 deg in 500 ms\n        arm to -40 deg in 500 ms\n" * 2
    look = "        repeat 2 times\n            neck to -20 deg .. 20 deg in 800 ms\n"
    show = one_strand(f"    repeat for ever\n{swing}{look}", rig).show
    assert show is not None
    times = np.arange(5_000.0, 125_000.0, 10.0)
    torque_nm = work(show.rig, sample(rehearse(show, (), 130_000), times)).servos["arm"].torque_nm
    (arm,) = (one for one in show.rig.outputs if one.name == "arm" and isinstance(one, Servo))
    played = float(np.mean(torque_nm**2)) ** 0.5 / arm.ratings[0].stall_nm
    (told,) = (one for one in heats(at_its_hardest(show)) if one.servo == "arm")
    assert 0.99 * played <= told.rms_share <= 1.1 * played


FLICKER = """
board head: atmega328p, address 1
lamp heart: head pin PD6
cue flick, seed 11
    repeat for ever
        heart fade to 65 % .. 75 % in {first}
        heart fade to 6 % .. 62 % in 147 ms
idle: go flick
remote
    stop button 2
"""


def test_light_that_may_flash_by_what_is_drawn_is_an_error_with_the_time_that_passes() -> None:
    source = loaded(FLICKER.format(first="163 ms .. 400 ms"))
    (found,) = (one for one in check(source).findings if one.name == "general-flash")
    assert found.severity == "error"
    assert "may flash 4 times" in found.message
    assert found.fix is not None
    # the upper end stays
    assert found.fix.text.endswith(" ms .. 400 ms")
    least = int(found.fix.text.split()[0])
    for ms, passes in ((least, True), (least - 1, False)):
        again = check(loaded(FLICKER.format(first=f"{ms} ms .. 400 ms")))
        assert again.failed is not passes


def test_a_range_whose_upper_end_is_too_short_is_moved_as_it_is() -> None:
    source = loaded(FLICKER.format(first="163 ms .. 176 ms"))
    (found,) = (one for one in check(source).findings if one.name == "general-flash")
    assert found.fix is not None
    least, most = (int(end.removesuffix(" ms")) for end in found.fix.text.split(" .. "))
    assert most - least == 176 - 163
    assert not check(loaded(FLICKER.format(first=found.fix.text))).failed


def said(severity: Severity, name: str = "arm", asked: float = 2.0, at: int = 5) -> Finding:
    return Finding(
        severity, "servo-heat", f"`{name}` is hot", Span("a", at, 9), asked=asked, limit=1.0
    )


@pytest.mark.parametrize(
    ("shortest", "longest", "told"),
    [
        # the graver one, whichever comes later
        ([said("warning")], [said("error")], [said("error")]),
        ([said("error")], [said("warning", asked=9.0)], [said("error")]),
        ([said("error")], [said("error", asked=2.1)], [said("error", asked=2.1)]),
        ([said("error")], [said("error", asked=1.9)], [said("error")]),
        # what the shortest do not bring
        ([], [said("advice")], [said("advice")]),
        ([said("error")], [said("error", at=6)], [said("error"), said("error", at=6)]),
        # one line about two parts: each is compared with its own
        (
            [said("error"), said("warning", "fin")],
            [said("error", "fin"), said("warning")],
            [said("error"), said("error", "fin")],
        ),
        # another name at the place replaces only what is less grave than it
        ([said("error")], [said("warning", "fin")], [said("error")]),
    ],
)
def test_the_graver_of_what_shortest_and_longest_waits_bring_is_told(
    shortest: list[Finding], longest: list[Finding], told: list[Finding]
) -> None:
    assert with_graver(shortest, longest) == told


def test_what_is_told_twice_of_a_side_is_still_found_after_doubles_are_gone() -> None:
    """Played for both sides and once more for one, a mistake is known by its number."""
    text = "\n".join(
        [
            "mirror t,o",
            "    servo ip:g pin B",
            "    cue b",
            "        ip to 6 4",
            "cue t",
            "    play b",
            "    in turn along t",
            "        play b",
            "",
        ]
    )
    found = load_text(Source("sides.cues", text)).findings
    told = [one.name for one in found]
    assert told == [*["missing-line"] * 3, "unknown-name", "unknown-pin", "syntax", "not-a-row"]
