"""The rule book: every number that a board fixes for a show, each once.

A board plays tables of bytes, so a show has no finer angles, no longer moves and no more cues than
the bytes and the player's memory have room for. The rehearsal, the checks, the language, the
compiler, the players in Python and C (`bc_generated.h`) and the tables of the specifications take
these numbers from here or are tested against them. What differs from chip to chip (pins, servos,
pixels, slots, voltages) stands in the chip's entry in `firmware_gen/chips`; how the bytes lie
stands in `firmware_gen/table/layout.py`; what the serial link fixes in
`firmware_gen/link/protocol.py`.

`Qn` means that a whole number carries n fractional bits.
"""

from __future__ import annotations

from typing import Final

BYTE_MAX: Final = 0xFF
"""The largest number in one byte."""
WORD_MAX: Final = 0xFFFF
"""The largest number in two bytes."""

# -- time -----------------------------------------------------------------------------------------

FRAME_MS: Final = 20
"""ms. One frame: hobby servos take a pulse every 20 ms (common practice, no source)."""
CLOCK_PER_MS: Final = 256
"""Units of the player's clock in a ms. Brakes end between milliseconds: whole ones would show."""
FRAME_S: Final = FRAME_MS / 1000.0
"""s. The same."""
FRAME_CLOCK: Final = FRAME_MS * CLOCK_PER_MS
"""One frame in units of the player's clock."""

LONGEST_DURATION_MS: Final = 65_000
"""ms, of one move, fade or wait: a table states them in 16 bits."""
DURATION_STEP_MS: Final = 10
"""ms. What durations of one byte count: a table's cheapest, and finer than a frame."""

STOP_STEP_MS: Final = FRAME_MS
"""ms. The stop takes whole frames, because the frame decides when it has ended."""
SHORTEST_STOP_MS: Final = STOP_STEP_MS
"""ms. A stop of no duration would be a jump."""
LONGEST_STOP_MS: Final = BYTE_MAX * STOP_STEP_MS
"""ms. The stop time has one byte."""

LOST_STEP_MS: Final = 100
"""ms. Silence before the remote counts as lost: finer than a tenth of a second serves nobody."""
LOST_STEP_FRAMES: Final = LOST_STEP_MS // FRAME_MS
"""Frames of silence in one step."""
SHORTEST_SILENCE_MS: Final = LOST_STEP_MS
"""ms. A lost time of 0 in a table means never."""
LONGEST_SILENCE_MS: Final = BYTE_MAX * LOST_STEP_MS
"""ms. The lost time has one byte."""
SILENCE_MAX_FRAMES: Final = WORD_MAX
"""Frames. A board counts its silence in two bytes and stays at the top."""

ENABLE_INTERVAL_FRAMES: Final = 10
"""Frames between the first pulses of one servo and of the next, so that their starting currents do
not add up."""

LOOK_MS: Final = 8
"""ms between two looks at the input pins."""
LOOKS: Final = 4
"""Looks that must agree to make a new level. Of 18 kinds of contact that J. Ganssle measured, 16
bounced for at most 6.2 ms (ganssle.com/debouncing.htm)."""
SETTLE_MS: Final = LOOKS * LOOK_MS
"""ms. How long a new level of a contact must stand before it counts, at most."""
LONGEST_SETTLE_MS: Final = 15 * SETTLE_MS
"""ms. The same of a contact for which a show states it: the slowest that still feels like a button
(own choice)."""
FOLLOW_MS: Final = 1000
"""ms. In which a part that follows goes from one end of its way to the other at the quickest, where
a show does not say it (own choice)."""

