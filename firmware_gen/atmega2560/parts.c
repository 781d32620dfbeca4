/* Pins and power of the ATmega2560; titles are those of its data sheet (ATmega640 to 2561). */
#include "chip.h"

#include <avr/io.h>
#include <avr/pgmspace.h>

static const uint8_t jobs[8 * BC_PORTS] PROGMEM = BC_PIN_JOBS;

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
