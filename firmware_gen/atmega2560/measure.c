/*
 * Pulses of a radio's channels: the Input Capture Units of timers 3, 4 and 5 (PE7, PL0, PL1;
 * Alternate Port Functions). The unit keeps the timer's count at the very edge, so a width is exact
 * however late the handler comes. A timer that measures counts to its top at clock / 8, 0.5 us a
 * step; lamps have the others.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

enum { TIMERS = BC_MEASURES, NONE = 0xFF };

static const uint8_t pins[TIMERS] PROGMEM = BC_CHANNEL_PINS;
static const uint8_t displaced[TIMERS][BC_DISPLACED] PROGMEM = BC_CHANNEL_DISPLACES;

/* The same bits in each timer's registers. */
enum {
    RISING = _BV(ICNC3) | _BV(ICES3) | _BV(CS31), /* four samples must agree (Noise Canceler) */
    FALLING = _BV(ICNC3) | _BV(CS31),
};

static uint16_t rises[TIMERS];
static volatile uint16_t widths[TIMERS];
static uint8_t timers[BC_CHANNELS]; /* of each channel */
static bool is_used;

static uint8_t timer_of(uint8_t pin) {
    for (uint8_t n = 0; n < TIMERS; n++) {
        if (pgm_read_byte(&pins[n]) == pin) {
            return n;
        }
    }
    return NONE;
}

uint8_t bc_hal_channel_displaces(uint8_t pin, uint8_t place) {
    return pgm_read_byte(&displaced[timer_of(pin)][place]);
}

void bc_hal_channel_pin(uint8_t channel, uint8_t pin) {
    uint8_t timer = timer_of(pin);
    timers[channel] = timer;
    widths[timer] = 0;
    is_used = true;
    switch (timer) {
    case 0:
        TCCR3A = 0;
        TCCR3B = RISING;
        TIFR3 = _BV(ICF3);
        TIMSK3 = _BV(ICIE3);
        break;
    case 1:
        TCCR4A = 0;
        TCCR4B = RISING;
        TIFR4 = _BV(ICF4);
        TIMSK4 = _BV(ICIE4);
        break;
    default:
        TCCR5A = 0;
        TCCR5B = RISING;
        TIFR5 = _BV(ICF5);
        TIMSK5 = _BV(ICIE5);
        break;
    }
}

void measure_clear(void) {
    TIMSK3 = 0;
    TIMSK4 = 0;
    TIMSK5 = 0;
    if (is_used) {
        is_used = false;
        channels_start(); /* all timers are the lamps' again, in step */
    }
}

uint16_t bc_hal_channel(uint8_t channel) {
    uint16_t width;
    cli();
    width = widths[timers[channel]];
    widths[timers[channel]] = 0;
    sei();
    return width;
}

/* After a change of the edge the flag is cleared (Input Capture Unit). */
ISR(TIMER3_CAPT_vect) {
    uint16_t count = ICR3;
    if (TCCR3B & _BV(ICES3)) {
        rises[0] = count;
        TCCR3B = FALLING;
    } else {
        widths[0] = count - rises[0];
        TCCR3B = RISING;
    }
    TIFR3 = _BV(ICF3);
}

ISR(TIMER4_CAPT_vect) {
    uint16_t count = ICR4;
    if (TCCR4B & _BV(ICES4)) {
        rises[1] = count;
        TCCR4B = FALLING;
    } else {
        widths[1] = count - rises[1];
        TCCR4B = RISING;
    }
    TIFR4 = _BV(ICF4);
}

ISR(TIMER5_CAPT_vect) {
    uint16_t count = ICR5;
    if (TCCR5B & _BV(ICES5)) {
        rises[2] = count;
        TCCR5B = FALLING;
    } else {
        widths[2] = count - rises[2];
        TCCR5B = RISING;
    }
    TIFR5 = _BV(ICF5);
}
