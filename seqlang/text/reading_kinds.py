"""The kinds of findings that reading a show can give, in the sections of a check's docstring.

They come from many places in `seqlang/text` and `seqlang/meaning`, so that none of those could hold
the words. `FINDINGS.md` is made of them, of the checks' own docstrings and of the example shows.
"""

from __future__ import annotations

from typing import Final

TEXT: Final = (
    """syntax: a line cannot be read.

    What: every line is one of the statements that LANGUAGE.md lists, word for word.

    Why: a line that is only guessed at might move a part in a way that nobody meant.

    Instead: write it as the examples in the message do; one mistake at the start of a block can
    make several lines unreadable, so correct the first one first.

    Source of the limit: LANGUAGE.md.
    """,
    """uneven-indent: a line is indented by a number of spaces that no block above it has.

    What: the lines of a block start in the same column; a deeper block starts further right.

    Why: the indentation says what belongs to which cue or repeat; there are no brackets for it.

    Instead: give the line the indentation of its neighbours.

    Source of the limit: LANGUAGE.md, 1.1.
    """,
    """mixed-indent: a file is indented with tabs and with spaces.

    What: all indentation of a file is made of spaces, or all of it of tabs.

    Why: a tab is as wide as four spaces in one editor and as eight in the next.

    Instead: indent with spaces everywhere, or with tabs everywhere.

    Source of the limit: LANGUAGE.md, 1.1.
    """,
    """empty-show: there is no statement in the file.

    What: a show has at least one statement.

    Why: it is the wrong file, or it was never saved.

    Instead: start with a title.

    Source of the limit: this tool's rule.
    """,
    """not-text: the file is not plain text in UTF-8.

    What: a show is plain text in UTF-8; a mark at its start that says so is allowed.

    Why: a word processor's page, a table or a picture holds letters that no editor shows.

    Example: an editor that saves in UTF-16, which some call Unicode.

    Instead: save it as plain text, encoding UTF-8.

    Source of the limit: LANGUAGE.md, 1.1.
    """,
    """too-many-errors: the rest of the file was not read.

    What: reading ends after 20 lines that cannot be read.

    Why: what stands below is most likely wrong for the same reason, and nobody reads so many
    messages at once.

    Instead: correct the errors above, and check again.

    Source of the limit: this tool's own.
    """,
)

FILES: Final = (
    """include-missing: a file that is included is not there, or cannot be opened.

    What: `include` names a file in the show's folder; its path counts from the file that names it.

    Why: what it says of the rig is not known, so nothing in the show can be checked.

    Instead: correct the path, or copy the file into the show's folder.

    Source of the limit: LANGUAGE.md, 1.2.
    """,
    """include-outside: the path of an include leaves the show's folder.

    What: no path begins at the top of a disk, goes above the main file's folder by `..`, or leads
    out of it by a link.

    Why: a show is moved and given away as one folder; one from somebody else must not read what
    lies beside it on your disk.

    Instead: put the file into the show's folder.

    Source of the limit: LANGUAGE.md, 1.2.
    """,
    """include-path: the path of an include does not work on every computer.

    What: a path is made of names and `/`; it holds no `\\`, `:`, `*`, `?`, `<`, `>`, `|`, no name
    of a device such as `nul`, and it names a file, not a folder.

    Why: the show would open here and fail on the computer at the venue.

    Instead: give folders and files plain names, with `/` between them.

    Source of the limit: LANGUAGE.md, 1.2.
    """,
    """include-circle: a file includes itself, or one that includes it.

    What: a file includes others, and none of them includes it again.

    Why: its text would stand in itself without an end.

    Instead: take the line out; the names of a show are known in all of its files.

    Source of the limit: LANGUAGE.md, 1.2.
    """,
    """included-twice: a file is included a second time.

    What: each file stands once among the includes of a show and of its files.

    Why: everything in it would be there twice under the same name.

    Instead: take the second line out; the names of a show are known in all of its files.

    Source of the limit: LANGUAGE.md, 1.2.
    """,
    """too-many-includes: a show includes more files than anybody keeps in mind.

    What: at most 50 files, and at most 8 inside one another.

    Why: nobody could say any more in which file a part stands.

    Example: a file for every line.

    Instead: put files together.

    Source of the limit: this tool's own.
    """,
)

