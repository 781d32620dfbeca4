#include "bc_link.h"

#include "bc_frames.h"
#include "bc_player.h"
#include "bc_runs.h"
#include "bc_store.h"
#include "bc_table.h"
#include "bellcrank.h"

enum {
    SHORTEST = BC_HEADER_SIZE + BC_CRC_SIZE,
    NOT_YET = 0xFF, /* instead of a status: it comes later */
    OLD = 0x80      /* a seq this far ahead is behind */
};

/* A reply without more than a status. */
struct answer {
    uint8_t address; /* that it comes from */
    uint8_t kind;    /* of the request; 0: there is no such answer */
    uint8_t seq;
    uint8_t status;
};

/* What a request leads to: a status, and `rest` of the reply's payload behind it. */
struct result {
    uint8_t status;
    uint8_t length;
    uint8_t *rest; /* null: there will be no reply, or no place for it */
};

static struct {
    struct answer last;       /* to the last ordered request, so that copies of it do nothing */
    uint32_t held;            /* buttons held over the link, bit n */
    uint16_t session;
    uint16_t length;          /* of the table being received; 0: none is */
    uint16_t crc;             /* stated for it */
    uint8_t address;          /* likewise */
    uint8_t own;              /* the board's address */
    uint8_t one_way_kind;     /* of the last one-way frame; 0: there was none */
    uint8_t one_way_seq;
    uint8_t waiting;          /* kind of the verify or commit to answer when all is stored; 0: none */
    uint8_t waiting_seq;
    uint8_t silent;           /* frames since the last valid link frame, up to BC_HELD_FRAMES */
    uint8_t cause;
    uint8_t verdict;          /* status of the verify that waits, NOT_YET: not checked so far */
    uint8_t found_refusal;    /* and what the check found */
    uint16_t found_crc;
    bool greeted;
    bool verified;
    bool checking; /* the table received is being checked */
} board;

void bc_link_start(uint8_t cause) {
    board.last.kind = 0;
    board.length = 0;
    board.one_way_kind = 0;
    board.waiting = 0;
    board.verdict = NOT_YET;
    board.silent = 0;
    board.cause = cause;
    board.greeted = false;
    board.checking = false;
    bc_frames_start();
}

void bc_link_show_changed(void) {
    board.held = 0;
    board.own = BC_NO_ADDRESS;
    if (bc_player_source() != BC_SOURCE_NONE) {
        board.own = bc_table_u8(BC_AT_ADDRESS);
        bc_table_release();
    }
}

/* -- replies ------------------------------------------------------------------------------------ */

static uint16_t u16_at(const uint8_t *at) { return (uint16_t)(at[0] | (uint16_t)at[1] << 8); }

static uint8_t *put_u16(uint8_t *at, uint16_t value) {
    *at++ = (uint8_t)value;
    *at++ = (uint8_t)(value >> 8);
    return at;
}

static uint8_t *put_u32(uint8_t *at, uint32_t value) {
    return put_u16(put_u16(at, (uint16_t)value), (uint16_t)(value >> 16));
}

static void send(const struct answer *answer, uint8_t rest) {
    struct bc_reply *reply = bc_frames_reply();
    reply->to = answer->address;
    reply->kind = answer->kind | BC_REPLY;
    reply->seq = answer->seq;
    reply->payload[0] = answer->status;
    bc_frames_send((uint8_t)(1 + rest));
}

/* Send an answer. While the line is busy it is lost: the host asks again, or was not waiting for it. */
static void answer(const struct answer *answer) {
    if (bc_frames_reply() != 0) {
        send(answer, 0);
    }
}

static void answer_with(uint8_t kind, uint8_t seq, const struct result *result) {
    struct answer made;
    made.address = board.own;
    made.kind = kind;
    made.seq = seq;
    made.status = result->status;
    if (board.last.kind == kind && board.last.seq == seq && board.last.status == NOT_YET) {
        board.last = made;
    }
    if (result->length == 0) {
        answer(&made);
    } else if (result->rest != 0) {
        send(&made, result->length);
    }
}

