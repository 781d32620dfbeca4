/* Port pins (14). What a pin can do must agree with firmware_gen/chips.py; a test compares them. */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

enum { PINS = 24, PORTS = 3 };

/* Not for shows: PB6, PB7 crystal; PC6 reset, PC7 does not exist; PD0, PD1 link. */
static const uint8_t reserved[PORTS] PROGMEM = {0xC0, 0xC0, 0x03};

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

uint8_t bc_hal_pin(uint8_t pin)
{
    if (pin >= PINS || pgm_read_byte(&reserved[pin >> 3]) & pin_place(pin).mask) {
        return 0;
    }
    uint8_t jobs = BC_PIN_SERVO | BC_PIN_STRIP | BC_PIN_SWITCH | BC_PIN_INPUT;
    return lamps_can(pin) ? jobs | BC_PIN_LAMP : jobs;
}

uint8_t bc_hal_port(uint8_t port)
{
    return *place_registers(pin_place((uint8_t)(8 * port)));
}

/* Pulses change these ports from their interrupt, so read, change and write in one go. */
static NOINLINE void set_pin(uint8_t pin, bool output, bool high)
{
    struct place place = pin_place(pin);
    volatile uint8_t *registers = place_registers(place);
    cli();
    registers[2] = high ? registers[2] | place.mask : (uint8_t)(registers[2] & ~place.mask);
    registers[1] = output ? registers[1] | place.mask : (uint8_t)(registers[1] & ~place.mask);
    sei();
}

void pin_free(uint8_t pin)
{
    set_pin(pin, false, false);
}

/* The level is set before the direction: no glitch when a pin becomes an output (14.2.3). */
void pin_drive(uint8_t pin, bool high)
{
    set_pin(pin, true, high);
}

void bc_hal_release(void)
{
    pulses_clear();
    lamps_clear();
    strips_clear();
    for (uint8_t pin = 0; pin < PINS; pin++) {
        if (bc_hal_pin(pin) != 0) {
            pin_free(pin);
        }
    }
}

void bc_hal_output(uint8_t kind, uint8_t index, uint8_t pin, uint8_t detail)
{
    if (kind == BC_SERVO) {
        pulses_attach(index, pin);
    } else if (kind == BC_LAMP) {
        lamps_attach(index, pin);
    } else if (kind == BC_STRIP) {
        strips_attach(index, pin, detail);
    }
}

void bc_hal_input(uint8_t pin, bool pull_up)
{
    set_pin(pin, false, pull_up);
}

void bc_hal_switch(uint8_t pin, bool high)
{
    pin_drive(pin, high);
}

/* Unused parts off (PRR, 10.11.3), analogue comparator too (23.3.2). */
void pins_start(void)
{
    PRR = _BV(PRTWI) | _BV(PRSPI) | _BV(PRADC);
    ACSR = _BV(ACD);
}
