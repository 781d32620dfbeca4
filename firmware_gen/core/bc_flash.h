/* Constant lists that stay in program memory: the one place that knows how a compiler says so. */
#ifndef BC_FLASH_H
#define BC_FLASH_H

#include <stdint.h>

#ifdef __AVR__
#include <avr/pgmspace.h>
#define BC_FLASH PROGMEM
static inline uint16_t bc_flash_u16(const uint16_t *at) { return pgm_read_word(at); }
static inline uint8_t bc_flash_u8(const uint8_t *at) { return pgm_read_byte(at); }
#define BC_FLASH_FUNCTION(type, at) ((type)pgm_read_word(at))
#else
#define BC_FLASH
#define BC_FLASH_FUNCTION(type, at) (*(at)) /* a function whose address is in a list */
static inline uint16_t bc_flash_u16(const uint16_t *at) { return *at; }
static inline uint8_t bc_flash_u8(const uint8_t *at) { return *at; }
#endif

#endif