LONG_PRESS_MS: Final = 800
"""ms. A press is long after that, where the show says nothing (common practice, no source)."""
SHORTEST_LONG_PRESS_MS: Final = 200
"""ms. A shorter press than that is just a press (common practice, no source)."""
LONGEST_LONG_FRAMES: Final = 250
"""Frames, 5 s. The time of a long press has one byte."""
SENSES: Final = 48
"""What a board senses beyond plain contacts, of all kinds together: one for each button, and
others."""
CHANNEL_RANGE_US: Final = (800, 2200)
"""us. Channel pulses of hobby radios have 1000 to 2000 us, and some 100 us more with a wide throw
(common practice, no source)."""
CHANNEL_RANGE: Final = (2 * CHANNEL_RANGE_US[0], 2 * CHANNEL_RANGE_US[1])
"""Ticks. What is shorter or longer is not a pulse of a channel."""
CHANNEL_SLACK: Final = 50
"""Ticks, 25 us. A band is left that much beyond its ends: receivers tremble by a few us (common
practice, no source)."""
CHANNEL_GOOD: Final = 10
"""Pulses in a row that make a channel live: about a quarter of a second of clear reception."""
CHANNEL_GAP_FRAMES: Final = 3
"""Frames without a pulse that are no gap: pulses come every 10 to 25 ms, frames every 20."""
CHANNEL_LOST_FRAMES: Final = 25
"""Frames, half a second. Silent for so long, a channel is lost."""
BANDS: Final = 16
"""Of a board's channels together."""
ANSWERING: Final = 15
"""Boards that have a wire back to the board that leads (own limit)."""
CHANNELS: Final = 3
"""Of a board: as many as a chip has timers that measure (an entry may have fewer)."""
SENSOR_ONE: Final = 1024
"""The value of a sensor whose voltage is the chip's own supply; a converter of 10 bits tells up to
one step less."""
SENSOR_BITS: Final = 6
"""Bits behind the point of what a sensor remembers: it then has 16 in all, and its product with a
share fits 32."""
SENSORS: Final = 8
"""Of a board."""
FOLLOW_PLAY: Final = 2
"""Steps of a source, ticks of a channel or 1/1024 of a sensor, by which its value may tremble
before what follows it moves: a part that stands would hum otherwise (common practice, no
source)."""
FASTEST_FOLLOWING: Final = 1 << 25
"""Position units per ms, 10,240 deg/s, of a part that follows: no part is as fast, and ways stay in
32 bits."""
SCALE_BITS: Final = 8
"""Bits behind the point of the scale of a run: 256 steps of 40 deg are finer than a small servo's
dead band."""
SCALE_FULL: Final = 1 << SCALE_BITS
"""The scale of a run that goes as far as its cue says."""
WATCH_PART: Final = 32
"""The mean of a battery's voltage goes this part of its way in a frame: a time constant of 0.64 s,
so that neither a servo's start nor noise is taken for the battery."""
WATCH_SLACK_PART: Final = 32
"""A battery that was low or empty is so no more when it is this part of the limit above it, 3 %: it
recovers a little whenever less is drawn (own choice)."""
LOW_FRAMES: Final = 250
"""Frames, 5 s, without a break below the limit, until a battery counts as low. No move and no stall
that a show may have lasts as long (own choice)."""
EMPTY_FRAMES: Final = 500
"""Frames, 10 s, until a battery counts as empty: a cell takes no harm in so short a time (own
choice)."""
EMPTY_IN_STARTING_FRAMES: Final = 25
"""Frames, half a second, of the same while a board starts: nothing draws much yet."""
REMIND_FRAMES: Final = 3000
"""Frames, one minute, after which the cue for a low battery is started again."""
LONGEST_FILTER_MS: Final = 5000
"""ms. A sensor's slowest time constant: what takes longer is no hand and no voice (own limit)."""
RADIO_LATE_MS: Final = 60
"""ms. A radio may be so late: what starts then is three frames old when it is heard, and is
made good at once."""
TWICE_FRAMES: Final = 20
"""Frames, 400 ms. Two presses that begin within it are a double press (common practice, no
source)."""
STUCK_FRAMES: Final = 1500
"""Frames, 30 s. A button that is down for longer may be stuck: nobody holds one so long in most
shows (own choice)."""

# -- motion ---------------------------------------------------------------------------------------

ANGLE_STEPS_PER_DEG: Final = 100
"""Steps of an angle in a degree: finer than any hobby servo's dead band."""
ANGLE_STEP_DEG: Final = 1.0 / ANGLE_STEPS_PER_DEG
"""deg. Resolution of an angle."""
LARGEST_ANGLE_DEG: Final = 327
"""deg, to either side: the whole degrees that an angle's two bytes hold."""
ANGLE_BITS: Final = 15
"""A player's positions are angle steps in Q15: what a frame of slow motion adds must not vanish."""

PULSE_STEPS_PER_US: Final = 2
"""Steps ("ticks") of a pulse width in a microsecond: a timer at 2 MHz. A step is far under a
servo's dead band."""
PULSE_RANGE_US: Final = (400, 2600)
"""us. What hobby servos are made for lies within (common practice, no source)."""
PULSE_RANGE: Final = (
    PULSE_RANGE_US[0] * PULSE_STEPS_PER_US,
    PULSE_RANGE_US[1] * PULSE_STEPS_PER_US,
)
"""Ticks. The same."""