NAMES: Final = (
    """unknown-name: nothing has this name.

    What: every name that is used is given somewhere: an output, a cue, a gesture, a pose, a
    constant, a board, a supply.

    Why: most often it is a slip of the finger; the nearest known name is proposed.

    Instead: write the name as it was given.

    Source of the limit: LANGUAGE.md, 1.
    """,
    """duplicate-name: two things of a kind have the same name.

    What: no two outputs, cues, poses, gestures, constants, boards or supplies share a name.

    Why: a line that uses the name could mean either.

    Instead: rename one of them, also in the lines that use it.

    Source of the limit: LANGUAGE.md, 1.
    """,
    """reserved-word: a word of the language is used as a name.

    What: words that start a statement name nothing else.

    Why: a line could be read in two ways.

    Instead: add a letter, a digit or a low line to the name.

    Source of the limit: LANGUAGE.md, 1.
    """,
    """used-before-given: a constant stands above the line that gives it.

    What: a `given` line uses constants that stand above it only.

    Why: constants are worked out from top to bottom, so that none needs itself.

    Instead: move the line up.

    Source of the limit: LANGUAGE.md, 2.
    """,
    """several-meant: a name stands for several things where one is needed.

    What: a line that needs one board, one supply or one part names one thing. On mirrored sides and
    in rows, the name of one thing has its side or its number.

    Why: a plug goes into one board.

    Instead: write which one is meant, or write the line below `mirror` or `row` as well.

    Source of the limit: LANGUAGE.md, 3.6 and 3.7.
    """,
    """not-a-row: `along` names something that is not a row.

    What: `along` takes a row, a part of one, or the names of both sides.

    Why: the order would not be known.

    Instead: name a part that is described below `row of N`.

    Source of the limit: LANGUAGE.md, 4.7.
    """,
    """unknown-pin: the chip has no such pin.

    What: a pin is named by the chip's data sheet: its port and its bit.

    Why: the numbers printed beside the pins differ from one make of board to the next.

    Instead: look the pin up in the board's own drawing; it shows the chip's names as well.

    Source of the limit: the chip's data sheet, as stated in its entry in `firmware_gen/chips`.
    """,
)

NUMBERS: Final = (
    """missing-unit: a number has no unit.

    What: every amount has its unit.

    Why: `2` may be milliseconds or seconds; a part that moves a thousand times too fast breaks.

    Instead: write the unit behind the number.

    Source of the limit: LANGUAGE.md, 2.
    """,
    """unknown-unit: there is no such unit.

    What: units are those in the table of LANGUAGE.md, in their spelling.

    Why: a unit that is guessed at may be wrong by a thousand.

    Instead: take one from the table.

    Source of the limit: LANGUAGE.md, 2.
    """,
    """unit-mismatch: an amount is of the wrong kind.

    What: a time stands where a time is needed, an angle where an angle is. Only amounts of one kind
    can be added.

    Why: two numbers of a line were swapped, or one was left out.

    Instead: write an amount of the kind that the message names.

    Source of the limit: LANGUAGE.md, 2.
    """,
    """not-a-number: a word stands where a number is needed.

    What: amounts are written in digits. No amount is infinite or undefined.

    Why: a part cannot go there.

    Instead: write the number.

    Source of the limit: LANGUAGE.md, 2.
    """,
    """not-whole: a count has a fraction.

    What: repeats, cells, pixels, LEDs and buttons are counted in whole numbers.

    Why: a board cannot do half a repeat.

    Instead: write a whole number.

    Source of the limit: LANGUAGE.md, 2.
    """,
    """number-out-of-range: a number is too small or too large for its place.

    What: each amount lies in the range that its line in LANGUAGE.md states.

    Why: it is a slip of the finger, a wrong unit, or more than a table can hold.

    Instead: write an amount between the limits that the message names.

    Source of the limit: LANGUAGE.md beside each line; `sim/rulebook.py` for what a board fixes.
    """,
    """division-by-zero: a sum divides by zero, or a speed takes no time.

    What: no divisor is zero, and no speed is stated as zero seconds for an angle.

    Why: the result would be without bounds.

    Instead: correct the divisor, or the constant that it comes from.

    Source of the limit: arithmetic.
    """,
)

