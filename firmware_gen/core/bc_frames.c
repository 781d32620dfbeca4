#include "bc_frames.h"

#include "bc_math.h"
#include "bc_runs.h"
#include "bellcrank.h"

/*
 * Bytes are unstuffed and put into the CRC as they come. The last two of a frame are its CRC, and
 * which are the last is known only at the end: two bytes are always held back.
 */
static struct {
    struct bc_frame frame;
    uint16_t crc;     /* of all bytes but those held back */
    uint16_t bad;
    uint8_t late[2];  /* held back, the older first */
    uint8_t encoded;  /* bytes since the last zero, counted to one over the most */
    uint8_t count;    /* bytes unstuffed */
    uint8_t block;    /* bytes left in the block */
    bool full_block;  /* the block has no zero behind it */
    bool complete;
} in;

static struct {
    struct bc_reply reply;
    uint8_t length; /* bytes to send, both zeros included */
    uint8_t sent;
} out;

void bc_frames_start(void) {
    in.complete = false;
    in.bad = 0;
    in.encoded = 0;
    out.length = 0;
    out.sent = 0;
}

const struct bc_frame *bc_frames_received(void) { return in.complete ? &in.frame : 0; }

uint16_t bc_frames_bad(void) { return in.bad; }

void bc_frames_done(void) { in.complete = false; }

/* One unstuffed byte. */
static void take_plain(uint8_t byte) {
    if (in.count >= BC_FRAME_CRC) {
        uint8_t place = (uint8_t)(in.count - BC_FRAME_CRC);
        uint8_t plain = in.late[0];
        in.crc = bc_crc(in.crc, plain);
        if (place == 0) {
            in.frame.to = plain;
        } else if (place == 1) {
            in.frame.kind = plain;
        } else if (place == 2) {
            in.frame.seq = plain;
        } else if (place < BC_FRAME_HEAD + BC_KEPT_PAYLOAD) {
            in.frame.payload[place - BC_FRAME_HEAD] = plain;
        }
    }
    in.late[0] = in.late[1];
    in.late[1] = byte;
    in.count++;
}

static bool is_good(void) {
    return in.encoded <= BC_MAX_ENCODED && in.block == 0 && in.count >= BC_MIN_FRAME &&
           in.crc == (uint16_t)(in.late[0] | (uint16_t)in.late[1] << 8);
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
}

void bc_frames_take(uint8_t byte) {
    if (byte == 0) {
        take_zero();
        return;
    }
    if (in.encoded == 0) {
        in.count = 0;
        in.block = 0;
        in.full_block = true; /* nothing stands before the first block */
        in.crc = BC_CRC_START;
    }
    if (in.encoded > BC_MAX_ENCODED) {
        return;
    }
    in.encoded++;
    if (in.block > 0) {
        in.block--;
        take_plain(byte);
        return;
    }
    if (!in.full_block) {
        take_plain(0);
    }
    in.block = (uint8_t)(byte - 1);
    in.full_block = byte == 0xFF;
}

/* -- sending ------------------------------------------------------------------------------------ */

struct bc_reply *bc_frames_reply(void) { return out.length == 0 ? &out.reply : 0; }

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
    out.length = (uint8_t)(end + 2);
    out.sent = 0;
    bc_frames_pump();
}

void bc_frames_pump(void) {
    const uint8_t *bytes = (uint8_t *)&out.reply;
    while (out.sent < out.length) {
        bool edge = out.sent == 0 || out.sent == out.length - 1;
        if (!bc_hal_send(edge ? 0 : bytes[out.sent - 1])) {
            return;
        }
        out.sent++;
    }
    out.length = 0;
}
