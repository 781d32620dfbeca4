/* Integer arithmetic that several parts share; rounding as TABLE.md writes it. */
#ifndef BC_MATH_H
#define BC_MATH_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_generated.h"

/*
 * For the few functions that run for every byte on the wire or every pixel: a compiler that is told
 * to save room calls them, which there costs as much time as they do.
 */
#ifdef __GNUC__
#define BC_INLINE static inline __attribute__((always_inline))
#else
#define BC_INLINE static inline
#endif

/* Fails to compile where the condition does not hold; for use outside of functions. */
#define BC_ASSERT(name, condition) typedef char bc_assert_##name[(condition) ? 1 : -1]

/* Whether time a is before time b; they lie less than 2^31 apart. */
static inline bool bc_before(uint32_t a, uint32_t b) { return a - b >= (uint32_t)1 << 31; }

/* A number of 16 bits from its bytes. An `int` need not hold its upper byte shifted. */
static inline uint16_t bc_u16(uint8_t low, uint8_t high) {
    return (uint16_t)(low | (uint16_t)high << 8);
}

/* (value * share) >> 16, rounded toward minus infinity; share 0 to 65536 (Q16). */
int32_t bc_scale(int32_t value, uint32_t share);

/* (a * b) >> 16 */
static inline uint16_t bc_product(uint16_t a, uint16_t b) {
    return (uint16_t)(((uint32_t)a * b) >> 16);
}

/* (((value * value) >> 16) * value) >> 16 */
static inline uint16_t bc_cube(uint16_t value) {
    return bc_product(bc_product(value, value), value);
}

/* (a * b) / c, the product in 64 bits; 0 where a is 0, else 2^32 - 1 where that is exceeded or c
 * is 0. */
uint32_t bc_quotient(uint32_t a, uint32_t b, uint32_t c);

/* The first bits of the root, 16 of which are before the point: rounded down; at most 30. */
uint32_t bc_root(uint32_t value, uint8_t bits);

/* Share of part in whole as Q16, 0 to 65536; part <= whole, whole > 0. */
uint32_t bc_share(uint16_t part, uint16_t whole);

/*
 * The same for times in 1/256 ms, to the nearest: 0 before the start (elapsed is a difference of
 * times), or if total is 0; 65536 from the end on, and not before.
 */
uint32_t bc_progress(uint32_t elapsed, uint32_t total);

/* How the noise is mixed, TABLE.md section 3.4. */
BC_INLINE uint16_t bc_mixed(uint16_t h) {
    h = (uint16_t)(h ^ (h >> 7));
    h = (uint16_t)(h * BC_FIRST_MIX);
    h = (uint16_t)(h ^ (h >> 9));
    h = (uint16_t)(h * BC_SECOND_MIX);
    return (uint16_t)(h ^ (h >> 8));
}

/* CRC-16/IBM-3740, TABLE.md section 4, in two bytes: a chip of eight bits works on each by itself.
 */
struct bc_crc {
    uint8_t low;
    uint8_t high;
};
#define BC_CRC_START {0xFF, 0xFF}

/* Eight bits at once: the polynomial is x^16 = x^12 + x^5 + 1. */
BC_INLINE struct bc_crc bc_crc(struct bc_crc crc, uint8_t byte) {
    uint8_t x = (uint8_t)(crc.high ^ byte);
    x = (uint8_t)(x ^ (x >> 4));
    crc.high = (uint8_t)(crc.low ^ (uint8_t)(x << 4) ^ (x >> 3));
    crc.low = (uint8_t)((uint8_t)(x << 5) ^ x);
    return crc;
}

#endif
