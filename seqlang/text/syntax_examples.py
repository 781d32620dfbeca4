"""Wrong lines with what to say about them: what is due there, and how to write it."""

from __future__ import annotations

from typing import Final, NamedTuple

from firmware_gen.chips import FIRST


class Example(NamedTuple):
    """What to say about texts that fail like `wrong`: what is due there, and how to write it."""

    due: str
    help: str
    wrong: tuple[str, ...]


def _cue(*lines: str) -> str:
    return "cue a\n" + "".join(f"    {line}\n" for line in lines)


def _in(header: str, *lines: str) -> str:
    return header + "\n" + "".join(f"    {line}\n" for line in lines)


_SERVO: Final = "servo jaw: body pin PB1"

BLOCK_DUE: Final = Example(
    "this line needs an indented block below it",
    "write its statements below it, each with four more spaces in front",
    (
        "cue a\n",
        _cue("together"),
        _cue("in turn", "hold 3 s"),
        "cue a\ncue b\n    hold 3 s\n",
        "pose a\n",
        "supply a\n",
        "remote\n",
        "wearer\n",
        "usage\n",
    ),
)

LAW_DUE: Final = Example(
    "a motion law is needed after the comma",
    "one of uniform, parabolic, trapezoid 1/3, harmonic, cycloidal, 3-4-5, 4-5-6-7, "
    "modified sine, modified trapezoid, double-S 1/3, 1/2",
    (_cue("jaw to 30 deg in 2 s,"), _cue("jaw to 30 deg in 2 s, smooth")),
)

