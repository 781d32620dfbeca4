"""Putting a table on a board: open, data, verify, commit, read back. LINK.md section 2.

Until the board is sent `commit` it plays its old show, whatever goes wrong. From then on only
reading it says which show is on; `ShowOn` keeps what is known.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from firmware_gen.checked_table import CheckedTable, sealed_bytes
from firmware_gen.chips import CHIPS_BY_ID
from firmware_gen.link.awaiting import LinkRequest, Reply
from firmware_gen.link.board_link import BoardLink, refused
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import (
    DATA,
    EVERYBODY,
    NO_ADDRESS,
    OPEN,
    VERIFY_REPLY,
    Hello,
    RequestKind,
    Status,
)
from firmware_gen.table import layout
from firmware_gen.table.layout import HEADER

ATTEMPTS: Final = 3
"""Whole transfers tried before giving up, if the board restarts or stores badly in between."""

_CHIP_AT = HEADER.offsets()["chip"]
_ADDRESS_AT = HEADER.offsets()["address"]

_REFUSALS: Final = {
    layout.LENGTH: "its length does not match",
    layout.BAD_MAGIC: "it does not start like a table",
    layout.BAD_VERSION: "it has a version that the firmware does not know",
    layout.BAD_CRC: "its CRC does not match",
    layout.BAD_CHIP: "it is made for another chip",
    layout.BAD_ADDRESS: "its address does not fit",
    layout.BAD_EXTENT: "it holds more than the firmware plays",
    layout.BAD_OUTPUT: "an output is out of its limits",
    layout.BAD_PIN: "a pin cannot do its job or is used twice",
    layout.BAD_RECORD: "a colour, law, input, binding or cue is out of its limits",
    layout.BAD_CODE: "the code of a cue cannot be played",
}

Progress = Callable[[str, int, int], None]
"""Told the step's name, bytes done and bytes in all."""


@dataclass(frozen=True, slots=True)
class Transferred:
    """What a transfer did."""

    address: int
    slot: int
    length: int
    crc: int
    requests: int
    repeats: int
    restarts: int


@dataclass(slots=True)
class ShowOn:
    """Which show a board has, as far as a transfer knows: true at every moment of it."""

    fact: Literal["old", "new", "unknown"] = "old"
    """"new" only after it was read back."""
    board: str = ""
    """Its name, where a command gives tables to several."""

    def begin(self, board: str) -> None:
        """A transfer to another board begins."""
        self.board, self.fact = board, "old"


class _TryAgainError(Exception):
    """The transfer must start over; the cause is what to say if that does not help."""


def check_board(hello: Hello, address: int, table: bytes, *, readdress: bool = False) -> None:
    """Refuse a table that cannot belong on the board that said hello, before anything is sent.

    Raises:
        LinkFailure: wrong-chip, table-too-large, wrong-address.
    """
    if table[_CHIP_AT] != hello.chip_id:
        titles = [
            CHIPS_BY_ID[each].title if each in CHIPS_BY_ID else f"chip {each}"
            for each in (table[_CHIP_AT], hello.chip_id)
        ]
        raise LinkFailure(
            "wrong-chip",
            f"the table is made for the {titles[0]}, the board's chip is {titles[1]}",
            "choose the board that the show names, or change the show's board",
        )
    if len(table) > hello.slot_bytes:
        raise too_large(len(table), hello.slot_bytes)
    if not readdress and address not in (NO_ADDRESS, table[_ADDRESS_AT]):
        raise wrong_address(address, table[_ADDRESS_AT])


def too_large(length: int, slot_bytes: int) -> LinkFailure:
    return LinkFailure(
        "table-too-large",
        f"the table has {length} bytes, the board's slots hold {slot_bytes}",
        "shorten cues or move parts to another board (`bellcrank compile` shows what takes how "
        "much), or merge the table into the firmware (`bellcrank firmware`)",
    )


def wrong_address(found: int, wanted: int) -> LinkFailure:
    return LinkFailure(
        "wrong-address",
        f"the board has address {found}, the table is for address {wanted}",
        f"connect board {wanted}; to turn this board into board {wanted} on purpose, add "
        "`--readdress`",
    )


def choose_table(
    tables: Mapping[str, CheckedTable], address: int, wanted: str | None, *, readdress: bool = False
) -> str:
    """Which board of a show the connected one is.

    Args:
        tables: by the board's name in the show.
        address: of the connected board; NO_ADDRESS: it has none yet.
        wanted: the name asked for; None: find it.
        readdress: the connected board's address does not matter.

    Raises:
        LinkFailure: board-unclear, wrong-address.
    """
    names = ", ".join(
        f"{name} (address {table.data[_ADDRESS_AT]})" for name, table in tables.items()
    )
    if wanted is not None:
        if wanted not in tables:
            raise LinkFailure(
                "board-unclear", f"the show has no board `{wanted}`", f"it has: {names}"
            )
        return wanted
    if len(tables) == 1:
        return next(iter(tables))
    if address != NO_ADDRESS and not readdress:
        for name, table in tables.items():
            if table.data[_ADDRESS_AT] == address:
                return name
        raise LinkFailure(
            "wrong-address",
            f"the board has address {address}, which no board of the show has",
            f"the show has: {names}; to turn this board into one of them on purpose, name it with "
            "`--board` and add `--readdress`",
        )
    raise LinkFailure(
        "board-unclear",
        f"the show has {len(tables)} boards, and the connected one has no address yet"
        if address == NO_ADDRESS
        else f"the show has {len(tables)} boards",
        f"say with `--board` which one is connected: {names}",
    )


