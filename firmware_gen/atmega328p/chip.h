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
    TICK_TIME = TICK_CYCLES / 256,
    FRAME_TICKS = 10,    /* a frame: 20 ms */
};

/* Called, not repeated, where the compiler would find it worth its time. */
#define NOINLINE __attribute__((noinline))

/* Fields are to be reached through this pointer, two bytes an access, not each by its address, four: where that points is not told. */
#define BY_POINTER(pointer) __asm__("" : "+b"(pointer))

/* Handlers in assembly, near their vectors: the way there and between them is the short jump. */
#define HANDLER(vector) ISR(vector, ISR_NAKED __attribute__((section(".lowtext"))))

/*
 * What the longer interrupt handlers begin and end with. They use r24 to r27, r30, r31 and no register that compiled code holds
 * to be zero.
 */
#define HANDLER_ENTRY                                                                                         \
    "push r30 \n in r30, 0x3F \n push r30 \n push r25 \n push r31 \n push r24 \n push r26 \n push r27 \n"
#define HANDLER_EXIT                                                                                          \
    "pop r27 \n pop r26 \n pop r24 \n jmp serial_leave \n" /* which takes back the others */

/* -- clock.c: timer 1 counts cycles; its compare unit A makes the tick --------------------------- */

uint8_t clock_tick(void); /* ticks since the start, wrapping */
static inline uint8_t clock_time_of(uint8_t tick) /* timer 1's count then, in units of 256 cycles */
{
    return (uint8_t)(TICK_TIME * tick);
}

/* -- pulses.c: servo pulses by compare unit B ----------------------------------------------------- */

void pulses_clear(void);                      /* no servo; ends a running window, its pins are left as they are */
void pulses_attach(uint8_t index, uint8_t pin);
void pulses_prepare(uint8_t due);             /* bc_image's pulses are to start at this tick or the first after; none is pending */
void pulses_tick(void);                       /* the end of the tick's handler: start them if it is time */
bool pulses_pending(void);                    /* prepared and not over */

/* -- lamps.c: timers 0 and 2 ---------------------------------------------------------------------- */

void lamps_clear(void);
void lamps_attach(uint8_t index, uint8_t pin);

/* -- strips.c ------------------------------------------------------------------------------------- */

void strips_clear(void);
void strips_attach(uint8_t index, uint8_t pin, uint8_t pixels);
void strips_send(void); /* bc_image's pixels; 30 us each */

/* -- serial.c, resets.c ---------------------------------------------------------------------------- */

#define SERIAL_ON (_BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0)) /* UCSR0B while nothing is to be sent */
uint8_t serial_waiting(void); /* received bytes that wait */
uint8_t resets_begin(void); /* the cause; from here on the watchdog bites after 250 ms without: */
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

/* A pin's bit, and the address of its port's PINx; DDRx and PORTx follow that (31, Register Summary). */
struct place {
    uint8_t mask, port;
};
struct place pin_place(uint8_t pin);
static inline volatile uint8_t *place_registers(struct place place)
{
    return (volatile uint8_t *)(uint16_t)place.port;
}
void pin_drive(uint8_t pin, bool high);

/* -- start.c --------------------------------------------------------------------------------------- */

void start_parts(void); /* all that is set once */

#endif
