/* Pins and power of the ATmega2560; titles are those of its data sheet (ATmega640 to 2561). What a
 * pin can do must agree with the chip's entry in the Python chips; a test compares them. */
#include "chip.h"

#include <avr/io.h>
#include <avr/pgmspace.h>

enum {
    SOME = BC_PIN_SERVO | BC_PIN_STRIP | BC_PIN_SWITCH | BC_PIN_INPUT,
    ALL = SOME | BC_PIN_LAMP,     /* a timer's output */
    MEAS = SOME | BC_PIN_CHANNEL, /* a timer's capture input */
    VOLT = SOME | BC_PIN_SENSOR,  /* an input of the converter */
};

/* Not for shows, 0: PE0, PE1 link; PG6, PG7 do not exist. */
static const uint8_t jobs[8 * BC_PORTS] PROGMEM = {
    SOME, SOME, SOME, SOME, SOME, SOME, SOME, SOME, /* port A */
    SOME, SOME, SOME, SOME, ALL,  SOME, SOME, ALL,  /* port B */
    SOME, SOME, SOME, SOME, SOME, SOME, SOME, SOME, /* port C */
    SOME, SOME, SOME, SOME, SOME, SOME, SOME, SOME, /* port D */
    0,    0,    SOME, ALL,  ALL,  ALL,  SOME, MEAS, /* port E */
    VOLT, VOLT, VOLT, VOLT, VOLT, VOLT, VOLT, VOLT, /* port F */
    SOME, SOME, SOME, SOME, SOME, ALL,  0,    0,    /* port G */
    SOME, SOME, SOME, ALL,  ALL,  ALL,  ALL,  SOME, /* port H */
    SOME, SOME, SOME, SOME, SOME, SOME, SOME, SOME, /* port J */
    VOLT, VOLT, VOLT, VOLT, VOLT, VOLT, VOLT, VOLT, /* port K */
    MEAS, MEAS, SOME, ALL,  ALL,  ALL,  SOME, SOME, /* port L */
};

uint8_t bc_hal_pin(uint8_t pin) { return pin < sizeof jobs ? pgm_read_byte(&jobs[pin]) : 0; }

/* The ports from A to G follow one another from PINA on, those from H to L from PINH on (Register
 * Summary). */
volatile uint8_t *port_registers(uint8_t port) {
    enum { REGISTERS = 3, PORT_H = 7 };
    return port < PORT_H ? &PINA + REGISTERS * port : &PINH + REGISTERS * (port - PORT_H);
}

void link_pull_up(void) { PORTE |= _BV(PORTE0); }

/*
 * Power Management, and the JTAG interface, which holds PF4 to PF7 as long as its fuse is
 * programmed: JTD is written twice within four cycles (Using the JTAG Interface, MCUCR).
 */
void unused_parts_off(void) {
    PRR0 = _BV(PRTWI) | _BV(PRSPI) | _BV(PRADC);
    PRR1 = _BV(PRUSART1) | _BV(PRUSART2) | _BV(PRUSART3);
    uint8_t off = MCUCR | _BV(JTD);
    MCUCR = off;
    MCUCR = off;
}
