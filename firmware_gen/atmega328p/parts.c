/* Pins and power of the ATmega328P. */
#include "chip.h"

#include <avr/io.h>
#include <avr/pgmspace.h>

static const uint8_t jobs[8 * BC_PORTS] PROGMEM = BC_PIN_JOBS;

uint8_t bc_hal_pin(uint8_t pin) { return pin < sizeof jobs ? pgm_read_byte(&jobs[pin]) : 0; }

/* A port's registers follow the last one's from PINB on (31, Register Summary). */
volatile uint8_t *port_registers(uint8_t port) {
    enum { REGISTERS = 3 };
    return &PINB + REGISTERS * port;
}

void link_pull_up(void) { PORTD |= _BV(PORTD0); }

/* 10.11.3. */
void unused_parts_off(void) { PRR = _BV(PRTWI) | _BV(PRSPI) | _BV(PRADC); }
