/*
 * The start of flash: interrupt vectors (12.4, two words each), and in the room of those that are never enabled the start-up code; the last one's handler
 * stands where its vector is. A reset
 * begins at the first, with interrupts off and the stack at the end of RAM (7.5.1); a boot loader comes here without, so both are
 * set again. There is no initialised data to copy; a test sees to that. Compiled code holds r1 to be zero.
 */
#include "chip.h"

#include <avr/io.h>
#include <avr/pgmspace.h>

#define VECTOR(number) ".org 4 * " #number " \n jmp __vector_" #number " \n"

void __attribute__((naked, used, externally_visible, section(".vectors"))) start(void)
{
    __asm__ volatile(
        "clr  r1 \n"
        "out  0x3F, r1 \n"
        "ldi  r28, lo8(%[stack]) \n"
        "ldi  r29, hi8(%[stack]) \n"
        "out  0x3E, r29 \n"
        "out  0x3D, r28 \n"
        ".global __do_copy_data, __do_clear_bss \n" /* asked for by the compiler wherever there is a variable */
        "__do_copy_data: \n"
        "__do_clear_bss: \n"
        "ldi  r26, lo8(__bss_start) \n"
        "ldi  r27, hi8(__bss_start) \n"
        "ldi  r18, hi8(__bss_end) \n"
        "1: st X+, r1 \n"
        "cpi  r26, lo8(__bss_end) \n"
        "cpc  r27, r18 \n"
        "brne 1b \n"
        "jmp  main \n"
        VECTOR(11) /* timer 1 compare A: the tick, clock.c */
        VECTOR(12) /* timer 1 compare B: edges, pulses.c */
        VECTOR(16) /* timer 0 overflow: lamps.c */
        VECTOR(18) /* a byte came in: serial.c */
        VECTOR(19) /* one may go out: serial.c */
        ".org 4 * 22 \n" /* EEPROM ready, which needs no register: wake the main loop (cells.c) */
        "cbi  %[cells], %[ready] \n"
        "sbi  %[news], %[cell] \n"
        "reti \n"
        :
        : [stack] "n"(RAMEND), [cells] "I"(_SFR_IO_ADDR(EECR)), [ready] "I"(EERIE), [news] "I"(_SFR_IO_ADDR(NEWS)),
          [cell] "I"(NEWS_CELL));
}

/* What is written once, in this order: an address in data space and a value. */
#define SET(port, value) {_SFR_MEM_ADDR(port), (value)}
static const struct {
    uint8_t address, value;
} beginnings[] PROGMEM = {
    /* Unused parts off (10.11.3), the analogue comparator too (23.3.2). The sleep instruction idles (10.2). */
    SET(PRR, _BV(PRTWI) | _BV(PRSPI) | _BV(PRADC)),
    SET(ACSR, _BV(ACD)),
    SET(SMCR, _BV(SE)),
    /* Lamps: timers 0 and 2 in step, their prescalers held meanwhile (17.2); phase correct PWM (15.7.4, 18.7.4), clock / 8. */
    SET(GTCCR, _BV(TSM) | _BV(PSRASY) | _BV(PSRSYNC)),
    SET(TCCR0A, _BV(WGM00)),
    SET(TCCR2A, _BV(WGM20)),
    SET(TCCR0B, _BV(CS01)),
    SET(TCCR2B, _BV(CS21)),
    SET(TCNT0, 0),
    SET(TCNT2, 0),
    SET(GTCCR, 0),
    /* The clock: timer 1 in normal mode (16.11.1), one count a cycle; the first tick. High bytes first (16.3). */
    SET(TCCR1A, 0),
    SET(TCCR1B, _BV(CS10)),
    SET(TCNT1H, 0),
    SET(TCNT1L, 0),
    SET(OCR1AH, TICK_TIME),
    SET(OCR1AL, 0),
    SET(TIFR1, _BV(OCF1A) | _BV(OCF1B)),
    SET(TIMSK1, _BV(OCIE1A)),
    /* The link: a pull-up, as an open line is silent (14.3.3); 250,000 baud (19.11), 8N1 (19.10). */
    SET(PORTD, _BV(PORTD0)),
    SET(UBRR0H, 0),
    SET(UBRR0L, 3),
    SET(UCSR0A, 0),
    SET(UCSR0C, _BV(UCSZ01) | _BV(UCSZ00)),
    SET(UCSR0B, SERIAL_ON),
};

void start_parts(void)
{
    for (uint8_t i = 0; i < sizeof beginnings / sizeof *beginnings; i++) {
        *(volatile uint8_t *)(uint16_t)pgm_read_byte(&beginnings[i].address) = pgm_read_byte(&beginnings[i].value);
    }
}
