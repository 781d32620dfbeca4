#include "bc_link.h"

#include <string.h>

#include "bc_bits.h"
#include "bc_flash.h"
#include "bc_follow.h"
#include "bc_math.h"
#include "bc_player.h"
#include "bc_presses.h"
#include "bc_relay.h"
#include "bc_runs.h"
#include "bc_servo.h"
#include "bc_sources.h"
#include "bc_store.h"
#include "bc_table.h"
#include "bc_threads.h"
#include "bc_watch.h"
#include "bellcrank.h"

enum {
    SHORTEST = BC_HEADER_SIZE + BC_CRC_SIZE,
    NOT_YET = 0xFF, /* instead of a status: it comes later */
    OLD = 0x80      /* a seq this far ahead is behind */
};

/* A reply without more than a status. */
struct answer {
    uint8_t from; /* the address */
    uint8_t kind; /* of the request; 0: there is no such answer */
    uint8_t seq;
    uint8_t status;
};

static struct {
    struct answer last; /* to the last ordered request, so that copies of it do nothing */
    uint8_t waiting;    /* kind of the verify or commit to answer when all is stored; 0: none */
    uint8_t waiting_seq;
#if BC_CHIP_LEADS
    bool waiting_over_line; /* the way of its answer */
    struct answer refused;  /* to a jog that did not pass: its copies must not, either */
#endif
    uint8_t verdict;       /* status of the verify that waits, NOT_YET: not checked so far */
    uint8_t found_refusal; /* and what the check found */
    uint16_t found_crc;
    uint16_t session;
    uint16_t length;      /* of the table being received; 0: none is */
    uint16_t crc;         /* stated for it */
    uint8_t address;      /* likewise */
    uint8_t one_way_kind; /* of the last one-way frame; 0: there was none */
    uint8_t one_way_seq;
    uint8_t silent; /* frames since the last valid link frame, up to BC_HELD_FRAMES */
    uint8_t cause;
    bool greeted;
    bool verified;
    bool checking;                    /* the table received is being checked */
    uint8_t held[BC_BUTTONS / 8 + 1]; /* buttons held over the link, a bit each */
} state;

void bc_link_start(uint8_t cause) {
    memset(&state, 0, sizeof state);
    state.verdict = NOT_YET;
    state.cause = cause;
    bc_frames_start();
}

void bc_link_show_changed(void) {
    uint8_t own = BC_NO_ADDRESS;
    memset(state.held, 0, sizeof state.held);
    if (bc_player_source() != BC_SOURCE_NONE) {
        own = bc_header(BC_AT_ADDRESS);
        bc_table_release();
    }
    bc_frames_be(own);
}

/* -- requests of a transfer; their payload has the length that is listed below -------------- */

static uint16_t u16_at(const uint8_t *at) { return bc_u16(at[0], at[1]); }

static uint8_t hello(const struct bc_frame *frame) {
    uint16_t session = u16_at(frame->payload);
    if (!state.greeted || session != state.session) {
        state.greeted = true;
        state.session = session;
        state.last.kind = 0;
    }
    bc_reply_u8(BC_PROTOCOL);
    bc_reply_u8(BC_FIRMWARE_MAJOR);
    bc_reply_u8(BC_FIRMWARE_MINOR);
    bc_reply_u8(BC_CHIP);
    bc_reply_u8(bc_player_mode());
    bc_reply_u8(BC_SLOTS);
    bc_reply_u16(BC_SLOT_BYTES);
    bc_reply_u8(bc_store_current());
    bc_reply_u8(bc_store_refusal());
    bc_reply_u32(bc_player_show());
    bc_reply_u8(BC_CHUNK);
    bc_reply_u8(BC_WINDOW);
    return BC_STATUS_DONE;
}

