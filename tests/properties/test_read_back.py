"""A table read back to text is the same score, or says what of it is not."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from random import Random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import shows as demo_shows
from firmware_gen.chips import CHIPS
from firmware_gen.compiler.show import CompiledBoard, CompileError, compile_show
from firmware_gen.listing.statements import strip_light
from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import ALONE, LEADS
from firmware_gen.table.ops import ActOp
from firmware_gen.table.records import (
    ChannelRecord,
    CueRecord,
    FollowRecord,
    LampRecord,
    ServoRecord,
    ShineRecord,
    Table,
    WatchRecord,
)
from seqlang.loading import load, load_text
from seqlang.meaning.write_table import text_of_table
from seqlang.text.format import formatted
from seqlang.text.source import Source
from sim.light.lightness import channel_levels
from sim.model import Fade, Show, StripLight
from sim.score.tree import acts
from tests.firmware_gen.random_tables import dices, random_requests, random_table
from tests.firmware_gen.requests import replaying
from tests.firmware_gen.tables_by_hand import servo
from tests.seqlang.read_back import again, rated, score_of, table_again
from tests.sim.small_shows import shows

DEMOS = sorted(Path(demo_shows.__file__).parent.glob("*/*.cues"))
FRAMES = 400


def boards_of(path: Path) -> list[CompiledBoard]:
    """Its boards but for one that leads: that decides about cues of which only the others know."""
    show = load(path).show
    assert show is not None
    return [one for one in compile_show(show).boards if one.table.role != LEADS]


def nameless(table: Table) -> Table:
    """The score of a board alone, without what hangs on the names of cues."""
    cues = tuple(replace(cue, tag=0) for cue in table.cues)
    lost_time = 0 if table.lost is None else table.lost_time
    return replace(score_of(table), cues=cues, role=ALONE, lost_time=lost_time)


def with_limits_of(table: Table, other: Table) -> Table:
    """What a table holds beside its score, and the tags of cues, from another one."""
    outputs = tuple(
        replace(one, speed_limit=two.speed_limit, acceleration_limit=two.acceleration_limit)
        if isinstance(one, ServoRecord) and isinstance(two, ServoRecord)
        else one
        for one, two in zip(table.outputs, other.outputs, strict=True)
    )
    cues = tuple(replace(one, tag=two.tag) for one, two in zip(table.cues, other.cues, strict=True))
    return replace(table, outputs=outputs, cues=cues)


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_a_demo_show_comes_back_from_its_tables_to_the_byte_of_its_score(path: Path) -> None:
    for board in boards_of(path):
        said, show = again(board.data, board)
        assert said.left_out == ()
        assert "does not go back" not in said.text
        assert score_of(table_again(show)) == replace(score_of(board.table), role=ALONE)


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_without_the_file_only_the_tags_of_cues_differ(path: Path) -> None:
    for board in boards_of(path):
        said, show = again(board.data)
        assert nameless(table_again(show)) == nameless(board.table)
        cues = board.table.cues
        parts = {after.tag for one, after in pairwise(cues) if one.lets_go}
        for cue in cues:
            assert (f"Tag {cue.tag:04X}:" in said.text) != (cue.tag in parts)


@settings(max_examples=60, deadline=None)
@given(shows(), dices())
def test_a_random_show_comes_back_as_the_same_performance(show: Show, dice: Random) -> None:
    fades = [act for cue in show.score.cues for act in acts(cue.body) if isinstance(act, Fade)]
    assume(all(fade.duration_ms for fade in fades))  # no text says a fade of no time
    try:
        boards = compile_show(show).boards
    except CompileError:
        assume(False)
    for board in boards:
        if not board.table.cues:
            continue
        said, back = again(board.data)
        assert said.left_out == (), said.text
        made = with_limits_of(table_again(back), board.table)
        assert nameless(made).cues == nameless(board.table).cues
        requests = random_requests(dice, board.table, FRAMES)
        wanted = replaying(Player(board.table), requests, FRAMES)
        for one, two in zip(wanted, replaying(Player(made), requests, FRAMES), strict=True):
            assert one.raw == two.raw, said.text


@settings(max_examples=40, deadline=None)
@given(dices(), st.sampled_from(sorted(CHIPS)))
def test_of_any_table_each_cue_is_said_or_stands_in_the_listings_words(
    dice: Random, chip: str
) -> None:
    table = random_table(dice, CHIPS[chip])
    said = text_of_table(encode(table))
    source = Source("read.cues", said.text)
    assert formatted(source).text == said.text
    assert "syntax" not in {one.name for one in load_text(source).findings}
    lines = said.text.splitlines()
    comments = " ".join(line[2:] for line in lines if line.startswith("# "))
    heads = {line.split()[1].rstrip(",") for line in lines if line.startswith("cue ")}
    parts = {number + 1 for number, cue in enumerate(table.cues) if cue.lets_go}
    for number, cue in enumerate(table.cues):
        if number in parts:
            continue
        name = f"cue_{cue.tag:04x}"
        assert (name in heads) != (f"Cue {name} does not go back" in comments)
        assert (name in said.left_out) != (name in heads)


@given(st.tuples(*[st.integers(0, 255)] * 3), st.integers(0, 200))
def test_the_light_of_a_strip_comes_back_to_the_same_levels(
    colour: tuple[int, int, int], half_pct: int
) -> None:
    levels = channel_levels(StripLight(colour, half_pct / 2))
    light, is_exact = strip_light(levels)
    assert is_exact == (channel_levels(light) == levels)
    near = zip(channel_levels(light), levels, strict=True)
    assert all(abs(one - two) <= 1 for one, two in near)


LIVE = """
show "Sticks, a voice and presses"
supply pack
    source adapter 6 V, 5 A
