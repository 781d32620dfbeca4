#include "bc_math.h"

int32_t bc_scale(int32_t value, uint32_t share) {
    uint16_t part = (uint16_t)share;
    uint16_t low = (uint16_t)value;
    /* rounds toward minus infinity in every compiler we know */
    int16_t high = (int16_t)(value >> 16);
    if (share > 0xFFFF) {
        return value;
    }
    return (int32_t)high * part + (int32_t)bc_product(low, part);
}

/* A product of 64 bits. */
struct wide {
    uint32_t high;
    uint32_t low;
};

static uint32_t narrow_product(uint16_t a, uint16_t b) { return (uint32_t)a * b; }

static struct wide wide_product(uint32_t a, uint32_t b) {
    uint16_t a_high = (uint16_t)(a >> 16);
    uint16_t b_high = (uint16_t)(b >> 16);
    uint32_t low = narrow_product((uint16_t)a, (uint16_t)b);
    uint32_t middle = narrow_product(a_high, (uint16_t)b) + (low >> 16);
    uint32_t more = narrow_product((uint16_t)a, b_high) + (uint16_t)middle;
    struct wide product;
    product.high = narrow_product(a_high, b_high) + (middle >> 16) + (more >> 16);
    product.low = more << 16 | (uint16_t)low;
    return product;
}

uint32_t bc_quotient(uint32_t a, uint32_t b, uint32_t c) {
    struct wide left = wide_product(a, b);
    uint8_t bits;
    if (a == 0) {
        return 0;
    }
    if (left.high >= c) {
        return 0xFFFFFFFFu;
    }
    /* Bits of the quotient come in below as those of the product go out above; zeros that it begins
     * with by eights. */
    for (bits = 32; bits > 8 && left.high < c >> 8; bits = (uint8_t)(bits - 8)) {
        left.high = left.high << 8 | left.low >> 24;
        left.low <<= 8;
    }
    for (; bits > 0; bits--) {
        bool carry = (left.high & 0x80000000u) != 0;
        left.high <<= 1;
        if (left.low & 0x80000000u) {
            left.high |= 1;
        }
        left.low <<= 1;
        if (carry || left.high >= c) {
            left.high -= c;
            left.low |= 1;
        }
    }
    return left.low;
}

uint32_t bc_root(uint32_t value, uint8_t bits) {
    uint32_t left = 0;
    uint32_t twice = 0; /* the root so far */
    /* Two bits of the value, which come into what is left, give one of the root. */
    for (; bits > 0; bits--) {
        left = left << 2 | (uint8_t)(value >> 24) >> 6; /* the upper two */
        value <<= 2;
        twice <<= 1;
        if (left > twice) {
            left -= twice | 1;
            twice |= 2;
        }
    }
    return twice >> 1;
}

uint32_t bc_share(uint16_t part, uint16_t whole) {
    uint16_t share = 0;
    uint8_t bits;
    if (part >= whole) {
        return 65536;
    }
    /* Bit by bit: a division of 32 bits takes a chip of eight three times as long. */
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
    uint8_t half = 0; /* the last bit that was shifted out */
    uint16_t share;
    uint16_t rest;
    if (elapsed > (uint32_t)1 << 31 || total == 0) {
        return 0;
    }
    if (elapsed >= total) {
        return 65536;
    }
    while (total > 0xFFFF) {
        half = elapsed & 1;
        total >>= 1;
        elapsed >>= 1;
    }
    elapsed += half;
    if (elapsed >= total) {
        return 65535;
    }
    share = (uint16_t)bc_share((uint16_t)elapsed, (uint16_t)total);
    /* What the division leaves: of its numerator's lower half nothing is set. */
    rest = (uint16_t)(0 - (uint32_t)share * total);
    if (rest >= total - rest && share < 65535) {
        share++;
    }
    return share;
}
