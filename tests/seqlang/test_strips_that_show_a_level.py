"""`shows LAMP`: what the text means, what it plays, and what is said of mistakes and of flashes."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.compiler.show import compile_show
from firmware_gen.table.records import BarRecord
from seqlang.check import check
from seqlang.editor.naming import ShowNames
from seqlang.loading import Loaded, load_text
from seqlang.meaning.write_show import text_of, without_marks
from seqlang.text.findings import Finding, applied
from seqlang.text.format import formatted
from seqlang.text.source import Source
from sim.model import LevelBar, Press
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from tests.seqlang.read_back import again
from tests.sim.played_both_ways import compare

BY_ANGLE = "    follows jaw from 0 deg to 30 deg, 0 % to 100 %"
QUICK = """cue beat
    repeat 9 times
        level fade to 75 % in 90 ms
        level fade to 80 % in 90 ms"""
SHOW = """supply pack
    source adapter 5 V, 5 A
board box: {chip}, address 1
    feed pack
    logic direct
servo jaw: box pin PB5
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 5 V
    load 20 g at 50 mm
lamp level: box pin {pin}
{lamp}
strip tube: box pin PB0
    pixels 8
    {line}
channel stick: box pin PL0
    button 4 from 1900 us to 2000 us
safe pose rest
    tube {light}
cue gape
    jaw to 30 deg in {pace}
    jaw to 0 deg in {pace}
cue fill
    level fade to 100 % in {fade}
    level fade to 0 % in {fade}
    level fade to 100 % in {fade}
    level fade to 0 % in {fade}
{more}
remote
    button 1: go gape
    button 2: go fill
    button 4: go fill
    stop button 3
