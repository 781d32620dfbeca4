"""Outputs that follow a channel: what the text means, what is said of mistakes, what editors do."""

from __future__ import annotations

import pytest

from seqlang.check import check
from seqlang.editor.completion import proposals
from seqlang.editor.hover import told
from seqlang.editor.naming import ShowNames, renamed
from seqlang.loading import Loaded, load_text
from seqlang.meaning.write_show import text_of, without_marks
from seqlang.text.findings import Finding, applied
from seqlang.text.format import formatted
from seqlang.text.source import Source
from sim.model import Follow
from sim.rulebook import FOLLOW_MS

NECK = "follows stick from 1000 us to 2000 us, -30 deg to 30 deg"
LURE = "follows stick from 1200 us to 1800 us, 0 % to 60 %"
SHOW = """supply pack
    source adapter 6 V, 5 A
board box: atmega2560, address 1
    feed pack
servo neck: box pin PA0
    pulse 900 us at -45 deg, 2100 us at 45 deg
    travel -40 deg to 40 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 100 g at 30 mm
    {neck}
lamp lure: box pin PB4
    {lure}
channel stick: box pin PL0
sensor voice: box pin PF0
cue sway
    neck to 4 deg in 3 s
    neck to -4 deg in 3 s
idle: go sway
remote
    stop button 2
"""


def loaded(neck: str = NECK, lure: str = LURE) -> Loaded:
    return load_text(Source("test.cues", SHOW.format(neck=neck, lure=lure)))


def errors(text: str) -> list[Finding]:
    found = check(load_text(Source("test.cues", text))).findings
    return [one for one in found if one.severity == "error"]


def follows(neck: str = NECK, lure: str = LURE) -> tuple[Follow, ...]:
    made = loaded(neck, lure)
    assert made.findings == ()
    assert made.show is not None
    return without_marks(made.show.rig.follows)


def test_a_line_says_where_the_output_is_at_each_of_two_values() -> None:
    assert follows() == (
        Follow("neck", "stick", 1000.0, 2000.0, -30.0, 30.0, FOLLOW_MS),
        Follow("lure", "stick", 1200.0, 1800.0, 0.0, 60.0, FOLLOW_MS),
    )


def test_the_smaller_value_stands_first_whichever_way_round_they_are_written() -> None:
    turned = follows("follows stick from 2000 us to 1000 us, 30 deg to -30 deg")
    assert turned == follows()
    over = follows("follows stick from 2000 us to 1000 us, -30 deg to 30 deg")[0]
    assert (over.target_from, over.target_to) == (30.0, -30.0)


def test_a_sensor_s_value_is_a_share() -> None:
    voiced = follows("follows voice from 12.5 % to 60 %, 0 deg to 30 deg")[0]
    assert (voiced.source, voiced.source_from, voiced.source_to) == ("voice", 0.125, 0.6)
    (found,) = errors(
        SHOW.format(neck="follows voice from 1 ms to 60 %, 0 deg to 9 deg", lure=LURE)
    )
    assert found.name == "unit-mismatch"


@pytest.mark.parametrize("more", [", in 800 ms, mixed with idle", ", mixed  with idle, in 0.8 s"])
def test_the_quickest_way_and_the_mix_stand_in_any_order(more: str) -> None:
    neck = follows(NECK + more)[0]
    assert (neck.way_ms, neck.mixed) == (800, True)


@pytest.mark.parametrize("ms", [20, 65_000])
def test_the_quickest_way_has_ends(ms: int) -> None:
    assert follows(f"{NECK}, in {ms} ms")[0].way_ms == ms
    over = ms - 1 if ms == 20 else ms + 1
    (found,) = errors(SHOW.format(neck=f"{NECK}, in {over} ms", lure=LURE))
    assert found.name == "number-out-of-range"


def test_a_constant_and_a_sum_may_stand_for_each_amount() -> None:
    text = "given half = 15 deg\n" + SHOW
    neck = "follows stick from (1 ms) to 2000 us, -30 deg to (half * 2)"
    made = load_text(Source("test.cues", text.format(neck=neck, lure=LURE)))
    assert made.show is not None
    assert without_marks(made.show.rig.follows) == follows()


def test_what_is_written_back_means_the_same() -> None:
    voiced = "follows voice from 12.5 % to 60 %, 0 % to 30 %"
    made = loaded(NECK + ", in 800 ms, mixed with idle", voiced).show
    assert made is not None
    again = load_text(Source("again.cues", text_of(made)))
    assert again.findings == ()
    assert again.show is not None
    assert without_marks(again.show) == without_marks(made)


def test_the_layout_keeps_the_words_and_lays_them_in_the_column() -> None:
    text = formatted(Source("x.cues", SHOW.format(neck=NECK, lure=LURE))).text
    assert "    follows     stick from 1000 us to 2000 us, -30 deg to 30 deg\n" in text


