#include "bc_math.h"

int32_t bc_scale(int32_t value, uint32_t share) {
    /* In two halves, because a full 64-bit product takes the chip some five times as long. */
    uint32_t bits = (uint32_t)value;
    uint16_t low = (uint16_t)bits;
    uint16_t high = (uint16_t)(bits >> 16);
    uint16_t part = (uint16_t)share;
    uint32_t product;
    if (share > 0xFFFF) {
        return value;
    }
    product = (uint32_t)high * part;
    if (value < 0) {
        product -= (uint32_t)part << 16;
    }
    product += ((uint32_t)low * part) >> 16;
    return (int32_t)product;
}

uint32_t bc_times(uint32_t a, uint32_t b) {
    uint32_t product = ((uint32_t)(uint16_t)a * (uint16_t)b) >> 16;
    while (a > 0xFFFF) {
        product += b;
        a -= 65536;
    }
    while (b > 0xFFFF) {
        product += a;
        b -= 65536;
    }
    return product;
}

uint32_t bc_quotient(uint32_t a, uint32_t b, uint8_t shift, uint32_t c) {
    uint64_t found = (((uint64_t)a * b) >> shift) / c;
    return found > 0xFFFFFFFFu ? 0xFFFFFFFFu : (uint32_t)found;
}

uint32_t bc_share(uint16_t part, uint16_t whole) {
    uint16_t share = 0;
    uint8_t bits;
    if (part >= whole) {
        return 65536;
    }
    /* Bit by bit: a 32-bit division takes the chip three times as long. */
    for (bits = 16; bits > 0; bits--) {
        bool carry = (part & 0x8000u) != 0;
        part = (uint16_t)(part << 1);
        share = (uint16_t)(share << 1);
        if (carry || part >= whole) {
            part = (uint16_t)(part - whole);
            share |= 1;
        }
    }
    return share;
}

uint32_t bc_progress(uint32_t elapsed, uint32_t total) {
    while (total > 0xFFFF) {
        total >>= 1;
        elapsed >>= 1;
    }
    return bc_share((uint16_t)elapsed, (uint16_t)total);
}

uint32_t bc_floor_root(uint64_t value) {
    uint32_t high = (uint32_t)(value >> 32);
    uint32_t low = (uint32_t)value;
    uint32_t left = 0;
    uint32_t root = 0;
    uint8_t bits = 32;
    if (high == 0) { /* as most values have it: half the work */
        high = low;
        bits = 16;
    }
    /* Two bits of the value give one of the root. */
    for (; bits > 0; bits--) {
        left = left << 2 | high >> 30;
        high = high << 2 | low >> 30;
        low <<= 2;
        root <<= 1;
        if (left > root << 1) {
            left -= (root << 1) + 1;
            root++;
        }
    }
    return root;
}

uint32_t bc_ceiling_root(uint64_t value) {
    return value == 0 ? 0 : bc_floor_root(value - 1) + 1;
}