JOG_STEP_US: Final = 10
"""us, at most, that a jogged pulse changes in a frame. A common servo turns by 180 deg in 4 s so
(own choice): a hand that is in the way gets out of it."""
JOG_STEP: Final = JOG_STEP_US * PULSE_STEPS_PER_US
"""Ticks. The same."""

CALIBRATION_POINTS: Final = range(2, 9)
"""Of a servo, 2 to 8: two give a line, eight the curve of any horn."""

LARGEST_LIMIT: Final = WORD_MAX
"""deg/s and deg/s2. A servo's speed and acceleration limits have two bytes each."""

SHORTEST_MOTION_CLOCK: Final = CLOCK_PER_MS
"""Units of the clock. A move of no duration is given 1 ms, so that its speed has a number."""

# -- motion laws ----------------------------------------------------------------------------------

SHARE_ONE: Final = 1 << 16
"""1 in Q16: progress, positions on a law's curve, alpha and beta."""
SLOPE_ONE: Final = 1 << 14
"""1 in Q14: slopes of a law's curve. They reach 2.2 and fit two bytes."""
COEFFICIENT_ONE: Final = 1 << 12
"""1 in Q12: a law's peak speed Cv and peak acceleration Ca, both rounded up."""
OVERLAP_ONE: Final = 1 << 8
"""1 in Q8: a law's overlap factor K, rounded down, at most 1."""
LEAST_OVERLAP: Final = OVERLAP_ONE // 2
"""Q8. A smaller K counts as 0: to overlap a brake would cost such a move more time than to wait."""
ALPHA_RANGE: Final = (SHARE_ONE >> 10, SHARE_ONE >> 1)
"""Q16. Share of a move spent speeding up; under a thousandth it is a jump of speed."""
BETA_RANGE: Final = (1, SHARE_ONE >> 1)
"""Q16. Share of the speeding up in which the acceleration rises."""
PEAK_MIDDLE: Final = SHARE_ONE >> 1
"""Q16. Where the handbooks' laws are fastest; a table does not state it."""
PEAK_SHARES: Final = (0.26, 0.74)
"""Share of a move at which it is fastest. Nearer to an end, the acceleration there would be twice
that of the even law, and Ca of the steepest law would not fit in the 24 bits that it has."""
PEAK_RANGE: Final = (round(PEAK_SHARES[0] * SHARE_ONE), round(PEAK_SHARES[1] * SHARE_ONE))
"""The same in Q16, as a table has it."""
BRAKE_SLACK_BITS: Final = 16
"""By 2^16 position units (0.02 deg) a board lets a brake end beyond the travel: so near to it the
part may seem by rounding. No pulse goes beyond."""
AHEAD_BITS: Final = 20
"""A target counts as ahead of a brake's end from 2^20 position units (0.32 deg) on: nearer ones
gain nothing by an overlap."""

# -- light ----------------------------------------------------------------------------------------

LEVEL_STEPS_PER_PCT: Final = 2
"""Steps of a light level in a percent of L*: even steps to the eye need no more."""
LEVEL_STEP_PCT: Final = 1.0 / LEVEL_STEPS_PER_PCT
"""Percent of L*. Resolution of a light level."""
LEVEL_MAX: Final = 100 * LEVEL_STEPS_PER_PCT
"""The highest light level, 100 % of L*; it fits a byte."""
LEVEL_BITS: Final = 8
"""A player's levels are steps in Q8, so that slow fades are even."""

CHANNEL_MAX: Final = BYTE_MAX
"""The largest byte of one colour of one pixel (the strips' own protocol)."""
CAP_STEP: Final = 256
"""A strip's current cap counts the sum of its channels' bytes in this unit: it has two bytes."""

