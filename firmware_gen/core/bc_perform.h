/* What the ops of a cue do to outputs. */
#ifndef BC_PERFORM_H
#define BC_PERFORM_H

#include <stdint.h>

#include "bc_ops.h"

/* Do an act or an effect at a time for a run, or BC_NO_RUN. */
void bc_perform(const struct bc_step *op, uint8_t run, uint32_t time);

/* The effects of these outputs end. */
void bc_make_steady(uint16_t outputs);

/*
 * All outputs from this kind on go to their safe states: servos and lights from the frame before
 * on, within so many BC_STOP_STEP_MS; at once if none. Lights then are steady. The last kind are
 * switches, which take no time.
 */
void bc_to_safety(uint8_t first_kind, uint8_t steps);

#endif
