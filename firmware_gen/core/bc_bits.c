#include "bc_bits.h"

static uint8_t mask_of(uint8_t n) { return (uint8_t)(1u << (n & 7)); }

bool bc_bit_is_set(const uint8_t *bits, uint8_t n) { return (bits[n >> 3] & mask_of(n)) != 0; }

void bc_bit_put(uint8_t *bits, uint8_t n, bool set) {
    if (set) {
        bits[n >> 3] |= mask_of(n);
    } else {
        bits[n >> 3] &= (uint8_t)~mask_of(n);
    }
}

bool bc_bits_any(const uint8_t *bits, uint8_t bytes) {
    while (bytes > 0) {
        bytes--;
        if (bits[bytes] != 0) {
            return true;
        }
    }
    return false;
}
