"""Gestures: what a play of one does, what is told of its values and where, and what is stored."""

from __future__ import annotations

from pathlib import Path

import pytest
from rig_text import RIG, loaded, names, with_rig

import seqlang
from seqlang.check import check
from seqlang.loading import Loaded
from seqlang.meaning.write_show import without_marks
from seqlang.text.findings import applied
from seqlang.text.format import formatted
from seqlang.text.indentation import MOST_NESTED
from seqlang.text.source import Source
from sim.model import Fade, Move, Step, StripLight
from sim.score.tree import acts

CURL = (
    "gesture curl: part servo, reach 40 deg, beat time",
    "    part to reach in beat",
    "    part to (reach / 4) in (2 * beat)",
)


def played(*plays: str, gestures: tuple[str, ...] = CURL) -> Loaded:
    """The rig with gestures and a cue of these statements."""
    return with_rig(*gestures, "cue act", *(f"    {play}" for play in plays))


def steps(found: Loaded, cue: str = "act") -> list[Step]:
    assert found.findings == (), [one.message for one in found.findings]
    assert found.show is not None
    return list(acts(next(c for c in found.show.score.cues if c.name == cue).body))


def moves(found: Loaded) -> list[tuple[str, float, int]]:
    return [(s.output, s.angle_deg, s.duration_ms) for s in steps(found) if isinstance(s, Move)]


# -- what it does --------------------------------------------------------------------------------


def test_a_play_puts_its_values_where_the_parameters_stand() -> None:
    found = played(
        "play curl, part jaw, beat 600 ms", "play curl, beat 1 s, reach 20 deg, part fin"
    )
    assert moves(found) == [
        *(("jaw", 40.0, 600), ("jaw", 10.0, 1200)),
        *(("fin", 20.0, 1000), ("fin", 5.0, 2000)),
    ]


def test_a_play_is_what_its_statements_written_out_are() -> None:
    short = played("repeat 2 times", "    play curl, part jaw, beat 600 ms", "hold 1 s")
    written = with_rig(
        *("cue act", "    repeat 2 times", "        in turn"),
        *("            jaw to 40 deg in 600 ms", "            jaw to 10 deg in 1200 ms"),
        "    hold 1 s",
    )
    assert without_marks(short.show) == without_marks(written.show)


def test_a_gesture_plays_another_with_its_own_parameters_for_values() -> None:
    both = (
        *CURL,
        "gesture both: beat 500 ms, far 30 deg",
        "    together",
        "        play curl, part jaw, beat beat, reach far",
        "        play curl, part fin, beat (beat * 2), reach (far / 2)",
    )
    found = played("play both", gestures=both)
    assert moves(found) == [
        *(("jaw", 30.0, 500), ("jaw", 7.5, 1000)),
        *(("fin", 15.0, 1000), ("fin", 3.75, 2000)),
    ]


def test_an_output_goes_on_through_several_gestures() -> None:
    twice = (*CURL, "gesture twice: which servo", "    play curl, part which, beat 300 ms")
    assert [m[0] for m in moves(played("play twice, which fin", gestures=twice))] == ["fin"] * 2


def test_a_parameter_hides_a_constant_and_an_output_of_its_name() -> None:
    hiding = (
        "given beat = 9 s",
        "gesture curl: jaw servo, beat 400 ms",
        "    jaw to 9 deg in beat",
    )
    found = played("play curl, jaw fin", "jaw to 5 deg in beat", gestures=hiding)
    assert moves(found) == [("fin", 9.0, 400), ("jaw", 5.0, 9000)]


def test_a_gesture_does_not_see_the_parameters_of_the_one_that_plays_it() -> None:
    inner = ("gesture inner", "    jaw to 9 deg in beat", "gesture outer: beat 400 ms")
    found = played("play outer", gestures=(*inner, "    play inner"))
    assert [one.name for one in found.findings] == ["unknown-name"]


def test_colours_levels_and_laws_shares_are_values_as_well() -> None:
    glow = (
        "gesture glow: which strip, tint orange, level 60 %, share number",
        "    which fade to tint level in 1 s, trapezoid share",
    )
    found = played(
        "play glow, which belly, share 0.25",
        "play glow, which belly, tint #0000ff, level 5 %, share (1 / 2)",
        gestures=glow,
    )
    fades = [one for one in steps(found) if isinstance(one, Fade)]
    assert [(fade.light, fade.law.alpha) for fade in fades] == [
        (StripLight((255, 165, 0), 60.0), 0.25),
        (StripLight((0, 0, 255), 5.0), 0.5),
    ]