static uint8_t open(const struct bc_frame *frame) {
    uint16_t length = u16_at(frame->payload);
    uint8_t address = frame->payload[4];
    uint8_t own = bc_frames_address();
    if (state.waiting == BC_REQUEST_COMMIT || state.checking) {
        return BC_STATUS_BUSY;
    }
    if (length < SHORTEST || address == BC_NO_ADDRESS) {
        return BC_STATUS_MALFORMED;
    }
    if (length > BC_SLOT_BYTES) {
        return BC_STATUS_TOO_LARGE;
    }
    if (address != BC_EVERYBODY && address != own && own != BC_NO_ADDRESS) {
        return BC_STATUS_WRONG_ADDRESS;
    }
    state.length = length;
    state.crc = u16_at(frame->payload + 2);
    state.address = address;
    state.verified = false;
    state.waiting = 0;
    state.verdict = NOT_YET;
    bc_store_open();
    return BC_STATUS_DONE;
}

static uint8_t data(const struct bc_frame *frame) {
    uint16_t offset = u16_at(frame->payload);
    uint8_t count = (uint8_t)(frame->length - BC_DATA_BYTES);
    if (frame->length < BC_DATA_BYTES) {
        return BC_STATUS_MALFORMED;
    }
    if (state.waiting != 0) {
        return BC_STATUS_BUSY;
    }
    if (state.length == 0) {
        return BC_STATUS_OUT_OF_ORDER;
    }
    if (count < 1 || count > BC_CHUNK || count > state.length || offset > state.length - count) {
        return BC_STATUS_MALFORMED;
    }
    if (!bc_store_has_room()) {
        return BC_STATUS_BUSY;
    }
    state.verified = false;
    bc_store_put(offset, frame->payload + BC_DATA_BYTES, count);
    return BC_STATUS_DONE;
}

static uint8_t verify(const struct bc_frame *frame) {
    (void)frame;
    if (state.waiting == BC_REQUEST_COMMIT) {
        return BC_STATUS_BUSY;
    }
    return state.length == 0 ? BC_STATUS_OUT_OF_ORDER : NOT_YET;
}

static uint8_t commit(const struct bc_frame *frame) {
    (void)frame;
    if (state.length == 0 || !state.verified || state.waiting != 0) {
        return BC_STATUS_OUT_OF_ORDER;
    }
    bc_store_commit();
    return NOT_YET;
}

static uint8_t read(const struct bc_frame *frame) {
    uint16_t offset = u16_at(frame->payload);
    uint8_t count = frame->payload[2];
    if (count < 1 || count > BC_CHUNK) {
        return BC_STATUS_MALFORMED;
    }
    if (bc_player_mode() == BC_MODE_BLANK) {
        return BC_STATUS_NOT_IN_THIS_MODE;
    }
    for (count = bc_player_left(offset, count); count > 0; count--) {
        bc_reply_u8(bc_player_byte(offset++));
    }
    return BC_STATUS_DONE;
}

/* -- requests to the player ----------------------------------------------------------------- */

static uint8_t ask(uint8_t asked, uint8_t argument) {
    return bc_player_ask(asked, argument) ? BC_STATUS_DONE : BC_STATUS_BUSY;
}

static uint8_t trigger(const struct bc_frame *frame) {
    uint8_t cue = bc_player_find_cue(u16_at(frame->payload));
    if (bc_follows()) {
        return BC_STATUS_NOT_IN_THIS_MODE;
    }
    return cue == BC_CUES ? BC_STATUS_NO_SUCH_CUE : ask(BC_ASK_CUE, cue);
}

static uint8_t button(const struct bc_frame *frame) {
    uint8_t number = frame->payload[0];
    uint8_t is_down = frame->payload[1];
    uint8_t mode = bc_player_mode();
    uint8_t status;
    if (number < 1 || number > BC_BUTTONS || is_down > 1) {
        return BC_STATUS_MALFORMED;
    }
    if (is_down ? mode != BC_MODE_READY || bc_follows() : mode == BC_MODE_BLANK) {
        return BC_STATUS_NOT_IN_THIS_MODE;
    }
    status = ask(is_down ? BC_ASK_DOWN : BC_ASK_UP, number);
    if (status == BC_STATUS_DONE) {
        bc_bit_put(state.held, number, is_down);
    }
    return status;
}