board box: atmega2560, address 1
    feed pack, 300 mm of 18 AWG
servo neck: box pin PA0
    pulse 900 us at -45 deg, 2100 us at 45 deg
    travel -40 deg to 40 deg
    rating 0.10 s/60deg, 90 kgf.cm, 9 A at 6 V
    follows stick from 1000 us to 2000 us, -30 deg to 30 deg, in 800 ms, mixed with idle
servo jaw: box pin PA2
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.10 s/60deg, 90 kgf.cm, 9 A at 6 V
    follows voice from 10 % to 60 %, 50 deg to 0 deg, in 330 ms
lamp eye: box pin PH6
    leds 2 of 3.2 V, 20 mA
    follows voice from 0 % to 100 %, 10 % to 80 %, in 450 ms
input 1: box pin PC0, active low, settles 64 ms
input 2: box pin PC1, active low
channel stick: box pin PL0
channel switch: box pin PL1
    button 3 from 900 us to 1300 us
    button 4 from 1600 us to 2100 us
sensor voice: box pin PF0
    quiet below 12 %
    rises in 20 ms
    falls in 200 ms
cue nod, if busy wait
    neck to 20 deg in 900 ms
    neck to 0 deg in 900 ms
cue wink
    eye fade to 80 % in 900 ms
cue gape
    jaw to 30 deg in 900 ms
remote
    button 1: go nod
    button 1 twice: go wink
    button 1 long 900 ms: go gape
    button 2: go next of nod, wink, gape
    button 3: go wink while held
    button 4: go gape until pressed again
"""


@pytest.mark.parametrize("is_named", [True, False])
def test_channels_sensors_what_follows_them_and_presses_come_back(is_named: bool) -> None:
    found = load_text(Source("live.cues", LIVE))
    assert [one.message for one in found.findings if one.severity == "error"] == []
    assert found.show is not None
    (board,) = compile_show(found.show).boards
    assert len(board.table.senses) == 10
    said, back = again(board.data, board if is_named else None)
    assert said.left_out == ()
    assert "does not go back" not in said.text.lower()
    made = table_again(back)
    if is_named:
        assert made.senses == board.table.senses
        assert made.bindings == board.table.bindings
        for line in (
            "follows     channel_PL0 from 1000 us to 2000 us, -30 deg to 30 deg, in 800 ms, mixed",
            "follows     sensor_PF0 from 10 % to 60 %, 50 deg to 0 deg, in 330 ms",
            "follows     sensor_PF0 from 0 % to 100 %, 10 % to 80 %, in 450 ms",
            "quiet below 12 %",
            "rises in 0.02 s",
            "go next of nod, wink, gape",
        ):
            assert line in said.text
    assert made.inputs == board.table.inputs


WATCHED = """
show "A battery, a radio and lamps that follow moves"
supply pack
    source 2 li-ion cells, 3000 mAh
    fuse 5 A
board box: atmega2560, address 1, leads
    feed pack, 300 mm of 18 AWG
    watch pin PF1, divider 18 kohm over 22 kohm, warns below 3.5 V, stops below 3.2 V
    radio 38400 baud, late by 7 ms
servo neck: box pin PA0
    pulse 900 us at -45 deg, 2100 us at 45 deg
    travel -40 deg to 40 deg
    rating 0.10 s/60deg, 90 kgf.cm, 9 A at 6 V
servo fin: box pin PA2
    pulse 900 us at 0 mm, 2100 us at 90 mm
    travel 0 mm to 60 mm
    rating 400 mm/s, 90 N, 9 A at 6 V
lamp eye: box pin PH6
    leds 2 of 3.2 V, 20 mA
    follows neck from -12.5 deg to 30 deg, 10.5 % to 80 %
lamp lure: box pin PH5
    leds 2 of 3.2 V, 20 mA
    follows fin from 90 mm/s to 10 mm/s, 60 % to 10 %
board tail: atmega2560, address 2
    feed pack, 300 mm of 18 AWG
lamp tip: tail pin PH6
    leds 2 of 3.2 V, 20 mA
cue nod
    neck to 20 deg in 900 ms
    neck to 0 deg in 900 ms
cue warn
    fin to 10 mm in 900 ms
    fin to 0 mm in 900 ms
cue flare
    tip fade to 60 % in 900 ms
    tip fade to off in 900 ms
remote
    button 1: go nod
    button 2: go flare
    battery low: go warn
