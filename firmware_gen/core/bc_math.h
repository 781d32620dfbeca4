/* Integer arithmetic that several parts share; rounding as TABLE.md writes it. */
#ifndef BC_MATH_H
#define BC_MATH_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_compiler.h"

enum { BC_MS = 256, BC_FRAME = 5120 }; /* a millisecond and a frame in the player's time */

/* Fails to compile where the condition does not hold; for use outside of functions. */
#define BC_ASSERT(name, condition) typedef char bc_assert_##name[(condition) ? 1 : -1]

/* Whether time a is before time b; they lie less than 2^31 apart. */
static inline bool bc_before(uint32_t a, uint32_t b) { return (int32_t)(a - b) < 0; }

/* (value * share) >> 16, rounded toward minus infinity; share 0 to 65536 (Q16). */
int32_t bc_scale(int32_t value, uint32_t share);

/*
 * (value * m) >> 8, in two products of bytes. A strip's every channel goes through it, and avr-gcc
 * multiplies words where bytes would do: 9 cycles instead of 34.
 */
static inline uint16_t bc_part(uint16_t value, uint8_t m) {
#ifdef __AVR__
    uint16_t found;
    uint8_t carried;
    __asm__("mul %A2, %3 \n\t"
            "mov %1, r1 \n\t"
            "mul %B2, %3 \n\t"
            "movw %0, r0 \n\t"
            "clr r1 \n\t"
            "add %A0, %1 \n\t"
            "adc %B0, r1"
            : "=&r"(found), "=&r"(carried)
            : "r"(value), "r"(m)
            : "r0");
    return found;
#else
    return (uint16_t)((uint16_t)((uint8_t)(value >> 8) * m) + ((uint16_t)((uint8_t)value * m) >> 8));
#endif
}

/*
 * (((value * value) >> 16) * value) >> 16. A strip's every channel goes through this too: 32 cycles
 * instead of 90.
 */
static inline uint16_t bc_cube(uint16_t value) {
#ifdef __AVR__
    uint16_t square;
    uint16_t cube;
    uint8_t carried;
    uint8_t zero;
    __asm__("clr %3 \n\t"
            "mul %B4, %B4 \n\t"
            "movw %1, r0 \n\t"
            "mul %A4, %A4 \n\t"
            "mov %2, r1 \n\t"
            "mul %A4, %B4 \n\t"
            "add %2, r0 \n\t"
            "adc %A1, r1 \n\t"
            "adc %B1, %3 \n\t"
            "add %2, r0 \n\t"
            "adc %A1, r1 \n\t"
            "adc %B1, %3 \n\t"
            "mul %B1, %B4 \n\t"
            "movw %0, r0 \n\t"
            "mul %A1, %A4 \n\t"
            "mov %2, r1 \n\t"
            "mul %A1, %B4 \n\t"
            "add %2, r0 \n\t"
            "adc %A0, r1 \n\t"
            "adc %B0, %3 \n\t"
            "mul %B1, %A4 \n\t"
            "add %2, r0 \n\t"
            "adc %A0, r1 \n\t"
            "adc %B0, %3 \n\t"
            "clr r1"
            : "=&r"(cube), "=&r"(square), "=&r"(carried), "=&r"(zero)
            : "r"(value)
            : "r0");
    return cube;
#else
    uint16_t square = (uint16_t)(((uint32_t)value * value) >> 16);
    return (uint16_t)(((uint32_t)square * value) >> 16);
#endif
}

/* (a * b) / c, the product in 64 bits; 0 where a is 0, else 2^32 - 1 where that is exceeded or c is 0. */
uint32_t bc_quotient(uint32_t a, uint32_t b, uint32_t c);

/* The first bits of the root, 16 of which are before the point: rounded down; at most 30. */
uint32_t bc_root(uint32_t value, uint8_t bits);

/* (a * b) >> 16 */
uint16_t bc_product(uint16_t a, uint16_t b);

/* Share of part in whole as Q16, 0 to 65536; part <= whole, whole > 0. */
uint32_t bc_share(uint16_t part, uint16_t whole);

/*
 * The same for times in 1/256 ms: 0 before the start (elapsed is a difference of times), or if total is 0; 65536
 * from the end on.
 */
uint32_t bc_progress(uint32_t elapsed, uint32_t total);

/* CRC-16/IBM-3740, TABLE.md section 4; it starts as BC_CRC_START. */
#define BC_CRC_START 0xFFFFu
#define BC_CRC_POLYNOMIAL 0x1021u
uint16_t bc_crc(uint16_t crc, uint8_t byte);

#endif
