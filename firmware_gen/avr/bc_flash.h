/* Constant lists that stay in program memory; the core reads them with these (avr/pgmspace.h). */
#ifndef BC_FLASH_H
#define BC_FLASH_H

#include <avr/pgmspace.h>

#define BC_FLASH PROGMEM
#define bc_flash_u8(address) pgm_read_byte(address)
#define bc_flash_u16(address) pgm_read_word(address)
#define bc_flash_copy(to, from, size) memcpy_P(to, from, size)

#endif
