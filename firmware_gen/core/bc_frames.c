#include "bc_frames.h"

#include "bc_bits.h"
#include "bc_compiler.h"
#include "bc_math.h"
#include "bc_runs.h"
#include "bellcrank.h"

/*
 * Bytes are unstuffed as they come and go into the CRC two bytes later: which are the last two, the frame's own
 * CRC, is known only at the end. In the place of two bytes before the first are two that leave the start value as it is.
 */
enum { BEFORE_FIRST = 0x7B, BEFORE_SECOND = 0x30 };
struct intake {
    uint8_t high;    /* the CRC of all bytes but the last two, in two bytes: half the work for the chip */
    uint8_t low;
    uint8_t older;   /* the last two bytes */
    uint8_t newer;
    uint8_t encoded; /* bytes since the last zero, one more than are unstuffed; not counted on once over the most */
    uint8_t block;   /* bytes left in the block */
};

/* A block that has no zero behind it is full, and longer than any frame: unstuffing need not know it. */
BC_ASSERT(block, BC_MAX_ENCODED < 0xFF);

static struct {
    struct bc_frame frame;
    struct intake intake;
    uint16_t bad;
    bool complete;
    uint8_t own; /* the board's address */
} in;

/* A reply as it goes out; handled as a row of bytes from its first zero on. */
enum { STUFFING = 1, TO, KIND, SEQ, STATUS, REST, OUT = STATUS + BC_REPLY_PAYLOAD + BC_FRAME_CRC + 1 };
static struct {
    uint8_t bytes[OUT]; /* the zero that starts a frame, COBS' first byte, the frame, the zero that ends it */
    uint8_t end;        /* where the next byte goes; 0: there is no place for a reply */
} out;

/* A frame's first bytes are handled as a row. */
BC_ASSERT(frame, sizeof(struct bc_frame) == BC_FRAME_HEAD + BC_KEPT_PAYLOAD + 1);

void bc_frames_start(void) { bc_clear(&in, sizeof in); }

struct bc_frame *bc_frames_received(void) { return in.complete ? &in.frame : 0; }

uint16_t bc_frames_bad(void) { return in.bad; }

void bc_frames_done(void) { in.complete = false; }

void bc_frames_be(uint8_t address) { in.own = address; }

uint8_t bc_frames_address(void) { return in.own; }

static bool is_good(const struct intake *intake) {
    return intake->encoded <= BC_MAX_ENCODED && intake->block == 0 && intake->encoded > BC_MIN_FRAME &&
           intake->low == intake->older && intake->high == intake->newer;
}

/* A zero came: what stood before it, if anything, is a frame or is not. */
static void finish(const struct intake *intake) {
    if (intake->encoded == 0) {
        return;
    }
    if (!is_good(intake)) {
        bc_count(&in.bad);
    } else if ((in.frame.to == BC_EVERYBODY || in.frame.to == in.own) && !(in.frame.kind & BC_REPLY)) {
        in.frame.length = (uint8_t)(intake->encoded - 1 - BC_MIN_FRAME);
        in.complete = true;
    }
}

/* Runs for every byte on the wire: what it changes is in a copy, which the compiler keeps in registers. */
static uint8_t take(const uint8_t *bytes, uint8_t count) {
    struct intake *kept = &in.intake;
    struct intake i;
    uint8_t left = count;
    uint8_t factor = 1 << 5; /* shifts a byte up 5 and down 3 at once */
    uint16_t spread;
    uint8_t x;
    BC_HIDE(factor);
    BC_REACH(kept);
    i = *kept;
    while (left > 0) {
        uint8_t byte = *bytes++;
        left--;
        if (byte == 0) {
            finish(&i);
            i.encoded = 0;
            i.block = 0;
            if (in.complete) {
                break;
            }
            continue;
        }
        if (i.block > 0) {
            i.block--;
        } else {
            i.block = (uint8_t)(byte - 1);
            if (i.encoded == 0) {
                i.encoded = 1;
                i.high = i.low = 0xFF; /* BC_CRC_START */
                i.older = BEFORE_FIRST;
                i.newer = BEFORE_SECOND;
                continue;
            }
            byte = 0;
        }
        /* As bc_crc. */
        x = (uint8_t)(i.high ^ i.older);
        x = (uint8_t)(x ^ (x >> 4));
        spread = (uint16_t)((uint16_t)x * factor);
        i.high = (uint8_t)(i.low ^ (uint8_t)(x << 4) ^ (uint8_t)(spread >> 8));
        i.low = (uint8_t)((uint8_t)spread ^ x);
        i.older = i.newer;
        i.newer = byte;
        if (i.encoded <= BC_FRAME_HEAD + BC_KEPT_PAYLOAD) {
            (&in.frame.to)[i.encoded - 1] = byte;
        } else if (i.encoded > BC_MAX_ENCODED) {
            i.encoded = BC_MAX_ENCODED;
        }
        i.encoded++;
    }
    kept = &in.intake;
    BC_REACH(kept);
    *kept = i;
    return (uint8_t)(count - left);
}

void bc_listen(void) {
    const uint8_t *bytes;
    uint8_t count;
    while (!in.complete && (count = bc_hal_received(&bytes)) > 0) {
        bc_hal_taken(take(bytes, count));
    }
}

/* -- sending ------------------------------------------------------------------------------------ */

bool bc_reply_begin(void) {
    out.end = bc_hal_sending() ? 0 : REST;
    return out.end != 0;
}

BC_APART void bc_reply_u8(uint8_t value) {
    if (out.end != 0) {
        out.bytes[out.end++] = value;
    }
}

BC_APART void bc_reply_u16(uint16_t value) {
    bc_reply_u8((uint8_t)value);
    bc_reply_u8((uint8_t)(value >> 8));
}

BC_APART void bc_reply_u32(uint32_t value) {
    bc_reply_u16((uint16_t)value);
    bc_reply_u16((uint16_t)(value >> 16));
}

/* CRC-16 over the frame, and COBS: each zero is replaced by the distance to the next. */
static void send(void) {
    uint8_t *bytes = out.bytes;
    uint8_t *code = bytes + STUFFING;
    uint8_t left = (uint8_t)(out.end - TO);
    uint16_t crc = BC_CRC_START;
    uint8_t distance = 1;
    for (bytes += TO; left > 0; left--) {
        crc = bc_crc(crc, *bytes++);
    }
    bc_reply_u16(crc);
    bytes = out.bytes + TO;
    for (left = (uint8_t)(out.end - TO); left > 0; left--) {
        if (*bytes == 0) {
            *code = distance;
            code = bytes;
            distance = 0;
        }
        distance++;
        bytes++;
    }
    *code = distance;
    *bytes = 0;
    bc_hal_send(out.bytes, (uint8_t)(out.end + 1));
}

BC_APART void bc_reply_send(uint8_t from, uint8_t kind, uint8_t seq, uint8_t status) {
    uint8_t *bytes = out.bytes;
    if (out.end == 0) {
        return;
    }
    BC_REACH(bytes);
    bytes[TO] = from;
    bytes[KIND] = kind | BC_REPLY;
    bytes[SEQ] = seq;
    bytes[STATUS] = status;
    send();
}
