/*
 * Voltages at pins: the ADC, one conversion at a time. Titles are those of the chapter "ADC -
 * Analog to Digital Converter".
 *
 * Nothing here waits and nothing interrupts, so pulses know nothing of it: the main loop looks
 * whether a conversion is over whenever it is awake, at least every tick, takes what it found and
 * begins the next one. A conversion takes 13 cycles of 8 us (Prescaling and Conversion Timing), so
 * each slot is measured at least once in a frame. Always the same reference is used, the chip's
 * supply at AVCC: a change would need a settling time (ADC Voltage Reference).
 */
#include "chip.h"

#include <avr/io.h>
#include <avr/pgmspace.h>

enum {
    PORT_F = BC_PIN_OF_ADC0, /* to ADC7; PK0 to PK7 are ADC8 to ADC15 (Alternate Port Functions) */
    PORT_K = BC_PIN_OF_ADC8,
    SECOND_EIGHT = 8,
    OWN = 0x1E, /* MUX4:0 of the chip's own reference (Input Channel Selections) */
    UNUSED = 0xFF,
    LOOKS_BEFORE_OWN = 1, /* its first conversion after another channel is left out: the reference
                             is weak and fills the capacitor slowly (Analog Input Circuitry) */
};

static uint8_t inputs[BC_VOLTAGE_SLOTS]; /* of each slot; UNUSED */
static uint16_t readings[BC_VOLTAGE_SLOTS];
static uint8_t slot;     /* whose conversion runs */
static uint8_t left_out; /* conversions of it that still do not count */
static bool is_used;

void voltages_clear(void) {
    ADCSRA = 0; /* ends a conversion as well */
    PRR0 |= _BV(PRADC);
    DIDR0 = 0;
    DIDR2 = 0;
    for (uint8_t n = 0; n < BC_VOLTAGE_SLOTS; n++) {
        inputs[n] = UNUSED;
        readings[n] = BC_NO_READING;
    }
    is_used = false;
}

/* The channel is chosen before the conversion starts (Changing Channel or Reference Selection). */
static void begin(void) {
    uint8_t input = inputs[slot];
    ADMUX = (uint8_t)(_BV(REFS0) | (input == OWN ? OWN : input & (SECOND_EIGHT - 1)));
    ADCSRB = input != OWN && input >= SECOND_EIGHT ? _BV(MUX5) : 0;
    ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0); /* clock / 128 */
}

static void begin_next(void) {
    do {
        slot = (uint8_t)((slot + 1) % BC_VOLTAGE_SLOTS);
    } while (inputs[slot] == UNUSED);
    left_out = inputs[slot] == OWN ? LOOKS_BEFORE_OWN : 0;
    begin();
}

/* The digital input of the pin is off: a voltage between the levels would take current there
 * (Digital Input Disable). */
void bc_hal_voltage_pin(uint8_t number, uint8_t pin) {
    if (pin == BC_OWN_REFERENCE) {
        inputs[number] = OWN;
    } else if (pin >= PORT_K) {
        inputs[number] = (uint8_t)(pin - PORT_K + SECOND_EIGHT);
        DIDR2 |= (uint8_t)(1u << (pin - PORT_K));
    } else {
        inputs[number] = (uint8_t)(pin - PORT_F);
        DIDR0 |= (uint8_t)(1u << (pin - PORT_F));
    }
    if (!is_used) {
        is_used = true;
        PRR0 &= (uint8_t)~_BV(PRADC); /* before the ADC is used (Power Management) */
        slot = number;
        left_out = LOOKS_BEFORE_OWN;
        begin();
    }
}

uint16_t bc_hal_voltage(uint8_t number) { return readings[number]; }

void voltages_look(void) {
    if (!is_used || (ADCSRA & _BV(ADSC))) {
        return;
    }
    if (left_out > 0) {
        left_out--;
        begin();
        return;
    }
    readings[slot] = ADC; /* its low byte first, as the compiler reads it (The ADC Data Register) */
    begin_next();
}