static uint8_t stop(const struct bc_frame *frame) {
    (void)frame;
    return ask(BC_ASK_STOP, 0);
}

static uint8_t limp(const struct bc_frame *frame) {
    (void)frame;
    return ask(BC_ASK_LIMP, 0);
}

static uint8_t standby(const struct bc_frame *frame) {
    (void)frame;
#if BC_CHIP_SENSES
    if (bc_watch_is_empty()) {
        return BC_STATUS_EMPTY;
    }
#endif
    return ask(BC_ASK_STANDBY, 0);
}

static uint8_t jog(const struct bc_frame *frame) {
    uint8_t servo = frame->payload[0];
    uint16_t pulse = u16_at(frame->payload + 1);
    if (servo >= bc_servos_count() || pulse < BC_PULSE_MIN || pulse > BC_PULSE_MAX) {
        return BC_STATUS_MALFORMED;
    }
    return bc_player_jog(servo, pulse) ? BC_STATUS_DONE : BC_STATUS_STOPPED;
}

static uint8_t pulse(const struct bc_frame *frame) {
    uint8_t servo = frame->payload[0];
    if (servo >= bc_servos_count()) {
        return BC_STATUS_MALFORMED;
    }
    bc_reply_u16(bc_servo_stood(servo));
    return BC_STATUS_DONE;
}

#if BC_CHIP_SENSES
static uint8_t source(const struct bc_frame *frame) {
    uint16_t value = 0;
    bool is_live;
    if (frame->payload[0] >= bc_sources_count()) {
        return BC_STATUS_MALFORMED;
    }
    is_live = bc_source_value(frame->payload[0], &value);
    bc_reply_u8(is_live);
    bc_reply_u16(is_live ? value : 0);
    return BC_STATUS_DONE;
}
#endif

static uint8_t report(const struct bc_frame *frame) {
    uint8_t cues[BC_CUE_SET];
    uint8_t n;
    (void)frame;
    bc_reply_u8(bc_player_mode());
    bc_reply_u8(state.cause);
    bc_reply_u8(bc_runs_live());
    bc_reply_u8(bc_store_refusal());
    bc_reply_u32(bc_player_frames());
    bc_runs_cues(cues);
    for (n = 0; n < sizeof cues; n++) {
        bc_reply_u8(cues[n]);
    }
    bc_reply_u16(bc_frames_bad());
    bc_reply_u16(bc_hal_lost_bytes());
    bc_reply_u16(bc_refused());
    bc_reply_u16(bc_overruns());
    bc_reply_u16(bc_hal_watchdog_resets());
    bc_reply_u16(bc_hal_brown_out_resets());
#if BC_CHIP_SENSES
    bc_reply_u32(bc_presses_stuck());
    bc_reply_u16(bc_watch_millivolts());
    bc_reply_u8(bc_watch_told());
#endif
    return BC_STATUS_DONE;
}

/* A beacon says all by being there. */
static uint8_t beacon(const struct bc_frame *frame) {
    (void)frame;
    return BC_STATUS_DONE;
}

static uint8_t unknown(const struct bc_frame *frame) {
    (void)frame;
    return BC_STATUS_UNKNOWN_KIND;
}

/* -- the kinds of requests ------------------------------------------------------------------ */

/* In which modes a request is taken, a bit each. */
enum {
    READY = 1 << BC_MODE_READY,
    LIMP = 1 << BC_MODE_LIMP,
    NOT_BLANK = 0x1F & ~(1 << BC_MODE_BLANK),
    ANY_MODE = 0x1F, /* or it looks at the mode itself */
    ANY_LENGTH = 0xFF
};

/* Whether doing it twice is not the same as doing it once, or the reply is all it does; whether it
 * may come one-way. */
enum order { REPLY_ONLY, FREE, FREE_OR_ONE_WAY, ORDERED, ORDERED_OR_ONE_WAY };

typedef uint8_t (*obeyer)(const struct bc_frame *frame); /* returns a status, or NOT_YET */

