/* Many bits, eight to a byte: sets of buttons, cues, pins; and bytes that become 0. */
#ifndef BC_BITS_H
#define BC_BITS_H

#include <stdint.h>

enum bc_bit_change { BC_BIT_KEEP, BC_BIT_SET, BC_BIT_FLIP, BC_BIT_CLEAR = BC_BIT_SET | BC_BIT_FLIP };

/* Change the n-th bit; whether it was set before (not 0). */
uint8_t bc_bit(uint8_t *bits, uint8_t n, uint8_t change);

/* At least one byte. Where avr-gcc clears a static of its own accord, the code is longer than this one's call. */
void bc_clear(void *first, uint16_t count);

#endif
