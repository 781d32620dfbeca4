"""Which of many starts and moves is named, and the duration that is suggested for all of them.

A servo of 400 deg/s (0.15 s/60deg) with a fifth kept in hand makes 60 deg by minimum jerk in
1.875 * 60 / 320 s = 351.6 ms (Cv = 15/8: Flash and Hogan 1985), 30 deg in half of that.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Move
from sim.score.tree import acts
from tests.seqlang.show_text import applied, findings, show

SAG = (Path(__file__).parents[2] / "findings" / "voltage-sag.cues").read_text()


def moving(cues: str | Mapping[str, str], supply: str | None = None, **jaw: str | None) -> str:
    """A jaw that carries nothing; one cue, or several with a button each."""
    bodies = {"snap": cues} if isinstance(cues, str) else cues
    buttons = "".join(f"button {n}: go {name}\n" for n, name in enumerate(bodies, 1))
    return show(
        jaw={"load": None, **jaw},
        cues=bodies,
        supply=supply,
        remote=f"{buttons}stop button {len(bodies) + 1}",
    )


BACK = {"peep": "jaw to 30 deg in 2 s", "back": "jaw to 0 deg in 2 s"}


@pytest.mark.parametrize("first", [True, False])
def test_of_all_starts_the_longest_way_is_named_and_decides(first: bool) -> None:
    """From 0 and from 30 deg, in whichever order the cues stand."""
    snap = {"snap": "jaw to 60 deg in 150 ms"}
    text = moving({**snap, **BACK} if first else {**BACK, **snap})
    (one,) = findings(text, "servo-speed")
    assert one.asked == pytest.approx(1.875 * 60 / 0.15)
    assert one.label == "60 deg in 150 ms"
    assert one.fix is not None
    assert one.fix.text == "352 ms"
    assert [words for _, words in one.related] == ["`jaw` comes from 0 deg, set here"]


def test_a_start_that_another_cue_sets_is_pointed_at() -> None:
    """The farther start, 60 deg, is where `peep` leaves the part; the safe pose is at 20 deg."""
    cues = {"snap": "jaw to 0 deg in 200 ms", "peep": "jaw to 60 deg in 2 s"}
    text = moving(cues).replace("cue snap", "safe pose low\n    jaw 20 deg\ncue snap", 1)
    (one,) = findings(text, "servo-speed")
    ((span, words),) = one.related
    assert words == "`jaw` comes from 60 deg, set here"
    assert text[span.start :].startswith("jaw to 60 deg")


def test_the_safe_pose_is_pointed_at_only_by_a_move_that_starts_in_it() -> None:
    """The second move starts at the safe angle as well, where the move before it ended."""
    body = "jaw to 20 deg in 2 s\njaw to 60 deg in 100 ms\njaw to 20 deg in 2 s"
    text = moving(body).replace("cue snap", "safe pose low\n    jaw 20 deg\ncue snap", 1)
    (one,) = findings(text, "servo-speed")
    ((span, _),) = one.related
    assert text[span.start :].startswith("jaw to 20 deg in 2 s\n    jaw to 60")


def test_only_the_first_fifty_failing_moves_get_a_computed_duration() -> None:
    """More would make a check of a hopeless show slow; the rest are named without."""
    twice = "jaw to 60 deg in 100 ms\njaw to 0 deg in 100 ms\n"
    found = findings(moving((26 * twice).rstrip()), "servo-speed")
    assert len(found) == 52
    assert [one.fix is not None for one in found] == [True] * 50 + [False] * 2
    assert found[-1].help is not None
    assert found[-1].help.startswith("give it more time")


def test_a_load_that_takes_all_the_torque_leaves_no_speed() -> None:
    """850 g at 100 mm are 0.834 N.m; at that torque nothing of 80 % is left. Never less than 0."""
    found = findings(
        moving("jaw to 10 deg in 40 ms\njaw to 0 deg in 3 s", load="85 g at 1 mm", spring=None)
    )
    (one,) = [each for each in found if each.name == "servo-speed"]
    assert one.limit == pytest.approx(320, rel=1e-2)
    heavy = moving(
        "jaw to 60 deg in 90 ms\njaw to 0 deg in 3 s", load="850 g at 100 mm", level="at 30 deg"
    )
    for each in findings(heavy):
        if each.name in ("servo-speed", "servo-torque"):
            assert each.limit is not None
            assert each.limit >= 0


@pytest.mark.parametrize(("gear", "cv_ms"), [("1", 352), ("2", 704), ("0.5", 176)])
def test_a_law_within_limits_is_rewritten_to_one_of_minimum_jerk(gear: str, cv_ms: int) -> None:
    body = "jaw to 60 deg within 2000 deg/s, 90000 deg/s2, 900000 deg/s3\njaw to 0 deg in 3 s"
    text = moving(body, gear=gear)
    (one,) = findings(text, "servo-speed")
    assert one.fix is not None
    assert one.fix.text == f"in {cv_ms} ms"
    assert findings(applied(text, one), "servo-speed") == []


# -- at the voltage that the rest of the show leaves ----------------------------------------------


def in_time(duration_ms: int, text: str = SAG) -> str:
    return text.replace("in 379 ms", f"in {duration_ms} ms")


def grave(text: str) -> set[str]:
    return {one.name for one in findings(text) if one.severity != "advice"}


def least_ms(text: str) -> int:
    (one,) = [each for each in findings(text) if each.message.startswith("`jaw` must")]
    assert one.name == "servo-speed"
    assert one.fix is not None
    return int(one.fix.text.removesuffix(" ms"))


def test_the_duration_suggested_passes_beside_the_other_parts_and_no_shorter_one() -> None:
    """Alone 379 ms pass: the fin on the same long wire takes voltage."""
    least = least_ms(in_time(200))
    assert least > 379
    assert grave(in_time(least)) == set()
    assert grave(in_time(least - 1)) == {"voltage-sag"}
    alone = in_time(200).replace("button 3: go flap\n", "").replace("    fin to", "    # fin to")
    assert least_ms(alone.replace("cue flap", "cue flap\n    hold 1 s\n    #", 1)) < least


def test_a_move_that_no_duration_mends_does_not_count_for_the_others() -> None:
    """The fin's weight holds at 60 to 55 deg, and nothing lifts it from level."""
    high = SAG.replace(
        "200 g at 120 mm\n    level at 10 deg", "1 kg at 120 mm\n    level at -30 deg"
    )
    high = high.replace("fin 4 deg", "fin 50 deg").replace("fin to 4 deg", "fin to 54 deg")
    calm = least_ms(in_time(200, high))
    down = high.replace("button 3", "button 4: go drop\n    button 3").replace(
        "cue flap", "cue drop\n    fin to 3 deg in 400 ms\n\ncue flap", 1
    )
    torques = findings(in_time(200, down), "servo-torque")
    assert any((one.help or "").startswith("no duration passes: ") for one in torques)
    assert least_ms(in_time(200, down)) == calm


