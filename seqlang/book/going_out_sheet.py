"""What to go through before the rig goes out, and the cautions in full."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from seqlang.book.paper import BLANK, paragraph, points, section, subtitle, table
from seqlang.cautions import ALL, DEFER
from seqlang.checks.figures import figure
from sim.model import Cells, Servo, bound_lines

if TYPE_CHECKING:
    from seqlang.book.matter import BookMatter


_PRESSED: Final = {
    "down": "pressed",
    "long": "held for long",
    "twice": "pressed twice",
    "up": "let go",
}


def checklist(matter: BookMatter) -> str:
    """Boxes to tick, with this show's own figures (common practice, no source)."""
    return section(
        "checklist",
        "Before going out",
        points(_steps(matter), "ticks"),
        subtitle("Signed"),
        table(("Builder", "Wearer", "Helper", "Date"), [(BLANK,) * 4]),
        subtitle("Notes of the day"),
        table(("Cue", "What went wrong, and when"), [(BLANK,) * 2] * 4),
    )


def _steps(matter: BookMatter) -> Iterator[str]:
    rig, score = matter.show.rig, matter.show.score
    number = matter.number
    yield f"`bellcrank status --all` names show {number} for every board, and asks for nothing"
    for supply in rig.supplies:
        if isinstance(supply.source, Cells):
            yield f"pack of `{supply.name}`: charged, not swollen, seated; a spare is with you"
        else:
            yield f"adapter of `{supply.name}`: its lead is out of the way of feet"
        if supply.fuse_a is not None:
            yield f"fuse of `{supply.name}` is {figure(supply.fuse_a)} A; two spares are with you"
    yield "the switch in the supply's lead is in reach, and wearer and helper have both used it"
    yield "every plug is seated; every wire that crosses a joint has its strain relief"
    if any(isinstance(one, Servo) for one in rig.outputs):
        yield "hands, hair and faces are clear; power on; the parts go to the safe pose"
        yield "each part has gone to both ends of its travel without touching anything"
    for line in sorted(bound_lines(score), key=lambda line: line[0].button):
        cues = ", then ".join(f"`{one.cue}`" for one in line)
        pressed = _PRESSED[line[0].kind]
        yield f"button {line[0].button} was {pressed}: {cues} plays as the cue sheet says"
    for source in dict.fromkeys(follow.source for follow in rig.follows):
        led = [follow.output for follow in rig.follows if follow.source == source]
        led += [bar.strip for bar in rig.bars if bar.lamp in led]
        moves = any(isinstance(one, Servo) and one.name in led for one in rig.outputs)
        also = ", and touched nothing" if moves else ""
        yield f"`{source}` went all its way: {', '.join(led)} followed{also}"
    for board in rig.boards:
        if board.watch is not None:
            yield f"`bellcrank status` tells the battery of `{board.name}` as a meter does"
    if score.stop_button is not None:
        stop = score.stop_button
        yield f"button {stop} was pressed in mid-cue: the parts go to the safe pose, then go limp"
    if score.lost_ms is not None:
        after = figure(score.lost_ms / 1000)
        yield f"the remote was switched off: after {after} s `{score.lost_cue}` played"
    yield "after ten minutes of the real show no servo, regulator or light is too hot to touch"
    yield "the wearer got out within seconds: alone, in the dark, with the power off"
    yield "the helper knows the cue sheet, the switch, and how the wearer gives a sign"


def cautions_sheet(matter: BookMatter) -> str:
    """Each caution that the show gives reason for, with its figures; the rule that comes first."""
    found = {finding.name: finding for finding in matter.cautions}
    parts = []
    for caution in ALL:
        finding = found.get(caution.name)
        if finding is None:
            continue
        figures = [note for note in finding.notes if note not in (*caution.words, DEFER)]
        heading = f"{caution.title[:1].upper()}{caution.title[1:]}"
        told = "" if figures else finding.message.removeprefix(caution.title).removeprefix(": ")
        inner = subtitle(heading) + points([*([told] if told else []), *figures, *caution.words])
        parts.append(f'<div class="caution">{inner}</div>')
    return section(
        "cautions",
        "Cautions",
        paragraph(f"{DEFER[:1].upper()}{DEFER[1:]}."),
        *parts,
    )
