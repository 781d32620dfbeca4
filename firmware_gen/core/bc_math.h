/* Integer arithmetic that several parts share; rounding as TABLE.md writes it. */
#ifndef BC_MATH_H
#define BC_MATH_H

#include <stdbool.h>
#include <stdint.h>

enum { BC_MS = 256, BC_FRAME = 5120 }; /* a millisecond and a frame in the player's time */

/* Whether time a is before time b; they lie less than 2^31 apart. */
static inline bool bc_before(uint32_t a, uint32_t b) { return (int32_t)(a - b) < 0; }

/* (value * share) >> 16, rounded toward minus infinity; share 0 to 65536 (Q16). */
int32_t bc_scale(int32_t value, uint32_t share);

/* Share of elapsed in total as Q16, 0 to 65536; elapsed <= total, total > 0. */
uint32_t bc_progress(uint32_t elapsed, uint32_t total);

/* Least integer whose square is at least value; value below 2^62. */
uint32_t bc_ceiling_root(uint64_t value);

/* Greatest integer whose square is at most value. */
uint32_t bc_floor_root(uint64_t value);

/* CRC-16/IBM-3740, TABLE.md section 4; it starts as BC_CRC_START. */
#define BC_CRC_START 0xFFFFu
uint16_t bc_crc(uint16_t crc, uint8_t byte);

#endif