"""


def with_battery(text: str) -> str:
    """The text with a battery of two cells, and the watch as its comment asks for it."""
    lines = text.replace("\n    # ", " ").splitlines()
    (asked,) = (line for line in lines if "fill in: watch" in line)
    found = re.search(r"warns below (\S+) V / N, stops below (\S+) V / N", asked)
    assert found is not None
    low, stop = (float(one) / 2 for one in found.groups())
    how, full = (
        re.search(r"watch (direct, reference \S+ V)", asked),
        re.search(r"at (\S+) V$", asked),
    )
    if how is None:
        assert full is not None
        pin = asked.split("pin ")[1].split(",")[0]
        share = 5.0 / float(full[1])  # the chip runs from 5 V
        how_said = (
            f"pin {pin}, divider {10_000 * (1 - share):.2f} ohm over {10_000 * share:.2f} ohm"
        )
    else:
        how_said = how[1]
    watch = f"    watch {how_said}, warns below {low:g} V, stops below {stop:g} V"
    supply = "supply pack\n    source 2 li-ion cells, 3000 mAh\n    fuse 5 A\n"
    direct = "    logic direct\n" if how else ""
    board = next(line for line in text.splitlines() if line.startswith("board "))
    return text.replace(board, f"{supply}{board}\n    feed pack\n{direct}{watch}")


@pytest.mark.parametrize("is_named", [True, False])
@pytest.mark.parametrize("is_direct", [True, False])
def test_a_watch_a_radio_and_lamps_that_follow_moves_come_back(
    is_named: bool, is_direct: bool
) -> None:
    text = WATCHED
    if is_direct:
        text = text.replace("watch pin PF1, divider 18 kohm over 22 kohm", "watch direct")
        text = text.replace("    radio", "    logic direct\n    radio", 1)
    found = load_text(Source("watched.cues", text))
    assert [one.message for one in found.findings if one.severity == "error"] == []
    assert found.show is not None
    board, tail = compile_show(found.show).boards
    assert len(board.table.senses) == 4
    said = text_of_table(board.data, board if is_named else None)
    assert "does not go back" not in said.text.lower()
    back = load_text(Source("read.cues", rated(with_battery(said.text))))
    assert [one.message for one in back.findings if one.severity == "error"] == []
    assert back.show is not None
    made = compile_show(back.show).boards[0].table
    assert made.senses == board.table.senses
    if is_named:
        lines = " ".join(said.text.split())
        assert "radio 38400 baud, late by 7 ms" in lines
        assert "follows neck from -12.5 deg to 30 deg, 10.5 % to 80 %" in lines
        assert "follows fin from 10 mm/s to 90 mm/s, 10 % to 60 %" in lines
    follower = " ".join(text_of_table(tail.data).text.replace("# ", "").split())
    assert "Below that board's line: radio 38400 baud, late by 7 ms" in follower


def test_what_no_text_says_of_a_battery_or_a_move_stands_in_a_comment() -> None:
    """A lamp that follows a part that a stick moves, and a low battery's cue that is another's
    part: no compiler writes them, and a board takes them."""
    chip = CHIPS["atmega2560"]
    table = Table(
        *(chip.chip_id, 1),
        outputs=(servo(chip.pin("PA0")), LampRecord(chip.pin("PH6"), 0)),
        cues=(CueRecord(77, 1, 0, 1, 0, lets_go=True), CueRecord(78, 1, 0, 1, 0)),
        threads=((ActOp(0, 0, 500, True),),),
        senses=(
            ChannelRecord(chip.pin("PL0")),
            FollowRecord(0, 0, 2000, 4000, 0, 3000, 90, 900),
            ShineRecord(1, 0, False, 0, 3000, 0, 100),
            WatchRecord(None, 1100, 4400, 4000, cue=1),
        ),
    )
    said = text_of_table(encode(table))
    remarks = " ".join(said.text.replace("# ", "").split())
    assert "Does not go back: lamp_PH6 follows servo_PA0 from 0 deg to 30 deg" in remarks
    assert "Does not go back: battery low: go" in remarks
    assert "fill in: watch direct, reference 1.1 V, warns below 4.4 V / N" in remarks
    assert said.show.rig.shines == ()
    assert said.show.score.low_cue is None


def test_cues_that_move_nothing_on_a_board_that_leads_are_kept_and_told() -> None:
    (path,) = (one for one in DEMOS if one.stem == "wings")
    show = load(path).show
    assert show is not None
    leader = next(one for one in compile_show(show).boards if one.table.role == LEADS)
    said = text_of_table(leader.data, leader)
    assert said.waiting == ("beat", "left_beat", "right_beat")
    for name in said.waiting:
        above = said.text.partition(f"\ncue {name}\n    hold ")[0].splitlines()[-1]
        assert above == "# It moves nothing on this board, and waits for theirs."
    head = " ".join(said.text.replace("\n# ", " ").split())
    assert "This board leads. Its cues hold outputs of the boards that follow" in head
    assert text_of_table(boards_of(path)[0].data).waiting == ()
