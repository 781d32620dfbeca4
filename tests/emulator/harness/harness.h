/*
 * A chip on simavr, with the parts modelled anew whose timing this project relies on. What differs
 * from chip to chip stands in `chips.c`; section numbers are the ATmega328P's (data sheet
 * ATmega48A to 328/P).
 *
 * simavr 1.6 executes the instructions. Against the data sheet it lacks the following, which the
 * files here supply: the four clock cycles of an interrupt's response (7.7.1; five where the
 * program counter has three bytes) and as many more out of sleep, the receiver's two bytes of
 * buffer and its overrun (19.7), EEPE staying set for the 3.4 ms of an EEPROM write (8.6.3) and the
 * ready interrupt while it is clear, phase correct PWM (15.7.4), flag registers in which writing a
 * one clears that flag only (16.11.9), matches of timer 1 just behind its overflow, which simavr
 * misses if an instruction spans both, and the turn of an interrupt that waits when interrupts are
 * enabled: the chip executes one instruction more and then serves it (7.7); simavr executes two,
 * and forgets it if the second disables interrupts again. The Input Capture Units of the timers
 * that dim lamps as well are supplied, too, as those timers are.
 */
#ifndef HARNESS_H
#define HARNESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_timer.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_cycle_timers.h>
#include <simavr/sim_interrupts.h>
#include <simavr/sim_io.h>

typedef struct board board_t;

enum {
    RX_DEPTH = 2,
    MOST_PORTS = 11,
    MOST_TIMERS = 5,
    MOST_CHANNELS = 3,
    MOST_CELLS = 4096,
    MOST_VOLTAGES = 16
};
enum { HOST, LINE, MOST_UARTS }; /* USART0; USART1, on chips that have it */

/* What happened, in the order it happened. `cycle` counts from power-up. */
enum event_kind {
    EVENT_PORT = 1,      /* a: number of the port; b: PORT | DDR << 8 */
    EVENT_PWM = 2,       /* a: pin code; b: compare value in force | compare output mode << 8 */
    EVENT_RX_READ = 3,   /* a: byte; b: cycles since it had arrived */
    EVENT_RX_LOST = 4,   /* a: the byte that found the buffer full */
    EVENT_TX = 5,        /* a: byte; the cycle is the end of its stop bit */
    EVENT_EEPROM = 6,    /* a: address; b: old | new << 8; the cycle is the end of the write */
    EVENT_RESET = 7,     /* a: MCUSR at the start */
    EVENT_LINE = 8,      /* a: byte that USART1 sent; otherwise as EVENT_TX */
    EVENT_LINE_LOST = 9, /* a: the byte that found the buffer of USART1 full */
};

typedef struct {
    uint64_t cycle;
    uint16_t kind;
    uint16_t a;
    uint32_t b;
} event_t;

typedef struct {
    event_t *items;
    size_t count, room;
    uint32_t mask; /* bit k: log events of kind k */
} log_t;

typedef struct {
    uint64_t cycle;
    uint8_t byte;
} arrival_t;

typedef struct {
    board_t *board;
    avr_uart_t *simavr; /* NULL: the chip has none */
    uint16_t registers; /* UCSRnA, the others follow */
    arrival_t *queue;   /* bytes on the wire, by the cycle of their stop bit's end */
    size_t head, count, room;
    arrival_t fifo[RX_DEPTH];
    uint8_t waiting, last;
    bool overrun, shifting, holding, complete;
    uint8_t shift, hold;
    uint64_t line_free;
} uart_t;

/* What one board sends, another hears, more or less. */
typedef struct {
    board_t *to;
    uint8_t uart, to_uart;
    bool cut;
    uint32_t random; /* state of the generator, never 0 */
    uint32_t lost_per_1000, flips_per_million;
    uint64_t last; /* cycle of the last byte */
    bool losing;   /* the frame that is under way does not arrive */
} wire_t;

typedef struct {
    avr_eeprom_t *simavr;
    uint8_t cells[MOST_CELLS];
    bool busy;
    uint16_t address;
    uint8_t data, mode;
} store_t;

/* A timer whose channels make PWM: pin codes, and where its registers are in data space. */
typedef struct {
    char name;
    uint8_t channels;
    uint8_t pins[MOST_CHANNELS];
    uint16_t tccra, tccrb, ocr[MOST_CHANNELS];
    uint8_t capture; /* pin of its Input Capture Unit, if it has one */
    uint16_t icr, tifr, timsk;
} pwm_place_t;

typedef struct {
    const char *name, *ports;
    uint16_t ram_start, ram_bytes, eeprom_bytes;
    uint32_t flash_bytes;
    uint8_t response_cycles, pwm_timers; /* of an interrupt (7.7.1) */
    pwm_place_t pwm[MOST_TIMERS];
} chip_t;

