#include "bc_link.h"

#include "bc_bits.h"
#include "bc_compiler.h"
#include "bc_flash.h"
#include "bc_math.h"
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
    uint8_t from; /* the address */
    uint8_t kind; /* of the request; 0: there is no such answer */
    uint8_t seq;
    uint8_t status;
};

struct board {
    struct answer last;    /* to the last ordered request, so that copies of it do nothing */
    uint8_t waiting;       /* kind of the verify or commit to answer when all is stored; 0: none */
    uint8_t waiting_seq;
    uint8_t verdict;       /* status of the verify that waits, NOT_YET: not checked so far */
    uint8_t found_refusal; /* and what the check found */
    uint16_t found_crc;
    uint16_t session;
    uint16_t length;       /* of the table being received; 0: none is */
    uint16_t crc;          /* stated for it */
    uint8_t address;       /* likewise */
    uint8_t one_way_kind;  /* of the last one-way frame; 0: there was none */
    uint8_t one_way_seq;
    uint8_t silent;        /* frames since the last valid link frame, up to BC_HELD_FRAMES */
    uint8_t cause;
    bool greeted;
    bool verified;
    bool checking;         /* the table received is being checked */
    uint8_t held[BC_BUTTONS / 8 + 1]; /* buttons held over the link, a bit each */
};
static struct board state;

/* The state, reached through a pointer. */
static inline struct board *reach(void) {
    struct board *board = &state;
    BC_REACH(board);
    return board;
}

void bc_link_start(uint8_t cause) {
    struct board *board = reach();
    bc_clear(board, sizeof *board);
    board->verdict = NOT_YET;
    board->cause = cause;
    bc_frames_start();
}

void bc_link_show_changed(void) {
    uint8_t own = BC_NO_ADDRESS;
    bc_clear(state.held, sizeof state.held);
    if (bc_player_source() != BC_SOURCE_NONE) {
        own = bc_header(BC_AT_ADDRESS);
        bc_table_release();
    }
    bc_frames_be(own);
}

/* -- requests of a transfer; their payload has the length that is listed below -------------------- */

static uint16_t u16_at(const uint8_t *at) { return (uint16_t)(at[0] | (uint16_t)at[1] << 8); }