def test_a_default_may_be_a_constant_a_sum_an_output_or_a_colour_that_has_a_name() -> None:
    lines = (
        *("given beat = 400 ms", "given glow = #102030"),
        "gesture all: part fin, time beat, far (10 deg * 2), tint glow",
        "    part to far in time",
        "    belly fade to tint in time",
    )
    assert moves(played("play all", gestures=lines)) == [("fin", 20.0, 400)]


def test_where_a_gesture_starts_is_known_from_what_stands_before_it() -> None:
    flick = ("gesture flick: part servo", "    part to 50 deg at 50 deg/s, uniform")
    found = played(
        *("jaw to 0 deg in 1 s", "play flick, part jaw", "jaw to 25 deg in 1 s"),
        "play flick, part jaw",
        gestures=flick,
    )
    assert [m[2] for m in moves(found)] == [1000, 1000, 1000, 500]


def test_repeats_in_a_gesture_know_where_each_play_of_it_leaves_the_parts() -> None:
    swing = (
        "gesture swing: part servo, far angle",
        "    repeat 3 times",
        "        part to 0 deg at 50 deg/s, uniform",
        "        part to far in 1 s",
    )
    found = played(
        *("jaw and fin to 0 deg in 1 s", "play swing, part jaw, far 50 deg"),
        "play swing, part fin, far 25 deg",
        gestures=swing,
    )
    lasts = {m[0]: m[2] for m in moves(found) if (m[1] == 0.0 and m[2] != 1000) or m[2] == 500}
    assert lasts.get("fin") == 500
    assert [m[2] for m in moves(found) if m[0] == "jaw" and m[1] == 0.0][-1] == 1000


def test_the_clock_of_a_gesture_starts_with_it() -> None:
    timed = ("gesture timed", "    at 500 ms", "    jaw to 9 deg in 1 s")
    found = played("hold 2 s", "play timed", "at 3600 ms", "hold 1 s", gestures=timed)
    assert found.findings == ()
    late = played("hold 2 s", "play timed", "at 3400 ms", "hold 1 s", gestures=timed)
    assert [one.name for one in late.findings] == ["behind-time"]


# -- what is wrong -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("play", "name", "marked", "message", "hint"),
    [
        (
            "play curl, part jaw",
            "missing-value",
            "play curl, part jaw",
            "needs `beat`, a time",
            "beat",
        ),
        (
            "play curl",
            "missing-value",
            "play curl",
            "`part`, a servo and `beat`, a time",
            "part NAME",
        ),
        ("play curl, part jaw, beat 3", "missing-unit", "3", "a time is needed", "ms"),
        ("play curl, part jaw, beat 3 deg", "unit-mismatch", "3 deg", "is an angle", "`ms`"),
        ("play curl, part jaw, beat #ff0000", "wrong-kind", "#ff0000", "a time, not a colour", ""),
        ("play curl, part lure, beat 1 s", "wrong-kind", "lure", "`lure` is a lamp", "jaw"),
        ("play curl, part 3 s, beat 1 s", "wrong-kind", "3 s", "is a servo, not", "an output"),
        ("play curl, part jwa, beat 1 s", "unknown-name", "jwa", "no output `jwa`", "`jaw`"),
        ("play curl, prat jaw, beat 1 s", "unknown-name", "prat", "no parameter `prat`", "`part`"),
        ("play curl, x 1 s", "unknown-name", "x", "no parameter `x`", "`part`, `reach`, `beat`"),
        ("play curl, part jaw, beat 1 s, beat 2 s", "duplicate-line", "beat 2 s", "twice", "keep"),
        ("play curll, part jaw", "unknown-name", "curll", "no cue or gesture `curll`", "`curl`"),
        ("play curl, part jaw, beat 99 h", "number-out-of-range", "beat", "at most", ""),
    ],
)
def test_a_value_that_does_not_fit_is_told_at_the_play(
    play: str, name: str, marked: str, message: str, hint: str
) -> None:
    found = played(play)
    first = next(one for one in found.findings if one.name == name)
    text = found.sources["test.cues"].text
    assert text[first.span.start : first.span.end] == marked
    assert message in first.message
    assert hint in (first.help or "")


