"""Writes the shared vectors: `python -m tests.firmware_gen.make_vectors`.

A player in any language can be held against `vectors/*.json`. Each file is a list of cases:

    title     what the case is about
    table     the table in hexadecimal
    frames    how many frames to play
    requests  [frame, kind, a, b]: given before the frame of that number is played. Kinds: trigger
              (a: tag), button (a: number, b: 1 down, 0 up), stop, limp, standby, heard, jog
              (a: servo, b: pulse; the link refuses it unless the board is limp, so the player
              does nothing then)
    shown     [frame, outputs in hexadecimal] of some frames
    digests   the first 8 bytes of SHA-256 over the outputs of each stretch of 50 frames
    end       mode, live runs, mask of running cues, refused requests, overruns after the last frame

The outputs of a frame in bytes: pulses and duties as u16 (little-endian), the strips' bytes as they
go out, one byte for each switch (1: on), each kind in the table's order.

`refused.json` holds other cases: a table and the code of the reason for which it is refused.
`checked.json` holds more of them, also tables that are accepted (code 0) or have two faults.
`link.json` holds what is done to a board over a link with faults: see `link_script.py`.
`led.json` holds boards that lead and boards that follow: see `led_vectors.py`.
`senses.json` holds boards with senses: see `senses_vectors.py`.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from random import Random
from typing import Any

from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import TableError
from firmware_gen.table.records import Table
from tests.firmware_gen import (
    checked_tables,
    led_vectors,
    link_cases,
    rule_tables,
    senses_vectors,
    tables_by_hand,
)
from tests.firmware_gen.evil_tables import EVIL, requests_for
from tests.firmware_gen.link_script import ReferenceBench, SecondBench, cells_of, recorded
from tests.firmware_gen.malformed_tables import MALFORMED
from tests.firmware_gen.random_tables import Request, random_requests, random_table
from tests.firmware_gen.requests import replaying

FOLDER = Path(__file__).parent / "vectors"
STRETCH = 50


def case(
    title: str, table: Table, requests: Sequence[Request], frames: int, shown_every: int = 25
) -> dict[str, Any]:
    """A case with the reference player's outputs."""
    player = Player(table)
    raws = [frame.raw for frame in replaying(player, requests, frames)]
    return {
        "title": title,
        "table": encode(table).hex(),
        "frames": frames,
        "requests": [list(request) for request in requests],
        "shown": [[number, raws[number].hex()] for number in range(0, frames, shown_every)],
        "digests": [
            sha256(b"".join(raws[start : start + STRETCH])).hexdigest()[:16]
            for start in range(0, frames, STRETCH)
        ],
        "end": [
            int(player.mode),
            player.live_runs,
            player.running_cues,
            player.refused,
            player.overruns,
        ],
    }


SEEDS = range(24)
"""Of random tables."""


def random_cases(frames: int = 400) -> list[dict[str, Any]]:
    """Random tables with random requests; the seed is in the title."""
    cases = []
    for seed in SEEDS:
        dice = Random(seed)
        table = random_table(dice)
        requests = random_requests(dice, table, frames)
        cases.append(case(f"random table, seed {seed}", table, requests, frames, 100))
    return cases


def refused_cases() -> list[dict[str, Any]]:
    return [
        {"title": title, "table": data.hex(), "code": code_of(data)}
        for title, data, _, _ in MALFORMED
    ]


def rule_cases() -> list[dict[str, Any]]:
    return [case(*one) for one in rule_tables.CASES]


def checked_cases() -> list[dict[str, Any]]:
    tables = (*checked_tables.AT_THE_LIMITS, *checked_tables.pairs(), *checked_tables.at_the_end())
    return [{"title": title, "table": data.hex(), "code": code_of(data)} for title, data in tables]


def code_of(data: bytes) -> int:
    """The reason for which the table is refused; 0: it is accepted."""
    try:
        decode(data)
    except TableError as error:
        return error.code
    return 0


def link_recorded() -> list[dict[str, Any]]:
    return [one | {"steps": _answered(one)} for one in link_cases.all_cases()]


def _answered(one: dict[str, Any]) -> list[list[Any]]:
    """The steps with the reference board's answers; it knows no merged table, the second does."""
    merged = bytes.fromhex(one["merged"])
    bench = SecondBench if merged else ReferenceBench
    return recorded(bench(cells_of(one), merged), one["steps"])


def by_hand_cases() -> list[dict[str, Any]]:
    cases = [case(*one) for one in tables_by_hand.CASES]
    for title, table in EVIL.items():
        cases.append(case(f"evil: {title}", table, requests_for(table, 300), 300))
    return cases


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    for name, cases in (
        ("rules", rule_cases()),
        ("by_hand", by_hand_cases()),
        ("random", random_cases()),
        ("refused", refused_cases()),
        ("checked", checked_cases()),
        ("link", link_recorded()),
        ("led", led_vectors.all_cases()),
        ("senses", senses_vectors.all_cases()),
    ):
        text = "[\n" + ",\n".join(json.dumps(one) for one in cases) + "\n]\n"
        (FOLDER / f"{name}.json").write_text(text, encoding="ascii", newline="\n")


if __name__ == "__main__":
    main()
