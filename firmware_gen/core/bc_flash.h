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

/* The number there; the pointer steps over it. The compiler would step a copy and keep two pointers. */
static inline uint16_t bc_flash_next_u16(const uint16_t **at) {
    uint16_t value;
    __asm__("lpm %A0, Z+ \n\t"
            "lpm %B0, Z+"
            : "=&r"(value), "+z"(*at));
    return value;
}
static inline uint8_t bc_flash_next_u8(const uint8_t **at) {
    uint8_t value;
    __asm__("lpm %0, Z+" : "=r"(value), "+z"(*at));
    return value;
}
#else
#define BC_FLASH
#define BC_FLASH_FUNCTION(type, at) (*(at)) /* a function whose address is in a list */
static inline uint16_t bc_flash_u16(const uint16_t *at) { return *at; }
static inline uint8_t bc_flash_u8(const uint8_t *at) { return *at; }
static inline uint16_t bc_flash_next_u16(const uint16_t **at) { return *(*at)++; }
static inline uint8_t bc_flash_next_u8(const uint8_t **at) { return *(*at)++; }
#endif

#endif
