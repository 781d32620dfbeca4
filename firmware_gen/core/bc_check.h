/* Deciding whether a table can be played: TABLE.md section 5. */
#ifndef BC_CHECK_H
#define BC_CHECK_H

#include <stdint.h>

/* The reason not to play the chosen table of `size` bytes: enum bc_refusal, 0 if there is none. */
uint8_t bc_check(uint16_t size);

/* CRC of the chosen table's first `size` bytes. */
uint16_t bc_check_crc(uint16_t size);

#endif
