"""What a board does with the bytes of its link: the reference for the firmware. LINK.md.

`ReferenceBoard` is pure bookkeeping: bytes in, bytes out, one player frame per call, one stored
byte per call. Whoever owns it (a thread with a socket, a test, a demo) decides how fast time runs.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass

from firmware_gen.board.receiving import ADDRESS_AT, WINDOW, RequestRefusedError, TableReceiver
from firmware_gen.board.slots import Slots
from firmware_gen.board.storage import Storage
from firmware_gen.chips import FIRST, Chip
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import (
    BROADCASTABLE,
    BUTTON,
    DATA,
    EVERYBODY,
    FIRMWARE_VERSION,
    HELD_FRAMES,
    HELLO,
    HUB_KIND,
    JOG,
    NO_ADDRESS,
    ONE_WAY,
    ORDERED,
    PASSED,
    PROTOCOL_VERSION,
    PULSE,
    PULSE_REPLY,
    READ,
    REPLY,
    SENSED,
    SOURCE_ASKED,
    SOURCE_REPLY,
    TRIGGER,
    Hello,
    ReportedMode,
    RequestKind,
    ResetCause,
    State,
    Status,
    report_bytes,
)
from firmware_gen.player.in_step import radio_late
from firmware_gen.player.outputs import Frame
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.layout import BAD_CHIP, HEADER, LEADS, TableError
from firmware_gen.table.records import AnswersRecord
from sim.rulebook import BUTTONS, CLOCK_PER_MS, FRAME_CLOCK, PULSE_RANGE, SENSORS

_SHOW_AT = HEADER.offsets()["show"]
_KINDS = frozenset(RequestKind)


@dataclass(frozen=True, slots=True)
class _Remembered:
    """The last ordered request, so that its copies do nothing."""

    seq: int
    kind: int
    reply: bytes | None
    """None while it is not answered yet."""


class Witness:
    """Sees what a board does; override what matters."""

    def started(self) -> None:
        """The current show starts (or, on a blank board, none does)."""

    def heard(self) -> None:
        """A valid frame to this board came."""

    def asked(self, kind: RequestKind, payload: bytes) -> None:
        """The player was given this request; its next frame takes it."""

    def played(self, frame: Frame | None) -> None:
        """The player played a frame; None while the board is blank."""


class ReferenceBoard:
    """One board: its stored tables, its player and its end of the link.

    Args:
        storage: what outlasts the power.
        chip: the chip that it is.
        cause: why it starts.
        watchdog_resets, brown_out_resets: counters that outlast a reset.
        witness: sees what the board does.
        pulses: what its channels give in each frame, in ticks by their numbers in the table; the
            owner may change it at any time.
        readings: likewise what its sensors read, of 1024 that are its supply; behind the last
            possible one (`SENSORS`) what the watch of its battery does.
    """

    def __init__(
        self,
        storage: Storage,
        chip: Chip = FIRST,
        *,
        cause: ResetCause = ResetCause.POWER_ON,
        watchdog_resets: int = 0,
        brown_out_resets: int = 0,
        witness: Witness | None = None,
        pulses: Mapping[int, int] | None = None,
        readings: Mapping[int, int] | None = None,
    ) -> None:
        self.chip = chip
        self._readings = {} if readings is None else readings
        self._pulses = {} if pulses is None else pulses
        self.receiver = Receiver()
        self._line_receiver = Receiver()
        self.moment = FRAME_CLOCK // 2
        """Where in its frame the board is when bytes come, in 1/256 ms. Its owner sets it."""
        self._resets = (watchdog_resets, brown_out_resets)
        self._cause = cause
        self._witness = witness or Witness()
        self._output = bytearray()
        self._line_output = bytearray()
        self._is_over_line = False
        """What is being done came over the line between boards; its answer goes there."""
        self._waiting_over_line = False
        self._session: int | None = None
        self._last: _Remembered | None = None
        self._last_one_way: tuple[int, int] | None = None
        self._refused_jog: tuple[int, int, Status] | None = None
        """Address, seq and answer of a jog that did not pass: its copies must not, either."""
        self._silent_frames = 0
        self._held: set[int] = set()
        self.slots = Slots(storage, chip, self._refusal_of)
        self._table_receiver = TableReceiver(self.slots, chip, self._refusal_of)
        self._start()

    # -- the world around it ---------------------------------------------------------------

    def receive(self, data: bytes) -> None:
        """Take bytes from the link."""
        for frame in self.receiver.feed(data):
            self._take(frame)

    @property
    def answering(self) -> frozenset[int]:
        """Addresses of boards that answer the one that leads, as this one knows."""
        senses = self.player.table.senses if self.player else ()
        return frozenset(one.address for one in senses if isinstance(one, AnswersRecord))

    @property
    def _leads(self) -> bool:
        return self.player is not None and self.player.table.role == LEADS

    def _pass_on(self, frame: LinkFrame) -> bool:
        """Whether a frame of the host's is for a board that this one leads; then it goes there."""
        if not (self._leads and frame.to in self.answering and frame.kind in PASSED):
            return False
        if frame.kind == RequestKind.HELLO:
            self._refused_jog = None
        status = Status.DONE if frame.kind != RequestKind.JOG else self._jog_elsewhere(frame)
        if status != Status.DONE:
            self._output += encode(
                LinkFrame(frame.to, frame.kind | REPLY, frame.seq, bytes([status]))
            )
        elif len(frame.payload) <= DATA.size + self.chip.chunk_bytes:
            self._line_output += encode(frame)
        return True

    def _jog_elsewhere(self, frame: LinkFrame) -> Status:
        """Whether a jog may pass. This board decides for all: a stop here ends it, and no copy of
        what was refused comes true later."""
        refused = self._refused_jog
        if refused and refused[:2] == (frame.to, frame.seq):
            return refused[2]
        status = Status.DONE
        if self._session is None:
            status = Status.NOT_GREETED
        elif self.mode != ReportedMode.LIMP:
            status = Status.NOT_IN_THIS_MODE
        elif self.player and not self.player.jog_elsewhere():
            status = Status.STOPPED
        self._refused_jog = None if status == Status.DONE else (frame.to, frame.seq, status)
        return status

    def receive_line(self, data: bytes) -> None:
        """Take bytes from the line between boards. A chip that cannot lead has no port of its own
        for it: it hears them on its link."""
        if not self.chip.leads:
            self.receive(data)
            return
        for frame in self._line_receiver.feed(data):
            is_state = frame.kind == HUB_KIND | ONE_WAY
            if self.player and is_state and frame.to in (EVERYBODY, self.address):
                self.player.hear_hub(frame.payload, self.moment)
            elif frame.to in self.answering and frame.kind & ~REPLY in PASSED:
                self._take_from_line(frame)

    def _take_from_line(self, frame: LinkFrame) -> None:
        """A reply for the host of a board that leads, a request to one that follows."""
        request = DATA.size + self.chip.chunk_bytes
        reply = max(1 + self.chip.chunk_bytes, report_bytes(senses=self.chip.senses))
        length = len(frame.payload)
        if self._leads and frame.kind & REPLY and 1 <= length <= reply:
            self._output += encode(frame)
        elif not self._leads and not frame.kind & REPLY and length <= request:
            self._is_over_line = True
            self._take_request(frame)
            self._is_over_line = False

    def take_output(self) -> bytes:
        """Bytes to send since the last call."""
        sent = bytes(self._output)
        self._output.clear()
        return sent

    def take_line_output(self) -> bytes:
        """What goes out over the line between boards since the last call, beside the state of one
        that leads: requests that it passes on, or the answers of one that follows, where that line
        is not the link."""
        sent = bytes(self._line_output)
        self._line_output.clear()
        return sent

    @property
    def late_s(self) -> float:
        """By how much later than a cable a radio in its place brings what the board tells."""
        late = radio_late(self.player.table.senses) if self.player else 0
        return late / (1000.0 * CLOCK_PER_MS)

    @property
    def line_output(self) -> bytes:
        """What a board that leads says on the line between boards after its last frame."""
        told = self.player.told if self.player else None
        if told is None or self.player is None:
            return b""
        seq = (self.player.frames - 1) % 256
        return encode(LinkFrame(EVERYBODY, HUB_KIND | ONE_WAY, seq, told))

    @property
    def frame_stretch(self) -> int:
        """By how much its next frame is longer than 20 ms, in 1/256 ms."""
        stretches = self.chip.leads and self.player is not None
        return self.player.frame_stretch if stretches and self.player else 0

    def work(self) -> bool:
        """Store the next byte that differs; whether there was one.

        A verify or commit is answered by the call after the last byte's.
        """
        if self.slots.work():
            return True
        request, self._table_receiver.waiting = self._table_receiver.waiting, None
        self._is_over_line = self._waiting_over_line
        if request is not None and request.kind == RequestKind.VERIFY:
            self._answer(request, *self._table_receiver.verdict())
        elif request is not None:
            # The reply goes out from the address that was asked.
            self._answer(request, Status.DONE)
            self._table_receiver.change_over()
            self._start()
        self._is_over_line = False
        return False

    def frame(self) -> Frame | None:
        """Play one frame of 20 ms; None on a blank board, whose outputs are all at rest."""
        self._silent_frames += 1
        if self._silent_frames == HELD_FRAMES:
            self._let_go()
        if self.player:
            for channel, ticks in self._pulses.items():
                self.player.channel(channel, ticks)
            for sensor, reading in self._readings.items():
                if sensor == SENSORS:
                    self.player.battery(reading)
                else:
                    self.player.voltage(sensor, reading)
        played = self.player.frame() if self.player else None
        self._witness.played(played)
        return played

    @property
    def storing(self) -> bool:
        """`work` has something to do."""
        return not self.slots.idle or self._table_receiver.waiting is not None

    @property
    def address(self) -> int:
        return self.slots.table[ADDRESS_AT] if self.slots.table else NO_ADDRESS

    @property
    def mode(self) -> ReportedMode:
        return ReportedMode(self.player.mode) if self.player else ReportedMode.BLANK

    # -- frames ----------------------------------------------------------------------------

    def _take(self, frame: LinkFrame) -> None:
        if frame.to not in (EVERYBODY, self.address) and self._pass_on(frame):
            return
        if frame.to not in (EVERYBODY, self.address) or frame.kind & REPLY:
            return
        self._silent_frames = 0
        self._witness.heard()
        if self.player and frame.kind == HUB_KIND | ONE_WAY:
            self.player.hear_hub(frame.payload, self.moment)
            self.player.heard()
            return
        if self.player:
            self.player.heard()
        kind = frame.kind & ~ONE_WAY
        if frame.kind & ONE_WAY:
            if kind in BROADCASTABLE and self._last_one_way != (kind, frame.seq):
                self._last_one_way = (kind, frame.seq)
                with suppress(RequestRefusedError):
                    self._obey(RequestKind(kind), frame.payload)
        else:
            self._take_request(frame)

    def _take_request(self, frame: LinkFrame) -> None:
        if frame.kind in ORDERED:
            self._take_ordered(frame)
        else:
            self._do(frame)

    def _take_ordered(self, frame: LinkFrame) -> None:
        if self._session is None:
            self._answer(frame, Status.NOT_GREETED)
            return
        last = self._last
        age = (frame.seq - last.seq) & 0xFF if last else 1
        if last and age == 0 and frame.kind == last.kind:
            self._way_back.extend(last.reply or b"")
        elif age == 0 or age >= 0x80:
            self._answer(frame, Status.OUT_OF_ORDER)
        else:
            self._last = _Remembered(frame.seq, frame.kind, None)
            if self._do(frame) == Status.BUSY:
                self._last = last

    def _do(self, frame: LinkFrame) -> Status | None:
        """Act on a request and answer it; None if the answer comes later."""
        try:
            if frame.kind not in _KINDS or (frame.kind in SENSED and not self.chip.senses):
                raise RequestRefusedError(Status.UNKNOWN_KIND)
            rest = self._obey(RequestKind(frame.kind), frame.payload)
        except RequestRefusedError as refused:
            self._answer(frame, refused.status, refused.rest)
            return refused.status
        if rest is None:
            self._table_receiver.waiting = frame
            self._waiting_over_line = self._is_over_line
            return None
        self._answer(frame, Status.DONE, rest)
        return Status.DONE

    def _answer(self, request: LinkFrame, status: Status, rest: bytes = b"") -> None:
        reply = encode(
            LinkFrame(self.address, request.kind | REPLY, request.seq, bytes([status]) + rest)
        )
        last = self._last
        if last and (last.seq, last.kind, last.reply) == (request.seq, request.kind, None):
            self._last = _Remembered(request.seq, request.kind, reply)
        self._way_back.extend(reply)

    @property
    def _way_back(self) -> bytearray:
        return self._line_output if self._is_over_line else self._output

    # -- requests --------------------------------------------------------------------------

    def _obey(self, kind: RequestKind, payload: bytes) -> bytes | None:
        """Do what a request asks; the rest of its reply, None if that comes later."""
        acts: dict[RequestKind, Callable[[bytes], bytes | None]] = {
            RequestKind.HELLO: self._hello,
            RequestKind.OPEN: self._open,
            RequestKind.DATA: self._table_receiver.data,
            RequestKind.VERIFY: self._verify,
            RequestKind.COMMIT: self._commit,
            RequestKind.READ: self._read,
            RequestKind.TRIGGER: self._trigger,
            RequestKind.BUTTON: self._button,
            RequestKind.STOP: self._stop,
            RequestKind.LIMP: self._limp,
            RequestKind.STANDBY: self._standby,
            RequestKind.STATUS: self._status,
            RequestKind.BEACON: self._beacon,
            RequestKind.JOG: self._jog,
            RequestKind.PULSE: self._pulse,
            RequestKind.SOURCE: self._source,
        }
        try:
            rest = acts[kind](payload)
        except struct.error:
            raise RequestRefusedError(Status.MALFORMED) from None
        if kind in BROADCASTABLE:
            self._witness.asked(kind, payload)
        return rest

    def _hello(self, payload: bytes) -> bytes:
        (session,) = HELLO.unpack(payload)
        if session != self._session:
            self._session, self._last = session, None
        return Hello(
            protocol=PROTOCOL_VERSION,
            firmware_major=FIRMWARE_VERSION[0],
            firmware_minor=FIRMWARE_VERSION[1],
            chip_id=self.chip.chip_id,
            mode=self.mode,
            slots=self.chip.slots,
            slot_bytes=self.chip.slot_bytes,
            current_slot=self.slots.current,
            refusal=self.slots.refusal,
            show=int.from_bytes(self.slots.table[_SHOW_AT : _SHOW_AT + 4], "little"),
            chunk_bytes=self.chip.chunk_bytes,
            window=WINDOW,
        ).pack()

    def _open(self, payload: bytes) -> bytes:
        return self._table_receiver.open(payload, self.address)

    def _verify(self, payload: bytes) -> None:
        _expect_empty(payload)
        self._table_receiver.verify()

    def _commit(self, payload: bytes) -> None:
        _expect_empty(payload)
        self._table_receiver.commit()

    def _read(self, payload: bytes) -> bytes:
        offset, count = READ.unpack(payload)
        if not 1 <= count <= self.chip.chunk_bytes:
            raise RequestRefusedError(Status.MALFORMED)
        self._playing()
        return self.slots.table[offset : offset + count]

    def _trigger(self, payload: bytes) -> bytes:
        (tag,) = TRIGGER.unpack(payload)
        player = self._startable()
        if tag not in self._tags:
            raise RequestRefusedError(Status.NO_SUCH_CUE)
        player.trigger(tag)
        return b""

    def _button(self, payload: bytes) -> bytes:
        button, down = BUTTON.unpack(payload)
        if button not in BUTTONS or down not in (0, 1):
            raise RequestRefusedError(Status.MALFORMED)
        (self._startable() if down else self._playing()).button(button, bool(down))
        (self._held.add if down else self._held.discard)(button)
        return b""

    def _stop(self, payload: bytes) -> bytes:
        _expect_empty(payload)
        self._playing().stop()
        return b""

    def _limp(self, payload: bytes) -> bytes:
        _expect_empty(payload)
        self._playing().limp()
        return b""

    def _standby(self, payload: bytes) -> bytes:
        _expect_empty(payload)
        player = self._playing(ReportedMode.LIMP)
        if player.watch is not None and player.watch.is_empty:
            raise RequestRefusedError(Status.EMPTY)
        player.standby()
        return b""

    def _beacon(self, payload: bytes) -> bytes:
        _expect_empty(payload)
        return b""

    def _jog(self, payload: bytes) -> bytes:
        servo, ticks = JOG.unpack(payload)
        player = self._playing(ReportedMode.LIMP)
        if servo >= player.servos or not PULSE_RANGE[0] <= ticks <= PULSE_RANGE[1]:
            raise RequestRefusedError(Status.MALFORMED)
        if not player.jog(servo, ticks):
            raise RequestRefusedError(Status.STOPPED)
        return b""

    def _pulse(self, payload: bytes) -> bytes:
        (servo,) = PULSE.unpack(payload)
        player = self._playing()
        if servo >= player.servos:
            raise RequestRefusedError(Status.MALFORMED)
        return PULSE_REPLY.pack(player.stood(servo))

    def _source(self, payload: bytes) -> bytes:
        (number,) = SOURCE_ASKED.unpack(payload)
        values = self._playing().source_values()
        if number >= len(values):
            raise RequestRefusedError(Status.MALFORMED)
        value = values[number]
        return SOURCE_REPLY.pack(value is not None, value or 0)

    def _status(self, payload: bytes) -> bytes:
        _expect_empty(payload)
        player = self.player
        watch = player.watch if player else None
        return State(
            mode=self.mode,
            reset_cause=self._cause,
            live_runs=player.live_runs if player else 0,
            refusal=self.slots.refusal,
            frames=player.frames if player else 0,
            running_cues=player.running_cues if player else 0,
            bad_frames=self.receiver.bad + self._line_receiver.bad,
            lost_bytes=0,
            refused=player.refused if player else 0,
            overruns=player.overruns if player else 0,
            watchdog_resets=self._resets[0],
            brown_out_resets=self._resets[1],
            stuck=(player.stuck if player else 0) if self.chip.senses else None,
            battery_mv=(watch.millivolts if watch else 0) if self.chip.senses else None,
            battery=watch.told if watch else 0,
        ).pack()

    # -- the show --------------------------------------------------------------------------

    def _start(self) -> None:
        """Start the current table from the quiet start, if there is one."""
        table = self.slots.table
        self._held.clear()
        self.player: Player | None = Player(table) if table else None
        self._tags = {cue.tag for cue in decode(table).cues} if table else set()
        self._witness.started()

    def _refusal_of(self, table: bytes) -> int:
        try:
            chip = decode(table).chip
        except TableError as error:
            return error.code
        return 0 if chip == self.chip.chip_id else BAD_CHIP

    def _playing(self, *modes: ReportedMode) -> Player:
        """The player, if it is in one of the modes (none given: if there is one)."""
        if self.player is None or (modes and self.mode not in modes):
            raise RequestRefusedError(Status.NOT_IN_THIS_MODE)
        return self.player

    def _startable(self) -> Player:
        """The player, if a request may start something."""
        player = self._playing(ReportedMode.READY)
        if player.follows:
            raise RequestRefusedError(Status.NOT_IN_THIS_MODE)
        return player

    def _let_go(self) -> None:
        """Nothing was heard for a while: buttons held over the link are up."""
        while self._held and self.player:
            button = self._held.pop()
            self.player.button(button, False)
            self._witness.asked(RequestKind.BUTTON, BUTTON.pack(button, False))


def _expect_empty(payload: bytes) -> None:
    if payload:
        raise RequestRefusedError(Status.MALFORMED)
