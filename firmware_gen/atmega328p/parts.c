/* Pins and power of the ATmega328P. What a pin can do must agree with the chip's entry in the
 * Python chips; a test compares them. */
#include "chip.h"

#include <avr/io.h>
#include <avr/pgmspace.h>

enum {
    SOME = BC_PIN_SERVO | BC_PIN_STRIP | BC_PIN_SWITCH | BC_PIN_INPUT,
    ALL = SOME | BC_PIN_LAMP, /* a timer's output */
};

/* Not for shows, 0: PB6, PB7 crystal; PC6 reset, PC7 does not exist; PD0, PD1 link. */
static const uint8_t jobs[8 * BC_PORTS] PROGMEM = {
    SOME, SOME, SOME, ALL,  SOME, SOME, 0,   0,    /* port B */
    SOME, SOME, SOME, SOME, SOME, SOME, 0,   0,    /* port C */
    0,    0,    SOME, ALL,  SOME, ALL,  ALL, SOME, /* port D */
};

uint8_t bc_hal_pin(uint8_t pin) { return pin < sizeof jobs ? pgm_read_byte(&jobs[pin]) : 0; }

/* A port's registers follow the last one's from PINB on (31, Register Summary). */
volatile uint8_t *port_registers(uint8_t port) {
    enum { REGISTERS = 3 };
    return &PINB + REGISTERS * port;
}

void link_pull_up(void) { PORTD |= _BV(PORTD0); }

/* 10.11.3. */
void unused_parts_off(void) { PRR = _BV(PRTWI) | _BV(PRSPI) | _BV(PRADC); }
