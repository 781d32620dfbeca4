/*
 * The ATmega328P layer: what its files offer one another. Section numbers in this folder are those of the
 * ATmega48A/PA/88A/PA/168A/PA/328/P data sheet.
 *
 * One rule keeps pulses exact: no interrupt handler and no section with interrupts off is longer than PULSE_LEAD
 * cycles while pulses run. Strips, whose pixels take 30 us each, are only sent when none runs.
 */
#ifndef CHIP_H
#define CHIP_H

#include <stdbool.h>
#include <stdint.h>

#include "bellcrank.h"

#if F_CPU != 16000000UL
#error "cycle counts in this folder are made for 16 MHz"
#endif

enum {
    TICK_CYCLES = 32000, /* the clock's tick: 2 ms */
    FRAME_TICKS = 10,    /* a frame: 20 ms */
};

/* -- clock.c: timer 1 counts cycles; its compare unit A makes the tick --------------------------- */

void clock_start(void);
uint8_t clock_tick(void);              /* ticks since the start, wrapping */
uint16_t clock_time_of(uint8_t tick);  /* timer 1's count at a tick at most 127 ahead or behind */
uint16_t clock_cycles(void);           /* timer 1's count */

/* -- pulses.c: servo pulses by compare unit B ----------------------------------------------------- */

void pulses_clear(void);                      /* no servo; ends a running window with all pins low */
void pulses_attach(uint8_t index, uint8_t pin);
void pulses_prepare(uint8_t tick);            /* bc_image's pulses are to start at a tick to come */
void pulses_tick(uint8_t tick);               /* from the tick's interrupt: start them if it is time */
bool pulses_waiting(void);                    /* prepared, not yet started */
bool pulses_running(void);

/* -- lamps.c: timers 0 and 2 ---------------------------------------------------------------------- */

void lamps_start(void);
void lamps_clear(void);
bool lamps_can(uint8_t pin);
void lamps_attach(uint8_t index, uint8_t pin);
void lamps_show(void); /* take over bc_image's duties */

/* -- strips.c ------------------------------------------------------------------------------------- */

void strips_clear(void);
void strips_attach(uint8_t index, uint8_t pin, uint8_t pixels);
void strips_send(void); /* bc_image's pixels; 30 us each */

/* -- serial.c, resets.c ---------------------------------------------------------------------------- */

void serial_start(void);
uint8_t serial_waiting(void); /* received bytes that wait */
uint8_t resets_cause(void);
void resets_guard(void); /* from here on the watchdog bites after 250 ms without: */
void resets_alive(void);

/*
 * What interrupts tell the main loop: bits of GPIOR0 (8.5.1), because there they are set and cleared in one instruction.
 */
#define NEWS GPIOR0
enum {
    NEWS_FRAME = 0, /* a zero byte came in: a frame may be complete */
    NEWS_SENT = 1,  /* all queued bytes are with the transmitter */
    NEWS_CELL = 2,  /* an EEPROM write is over */
    NEWS_TICK = 3,  /* a tick is over */
};

/* -- pins.c ---------------------------------------------------------------------------------------- */

/* PINx, DDRx and PORTx of a port follow one another from 0x23 on, in data space (31, Register Summary). */
#define PORT_STRIDE 3
static inline volatile uint8_t *pin_register(uint8_t pin)
{
    return (volatile uint8_t *)(uint16_t)(0x23 + PORT_STRIDE * (pin >> 3));
}
static inline uint8_t pin_mask(uint8_t pin)
{
    return (uint8_t)(1 << (pin & 7));
}
void pin_free(uint8_t pin);
void pin_drive(uint8_t pin, bool high);
void pins_start(void);

/* -- main.c ---------------------------------------------------------------------------------------- */

/* Interrupts off for a few instructions; back to what it was. */
static inline uint8_t hold_interrupts(void)
{
    uint8_t status = *(volatile uint8_t *)0x5F; /* SREG, 7.3.1 */
    __asm__ volatile("cli" ::: "memory");
    return status;
}
static inline void release_interrupts(uint8_t status)
{
    __asm__ volatile("" ::: "memory");
    *(volatile uint8_t *)0x5F = status;
}

#endif
