"""Measured points put into a text: the servo gets them, and nothing else of the show changes."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqlang.calibration import (
    CalibrationRefusedError,
    Recalibrated,
    read_points,
    recalibrated,
    spliced,
)
from seqlang.loading import Loaded, load, load_string
from seqlang.text.findings import applied
from seqlang.text.indentation import decoded
from sim.model import Servo
from sim.rulebook import CALIBRATION_POINTS

SHOW = """\
show "Bench"                       # a comment before
given low = 900 us
supply desk
    source adapter 6 V, 3 A
board box: atmega328p, address 1
    feed desk, 300 mm of 22 AWG

servo flap: box pin PB1
    pulse   {points}   # measured last year
    {trim}travel  10 deg to 50 deg
    rating  0.17 s/60deg, 9 kgf.cm, 2 A at 6 V
cue wave
    flap to 50 deg in 900 ms
remote
    button 1: go wave
    stop button 2
"""
PLAIN = "1000 us at 0 deg, 2000 us at 90 deg"
MIRRORED = """\
show "Pair"
supply desk
    source adapter 6 V, 3 A
board box: atmega328p, address 1
    feed desk, 300 mm of 22 AWG
mirror left, right
    servo ear: box pin (left: PB1, right: PB2)
        pulse {points}
        {trim}travel 10 deg to 50 deg
        rating 0.17 s/60deg, 9 kgf.cm, 2 A at 6 V
cue wave
    ear to 50 deg in 900 ms
remote
    button 1: go wave
    stop button 2
"""


def show(points: str = PLAIN, trim: str = "", text: str = SHOW) -> Loaded:
    indent = 8 if text is MIRRORED else 4
    line = f"trim {trim}\n{' ' * indent}" if trim else ""
    return load_string(text.format(points=points, trim=line), "bench.cues")


def changed(loaded: Loaded, made: Recalibrated) -> str:
    text = loaded.sources["bench.cues"].text
    return text if made.fix is None else applied(text, made.fix)


def pulse_line(text: str) -> str:
    return next(line for line in text.splitlines() if line.split()[:1] == ["pulse"])


def put(loaded: Loaded, *points: str, servo: str = "flap") -> str:
    """The `pulse` line with these points; all other lines are held against the old ones."""
    text = changed(loaded, recalibrated(loaded, servo, read_points(points)))
    before = loaded.sources["bench.cues"].text
    others = [[x for x in each.splitlines() if x != pulse_line(each)] for each in (before, text)]
    assert others[0] == others[1]
    return pulse_line(text).strip()


def servo(loaded: Loaded, name: str) -> Servo:
    assert loaded.show is not None
    return next(
        one for one in loaded.show.rig.outputs if isinstance(one, Servo) and one.name == name
    )


def refused(loaded: Loaded, *points: str, servo: str = "flap") -> str:
    with pytest.raises(CalibrationRefusedError) as error:
        recalibrated(loaded, servo, read_points(points))
    return str(error.value)


# -- what is written ---------------------------------------------------------------------------


def test_only_the_numbers_change_and_spaces_and_comments_stay() -> None:
    line = put(
        show("1000 us   at 0 deg ,2000 us at   90 deg"), "1010 us at 2 deg, 1.99ms at 88 deg"
    )
    assert line == "pulse   1010 us   at 2 deg ,1.99 ms at   88 deg   # measured last year"


def test_a_number_that_is_right_already_stays_as_it_is_written() -> None:
    line = put(show("1 ms at 0 deg, 2000 us at 90 deg"), "1000 us at 0 deg, 2010 us at 90 deg")
    assert line.startswith("pulse   1 ms at 0 deg, 2010 us at 90 deg ")


def test_points_that_stand_there_change_nothing() -> None:
    loaded = show()
    assert recalibrated(loaded, "flap", read_points([PLAIN])).fix is None


def test_the_text_keeps_its_order_of_points() -> None:
    falling = show("2000 us at 90 deg, 1500 us at 45 deg, 1000 us at 0 deg")
    points = "1010 us at 0 deg, 1520 us at 45 deg, 2030 us at 90 deg"
    assert put(falling, points).startswith(
        "pulse   2030 us at 90 deg, 1520 us at 45 deg, 1010 us at 0 deg "
    )
    assert put(falling, "1010 us at 0 deg, 2030 us at 90 deg").startswith(
        "pulse   2030 us at 90 deg, 1010 us at 0 deg "
    )


@pytest.mark.parametrize("count", [2, 3, CALIBRATION_POINTS[-1]])
def test_points_come_and_go(count: int) -> None:
    points = ", ".join(f"{1000 + 100 * n} us at {10 * n} deg" for n in range(count))
    for old in (PLAIN, "1000 us at 0 deg, 1400 us at 40 deg, 1700 us at 60 deg, 2 ms at 90 deg"):
        assert put(show(old), points) == f"pulse   {points}   # measured last year"


def test_a_trim_is_taken_off_what_is_written() -> None:
    """The servo got the measured pulse; the text's numbers get the trim added to them."""
    loaded = show(trim="-12 us")
    assert put(loaded, "1000 us at 0 deg, 2000.5 us at 90 deg").startswith(
        "pulse   1012 us at 0 deg, 2012.5 us at 90 deg "
    )