STATEMENTS: Final = (
    """missing-value: a gesture is played without a value that it needs.

    What: each parameter of a gesture has a default, or every `play` of it states a value.

    Why: how far or how fast a part moves is not guessed.

    Instead: write the parameter and its value behind the gesture's name.

    Source of the limit: LANGUAGE.md, 4.7.
    """,
    """gesture-unplayed: no cue plays a gesture.

    What: a gesture is played by a cue, or by a gesture that a cue plays.

    Why: what it does depends on what is given for its parameters, so without a play nothing of it
    is checked.

    Instead: play it in a cue, or leave it for a show that does.

    Source of the limit: this tool's own.
    """,
    """missing-line: a part of the rig lacks a line that it needs.

    What: a servo has `pulse`, `travel` and `rating`; a supply has its source; a lamp has its LEDs.

    Why: without it no move can be made or checked.

    Instead: add the line; the message shows one.

    Source of the limit: LANGUAGE.md, 3.
    """,
    """duplicate-line: the same thing is stated twice.

    What: each part states each thing once. Some lines state the same thing in different words; one
    of them is enough.

    Why: one of them is old, and nobody can tell which.

    Instead: keep one of the two.

    Source of the limit: LANGUAGE.md, 3.
    """,
    """wrong-kind: a thing is used as something that it is not.

    What: servos take angles, lamps and strips take light, switches go on and off; a cue is played,
    a pose is taken up.

    Why: the name is right, but it belongs to something else.

    Instead: write what such a thing can do; the message names it.

    Source of the limit: LANGUAGE.md, 4.
    """,
    """travel-order: the two ends of a travel, or of a pulse range, stand the wrong way round.

    What: the smaller number comes first.

    Why: from the order alone nobody could tell a slip from a part that turns the other way; the
    calibration says which way it turns.

    Instead: swap the two.

    Source of the limit: LANGUAGE.md, 3.2.
    """,
    """no-standstill: a part that turns round and round has no pulse at which it stands still.

    What: the calibration of such a part has a point at `0 rpm`, and its travel holds 0 rpm.

    Why: the stop, the safe pose and every pause need that pulse; between two measured points it is
    only guessed at, and a part that creeps winds up what it catches.

    Instead: find the pulse at which it stands still, and add it as a point.

    Source of the limit: LANGUAGE.md, 3.2.
    """,
    """behind-time: a time on the cue's clock has passed before its line is reached.

    What: `at TIME` comes after statements that have ended by then.

    Why: what follows would come late, and out of step with the sound it was written to.

    Instead: make what stands above it shorter, or let both run side by side in `together`.

    Source of the limit: arithmetic; the lengths are those that are written.
    """,
    """too-many-ways: the choices of one pass can be made in too many ways.

    What: at most 12 ways lead through the `one of` blocks between two rounds of a repeat. Two
    blocks behind one another multiply their ways; so does a block that a `repeat` counts.

    Why: the check lets every way follow every way, with all draws at their worst. With hundreds of
    ways it would take minutes.

    Instead: choose from fewer things at a time, or make some of the choices in another strand of
    idle. Strands run side by side, and each has ways of its own.

    Source of the limit: own; `sim/rulebook.py`.
    """,
    """starts-late: a switch goes on too late for what it drives.

    What: an output with `starts after TIME` is switched on that much earlier: in a wait before it,
    or at the start of its cue.

    Why: a sound module takes a moment from its contact to the first sound; a jaw that moves to it
    would be early.

    Instead: put the line first in its cue, or behind a `hold` or `at` that is long enough.

    Source of the limit: the delay that the rig states.
    """,
    """cue-calls-itself: a cue plays itself, or cues play one another in a circle.

    What: no `play` leads back to the cue in which it stands.

    Why: the cue would never end, and its table would be without end.

    Instead: leave out one of the `play` lines; `repeat` does things again.

    Source of the limit: LANGUAGE.md, 4.
    """,
    """impossible-move: no duration lets the servo make this move.

    What: a move `as fast as it can` has a shortest duration.

    Why: the servo cannot even carry the part slowly, so no duration can be worked out.

    Instead: take a lighter part, a stronger servo or a gear, or a spring against the weight.

    Source of the limit: as for `servo-torque`.
    """,
    """values-do-not-fit: brackets hold too few values, too many, or others than are needed.

    What: a thing on two sides takes a value for each side, by the side's name. A row takes a value
    for each of its things, or the first value and a step.

    Why: otherwise a thing has no value, or a value belongs to no thing.

    Instead: write as many values as there are things; write one value where there is one thing.

    Source of the limit: LANGUAGE.md, 3.6 and 3.7.
    """,
    """mounted-in-circle: parts stand on one another in a circle.

    What: a chain of parts ends at one that stands on the costume.

    Why: nothing would carry it.

    Instead: leave out one of the `on` lines.

    Source of the limit: geometry.
    """,
)

