/* What the downs and ups of buttons come to, on a chip with senses: TABLE.md section 8. */
#ifndef BC_PRESSES_H
#define BC_PRESSES_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

#if BC_CHIP_SENSES

/* Another table: forget everything; and a button's press may become a long one, after so many
 * frames (0: never), or the first of two. Of several that say so of a button the first counts. */
void bc_presses_clear(void);
void bc_presses_wait(uint8_t button, uint8_t long_frames, bool twice);

/* A button goes down, whatever comes of it. */
void bc_press_is_noted(void);

/* A button goes down, where something may start, or up. Cues start. */
void bc_press_begins(uint8_t button);
void bc_press_ends(uint8_t button, bool may_start);

/* Once a frame, after its requests: what time decides, or nothing where nothing may start. */
void bc_presses_decide(bool may_start);

/* The quiet start: lists begin with their first cues. */
void bc_presses_rewind(void);

/* Buttons that have been down for long, a bit each. */
uint32_t bc_presses_stuck(void);

#endif

#endif
