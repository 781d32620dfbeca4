"""A channel that is put somewhere in a rehearsal presses what it would on the board."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given, settings

from firmware_gen.chips.atmega2560 import CHIP
from sim.model import (
    Band,
    Binding,
    Board,
    Channel,
    Cue,
    Hold,
    InTurn,
    Lamp,
    Press,
    Repeat,
    Rig,
    Score,
    Show,
    Throw,
)
from sim.rehearsal.channels import radio_of, radio_silence
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.requests import Request
from sim.rehearsal.run_through import played_out
from sim.rulebook import CHANNEL_GOOD, CHANNEL_LOST_FRAMES, FRAME_MS
from tests.firmware_gen.random_tables import dices
from tests.properties.test_player_rehearsal import agree, random_presses, random_show_with_strands
from tests.sim.small_shows import FAN

STICK = Channel("stick", "head", 35, (Band(1700, 2100, 1), Band(900, 1300, 2)))
READY_MS = 1000


def show_of(*, leads: bool = False, lost: bool = False) -> Show:
    on = Cue("on", "", InTurn((Throw("fan", True), Hold(400), Throw("fan", False))))
    off = Cue("off", "", Throw("fan", False))
    boards = (Board("head", "atmega2560", 1, leads=leads), Board("tail", "atmega2560", 2))
    score = Score("one", (on, off), (Binding(1, "on"), Binding(2, "off")))
    if lost:
        score = replace(score, lost_ms=2000, lost_cue="off")
    return Show(Rig(boards=boards, outputs=(FAN,), channels=(STICK,)), score)


def put(at_ms: int, value: float | None) -> Press:
    return Press(at_ms, source="stick", value=value)


def test_a_channel_counts_after_ten_pulses_and_presses_once_two_of_three_lie_in_the_band() -> None:
    radio = radio_of(show_of(), "head", [put(1000, 1500), put(2000, 1700), put(3000, 1500)])
    assert radio.requests == {101: [Request("down", button=1)], 151: [Request("up", button=1)]}
    live = 50 + CHANNEL_GOOD - 1
    assert radio.values["stick"] == [(0, None), (live, 3000), (101, 3400), (151, 3000)]
    assert radio.heard == ((live, float("inf")),)


def test_what_stands_in_a_band_as_the_channel_appears_presses_nothing() -> None:
    presses = [put(0, 1800), put(2000, 1500), put(3000, 1800)]
    radio = radio_of(show_of(), "head", presses)
    assert list(radio.requests) == [151]


def test_a_band_is_left_25_us_beyond_its_end() -> None:
    presses = [put(0, 1500), put(1000, 1700), put(2000, 1675), put(3000, 1674.5)]
    radio = radio_of(show_of(), "head", presses)
    assert list(radio.requests) == [51, 151]


def test_a_channel_without_pulses_lets_go_half_a_second_later() -> None:
    radio = radio_of(show_of(), "head", [put(0, 1500), put(1000, 1800), put(2000, None)])
    lost = 100 + CHANNEL_LOST_FRAMES - 1
    assert radio.requests[lost] == [Request("up", button=1)]
    assert radio.values["stick"][-1] == (lost, None)
    assert radio.heard == ((CHANNEL_GOOD - 1, 99),)


def test_a_button_that_a_stick_has_let_go_is_not_let_go_again_when_the_radio_is_lost() -> None:
    presses = [put(0, 1500), put(1000, 1800), put(2000, 1500), put(3000, None)]
    radio = radio_of(show_of(), "head", presses)
    assert radio.requests == {51: [Request("down", button=1)], 101: [Request("up", button=1)]}


def test_pulses_that_no_radio_gives_are_none() -> None:
    radio = radio_of(show_of(), "head", [put(0, 700), put(1000, 2300)])
    assert radio.heard == ()
    assert radio.requests == {}


def test_two_settings_within_one_frame_are_the_second() -> None:
    presses = [put(0, 1500), put(1001, 1800), put(1015, 1500)]
    assert radio_of(show_of(), "head", presses).requests == {}


def test_a_board_of_its_own_obeys_its_own_channels_and_all_obey_those_of_one_that_leads() -> None:
    presses = [put(0, 1500), put(1000, 1800)]
    assert radio_of(show_of(), "tail", presses).requests == {}
    led = show_of(leads=True)
    told, leads = (radio_of(led, name, presses) for name in ("tail", "head"))
    assert (told.requests, told.heard) == (leads.requests, leads.heard)


def test_the_cue_of_a_band_plays_in_a_rehearsal() -> None:
    played = played_out(show_of(), [put(0, 1500), put(READY_MS, 1800)])
    (run,) = [one for one in played.runs if one.cue == "on"]
    # the second pulse in the band counts, and a frame shows what holds at its start
    assert run.start_ms == READY_MS + FRAME_MS - FRAME_MS
    assert run.end_ms - run.start_ms == pytest.approx(400, abs=1)
    assert played.length_ms > run.end_ms


def test_a_radio_that_falls_silent_starts_the_cue_for_it() -> None:
    show = show_of(lost=True)
    played = rehearse(show, [put(0, 1500), put(5000, None)], 9000)
    (run,) = [one for one in played.runs if one.cue == "off" and one.board == "head"]
    # last heard in frame 249; a hundred frames later nobody has been
    assert run.start_ms == 4980 + 2000 - FRAME_MS
    # the remote that is heard all the time starts nothing
    assert not [one for one in rehearse(show, [], 9000).runs if one.cue == "off"]
    told = rehearse(show, [put(0, 1500), put(5000, None)], 9000, silences=())
    assert not [one for one in told.runs if one.cue == "off"]


def test_nothing_but_the_radio_is_heard_once_a_channel_is_set() -> None:
    assert radio_silence(show_of(), [put(1010, 1500)]) == [(1020.0, float("inf"))]
    assert radio_silence(show_of(), [Press(0, button=1)]) == []


@given(dices())
@settings(max_examples=60, deadline=None)
def test_random_sticks_press_in_a_rehearsal_as_on_the_player(dice: Random) -> None:
    """The channels of two boards, moved, silenced and brought back beside the buttons."""
    show = with_channels(dice, random_show_with_strands(dice))
    presses = (*random_presses(dice, show, 9_000), *moves(dice, show, 9_000))
    assert agree(show, presses, 9_500)


@given(dices())
@settings(max_examples=20, deadline=None)
def test_a_radio_alone_steers_a_random_show_as_on_the_player(dice: Random) -> None:
    show = with_channels(dice, random_show_with_strands(dice))
    score = replace(show.score, lost_ms=dice.choice((500, 2000)), lost_cue=show.score.cues[0].name)
    show = replace(show, score=score)
    assert agree(show, moves(dice, show, 9_000), 9_500)


def with_channels(dice: Random, show: Show) -> Show:
    """Its boards can hear a radio, and up to two channels press its buttons."""
    boards = tuple(replace(board, chip="atmega2560") for board in show.rig.boards)
    buttons = [one.button for one in show.score.bindings]
    channels = []
    for name, pin in (("stick", CHIP.pin("PL0")), ("knob", CHIP.pin("PL1"))):
        edges = sorted(dice.sample(range(800, 2200, 25), 4))
        bands = (
            Band(edges[0], edges[1], dice.choice(buttons)),
            Band(edges[2], edges[3], dice.choice(buttons)),
        )
        channels.append(Channel(name, dice.choice(boards).name, pin, bands))
    outputs = tuple(
        replace(one, pin=CHIP.pin("PB7")) if isinstance(one, Lamp) else one
        for one in show.rig.outputs
    )
    return Show(Rig(boards=boards, outputs=outputs, channels=tuple(channels)), show.score)


def moves(dice: Random, show: Show, length_ms: int) -> tuple[Press, ...]:
    """Sticks that are put anywhere at any millisecond, often and seldom."""
    found = []
    for channel in show.rig.channels:
        at, value = dice.randint(0, 800), 1500.0
        while at < length_ms:
            kind = dice.random()
            if kind < 0.15:
                found.append(Press(at, source=channel.name, value=None))
            else:
                edges = [band.low_us for band in channel.bands] + [channel.bands[0].high_us + 25]
                value = dice.choice((*edges, 750.0, dice.randrange(1600, 4400) / 2, value))
                found.append(Press(at, source=channel.name, value=value))
            at += dice.choice((3, 20, 60, 190, 230, 510, 1500))
    return tuple(found)


def test_what_follows_hears_a_channel_of_its_own_board_also_under_a_board_that_leads() -> None:
    """The stick of a board that follows moves parts there; it presses nothing and is no remote."""
    led = show_of(leads=True, lost=True)
    knob = Channel("knob", "tail", 35, (Band(1700, 2100, 1),))
    show = replace(led, rig=replace(led.rig, channels=(STICK, knob)))
    presses = [Press(at, source="knob", value=us) for at, us in ((0, 1500), (1000, 1800))]
    radio = radio_of(show, "tail", presses)
    assert list(radio.values) == ["knob"]
    assert radio.values["knob"][-1][1] == 3600
    assert (dict(radio.requests), radio.heard) == ({}, ())
    assert list(radio_of(show, "head", presses).values) == ["stick"]
    assert radio_silence(show, presses) == []
    assert played_out(show, presses).runs == ()


@pytest.mark.parametrize(
    ("pulse_us", "presses"), [(1699, False), (1700, True), (2100, True), (2101, False)]
)
def test_a_cue_without_an_end_is_watched_if_the_stick_is_put_into_its_band(
    pulse_us: float, presses: bool
) -> None:
    """Both ends belong to the band. One pass of the cue takes 20 s."""
    body = InTurn((Throw("fan", True), Hold(12_000), Throw("fan", False), Hold(8000)))
    show = show_of()
    cues = (Cue("on", "", Repeat(body, None)), show.score.cues[1])
    show = replace(show, score=replace(show.score, cues=cues))
    played = played_out(show, [put(0, 1500), put(1000, pulse_us)])
    assert (played.length_ms >= 21_000) == presses
