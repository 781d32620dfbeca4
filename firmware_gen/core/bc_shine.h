/* Lamps as bright as a move goes, on a chip with senses: TABLE.md section 12. */
#ifndef BC_SHINE_H
#define BC_SHINE_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

#if BC_CHIP_SENSES

/* Another table: no such lamp; then each record, of which the cursor stands behind the first byte.
 */
void bc_shines_clear(void);
void bc_shines_add(uint8_t lamp);

/* The quiet start: none shines with its move. */
void bc_shines_end(void);

/* Once a frame, before lights are shown: let those shine whose lamp no cue has. */
void bc_shines_frame(bool is_ready, uint16_t taken, uint32_t time);

/* What is seen of a lamp's level, Q8. */
uint16_t bc_shine_level(uint8_t lamp, uint16_t level, uint32_t time);

/* The lamp goes its own way from now on. */
void bc_shine_ends(uint8_t lamp);

#endif

#endif
