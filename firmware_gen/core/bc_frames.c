#include "bc_frames.h"

#include <string.h>

#include "bc_follow.h"
#include "bc_math.h"
#include "bc_relay.h"
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

/* One end of a line. */
struct receiver {
    uint8_t received[PAYLOAD + BC_LONGEST_PAYLOAD]; /* as much of the frame as is kept */
    struct intake intake;
    struct bc_frame frame; /* the complete one */
    bool is_complete;
};

static struct receiver host; /* the link to the host */
#if BC_CHIP_LEADS
static struct receiver line; /* the line between boards */
#endif
static uint8_t own_address;
static uint16_t bad_frames;

void bc_frames_start(void) {
    memset(&host, 0, sizeof host);
#if BC_CHIP_LEADS
    memset(&line, 0, sizeof line);
#endif
    bad_frames = 0;
}

const struct bc_frame *bc_frames_received(void) { return host.is_complete ? &host.frame : 0; }

uint16_t bc_frames_bad(void) { return bad_frames; }

void bc_frames_done(void) { host.is_complete = false; }

void bc_frames_be(uint8_t address) { own_address = address; }

uint8_t bc_frames_address(void) { return own_address; }

static bool is_good(const struct intake *i) {
    return i->count >= BC_MIN_FRAME && i->count <= BC_MAX_FRAME && i->block == 0 &&
           i->crc.low == i->older && i->crc.high == i->newer;
}

static bool is_for_this_board(const uint8_t *received) {
    bool is_addressed = received[TO] == BC_EVERYBODY || received[TO] == own_address;
    return is_addressed && !(received[KIND] & BC_REPLY);
}

/* On a line of the boards' own whoever takes a frame decides. */
static bool is_taken(const struct receiver *receiver) {
    const uint8_t *received = receiver->received;
#if BC_CHIP_LEADS
    if (receiver == &line || bc_relay_passes(received[TO], received[KIND])) {
        return true;
    }
#endif
    return is_for_this_board(received);
}

/* A zero came: what stood before it is a frame or is not. Whether it is one for this board. */
static bool finish(struct receiver *receiver, const struct intake *i) {
    const uint8_t *received = receiver->received;
    if (!is_good(i)) {
        bc_count(&bad_frames);
    } else if (is_taken(receiver)) {
        receiver->frame.to = received[TO];
        receiver->frame.kind = received[KIND];
        receiver->frame.seq = received[SEQ];
        receiver->frame.length = (uint8_t)(i->count - BC_MIN_FRAME);
        receiver->frame.payload = &received[PAYLOAD];
        receiver->is_complete = true;
    }
    return receiver->is_complete;
}

/* Take bytes up to the end of a frame for this board, or all; how many. Runs for every byte on the
 * wire. */
static uint8_t take(struct receiver *receiver, const uint8_t *bytes, uint8_t count) {
    const struct bc_crc start = BC_CRC_START;
    struct intake i = receiver->intake; /* a copy can stay in registers */
    uint8_t left = count;
    while (left > 0) {
        uint8_t byte = *bytes;
        bytes++;
        left--;
        if (byte == 0) {
            bool is_over = i.has_begun && finish(receiver, &i);
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
        if (i.count < sizeof receiver->received) {
            receiver->received[i.count] = byte;
        }
        if (i.count <= BC_MAX_FRAME) {
            i.count++;
        }
    }
    receiver->intake = i;
    return (uint8_t)(count - left);
}

void bc_listen(void) {
    const uint8_t *bytes;
    uint8_t count;
    while (!host.is_complete && (count = bc_hal_received(&bytes)) > 0) {
        bc_hal_taken(take(&host, bytes, count));
    }
}

#if BC_CHIP_LEADS

void bc_line_byte(uint8_t byte, uint16_t moment) {
    (void)moment; /* where no board follows */
    take(&line, &byte, 1);
    if (line.is_complete) {
        if (line.frame.kind != (BC_HUB_KIND | BC_ONE_WAY)) {
            bc_relay_inward(&line.frame);
        } else if (is_for_this_board(line.received)) {
            bc_follow_hear(&line.frame, moment);
        }
        line.is_complete = false;
    }
}

void bc_line_turn(void) { bc_relay_step(); }

#endif

/* -- sending -------------------------------------------------------------------------------- */

/* A reply as it goes out: a zero, COBS' first byte, the frame, a zero. */
enum {
    START = 2, /* of the frame */
    STATUS = START + PAYLOAD,
    MOST_SENT = STATUS + BC_REPLY_PAYLOAD + CRC + 1
};

static uint8_t reply[MOST_SENT];
static uint8_t reply_end; /* where the next byte goes; 0: there is no place for a reply */

#if BC_CHIP_LEADS

static bool is_over_line;

void bc_reply_over_line(bool over_line) { is_over_line = over_line; }

bool bc_reply_has_room(void) {
    return !bc_hal_sending() && (!is_over_line || bc_line_room() >= MOST_SENT);
}

#endif

bool bc_reply_begin(void) {
    reply_end = bc_reply_has_room() ? STATUS + 1 : 0;
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
static void stuff(uint8_t *bytes, uint8_t end) {
    uint8_t last = START - 1;
    uint8_t n;
    bytes[end] = 0;
    for (n = START; n <= end; n++) {
        if (bytes[n] == 0) {
            bytes[last] = (uint8_t)(n - last);
            last = n;
        }
    }
}

#if BC_CHIP_LEADS
static void line_send_all(const uint8_t *bytes, uint8_t count) {
    for (; count > 0; count--) {
        bc_line_send(*bytes);
        bytes++;
    }
}
#endif

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
    stuff(reply, reply_end);
#if BC_CHIP_LEADS
    if (is_over_line) {
        line_send_all(reply, (uint8_t)(reply_end + 1));
        return;
    }
#endif
    bc_hal_send(reply, (uint8_t)(reply_end + 1));
}

#if BC_CHIP_LEADS

/* A frame goes out whole or not at all: of a state nobody waits, as the next comes soon, and a
 * request comes again. */
static void line_put(uint8_t to, uint8_t kind, uint8_t seq, const uint8_t *payload, uint8_t count) {
    struct bc_crc crc = BC_CRC_START;
    uint8_t frame[START + BC_MIN_FRAME + BC_KEPT_PAYLOAD + 1];
    uint8_t end = START;
    uint8_t n;
    frame[0] = 0;
    frame[end++] = to;
    frame[end++] = kind;
    frame[end++] = seq;
    memcpy(&frame[end], payload, count);
    end = (uint8_t)(end + count);
    for (n = START; n < end; n++) {
        crc = bc_crc(crc, frame[n]);
    }
    frame[end++] = crc.low;
    frame[end++] = crc.high;
    stuff(frame, end);
    end++;
    if (bc_line_room() >= end) {
        line_send_all(frame, end);
    }
}

void bc_line_tell(uint8_t kind, uint8_t seq, const uint8_t *payload, uint8_t count) {
    line_put(BC_EVERYBODY, kind | BC_ONE_WAY, seq, payload, count);
}

void bc_line_pass(const struct bc_frame *frame) {
    line_put(frame->to, frame->kind, frame->seq, frame->payload, frame->length);
}

#endif