def test_constants_and_sums_give_way_to_numbers() -> None:
    loaded = show("low at 0 deg, (low + 1 ms) at (45 deg * 2)", trim="(2 us + 3 us)")
    assert put(loaded, "1005 us at 1 deg, 1915 us at 90 deg").startswith(
        "pulse   1000 us at 1 deg, 1910 us at (45 deg * 2) "
    )


def test_a_part_along_a_line_is_measured_in_mm() -> None:
    text = SHOW.replace("10 deg to 50 deg", "10 mm to 50 mm").replace("to 50 deg", "to 50 mm")
    loaded = load_string(
        text.format(points="1000 us at 0 mm, 2000 us at 60 mm", trim="rack 38 mm per turn\n    "),
        "bench.cues",
    )
    assert put(loaded, "1000 us at 0 cm, 2000 us at 6.1 cm").startswith(
        "pulse   1000 us at 0 mm, 2000 us at 6.1 cm "
    )


def test_the_file_that_holds_the_servo_is_the_one_that_changes(tmp_path: Path) -> None:
    before, block, after = SHOW.format(points=PLAIN, trim="").partition("servo flap")
    rig, cue, score = (block + after).partition("cue wave")
    (tmp_path / "rig.cues").write_text(rig)
    (tmp_path / "main.cues").write_text(before + 'include "rig.cues"\n' + cue + score)
    loaded = load(tmp_path / "main.cues")
    made = recalibrated(loaded, "flap", read_points(["1010 us at 0 deg, 2000 us at 90 deg"]))
    assert made.fix is not None
    ((path, fix),) = made.fix.by_file.items()
    assert Path(path).name == "rig.cues"
    assert applied(rig, fix) == rig.replace("1000 us", "1010 us")


# -- like parts --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("side", "points", "line"),
    [
        (
            "left",
            "1010 us at 0 deg, 2000 us at 90 deg",
            "pulse (left: 1010 us, right: 2000 us) at 0 deg, 2000 us at 90 deg",
        ),
        (
            "right",
            "1980 us at 0 deg, 1000 us at 91 deg",
            "pulse (left: 1000 us, right: 1980 us) at 0 deg, "
            "2000 us at (left: 90 deg, right: 91 deg)",
        ),
    ],
)
def test_a_number_of_two_sides_becomes_one_for_each(side: str, points: str, line: str) -> None:
    """The other side keeps its pulse, which was the mirror image of what is written."""
    assert put(show(text=MIRRORED), points, servo=f"{side}_ear") == line


def test_each_side_keeps_its_trim() -> None:
    loaded = show(trim="(left: 12 us, right: -8 us)", text=MIRRORED)
    line = put(loaded, "1992 us at 0 deg, 1002 us at 90 deg", servo="right_ear")
    assert line == "pulse 1000 us at 0 deg, (left: 2000 us, right: 1010 us) at 90 deg"


