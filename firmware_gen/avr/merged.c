/*
 * A table merged behind the firmware in flash, for shows larger than a slot
 * (firmware_gen/build/image.py puts it there). Erased flash reads 0xFF, which is no table.
 */
#include "chip.h"

#include <avr/pgmspace.h>

uint8_t bc_hal_merged_read(uint16_t offset) {
#if BC_MERGED_START > 0xFFFF
    return pgm_read_byte_far(BC_MERGED_START + offset);
#else
    return pgm_read_byte((uint16_t)(BC_MERGED_START + offset));
#endif
}
