/*
 * Timer 1 runs free at one count a cycle and wraps every 4.096 ms. Compare unit A, moved on by
 * 32,000 at each match, makes a tick of exactly 2 ms. Ten ticks are a frame.
 *
 * A board that follows another makes its frames longer or shorter by up to 2 %, to stay in step.
 * All of that goes into one tick of the frame, one in which no pulses run: the distances within
 * their windows stay exact. The tick is never shorter than 1.6 ms nor longer than 2.4 ms, which is
 * less than the counter's 4.096 ms.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

static volatile uint8_t ticks;
#if BC_CHIP_LEADS
static volatile int16_t stretch; /* cycles by which a tick to come is longer */
#endif

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
    ticks++;
    NEWS |= _BV(NEWS_TICK);
    OCR1A = time + TICK_CYCLES;
    pulses_tick(ticks, time);
#if BC_CHIP_LEADS
    if (!pulses_run()) {
        OCR1A = time + TICK_CYCLES + (uint16_t)stretch;
        stretch = 0;
    }
#endif
}

uint8_t clock_tick(void) { return ticks; }

#if BC_CHIP_LEADS

void clock_stretch(int16_t cycles) {
    cli();
    stretch = cycles;
    sei();
}

/* Nearly: 1/256 ms is 62.5 cycles, and 64 are divided in no time. What a tick has too much or too
 * little is reckoned at its beginning. */
uint16_t clock_since(uint8_t tick) {
    uint8_t whole;
    uint16_t cycles;
    cli();
    whole = (uint8_t)(ticks - tick);
    cycles = (uint16_t)(TCNT1 - OCR1A + TICK_CYCLES);
    sei();
    if (cycles >= TICK_CYCLES) { /* its end has not been seen to yet, or is more than 2 ms away */
        cycles = cycles < TICK_CYCLES + TICK_CYCLES / 2 ? TICK_CYCLES - 1 : 0;
    }
    return (uint16_t)(TICK_MOMENTS * whole + cycles / 64);
}

#endif
