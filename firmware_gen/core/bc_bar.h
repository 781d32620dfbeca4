/* Strips that show a level, on a chip with senses: TABLE.md section 13. */
#ifndef BC_BAR_H
#define BC_BAR_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

#if BC_CHIP_SENSES

/* Another table: no such strip; then each record, of which the cursor stands behind the first byte.
 */
void bc_bars_clear(void);
void bc_bars_add(uint8_t strip);

/* Whether a strip shows the level of a lamp; both are numbers of lights. */
bool bc_bar_of(uint8_t strip, uint8_t *lamp);

/* Leave of a strip's bytes those under its bar, for a level, Q8. */
void bc_bar_cut(uint8_t strip, uint8_t *bytes, uint8_t pixels, uint16_t level);

#endif

#endif
