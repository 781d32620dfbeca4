/*
 * Timer 1 runs free at one count a cycle and wraps every 4.096 ms. Compare unit A, moved on by
 * 32,000 at each match, makes a tick of exactly 2 ms. Ten ticks are a frame.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

static volatile uint8_t ticks;

void clock_start(void) {
    TCCR1A = 0;         /* normal mode (16.11.1) */
    TCCR1B = _BV(CS10); /* one count a cycle (16.11.2) */
    TCNT1 = 0;
    OCR1A = TICK_CYCLES;
    TIFR1 = _BV(OCF1A) | _BV(OCF1B);
    TIMSK1 = _BV(OCIE1A);
}

ISR(TIMER1_COMPA_vect) {
    uint16_t time = OCR1A;
    OCR1A = time + TICK_CYCLES;
    ticks++;
    NEWS |= _BV(NEWS_TICK);
    pulses_tick(time);
}

uint8_t clock_tick(void) { return ticks; }
