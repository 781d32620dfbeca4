#include "bc_bits.h"

#include "bc_compiler.h"

BC_APART uint8_t bc_bit(uint8_t *bits, uint8_t n, uint8_t change) {
    uint8_t bit = 1;
    uint8_t before;
    uint8_t after;
    bits += n >> 3;
    for (n &= 7; n > 0; n--) {
        bit = (uint8_t)(bit << 1);
    }
    before = *bits;
    after = before;
    if (change & BC_BIT_SET) {
        after |= bit;
    }
    if (change & BC_BIT_FLIP) {
        after ^= bit;
    }
    *bits = after;
    return before & bit;
}

BC_APART void bc_clear(void *first, uint16_t count) {
    uint8_t *at = first;
    do {
        *at = 0;
        at++;
        BC_REACH(at);
    } while (--count > 0);
}