SIZE: Final = (
    """nested-too-deep: blocks or brackets stand too deep inside one another.

    What: at most 24 blocks inside one another, and 16 pairs of brackets.

    Why: nobody can follow more, and a file that was damaged must not stop the check.

    Instead: name parts of a sum with `given`; move inner blocks into cues and `play` them.

    Source of the limit: this tool's own.
    """,
    """line-too-long: a line has more letters than any statement needs.

    What: at most 1000 letters.

    Why: such a file was most likely not made by hand.

    Example: a picture's data that was pasted into a remark.

    Instead: break the remark into lines; a statement is never so long.

    Source of the limit: this tool's own.
    """,
    """file-too-large: a file is larger than any show.

    What: at most 32 MB, 4,000,000 letters, 700,000 of them in statements.

    Why: reading more would take minutes.

    Example: a recording that was given the name of a show.

    Instead: check the right file, or make several shows of it.

    Source of the limit: this tool's own.
    """,
    """cue-too-long: a cue has more steps than the check works out.

    What: at most 20,000 steps, with those of the cues it plays; a `repeat` counts its body once.

    Why: each step is checked in every posture. If this is found, nothing else is checked.

    Instead: use `repeat` for what comes again, or make two cues.

    Source of the limit: this tool's own; a board's table ends far below it.
    """,
    """show-too-long: the cues of a show have more steps together than the check works out.

    What: at most 30,000 steps.

    Why: as for `cue-too-long`. If this is found, nothing else is checked.

    Instead: use `repeat`, or make two shows.

    Source of the limit: this tool's own.
    """,
    """too-many-searches: too many different moves are to be made as fast as the servo can.

    What: at most 500 different moves `as fast as it can` are worked out for a show.

    Why: each one is a search over its duration. If this is found, nothing else is checked.

    Example: five hundred and one moves to as many angles, each `as fast as it can`.

    Instead: give the others a duration; the check says if it is too short.

    Source of the limit: this tool's own.
    """,
    """repeat-too-long: a repeat would run for more than a day.

    What: a counted `repeat` ends within a day.

    Why: most often the count has a zero too many.

    Instead: write the count that is meant, or `repeat for ever`.

    Source of the limit: this tool's own.
    """,
    """chain-too-long: too many parts stand on one another.

    What: at most 16 parts of a chain are checked together.

    Why: the check works out what each of them asks of all that carry it, in every posture.

    Instead: let one of them stand on the costume, where its carrier hardly moves.

    Source of the limit: this tool's own.
    """,
)

READING: Final = {
    "text": ("lines and their layout", TEXT),
    "files": ("files that a show includes", FILES),
    "names": ("names and what they stand for", NAMES),
    "numbers": ("numbers and units", NUMBERS),
    "statements": ("lines that lack something or say too much", STATEMENTS),
    "size": ("what is too long or too deep to check", SIZE),
}
"""The kinds by subject, each with a title, in the order in which a newcomer meets them."""
