/*
 * Plain lamps: phase correct PWM of timers of 8 bits (15.7.4, 18.7.4) at 16 MHz / 8 / 510 = 3,922
 * Hz. A compare value of 0 is truly off and 255 truly on. Eight periods make a round of 490 Hz; in
 * as many of them as the duty's three further bits say the compare value is one higher, spread
 * evenly. That gives 2041 levels, the darkest of which differ by 0.44 of L*.
 *
 * All timers are started together so that one handler, timer 0's, serves all. The compare registers
 * are taken over at the top, half a period after the handler's time, so a delay of a pixel does no
 * harm.
 */
#include "chip.h"
#include "parts.h"

#include <string.h>

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

enum { PERIODS = 8, NO_LAMP = 0xFF };

/* In which periods of a round the compare value is one higher, for k of 8: as evenly as can be. */
static const uint8_t patterns[PERIODS] PROGMEM = {0x00, 0x01, 0x11, 0x25, 0x55, 0xDA, 0xEE, 0xFE};

static uint8_t shown[BC_LAMPS];           /* which lamp a channel shows */
static uint8_t values[PERIODS][BC_LAMPS]; /* compare values for the periods of a round */
static uint8_t period;                    /* the last that began */

void lamps_start(void) { channels_start(); }

/* 3,922 times a second while the show has a lamp: set what the period after this one has. */
ISR(TIMER0_OVF_vect) {
    channels_set(values[period]);
    period = (uint8_t)((period + 1) % PERIODS);
}

void lamps_clear(void) {
    TIMSK0 = 0;
    channels_clear();
    memset(values, 0, sizeof values);
    memset(shown, NO_LAMP, sizeof shown);
}

void lamps_attach(uint8_t index, uint8_t pin) {
    for (uint8_t i = 0; i < BC_LAMPS; i++) {
        if (channel_pin(i) == pin) {
            shown[i] = index;
            channel_connect(i);
        }
    }
    TIMSK0 = _BV(TOIE0);
}

/* The handler may come in between: then a round has some of both. */
static void set_channel(uint8_t channel, uint8_t base, uint8_t fraction) {
    uint8_t pattern = pgm_read_byte(&patterns[fraction]);
    for (uint8_t i = 0; i < PERIODS; i++) {
        values[i][channel] = (uint8_t)(base + (pattern & 1));
        pattern >>= 1;
    }
}

void bc_hal_lamp(uint8_t index, uint16_t duty) {
    /* Of 255, in 1/256: the base value above, and below, in the upper three bits, the nearest
     * fraction. */
    uint16_t level = (uint16_t)(duty - (duty >> 8) + 0x100 / PERIODS / 2);
    uint8_t fraction = (uint8_t)((uint8_t)level / (0x100 / PERIODS));
    for (uint8_t i = 0; i < BC_LAMPS; i++) {
        if (shown[i] == index) {
            set_channel(i, (uint8_t)(level >> 8), fraction);
        }
    }
}
