/*
 * Timer 1 (start.c sets it up) runs free at one count a cycle (16.11.2: CS10, normal mode) and wraps every 4.096 ms. Compare unit A, moved on
 * by 32,000 at each match, makes a tick of exactly 2 ms. Ten ticks are a frame.
 *
 * 32,000 is 125 * 256: ticks fall where the timer's low byte is 0, and the high byte alone tells their times.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

static volatile uint8_t ticks;

/* In assembly because pulses_tick goes on with it. 16-bit registers are written high byte first (16.3). */
HANDLER(TIMER1_COMPA_vect)
{
    __asm__ volatile(
        HANDLER_ENTRY
        "lds  r24, %[ticks] \n"
        "inc  r24 \n"
        "sts  %[ticks], r24 \n"
        "sbi  %[news], %[tick] \n"
        "lds  r25, %[compare]+1 \n"
        "mov  r24, r25 \n"
        "subi r24, lo8(-(%[step])) \n"
        "sts  %[compare]+1, r24 \n"
        "ldi  r24, 0 \n"
        "sts  %[compare], r24 \n"
        "jmp  pulses_tick \n"
        :
        : [ticks] "i"(&ticks), [news] "I"(_SFR_IO_ADDR(NEWS)), [tick] "I"(NEWS_TICK), [compare] "n"(_SFR_MEM_ADDR(OCR1AL)),
          [step] "M"(TICK_TIME)
        : "memory");
}

uint8_t clock_tick(void)
{
    return ticks;
}
