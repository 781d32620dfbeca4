/* Cues that go as far as a channel or a sensor says when they start: TABLE.md section 14. */
#ifndef BC_SCALING_H
#define BC_SCALING_H

#include <stdint.h>

#include "bc_chip.h"
#include "bc_ops.h"

#if BC_CHIP_SENSES

/* The scale of a run of this cue that starts in this frame, 0 to BC_SCALE_FULL. */
uint16_t bc_scaling_of(uint8_t cue);

/* Bring the target of a servo's act so much of its way from the safe angle. */
void bc_scaling_apply(struct bc_step *op, uint16_t scale);

#endif

#endif
