/* Deciding whether a table can be played: TABLE.md section 5. */
#ifndef BC_CHECK_H
#define BC_CHECK_H

#include <stdint.h>

/*
 * The reason not to play the chosen table of `size` bytes: enum bc_refusal, 0 if there is none.
 * Byte 0 is taken for `first`, whatever is stored there. Writes the CRC of all but the last two
 * bytes to *crc, if there are as many as a table has at least. Does not release the table.
 */
uint8_t bc_check(uint16_t size, uint8_t first, uint16_t *crc);

#endif
