/* Port pins (14). What a pin can do must agree with the chip's entry in the Python chips; a test
 * compares them. */
#include "chip.h"

#include <avr/interrupt.h>
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
static volatile uint8_t *registers_of(uint8_t port) {
    enum { REGISTERS = 3 };
    return &PINB + REGISTERS * port;
}

struct pin_place pin_place(uint8_t pin) {
    struct pin_place place = {registers_of(pin >> 3), (uint8_t)(1u << (pin & 7))};
    return place;
}

uint8_t bc_hal_port(uint8_t port) { return registers_of(port)[PIN_REGISTER]; }

static void put(volatile uint8_t *port, uint8_t mask, bool high) {
    *port = (uint8_t)(high ? *port | mask : *port & ~mask);
}

/*
 * The level is set before the direction: no glitch when a pin becomes an output (14.2.3). Pulses
 * change these ports from their interrupt, so read, change and write in one go.
 */
static void set_pin(uint8_t pin, bool is_output, bool high) {
    struct pin_place place = pin_place(pin);
    cli();
    put(&place.registers[PORT_REGISTER], place.mask, high);
    put(&place.registers[DDR_REGISTER], place.mask, is_output);
    sei();
}

void pin_drive(uint8_t pin, bool high) { set_pin(pin, true, high); }

void bc_hal_release(void) {
    pulses_clear();
    lamps_clear();
    strips_clear();
    PORTB = 0;
    PORTC = 0;
    PORTD = _BV(PORTD0); /* the link's pull-up (serial.c) */
    DDRB = 0;            /* crystal, reset and link take no notice (14.3) */
    DDRC = 0;
    DDRD = 0;
}

void bc_hal_output(uint8_t kind, uint8_t index, uint8_t pin, uint8_t pixels) {
    if (kind == BC_SWITCH) { /* bc_hal_switch comes next and knows the level */
        return;
    }
    pin_drive(pin, false);
    if (kind == BC_SERVO) {
        pulses_attach(index, pin);
    } else if (kind == BC_LAMP) {
        lamps_attach(index, pin);
    } else {
        strips_attach((uint8_t)(index - BC_LAMPS), pin, pixels);
    }
}

void bc_hal_input(uint8_t pin, bool pull_up) { set_pin(pin, false, pull_up); }

void bc_hal_switch(uint8_t pin, bool high) { pin_drive(pin, high); }
