/* One board's life: power, resets, running, and what it did. */
#include "harness.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { WATCHDOG_RESET = 8, MCUSR_ADDRESS = 0x54, PAINT = 0xA5, RUN_AT_ONCE = 2000 };

void log_event_at(board_t *board, uint64_t cycle, enum event_kind kind, uint16_t a, uint32_t b) {
    log_t *log = &board->log;
    if (!(log->mask >> kind & 1)) {
        return;
    }
    if (log->count == log->room) {
        log->room = log->room ? 2 * log->room : 4096;
        log->items = realloc(log->items, log->room * sizeof(event_t));
    }
    log->items[log->count++] = (event_t){board->base + cycle, (uint16_t)kind, a, b};
}

void log_event(board_t *board, enum event_kind kind, uint16_t a, uint32_t b) {
    log_event_at(board, board->avr->cycle, kind, a, b);
}

/* Put a handler in the place of simavr's own. */
void watch_write(board_t *board, uint16_t address, avr_io_write_t handler) {
    board->avr->io[AVR_DATA_TO_IO(address)].w.c = handler;
    board->avr->io[AVR_DATA_TO_IO(address)].w.param = board;
}

void watch_read(board_t *board, uint16_t address, avr_io_read_t handler) {
    board->avr->io[AVR_DATA_TO_IO(address)].r.c = handler;
    board->avr->io[AVR_DATA_TO_IO(address)].r.param = board;
}

void unraise(avr_int_vector_t *vector) { vector->pending = 0; }

/* Interrupt response: four or five clock cycles, twice as many out of sleep (data sheet 7.7.1).
 * simavr charges none. */
static void on_interrupt(struct avr_irq_t *irq, uint32_t value, void *param) {
    board_t *board = param;
    (void)irq;
    if (value) {
        board->avr->cycle +=
            board->asleep ? 2 * board->chip->response_cycles : board->chip->response_cycles;
        board->asleep = false;
    } else {
        uart_levels(board);
        store_levels(board);
    }
}

static void on_sleep(avr_t *avr, avr_cycle_count_t cycles) {
    board_t *board = avr->custom.data;
    board->sleep_cycles += cycles + 1;
}

static void quiet_logger(avr_t *avr, const int level, const char *format, va_list arguments) {
    (void)avr;
    if (level <= LOG_ERROR) {
        vfprintf(stderr, format, arguments);
    }
}

static void start_chip(board_t *board, uint8_t mcusr) {
    avr_t *avr = avr_make_mcu_by_name(board->chip->name);
    avr->custom.data = board;
    avr_init(avr);
    avr->frequency = board->frequency;
    avr->run_cycle_limit = RUN_AT_ONCE;
    avr->sleep = on_sleep;
    memcpy(avr->flash, board->flash, board->chip->flash_bytes);
    avr->reset_pc = avr->pc = board->start;
    memset(avr->data + board->chip->ram_start, PAINT, board->chip->ram_bytes);
    avr->data[MCUSR_ADDRESS] = mcusr;
    board->avr = avr;
    board->run = avr->run;
    board->asleep = false;
    avr_irq_register_notify(avr_get_interrupt_irq(avr, AVR_INT_ANY) + AVR_INT_IRQ_RUNNING,
                            on_interrupt, board);
    uart_attach(board);
    store_attach(board);
    timers_attach(board);
    pins_attach(board);
    voltages_attach(board);
    if (board->pty >= 0) {
        pty_attach(board);
    }
    log_event(board, EVENT_RESET, mcusr, 0);
}

/* A chip with these bytes in its flash and its EEPROM, as many as it has. */
board_t *board_new(const char *chip, const uint8_t *flash, const uint8_t *eeprom,
                   uint32_t frequency) {
    avr_global_logger_set(quiet_logger);
    board_t *board = calloc(1, sizeof(board_t));
    board->chip = chip_named(chip);
    board->flash = malloc(board->chip->flash_bytes);
    memcpy(board->flash, flash, board->chip->flash_bytes);
    memcpy(board->store.cells, eeprom, board->chip->eeprom_bytes);
    board->frequency = frequency;
    board->log.mask = ~0u;
    board->pty = -1;
    board->supply_mv = 5000;
    start_chip(board, 1); /* PORF, data sheet 11.9.1 */
    return board;
}

void board_free(board_t *board) {
    avr_terminate(board->avr);
    free(board->avr);
    free(board->log.items);
    for (size_t i = 0; i < MOST_UARTS; i++) {
        free(board->uarts[i].queue);
    }
    free(board->presses);
    free(board->flash);
    free(board);
}