"""


def text(line: str = "shows level", **other: str) -> str:
    usual = {"chip": "atmega2560", "pin": "PE3", "lamp": "    leds 1 of 3 V, 5 mA"}
    usual |= {"light": "white", "pace": "900 ms", "fade": "1 s", "more": ""}
    return SHOW.format(line=line, **{**usual, **other})


def loaded(line: str = "shows level", **other: str) -> Loaded:
    return load_text(Source("test.cues", text(line, **other)))


def errors(made: Loaded) -> list[Finding]:
    return [one for one in check(made).findings if one.severity == "error"]


@pytest.mark.parametrize(
    ("line", "end"),
    [("shows level", 0), ("shows level from the end", 1), ("shows level from the middle", 2)],
)
def test_a_line_says_which_lamp_a_strip_shows_and_where_its_bar_begins(line: str, end: int) -> None:
    made = loaded(line)
    assert made.show is not None
    assert not errors(made)
    assert without_marks(made.show.rig.bars) == (LevelBar("tube", "level", end),)
    (board,) = compile_show(made.show).boards
    assert [one for one in board.table.senses if isinstance(one, BarRecord)] == [
        BarRecord(2, 1, end)
    ]
    again_ = load_text(Source("again.cues", text_of(made.show))).show
    assert again_ is not None
    assert without_marks(again_.rig.bars) == without_marks(made.show.rig.bars)
    said, back = again(board.data, board)
    assert line in " ".join(said.text.split())
    assert without_marks(back.rig.bars) == (LevelBar("tube", "level", end),)


@pytest.mark.parametrize("line", ["shows level", "shows level from the middle"])
@pytest.mark.parametrize("lamp", ["    leds 1 of 3 V, 5 mA", BY_ANGLE])
def test_a_rehearsal_shows_the_bar_of_the_board(line: str, lamp: str) -> None:
    show = loaded(line, lamp=lamp).show
    assert show is not None
    found = compare(show, (Press(500, cue="gape"), Press(4000, cue="fill")), 9000)
    assert found.at == []
    assert found.strip < 0.02


def test_half_a_level_lights_half_of_the_pixels() -> None:
    show = loaded(fade="2 s").show
    assert show is not None
    played = rehearse(show, (Press(1000, cue="fill"),), 4000)
    lit = sample(played, np.array([2000.0, 2125.0])).strips["tube"].linear[:, :, 0]
    assert lit[0] == pytest.approx([1, 1, 1, 1, 0, 0, 0, 0], abs=0.09)
    assert lit[1, 4] == pytest.approx(0.5, abs=0.09)


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("shows levle", "unknown-name"),
        ("shows jaw", "wrong-kind"),
        ("shows tube", "wrong-kind"),
        ("shows", "syntax"),
        ("shows level\n    shows level", "duplicate-line"),
    ],
)
def test_a_line_that_makes_no_sense_is_told(line: str, name: str) -> None:
    assert [one.name for one in errors(loaded(line))] == [name]


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("show level", "shows level"),
        ("displays the level", "shows level"),
        ("indicates: level, from end", "shows level from the end"),
        ("shows level from middle", "shows level from the middle"),
        ("shows level from the centre", "shows level from the middle"),
        ("shows level from the start", "shows level"),
        ("follows level", "shows level"),
    ],
)
def test_other_words_are_answered_with_the_line_that_passes(said: str, meant: str) -> None:
    source = text(said)
    found = errors(load_text(Source("test.cues", source)))
    assert len(found) == 1
    assert found[0].fix is not None
    assert applied(source, found[0].fix) == text(meant)


def test_a_small_chip_and_another_board_are_named_with_a_way_out() -> None:
    small = text(chip="atmega328p", pin="PD6").replace("PB5", "PB1")
    small = small.replace("channel stick: box pin PL0\n    button 4 from 1900 us to 2000 us\n", "")
    small = small.replace("    button 4: go fill\n", "")
    (found,) = errors(load_text(Source("test.cues", small)))
    assert found.name == "follow-beyond-chip"
    assert found.help is not None
    assert "`atmega2560`" in found.help
    far = "board far: atmega2560, address 2\n    feed pack\n    logic direct"
    apart = text(more=far).replace("lamp level: box", "lamp level: far")
    assert "follow-elsewhere" in [one.name for one in errors(load_text(Source("a.cues", apart)))]


def test_a_level_that_goes_to_and_fro_in_time_does_not_flash_and_a_quicker_one_does() -> None:
    # four ways, and what is found: six more would be too many for white
    assert not errors(loaded(fade="400 ms"))
    names = [one.name for one in errors(loaded(more=QUICK))]
    assert names == ["bar-flashes"]
    dim = loaded(more=QUICK, light="white 30 %")
    assert not errors(dim)  # 30 % of L* is 0.06 of full light
    assert [one.name for one in errors(loaded(more=QUICK, light="red 30 %"))] == ["bar-flashes"]


def test_a_hand_on_a_stick_makes_no_pixels_flash() -> None:
    line = "    follows stick from 1000 us to 2000 us, 0 % to 40 %, in {}"
    (found,) = [one for one in errors(loaded(lamp=line.format("2 s"))) if one.name == "bar-flashes"]
    assert found.fix is not None
    mended = applied(text(lamp=line.format("2 s")), found.fix)
    assert not errors(load_text(Source("test.cues", mended)))
    least = int(found.limit or 0)
    # 40 % of eight pixels, one way in 1020 ms at full contrast, 0.7 of a group of one
    assert least == pytest.approx(0.4 * 8 * 1020 / 0.7, rel=0.01)
    assert not errors(loaded(lamp=line.format(f"{least} ms")))
    assert errors(loaded(lamp=line.format(f"{least - 20} ms")))


def test_quick_presses_of_a_move_make_the_pixels_of_its_bar_flash() -> None:
    """The lamp that the strip shows follows the jaw: the buttons that move it move the bar."""
    quick = check(loaded(lamp=BY_ANGLE, pace="60 ms", fade="6 s")).findings
    said = next(one for one in quick if one.name == "bar-flashes")
    assert said.severity == "advice"
    assert "the button of `gape`" in said.message
    dim = check(loaded(lamp=BY_ANGLE, pace="60 ms", fade="6 s", light="white 20 %")).findings
    assert "bar-flashes" not in [one.name for one in dim]


def test_a_cue_that_nothing_starts_is_taken_over_by_no_other() -> None:
    """Six ways by itself, and one or two more where it meets another cue: but nothing starts it."""
    apart = text(more=QUICK.replace("9 times", "3 times"))
    bound = apart.replace("    stop button", "    button 5: go beat\n    stop button")
    for made, told in ((apart, []), (bound, ["warning"])):
        found = check(load_text(Source("test.cues", made))).findings
        assert [one.severity for one in found if one.name == "bar-flashes"] == told


@pytest.mark.parametrize(
    ("passes", "severity", "how", "related"),
    [
        (2, "advice", "it is started again", ["shown here"]),
        (3, "warning", "`beat` starts meanwhile", ["shown here", "takes over"]),
    ],
)
def test_what_flashes_as_one_cue_takes_over_from_another_is_said(
    passes: int, severity: str, how: str, related: list[str]
) -> None:
    """Eight or nine changes are four flashes."""
    made = text(more=QUICK.replace("9 times", f"{passes} times"))
    made = made.replace("    stop button", "    button 5: go beat\n    stop button")
    found = check(load_text(Source("test.cues", made))).findings
    (one,) = [each for each in found if each.name == "bar-flashes"]
    assert one.severity == severity
    assert one.message == (
        "`tube` shows `level`, and pixels at the end of its bar may flash 4 times within one "
        f"second if {how}; 3 times are safe"
    )
    assert (one.asked, one.limit, one.unit) == (4, 3, "flashes a second")
    assert [words for _, words in one.related] == related


UP = "cue up\n    level cut to 100 %\n    hold 2 s"


def said_of_bars(made: str) -> list[Finding]:
    found = check(load_text(Source("test.cues", made))).findings
    return [one for one in found if one.name == "bar-flashes"]


def with_button(made: str, cue: str) -> str:
    return made.replace("    stop button", f"    button 5: go {cue}\n    stop button")


@pytest.mark.parametrize(
    ("made", "times", "how", "related"),
    [
        (text(more=QUICK), 7, "of cue `beat`", []),
        (
            text(lamp=BY_ANGLE, pace="60 ms", fade="6 s"),
            14,
            "while the button of `gape` is pressed again and again",
            [],
        ),
        (
            with_button(text(more=UP, fade="6 s"), "up"),
            4,
            "while the buttons of `fill` and `up` are pressed in turn, quickly",
            ["the other button's cue"],
        ),
    ],
)
def test_how_often_a_bar_may_flash_and_by_what_is_said(
    made: str, times: int, how: str, related: list[str]
) -> None:
    (one,) = said_of_bars(made)
    assert one.message == (
        f"`tube` shows `level`, and pixels at the end of its bar may flash {times} times within "
        f"one second {how}; 3 times are safe"
    )
    assert (one.asked, one.limit, one.unit) == (times, 3, "flashes a second")
    assert [words for _, words in one.related] == ["shown here", *related]


def test_no_finger_presses_what_only_a_lost_remote_starts() -> None:
    made = text(more=UP, fade="6 s")
    lost = made.replace("    stop button", "    lost 5 s: go up\n    stop button")
    for one, told in ((with_button(made, "up"), True), (lost, False)):
        assert any("in turn, quickly" in found.message for found in said_of_bars(one)) is told


def test_a_stop_that_makes_up_the_eighth_change_is_told() -> None:
    """Six ways and the one from what is found, 3 s after the press: started again it turns none."""
    beat = (
        "cue beat\n    hold 3 s\n    repeat 3 times\n        level fade to 80 % in 90 ms\n"
        "        level fade to 75 % in 90 ms\n    hold 3 s"
    )
    made = text(more=beat).replace("go fill", "go gape")
    (one,) = said_of_bars(with_button(made, "beat"))
    assert one.severity == "advice"
    assert "may flash 4 times within one second if everything is stopped meanwhile" in one.message
    assert [words for _, words in one.related] == ["shown here"]


def test_what_a_hand_lets_go_of_takes_over_as_well() -> None:
    """The part for letting go comes when the button goes up, in the middle of its cue."""
    beat = (
        "cue beat\n    level cut to 80 %\n    repeat while held\n        hold 1 s\n"
        "    when let go\n        repeat 2 times\n            level fade to 75 % in 90 ms\n"
        "            level fade to 80 % in 90 ms"
    )
    made = text(more=beat).replace("go fill", "go gape")
    (one,) = said_of_bars(with_button(made, "beat"))
    assert "if `beat let go` starts meanwhile" in one.message


def test_another_cue_that_takes_over_is_named_before_the_same_one_again() -> None:
    beat = QUICK.replace("9 times", "3 times")
    made = with_button(text().replace("cue gape", f"{beat}\ncue gape"), "beat")
    (one,) = said_of_bars(made)
    assert one.severity == "warning"
    assert "if `beat` starts meanwhile" in one.message


def test_a_hand_that_would_need_more_than_a_minute_is_told_of_the_light_alone() -> None:
    """All of 60 pixels: 60 x 1.02 s / 0.7 are 87 s, and no table holds more than 65.5 s."""
    line = "    follows stick from 1000 us to 2000 us, 0 % to 100 %, in 2 s"
    for pixels, fits in ((40, True), (60, False)):
        made = text(lamp=line).replace("pixels 8", f"pixels {pixels}")
        (one,) = [each for each in said_of_bars(made) if each.unit == "ms"]
        assert (one.fix is not None) is fits
        assert (one.help or "").endswith("light `tube` less")
        assert ("is slow enough" in (one.help or "")) is fits


def test_an_effect_of_another_light_and_a_strip_that_is_steady_are_none_on_it() -> None:
    more = (
        "cue glow\n    tube fade to white 90 % in 2 s\n    tube steady\n"
        "    level breathe every 9 s\n    hold 4 s"
    )
    assert not [one for one in said_of_bars(text(more=more)) if "lies on" in one.message]


def test_no_effect_lies_on_such_a_strip() -> None:
    more = "cue glow\n    tube ember every 2 s\n    hold 4 s"
    assert [one.name for one in errors(loaded(more=more))] == ["bar-flashes"]


def test_format_and_names_know_the_line() -> None:
    laid = formatted(Source("test.cues", text("shows    level   from the end")))
    assert "    shows       level from the end\n" in laid.text
    names = ShowNames(loaded().items)
    lamp = names.declared("output")["level"]
    assert len(names.same(lamp)) == 6
