"""That the run time of a very long show is not worked out is told, not left out in silence."""

from __future__ import annotations

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source

RIG = """
supply pack
    source 2 li-ion cells, 2000 mAh
    regulator 6.0 V, 5 A
board body: atmega328p, address 1
    feed pack, 300 mm of 20 AWG
servo arm: body pin PB1
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 90 deg
    rating 0.17 s/60deg, 20 kgf.cm, 2.1 A at 6.0 V
    load 300 g at 100 mm
    level at 0 deg
safe pose up
    arm 90 deg
"""


@pytest.mark.parametrize(
    ("hold_s", "hours", "told"),
    [
        (596, 40, "lasts"),
        (597, 40, "is not worked out: the cues take 601 s together, and up to 600 s are"),
        # a pack that would last at the worst instant all the time needs no rehearsal
        (597, 1, None),
    ],
)
def test_a_show_that_is_too_long_to_rehearse_has_its_run_time_left_open(
    hold_s: int, hours: int, told: str | None
) -> None:
    cue = f"cue a\n    arm to 0 deg in 2 s\n    hold {hold_s} s\n    arm to 90 deg in 2 s\n"
    text = f"{RIG}{cue}usage\n    a 1 per hour\n    run time {hours} h\n"
    found = check(load_text(Source("t.cues", text))).findings
    mine = [one for one in found if one.name == "battery-short"]
    assert [one.severity for one in mine] == (
        [] if told is None else ["warning" if told == "lasts" else "advice"]
    )
    assert all(told in one.message for one in mine if told is not None)
    if hold_s == 597 and told is not None:
        assert (mine[0].asked, mine[0].limit, mine[0].unit) == (601.0, 600.0, "s")


def test_a_show_that_is_too_long_names_one_servo_that_may_get_hot_and_counts_the_others() -> None:
    """300 g at 100 mm, level while it works, are 0.29 N.m of a servo of 0.78 N.m: over a third."""
    arm = RIG[RIG.index("servo arm") : RIG.index("safe pose")].replace("20 kgf.cm", "8 kgf.cm")
    more = [
        arm.replace("servo arm", f"servo arm{n}").replace("PB1", pin)
        for n, pin in ((2, "PB2"), (3, "PC0"))
    ]
    head = RIG[: RIG.index("servo arm")]
    names = "arm and arm2 and arm3"
    rig = head + arm + "".join(more) + f"safe pose up\n    {names} 90 deg\n"
    to_and_fro = f"        {names} to 0 deg in 2 s\n        {names} to 90 deg in 2 s\n"
    cue = f"cue a\n    repeat 160 times\n{to_and_fro}"
    found = check(load_text(Source("t.cues", rig + cue))).findings
    (one,) = [each for each in found if each.name == "servo-heat" and each.severity == "advice"]
    assert one.message.startswith(
        "whether `arm` and 2 more gets too hot over minutes is not checked: the cues take "
    )
