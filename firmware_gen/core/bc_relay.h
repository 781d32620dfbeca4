/*
 * Requests that pass through the board that leads, and their replies on the way back: LINK.md 7.1.
 *
 * A board that leads takes requests for others from its host, and brings the host their replies. A
 * board that follows, over a port of its own, takes what is asked of it there.
 */
#ifndef BC_RELAY_H
#define BC_RELAY_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"
#include "bc_frames.h"

#if BC_CHIP_LEADS

/* Another table is played: nobody answers yet, and what was on its way is lost. */
void bc_relay_start(bool leads);

/* A board that answers: this one itself, or one that it leads. */
void bc_relay_add(uint8_t address);

/* Whether the line between boards brings anything back, or (to a board that follows) takes it. */
bool bc_relay_answers(void);

/* Whether a request of the host's is for a board that this one leads, and passes through it. */
bool bc_relay_passes(uint8_t to, uint8_t kind);

/* Such a request; what came over the line between boards. Without room it is lost. */
void bc_relay_outward(const struct bc_frame *frame);
void bc_relay_inward(const struct bc_frame *frame);

/* On a board that leads: send on what may go out now. */
void bc_relay_step(void);

/* On a board that follows: what is asked of it, until it is done; null if nothing is. */
const struct bc_frame *bc_relay_request(void);
void bc_relay_done(void);

#else

#define bc_relay_start(leads) ((void)0)
#define bc_relay_step() ((void)0)

#endif

#endif