EXAMPLES: Final[tuple[Example, ...]] = (
    Example(
        "`include` needs the path of a file, in quotes",
        'such as `include "rig.cues"`',
        ("include\n", "include 3\n", "include a\n"),
    ),
    Example(
        "a gesture has a name; behind `:` stand its parameters, each with a value or its kind",
        "such as `gesture wave: reach 40 deg, beat time`",
        (
            "gesture\n",
            "gesture 3\n",
            "gesture a b\n",
            "gesture a: 3\n",
            "gesture a:\n",
            "gesture a: b\n",
            "gesture a: b 3 s c\n",
        ),
    ),
    Example(
        "after what is played, only `,` and a gesture's values by their names may follow",
        "such as `play wave, reach 30 deg`",
        (_cue("play a, b"), _cue("play a, 3 s"), _cue("play a b")),
    ),
    Example(
        "`seed` needs a number, from 0 to 255",
        "such as `cue gaze, seed 12`",
        ("cue a, seed\n    hold 3 s\n", "cue a, seed b\n    hold 3 s\n"),
    ),
    Example("a pose has a name", "such as `pose shut`", ("pose\n", "pose 3\n", "safe pose\n")),
    Example(
        "a move needs to say how long it takes",
        "add `in 300 ms`, `at 90 deg/s` or `as fast as it can`",
        (
            _cue("jaw to 30 deg"),
            _cue("jaw to (a + 3 deg)"),
            _cue("jaw to 30 deg, cycloidal"),
            _cue("jaw and fin to 30 deg"),
            _cue("jaw to 30 deg, fin to 20 deg"),
        ),
    ),
    Example(
        "a fade needs to say how long it takes",
        "add `in 2 s`, or write `cut to` for a change at once",
        (_cue("belly fade to orange 80 %"), _cue("belly fade to orange"), _cue("lure fade to off")),
    ),
    Example(
        "a pose needs to say how long it takes to get there",
        "add `in 1 s`",
        (_cue("pose shut"),),
    ),
    Example(
        "outputs with the same target are joined by `and`",
        "such as `jaw and fin to 30 deg in 300 ms`",
        (_cue("jaw, fin to 30 deg in 2 s"), _cue("jaw and fin, tail to 30 deg in 2 s")),
    ),
    Example(
        "after an output, say what it does",
        "such as `to 30 deg in 300 ms`, `fade to 50 % in 2 s`, `cut to 80 %`, `on`, `off`, or an "
        "effect such as `breathe every 3 s`",
        (_cue("jaw 30 deg in 2 s"), _cue("jaw"), _cue("jaw = 30 deg"), _cue("jaw: 3")),
    ),
    Example(
        "`fade` needs `to` and a light",
        "such as `fade to orange 80 % in 2 s`",
        (_cue("belly fade orange in 2 s"), _cue("belly fade")),
    ),
    Example("`cut` needs `to` and a light", "such as `cut to 80 %`", (_cue("belly cut orange"),)),
    Example(
        "a target is needed after `to`",
        "an angle such as `30 deg`",
        (_cue("jaw to in 2 s"), _cue("jaw to")),
    ),
    Example(
        "a light is needed after `fade to`",
        "such as `80 %` for a lamp, `orange 80 %` or `#ff8000` for a strip, or `off`",
        (_cue("belly fade to in 2 s"), _cue("belly fade to")),
    ),
    Example(
        "a time is needed after `in`",
        "such as `in 300 ms`",
        (_cue("jaw to 30 deg in"), _cue("jaw to 30 deg in, cycloidal")),
    ),
    Example(
        "a speed is needed after `at`",
        "such as `at 90 deg/s`",
        (_cue("jaw to 30 deg at"),),
    ),
    LAW_DUE,
    Example(
        "the move ends here; only a comma and a law, `anticipation` or `overshoot` may follow",
        "such as `jaw to 30 deg in 2 s, cycloidal, overshoot`; otherwise begin a new line",
        (_cue("jaw to 30 deg in 2 s smooth"),),
    ),
    Example(
        "the move ends here; only a comma and a law may follow",
        "such as `jaw to 30 deg at 90 deg/s, cycloidal`; otherwise begin a new line",
        (_cue("jaw to 30 deg at 90 deg/s smooth"),),
    ),
    Example(
        "the fade ends here",
        "begin a new line for what comes next",
        (_cue("belly fade to 50 % in 2 s smooth"),),
    ),
    Example(
        "`trapezoid` needs the share of the time in which it speeds up",
        "such as `trapezoid 1/3`",
        (_cue("jaw to 30 deg in 2 s, trapezoid"),),
    ),
    Example(
        "`double-S` needs two shares: one of the time, to speed up, and one of that, for jerk",
        "such as `double-S 1/3, 1/2`",
        (_cue("jaw to 30 deg in 2 s, double-S"), _cue("jaw to 30 deg in 2 s, double-S 1/3")),
    ),
    Example(
        "`within` needs three limits: speed, acceleration and jerk",
        "such as `within 200 deg/s, 1500 deg/s2, 20000 deg/s3`",
        (
            _cue("jaw to 30 deg within"),
            _cue("jaw to 30 deg within 200 deg/s"),
            _cue("jaw to 30 deg within 200 deg/s, 3 deg/s2"),
            _cue("jaw to 30 deg within 200 deg/s,"),
        ),
    ),
    Example(
        "a move within limits ends here: it has no law",
        "such as `within 200 deg/s, 1500 deg/s2, 20000 deg/s3`; otherwise begin a new line",
        (
            _cue("jaw to 30 deg within 200 deg/s, 3 deg/s2, 4 deg/s3, cycloidal"),
            _cue("jaw to 30 deg within 200 deg/s, 3 deg/s2, 4 deg/s3 smooth"),
            _cue("jaw to (a + 3 deg) within 200 deg/s, 3 deg/s2, 4 deg/s3, cycloidal"),
        ),
    ),
    Example(
        "`hold` needs a time",
        "such as `hold 500 ms`",
        (_cue("hold"), _cue("hold for 3 s")),
    ),
    Example(
        "`at` needs a time on the cue's clock",
        "such as `at 12.4 s`: it waits until the cue has run for that time",
        (_cue("at"), _cue("at 3 s 4 s"), _cue("at:")),
    ),
    Example(
        "`stagger` needs the time from one start to the next",
        "such as `stagger 80 ms`",
        (_cue("stagger", "    jaw to 3 deg in 2 s"),),
    ),
    Example(
        "`repeat` needs to say how often",
        "`repeat 3 times`, `repeat for ever` or `repeat while held`",
        (_cue("repeat", "    hold 2 s"), _cue("repeat 3", "    hold 2 s"), _cue("repeat for 3 s")),
    ),
    Example(
        "`play` needs the name of a cue or of a gesture",
        "such as `play blink`",
        (_cue("play"), _cue("play 3")),
    ),
    Example(
        "an effect's options are `every`, `depth`, `seed` and `width`",
        "such as `breathe every 3 s, depth 60 %`",
        (_cue("belly breathe 3 s"), _cue("belly breathe every 3 s, 40 %")),
    ),
    Example(
        "`every` belongs to an effect or to `breathing`; a pause is `hold`",
        "such as `hold 2 s`; in a strand of idle `hold 2 s .. 6 s`, drawn anew at each pass",
        (_cue("every 3 s"), _cue("every 2 s to 6 s")),
    ),
    Example(
        "a cue's header is its name and, in quotes, its title",
        'such as `cue lure "The lure beckons"`, then maybe `, if busy wait`',
        ("cue\n", 'cue "a"\n', "cue a b\n", "cue a:\n    hold 2 s\n", 'cue a "b" c\n'),
    ),
    Example(
        "after the comma comes what the cue does when an output is taken, its seed, or how far it "
        "goes",
        "such as `, if busy take`, `, if busy wait` or `, if busy refuse`; `, seed 12`; `, as far "
        "as knob from 10 % to 90 %`",
        ("cue a, wait\n",),
    ),
    Example(
        "after the comma comes what the cue does when an output is taken",
        "`, if busy take`, `, if busy wait` or `, if busy refuse`",
        ("cue a, if busy\n", "cue a, if wait\n"),
    ),
    Example(
        "how far a cue goes is read off a channel or a sensor, between two of its values",
        "such as `cue bow, as far as knob from 10 % to 90 %`",
        (
            "cue a, as far as b\n    hold 3 s\n",
            "cue a, as far as 3 %\n    hold 3 s\n",
            "cue a, as far as b 3 %\n    hold 3 s\n",
        ),
    ),
    Example(
        "a servo, lamp, strip or switch needs its board and pin",
        "such as `servo jaw: body pin PB1`",
        (
            "servo jaw\n",
            "servo jaw:\n",
            "servo jaw: body\n",
            "servo jaw: PB1\n",
            "servo jaw: body pin\n",
            "servo jaw body pin PB1\n",
            "lamp a\n",
            "strip a\n",
            "switch a\n",
        ),
    ),
    Example(
        "a board needs its chip and its address",
        f"such as `board body: {FIRST.name}, address 1`",
        ("board body\n", "board body:\n", f"board body: {FIRST.name}\n", "board body: a, 1\n"),
    ),
    Example(
        "`feed` names a supply and maybe its wire",
        "such as `feed pack, 600 mm of 20 AWG`",
        (_in("board a: b, address 1", "feed"), _in("board a: b, address 1", "feed a, 3 m")),
    ),
    Example(
        "`source` is cells or an adapter",
        "such as `source 2 li-ion cells, 3000 mAh` or `source adapter 6 V, 5 A`",
        (
            _in("supply a", "source"),
            _in("supply a", "source 2 cells"),
            _in("supply a", "source 2 li-ion"),
            _in("supply a", "source 2 li-ion cells"),
            _in("supply a", "source adapter 6 V"),
        ),
    ),
    Example(
        "`regulator` needs a voltage and a current",
        "such as `regulator 6 V, 5 A`",
        (_in("supply a", "regulator"), _in("supply a", "regulator 6 V")),
    ),
    Example(
        "`pulse` pairs pulse widths with angles, lengths or speeds",
        "such as `pulse 900 us at 0 deg, 2100 us at 90 deg`",
        (_in(_SERVO, "pulse"), _in(_SERVO, "pulse 900 us"), _in(_SERVO, "pulse 900 us to 3 us")),
    ),
    Example(
        "`travel` needs two angles, lengths or speeds",
        "such as `travel 2 deg to 55 deg`",
        (_in(_SERVO, "travel"), _in(_SERVO, "travel 2 deg"), _in(_SERVO, "travel 2 deg, 3 deg")),
    ),
    Example(
        "`rating` needs speed, stall torque or force and stall current, and their voltage",
        "such as `rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V`",
        (
            _in(_SERVO, "rating"),
            _in(_SERVO, "rating 3 rpm"),
            _in(_SERVO, "rating 3 rpm, 3 N.m"),
            _in(_SERVO, "rating 3 rpm, 3 N.m, 3 A"),
        ),
    ),
    Example(
        "`on` names the servo whose part this one stands on, and where on it",
        "such as `on root at 300 mm, weighs 20 g`",
        (_in(_SERVO, "on"), _in(_SERVO, "on root"), _in(_SERVO, "on root, weighs 3 g")),
    ),
    Example(
        "`on` and `off` act at once: nothing may follow",
        "waits stand on lines of their own, such as `at 2 s` and below it `fan on`; a level is "
        "`cut to 60 %`",
        tuple(
            _cue(f"fan {state} {more}")
            for state in ("on", "off")
            for more in ("at 2 s", "2 s", "in 2 s", "for 2 s", "after 2 s", "then", "(3 s + 2 s)")
        ),
    ),
    Example(
        "`load` is a mass at a distance, a rod, a plate or a box",
        "such as `load 120 g at 80 mm`, `load rod 40 g, 120 mm`, `load plate 60 g, 90 mm by 50 mm`",
        (
            _in(_SERVO, "load"),
            _in(_SERVO, "load rod 3 g"),
            _in(_SERVO, "load plate 3 g, 3 mm"),
            _in(_SERVO, "load box 3 g, 3 mm by 3 mm"),
        ),
    ),
    Example(
        "`grips` needs a force and its distance, where the part meets what it holds, and for how "
        "long at one go",
        "such as `grips 8 N at 60 mm, past 40 deg, for 2 s`",
        (
            _in(_SERVO, "grips"),
            _in(_SERVO, "grips 3 N"),
            _in(_SERVO, "grips 3 N at 3 mm"),
            _in(_SERVO, "grips 3 N at 3 mm, for 3 s"),
            _in(_SERVO, "grips 3 N at 3 mm, past 3 deg"),
        ),
    ),
    Example(
        "`stalls` needs where the part meets what it holds, and for how long at one go",
        "such as `stalls past 40 deg, for 500 ms`",
        (
            _in(_SERVO, "stalls"),
            _in(_SERVO, "stalls for 3 s"),
            _in(_SERVO, "stalls past 3 deg"),
        ),
    ),
    Example(
        "`follows` needs a channel, a sensor or, for a lamp, a servo; two of its values, and where "
        "the output is at each",
        "such as `follows stick from 1000 us to 2000 us, 0 deg to 40 deg`; for a lamp such as "
        "`follows jaw from 5 deg to 40 deg, 0 % to 70 %`",
        (
            *(
                _in(header, f"follows{words}")
                for header in (_SERVO, "lamp a: b pin PD6")
                for words in ("", " 3", " a", " a from", " a from 3 ms", " a from 3 ms to 4 ms")
            ),
        ),
    ),
    Example(
        "`shows` needs the lamp whose level the strip shows",
        "such as `shows breath` or `shows breath from the middle`",
        (_in("strip a: b pin PD7", "shows"), _in("strip a: b pin PD7", "shows 3")),
    ),
    Example(
        "`balance` needs three shares: of red, of green and of blue",
        "such as `balance 100 %, 88 %, 72 %`",
        tuple(
            _in("strip a: b pin PD7", f"balance{shares}")
            for shares in ("", " 3 %", " 3 %,", " 3 %, 4 %", " 3 %, 4 %,", " 3 % 4 % 5 %")
        ),
    ),
    Example(
        "a lamp has one colour: only a strip has a `balance`",
        "a lamp that is too bright needs a `trim`, such as `trim 80 %`",
        (_in("lamp a: b pin PD6", "balance 3 %, 4 %, 5 %"),),
    ),
    Example(
        "`drum` needs its diameter, to the middle of the cord",
        "such as `drum 30 mm` or `drum 30 mm, efficiency 90 %`",
        (_in(_SERVO, "drum"), _in(_SERVO, "drum 30 mm 3")),
    ),
    Example(
        "`rack` needs how far it goes in a turn, or the pinion's module and teeth",
        "such as `rack 60 mm per turn` or `rack module 1 mm, 20 teeth`",
        (
            _in(_SERVO, "rack"),
            _in(_SERVO, "rack 60 mm"),
            _in(_SERVO, "rack module 1 mm"),
            _in(_SERVO, "rack module 1 mm, 20"),
        ),
    ),
    Example(
        "only a line of a servo can stand here",
        "its lines start with pulse, trim, travel, rating, load, level, axis, spring, friction, "
        "gear, levers, four-bar, rotor, time constant, backlash, acceleration, limits, idling, "
        "dead band, tip, nip, grips, stalls, follows, ram, drum, rack or slope",
        (_in(_SERVO, "3"), _in(_SERVO, "travel 3 deg to 5 deg", "3")),
    ),
    Example(
        "`mirror` names both sides",
        "such as `mirror left, right`",
        (
            "mirror\n",
            "mirror left\n",
            "mirror left right\n",
            "mirror left and right\n",
            "mirror 3\n",
        ),
    ),
    Example(
        "`row` says how many things are in it",
        "such as `row of 5`",
        ("row\n", "row of\n", "row of a\n", "row finger of 5\n"),
    ),
    Example(
        "this goes along a row, or along both sides",
        "such as `along feather`, `along feather from the middle` or `along left, right`",
        (
            _cue("stagger 3 s along", "hold 3 s"),
            _cue("in turn along", "hold 3 s"),
            _cue("in turn along 3", "hold 3 s"),
            _cue("in turn along a b", "hold 3 s"),
            _cue("in turn along a and b", "hold 3 s"),
            _cue("in turn along a from", "hold 3 s"),
            _cue("stagger 3 s along a backwards", "hold 3 s"),
        ),
    ),
    Example(
        "a channel has a name, a board and a pin; its bands may stand below it",
        "such as `channel stick: box pin PL0`, and `button 5 from 1700 us to 2100 us` below it",
        (
            "channel\n",
            "channel a\n",
            "channel a: b\n",
            "channel a: b pin\n",
            "channel 3\n",
            _in("channel a: b pin PL0", "button 5"),
            _in("channel a: b pin PL0", "button 5 from"),
            _in("channel a: b pin PL0", "button 5 from 1700 us"),
            _in("channel a: b pin PL0", "button 5 from 1700 us to"),
        ),
    ),
    Example(
        "a sensor has a name, a board and a pin",
        "such as `sensor voice: box pin PF0`",
        (
            "sensor\n",
            "sensor a\n",
            "sensor a: b\n",
            "sensor a: b pin\n",
            "sensor 3\n",
        ),
    ),
    Example(
        "a sensor line is `quiet below` with a share, or `rises in` or `falls in` with a time",
        "such as `quiet below 12 %`, `rises in 20 ms` or `falls in 200 ms`",
        (
            _in("sensor a: b pin PF0", "quiet below"),
            _in("sensor a: b pin PF0", "quiet 12 %"),
            _in("sensor a: b pin PF0", "rises in"),
            _in("sensor a: b pin PF0", "rises 20 ms"),
            _in("sensor a: b pin PF0", "falls in"),
            _in("sensor a: b pin PF0", "falls 20 ms"),
        ),
    ),
    Example(
        "a board watches its battery at a pin, behind a divider, or directly",
        "such as `watch pin PF1, divider 22 kohm over 15 kohm` or `watch direct`",
        (
            _in("board a: b, address 1", "watch"),
            _in("board a: b, address 1", "watch pin"),
            _in("board a: b, address 1", "watch pin PF1"),
            _in("board a: b, address 1", "watch pin PF1, divider"),
            _in("board a: b, address 1", "watch pin PF1, divider 22 kohm"),
            _in("board a: b, address 1", "watch pin PF1, divider 22 kohm over"),
            _in("board a: b, address 1", "watch PF1, divider 22 kohm over 15 kohm"),
        ),
    ),
    Example(
        "a watch warns and stops below a voltage of one cell",
        "such as `warns below 3.4 V` or `stops below 3.2 V`",
        (
            _in("board a: b, address 1", "watch direct, warns"),
            _in("board a: b, address 1", "watch direct, warns below"),
            _in("board a: b, address 1", "watch direct, stops 3 V"),
            _in("board a: b, address 1", "watch direct, reference"),
        ),
    ),
    Example(
        "a low battery starts a cue with `go`",
        "such as `battery low: go warn`",
        (
            _in("remote", "battery"),
            _in("remote", "battery low"),
            _in("remote", "battery low:"),
            _in("remote", "battery low: warn"),
        ),
    ),
    Example(
        "a button starts a cue with `go`",
        "such as `button 1: go lure` or `button 2: go chew while held`",
        (
            _in("remote", "button"),
            _in("remote", "button 1"),
            _in("remote", "button 1 go a"),
            _in("remote", "button 1: a"),
            _in("remote", "button 1: go"),
            _in("remote", "button 1: go a, while held"),
        ),
    ),
    Example(
        "`stop` names its button, or how long the move to the safe pose takes",
        "such as `stop button 4` or `stop in 1.5 s`",
        (_in("remote", "stop"), _in("remote", "stop 4"), _in("remote", "stop: button 4")),
    ),
    Example(
        "`lost` needs a time and a cue",
        "such as `lost 2 s: go rest`",
        (_in("remote", "lost"), _in("remote", "lost 2 s"), _in("remote", "lost 2 s, go rest")),
    ),
    Example(
        "`idle` names the cues that go on where no other cue plays",
        "such as `idle: go breathe, blink` or `idle: go breathe, back in 1 s`",
        (
            *("idle\n", "idle doze\n", "idle: doze\n", "idle: go\n"),
            *("idle: go breathe and blink\n", "idle: go doze, back 1 s\n"),
        ),
    ),
    Example(
        "a constant needs `=` and a value",
        "such as `given pace = 300 ms`",
        ("given\n", "given a\n", "given a 3 ms\n", "given a =\n"),
    ),
    Example("`show` needs its title in quotes", 'such as `show "My first show"`', ("show a\n",)),
    Example(
        "a pose gives each output its place",
        "such as `jaw 4 deg, belly off, fan on`",
        (_in("pose a", "jaw"), _in("pose a", "jaw to 4 deg"), _in("pose a", "jaw 4 deg,")),
    ),
    Example(
        "in brackets, an operator stands between two amounts",
        "such as `(beat * 1.5 + 20 ms)`",
        (
            _cue("hold ()"),
            _cue("hold (3 s +)"),
            _cue("hold (3 s"),
            _cue("hold (3 s 4 s)"),
            _cue("hold (* 3 s)"),
        ),
    ),
    Example(
        "`usage` says how often a cue runs, or how long a charge lasts",
        "such as `lure 20 per hour` or `run time 4 h`",
        (_in("usage", "a"), _in("usage", "a 20"), _in("usage", "run time")),
    ),
    Example(
        "this line cannot stand at the left margin",
        "lines at the left margin start with show, given, wearer, supply, board, servo, lamp, "
        "strip, switch, input, channel, sensor, pose, safe pose, cue, gesture, idle, remote, "
        "usage, mirror, row or include; is the indentation missing?",
        ("jaw to 30 deg in 3 s\n", "3\n", "hold 3 s\n", "to 3\n"),
    ),
)