/* -- requests of a transfer --------------------------------------------------------------------- */

static void hello(const struct bc_frame *frame, struct result *result) {
    uint8_t *at = result->rest;
    uint16_t session = u16_at(frame->payload);
    if (frame->length != 2) {
        result->status = BC_STATUS_MALFORMED;
        return;
    }
    if (!board.greeted || session != board.session) {
        board.greeted = true;
        board.session = session;
        board.last.kind = 0;
    }
    result->length = 16;
    if (at == 0) {
        return;
    }
    *at++ = BC_PROTOCOL;
    *at++ = BC_FIRMWARE_MAJOR;
    *at++ = BC_FIRMWARE_MINOR;
    *at++ = BC_CHIP;
    *at++ = bc_player_mode();
    *at++ = BC_SLOTS;
    at = put_u16(at, BC_SLOT_BYTES);
    *at++ = bc_store_current();
    *at++ = bc_store_refusal();
    at = put_u32(at, bc_player_show());
    *at++ = BC_CHUNK;
    *at = BC_WINDOW;
}

static uint8_t open(const struct bc_frame *frame) {
    uint16_t length = u16_at(frame->payload);
    uint8_t address = frame->payload[4];
    if (frame->length != 5) {
        return BC_STATUS_MALFORMED;
    }
    if (board.waiting == BC_REQUEST_COMMIT || board.checking) {
        return BC_STATUS_BUSY;
    }
    if (length < SHORTEST || address == BC_NO_ADDRESS) {
        return BC_STATUS_MALFORMED;
    }
    if (length > BC_SLOT_BYTES) {
        return BC_STATUS_TOO_LARGE;
    }
    if (address != BC_EVERYBODY && address != board.own && board.own != BC_NO_ADDRESS) {
        return BC_STATUS_WRONG_ADDRESS;
    }
    board.length = length;
    board.crc = u16_at(frame->payload + 2);
    board.address = address;
    board.verified = false;
    board.waiting = 0;
    board.verdict = NOT_YET;
    bc_store_open();
    return BC_STATUS_DONE;
}

static uint8_t data(const struct bc_frame *frame) {
    uint16_t offset = u16_at(frame->payload);
    uint8_t count = (uint8_t)(frame->length - 2);
    if (frame->length < 2) {
        return BC_STATUS_MALFORMED;
    }
    if (board.waiting != 0) {
        return BC_STATUS_BUSY;
    }
    if (board.length == 0) {
        return BC_STATUS_OUT_OF_ORDER;
    }
    if (count == 0 || count > BC_CHUNK || count > board.length || offset > board.length - count) {
        return BC_STATUS_MALFORMED;
    }
    if (!bc_store_has_room()) {
        return BC_STATUS_BUSY;
    }
    board.verified = false;
    bc_store_put(offset, frame->payload + 2, count);
    return BC_STATUS_DONE;
}

static uint8_t verify(const struct bc_frame *frame) {
    if (frame->length != 0) {
        return BC_STATUS_MALFORMED;
    }
    if (board.waiting == BC_REQUEST_COMMIT) {
        return BC_STATUS_BUSY;
    }
    if (board.length == 0) {
        return BC_STATUS_OUT_OF_ORDER;
    }
    return NOT_YET;
}

static uint8_t commit(const struct bc_frame *frame) {
    if (frame->length != 0) {
        return BC_STATUS_MALFORMED;
    }
    if (board.length == 0 || !board.verified || board.waiting != 0) {
        return BC_STATUS_OUT_OF_ORDER;
    }
    bc_store_commit();
    return NOT_YET;
}