struct request {
    uint8_t kind;
    uint8_t length; /* of its payload */
    uint8_t modes;
    uint8_t order; /* enum order */
    obeyer obey;
};

/* The last stands for all that are not listed. */
static const struct request requests[] BC_FLASH = {
    {BC_REQUEST_HELLO, BC_HELLO_BYTES, ANY_MODE, FREE, hello},
    {BC_REQUEST_OPEN, BC_OPEN_BYTES, ANY_MODE, ORDERED, open},
    {BC_REQUEST_DATA, ANY_LENGTH, ANY_MODE, FREE, data},
    {BC_REQUEST_VERIFY, 0, ANY_MODE, FREE, verify},
    {BC_REQUEST_COMMIT, 0, ANY_MODE, ORDERED, commit},
    {BC_REQUEST_READ, BC_READ_BYTES, ANY_MODE, REPLY_ONLY, read},
    {BC_REQUEST_TRIGGER, BC_TRIGGER_BYTES, READY, ORDERED_OR_ONE_WAY, trigger},
    {BC_REQUEST_BUTTON, BC_BUTTON_BYTES, ANY_MODE, ORDERED_OR_ONE_WAY, button},
    {BC_REQUEST_STOP, 0, NOT_BLANK, ORDERED_OR_ONE_WAY, stop},
    {BC_REQUEST_LIMP, 0, NOT_BLANK, ORDERED_OR_ONE_WAY, limp},
    {BC_REQUEST_STANDBY, 0, LIMP, ORDERED_OR_ONE_WAY, standby},
    {BC_REQUEST_STATUS, 0, ANY_MODE, REPLY_ONLY, report},
    {BC_REQUEST_BEACON, 0, ANY_MODE, FREE_OR_ONE_WAY, beacon},
    {BC_REQUEST_JOG, BC_JOG_BYTES, LIMP, ORDERED, jog},
    {BC_REQUEST_PULSE, BC_PULSE_BYTES, NOT_BLANK, REPLY_ONLY, pulse},
#if BC_CHIP_SENSES
    {BC_REQUEST_SOURCE, BC_SOURCE_BYTES, NOT_BLANK, REPLY_ONLY, source},
#endif
    {0, ANY_LENGTH, ANY_MODE, FREE, unknown},
};
enum { KINDS = sizeof requests / sizeof requests[0] - 1 };

static struct request request_of(uint8_t kind) {
    const struct request *at = requests;
    struct request request;
    uint8_t left;
    for (left = KINDS; left > 0 && bc_flash_u8(&at->kind) != kind; left--) {
        at++;
    }
    bc_flash_copy(&request, at, sizeof request);
    return request;
}

/* Do what a request asks. */
static uint8_t obey(const struct request *request, const struct bc_frame *frame) {
    if (request->length != ANY_LENGTH && request->length != frame->length) {
        return BC_STATUS_MALFORMED;
    }
    if (!(request->modes & 1u << bc_player_mode())) {
        return BC_STATUS_NOT_IN_THIS_MODE;
    }
    return request->obey(frame);
}

/* -- frames --------------------------------------------------------------------------------- */

/* Send the last answer again. */
static void answer_again(const struct answer *last) {
    if (last->status != NOT_YET) {
        bc_reply_send(last->from, last->kind, last->seq, last->status);
    }
}

/* Whether an ordered request is a copy of the last one, to which that one's answer belongs. */
static bool is_copy_of_last(const struct bc_frame *frame) {
    return state.greeted && state.last.kind == frame->kind && state.last.seq == frame->seq;
}

/* DONE if an ordered request that is no copy is a new one, else why it is not. */
static uint8_t standing(const struct bc_frame *frame) {
    uint8_t ahead = (uint8_t)(frame->seq - state.last.seq);
    if (!state.greeted) {
        return BC_STATUS_NOT_GREETED;
    }
    if (state.last.kind == 0 || (ahead > 0 && ahead < OLD)) {
        return BC_STATUS_DONE;
    }
    return BC_STATUS_OUT_OF_ORDER;
}

