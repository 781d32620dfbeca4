/* Frames on the wire, found and made byte by byte: LINK.md section 1. */
#ifndef BC_FRAMES_H
#define BC_FRAMES_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_generated.h"

/* Payload bytes that a board keeps of a frame; what is longer is told by its length. */
enum { BC_KEPT_PAYLOAD = BC_CHUNK + 2, BC_FRAME_HEAD = 3, BC_FRAME_CRC = 2 };

/* A received frame. */
struct bc_frame {
    uint8_t to;
    uint8_t kind;
    uint8_t seq;
    uint8_t payload[BC_KEPT_PAYLOAD];
    uint8_t length; /* of the payload, also where not all of it is kept */
};

/* The last complete frame; null if there is none. It stays until bc_frames_done. */
const struct bc_frame *bc_frames_received(void);

/*
 * Take bytes from the wire, up to the end of a complete frame; not while one waits. Returns how many
 * were taken.
 */
uint8_t bc_frames_take(const uint8_t *bytes, uint8_t count);

/* The waiting frame has been dealt with. */
void bc_frames_done(void);

/* Frames that were none, at most 65535. */
uint16_t bc_frames_bad(void);

/* Payload of the longest reply, a state report or a piece of the table, and room for it. */
enum { BC_REPORT = 25, BC_REPLY_PAYLOAD = 1 + BC_CHUNK > BC_REPORT ? 1 + BC_CHUNK : BC_REPORT };
struct bc_reply {
    uint8_t stuffing; /* COBS puts its first byte here */
    uint8_t to;
    uint8_t kind;
    uint8_t seq;
    uint8_t payload[BC_REPLY_PAYLOAD + BC_FRAME_CRC + 1]; /* and the zero that ends the frame */
};

/* The reply to fill; null while the last one is still being sent. */
struct bc_reply *bc_frames_reply(void);

/* Send the reply with this many bytes of payload. */
void bc_frames_send(uint8_t length);

/* Forget all; the counter too. */
void bc_frames_start(void);

#endif
