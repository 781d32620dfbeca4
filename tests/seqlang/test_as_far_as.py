"""Cues that go as far as a source says: what the text means, mistakes, checks, rehearsals."""

from __future__ import annotations

import pytest

from firmware_gen.player.player import Player
from seqlang.check import check
from seqlang.editor.completion import proposals
from seqlang.editor.hover import told
from seqlang.editor.naming import ShowNames, renamed
from seqlang.loading import Loaded, load_text
from seqlang.meaning.write_show import text_of, without_marks
from seqlang.presses import parse_press
from seqlang.text.findings import Finding
from seqlang.text.format import formatted
from seqlang.text.source import Source
from seqlang.text.syntax import CueText, place
from sim.model import Scaling, Show
from sim.pictures.plots import plotted, score_figure
from sim.rehearsal.rehearse import rehearse
from sim.rulebook import SCALE_FULL
from sim.score.draws import at_its_hardest
from sim.score.scaling import named_at, scale_of_share

FAR = ", as far as knob from 10 % to 90 %, 20 % to 100 %, else 50 %"
SHOW = """supply pack
    source adapter 6 V, 5 A
board box: atmega2560, address 1
    feed pack
servo neck: box pin PA0
    pulse 900 us at -45 deg, 2100 us at 45 deg
    travel -40 deg to 40 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 100 g at 30 mm
lamp lure: box pin PB4
sensor knob: box pin PF0
channel stick: box pin PL0
    button 3 from 1700 us to 2000 us
cue bow "Bows"{far}
    neck to 30 deg, lure fade to 60 % in 1.2 s
    neck to 0 deg, lure fade to off in 1.2 s
cue peer
    neck to -20 deg in 1.5 s
    neck to 0 deg in 1.5 s
remote
    button 1: go bow
    button 2: go peer
    stop button 4
"""


def loaded(far: str = FAR) -> Loaded:
    return load_text(Source("test.cues", SHOW.format(far=far)))


def show(far: str = FAR) -> Show:
    made = loaded(far)
    assert made.findings == ()
    assert made.show is not None
    return made.show


def scaling(far: str = FAR) -> Scaling:
    found = show(far).score.cues[0].scaling
    assert found is not None
    return without_marks(found)


def errors(far: str, text: str = SHOW) -> list[Finding]:
    found = check(load_text(Source("test.cues", text.format(far=far)))).findings
    return [one for one in found if one.severity == "error"]


def test_a_header_says_how_far_the_cue_goes_at_each_of_two_values() -> None:
    assert scaling() == Scaling("knob", 0.1, 0.9, 20.0, 100.0, 50.0)


def test_without_shares_a_cue_goes_from_nothing_to_all_of_it() -> None:
    assert scaling(", as far as stick from 1 ms to 2000 us") == Scaling(
        "stick", 1000.0, 2000.0, 0.0, 100.0, 0.0
    )


@pytest.mark.parametrize(("shares", "least"), [("30 % to 80 %", 30.0), ("80 % to 30 %", 30.0)])
def test_a_source_that_is_lost_counts_as_the_smaller_share(shares: str, least: float) -> None:
    assert scaling(f", as far as knob from 0 % to 100 %, {shares}").else_pct == least


def test_the_smaller_value_stands_first_whichever_way_round_they_are_written() -> None:
    turned = ", as far as knob from 90 % to 10 %, 100 % to 20 %, else 50 %"
    assert scaling(turned) == scaling()


def test_what_is_written_back_means_the_same() -> None:
    again = load_text(Source("again.cues", text_of(show())))
    assert again.findings == ()
    assert again.show is not None
    assert without_marks(again.show.score) == without_marks(show().score)


def test_the_layout_of_a_header_stays() -> None:
    made = formatted(Source("test.cues", SHOW.format(far=FAR)))
    assert f'cue bow "Bows"{FAR}\n' in made.text
    assert formatted(Source("test.cues", made.text)).text == made.text


@pytest.mark.parametrize(
    ("far", "name"),
    [
        (", as far as knop from 10 % to 90 %", "unknown-name"),
        (", as far as knob from 10 % to 10 %", "number-out-of-range"),
        (", as far as knob from 10 % to 90 %, 20 % to 101 %", "number-out-of-range"),
        (", as far as knob from 10 % to 90 %, else 101 %", "number-out-of-range"),
        (", as far as knob from 1000 us to 90 %", "unit-mismatch"),
        (", as far as stick from 10 % to 2000 us", "unit-mismatch"),
        (", as far as knob from 10 % to 90 %, 20 deg to 100 %", "unit-mismatch"),
    ],
)
def test_what_cannot_be_is_told(far: str, name: str) -> None:
    assert [one.name for one in errors(far)] == [name]


def test_a_channel_that_only_scales_a_cue_has_a_use() -> None:
    text = SHOW.replace("    button 3 from 1700 us to 2000 us\n", "")
    far = ", as far as stick from 1000 us to 2000 us"
    assert errors(far, text) == []
    assert [one.name for one in errors(FAR, text)] == ["missing-line"]


@pytest.mark.parametrize("line", ["idle: go bow\n", "remote\n    lost 2 s: go bow\n"])
def test_what_starts_by_itself_goes_as_far_as_it_says(line: str) -> None:
    text = SHOW + line if line.startswith("idle") else SHOW + line.removeprefix("remote\n")
    assert "scale-unfit" in [one.name for one in errors(FAR, text)]


# -- what the checks see ---------------------------------------------------------------------------


