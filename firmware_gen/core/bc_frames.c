#include "bc_frames.h"

#include <string.h>

#include "bc_math.h"
#include "bc_runs.h"
#include "bellcrank.h"

/* Places in a frame: LINK.md section 1. */
enum { TO, KIND, SEQ, PAYLOAD, CRC = 2 };

/* -- receiving ------------------------------------------------------------------------------ */

/* What is known of the frame that comes in. Its bytes are unstuffed as they come. */
struct intake {
    struct bc_crc crc; /* of all bytes but the last two, which may be the frame's own CRC */
    uint8_t older;     /* those two */
    uint8_t newer;
    uint8_t count;  /* unstuffed bytes; stops one above the most */
    uint8_t block;  /* bytes left in COBS' block */
    bool has_begun; /* a byte came since the last zero */
};

/* A block that has no zero behind it is full, and longer than any frame: unstuffing need not know
 * it. */
BC_ASSERT(block, BC_MAX_ENCODED < 0xFF);

static uint8_t received[PAYLOAD + BC_KEPT_PAYLOAD]; /* as much of the frame as is kept */
static struct intake intake;
static struct bc_frame frame; /* the complete one */
static bool is_complete;
static uint8_t own_address;
static uint16_t bad_frames;

void bc_frames_start(void) {
    memset(&intake, 0, sizeof intake);
    is_complete = false;
    bad_frames = 0;
}

const struct bc_frame *bc_frames_received(void) { return is_complete ? &frame : 0; }

uint16_t bc_frames_bad(void) { return bad_frames; }

void bc_frames_done(void) { is_complete = false; }

void bc_frames_be(uint8_t address) { own_address = address; }

uint8_t bc_frames_address(void) { return own_address; }

static bool is_good(const struct intake *i) {
    return i->count >= BC_MIN_FRAME && i->count <= BC_MAX_FRAME && i->block == 0 &&
           i->crc.low == i->older && i->crc.high == i->newer;
}

static bool is_for_this_board(void) {
    bool is_addressed = received[TO] == BC_EVERYBODY || received[TO] == own_address;
    return is_addressed && !(received[KIND] & BC_REPLY);
}

/* A zero came: what stood before it is a frame or is not. Whether it is one for this board. */
static bool finish(const struct intake *i) {
    if (!is_good(i)) {
        bc_count(&bad_frames);
    } else if (is_for_this_board()) {
        frame.to = received[TO];
        frame.kind = received[KIND];
        frame.seq = received[SEQ];
        frame.length = (uint8_t)(i->count - BC_MIN_FRAME);
        frame.payload = &received[PAYLOAD];
        is_complete = true;
    }
    return is_complete;
}

/* Take bytes up to the end of a frame for this board, or all; how many. Runs for every byte on the
 * wire. */
static uint8_t take(const uint8_t *bytes, uint8_t count) {
    const struct bc_crc start = BC_CRC_START;
    struct intake i = intake; /* a copy can stay in registers */
    uint8_t left = count;
    while (left > 0) {
        uint8_t byte = *bytes;
        bytes++;
        left--;
        if (byte == 0) {
            bool is_over = i.has_begun && finish(&i);
            i.has_begun = false;
            if (is_over) {
                break;
            }
            continue;
        }
        if (!i.has_begun) {
            i.has_begun = true;
            i.crc = start;
            i.count = 0;
            i.block = (uint8_t)(byte - 1);
            continue;
        }
        if (i.block > 0) {
            i.block--;
        } else {
            i.block = (uint8_t)(byte - 1);
            byte = 0; /* COBS' stuffing */
        }
        if (i.count >= CRC) {
            i.crc = bc_crc(i.crc, i.older);
        }
        i.older = i.newer;
        i.newer = byte;
        if (i.count < sizeof received) {
            received[i.count] = byte;
        }
        if (i.count <= BC_MAX_FRAME) {
            i.count++;
        }
    }
    intake = i;
    return (uint8_t)(count - left);
}

void bc_listen(void) {
    const uint8_t *bytes;
    uint8_t count;
    while (!is_complete && (count = bc_hal_received(&bytes)) > 0) {
        bc_hal_taken(take(bytes, count));
    }
}

/* -- sending -------------------------------------------------------------------------------- */

/* A reply as it goes out: a zero, COBS' first byte, the frame, a zero. */
enum {
    START = 2, /* of the frame */
    STATUS = START + PAYLOAD,
    MOST_SENT = STATUS + BC_REPLY_PAYLOAD + CRC + 1
};

static uint8_t reply[MOST_SENT];
static uint8_t reply_end; /* where the next byte goes; 0: there is no place for a reply */

bool bc_reply_begin(void) {
    reply_end = bc_hal_sending() ? 0 : STATUS + 1;
    return reply_end != 0;
}

void bc_reply_u8(uint8_t value) {
    if (reply_end != 0) {
        reply[reply_end] = value;
        reply_end++;
    }
}

void bc_reply_u16(uint16_t value) {
    bc_reply_u8((uint8_t)value);
    bc_reply_u8((uint8_t)(value >> 8));
}

void bc_reply_u32(uint32_t value) {
    bc_reply_u16((uint16_t)value);
    bc_reply_u16((uint16_t)(value >> 16));
}

/* COBS: each zero of the frame is replaced by the distance to the next, the first byte says where
 * the first is. */
static void stuff(void) {
    uint8_t last = START - 1;
    uint8_t n;
    reply[reply_end] = 0;
    for (n = START; n <= reply_end; n++) {
        if (reply[n] == 0) {
            reply[last] = (uint8_t)(n - last);
            last = n;
        }
    }
}

void bc_reply_send(uint8_t from, uint8_t kind, uint8_t seq, uint8_t status) {
    struct bc_crc crc = BC_CRC_START;
    uint8_t n;
    if (reply_end == 0) {
        return;
    }
    reply[START + TO] = from;
    reply[START + KIND] = kind | BC_REPLY;
    reply[START + SEQ] = seq;
    reply[STATUS] = status;
    for (n = START; n < reply_end; n++) {
        crc = bc_crc(crc, reply[n]);
    }
    bc_reply_u8(crc.low);
    bc_reply_u8(crc.high);
    stuff();
    bc_hal_send(reply, (uint8_t)(reply_end + 1));
}
