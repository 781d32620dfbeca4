#include "bc_frames.h"

#include "bc_math.h"
#include "bc_runs.h"
#include "bellcrank.h"

/*
 * Bytes are unstuffed and put into the CRC as they come, the CRC's own two among them: which are the
 * last is known only at the end. Then the CRC of what stood before them is found by going back.
 */
struct intake {
    uint8_t high;    /* the CRC of all bytes so far, in two bytes: half the work for the chip */
    uint8_t low;
    uint8_t older;   /* the last two bytes */
    uint8_t newer;
    uint8_t encoded; /* bytes since the last zero, not counted on once over the most */
    uint8_t count;   /* bytes unstuffed */
    uint8_t block;   /* bytes left in the block */
    bool full_block; /* the block has no zero behind it */
};

static struct {
    struct bc_frame frame;
    struct intake intake;
    uint16_t bad;
    bool complete;
} in;

static struct {
    uint8_t zero; /* that starts a frame */
    struct bc_reply reply;
} out;

/* Both are handled as rows of bytes. */
BC_ASSERT(frame, sizeof(struct bc_frame) == BC_FRAME_HEAD + BC_KEPT_PAYLOAD + 1);
BC_ASSERT(reply, sizeof(struct bc_reply) == 1 + BC_FRAME_HEAD + BC_REPLY_PAYLOAD + BC_FRAME_CRC + 1);

void bc_frames_start(void) {
    in.complete = false;
    in.bad = 0;
    in.intake.encoded = 0;
    in.intake.block = 0;
}

const struct bc_frame *bc_frames_received(void) { return in.complete ? &in.frame : 0; }

uint16_t bc_frames_bad(void) { return in.bad; }

void bc_frames_done(void) { in.complete = false; }

/* The CRC before its last two bytes went into it: bc_crc's steps undone. */
static uint16_t crc_before(const struct intake *intake) {
    uint8_t high = intake->high;
    uint8_t low = intake->low;
    uint8_t byte = intake->newer;
    uint8_t steps;
    for (steps = 2; steps > 0; steps--) {
        uint8_t x = (uint8_t)(low ^ (uint8_t)(low << 5));
        low = (uint8_t)(high ^ (uint8_t)(x << 4) ^ (uint8_t)(x >> 3));
        high = (uint8_t)(x ^ (x >> 4) ^ byte);
        byte = intake->older;
    }
    return (uint16_t)((uint16_t)high << 8 | low);
}

static bool is_good(const struct intake *intake) {
    return intake->encoded <= BC_MAX_ENCODED && intake->block == 0 && intake->count >= BC_MIN_FRAME &&
           crc_before(intake) == (uint16_t)(intake->older | (uint16_t)intake->newer << 8);
}

/* A zero came: what stood before it, if anything, is a frame or is not. */
static void finish(const struct intake *intake) {
    if (intake->encoded == 0) {
        return;
    }
    if (is_good(intake)) {
        in.frame.length = (uint8_t)(intake->count - BC_MIN_FRAME);
        in.complete = true;
    } else {
        bc_count(&in.bad);
    }
}

/* Runs for every byte on the wire: what it changes is in a copy, which the compiler keeps in registers. */
uint8_t bc_frames_take(const uint8_t *bytes, uint8_t count) {
    struct intake i = in.intake;
    uint8_t left = count;
    uint8_t x;
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
        if (i.encoded > BC_MAX_ENCODED) {
            continue;
        }
        i.encoded++;
        if (i.block > 0) {
            i.block--;
        } else {
            bool implied = !i.full_block;
            i.block = (uint8_t)(byte - 1);
            i.full_block = byte == 0xFF;
            if (i.encoded == 1) {
                i.count = 0;
                i.high = i.low = 0xFF; /* BC_CRC_START */
                continue;
            }
            if (!implied) {
                continue;
            }
            byte = 0;
        }
        /* As bc_crc. */
        x = (uint8_t)(i.high ^ byte);
        x = (uint8_t)(x ^ (x >> 4));
        i.high = (uint8_t)(i.low ^ (uint8_t)(x << 4) ^ (uint8_t)(x >> 3));
        i.low = (uint8_t)((uint8_t)(x << 5) ^ x);
        i.older = i.newer;
        i.newer = byte;
        if (i.count < BC_FRAME_HEAD + BC_KEPT_PAYLOAD) {
            (&in.frame.to)[i.count] = byte;
        }
        i.count++;
    }
    in.intake = i;
    return (uint8_t)(count - left);
}

/* -- sending ------------------------------------------------------------------------------------ */

struct bc_reply *bc_frames_reply(void) { return bc_hal_sending() ? 0 : &out.reply; }

void bc_frames_send(uint8_t length) {
    uint8_t *bytes = (uint8_t *)&out.reply;
    uint8_t end = (uint8_t)(1 + BC_FRAME_HEAD + length);
    uint16_t crc = BC_CRC_START;
    uint8_t code = 0; /* where the distance to the next zero goes */
    uint8_t n;
    for (n = 1; n < end; n++) {
        crc = bc_crc(crc, bytes[n]);
    }
    bytes[end++] = (uint8_t)crc;
    bytes[end++] = (uint8_t)(crc >> 8);
    for (n = 1; n < end; n++) {
        if (bytes[n] == 0) {
            bytes[code] = (uint8_t)(n - code);
            code = n;
        }
    }
    bytes[code] = (uint8_t)(end - code);
    bytes[end] = 0;
    bc_hal_send(&out.zero, (uint8_t)(end + 2));
}
