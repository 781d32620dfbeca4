/* Many bits, eight to a byte: sets of buttons, cues, pins. */
#ifndef BC_BITS_H
#define BC_BITS_H

#include <stdbool.h>
#include <stdint.h>

/* Whether the n-th bit is set; set or clear it. */
bool bc_bit_is_set(const uint8_t *bits, uint8_t n);
void bc_bit_put(uint8_t *bits, uint8_t n, bool set);

/* Whether any of these bytes has a bit set. */
bool bc_bits_any(const uint8_t *bits, uint8_t bytes);

#endif