def test_where_no_time_passes_beside_the_others_the_one_that_passes_alone_is_told() -> None:
    """840 g at 80 mm are 0.659 N.m, a little more than it has at the lowest voltage of the show."""
    heavy = in_time(300, SAG.replace("140 g at 80 mm", "840 g at 80 mm"))
    calm = heavy.replace("    button 3: go flap\n", "")
    (alone,) = [one for one in findings(calm, "servo-torque") if "`jaw`" in one.message][:1]
    (beside,) = [one for one in findings(heavy, "servo-torque") if "`jaw`" in one.message][:1]
    assert alone.fix is not None
    assert beside.fix == alone.fix


def test_a_move_whose_time_is_computed_takes_what_passes_where_other_parts_take_voltage() -> None:
    """The same that the finding of a time that is too short suggests."""
    soonest = SAG.replace("jaw to 50 deg in 379 ms", "jaw to 50 deg as fast as it can")
    assert findings(soonest, "voltage-sag") == []
    show = load_text(Source("test.cues", soonest)).show
    assert show is not None
    (move,) = (m for m in acts(show.score.cues[0].body) if isinstance(m, Move) and m.angle_deg > 40)
    assert move.duration_ms == least_ms(in_time(200))


# -- a jump of speed ------------------------------------------------------------------------------


def jumped(duration_ms: int, grams: int = 178) -> str:
    body = f"jaw to 60 deg in {duration_ms} ms, uniform\njaw to 0 deg in 3 s"
    return moving(body, load=f"{grams} g at 100 mm", level="at -50 deg")


def test_a_softer_law_is_only_suggested_where_the_servo_keeps_up_with_it() -> None:
    """60 deg in 360 ms are 167 deg/s; by minimum jerk 312 deg/s, nearly all of the 320."""
    (quick,) = findings(jumped(360), "speed-jump")
    assert quick.fix is None
    (slow,) = findings(jumped(400), "speed-jump")
    assert slow.fix is not None
    text = applied(jumped(400), slow)
    assert "in 400 ms, 3-4-5" in text
    assert findings(text, "speed-jump") == []
    assert "servo-speed" not in grave(text)


def test_a_jump_takes_the_torque_of_its_inertia_within_a_frame() -> None:
    """0.178 kg on 0.1 m brought to 60 deg / 0.4 s within 20 ms."""
    (one,) = findings(jumped(400), "speed-jump")
    inertia, speed = 0.178 * 0.1**2, 60 / 0.4 / 57.29578
    # what the weight pulls with meanwhile, at its slowest, is not part of the jump
    assert one.asked == pytest.approx(100 * inertia * speed / 0.020 / 0.980665, rel=0.03)
    assert one.limit == 20


def test_a_move_that_fails_is_not_also_told_that_it_jumps() -> None:
    """At 350 ms the jump asks for more than the servo has (`test_a_softer_law_...`)."""
    found = {one.name for one in findings(jumped(350))}
    assert "servo-speed" in found
    assert "speed-jump" not in found


def test_a_soft_law_does_not_jump_however_much_its_inertia_takes() -> None:
    """0.01 kg m2 about its dead point: minimum jerk takes 10/sqrt(3) * 20 deg / (0.2 s)**2 of it,
    a quarter of 20 kgf.cm (1.96 N.m); an even speed that is there within 20 ms nearly a half."""
    text = moving(
        "jaw to 20 deg in 200 ms\njaw to 0 deg in 3 s",
        load="1 kg at 100 mm",
        level="at -80 deg",
        rating="0.08 s/60deg, 20 kgf.cm, 9 A at 6.0 V",
    )
    assert not [one for one in findings(text) if one.severity == "error"]
    assert findings(text, "speed-jump") == []
    (one,) = findings(text.replace("in 200 ms", "in 200 ms, uniform"), "speed-jump")
    speed = 20 / 0.2 / 57.29578
    assert one.asked == pytest.approx(100 * 0.01 * speed / 0.020 / 1.96133, rel=0.05)
