"""Lamps that follow the part of a servo: what the text means, and what is said of mistakes."""

from __future__ import annotations

import pytest

from firmware_gen.compiler.show import compile_show
from seqlang.check import check
from seqlang.editor.naming import ShowNames
from seqlang.loading import Loaded, load_text
from seqlang.meaning.write_show import text_of, without_marks
from seqlang.text.findings import Finding
from seqlang.text.source import Source
from sim.model import Shine
from tests.seqlang.read_back import again

LURE = "follows jaw from 0 deg to 30 deg, 10 % to 80 %"
SHOW = """supply pack
    source adapter 6 V, 5 A
board box: {chip}, address 1
    feed pack
servo jaw: box pin PB5
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
    load 20 g at 50 mm
lamp lure: box pin {pin}
    {lure}
cue gape
    jaw to 30 deg in {pace}
    jaw to 0 deg in {pace}
cue chatter
    repeat 8 times
        jaw to 30 deg in {pace}
        jaw to 0 deg in {pace}
{more}
remote
    button 1: go gape
    button 2: go chatter
    stop button 3
"""


def loaded(lure: str = LURE, pace: str = "800 ms", more: str = "") -> Loaded:
    text = SHOW.format(chip="atmega2560", pin="PB4", lure=lure, pace=pace, more=more)
    return load_text(Source("test.cues", text))


def errors(made: Loaded) -> list[Finding]:
    return [one for one in check(made).findings if one.severity == "error"]


def shine(lure: str) -> Shine:
    made = loaded(lure)
    assert made.findings == ()
    assert made.show is not None
    (one,) = without_marks(made.show.rig.shines)
    return one


def test_a_lamp_follows_where_a_part_is() -> None:
    assert shine(LURE) == Shine("lure", "jaw", 0.0, 30.0, 10.0, 80.0)


def test_a_speed_in_the_line_lets_the_speed_count() -> None:
    line = "follows jaw from 10 deg/s to 0.2 s/60deg, 0 % to 80 %"
    assert shine(line) == Shine("lure", "jaw", 10.0, 300.0, 0.0, 80.0, by_speed=True)


def test_the_smaller_place_stands_first_whichever_way_round_they_are_written() -> None:
    assert shine("follows jaw from 30 deg to 0 deg, 80 % to 10 %") == shine(LURE)


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("follows jar from 0 deg to 30 deg, 10 % to 80 %", "unknown-name"),
        ("follows jaw from 0 deg to 30 deg/s, 10 % to 80 %", "unit-mismatch"),
        ("follows jaw from 0 % to 30 %, 10 % to 80 %", "unit-mismatch"),
        ("follows jaw from 0 deg to 30 deg, 10 deg to 80 deg", "unit-mismatch"),
        ("follows jaw from 9 deg to 9 deg, 10 % to 80 %", "number-out-of-range"),
        ("follows jaw from -1 deg/s to 9 deg/s, 10 % to 80 %", "number-out-of-range"),
        ("follows jaw from 0 deg to 30 deg, 10 % to 80 %, in 2 s", "wrong-kind"),
        ("follows jaw from 0 deg to 30 deg, 10 % to 80 %, mixed with idle", "wrong-kind"),
    ],
)
def test_a_mistake_in_the_line_has_one_finding(line: str, name: str) -> None:
    assert [one.name for one in errors(loaded(line))] == [name]


def test_a_show_with_such_a_lamp_passes_and_comes_back_from_its_text() -> None:
    made = loaded()
    assert made.show is not None
    assert errors(made) == []
    again = load_text(Source("test.cues", text_of(made.show)))
    assert again.findings == ()
    assert again.show is not None
    assert without_marks(again.show.rig.shines) == without_marks(made.show.rig.shines)


def test_the_text_of_a_board_s_table_says_what_its_lamp_follows() -> None:
    made = loaded()
    assert made.show is not None
    (board,) = compile_show(made.show).boards
    said, back = again(board.data, board)
    assert LURE in " ".join(said.text.split())
    assert without_marks(back.rig.shines) == without_marks(made.show.rig.shines)


def test_a_chip_without_room_for_it_is_named() -> None:
    text = SHOW.format(chip="atmega328p", pin="PD6", lure=LURE, pace="800 ms", more="")
    text = text.replace("PB5", "PB1")
    (found,) = errors(load_text(Source("test.cues", text)))
    assert found.name == "follow-beyond-chip"
    assert found.help is not None
    assert "fade `lure` in cues" in found.help


def test_a_part_of_another_board_is_named() -> None:
    other = "board far: atmega2560, address 2\n    feed pack\n"
    text = SHOW.format(chip="atmega2560", pin="PB4", lure=LURE, pace="800 ms", more=other)
    text = text.replace("servo jaw: box", "servo jaw: far")
    assert [one.name for one in errors(load_text(Source("test.cues", text)))] == [
        "follow-elsewhere"
    ]


