/* What the ops of a cue do to outputs. */
#ifndef BC_PERFORM_H
#define BC_PERFORM_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_ops.h"

/* Do an act or an effect at a thread's time for a run. False if it must be tried again, at a new *time. */
bool bc_perform(const struct bc_step *op, uint8_t run, uint32_t *time);

/* All switches take their safe states. */
void bc_switches_to_safety(void);

#endif