/* A reset. What is on its way over the wire is lost; EEPROM stays, RAM if `keep_ram`. */
void board_reset(board_t *board, uint8_t mcusr, bool keep_ram) {
    const chip_t *chip = board->chip;
    uint8_t *ram = malloc(chip->ram_bytes);
    memcpy(ram, board->avr->data + chip->ram_start, chip->ram_bytes);
    board->base += board->avr->cycle;
    memcpy(board->flash, board->avr->flash, chip->flash_bytes); /* a boot loader writes it */
    avr_terminate(board->avr);
    free(board->avr);
    for (size_t i = 0; i < MOST_UARTS; i++) {
        uart_t *uart = &board->uarts[i];
        *uart = (uart_t){.queue = uart->queue, .room = uart->room};
    }
    board->store.busy = false;
    board->press_count = 0;
    start_chip(board, mcusr);
    if (keep_ram) {
        memcpy(board->avr->data + chip->ram_start, ram, chip->ram_bytes);
    }
    free(ram);
}

/* Power off for so long: what comes meanwhile is lost, EEPROM stays. */
void board_off(board_t *board, uint64_t cycles) {
    board_reset(board, 1, false);
    board->base += cycles;
}

/* Stays until it is cancelled, so that a chip that sleeps does not sleep on to its next timer:
 * boards that run side by side must not be ahead of one another. */
static avr_cycle_count_t on_stop(avr_t *avr, avr_cycle_count_t when, void *param) {
    board_t *board = param;
    (void)avr;
    board->stop = true;
    return when + 1;
}

/*
 * One round of simavr. Where interrupts have just been enabled (interrupt_state -1, and then a
 * round is one instruction), one that waits is served right after that instruction (data
 * sheet 7.7), be it a sleep and the next one the end of interrupts; simavr would execute one more
 * before.
 */
int board_step(board_t *board) {
    avr_t *avr = board->avr;
    bool just_enabled = avr->interrupt_state == -1;
    board->asleep = avr->state == cpu_Sleeping;
    int state = avr_run(avr);
    if (just_enabled && avr == board->avr && avr->interrupt_state > 0 &&
        avr->state == cpu_Running) {
        avr_service_interrupts(avr);
    }
    return state;
}

/* Run until a cycle counted from power-up. Returns 0, or simavr's state if the core stopped. */
int board_run(board_t *board, uint64_t until) {
    avr_t *avr = board->avr;
    uint64_t now = board_cycle(board);
    if (until <= now) {
        return 0;
    }
    board->stop = false;
    avr_cycle_timer_register(avr, until - now, on_stop, board);
    while (!board->stop) {
        int state = board_step(board);
        if (avr->run != board->run) { /* simavr's watchdog asks for its own reset, which knows
                                         nothing of this board */
            board_reset(board, WATCHDOG_RESET, true);
            return board_run(board, until);
        }
        if (state == cpu_Crashed || state == cpu_Done || state == cpu_Stopped) {
            avr_cycle_timer_cancel(avr, on_stop, board);
            return state;
        }
    }
    avr_cycle_timer_cancel(avr, on_stop, board);
    return 0;
}

uint64_t board_cycle(const board_t *board) { return board->base + board->avr->cycle; }

uint64_t board_sleep_cycles(const board_t *board) { return board->sleep_cycles; }

uint32_t board_pc(const board_t *board) { return board->avr->pc; }

void board_start_at(board_t *board, uint32_t start) { board->start = start; }

void board_flash(const board_t *board, uint8_t *into) {
    memcpy(into, board->avr->flash, board->chip->flash_bytes);
}

void board_ram(const board_t *board, uint8_t *into, uint16_t from, uint16_t count) {
    memcpy(into, board->avr->data + from, count);
}

void board_poke(board_t *board, uint16_t address, uint8_t value) {
    board->avr->data[address] = value;
}

size_t board_event_count(const board_t *board) { return board->log.count; }

size_t board_events(const board_t *board, event_t *into, size_t from, size_t count) {
    if (from >= board->log.count) {
        return 0;
    }
    size_t left = board->log.count - from;
    size_t n = count < left ? count : left;
    memcpy(into, board->log.items + from, n * sizeof(event_t));
    return n;
}

void board_forget_events(board_t *board) { board->log.count = 0; }

void board_log(board_t *board, uint32_t mask) { board->log.mask = mask; }