typedef struct {
    pwm_place_t place;
    avr_timer_t *simavr;
    bool running;
    uint8_t high; /* of a timer of 16 bits: what a write of a low byte takes with it */
    uint8_t com[MOST_CHANNELS];
    uint16_t in_force[MOST_CHANNELS];
} pwm_t;

/* Timer 1 in normal mode at one count a cycle; the only mode there is here. */
typedef struct {
    avr_timer_t *simavr;
    uint64_t zero; /* a cycle at which the count was 0 */
    bool running;
} count_t;

typedef struct {
    uint64_t cycle;
    uint8_t pin, level;
} press_t;

struct board {
    const chip_t *chip;
    avr_t *avr;
    void (*run)(avr_t *avr); /* simavr's own, unless its watchdog bites */
    log_t log;
    uart_t uarts[MOST_UARTS];
    store_t store;
    pwm_t pwm[MOST_TIMERS];
    count_t timer1;
    uint8_t *flash;
    uint32_t start; /* where a reset goes to: 0, or a boot loader's address (fuse BOOTRST) */
    uint8_t port[MOST_PORTS], ddr[MOST_PORTS];
    uint16_t supply_mv, voltages_mv[MOST_VOLTAGES]; /* of the chip; at inputs of the converter */
    press_t *presses;
    size_t press_count, press_room;
    uint32_t frequency;
    double clock_ppm;
    uint64_t sleep_cycles,
        base; /* base: cycles of earlier lives, so that time goes on over a reset */
    bool stop, asleep, held;
    int pty;
    double pace; /* emulated seconds per second of the host, 0: as fast as it goes */
    wire_t wires[8];
    size_t wire_count;
};

/* Life */
const chip_t *chip_named(const char *name);
board_t *board_new(const char *chip, const uint8_t *flash, const uint8_t *eeprom,
                   uint32_t frequency);
void board_free(board_t *board);
void board_reset(board_t *board, uint8_t mcusr, bool keep_ram);
void board_start_at(board_t *board, uint32_t start); /* from the next reset on */
void board_flash(const board_t *board, uint8_t *into);
int board_run(board_t *board, uint64_t until);
uint64_t board_cycle(const board_t *board);
uint64_t board_sleep_cycles(const board_t *board);
uint32_t board_pc(const board_t *board);
void board_ram(const board_t *board, uint8_t *into, uint16_t from, uint16_t count);
void board_poke(board_t *board, uint16_t address, uint8_t value);
void board_eeprom(const board_t *board, uint8_t *into);
void board_tear(board_t *board, uint8_t value);
bool board_writing(const board_t *board);

/* The outside */
void board_send(board_t *board, uint64_t first_end, uint32_t spacing, const uint8_t *bytes,
                size_t count);
size_t board_sending(const board_t *board);
void board_press(board_t *board, uint64_t cycle, uint8_t pin, uint8_t level);
void board_voltage(board_t *board, uint8_t input, uint16_t millivolts);
void board_supply(board_t *board, uint16_t millivolts); /* what the converter holds all against */
size_t board_events(const board_t *board, event_t *into, size_t from, size_t count);
size_t board_event_count(const board_t *board);
void board_forget_events(board_t *board);
void board_log(board_t *board, uint32_t mask);
int board_pty(board_t *board, char *name, size_t room, double pace);
void board_connect(board_t *from, board_t *to);
size_t board_wire(board_t *from, board_t *to);
size_t board_answer(board_t *from, board_t *to);
void board_wire_cut(board_t *from, size_t wire, bool cut);
void board_wire_trouble(board_t *from, size_t wire, uint32_t seed, uint32_t lost_per_1000,
                        uint32_t flips_per_million);
void board_line(board_t *board, const uint8_t *bytes, size_t count);
void board_off(board_t *board, uint64_t cycles);
void wires_carry(board_t *from, uint8_t uart, uint64_t cycle, uint8_t byte, uint32_t byte_cycles);
void uart_send(uart_t *uart, uint64_t first_end, uint32_t spacing, const uint8_t *bytes,
               size_t count);
void board_clock(board_t *board, double ppm);
int boards_run(board_t **boards, size_t count, double seconds);

/* Between the parts */
void log_event(board_t *board, enum event_kind kind, uint16_t a, uint32_t b);
void log_event_at(board_t *board, uint64_t cycle, enum event_kind kind, uint16_t a, uint32_t b);
void watch_write(board_t *board, uint16_t address, avr_io_write_t handler);
void watch_read(board_t *board, uint16_t address, avr_io_read_t handler);
void unraise(avr_int_vector_t *vector);
void uart_attach(board_t *board);
void uart_levels(board_t *board);
void store_attach(board_t *board);
void store_levels(board_t *board);
void timers_attach(board_t *board);
void timers_edge(board_t *board, uint8_t pin, uint8_t level);
void pins_attach(board_t *board);
void voltages_attach(board_t *board);
void pty_attach(board_t *board);
void pty_put(board_t *board, uint8_t byte);

#endif
