/* Servos and lamps that follow a source, on a chip with senses: TABLE.md section 10. */
#ifndef BC_TRACKING_H
#define BC_TRACKING_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

#if BC_CHIP_SENSES

/* Another table: nothing follows; then each record, whose first byte has been read: the rest stands
 * at the cursor. */
void bc_tracking_clear(void);
void bc_tracking_add(uint8_t first);

/* Where an output that follows goes if nothing is wanted of it, as in an act; false for another. */
bool bc_tracking_rest(uint8_t output, int16_t *target);

/* All outputs that may follow, a bit each. */
uint16_t bc_tracking_outputs(void);

/* Once a frame, before its requests: the values of the sources. What follows one that is live no
 * more goes back to idle or to rest. */
void bc_tracking_listen(void);

/* These outputs follow no longer: they brake from the last frame on, and stay. Reads the table. */
void bc_tracking_hold(uint16_t outputs);

/* Once a frame, before outputs are shown: the next step of all that may follow, but for these. */
void bc_tracking_frame(uint16_t taken);

/* Once a frame, while pulses run: work out the step of the next one, which takes long. */
void bc_tracking_prepare(void);

#endif

#endif
