/* Port pins (14). */
#include "chip.h"

#include <avr/interrupt.h>

struct pin_place pin_place(uint8_t pin) {
    struct pin_place place = {port_registers(pin >> 3), (uint8_t)(1u << (pin & 7))};
    return place;
}

uint8_t bc_hal_port(uint8_t port) { return port_registers(port)[PIN_REGISTER]; }

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
    measure_clear();
    voltages_clear();
    for (uint8_t port = 0; port < BC_PORTS; port++) {
        volatile uint8_t *registers = port_registers(port);
        registers[PORT_REGISTER] = 0;
        registers[DDR_REGISTER] = 0; /* crystal, reset and link take no notice (14.3) */
    }
    link_pull_up();
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