static void read(const struct bc_frame *frame, struct result *result) {
    uint16_t offset = u16_at(frame->payload);
    uint8_t count = frame->payload[2];
    uint8_t n;
    if (frame->length != 3 || count == 0 || count > BC_CHUNK) {
        result->status = BC_STATUS_MALFORMED;
        return;
    }
    if (bc_player_mode() == BC_MODE_BLANK) {
        result->status = BC_STATUS_NOT_IN_THIS_MODE;
        return;
    }
    result->length = bc_player_left(offset, count);
    for (n = 0; result->rest != 0 && n < result->length; n++) {
        result->rest[n] = bc_player_byte((uint16_t)(offset + n));
    }
}

/* -- requests to the player --------------------------------------------------------------------- */

/* Queue a request, unless the mode forbids it: only `mode`, or any but blank if that is blank. */
static uint8_t ask(uint8_t asked, uint8_t argument, uint8_t mode) {
    uint8_t now = bc_player_mode();
    if (now == BC_MODE_BLANK || (mode != BC_MODE_BLANK && now != mode)) {
        return BC_STATUS_NOT_IN_THIS_MODE;
    }
    return bc_player_ask(asked, argument) ? BC_STATUS_DONE : BC_STATUS_BUSY;
}

static uint8_t trigger(const struct bc_frame *frame) {
    uint8_t cue;
    if (frame->length != 2) {
        return BC_STATUS_MALFORMED;
    }
    if (bc_player_mode() != BC_MODE_READY) {
        return BC_STATUS_NOT_IN_THIS_MODE;
    }
    cue = bc_player_find_cue(u16_at(frame->payload));
    return cue == BC_CUES ? BC_STATUS_NO_SUCH_CUE : ask(BC_ASK_CUE, cue, BC_MODE_READY);
}

static uint8_t button(const struct bc_frame *frame) {
    uint8_t number = frame->payload[0];
    uint8_t is_down = frame->payload[1];
    uint8_t status;
    if (frame->length != 2 || number == 0 || number > BC_BUTTONS || is_down > 1) {
        return BC_STATUS_MALFORMED;
    }
    status = is_down ? ask(BC_ASK_DOWN, number, BC_MODE_READY)
                     : ask(BC_ASK_UP, number, BC_MODE_BLANK);
    if (status == BC_STATUS_DONE) {
        uint32_t bit = (uint32_t)1 << number;
        board.held = is_down ? board.held | bit : board.held & ~bit;
    }
    return status;
}

static void report(struct result *result) {
    uint8_t *at = result->rest;
    result->length = 24;
    if (at == 0) {
        return;
    }
    *at++ = bc_player_mode();
    *at++ = board.cause;
    *at++ = bc_runs_live();
    *at++ = bc_store_refusal();
    at = put_u32(at, bc_player_frames());
    bc_runs_cues(at);
    at += 4;
    at = put_u16(at, bc_frames_bad());
    at = put_u16(at, bc_hal_lost_bytes());
    at = put_u16(at, bc_refused());
    at = put_u16(at, bc_overruns());
    at = put_u16(at, bc_hal_watchdog_resets());
    put_u16(at, bc_hal_brown_out_resets());
}

/* Requests without payload. */
static void obey_plain(const struct bc_frame *frame, uint8_t kind, struct result *result) {
    if (frame->length != 0) {
        result->status = BC_STATUS_MALFORMED;
        return;
    }
    switch (kind) {
    case BC_REQUEST_STOP:
        result->status = ask(BC_ASK_STOP, 0, BC_MODE_BLANK);
        break;
    case BC_REQUEST_LIMP:
        result->status = ask(BC_ASK_LIMP, 0, BC_MODE_BLANK);
        break;
    case BC_REQUEST_STANDBY:
        result->status = ask(BC_ASK_STANDBY, 0, BC_MODE_LIMP);
        break;
    case BC_REQUEST_STATUS:
        report(result);
        break;
    default: /* a beacon says all by being there */
        break;
    }
}

