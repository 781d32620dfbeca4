"""Strands of idle: no output belongs to two, and a board has room for seven (TABLE.md, 1.3)."""

from __future__ import annotations

from tests.seqlang.show_text import SNAP, findings, show

PINS = ("PB2", "PB3", "PB4", "PB5", "PC0", "PC1", "PC2", "PC3")
SWITCHES = "".join(f"switch w{n}: body pin {pin}\n" for n, pin in enumerate(PINS))


def beat(*outputs: str) -> str:
    lines = "".join(f"    {name} on\n    hold 1 s\n    {name} off\n" for name in outputs)
    return f"repeat for ever\n{lines}    hold 1 s"


def strands(count: int) -> str:
    cues = {f"s{n}": beat(f"w{n}") for n in range(count)}
    return show(rig=SWITCHES, cues={"snap": SNAP, **cues}, score=f"idle: go {', '.join(cues)}\n")


def test_idle_has_seven_strands_and_not_eight() -> None:
    assert findings(strands(7), "strands-clash") == []
    (one,) = findings(strands(8), "strands-clash")
    assert (one.asked, one.limit) == (8, 7)
    assert one.message == "idle has 8 strands, and a board plays 7"


def test_each_output_belongs_to_one_strand() -> None:
    cues = {"snap": SNAP, "one": beat("w0", "w1"), "two": beat("w2"), "three": beat("w3", "w1")}
    text = show(rig=SWITCHES, cues=cues, score="idle: go one, two, three\n")
    (clash,) = findings(text, "strands-clash")
    assert clash.message == "strands `one` and `three` of idle both use `w1`"
    assert text[clash.span.start : clash.span.end] == "three"
    apart = show(rig=SWITCHES, cues=cues, score="idle: go one, two\n")
    assert findings(apart, "strands-clash") == []


def test_a_cue_has_the_threads_that_idle_leaves() -> None:
    """Ten threads; three strands keep one each."""

    def with_repeats(count: int) -> str:
        cues = {f"s{n}": beat(f"w{n}") for n in range(3)}
        blink = "".join(
            f"    repeat 2 times\n        x{n} on\n        hold 1 s\n        x{n} off\n"
            "        hold 1 s\n"
            for n in range(count)
        )
        rig = SWITCHES.split("switch w3")[0]
        pins = ("PB5", "PC0", "PC1", "PC2", "PC3", "PC4", "PC5", "PD2")
        rig += "".join(f"switch x{n}: body pin {pins[n]}\n" for n in range(count))
        return show(
            rig=rig,
            cues={"snap": SNAP, **cues, "burst": f"together\n{blink}".rstrip()},
            score="idle: go s0, s1, s2\n",
        )

    assert findings(with_repeats(7), "too-many-threads") == []
    (one,) = findings(with_repeats(8), "too-many-threads")
    assert one.message == "cue `burst` needs 8 threads, and a board has 10, 3 of which idle keeps"
    assert (one.asked, one.limit) == (8, 7)
