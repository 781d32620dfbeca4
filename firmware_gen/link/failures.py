"""Why a board cannot be worked with, told apart so that each has its own words and remedy."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple, TypeAlias

FailureReason: TypeAlias = Literal[
    "no-port",
    "several-ports",
    "port-busy",
    "no-permission",
    "not-a-port",
    "rate-refused",
    "port-lost",
    "no-answer",
    "garbage",
    "echo",
    "wrong-version",
    "wrong-chip",
    "wrong-address",
    "board-unclear",
    "table-too-large",
    "verify-failed",
    "table-refused",
    "board-reset",
    "no-uploader",
    "no-boot-loader",
    "half-written",
    "refused",
    "overtaken",
    "let-go",
    "transfer-under-way",
    "mixed-set",
    "owner-lost",
    "owner-differs",
    "owner-not-ours",
]
"""Stable, readable, named for the bad thing."""


class FailureWords(NamedTuple):
    """What a reason means: a title, what is the case, why the program stops there, what helps."""

    title: str
    what: str
    why: str
    remedy: str


FAILURES: Final[dict[FailureReason, FailureWords]] = {
    "no-port": FailureWords(
        "there is no port to a board",
        "the port that was named does not exist or does not open, or no USB serial port was found",
        "without a port nothing can be sent or asked",
        "use a cable that carries data and look at both plugs; name the port with `--port`; "
        "`--port virtual` runs a virtual board without any hardware",
    ),
    "several-ports": FailureWords(
        "several ports could be the board's",
        "more than one USB serial port was found, and none was named",
        "a guess might send the show to another board",
        "`bellcrank ports` says what is on each; name one with `--port`",
    ),
    "port-busy": FailureWords(
        "another program has the port",
        "the port opens for one program at a time",
        "two programs on one line garble each other's bytes",
        "close the other program, such as a serial monitor or a second `bellcrank`, then repeat",
    ),
    "no-permission": FailureWords(
        "this user may not open the port",
        "the system keeps the port for other users",
        "only the system can allow it",
        "on Linux, join the group that owns the port, then log in anew; the message names it",
    ),
    "not-a-port": FailureWords(
        "what was named is not a port",
        "a file, a folder or a pipe has the name that stands behind `--port`, or `--store` names "
        "a file that is no board's memory",
        "opening it as a port would change or block it",
        "name a serial port, such as COM3 or /dev/ttyUSB0, or `virtual`",
    ),
    "rate-refused": FailureWords(
        "the port cannot run at that rate",
        "the adapter or its driver does not offer the rate of the link",
        "at another rate the board reads noise",
        "use another port or adapter; leave out `--baud`, unless the firmware was built for it",
    ),
    "port-lost": FailureWords(
        "the port went away",
        "the port was there and then was not: a plug came loose, or the board lost its power",
        "what was sent last may not have arrived",
        "check plug and cable, then repeat; a transfer says which show is on the board",
    ),
    "no-answer": FailureWords(
        "nobody answers",
        "the port opens, but no reply came in time, or replies stopped coming",
        "a board that does not answer may be without power, firmware or connection",
        "check that the board has power and this program's firmware, and that this is its port; "
        "unplug it, plug it in again and repeat",
    ),
    "garbage": FailureWords(
        "what answers does not speak this link",
        "bytes come back, but they are no frames of the link",
        "another device, another firmware or another rate sends such bytes",
        "check the port, install the firmware (`bellcrank firmware`), and leave out `--baud`",
    ),
    "echo": FailureWords(
        "the port returns what is sent to it",
        "every byte comes back unchanged",
        "transmit and receive are joined, or the port belongs to no board",
        "choose the board's port, or take off what joins the two lines",
    ),
    "wrong-version": FailureWords(
        "board and program speak different versions of the link",
        "the firmware on the board is older or newer than this program",
        "the same bytes may mean something else there",
        "install the firmware that came with this program (`bellcrank firmware`)",
    ),
    "wrong-chip": FailureWords(
        "the board has another chip than the show says",
        "a table is made for the pins, the clock and the memory of one chip",
        "on another chip the pulses would go to other pins",
        "choose the board that the show names, or change the show's board",
    ),
    "wrong-address": FailureWords(
        "this is another board than the table is for",
        "the board remembers the address that it was given first",
        "the wrong half of a show would move the wrong parts",
        "connect the board that was asked for; to give this board another address on purpose, add "
        "`--readdress`",
    ),
    "board-unclear": FailureWords(
        "it is not clear which board of the show is meant",
        "the show has several boards, no board of that name, or no board at all, and the connected "
        "one does not say which it is",
        "a guess might give a board the wrong half of a show",
        "name one with `--board`",
    ),
    "verify-failed": FailureWords(
        "the board does not hold what it was sent",
        "after the transfer the bytes are read back and compared",
        "a changed byte may be another angle or another pulse",
        "repeat; if it fails again, the board's memory is worn out: use the spare",
    ),
    "board-reset": FailureWords(
        "the board started again in the middle",
        "it lost its power for a moment, or another program restarted it",
        "what had been sent by then is gone",
        "look at its supply: `bellcrank status` counts brown-outs and watchdog resets; end other "
        "programs that use the port",
    ),
    "no-uploader": FailureWords(
        "the uploader is not installed",
        "firmware is written by a program of its own (avrdude), which was not found",
        "a board without firmware knows nothing of this program's link",
        "install it: `apt install avrdude` on Debian and Ubuntu, `brew install avrdude` on macOS, "
        "from its releases page on Windows",
    ),
    "no-boot-loader": FailureWords(
        "no boot loader answers",
        "the board was reset and asked in each way that boot loaders understand, and none answered",
        "without a boot loader nothing can be written over the board's serial port",
        "check cable, power and port; press the board's reset button while the command looks; "
        "write with a programmer on the six-pin header (`bellcrank firmware --way isp`)",
    ),
    "half-written": FailureWords(
        "the firmware may be written only in part",
        "writing began and did not come to its end, or what was read back differs",
        "a board with half a firmware plays nothing",
        "look at the cable, and repeat the command: the boot loader and the shows in the board's "
        "slots are not touched",
    ),
    "refused": FailureWords(
        "the board refused what it was asked",
        "a cue that it does not have or has no room for, a button that starts nothing, a mode in "
        "which it takes no such request, or a table that it cannot read",
        "the board keeps its own rules, whatever a program asks",
        "the message says which of these it was, and what helps",
    ),
    "overtaken": FailureWords(
        "a stop came first",
        "what was asked had not reached the board, or was not answered yet, when a stop or limp "
        "was asked for",
        "nothing that was asked before a stop may start after it",
        "`bellcrank status` says what the board does; `bellcrank standby` gets it ready again",
    ),
    "let-go": FailureWords(
        "a button was let go before its time",
        "the program that held it said nothing for a second, or this computer slept",
        "a program or computer that stops working must not hold a button for ever",
        "keep the computer awake, then press again",
    ),
    "transfer-under-way": FailureWords(
        "another program is putting a show on this board",
        "a board takes one table at a time",
        "pieces of two tables would be mixed",
        "wait until the other transfer is done, then repeat; stop and limp work meanwhile",
    ),
    "mixed-set": FailureWords(
        "the boards of a show have different versions of it",
        "a board says, or was given from this computer, another version than the others; the board "
        "that leads can ask those that have a wire back to it, and no others",
        "a board follows only a leader with its own version, any other stays as it is; and moves "
        "that were checked together are not played together",
        "`bellcrank flash FILE` for each board that is named; it says which to plug in next, and "
        "reaches those that answer through the board that leads",
    ),
    "owner-lost": FailureWords(
        "the process that owns the ports ended or does not answer",
        "commands share the ports through one process in the background, and it was ended from "
        "outside, or hangs",
        "what was asked last may not have reached the board",
        "repeat: the next command starts a new one; `bellcrank status` says what the board does",
    ),
    "owner-differs": FailureWords(
        "another version of this program has the ports",
        "the process that owns the ports was started by another version, and still serves one of "
        "its commands",
        "the two may not understand one another; only stop and limp are the same in all versions",
        "end the command that is named, then repeat",
    ),
    "owner-not-ours": FailureWords(
        "the process that owns the ports cannot be used",
        "it is another user's, or others could write where it listens, or it does not start",
        "whoever else could take its place could move the parts",
        "the message names the folder: remove it, or make it yours alone",
    ),
    "table-too-large": FailureWords(
        "the table does not fit the board's memory",
        "the board's slots hold fewer bytes than the table has",
        "half a show must not be stored",
        "shorten cues, move parts to another board, or merge the table into the firmware",
    ),
    "table-refused": FailureWords(
        "the board refused the table",
        "the board reads a table before it plays it, and found something that it does not allow",
        "a board never plays what it cannot read to the end",
        "install the firmware that came with this program (`bellcrank firmware`)",
    ),
}
"""Each reason in words, for `bellcrank explain`; what was found stands in the failure itself."""


class LinkFailure(Exception):  # noqa: N818 - the trade says link failure
    """A board or the way to it failed.

    `reason` is stable; `message` says what was found, lower case and without a full stop; `help`
    says how to mend it.
    """

    def __init__(self, reason: FailureReason, message: str, help: str | None = None) -> None:
        super().__init__(message)
        self.reason: FailureReason = reason
        self.message = message
        self.help = help