/* Do what a request of this kind asks. */
static void obey(const struct bc_frame *frame, uint8_t kind, struct result *result) {
    switch (kind) {
    case BC_REQUEST_HELLO:
        hello(frame, result);
        break;
    case BC_REQUEST_OPEN:
        result->status = open(frame);
        break;
    case BC_REQUEST_DATA:
        result->status = data(frame);
        break;
    case BC_REQUEST_VERIFY:
        result->status = verify(frame);
        break;
    case BC_REQUEST_COMMIT:
        result->status = commit(frame);
        break;
    case BC_REQUEST_READ:
        read(frame, result);
        break;
    case BC_REQUEST_TRIGGER:
        result->status = trigger(frame);
        break;
    case BC_REQUEST_BUTTON:
        result->status = button(frame);
        break;
    case BC_REQUEST_STOP:
    case BC_REQUEST_LIMP:
    case BC_REQUEST_STANDBY:
    case BC_REQUEST_STATUS:
    case BC_REQUEST_BEACON:
        obey_plain(frame, kind, result);
        break;
    default:
        result->status = BC_STATUS_UNKNOWN_KIND;
        break;
    }
}

/* -- frames ------------------------------------------------------------------------------------- */

static bool is_order(uint8_t kind) {
    switch (kind) {
    case BC_REQUEST_TRIGGER:
    case BC_REQUEST_BUTTON:
    case BC_REQUEST_STOP:
    case BC_REQUEST_LIMP:
    case BC_REQUEST_STANDBY:
        return true;
    default:
        return false;
    }
}

static void take_one_way(const struct bc_frame *frame) {
    uint8_t kind = (uint8_t)(frame->kind & ~BC_ONE_WAY);
    struct result result = {BC_STATUS_DONE, 0, 0};
    if (!is_order(kind) && kind != BC_REQUEST_BEACON) {
        return;
    }
    if (board.one_way_kind == kind && board.one_way_seq == frame->seq) {
        return;
    }
    board.one_way_kind = kind;
    board.one_way_seq = frame->seq;
    obey(frame, kind, &result);
}

static void act_on(const struct bc_frame *frame) {
    struct bc_reply *reply = bc_frames_reply();
    struct result result = {BC_STATUS_DONE, 0, 0};
    struct answer before = board.last;
    bool ordered = is_order(frame->kind) || frame->kind == BC_REQUEST_OPEN ||
                   frame->kind == BC_REQUEST_COMMIT;
    if (ordered) {
        board.last.kind = frame->kind;
        board.last.seq = frame->seq;
        board.last.status = NOT_YET;
    }
    result.rest = reply == 0 ? 0 : reply->payload + 1;
    obey(frame, frame->kind, &result);
    if (result.status == NOT_YET) {
        board.waiting = frame->kind;
        board.waiting_seq = frame->seq;
        return;
    }
    answer_with(frame->kind, frame->seq, &result);
    if (ordered && result.status == BC_STATUS_BUSY) {
        board.last = before;
    }
}

/* An ordered request: only if it is a new one. */
static void take_ordered(const struct bc_frame *frame) {
    struct answer refused;
    uint8_t ahead = (uint8_t)(board.last.kind == 0 ? 1 : frame->seq - board.last.seq);
    refused.address = board.own;
    refused.kind = frame->kind;
    refused.seq = frame->seq;
    refused.status = BC_STATUS_OUT_OF_ORDER;
    if (!board.greeted) {
        refused.status = BC_STATUS_NOT_GREETED;
        answer(&refused);
    } else if (ahead == 0 && frame->kind == board.last.kind) {
        if (board.last.status != NOT_YET) {
            answer(&board.last);
        }
    } else if (ahead == 0 || ahead >= OLD) {
        answer(&refused);
    } else {
        act_on(frame);
    }
}

static void take(const struct bc_frame *frame) {
    board.silent = 0;
    bc_player_heard();
    if (frame->kind & BC_ONE_WAY) {
        take_one_way(frame);
    } else if (is_order(frame->kind) || frame->kind == BC_REQUEST_OPEN ||
               frame->kind == BC_REQUEST_COMMIT) {
        take_ordered(frame);
    } else {
        act_on(frame);
    }
}

