/* Port pins (14). What a pin can do must agree with firmware_gen/chips.py; a test compares them. */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

enum {
    PINS = 24,
    SOME = BC_PIN_SERVO | BC_PIN_STRIP | BC_PIN_SWITCH | BC_PIN_INPUT,
    ALL = SOME | BC_PIN_LAMP, /* a timer's output */
};

/* Not for shows, 0: PB6, PB7 crystal; PC6 reset, PC7 does not exist; PD0, PD1 link. */
static const uint8_t jobs[PINS] PROGMEM = {
    SOME, SOME, SOME, ALL,  SOME, SOME, 0,    0,    /* port B */
    SOME, SOME, SOME, SOME, SOME, SOME, 0,    0,    /* port C */
    0,    0,    SOME, ALL,  SOME, ALL,  ALL,  SOME, /* port D */
};

uint8_t bc_hal_pin(uint8_t pin)
{
    return pin < PINS ? pgm_read_byte(&jobs[pin]) : 0;
}

/* PINx, DDRx and PORTx of a port follow one another from 0x23 on, in data space (31, Register Summary). */
NOINLINE struct place pin_place(uint8_t pin)
{
    struct place place = {1, 0x23};
    uint8_t left = pin;
    for (; left >= 8; left = (uint8_t)(left - 8)) {
        place.port = (uint8_t)(place.port + 3);
    }
    for (; left > 0; left--) {
        place.mask = (uint8_t)(place.mask << 1);
    }
    return place;
}

uint8_t bc_hal_port(uint8_t port)
{
    return *place_registers(pin_place((uint8_t)(8 * port)));
}

/* Each of `values` replaces that bit of a port's register. */
static void put(volatile uint8_t *port, uint8_t mask, uint8_t values)
{
    uint8_t was = *port;
    *port = was ^ ((was ^ values) & mask);
}

/*
 * Direction and level, 0 or 0xFF. The level is set before the direction: no glitch when a pin becomes an output (14.2.3). Pulses
 * change these ports from their interrupt, so read, change and write in one go.
 */
static NOINLINE void set_pin(uint8_t pin, uint8_t output, uint8_t level)
{
    struct place place = pin_place(pin);
    volatile uint8_t *registers = place_registers(place);
    cli();
    put(registers + 2, place.mask, level);
    put(registers + 1, place.mask, output);
    sei();
}

void pin_drive(uint8_t pin, bool high)
{
    set_pin(pin, 0xFF, (uint8_t)-high);
}

void bc_hal_release(void)
{
    pulses_clear();
    lamps_clear();
    strips_clear();
    PORTB = 0;
    PORTC = 0;
    PORTD = _BV(PORTD0); /* the link's pull-up (start.c) */
    DDRB = 0; /* crystal, reset and link take no notice (14.3) */
    DDRC = 0;
    DDRD = 0;
}

void bc_hal_output(uint8_t kind, uint8_t index, uint8_t pin, uint8_t detail)
{
    if (kind == BC_SWITCH) { /* bc_hal_switch comes next and knows the level */
        return;
    }
    pin_drive(pin, false);
    if (kind == BC_SERVO) {
        pulses_attach(index, pin);
    } else if (kind == BC_LAMP) {
        lamps_attach(index, pin);
    } else {
        strips_attach(index, pin, detail);
    }
}

void bc_hal_input(uint8_t pin, bool pull_up)
{
    set_pin(pin, 0, (uint8_t)-pull_up);
}

void bc_hal_switch(uint8_t pin, bool high)
{
    pin_drive(pin, high);
}
