/* Frames on the wire, found and made byte by byte: LINK.md section 1. */
#ifndef BC_FRAMES_H
#define BC_FRAMES_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"
#include "bc_generated.h"

/*
 * Payload bytes that a board keeps of a request (what is longer is told by its length), those of
 * the longest reply (a state report, or a piece of the table), and those that are kept of any
 * frame: a board that leads hears replies, too.
 */
enum {
    BC_KEPT_PAYLOAD = BC_CHUNK + 2,
    BC_REPLY_PAYLOAD = 1 + BC_CHUNK > BC_REPORT ? 1 + BC_CHUNK : BC_REPORT,
#if BC_CHIP_LEADS
    BC_LONGEST_PAYLOAD = BC_KEPT_PAYLOAD > BC_REPLY_PAYLOAD ? BC_KEPT_PAYLOAD : BC_REPLY_PAYLOAD
#else
    BC_LONGEST_PAYLOAD = BC_KEPT_PAYLOAD
#endif
};

/* A received frame. */
struct bc_frame {
    uint8_t to;
    uint8_t kind;
    uint8_t seq;
    uint8_t length; /* of the payload, also where not all of it is kept */
    const uint8_t *payload;
};

/*
 * Take received bytes until a frame for this board is complete; it waits until bc_frames_done. Most
 * frames of a shared line are for others: they are let go at once.
 */
void bc_listen(void);

/* The frame that waits; null if none does. */
const struct bc_frame *bc_frames_received(void);

/* The waiting frame has been dealt with. */
void bc_frames_done(void);

/* The board's address, to tell which frames are for it, and as the sender of replies. */
void bc_frames_be(uint8_t address);
uint8_t bc_frames_address(void);

/* Frames that were none, at most 65535. */
uint16_t bc_frames_bad(void);

/* Whether replies go out over the line between boards from now on, and not to the host; whether
 * one can begin. */
#if BC_CHIP_LEADS
void bc_reply_over_line(bool over_line);
bool bc_reply_has_room(void);
#else
#define bc_reply_over_line(over_line) ((void)0)
#define bc_reply_has_room() (!bc_hal_sending())
#endif

/* Begin a reply. False while the last one is being sent: then nothing comes of this one. */
bool bc_reply_begin(void);

/* Put what stands behind the status into the reply. */
void bc_reply_u8(uint8_t value);
void bc_reply_u16(uint16_t value);
void bc_reply_u32(uint32_t value);

/* Send the reply that was begun: who says it, to which request, and the status. */
void bc_reply_send(uint8_t from, uint8_t kind, uint8_t seq, uint8_t status);

#if BC_CHIP_LEADS
/* Tell all boards on the line of this one's own something that nobody answers. */
void bc_line_tell(uint8_t kind, uint8_t seq, const uint8_t *payload, uint8_t count);

/* Pass a frame on to the board on that line that it is for. */
void bc_line_pass(const struct bc_frame *frame);
#endif

/* Forget all; the counter too. */
void bc_frames_start(void);

#endif