def test_a_jaw_that_chatters_makes_its_lamp_flash() -> None:
    found = errors(loaded(pace="110 ms"))
    assert "general-flash" in [one.name for one in found]
    flash = next(one for one in found if one.name == "general-flash")
    assert "`lure` flashes" in flash.message
    assert "`chatter`" in flash.message


def test_a_lamp_that_hardly_changes_does_not_flash_however_the_jaw_chatters() -> None:
    small = "follows jaw from 0 deg to 30 deg, 10 % to 20 %"
    assert not [one for one in errors(loaded(small, pace="110 ms")) if "flash" in one.name]


def test_a_lamp_by_speed_flashes_twice_as_often() -> None:
    line = "follows jaw from 0 deg/s to 60 deg/s, 0 % to 80 %"
    named = [one.name for one in errors(loaded(line, pace="200 ms"))]
    assert "general-flash" in named
    assert "general-flash" not in [one.name for one in errors(loaded(LURE, pace="200 ms"))]


SNAPS = """cue snap
    jaw to 30 deg in 130 ms
    jaw to 0 deg in 130 ms
    jaw to 30 deg in 130 ms
    jaw to 0 deg in 130 ms
cue bite
    jaw to 30 deg in 130 ms
    jaw to 0 deg in 130 ms
    jaw to 30 deg in 130 ms
    jaw to 0 deg in 130 ms
"""


def with_snaps(pace: str) -> list[Finding]:
    """What is said of two buttons, each of which lets the jaw snap twice."""
    buttons = "    button 4: go snap\n    button 5: go bite\n    stop button"
    whole = SHOW.replace("    stop button", buttons)
    more = SNAPS.replace("130 ms", pace)
    text = whole.format(chip="atmega2560", pin="PB4", lure=LURE, pace="800 ms", more=more)
    return list(check(load_text(Source("test.cues", text))).findings)


def test_moves_that_take_over_from_one_another_make_a_lamp_flash() -> None:
    """Two flashes of each cue lie within one second if they follow one another: four."""
    said = [one for one in with_snaps("130 ms") if one.name == "interrupted-flash"]
    taken = next(one for one in said if one.severity == "warning")
    assert taken.message.startswith("`lure` flashes 4 times")
    assert "`bite`" in taken.message
    assert "`snap`" in taken.message
    assert "interrupted-flash" not in [one.name for one in with_snaps("400 ms")]


def test_a_finger_on_the_button_of_a_move_makes_a_lamp_flash() -> None:
    pressed = [one for one in check(loaded(pace="60 ms")).findings if "gape" in one.message]
    quick = next(one for one in pressed if one.name == "interrupted-flash")
    assert "the button of `gape` is pressed" in quick.message


def test_editors_know_the_part_that_is_followed() -> None:
    names = ShowNames(loaded().items)
    one = names.declared("output")["jaw"]
    assert len(names.same(one)) == 6


def test_sides_follow_their_own_part() -> None:
    mirrored = """mirror left, right
    servo ear: box pin (left: PA0, right: PA1)
        pulse 900 us at 0 deg, 2100 us at 90 deg
        travel 0 deg to 60 deg
        rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
    lamp tip: box pin (left: PE3, right: PE4)
        follows ear from 0 deg to 40 deg, 0 % to 60 %
cue prick
    ear to 40 deg in 800 ms
    ear to 0 deg in 800 ms"""
    made = loaded(more=mirrored)
    assert made.findings == ()
    assert made.show is not None
    pairs = {(one.output, one.servo) for one in made.show.rig.shines}
    assert pairs == {("lure", "jaw"), ("left_tip", "left_ear"), ("right_tip", "right_ear")}


def test_a_part_that_follows_a_stick_is_not_followed() -> None:
    text = SHOW.format(chip="atmega2560", pin="PB4", lure=LURE, pace="800 ms", more="")
    line = "    follows stick from 1000 us to 2000 us, 0 deg to 30 deg\n"
    text = text.replace("lamp lure", line + "lamp lure") + "channel stick: box pin PL0\n"
    (found,) = errors(load_text(Source("test.cues", text)))
    assert found.name == "wrong-kind"
    assert "`jaw` itself follows" in found.message


DREAM = """cue dream
    lure fade to 60 % in 2 s
    lure fade to 0 % in 2 s
    hold 1 s
idle: go {idle}"""


def test_a_strand_of_idle_that_fades_such_a_lamp_is_told_once_and_a_cue_may() -> None:
    (found,) = errors(loaded(more=DREAM.format(idle="dream")))
    assert found.name == "idle-unseen"
    assert found.help is not None
    assert "take the fades of `lure` out of `dream`" in found.help
    assert not errors(loaded(more=DREAM.format(idle="gape")))


def test_an_effect_of_idle_lies_over_such_a_lamp() -> None:
    more = "cue dream\n    lure breathe every 4 s, depth 20 %\n    hold 4 s\nidle: go dream"
    assert not errors(loaded(more=more))