def test_a_cue_takes_no_values_and_what_starts_cues_starts_no_gesture() -> None:
    found = with_rig(
        *CURL, "cue rest", "    hold 1 s", "cue act", "    play rest, beat 1 s", "idle: go curl"
    )
    messages = [one.message for one in found.findings if one.severity == "error"]
    assert any("a cue takes no values" in message for message in messages)
    assert any("curl is a gesture" in message for message in messages)


def test_a_gesture_and_a_cue_cannot_share_a_name_nor_two_parameters_one() -> None:
    twice = with_rig("gesture act", "    hold 1 s", "cue act", "    hold 1 s")
    assert "duplicate-name" in names(twice)
    found = played("play a", gestures=("gesture a: b 3 s, b 4 s", "    hold b"))
    assert "duplicate-name" in names(found)
    found = played("play a", gestures=("gesture a: run 3 s", "    hold 1 s"))
    assert "reserved-word" in names(found)


def test_a_slip_in_the_word_for_a_kind_is_told_once() -> None:
    found = played("play a, b jaw", gestures=("gesture a: b servoo", "    b to 3 deg in 1 s"))
    (one,) = [one for one in found.findings if one.severity == "error"]
    assert "did you mean `servo`?" in (one.help or "")


@pytest.mark.parametrize(
    "gestures",
    [
        ("gesture a", "    play a"),
        ("gesture a", "    play b", "gesture b", "    play a"),
        ("gesture a: x servo", "    play b, x x", "gesture b: x servo", "    play a, x x"),
        ("gesture a", "    play c", "cue c", "    play a"),
    ],
)
def test_what_would_never_end_is_told_once_and_ends(gestures: tuple[str, ...]) -> None:
    call = "play a, x jaw" if ": x" in gestures[0] else "play a"
    found = played(call, gestures=gestures)
    assert [one.name for one in found.findings if one.severity == "error"] == ["cue-calls-itself"]


@pytest.mark.parametrize("over", [0, 1])
def test_gestures_nest_as_deep_as_blocks_may_and_no_deeper(over: int) -> None:
    depth = MOST_NESTED + over
    lines = [f"gesture g{n}\n    play g{n + 1}" for n in range(1, depth)]
    lines.append(f"gesture g{depth}\n    hold 1 s")
    found = played("play g1", gestures=tuple("\n".join(lines).split("\n")))
    assert ("nested-too-deep" in names(found)) is bool(over)


def test_gestures_that_play_one_another_many_times_end_at_the_limit_of_steps() -> None:
    lines = []
    for n in range(1, 20):
        lines += [f"gesture g{n}", *[f"    play g{n + 1}"] * 4]
    found = played("play g1", gestures=(*lines, "gesture g20", "    hold 1 s"))
    assert "cue-too-long" in names(found)


@pytest.mark.parametrize("sum_", ["n * n", "n * n / 7", "1 / (n * n * n)"])
def test_values_do_not_grow_without_end_from_play_to_play(sum_: str) -> None:
    """Each of 20 plays doubles or triples the digits of an exact value: millions of them."""
    lines = []
    for n in range(1, 20):
        lines += [f"gesture g{n}: n number", f"    play g{n + 1}, n ({sum_})"]
    last = ("gesture g20: n number", "    hold (1 s + 0 s * n)")
    found = played("play g1, n (1 / 3)", gestures=(*lines, *last))
    assert set(names(found)) <= {"number-out-of-range", "division-by-zero"}
    found = played("play g1, n 3", gestures=(*lines, *last))
    assert set(names(found)) <= {"number-out-of-range", "division-by-zero"}


def test_an_error_in_a_gesture_is_told_once_with_the_first_play_that_led_there() -> None:
    wrong = (*CURL, "    jwa to 3 deg in 1 s")
    found = played(*["play curl, part jaw, beat 1 s"] * 3, gestures=wrong)
    (one,) = found.findings
    (way,) = one.trail
    assert way.words == "in the gesture `curl`, played here"
    assert way.span is not None
    text = found.sources["test.cues"].text
    assert text[way.span.start : way.span.end] == "play curl, part jaw, beat 1 s"
    assert way.span.start == text.index("play curl")


def test_a_gesture_that_nothing_plays_is_told_as_not_checked() -> None:
    found = played(
        "hold 1 s", gestures=(*CURL, "gesture deep", "    play curl, part jaw, beat 1 s")
    )
    told = {one.message.split("`")[1]: one.severity for one in found.findings}
    assert told == {"curl": "advice", "deep": "advice"}


