"""The one builder of small shows as text, and what checking them finds.

    show(jaw={"travel": "5 deg to 50 deg"}, cues={"snap": "jaw to 40 deg in 1 s"})

gives a whole show that passes every check; a test names only what it changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import dedent, indent

from seqlang.check import Checked, check
from seqlang.loading import load_text
from seqlang.text.findings import Finding
from seqlang.text.findings import applied as mended
from seqlang.text.reading_kinds import READING
from seqlang.text.source import Source

OF_READING = {kind.partition(":")[0] for _, kinds in READING.values() for kind in kinds}
"""Findings that a text gives before any check looks at it."""

SERVO = {
    "pulse": "900 us at 0 deg, 2100 us at 90 deg",
    "travel": "0 deg to 60 deg",
    "rating": "0.15 s/60deg, 10 kgf.cm, 2 A at 6.0 V",
    "load": "60 g at 50 mm",
    "rotor": "0 g.cm2",
}
"""A servo's lines by their first word; without a rotor, figures by hand are short. 10 kgf.cm are
0.980665 N.m exactly (NIST SP 811, B.8); 0.15 s/60deg are 400 deg/s."""

ADAPTER = "source adapter 6.0 V, 6 A"
CELLS = "source 2 li-ion cells, 3000 mAh\nregulator 6.0 V, 5 A"
SNAP = "jaw to 40 deg in 1 s\njaw to 0 deg in 1 s"
LAMP = "lamp lure: body pin PD3\n    leds 1 of 3.0 V, 20 mA\n"
REMOTE = "button 1: go snap\nstop button 2"

Lines = Mapping[str, str | None]


def block(head: str, body: str) -> str:
    """A statement with its body below it, from the left margin or indented as one."""
    return f"{head}\n{indent(dedent(body), '    ')}\n"


def servo(name: str, pin: str, lines: Lines | None = None, board: str = "body") -> str:
    """A servo; `lines` replace those of `SERVO` or add to them, None drops one."""
    whole = {**SERVO, **(lines or {})}
    words = [f"{word} {text}" for word, text in whole.items() if text is not None]
    return block(f"servo {name}: {board} pin {pin}", "\n".join(words))


def show(
    *,
    title: str = "Test",
    given: str = "",
    supply: str | None = ADAPTER,
    feed: str = "600 mm of 18 AWG",
    jaw: Lines | None = None,
    still: bool = False,
    rig: str | Sequence[str] = "",
    poses: str = "",
    cues: Mapping[str, str] | None = None,
    score: str = "",
    remote: str | None = REMOTE,
) -> str:
    """A show of one jaw on one board.

    `supply`: the supply's lines, None for no supply; `feed`: the wire, empty for none. `still`:
    without the jaw. `rig`: further boards and outputs, whole. `cues`: bodies by heading, in the
    place of the cue `snap`; `score`: whole statements after them. `remote`: its lines, None for
    none.
    """
    bodies = {"snap": SNAP} if cues is None else cues
    feeds = "" if supply is None else ", ".join(filter(None, ("    feed pack", feed))) + "\n"
    parts = [
        f'show "{title}"\n',
        given,
        "" if supply is None else block("supply pack", supply),
        f"board body: atmega328p, address 1\n{feeds}",
        "" if still else servo("jaw", "PB1", jaw),
        *([rig] if isinstance(rig, str) else rig),
        poses,
        *(block(f"cue {name}", body) for name, body in bodies.items()),
        score,
        "" if remote is None else block("remote", remote),
    ]
    return "".join(part if part.endswith("\n") or not part else f"{part}\n" for part in parts)


def along(
    body: str = "jaw to 40 mm in 3 s\njaw to 2 mm in 4 s",
    supply: str | None = ADAPTER,
    **lines: str | None,
) -> str:
    """A show of one jaw that a servo of 60 N pushes along a line."""
    line: dict[str, str | None] = {
        "pulse": "1000 us at 0 mm, 2000 us at 50 mm",
        "travel": "2 mm to 48 mm",
        "rating": "40 mm/s, 60 N, 2 A at 6.0 V",
        "load": "400 g",
        "slope": "30 deg",
        "rotor": None,
        **lines,
    }
    poses = "safe pose low\n    jaw 2 mm\n"
    return show(jaw=line, poses=poses, cues={"snap": body}, supply=supply)


def checked(text: str) -> Checked:
    return check(load_text(Source("test.cues", text)))


def findings(text: str, name: str | None = None) -> list[Finding]:
    """What checking the show finds: of one kind, or everything but cautions.

    A check looks at nothing that could not be read, and finds nothing there: a show that is asked
    about one must be readable.
    """
    found = checked(text).findings
    if name is None:
        return [one for one in found if not one.name.startswith("caution-")]
    if name not in OF_READING:
        assert [one for one in found if one.name in OF_READING and one.severity == "error"] == []
    return [one for one in found if one.name == name]


def applied(text: str, finding: Finding) -> str:
    """The show with the finding's suggested change made."""
    assert finding.fix is not None, finding
    return mended(text, finding.fix)