def test_the_checks_see_a_cue_at_the_ends_of_its_shares_and_between_them() -> None:
    hardest = at_its_hardest(show())
    names = [cue.name for cue in hardest.score.cues]
    assert names[0] == "bow"
    assert len(names) == 6
    assert at_its_hardest(hardest) is hardest
    bound = {one.cue for one in hardest.score.bindings}
    assert bound == set(names)


@pytest.mark.parametrize(("shares", "found"), [("100 % to 99 %", False), ("100 % to 0 %", True)])
def test_a_move_that_only_a_small_share_makes_too_long_is_found(shares: str, found: bool) -> None:
    """The bow goes to -20 deg in 200 ms: 20 deg from the safe pose, and from where peer leaves the
    neck, at -40 deg. At 0 % it is 40 deg from there, at a peak of 1.9 * 40 / 0.2 = 375 deg/s; the
    servo turns 353 deg/s without a load."""
    text = SHOW.replace("neck to -20 deg in 1.5 s\n    neck to 0 deg", "neck to -40 deg")
    text = text.replace("neck to 30 deg, lure fade to 60 % in 1.2 s", "neck to -20 deg in 200 ms")
    text = text.replace("neck to 0 deg, lure fade to off in 1.2 s", "hold 1 s")
    text = text.replace("lamp lure: box pin PB4\n", "")
    far = f", as far as knob from 10 % to 90 %, {shares}"
    names = {one.name for one in errors(far, text)}
    assert ("servo-speed" in names) is found, names


def test_a_cue_s_text_ends_with_its_last_statement_whatever_its_header_says() -> None:
    """Its place goes from its first token to its last; header parts were behind the body once."""
    text = SHOW.format(far=", if busy wait, seed 3" + FAR)
    made = load_text(Source("test.cues", text))
    (bow,) = (one for one in made.items if isinstance(one, CueText) and one.name == "bow")
    where = place(bow)
    assert text[where.start : where.end].startswith("cue bow")
    assert text[where.start : where.end].endswith("lure fade to off in 1.2 s")


# -- what is played --------------------------------------------------------------------------------


@pytest.mark.parametrize(("knob", "share"), [("5 %", 0.2), ("50 %", 0.6), ("95 %", 1.0)])
def test_a_rehearsal_and_the_board_go_as_far_as_the_knob_says(knob: str, share: float) -> None:
    made = show()
    presses = [parse_press(f"knob {knob} at 500 ms", made), parse_press("1 at 1 s", made)]
    played = rehearse(made, presses, 6000)
    reached = max(piece.planned.target for piece in played.motions["neck"])
    assert reached / 2**15 / 100 == pytest.approx(30 * share, abs=30 / 256)
    checked = check(loaded()).show
    assert checked is not None
    player = Player(checked.tables["box"].data)
    for number in range(300):
        if number == 25:
            player.voltage(0, round(1024 * float(knob[:-2]) / 100))
        if number == 50:
            player.button(1, True)
        if number == 110:
            shown = player.frame()
        else:
            player.frame()
    ticks = 2 * (1500 + 1200 * 30 * share / 90)
    assert abs(shown.pulses[0] - ticks) <= 5


@pytest.mark.parametrize(
    ("knob", "words"), [("5 %", "bow at 20 %"), ("50 %", "bow at 60 %"), ("95 %", "bow")]
)
def test_a_picture_names_a_cue_with_how_far_it_goes(knob: str, words: str) -> None:
    """It had the cue's name alone: a plot without a knob's value looked as if all went that far."""
    made = show()
    presses = [parse_press(f"knob {knob} at 500 ms", made), parse_press("1 at 1 s", made)]
    drawn = plotted(rehearse(made, presses, 6000))
    assert [run.words for run in drawn.cues()] == [words]
    shown = [text.get_text() for panel in score_figure(drawn).axes for text in panel.texts]
    assert words in shown


def test_each_scale_has_words_of_its_own_and_a_share_that_can_be_written_has_its_own() -> None:
    words = [named_at("bow", scale) for scale in range(SCALE_FULL + 1)]
    assert len(set(words)) == len(words)
    for halves in range(201):
        assert words[scale_of_share(halves / 2)] == f"bow at {halves / 2:g} %"


# -- editors ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("far", "some"),
    [
        (", |", {"as far as", "if", "seed"}),
        (", as far as |", {"knob", "stick"}),
        (", as far as knob |", {"from"}),
        (", as far as knob from 10 % to 90 %, |", {"else"}),
    ],
)
def test_completion_proposes_the_words_and_the_sources(far: str, some: set[str]) -> None:
    text = SHOW.format(far=far)
    source = Source("test.cues", text.replace("|", ""))
    found = proposals(source, text.index("|"), ShowNames(loaded().items)).all
    assert some <= {one.text for one in found}


def test_hover_tells_what_a_source_scales_and_how_far_a_cue_goes() -> None:
    made = loaded()
    source = Source("test.cues", SHOW.format(far=FAR))
    sensor = told(source, source.text.index("knob:"), made, None)
    assert sensor is not None
    assert "says how far `bow` goes" in sensor.markdown
    cue = told(source, source.text.index("bow "), made, None)
    assert cue is not None
    assert "goes as far as knob from 10 % to 90 %, 20 % to 100 %, else 50 %" in cue.markdown


def test_a_source_s_new_name_reaches_the_cue() -> None:
    made = loaded()
    names = ShowNames(made.items)
    one = names.at(SHOW.index("knob"))
    assert one is not None
    assert len(renamed(made, one, "dial")) == 2