# -- checks, remedies, tables --------------------------------------------------------------------


def errors(text: str) -> list[seqlang.python_use.Finding]:
    return [one for one in check(loaded(text)).findings if one.severity == "error"]


def test_a_remedy_for_a_value_is_made_at_the_play_and_leaves_the_others() -> None:
    text = RIG + "\n".join(
        (
            *CURL,
            "cue act",
            "    play curl, part jaw, beat 20 ms",
            "    play curl, part jaw, beat 1 s",
            "idle: go act\n",
        )
    )
    for _ in range(4):
        found = [one for one in errors(text) if one.fix is not None]
        if not found:
            break
        assert found[0].trail
        assert found[0].fix is not None
        text = applied(text, found[0].fix)
    assert errors(text) == []
    assert "beat 1 s" in text
    assert "in beat\n" in text
    assert "in (2 * beat)" in text
    assert "beat 20 ms" not in text


def test_a_remedy_for_a_default_is_stated_at_the_play_that_needs_it() -> None:
    text = RIG + (
        "gesture nod: beat 20 ms\n    jaw to 40 deg in beat\n    jaw to 0 deg in 1 s\n"
        "cue act\n    play nod\nidle: go act\n"
    )
    first = next(one for one in errors(text) if one.fix is not None)
    assert first.fix is not None
    mended = applied(text, first.fix)
    assert "    play nod, beat " in mended
    assert "gesture nod: beat 20 ms" in mended
    assert errors(mended) == []


def test_two_plays_of_a_gesture_are_stored_once() -> None:
    def bytes_of(plays: int) -> int:
        lines = ["    play curl, part jaw, beat 900 ms", "    hold 1 s"] * plays
        remote = ("remote", "    button 1: go act", "    stop button 2")
        gesture = (*CURL, "    part to 30 deg in 800 ms", "    part to 0 deg in 700 ms")
        show = seqlang.load_string(RIG + "\n".join((*gesture, "cue act", *lines, *remote, "")))
        assert show.passes, show.report()
        return sum(map(len, show.tables.values()))

    one, two, three = map(bytes_of, (1, 2, 3))
    assert three - two <= 5  # a call of three bytes, and the hold
    assert two - one <= 12  # and, once, what a body of its own needs


def test_plays_are_laid_out_as_other_statements() -> None:
    text = "gesture  a :  b   3s ,c servo\n   hold   b\ncue d\n   play a ,b 4s,  c  jaw\n"
    made = formatted(Source("x.cues", text))
    assert made.findings == ()
    assert made.text == (
        "gesture a: b 3 s, c servo\n    hold b\n\ncue d\n    play a, b 4 s, c jaw\n"
    )


def test_a_gesture_may_be_given_below_its_use_and_in_another_file(tmp_path: Path) -> None:
    assert played("hold 1 s").show is not None
    below = with_rig("cue act", "    play curl, part jaw, beat 1 s", *CURL)
    assert below.findings == ()
    (tmp_path / "moves.cues").write_text("\n".join(CURL) + "\n    jwa to 3 deg in 1 s\n")
    main = tmp_path / "main.cues"
    main.write_text(RIG + 'include "moves.cues"\ncue act\n    play curl, part jaw, beat 1 s\n')
    (one,) = loaded(main.read_text(), str(main)).findings
    assert Path(one.span.path).name == "moves.cues"
    assert one.trail[0].span is not None
    assert Path(one.trail[0].span.path).name == "main.cues"


def test_a_play_along_a_row_is_for_the_thing_whose_turn_it_is() -> None:
    text = (
        "supply pack\n    source adapter 6 V, 5 A\n"
        "board box: atmega328p, address 1\n    feed pack\n"
        "row of 3\n    servo fin: box pin (PB1, PB2, PB3)\n"
        "        pulse 900 us at 0 deg, 2100 us at 90 deg\n        travel 0 deg to 60 deg\n"
        "        rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V\n"
        "gesture flick: fin servo, far 20 deg\n    fin to far in 1 s\n"
        "cue act\n    in turn along fin from the end\n"
        "        play flick, fin fin, far (10 deg, step 5 deg)\n"
        "    play flick, fin fin_2\n"
    )
    assert moves(loaded(text)) == [
        *(("fin_3", 20.0, 1000), ("fin_2", 15.0, 1000), ("fin_1", 10.0, 1000)),
        ("fin_2", 20.0, 1000),
    ]
