"""A whole show that passes, line by line by name, so that one line at a time can be wrong."""

from __future__ import annotations

from typing import Final

LINES: Final[tuple[tuple[str, str], ...]] = (
    ("show", 'show "Fins"'),
    ("given", "given beat = 400 ms"),
    ("tint", "given glow = #ff8000"),
    ("wearer", "wearer"),
    ("tilt", "    tilt 10 deg"),
    ("near", "    near upper_arm"),
    ("air", "    air 25 C"),
    ("margin", "    margin 20 %"),
    ("gait", "    walks"),
    ("wind", "    wind 2 m/s"),
    ("viewed", "    viewed from 60 cm"),
    ("supply", "supply pack"),
    ("source", "    source 2 li-ion cells, 3000 mAh, 60 mohm"),
    ("regulator", "    regulator 6 V, 5 A, dropout 0.4 V, efficiency 92 %"),
    ("fuse", "    fuse 5 A"),
    ("wall", "supply wall"),
    ("adapter", "    source adapter 6 V, 3 A"),
    ("board", "board body: atmega328p, address 1"),
    ("feed", "    feed pack, 600 mm of 18 AWG"),
    ("second", "board tail: atmega328p, address 2"),
    ("tailfeed", "    feed wall, 300 mm of 18 AWG"),
    ("servo", "servo jaw: body pin PB1"),
    ("pulse", "    pulse 900 us at 0 deg, 2100 us at 90 deg"),
    ("travel", "    travel 0 deg to 60 deg"),
    ("rating", "    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V"),
    ("load", "    load 60 g at 60 mm, ahead 5 deg"),
    ("level", "    level at 10 deg, sinks"),
    ("spring", "    spring 0.5 mN.m/deg, neutral at 20 deg"),
    ("friction", "    friction 10 mN.m"),
    ("gear", "    gear 1, efficiency 85 %"),
    ("deadband", "    dead band 4 us"),
    ("fin", "servo left_fin: body pin PB2"),
    ("finpulse", "    pulse 900 us at 0 deg, 2100 us at 90 deg"),
    ("fintravel", "    travel 0 deg to 60 deg"),
    ("finrating", "    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V"),
    ("finload", "    load rod 20 g, 100 mm, from 10 mm"),
    ("lamp", "lamp lure: body pin PD6"),
    ("leds", "    leds 1 of 3.0 V, 15 mA"),
    ("strip", "strip belly: body pin PD7"),
    ("pixels", "    pixels 20, order grb, each 20 mA"),
    ("cap", "    cap 500 mA"),
    ("switch", "switch fan: body pin PD4"),
    ("draws", "    draws 100 mA"),
    ("mirror", "mirror port, starboard"),
    ("ear", "    servo ear: tail pin (port: PB1, starboard: PB2)"),
    ("earpulse", "        pulse 900 us at 0 deg, 2100 us at 90 deg"),
    ("eartrim", "        trim (port: 4 us, starboard: -6 us)"),
    ("eartravel", "        travel 0 deg to 60 deg"),
    ("earrating", "        rating 0.10 s/60deg, 1.8 kgf.cm, 0.7 A at 6 V"),
    ("earload", "        load rod 6 g, 60 mm"),
    ("perk", "    cue perk"),
    ("perked", "        ear to 50 deg at 60 deg/s"),
    ("row", "row of 3"),
    ("tuft", "    lamp tuft: tail pin (PD3, PD5, PD6)"),
    ("tuftleds", "        leds (1, step 1) of 2.0 V, 10 mA"),
    ("input", "input 5: body pin PC0, active low"),
    ("safe", "safe pose shut"),
    ("spots", "    jaw 4 deg, left_fin 0 deg, lure off, belly off, fan off"),
    ("pose", "pose wide"),
    ("wide", "    jaw 40 deg, belly orange 60 %"),
    ("gesture", "gesture snip: claw servo, reach 40 deg, beat time"),
    ("snap", "    claw to reach in beat"),
    ("part", "    claw to 5 deg in (2 * beat)"),
    ("cue", 'cue act "The lure beckons", if busy take'),
    ("move", "    jaw to 30 deg in 900 ms"),
    ("hold", "    hold 600 ms"),
    ("both", "    jaw and left_fin to 20 deg in 900 ms, cycloidal"),
    ("fade", "    lure fade to 60 % in 2 s"),
    ("glow", "    belly fade to orange 40 % in 2 s"),
    ("cut", "    lure cut to 40 %"),
    ("effect", "    lure breathe every 4 s, depth 30 %"),
    ("steady", "    lure steady"),
    ("on", "    fan on"),
    ("off", "    fan off"),
    ("strike", "    pose wide in 2 s"),
    ("together", "    together"),
    ("inside", "        jaw to 10 deg in 1 s"),
    ("beside", "        left_fin to 40 deg in 1 s"),
    ("repeat", "    repeat 3 times"),
    ("again", "        jaw to 30 deg in 800 ms"),
    ("back", "        jaw to 10 deg in 800 ms"),
    ("tufts", "    tuft_1 through tuft_2 fade to (20 %, step 5 %) in 1 s, uniform"),
    ("along", "    stagger 200 ms along tuft from the middle"),
    ("alonged", "        tuft fade to off in 1 s, uniform"),
    ("sides", "    in turn along port, starboard"),
    ("ears", "        ear to 20 deg at 60 deg/s"),
    ("leftear", "    port_ear to (port: 10 deg, starboard: 20 deg) at 60 deg/s"),
    ("perkup", "    play starboard_perk"),
    ("play", "    play rest"),
    ("rest", "cue rest"),
    ("resting", "    pose shut in 3 s"),
    ("bite", "cue bite"),
    ("gestured", "    play snip, claw left_fin, beat 800 ms"),
    ("breath", "    hold 8 s, left_fin breathing 2 deg every 4 s"),
    ("strikes", "    left_fin to 30 deg in 2 s, cycloidal, anticipation, overshoot 4 %"),
    ("letgo", "    when let go"),
    ("loose", "        left_fin to 10 deg in 900 ms"),
    ("doze", "cue doze"),
    ("dozing", "    tuft_1 fade to 40 % in 2 s"),
    ("idle", "idle: go rest, doze, back in 900 ms"),
    ("remote", "remote"),
    ("button", "    button 1: go act"),
    ("bitten", "    button 6: go bite"),
    ("held", "    button 5: go act while held"),
    ("lost", "    lost 2 s: go rest"),
    ("stop", "    stop button 4"),
    ("stoptime", "    stop in 2 s"),
    ("usage", "usage"),
    ("rate", "    act 20 per hour"),
    ("runtime", "    run time 1 h"),
)

NAMES: Final = frozenset(name for name, _ in LINES)


def with_line(name: str, text: str) -> str:
    """The show with a line, or the lines, written in the place of the line called `name`.

    The first of several takes the indentation of the line it stands for, the others keep what they
    have beyond it. An empty text leaves the line out.
    """
    assert name in NAMES, name
    written = []
    for each, line in LINES:
        if each != name:
            written.append(line)
            continue
        inset = line[: len(line) - len(line.lstrip())]
        written += [inset + part for part in text.split("\n")] if text else []
    return "\n".join(written) + "\n"