static void take_one_way(const struct bc_frame *frame) {
    uint8_t kind = frame->kind & (uint8_t)~BC_ONE_WAY;
    struct request request = request_of(kind);
    bool may_be = request.order == FREE_OR_ONE_WAY || request.order == ORDERED_OR_ONE_WAY;
    if (kind == BC_HUB_KIND) {
        bc_follow_hear(frame, bc_hal_moment());
        return;
    }
    if (!may_be || (state.one_way_kind == kind && state.one_way_seq == frame->seq)) {
        return;
    }
    state.one_way_kind = kind;
    state.one_way_seq = frame->seq;
    obey(&request, frame);
}

static void remember(const struct bc_frame *frame, uint8_t status) {
    state.last.from = bc_frames_address();
    state.last.kind = frame->kind;
    state.last.seq = frame->seq;
    state.last.status = status;
}

static uint8_t obey_in_order(const struct request *request, const struct bc_frame *frame) {
    uint8_t status = standing(frame);
    if (status != BC_STATUS_DONE) {
        return status;
    }
    status = obey(request, frame);
    if (status != BC_STATUS_BUSY) {
        remember(frame, status);
    }
    return status;
}

static void take_request(const struct bc_frame *frame) {
    struct request request = request_of(frame->kind);
    bool is_ordered = request.order == ORDERED || request.order == ORDERED_OR_ONE_WAY;
    uint8_t status;
    if (!bc_reply_begin() && request.order == REPLY_ONLY) {
        return; /* while the line is busy answers are lost: the host asks again */
    }
    if (is_ordered && is_copy_of_last(frame)) {
        answer_again(&state.last);
        return;
    }
    status = is_ordered ? obey_in_order(&request, frame) : obey(&request, frame);
    if (status == NOT_YET) {
        state.waiting = frame->kind;
        state.waiting_seq = frame->seq;
#if BC_CHIP_LEADS
        state.waiting_over_line = frame == bc_relay_request();
#endif
    } else {
        bc_reply_send(bc_frames_address(), frame->kind, frame->seq, status);
    }
}

bool bc_has_heard(void) {
    bc_listen();
#if BC_CHIP_LEADS
    if (bc_relay_request() != 0) {
        return true;
    }
#endif
    return bc_frames_received() != 0;
}

#if BC_CHIP_LEADS
static uint8_t judge_jog(void) {
    if (!state.greeted) {
        return BC_STATUS_NOT_GREETED;
    }
    if (bc_player_mode() != BC_MODE_LIMP) {
        return BC_STATUS_NOT_IN_THIS_MODE;
    }
    return bc_player_jog_elsewhere() ? BC_STATUS_DONE : BC_STATUS_STOPPED;
}

/* DONE if a jog of another board's servo may pass, else why it may not. A stop here ends it, and no
 * copy of what was refused comes true later. */
static uint8_t jog_elsewhere(const struct bc_frame *frame) {
    struct answer *refused = &state.refused;
    if (refused->kind != 0 && refused->from == frame->to && refused->seq == frame->seq) {
        return refused->status;
    }
    refused->from = frame->to;
    refused->seq = frame->seq;
    refused->status = judge_jog();
    refused->kind = refused->status == BC_STATUS_DONE ? 0 : frame->kind;
    return refused->status;
}

/* A request of the host's that is for another board. */
static bool pass_on(const struct bc_frame *frame) {
    uint8_t status = BC_STATUS_DONE;
    if (frame->to == BC_EVERYBODY || frame->to == bc_frames_address()) {
        return false;
    }
    if (frame->kind == BC_REQUEST_HELLO) {
        state.refused.kind = 0;
    }
    if (frame->kind == BC_REQUEST_JOG) {
        status = jog_elsewhere(frame);
    }
    if (status == BC_STATUS_DONE) {
        bc_relay_outward(frame);
    } else {
        bc_reply_begin();
        bc_reply_send(frame->to, frame->kind, frame->seq, status);
    }
    bc_frames_done();
    return true;
}
#else
#define pass_on(frame) false
#endif