def test_parts_not_mirrored_stay_so() -> None:
    loaded = show(PLAIN + ", not mirrored", text=MIRRORED)
    line = put(loaded, "1005 us at 0 deg, 2000 us at 90 deg", servo="right_ear")
    assert line == (
        "pulse (left: 1000 us, right: 1005 us) at 0 deg, 2000 us at 90 deg, not mirrored"
    )


def test_the_mirrored_side_may_be_measured_where_it_is() -> None:
    loaded = show(text=MIRRORED)
    points = read_points(["2000 us at 0 deg, 1000 us at 90 deg"])
    assert recalibrated(loaded, "right_ear", points).fix is None


def test_each_side_has_its_own_number_in_brackets() -> None:
    loaded = show(
        "(left: 1 ms, right: 2 ms) at 0 deg, "
        "(left: 2 ms, right: 1 ms) at (left: 90 deg, right: 91 deg)",
        "(left: 10 us, right: -10 us)",
        MIRRORED,
    )
    line = put(loaded, "1960 us at 0 deg, 1010 us at 92 deg", servo="right_ear")
    assert line == (
        "pulse (left: 1 ms, right: 1970 us) at 0 deg, "
        "(left: 2 ms, right: 1020 us) at (left: 90 deg, right: 92 deg)"
    )
    more = refused(loaded, "2 ms at 0 deg, 1.5 ms at 40 deg, 1 ms at 90 deg", servo="right_ear")
    assert "shares its line of 2 points with `left_ear`" in more


def row(points: str, block: str = "row of 3") -> Loaded:
    text = (
        MIRRORED.replace("mirror left, right", block)
        .replace("left: ", "")
        .replace("right: PB2", "PB2, PB3")
    )
    return show(points, text=text)


def test_a_number_of_a_row_becomes_one_for_each() -> None:
    line = put(row(PLAIN), "1000 us at 1 deg, 2011 us at 90 deg", servo="ear_2")
    assert line == ("pulse 1000 us at (0 deg, 1 deg, 0 deg), (2000 us, 2011 us, 2000 us) at 90 deg")
    steps = row("(1 ms, step 10 us) at 0 deg, 2 ms at 90 deg")
    line = put(steps, "1021 us at 0 deg, 2 ms at 90 deg", servo="ear_3")
    assert line == "pulse (1000 us, 1010 us, 1021 us) at 0 deg, 2 ms at 90 deg"


def test_where_brackets_would_stand_in_brackets_it_is_refused() -> None:
    text = MIRRORED.replace("        ", "            ").replace(
        "    servo ear: box pin (left: PB1, right: PB2)",
        "    row of 2\n        servo ear: box pin (left: (PB1, PB2), right: (PB3, PD3))",
    )
    one_for_all = show(text=text)
    for_sides = show("(left: 1 ms, right: 2 ms) at 0 deg, 2 ms at 90 deg", text=text)
    for loaded in (one_for_all, for_sides):
        assert not [finding for finding in loaded.findings if finding.severity == "error"]
        words = refused(loaded, "1010 us at 0 deg, 2000 us at 90 deg", servo="left_ear_1")
        assert "holds for `left_ear_2`" in words
        assert "values in brackets cannot stand there" in words


# -- points that are none ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["", "1000 us", "1000 at 0 deg", "1000 us at 0", "0 deg at 1000 us", "1 V at 0 deg", "a at b",
     "1000 us at 0 deg 3", "1000 us at 0 V", "1,000 us at 0 deg", "nan us at 0 deg"],
)  # fmt: skip
def test_what_is_no_point_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(CalibrationRefusedError, match="is not a point: write"):
        read_points([text])


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ("1 ms at 0 deg, 2 ms at 90 deg, 1.9 ms at 95 deg", "must all rise or all fall"),
        ("1 ms at 0 deg, 1 ms at 90 deg", "must all rise or all fall"),
        ("1 ms at 0 deg, 2 ms at 0 deg", "at the same place"),
        ("1 ms at 0 deg, 2 ms at 90 mm", "measure different things"),
        (", ".join(f"{1000 + n} us at {n} deg" for n in range(9)), "at most 8"),
    ],
)
def test_points_that_contradict_each_other_are_refused(points: str, words: str) -> None:
    with pytest.raises(CalibrationRefusedError, match=words):
        read_points([points])


