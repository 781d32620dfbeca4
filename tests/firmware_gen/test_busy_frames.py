"""What is said of a table's fullest frames is what the player comes to when it plays it."""

from __future__ import annotations

from random import Random

from firmware_gen.compiler.show import CompiledBoard, compile_show
from firmware_gen.listing.busy_frames import busy
from firmware_gen.player.player import Player
from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.rulebook import OPS_A_FRAME

PINS = ("PH3", "PH4", "PH5", "PH6", "PL3")


def steps(dice: Random, names: list[str], deep: int, count: int) -> list[str]:
    """Statements for these lamps, crowded or not, with repeats in and beside one another."""
    lines: list[str] = []
    for _ in range(count):
        kind = dice.choice(("fade", "together", "together", "repeat", "hold", "turn"))
        if kind == "hold":
            lines.append(f"hold {dice.choice((1, 2, 20, 70))} ms")
        elif kind == "fade" or not deep:
            level, lasts_ms = dice.randrange(20, 23), dice.choice((1, 1, 1, 2))
            lines.append(f"{dice.choice(names)} fade to {level} % in {lasts_ms} ms")
        elif kind == "together" and len(names) > 1:
            lines.append("together")
            for name in names:
                inner = steps(dice, [name], deep - 1, dice.randrange(1, 4))
                lines += ["    in turn", *(f"        {line}" for line in inner)]
        else:
            times = dice.choice((2, 5, 40))
            lines.append(f"repeat {times} times" if kind == "repeat" else "in turn")
            inner = steps(dice, names, deep - 1, dice.randrange(1, 5))
            lines += [f"    {line}" for line in ("hold 1 ms", *inner)]
    return lines


def text(seed: int) -> str:
    dice = Random(seed)
    names = [f"lamp_{n}" for n in range(dice.randrange(3, 6))]
    lamps = "".join(
        f"lamp {name}: body pin {pin}\n" for name, pin in zip(names, PINS, strict=False)
    )
    cues = "".join(
        f"\ncue cue_{n}\n"
        + "".join(f"    {line}\n" for line in steps(dice, names, 2, dice.randrange(4, 40)))
        for n in range(2)
    )
    return f"""\
show "Crowded"

supply pack
    source adapter 6.0 V, 3 A

board body: atmega2560, address 1
    feed pack, 600 mm of 20 AWG

{lamps}{cues}
remote
    button 1: go cue_0
    button 3: go cue_1
    stop button 2
"""


def made(seed: int) -> CompiledBoard:
    show = load_text(Source("crowded.cues", text(seed))).show
    assert show is not None
    return compile_show(show).boards[0]


def overruns(board: CompiledBoard, tag: int) -> bool:
    """Whether the player comes to a frame with too much to do, while it plays one cue."""
    player = Player(board.data)
    player.frame()
    player.frame()
    player.trigger(tag)
    player.frame()
    while player.live_runs and not player.overruns:
        player.frame()
    return player.overruns > 0


SEEDS = range(20)


def test_a_cue_is_named_if_and_only_if_it_overfills_a_frame_of_the_player() -> None:
    named = quiet = 0
    for seed in SEEDS:
        board = made(seed)
        alone = {crowd.cue: crowd.ops for crowd in busy(board).alone}
        assert all(ops > OPS_A_FRAME for ops in alone.values())
        for index, cue in enumerate(board.table.cues):
            assert overruns(board, cue.tag) == (index in alone), (seed, index)
            named += index in alone
            quiet += index not in alone
    assert named > 5
    assert quiet > 20
