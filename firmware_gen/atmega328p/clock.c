/*
 * Timer 1 runs free at one count a cycle (16.11.2: CS10, normal mode) and wraps every 4.096 ms. Compare unit A, moved on
 * by 32,000 at each match, makes a tick of exactly 2 ms. Ten ticks are a frame.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

static volatile uint8_t ticks;

void clock_start(void)
{
    TCCR1A = 0;
    TCCR1B = _BV(CS10);
    OCR1A = TCNT1 + TICK_CYCLES;
    TIFR1 = _BV(OCF1A) | _BV(OCF1B);
    TIMSK1 = _BV(OCIE1A);
}

ISR(TIMER1_COMPA_vect)
{
    uint8_t tick = (uint8_t)(ticks + 1);
    ticks = tick;
    NEWS |= _BV(NEWS_TICK);
    OCR1A += TICK_CYCLES;
    pulses_tick(tick);
}

uint8_t clock_tick(void)
{
    return ticks;
}

/* 16-bit registers go through one shared byte (16.3), so no interrupt may come between. */
uint16_t clock_time_of(uint8_t tick)
{
    uint8_t status = hold_interrupts();
    uint16_t next = OCR1A;
    uint8_t now = ticks;
    release_interrupts(status);
    return (uint16_t)(next + (uint16_t)((int8_t)(tick - now) - 1) * TICK_CYCLES);
}

uint16_t clock_cycles(void)
{
    uint8_t status = hold_interrupts();
    uint16_t now = TCNT1;
    release_interrupts(status);
    return now;
}