SHORTEST_PERIOD_MS: Final = 2 * FRAME_MS
"""ms. An effect's beat: two frames, one up and one down."""
LONGEST_PERIOD_MS: Final = WORD_MAX
"""ms. An effect's beat has two bytes."""
EFFECT_ONE: Final = 1 << 8
"""1 in Q8: an effect's multiplier and its phase."""
EFFECT_STEPS: Final = 16
"""An effect comes and goes over so many frames: 0.32 s (own choice)."""
EFFECT_SOFT_MS: Final = EFFECT_STEPS * FRAME_MS
"""The same in ms."""
TRIM_ONE: Final = 1 << 8
"""1 in the steps of a light's trim."""
SEED_MAX: Final = BYTE_MAX
"""An effect's seed has one byte: 256 patterns."""
DRAW_KEYS: Final = BYTE_MAX
"""Keys of draws have one byte, and 0 stands for no draw."""
CHOICES: Final = 8
"""From how many things one is drawn at most (own limit)."""
CHOICE_DEPTH: Final = 2
"""Choices within one another. Each is a call, and one more is left for what is stored once."""
WAYS_OF_A_PASS: Final = 12
"""Ways through the choices of one pass: the checks let each come after each (own limit)."""
WIDTH_MAX: Final = 100
"""An effect's width: pixels (run), or pixels that are lit of so many (sparkle)."""

# -- cues -----------------------------------------------------------------------------------------

RUNS: Final = 8
"""Cues that run at once on a board: each keeps its place in RAM."""
THREADS: Final = 10
"""Threads that live at once on a board, of all runs together: the same."""
BAR_ENDS: Final = ("the start", "the end", "the middle")
"""Where the bar of a strip that shows a level begins."""

FASTEST_SHINE: Final = WORD_MAX >> 1
"""deg/s. Up to which speed a lamp may shine with a move: a signed word holds it."""
OPS_A_FRAME: Final = 64
"""Ops that a player executes in a frame; without a limit a table could stop the pulses."""
SILENT_OPS_A_FRAME: Final = 64
"""Further ops that a board that follows carries forward in a frame: they move nothing, and must not
hold up what does."""
LATE_FRAMES: Final = 5
"""Frames up to which what was missed of a run on a board that leads is played at once."""
FOLLOWED_FRAMES: Final = 1000 // FRAME_MS
"""Frames without a word from the board that leads, one second, after which a board is alone."""
NEWS_TELLINGS: Final = 3
"""How often the board that leads tells what is new before it goes on in turn."""
IDLE_ERA_FRAMES: Final = 250_000
"""Frames, 83 minutes, after which the strands of boards that lead or follow begin anew: in the
player's 32 bits no time lies further back than 2^31. No multiple of 2^16: a board that follows
keeps 16 bits of the frame in which its strands began, and has to notice."""
OLDEST_START_FRAMES: Final = 0x7000
"""Frames after which a board that follows no longer tells starts apart: two bytes hold one."""
LOOP_DEPTH: Final = 3
"""Repeats inside one another within a thread: each open one keeps its count in RAM."""
MOST_TIMES: Final = WORD_MAX - 1
"""Passes of a counted repeat: two bytes, whose top means while held."""
STRANDS: Final = RUNS - 1
"""Idle strands of a board: each keeps a run for as long as it is ready, and a cue needs one too."""
GLIDE_STEP_MS: Final = FRAME_MS
"""ms. What the glide back into idle counts."""
LONGEST_GLIDE_MS: Final = BYTE_MAX * GLIDE_STEP_MS
"""ms. The glide has one byte."""
CALL_DEPTH: Final = 3
"""Calls within one another of a thread: for each RAM keeps where the thread goes on."""
LONG_WAIT_STEP_MS: Final = 1000
"""ms. A long wait counts whole seconds."""
LONG_WAIT_STEPS: Final = WORD_MAX
"""Of one long wait, 18 hours: they have two bytes."""

# -- how much of everything -----------------------------------------------------------------------

OUTPUTS: Final = 16
"""Of a board: a cue's outputs are a mask of two bytes."""
CLAIMS: Final = 16
"""Of the cues of a board that leads, on outputs of other boards: beside the 16 outputs of its own
they fill a mask of 32 bits."""
COLOURS: Final = 64
"""Of a board's table: its strips' and safe colours."""
LAWS: Final = 16
"""Of a board's table: motion laws with their parameters, kept ready in RAM."""
INPUTS: Final = 16
"""Wired buttons of a board."""
BUTTONS: Final = range(1, 32)
"""Numbers of buttons, 1 to 31: a board knows by a mask of four bytes which are down; 0 is none."""
BINDINGS: Final = 31
"""Of a show."""
CUES: Final = 32
"""Of a show: a board knows by a mask of four bytes which run."""
ADDRESSES: Final = range(1, BYTE_MAX)
"""Of a board, 1 to 254: 0 is every board, 255 one without a table."""
