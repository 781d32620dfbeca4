#include "bc_frames.h"

#include "bc_math.h"
#include "bc_runs.h"
#include "bellcrank.h"

/*
 * Bytes are unstuffed and put into the CRC as they come, the CRC's own two among them: which are the
 * last is known only at the end. Then the CRC of what stood before them is found by going back.
 */
static struct {
    struct bc_frame frame;
    uint16_t crc;     /* of all bytes so far */
    uint16_t bad;
    uint8_t last[2];  /* the last two bytes, the older first */
    uint8_t encoded;  /* bytes since the last zero, not counted on once over the most */
    uint8_t count;    /* bytes unstuffed */
    uint8_t block;    /* bytes left in the block */
    bool full_block;  /* the block has no zero behind it */
    bool complete;
} in;

static struct {
    uint8_t zero; /* that starts a frame */
    struct bc_reply reply;
} out;

void bc_frames_start(void) {
    in.complete = false;
    in.bad = 0;
    in.encoded = 0;
    in.block = 0;
}

const struct bc_frame *bc_frames_received(void) { return in.complete ? &in.frame : 0; }

uint16_t bc_frames_bad(void) { return in.bad; }

void bc_frames_done(void) { in.complete = false; }

/*
 * Unstuffed bytes, the first in any case and then up to a zero or to `most`; returns how many. This
 * runs for nearly every byte on the wire, so what it changes is kept in registers.
 */
static uint8_t take_plain(const uint8_t *bytes, uint8_t most) {
    const uint8_t *at = bytes;
    uint8_t *kept = &in.frame.to + in.count;
    uint8_t room = 0;
    uint16_t crc = in.crc;
    uint8_t byte = *at++;
    uint8_t older;
    uint8_t newer = in.last[1];
    if (in.count < BC_FRAME_HEAD + BC_KEPT_PAYLOAD) {
        room = (uint8_t)(BC_FRAME_HEAD + BC_KEPT_PAYLOAD - in.count);
    }
    do {
        crc = bc_crc(crc, byte);
        if (room > 0) {
            *kept++ = byte;
            room--;
        }
        older = newer;
        newer = byte;
        most--;
    } while (most > 0 && (byte = *at++) != 0);
    most = (uint8_t)(at - bytes - (most > 0));
    in.crc = crc;
    in.last[0] = older;
    in.last[1] = newer;
    in.count = (uint8_t)(in.count + most);
    return most;
}

/* Start a block: the byte says how far the next zero is. */
static void take_code(uint8_t byte) {
    static const uint8_t zero[2] = {0, 0};
    if (in.encoded == 0) {
        in.count = 0;
        in.crc = BC_CRC_START;
    } else if (!in.full_block) {
        take_plain(zero, 1);
    }
    in.block = (uint8_t)(byte - 1);
    in.full_block = byte == 0xFF;
}

/* The CRC before its last two bytes went into it. */
static uint16_t crc_before(void) {
    uint16_t crc = in.crc;
    uint8_t bits;
    for (bits = 16; bits > 0; bits--) {
        crc = (crc & 1) ? (uint16_t)(((crc ^ BC_CRC_POLYNOMIAL) >> 1) | 0x8000u) : crc >> 1;
    }
    return (uint16_t)(crc ^ ((uint16_t)in.last[0] << 8 | in.last[1]));
}

static bool is_good(void) {
    return in.encoded <= BC_MAX_ENCODED && in.block == 0 && in.count >= BC_MIN_FRAME &&
           crc_before() == (uint16_t)(in.last[0] | (uint16_t)in.last[1] << 8);
}

static void take_zero(void) {
    if (in.encoded == 0) {
        return;
    }
    if (is_good()) {
        in.frame.length = (uint8_t)(in.count - BC_MIN_FRAME);
        in.complete = true;
    } else {
        bc_count(&in.bad);
    }
    in.encoded = 0;
    in.block = 0;
}

uint8_t bc_frames_take(const uint8_t *bytes, uint8_t count) {
    uint8_t left = count;
    while (left > 0 && !in.complete) {
        uint8_t taken = 1;
        if (*bytes == 0) {
            take_zero();
        } else if (in.encoded <= BC_MAX_ENCODED) {
            if (in.block > 0) {
                taken = take_plain(bytes, in.block < left ? in.block : left);
                in.block = (uint8_t)(in.block - taken);
            } else {
                take_code(*bytes);
            }
            in.encoded = (uint8_t)(in.encoded + taken);
        }
        bytes += taken;
        left = (uint8_t)(left - taken);
    }
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