static bool is_for_us(const struct bc_frame *frame) {
    return (frame->to == BC_EVERYBODY || frame->to == board.own) && !(frame->kind & BC_REPLY);
}

/* Most frames of a shared line are for others; they are let go at once. */
void bc_listen(void) {
    const uint8_t *bytes;
    uint8_t count;
    while (bc_frames_received() == 0 && (count = bc_hal_received(&bytes)) > 0) {
        bc_hal_taken(bc_frames_take(bytes, count));
        if (bc_frames_received() != 0 && !is_for_us(bc_frames_received())) {
            bc_frames_done();
        }
    }
}

bool bc_has_heard(void) {
    bc_listen();
    return bc_frames_received() != 0;
}

/* Pieces of a table may be under way while the one before is being answered: they wait for the line. */
void bc_answer(void) {
    const struct bc_frame *frame = bc_frames_received();
    if (frame == 0 || (frame->kind == BC_REQUEST_DATA && bc_frames_reply() == 0)) {
        return;
    }
    take(frame);
    bc_frames_done();
}

/* -- what comes later --------------------------------------------------------------------------- */

/* Check what was received, while the show goes on and requests are answered. */
static void judge(void) {
    struct bc_verdict verdict;
    board.checking = true;
    verdict = bc_store_judge(board.length);
    board.checking = false;
    if (verdict.refusal == BC_REFUSAL_ACCEPTED && board.address != BC_EVERYBODY &&
        board.address != verdict.address) {
        verdict.refusal = BC_REFUSAL_ADDRESS;
    }
    board.verdict = BC_STATUS_DONE;
    if (verdict.crc != board.crc || verdict.crc != verdict.stated) {
        board.verdict = BC_STATUS_CRC_DIFFERS;
    } else if (verdict.refusal != BC_REFUSAL_ACCEPTED) {
        board.verdict = BC_STATUS_REFUSED;
    }
    board.found_crc = verdict.crc;
    board.found_refusal = verdict.refusal;
    board.verified = board.verdict == BC_STATUS_DONE;
}

static void finish_verify(void) {
    struct result result = {0, 3, 0};
    struct bc_reply *reply;
    if (board.verdict == NOT_YET) {
        judge();
    }
    reply = bc_frames_reply();
    if (reply == 0) {
        return; /* as soon as the line is free */
    }
    result.status = board.verdict;
    result.rest = reply->payload + 1;
    put_u16(result.rest, board.found_crc);
    result.rest[2] = board.found_refusal;
    board.waiting = 0;
    board.verdict = NOT_YET;
    answer_with(BC_REQUEST_VERIFY, board.waiting_seq, &result);
}

static void finish_commit(void) {
    struct result result = {BC_STATUS_DONE, 0, 0};
    if (bc_frames_reply() == 0) {
        return;
    }
    board.waiting = 0;
    answer_with(BC_REQUEST_COMMIT, board.waiting_seq, &result);
    board.length = 0;
    bc_player_start(BC_SOURCE_NONE); /* nothing plays while the choice is made */
    bc_player_start(bc_store_choose());
    bc_link_show_changed();
}

void bc_link_finish(void) {
    if (board.waiting == 0 || !bc_store_is_idle()) {
        return;
    }
    if (board.waiting == BC_REQUEST_VERIFY) {
        finish_verify();
    } else {
        finish_commit();
    }
}

void bc_link_frame(void) {
    uint8_t number;
    if (board.silent < BC_HELD_FRAMES) {
        board.silent++;
    }
    if (board.silent < BC_HELD_FRAMES || board.held == 0) {
        return;
    }
    for (number = 1; number <= BC_BUTTONS; number++) {
        uint32_t bit = (uint32_t)1 << number;
        if ((board.held & bit) && bc_player_ask(BC_ASK_UP, number)) {
            board.held &= ~bit;
        }
    }
}