def test_both_sides_and_each_of_a_row_may_follow_their_own() -> None:
    text = """supply pack
    source adapter 6 V, 5 A
board box: atmega2560, address 1
    feed pack
mirror left, right
    servo ear: box pin (left: PA0, right: PA1)
        pulse 900 us at -45 deg, 2100 us at 45 deg
        travel -40 deg to 40 deg
        rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
        follows (left: stick, right: knob) from 1000 us to 2000 us, -9 deg to 9 deg
row of 2
    lamp dot: box pin (PB4, PB7)
        follows stick from (1000 us, 1500 us) to 2000 us, 0 % to (40 %, step 5 %)
channel stick: box pin PL0
channel knob: box pin PE7
cue perk
    ear to 9 deg in 2 s
    ear to 0 deg in 2 s
remote
    button 1: go perk
    stop button 2
"""
    made = load_text(Source("test.cues", text))
    assert made.findings == ()
    assert made.show is not None
    assert without_marks(made.show.rig.follows) == (
        Follow("left_ear", "stick", 1000.0, 2000.0, -9.0, 9.0),
        Follow("right_ear", "knob", 1000.0, 2000.0, -9.0, 9.0),
        Follow("dot_1", "stick", 1000.0, 2000.0, 0.0, 40.0),
        Follow("dot_2", "stick", 1500.0, 2000.0, 0.0, 45.0),
    )


# -- what is said of mistakes ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "wrong",
    [
        "follow stick from 1000 us to 2000 us, -30 deg to 30 deg",
        "follows the stick from 1000 us to 2000 us, -30 deg to 30 deg",
        "follows channel stick from 1000 us to 2000 us, -30 deg to 30 deg",
        "tracks stick from 1000 us to 2000 us, -30 deg to 30 deg",
        "follows stick 1000 us to 2000 us, -30 deg to 30 deg",
        "follows stick: 1000 us to 2000 us, -30 deg to 30 deg",
        "follows stick from 1000 us 2000 us, -30 deg to 30 deg",
        "follows stick from 1000 us to 2000 us, -30 deg 30 deg",
        "follows stick from 1000 us to 2000 us -30 deg to 30 deg",
        "follows stick from 1000 us to 2000 us to -30 deg to 30 deg",
        "follows stick from 1000 us to 2000 us, from -30 deg to 30 deg",
        "follows stick between 1000 us and 2000 us, -30 deg to 30 deg",
        "follows stick from 1000..2000 us, -30..30 deg",
        "follows stick from 1000-2000 us, -30 deg to 30 deg",
        "follows stick from 1000 us at -30 deg to 2000 us at 30 deg",
        "follows stick, 1000 us = -30 deg, 2000 us = 30 deg",
    ],
)
def test_a_line_in_other_words_is_answered_by_the_line_that_passes(wrong: str) -> None:
    text = SHOW.format(neck=wrong, lure=LURE)
    (found,) = errors(text)
    assert found.fix is not None
    assert applied(text, found.fix) == SHOW.format(neck=NECK, lure=LURE)


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        (" in 800 ms", ", in 800 ms"),
        (", within 800 ms", ", in 800 ms"),
        (", mix with idle", ", mixed with idle"),
        (", mixed", ", mixed with idle"),
        (" plus idle", ", mixed with idle"),
    ],
)
def test_what_stands_behind_in_other_words_is_answered(wrong: str, right: str) -> None:
    text = SHOW.format(neck=NECK + wrong, lure=LURE)
    (found,) = errors(text)
    assert found.fix is not None
    assert applied(text, found.fix) == SHOW.format(neck=NECK + right, lure=LURE)


@pytest.mark.parametrize(
    ("neck", "name", "said"),
    [
        ("follows stik from 1000 us to 2000 us, 0 deg to 9 deg", "unknown-name", "`stik`"),
        ("follows lure from 1000 us to 2000 us, 0 deg to 9 deg", "unknown-name", "an output"),
        ("follows stick from 1000 us to 2000 us, 0 % to 9 %", "unit-mismatch", "an angle"),
        ("follows stick from 1000 to 2000 us, 0 deg to 9 deg", "missing-unit", "a pulse width"),
        ("follows stick from 700 us to 2000 us, 0 deg to 9 deg", "number-out-of-range", "800 us"),
        (
            "follows stick from 1500 us to 1500 us, 0 deg to 9 deg",
            "number-out-of-range",
            "one value",
        ),
        ("follows stick", "syntax", "`follows` needs a channel"),
        ("follows stick from 1000 us to 2000 us", "syntax", "`follows` needs a channel"),
        (f"{NECK}\n    {NECK}", "duplicate-line", "stated twice"),
        (
            "follows stick from 1000 us to 2000 us, 0 deg to 41 deg",
            "target-outside-travel",
            "41 deg",
        ),
        (
            "follows stick from 1000 us to 2000 us, -41 deg to 40 deg",
            "target-outside-travel",
            "-41",
        ),
    ],
)
def test_a_mistake_is_told_at_the_line(neck: str, name: str, said: str) -> None:
    text = SHOW.format(neck=neck, lure=LURE)
    found = errors(text)
    assert [one.name for one in found] == [name]
    assert said in found[0].message
    line = text[: found[0].span.start].count("\n")
    assert text.splitlines()[line].strip().startswith("follows")