def test_one_point_is_no_way_and_a_length_is_no_angle() -> None:
    assert "is one point, and a calibration needs two" in refused(show(), "1000 us at 0 deg")
    for equal in ("1000 us at 0 mm, 2000 us at 90 mm", "1000 us at 0 mm, 2010 us at 90 mm"):
        assert "is a length" in refused(show(), equal)
    assert "300 us" in refused(show(), "300 us at 0 deg, 2 ms at 90 deg")


# -- whatever the text and the points ----------------------------------------------------------

WIDTHS = st.integers(500 * 2 + 400, 2500 * 2 - 400).map(lambda halves: Fraction(halves, 2))
ANGLES = st.integers(-32000, 32000).map(lambda hundredths: Fraction(hundredths, 100))


@st.composite
def points_of_a_servo(draw: st.DrawFn) -> list[tuple[Fraction, Fraction]]:
    count = draw(st.integers(2, CALIBRATION_POINTS[-1]))
    widths = sorted(draw(st.lists(WIDTHS, min_size=count, max_size=count, unique=True)))
    angles = sorted(draw(st.lists(ANGLES, min_size=count, max_size=count, unique=True)))
    if draw(st.booleans()):
        widths.reverse()
    return list(zip(widths, angles, strict=True))


def written(points: list[tuple[Fraction, Fraction]]) -> str:
    return ", ".join(f"{float(width):g} us at {float(angle):g} deg" for width, angle in points)


@settings(deadline=None, max_examples=40)
@given(points_of_a_servo(), points_of_a_servo(), st.integers(-200, 200), st.booleans())
def test_any_points_are_read_back_and_the_old_ones_bring_the_old_text_back(
    old: list[tuple[Fraction, Fraction]],
    new: list[tuple[Fraction, Fraction]],
    trim: int,
    falling: bool,
) -> None:
    if falling:
        old = old[::-1]
    loaded = show(written(old), f"{trim} us")
    made = recalibrated(loaded, "flap", read_points([written(new)]))
    for point, (width, place) in zip(made.after.points, new, strict=True):
        assert point.pulse_us == pytest.approx(float(width), abs=1e-6)
        assert point.angle_deg == pytest.approx(float(place), abs=1e-6)
    text = changed(loaded, made)
    there = load_string(text, "bench.cues")
    measured = ", ".join(
        f"{width + trim:g} us at {angle:g} deg"
        for width, angle in ((float(w), float(a)) for w, a in old)
    )
    back = recalibrated(there, "flap", read_points([measured]))
    assert changed(there, back) == loaded.sources["bench.cues"].text


@settings(deadline=None, max_examples=30)
@given(st.lists(st.sampled_from(["\n", "\r\n", "\r"]), min_size=20, max_size=20), st.booleans())
def test_every_other_byte_of_the_file_stays(ends: list[str], mark: bool) -> None:
    lines = SHOW.format(points=PLAIN, trim="").replace("comment", "Käfer").splitlines()
    raw = "".join(line + end for line, end in zip(lines, ends, strict=False)).encode()
    raw = (b"\xef\xbb\xbf" if mark else b"") + raw
    text, finding = decoded(raw, "bench.cues")
    assert finding is None
    loaded = load_string(text, "bench.cues")
    made = recalibrated(loaded, "flap", read_points(["1010 us at 0 deg, 2 ms at 88 deg"]))
    assert made.fix is not None
    wanted = raw.replace(b"1000 us at 0", b"1010 us at 0").replace(b"90 deg", b"88 deg")
    assert spliced(raw, text, made.fix) == wanted


def test_a_file_that_differs_from_what_was_read_is_not_spliced() -> None:
    loaded = show()
    text = loaded.sources["bench.cues"].text
    made = recalibrated(loaded, "flap", read_points(["1010 us at 0 deg, 2 ms at 88 deg"]))
    assert made.fix is not None
    with pytest.raises(ValueError, match="has changed since it was read"):
        spliced(text.replace("1000", "1003").encode(), text, made.fix)