static uint8_t hello(const struct bc_frame *frame) {
    struct board *board = reach();
    uint16_t session = u16_at(frame->payload);
    if (!board->greeted || session != board->session) {
        board->greeted = true;
        board->session = session;
        board->last.kind = 0;
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
    struct board *board = reach();
    uint16_t length = u16_at(frame->payload);
    uint8_t address = frame->payload[4];
    uint8_t own = bc_frames_address();
    if (board->waiting == BC_REQUEST_COMMIT || board->checking) {
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
    board->length = length;
    board->crc = u16_at(frame->payload + 2);
    board->address = address;
    board->verified = false;
    board->waiting = 0;
    board->verdict = NOT_YET;
    bc_store_open();
    return BC_STATUS_DONE;
}

/* A whole piece is shorter than any table. */
BC_ASSERT(piece, (int)BC_CHUNK < (int)SHORTEST);

static uint8_t data(const struct bc_frame *frame) {
    struct board *board = reach();
    uint16_t offset = u16_at(frame->payload);
    uint8_t count = (uint8_t)(frame->length - 2);
    if (frame->length < 2) {
        return BC_STATUS_MALFORMED;
    }
    if (board->waiting != 0) {
        return BC_STATUS_BUSY;
    }
    if (board->length == 0) {
        return BC_STATUS_OUT_OF_ORDER;
    }
    if ((uint8_t)(count - 1) >= BC_CHUNK || offset > board->length - count) {
        return BC_STATUS_MALFORMED;
    }
    if (!bc_store_has_room()) {
        return BC_STATUS_BUSY;
    }
    board->verified = false;
    bc_store_put(offset, frame->payload + 2, count);
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
    struct board *board = reach();
    (void)frame;
    if (board->length == 0 || !board->verified || board->waiting != 0) {
        return BC_STATUS_OUT_OF_ORDER;
    }
    bc_store_commit();
    return NOT_YET;
}

static uint8_t read(const struct bc_frame *frame) {
    uint16_t offset = u16_at(frame->payload);
    uint8_t count = frame->payload[2];
    if ((uint8_t)(count - 1) >= BC_CHUNK) {
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

/* -- requests to the player --------------------------------------------------------------------- */

static BC_APART uint8_t ask(uint8_t asked, uint8_t argument) {
    return bc_player_ask(asked, argument) ? BC_STATUS_DONE : BC_STATUS_BUSY;
}

static uint8_t trigger(const struct bc_frame *frame) {
    uint8_t cue = bc_player_find_cue(u16_at(frame->payload));
    return cue == BC_CUES ? BC_STATUS_NO_SUCH_CUE : ask(BC_ASK_CUE, cue);
}

static uint8_t button(const struct bc_frame *frame) {
    uint8_t number = frame->payload[0];
    uint8_t is_down = frame->payload[1];
    uint8_t mode = bc_player_mode();
    uint8_t status;
    if ((uint8_t)(number - 1) >= BC_BUTTONS || is_down > 1) {
        return BC_STATUS_MALFORMED;
    }
    if (is_down ? mode != BC_MODE_READY : mode == BC_MODE_BLANK) {
        return BC_STATUS_NOT_IN_THIS_MODE;
    }
    status = ask(is_down ? BC_ASK_DOWN : BC_ASK_UP, number);
    if (status == BC_STATUS_DONE) {
        bc_bit(state.held, number, is_down ? BC_BIT_SET : BC_BIT_CLEAR);
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
    return ask(BC_ASK_STANDBY, 0);
}

static uint8_t report(const struct bc_frame *frame) {
    uint8_t cues[BC_CUES / 8];
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

/* -- the kinds of requests ---------------------------------------------------------------------- */

/* Traits: the modes in which a request is taken, a bit each, and whether it is ordered or may come one-way. */
enum {
    IN_READY = 1 << BC_MODE_READY,
    IN_LIMP = 1 << BC_MODE_LIMP,
    WHILE_PLAYING = 0x1F & ~(1 << BC_MODE_BLANK),
    ANYTIME = 0x1F, /* or it looks at the mode itself */
    ORDERED = 0x40,
    ONE_WAY_TOO = 0x80,
    AN_ORDER = ORDERED | ONE_WAY_TOO,
    ANY_LENGTH = 0xFF
};

typedef uint8_t (*obeyer)(const struct bc_frame *frame); /* returns a status, or NOT_YET */

struct request {
    uint8_t kind;
    uint8_t length; /* of its payload */
    uint8_t traits;
    obeyer obey;
};

/* The last stands for all that are not listed. */
static const struct request requests[] BC_FLASH = {
    {BC_REQUEST_HELLO, 2, ANYTIME, hello},
    {BC_REQUEST_OPEN, 5, ANYTIME | ORDERED, open},
    {BC_REQUEST_DATA, ANY_LENGTH, ANYTIME, data},
    {BC_REQUEST_VERIFY, 0, ANYTIME, verify},
    {BC_REQUEST_COMMIT, 0, ANYTIME | ORDERED, commit},
    {BC_REQUEST_READ, 3, ANYTIME, read},
    {BC_REQUEST_TRIGGER, 2, IN_READY | AN_ORDER, trigger},
    {BC_REQUEST_BUTTON, 2, ANYTIME | AN_ORDER, button},
    {BC_REQUEST_STOP, 0, WHILE_PLAYING | AN_ORDER, stop},
    {BC_REQUEST_LIMP, 0, WHILE_PLAYING | AN_ORDER, limp},
    {BC_REQUEST_STANDBY, 0, IN_LIMP | AN_ORDER, standby},
    {BC_REQUEST_STATUS, 0, ANYTIME, report},
    {BC_REQUEST_BEACON, 0, ANYTIME | ONE_WAY_TOO, beacon},
    {0, ANY_LENGTH, ANYTIME, unknown},
};
enum { KINDS = sizeof requests / sizeof requests[0] - 1 };

static BC_APART const struct request *request_of(uint8_t kind) {
    const struct request *request = requests;
    uint8_t left;
    for (left = KINDS; left > 0 && bc_flash_u8(&request->kind) != kind; left--) {
        request++;
    }
    return request;
}

/* Do what a request asks. */
static uint8_t obey(const struct request *request, const struct bc_frame *frame) {
    uint8_t length = bc_flash_u8(&request->length);
    if (length != ANY_LENGTH && length != frame->length) {
        return BC_STATUS_MALFORMED;
    }
    if (!((uint8_t)(bc_flash_u8(&request->traits) >> bc_player_mode()) & 1)) {
        return BC_STATUS_NOT_IN_THIS_MODE;
    }
    return BC_FLASH_FUNCTION(obeyer, &request->obey)(frame);
}

/* -- frames ------------------------------------------------------------------------------------- */

/* Send the last answer again. */
static void answer_again(const struct answer *last) {
    if (last->status != NOT_YET) {
        bc_reply_send(last->from, last->kind, last->seq, last->status);
    }
}

/*
 * Whether an ordered request is a new one: DONE; why it is not, or NOT_YET for a copy of the last one, to which
 * its own answer belongs.
 */
static uint8_t standing(const struct bc_frame *frame) {
    const struct board *board = reach();
    uint8_t ahead = (uint8_t)(frame->seq - board->last.seq);
    if (!board->greeted) {
        return BC_STATUS_NOT_GREETED;
    }
    if (board->last.kind == 0 || (ahead > 0 && ahead < OLD)) {
        return BC_STATUS_DONE;
    }
    return ahead == 0 && frame->kind == board->last.kind ? NOT_YET : BC_STATUS_OUT_OF_ORDER;
}

static void take_one_way(struct bc_frame *frame) {
    struct board *board = reach();
    const struct request *request;
    frame->kind &= (uint8_t)~BC_ONE_WAY;
    request = request_of(frame->kind);
    if (!(bc_flash_u8(&request->traits) & ONE_WAY_TOO) ||
        (board->one_way_kind == frame->kind && board->one_way_seq == frame->seq)) {
        return;
    }
    board->one_way_kind = frame->kind;
    board->one_way_seq = frame->seq;
    obey(request, frame);
}

static void take_request(const struct bc_frame *frame) {
    struct board *board = reach();
    const struct request *request = request_of(frame->kind);
    bool is_ordered = (bc_flash_u8(&request->traits) & ORDERED) != 0;
    uint8_t status = BC_STATUS_DONE;
    bc_reply_begin(); /* while the line is busy answers are lost: the host asks again */
    if (is_ordered) {
        status = standing(frame);
        if (status == NOT_YET) {
            answer_again(&board->last);
            return;
        }
    }
    if (status == BC_STATUS_DONE) {
        status = obey(request, frame);
        if (is_ordered && status != BC_STATUS_BUSY) {
            board->last.from = bc_frames_address();
            board->last.kind = frame->kind;
            board->last.seq = frame->seq;
            board->last.status = status;
        }
    }
    if (status == NOT_YET) {
        board->waiting = frame->kind;
        board->waiting_seq = frame->seq;
    } else {
        bc_reply_send(bc_frames_address(), frame->kind, frame->seq, status);
    }
}

bool bc_has_heard(void) {
    bc_listen();
    return bc_frames_received() != 0;
}

/* Pieces of a table may be under way while the one before is being answered: they wait for the line. */
void bc_answer(void) {
    struct bc_frame *frame = bc_frames_received();
    if (frame == 0 || (frame->kind == BC_REQUEST_DATA && bc_hal_sending())) {
        return;
    }
    state.silent = 0;
    bc_player_heard();
    if (frame->kind & BC_ONE_WAY) {
        take_one_way(frame);
    } else {
        take_request(frame);
    }
    bc_frames_done();
}

/* -- what comes later --------------------------------------------------------------------------- */

/* Check what was received, while the show goes on and requests are answered. */
static BC_APART void judge(void) {
    struct board *board = reach();
    struct bc_verdict verdict;
    board->checking = true;
    bc_store_judge(board->length, &verdict);
    board->checking = false;
    if (verdict.refusal == BC_REFUSAL_ACCEPTED && board->address != BC_EVERYBODY &&
        board->address != verdict.address) {
        verdict.refusal = BC_REFUSAL_ADDRESS;
    }
    board->verdict = BC_STATUS_DONE;
    if (verdict.crc != board->crc || verdict.crc != verdict.stated) {
        board->verdict = BC_STATUS_CRC_DIFFERS;
    } else if (verdict.refusal != BC_REFUSAL_ACCEPTED) {
        board->verdict = BC_STATUS_REFUSED;
    }
    board->found_crc = verdict.crc;
    board->found_refusal = verdict.refusal;
    board->verified = board->verdict == BC_STATUS_DONE;
}

/* The show that was received begins. */
static void change_over(void) {
    state.length = 0;
    bc_player_start(BC_SOURCE_NONE); /* nothing plays while the choice is made */
    bc_player_start(bc_store_choose());
    bc_link_show_changed();
}

void bc_link_finish(void) {
    struct board *board = reach();
    uint8_t kind = board->waiting;
    uint8_t status = BC_STATUS_DONE;
    if (kind == 0 || !bc_store_is_idle()) {
        return;
    }
    if (kind == BC_REQUEST_VERIFY && board->verdict == NOT_YET) {
        judge();
    }
    if (!bc_reply_begin()) {
        return; /* as soon as the line is free */
    }
    board->waiting = 0;
    if (kind == BC_REQUEST_VERIFY) {
        status = board->verdict;
        board->verdict = NOT_YET;
        bc_reply_u16(board->found_crc);
        bc_reply_u8(board->found_refusal);
    } else if (board->last.status == NOT_YET) {
        board->last.status = status;
    }
    bc_reply_send(bc_frames_address(), kind, board->waiting_seq, status);
    if (kind == BC_REQUEST_COMMIT) {
        change_over();
    }
}

void bc_link_frame(void) {
    struct board *board = reach();
    uint8_t number;
    if (board->silent < BC_HELD_FRAMES) {
        board->silent++;
    }
    if (board->silent < BC_HELD_FRAMES || !(board->held[0] | board->held[1] | board->held[2] | board->held[3])) {
        return;
    }
    for (number = 1; number <= BC_BUTTONS; number++) {
        if (bc_bit(board->held, number, BC_BIT_KEEP) && bc_player_ask(BC_ASK_UP, number)) {
            bc_bit(board->held, number, BC_BIT_CLEAR);
        }
    }
}
