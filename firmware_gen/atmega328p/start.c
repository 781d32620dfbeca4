/*
 * The start of flash: interrupt vectors (12.4, two words each), and in the room of those that are never enabled the start-up code; the last one's handler
 * stands where its vector is. A reset
 * begins at the first, with interrupts off and the stack at the end of RAM (7.5.1); a boot loader comes here without, so both are
 * set again. There is no initialised data to copy; a test sees to that. Compiled code holds r1 to be zero.
 */
#include "chip.h"

#include <avr/io.h>

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
