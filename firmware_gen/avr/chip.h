/*
 * The layer of all AVR chips: what its files offer one another. What differs from chip to chip, the
 * pins, the lamps' channels and the names of some registers, stands in the chip's own folder.
 *
 * Section numbers are those of the ATmega48A/PA/88A/PA/168A/PA/328/P data sheet. The data sheet of
 * the ATmega640 to 2561 describes the same parts under the same titles.
 *
 * One rule keeps pulses exact: no interrupt handler and no section with interrupts off holds up
 * another for longer than PULSE_LEAD (pulses.c) allows while pulses run. Strips, whose pixels take
 * 30 us each, are only sent when none runs.
 */
#ifndef CHIP_H
#define CHIP_H

#include <stdbool.h>
#include <stdint.h>

#include "bellcrank.h"

#if F_CPU != 16000000UL
#error "times in this folder are made for 16 MHz"
#endif

enum {
    TICK_MS = 2, /* the clock's tick */
    TICK_CYCLES = TICK_MS * (F_CPU / 1000),
    FRAME_TICKS = BC_FRAME_MS / TICK_MS,
    TICK_MOMENTS = TICK_MS * BC_MS, /* a tick in 1/256 ms */
};

/* -- clock.c: timer 1 counts cycles; its compare unit A makes the tick ---------------------- */

void clock_start(void);
uint8_t clock_tick(void);           /* ticks since the start, wrapping */
uint16_t clock_since(uint8_t tick); /* 1/256 ms since one of the last ticks */
void clock_stretch(int16_t cycles); /* let the next tick without pulses be so much longer */

/* -- pulses.c: servo pulses by compare unit B ----------------------------------------------- */

void pulses_clear(void); /* no servo; ends a running window, its pins are left as they are */
void pulses_attach(uint8_t index, uint8_t pin);
void pulses_prepare(uint8_t due); /* bc_image's pulses are to start at this tick or the first after;
                                     none is pending */
void pulses_tick(uint8_t tick, uint16_t time); /* from the tick's handler, timer 1's count at the
                                     tick: start them if it is time */
bool pulses_run(void);     /* likewise, after that: whether any run in this tick */
bool pulses_pending(void); /* prepared and not over */

/* -- lamps.c -------------------------------------------------------------------------------- */

void lamps_start(void);
void lamps_clear(void);
void lamps_attach(uint8_t index, uint8_t pin);

/* -- strips.c ------------------------------------------------------------------------------- */

void strips_clear(void);
void strips_attach(uint8_t index, uint8_t pin, uint8_t pixels);
void strips_send(void); /* bc_image's pixels; 30 us each */

/* -- serial.c, resets.c --------------------------------------------------------------------- */

void serial_start(void);
uint8_t serial_waiting(void); /* received bytes that wait */
uint8_t resets_begin(void);   /* the cause; from here on the watchdog bites after 250 ms without: */
void resets_alive(void);
void resets_played(uint8_t mode);      /* a frame, and where the player is */
bool resets_stop_holds(uint8_t cause); /* the board was stopped or limp, and has to stay so */

/*
 * What interrupts tell the main loop: bits of GPIOR0 (8.5.1), because there they are set and
 * cleared in one instruction.
 */
#define NEWS GPIOR0
enum {
    NEWS_FRAME = 0, /* a zero byte came in: a frame may be complete */
    NEWS_SENT = 1,  /* all queued bytes are with the transmitter */
    NEWS_CELL = 2,  /* an EEPROM write is over */
    NEWS_TICK = 3,  /* a tick is over */
    NEWS_LINE = 4,  /* a zero byte came in on the line between boards, where that is its own */
};

/* -- pins.c --------------------------------------------------------------------------------- */

/* A pin: its port's registers and its bit. */
struct pin_place {
    volatile uint8_t *registers;
    uint8_t mask;
};
/* They follow one another (31, Register Summary). */
enum { PIN_REGISTER, DDR_REGISTER, PORT_REGISTER };
struct pin_place pin_place(uint8_t pin);
void pin_drive(uint8_t pin, bool high);

/* -- the chip's folder, parts.c: pins and power --------------------------------------------- */

volatile uint8_t *port_registers(uint8_t port); /* in the order above */
void link_pull_up(void);     /* of the receiving pin, as an open line is silent (14.3.3) */
void unused_parts_off(void); /* what the firmware does not need and would take power or pins */

/* -- the chip's folder, line.c, of a chip that can lead: the line between boards ------------ */

#if BC_CHIP_LEADS
void line_listen(void);          /* give the core what came, and let it pass on what waits */
uint8_t ticks_until_frame(void); /* main.c: at least so many begin before bc_frame is called */
#else
#define line_listen() ((void)0) /* boards and host share one line */
#endif

/* -- the chip's folder, measure.c, of a chip with senses: pulses of a radio's channels ----- */

#if BC_CHIP_SENSES
void measure_clear(void);
#else
#define measure_clear() ((void)0)
#endif

/* -- the chip's folder, voltages.c, of a chip with senses: the converter ------------------- */

#if BC_CHIP_SENSES
void voltages_clear(void);
void voltages_look(void); /* take what is there and begin the next */
#else
#define voltages_clear() ((void)0)
#define voltages_look() ((void)0)
#endif

/* -- the chip's folder, channels.c: the compare channels that lamps hang on; parts.h sets them */

uint8_t channel_pin(uint8_t channel);
void channels_start(void); /* all timers together, phase correct at clock / 8 */
void channels_clear(void); /* no pin is connected, every compare value is 0 */
void channel_connect(uint8_t channel);

#endif
