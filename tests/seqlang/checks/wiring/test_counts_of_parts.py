"""How many parts a show and a board may have, from both sides of each limit.

The limits of a board are its player's (`sim.rulebook`, the chip's entry); those of a show are this
tool's own. Pins repeat and clash here: only the one finding is asked for.
"""

from __future__ import annotations

import pytest

from firmware_gen.chips.atmega328p import CHIP
from seqlang.check import check
from seqlang.checks.wiring import rig_too_large
from seqlang.loading import load_text
from seqlang.text.findings import Finding
from seqlang.text.source import Source
from sim.rulebook import CUES, INPUTS, OUTPUTS

SUPPLY = "supply pack\n    source adapter 6 V, 10 A\n"
SERVO = """    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 90 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6.0 V
    load 20 g at 50 mm
"""
HOLD = "    hold 1 s\n"


def boards(count: int) -> str:
    return "".join(
        f"board b{n}: atmega328p, address {n + 1}\n    feed pack\n" for n in range(count)
    )


def servos(count: int, on: int = 9) -> str:
    return "".join(f"servo s{n}: b{n % on} pin PB1\n{SERVO}" for n in range(count))


def lamps(count: int, on: int = 1) -> str:
    return "".join(f"lamp l{n}: b{n % on} pin PD6\n" for n in range(count))


def inputs(count: int, on: int = 1) -> str:
    return "".join(f"input {1 + n % 31}: b{n % on} pin PC0\n" for n in range(count))


def cues(count: int, does: str = HOLD) -> str:
    return "".join(f"cue c{n}\n{does}" for n in range(count))


def found(name: str, *parts: str) -> list[Finding]:
    loaded = load_text(Source("t.cues", SUPPLY + "".join(parts)))
    assert [one for one in loaded.findings if one.severity == "error"] == []
    return [one for one in check(loaded).findings if one.name == name]


@pytest.mark.parametrize(
    ("what", "limit", "rig"),
    [
        ("boards", 16, boards),
        ("servos", 64, lambda n: boards(9) + servos(n)),
        ("outputs", 256, lambda n: boards(9) + lamps(n, on=9)),
        ("wired buttons", 256, lambda n: boards(16) + inputs(n, on=16)),
        ("cues", 512, lambda n: boards(1) + cues(n)),
    ],
)
def test_a_show_may_have_so_many_and_not_one_more(what: str, limit: int, rig) -> None:  # type: ignore[no-untyped-def]
    assert found("rig-too-large", rig(limit)) == []
    (finding,) = found("rig-too-large", rig(limit + 1))
    assert (finding.asked, finding.limit, finding.unit) == (limit + 1, limit, what)
    assert finding.severity == "error"


@pytest.mark.parametrize(
    ("what", "limit", "rig"),
    [
        ("servos", CHIP.servos, lambda n: servos(n, on=1)),
        ("outputs", OUTPUTS, lamps),
        ("inputs", INPUTS, inputs),
    ],
)
def test_a_board_may_have_so_many_and_not_one_more(what: str, limit: int, rig) -> None:  # type: ignore[no-untyped-def]
    assert [f for f in found("board-overfull", boards(1), rig(limit)) if f.unit == what] == []
    (finding,) = (f for f in found("board-overfull", boards(1), rig(limit + 1)) if f.unit == what)
    assert (finding.asked, finding.limit) == (limit + 1, limit)


GLOW = "    l0 fade to 50 % in 1 s\n"
STILL, OTHER = f"cue still\n{GLOW}", "cue other\n    l1 fade to 9 % in 1 s\n"


@pytest.mark.parametrize(
    ("count", "more", "full"),
    [
        (CUES, "", []),
        (CUES + 1, "", ["b0"]),
        # a cue that uses nothing of a board does not count there, whether it idles or not
        (CUES, OTHER, []),
        (CUES - 1, f"{STILL}{OTHER}idle: go still\n", []),
        (CUES, f"{STILL}{OTHER}idle: go still\n", ["b0"]),
        (CUES, f"{OTHER}idle: go other\n", []),
    ],
)
def test_a_board_holds_the_cues_of_its_outputs_whether_it_idles_or_not(
    count: int, more: str, full: list[str]
) -> None:
    rig = boards(2) + lamps(2, on=2)
    told = [f for f in found("board-overfull", rig, cues(count, GLOW), more) if f.unit == "cues"]
    assert [name for name in ("b0", "b1") for f in told if f"`{name}`" in f.message] == full


def test_moves_are_not_counted_where_the_rig_itself_is_too_large(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(rig_too_large, "MOST_MOVES", 1)
    moves = "cue a\n    s0 to 40 deg in 2 s\n    s0 to 10 deg in 2 s\n"
    assert len(found("rig-too-large", boards(9), servos(64), moves)) == 1
    (one,) = found("rig-too-large", boards(9), servos(65), moves)
    assert one.unit == "servos"