def transfer(
    link: BoardLink,
    checked: CheckedTable,
    *,
    readdress: bool = False,
    progress: Progress | None = None,
    show_on: ShowOn | None = None,
) -> Transferred:
    """Put a table on the board that `link` has greeted or will greet, and see that it plays.

    Survives lost and spoilt frames, and a board that restarts on the way. However it ends,
    `show_on` then says which show the board has; where that is in doubt, the board is asked.

    Raises:
        LinkFailure: any reason but those of opening a port.
    """
    table = sealed_bytes(checked)
    known = show_on or ShowOn()
    try:
        return _transfer(link, table, readdress, progress or _say_nothing, known)
    except (LinkFailure, KeyboardInterrupt) as ended:
        is_cut = isinstance(ended, LinkFailure) and ended.reason == "port-lost"
        if known.fact == "unknown" and not is_cut:
            _find_out(link, table, known)
        raise


def _say_nothing(step: str, done: int, total: int) -> None:
    return


def _transfer(
    link: BoardLink, table: bytes, readdress: bool, say: Progress, known: ShowOn
) -> Transferred:
    for restarts in range(ATTEMPTS):
        try:
            if known.fact == "unknown":
                _find_out(link, table, known)
            hello = link.greet()
            if known.fact != "new":
                check_board(hello, link.address, table, readdress=readdress)
                _fill(link, hello, table, readdress, say, known)
            return _seen_playing(link, table, restarts, say, known)
        except _TryAgainError as again:
            cause = again.__cause__
            assert isinstance(cause, LinkFailure)
            if restarts + 1 == ATTEMPTS:
                raise cause from None
    raise AssertionError("unreachable")


def _find_out(link: BoardLink, table: bytes, known: ShowOn) -> None:
    """Read what the board plays; if it does not say, nothing is known any better.

    While a commit is being stored the old show still plays, and a verify is answered busy: asking
    for one waits until the commit is done, or shows that the board never got it.
    """
    try:
        link.greet()
        link.ask(RequestKind.VERIFY)
        known.fact = "new" if link.table() == table else "old"
    except LinkFailure:
        return


def _fill(
    link: BoardLink, hello: Hello, table: bytes, readdress: bool, say: Progress, known: ShowOn
) -> None:
    """Everything up to the reply to commit."""
    try:
        address = EVERYBODY if readdress else table[_ADDRESS_AT]
        crc = int.from_bytes(table[-2:], "little")
        say("transfer", 0, len(table))
        opening = OPEN.pack(len(table), crc, address)
        _expect(link, RequestKind.OPEN, link.ask(RequestKind.OPEN, opening), table)
        chunks = _chunks(table, link.chunk_bytes)
        last = link.exchange(
            chunks,
            max(1, hello.window),
            lambda count: say("transfer", min(len(table), count * link.chunk_bytes), len(table)),
        )[-1]
        _expect(link, RequestKind.DATA, last, table)
        say("verify", len(table), len(table))
        _expect(link, RequestKind.VERIFY, link.ask(RequestKind.VERIFY), table)
        known.fact = "unknown"
        _expect(link, RequestKind.COMMIT, link.ask(RequestKind.COMMIT), table)
    except LinkFailure as failure:
        if failure.reason in ("board-reset", "no-answer", "verify-failed"):
            raise _TryAgainError from failure
        raise


def _chunks(table: bytes, size: int) -> list[LinkRequest]:
    return [
        LinkRequest(RequestKind.DATA, DATA.pack(offset) + table[offset : offset + size])
        for offset in range(0, len(table), size)
    ]


def _expect(link: BoardLink, kind: RequestKind, reply: Reply, table: bytes) -> None:
    """Turn a status of the board's that is not done into words."""
    if reply.done:
        return
    if reply.status == Status.WRONG_ADDRESS:
        raise wrong_address(link.address, table[_ADDRESS_AT])
    if reply.status == Status.CRC_DIFFERS:
        raise LinkFailure(
            "verify-failed",
            "verify failed: the bytes stored on the board differ from the table",
            "repeat; if it fails again the board's memory is worn out: use the spare",
        )
    if reply.status == Status.REFUSED and len(reply.rest) == VERIFY_REPLY.size:
        code = VERIFY_REPLY.unpack(reply.rest)[1]
        text = _REFUSALS.get(code)
        raise LinkFailure(
            "table-refused",
            f"the board refused the table: {text or f'code {code}'}",
            "install the firmware that came with this program (`bellcrank firmware`)",
        )
    if reply.status == Status.OUT_OF_ORDER:
        raise LinkFailure(
            "board-reset",
            "the board lost the transfer: it restarted, or another program spoke to it",
            "look at its supply (`bellcrank status`) and end other programs",
        )
    raise refused(kind.name.lower(), reply)


def _seen_playing(
    link: BoardLink, table: bytes, restarts: int, say: Progress, known: ShowOn
) -> Transferred:
    """Greet the board again, at the address that the table gave it, and read the table back."""
    hello = link.greet()
    say("read back", 0, len(table))
    known.fact = "new" if link.table() == table else "old"
    if known.fact != "new":
        raise LinkFailure(
            "verify-failed",
            "verify failed: the board does not play the table that it was sent",
            "repeat; if it fails again the board's memory is worn out: use the spare",
        )
    say("done", len(table), len(table))
    return Transferred(
        address=link.address,
        slot=hello.current_slot,
        length=len(table),
        crc=int.from_bytes(table[-2:], "little"),
        requests=link.traffic.requests,
        repeats=link.traffic.repeats,
        restarts=restarts,
    )
