"""A suggested change passes however the line was written: names, sums, speeds, limits, poses."""

from __future__ import annotations

import pytest

from seqlang.text.findings import Finding
from tests.seqlang import show_text
from tests.seqlang.show_text import LAMP, applied, checked, servo

JAW = {
    "travel": "2 deg to 55 deg",
    "rating": "0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6.0 V",
    "load": "100 g at 60 mm",
    "level": "at 10 deg",
}
FIN = {
    "pulse": "2100 us at -45 deg, 900 us at 45 deg",
    "travel": "-40 deg to 40 deg",
    "rating": "0.12 s/60deg, 3 kgf.cm, 1 A at 6.0 V",
    "load": "30 g at 50 mm",
}
POSES = """safe pose shut
    jaw 4 deg, fin 0 deg
pose wide
    jaw 70 deg, fin 20 deg
pose gape
    jaw 50 deg, fin 20 deg
"""


def show(body: str) -> str:
    return show_text.show(
        given="given hasty = 90 ms\ngiven far = 70 deg\n",
        feed="600 mm of 20 AWG",
        jaw=JAW,
        rig=(servo("fin", "PB2", FIN), LAMP),
        poses=POSES,
        cues={'test "Test"': f"{body}\n    pose shut in 3 s"},
        remote="button 1: go test\nstop button 2",
    )


def findings(text: str) -> list[Finding]:
    return [f for f in checked(text).findings if f.severity != "advice"]


@pytest.mark.parametrize(
    ("body", "name"),
    [
        ("    jaw to 50 deg in hasty", "servo-speed"),
        ("    jaw to 50 deg in (hasty * 2)", "servo-speed"),
        ("    jaw to 50 deg in 0.1 s", "servo-speed"),
        ("    jaw to 50 deg in 0.002 min", "servo-speed"),
        ("    jaw to 50 deg at 2000 deg/s", "servo-speed"),
        ("    jaw to 50 deg at 0.02 s/60deg, cycloidal", "servo-speed"),
        ("    jaw to 50 deg within 2000 deg/s, 90000 deg/s2, 900000 deg/s3", "servo-speed"),
        ("    jaw to 50 deg in 100 ms, trapezoid 1/3", "servo-speed"),
        ("    jaw to 50 deg in 100 ms, double-S 1/3, 1/5", "servo-speed"),
        ("    jaw to 50 deg, fin to 30 deg in 100 ms", "servo-speed"),
        ("    pose gape in 90 ms", "servo-speed"),
        (
            "    stagger 50 ms\n        jaw to 50 deg in 90 ms\n        fin to 9 deg in 1 s",
            "servo-speed",
        ),
        (
            "    repeat 2 times\n        jaw to 50 deg in 2 s\n        jaw to 4 deg in 90 ms",
            "servo-speed",
        ),
        ("    jaw to far in 2 s", "target-outside-travel"),
        ("    jaw to 1.2 rad in 2 s", "target-outside-travel"),
        ("    jaw to -3.5 deg in 2 s", "target-outside-travel"),
        ("    jaw to (far + 2 deg) in 2 s", "target-outside-travel"),
        ("    pose wide in 2 s", "target-outside-travel"),
        ("    lure fade to 50% in 2 min", "duration-too-long"),
        ("    jaw to 50 deg in 0.1 h", "duration-too-long"),
        ("    jaw to 50 deg at 0.5 deg/s", "duration-too-long"),
        ("    jaw to 50 deg at 100 s/60deg, cycloidal", "duration-too-long"),
        ("    jaw to 50 deg within 0.5 deg/s, 90 deg/s2, 900 deg/s3", "duration-too-long"),
        (
            "    together\n        jaw to 50 deg in 1 s\n        in turn\n"
            "            hold 300 ms\n            jaw to 9 deg in 1 s",
            "output-driven-twice",
        ),
        (
            "    together\n        pose gape in 1 s\n        fin to 9 deg in 1 s",
            "output-driven-twice",
        ),
        (
            "    stagger 200 ms\n        jaw to 50 deg in 1 s\n        jaw to 9 deg in 1 s",
            "output-driven-twice",
        ),
        (
            "    repeat 20 times\n        lure cut to 100%\n        hold 60 ms\n"
            "        lure cut to 0%\n        hold 60 ms",
            "general-flash",
        ),
        (
            "    lure fade to 100% in 1 s\n    lure run every 100 ms\n    hold 4 s\n"
            "    lure steady",
            "general-flash",
        ),
    ],
)
def test_the_suggested_change_passes(body: str, name: str) -> None:
    text = show(body)
    found = [f for f in findings(text) if f.name == name]
    assert found, [f.message for f in findings(text)]
    for _ in range(len(found)):
        left = [f for f in findings(text) if f.name == name]
        if left:  # one number for two parts may have mended both
            text = applied(text, left[0])
    assert [f.name for f in findings(text)] == [], text


@pytest.mark.parametrize("line", ["stop in 10 s", "lost 1 min: go test"])
def test_a_time_of_the_remote_that_a_table_cannot_say_is_cut_to_what_it_can(line: str) -> None:
    text = show("    jaw to 50 deg in 1 s") + f"    {line}\n"
    found = findings(text)
    assert [f.name for f in found] == ["duration-too-long"]
    assert findings(applied(text, found[0])) == []


def test_one_duration_for_two_parts_is_made_long_enough_for_both() -> None:
    text = show("    jaw to 50 deg, fin to 30 deg in 100 ms")
    speeds = [f for f in findings(text) if f.name == "servo-speed"]
    assert len(speeds) == 2
    spans = {f.fix.span for f in speeds if f.fix is not None}
    assert len(spans) == 1


def test_a_tab_indented_show_is_mended_with_tabs() -> None:
    body = "\ttogether\n\t\tjaw to 50 deg in 1 s\n\t\tjaw to 9 deg in 1 s"
    text = show(body.expandtabs(4)).replace("    ", "\t")
    finding = next(f for f in findings(text) if f.name == "output-driven-twice")
    assert finding.fix is not None
    assert "\t" in finding.fix.text
    assert "    " not in finding.fix.text
    assert findings(applied(text, finding)) == []


def test_a_move_that_no_duration_makes_possible_gets_a_reason_and_no_number() -> None:
    text = show("    jaw to 50 deg in 1 s").replace("100 g at 60 mm", "900 g at 200 mm")
    torques = [f for f in findings(text) if f.name == "servo-torque"]
    assert torques
    for finding in torques:
        assert finding.fix is None
        assert finding.help is not None
        assert "no duration passes" in finding.help


def test_the_same_move_from_two_places_is_one_finding() -> None:
    body = "    jaw to 50 deg in 90 ms\n    hold 1 s"
    found = [f for f in findings(show(body)) if f.name == "servo-speed"]
    assert len(found) == 1
    assert found[0].related[0][1] == "`jaw` comes from 4 deg, set here"