/* Pieces of a table may be under way while the one before is being answered: they wait for the
 * line. */
static bool answer_host(void) {
    const struct bc_frame *frame = bc_frames_received();
    if (frame == 0 || (frame->kind == BC_REQUEST_DATA && bc_hal_sending())) {
        return false;
    }
    if (pass_on(frame)) {
        return true;
    }
    state.silent = 0;
    bc_player_heard();
    if (frame->kind & BC_ONE_WAY) {
        take_one_way(frame);
    } else {
        take_request(frame);
    }
    bc_frames_done();
    return true;
}

#if BC_CHIP_LEADS

/* What the board that leads brings from its host, over the line between boards. */
static bool answer_line(void) {
    const struct bc_frame *frame = bc_relay_request();
    bool is_done;
    if (frame == 0) {
        return false;
    }
    bc_reply_over_line(true);
    is_done = frame->kind != BC_REQUEST_DATA || bc_reply_has_room();
    if (is_done) {
        take_request(frame);
        bc_relay_done();
    }
    bc_reply_over_line(false);
    return is_done;
}

bool bc_answer(void) { return answer_host() || answer_line(); }

#else

bool bc_answer(void) { return answer_host(); }

#endif

/* -- what comes later ----------------------------------------------------------------------- */

/* Check what was received, while the show goes on and requests are answered. */
static void judge(void) {
    struct bc_verdict verdict;
    state.checking = true;
    bc_store_judge(state.length, &verdict);
    state.checking = false;
    if (verdict.refusal == BC_REFUSAL_ACCEPTED && state.address != BC_EVERYBODY &&
        state.address != verdict.address) {
        verdict.refusal = BC_REFUSAL_ADDRESS;
    }
    state.verdict = BC_STATUS_DONE;
    if (verdict.crc != state.crc || verdict.crc != verdict.stated) {
        state.verdict = BC_STATUS_CRC_DIFFERS;
    } else if (verdict.refusal != BC_REFUSAL_ACCEPTED) {
        state.verdict = BC_STATUS_REFUSED;
    }
    state.found_crc = verdict.crc;
    state.found_refusal = verdict.refusal;
    state.verified = state.verdict == BC_STATUS_DONE;
}

/* The show that was received begins. */
static void change_over(void) {
    state.length = 0;
    bc_player_start(BC_SOURCE_NONE); /* nothing plays while the choice is made */
    bc_player_start(bc_store_choose());
    bc_link_show_changed();
}

void bc_link_finish(void) {
    uint8_t kind = state.waiting;
    uint8_t status = BC_STATUS_DONE;
    if (kind == 0 || !bc_store_is_idle()) {
        return;
    }
    if (kind == BC_REQUEST_VERIFY && state.verdict == NOT_YET) {
        judge();
    }
    bc_reply_over_line(state.waiting_over_line);
    if (!bc_reply_begin()) {
        bc_reply_over_line(false);
        return; /* as soon as the line is free */
    }
    state.waiting = 0;
    if (kind == BC_REQUEST_VERIFY) {
        status = state.verdict;
        state.verdict = NOT_YET;
        bc_reply_u16(state.found_crc);
        bc_reply_u8(state.found_refusal);
    } else if (state.last.status == NOT_YET) {
        state.last.status = status;
    }
    bc_reply_send(bc_frames_address(), kind, state.waiting_seq, status);
    bc_reply_over_line(false);
    if (kind == BC_REQUEST_COMMIT) {
        change_over();
    }
}

void bc_link_frame(void) {
    uint8_t number;
    if (state.silent < BC_HELD_FRAMES) {
        state.silent++;
    }
    if (state.silent < BC_HELD_FRAMES || !bc_bits_any(state.held, sizeof state.held)) {
        return;
    }
    for (number = 1; number <= BC_BUTTONS; number++) {
        if (bc_bit_is_set(state.held, number) && bc_player_ask(BC_ASK_UP, number)) {
            bc_bit_put(state.held, number, false);
        }
    }
}