def test_ends_of_the_travel_may_be_followed_to() -> None:
    neck = "follows stick from 1000 us to 2000 us, -40 deg to 40 deg, in 2 s"
    assert errors(SHOW.format(neck=neck, lure=LURE)) == []


def test_percent_of_a_channel_is_answered_by_the_pulse_of_the_usual_way() -> None:
    neck = "follows stick from 25 % to 2000 us, -30 deg to 30 deg"
    text = SHOW.format(neck=neck, lure=LURE)
    (found,) = errors(text)
    assert found.name == "unit-mismatch"
    assert found.fix is not None
    assert "from 1250 us to" in applied(text, found.fix)


def test_a_lamp_is_not_mixed_with_idle() -> None:
    (found,) = errors(SHOW.format(neck=NECK, lure=f"{LURE}, mixed with idle"))
    assert found.name == "wrong-kind"


def test_a_channel_that_does_nothing_is_told_and_one_that_is_followed_is_not() -> None:
    assert errors(SHOW.format(neck=NECK, lure=LURE)) == []
    alone = SHOW.format(neck="idling 8 mA", lure="leds 1 of 3 V, 20 mA")
    (found,) = errors(alone)
    assert found.name == "missing-line"
    assert found.help is not None
    assert "`follows stick from" in found.help


# -- editors ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "some", "none"),
    [
        ("foll|", ["follows"], ["pulse"]),
        ("follows |", ["stick", "voice"], ["neck", "sway"]),
        ("follows stick |", ["from"], ["to"]),
        ("follows stick from 1000 |", ["us", "ms"], ["deg"]),
        ("follows stick from 1000 us to 2000 us, 3 |", ["deg"], ["us"]),
        ("follows stick from 1000 us to 2000 us, 3 deg to 4 deg, |", ["in", "mixed with idle"], []),
    ],
)
def test_what_is_due_is_offered(line: str, some: list[str], none: list[str]) -> None:
    whole = SHOW.format(neck=line, lure=LURE)
    at = whole.index("|")
    names = ShowNames(loaded().items)
    found = [one.text for one in proposals(Source("x.cues", whole.replace("|", "")), at, names).all]
    assert set(some) <= set(found)
    assert not set(none) & set(found)


def test_a_channel_tells_what_follows_it() -> None:
    made = loaded()
    source = Source("test.cues", SHOW.format(neck=NECK, lure=LURE))
    at = source.text.index("stick:")
    words = told(source, at, made, None)
    assert words is not None
    assert "channel stick: box pin PL0" in words.markdown
    assert "followed by `neck`, `lure`" in words.markdown


def test_the_word_is_explained_by_the_language_s_page() -> None:
    source = Source("test.cues", SHOW.format(neck=NECK, lure=LURE))
    words = told(source, source.text.index("follows") + 2, loaded(), None)
    assert words is not None
    assert "while no cue holds it" in words.markdown


def test_a_channel_is_renamed_where_it_is_followed_too() -> None:
    made = loaded()
    names = ShowNames(made.items)
    one = names.declared("channel")["stick"]
    assert len(names.same(one)) == 3
    assert len(renamed(made, one, "lever")) == 3


@pytest.mark.parametrize(
    "wrong",
    [
        "follows stick",
        "follows stick from 1000 us to 2000 us, -30 deg to 30 deg, smoothly",
        "follow stick from 1000 us to 2000 us, -30 deg to 30 deg",
        "follows stik from 1000 us to 2000 us, -30 deg to 30 deg",
    ],
)
def test_a_channel_is_not_told_of_beside_the_line_that_was_to_follow_it(wrong: str) -> None:
    text = f"""supply pack
    source adapter 6 V, 5 A
board box: atmega2560, address 1
    feed pack
channel stick: box pin PL0
servo neck: box pin PA0
    pulse 900 us at -45 deg, 2100 us at 45 deg
    travel -40 deg to 40 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 60 g at 30 mm
    {wrong}
cue bow
    neck to 35 deg in 1.5 s
remote
    button 1: go bow
    stop button 2
"""
    (found,) = [
        one for one in load_text(Source("test.cues", text)).findings if one.severity == "error"
    ]
    assert text.count("\n", 0, found.span.start) == 10


def test_idle_that_moves_what_follows_a_sensor_all_the_time_is_warned_of() -> None:
    voice = "follows voice from 10 % to 60 %, -30 deg to 30 deg"

    def warned(neck: str) -> list[tuple[str, str | None]]:
        found = check(loaded(neck)).findings
        return [(one.message, one.help) for one in found if one.name == "idle-unseen"]

    ((message, help_),) = warned(voice)
    assert message == "strand `sway` of idle moves `neck`, which follows `voice` instead"
    assert help_ is not None
    assert ", mixed with idle" in help_
    assert warned(f"{voice}, mixed with idle") == []
    assert warned(NECK) == []  # a stick may be lost, and then idle is seen
