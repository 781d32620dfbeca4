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

uint32_t bc_progress(uint32_t elapsed, uint32_t total) {
    while (total > 0xFFFFF) { /* in bigger steps first: the chip shifts one bit at a time */
        total >>= 4;
        elapsed >>= 4;
    }
    while (total > 0xFFFF) {
        total >>= 1;
        elapsed >>= 1;
    }
    return (elapsed << 16) / total;
}

uint32_t bc_floor_root(uint64_t value) {
    uint64_t bit = (uint64_t)1 << 62;
    uint64_t root = 0;
    while (bit > value) {
        bit >>= 2;
    }
    while (bit != 0) {
        if (value >= root + bit) {
            value -= root + bit;
            root = (root >> 1) + bit;
        } else {
            root >>= 1;
        }
        bit >>= 2;
    }
    return (uint32_t)root;
}

uint32_t bc_ceiling_root(uint64_t value) {
    return value == 0 ? 0 : bc_floor_root(value - 1) + 1;
}

uint16_t bc_crc(uint16_t crc, uint8_t byte) {
    uint8_t x = (uint8_t)((crc >> 8) ^ byte);
    x = (uint8_t)(x ^ (x >> 4));
    return (uint16_t)((crc << 8) ^ ((uint16_t)x << 12) ^ ((uint16_t)x << 5) ^ x);
}
