/*
 * EEPROM as data sheet 8.6.3: EEPE stays set for the whole write, the ready interrupt stands while
 * it is clear, the processor halts four cycles for a read and two for the start of a write.
 */
#include "harness.h"

#include <string.h>

enum { EECR = 0x3F, EEDR = 0x40, EEARL = 0x41, EEARH = 0x42 };
enum { EERE = 1, EEPE = 2, EEMPE = 4, EERIE = 8, EEPM = 0x30 };

/* Table 8-1: erase and write 3.4 ms, erase only and write only 1.8 ms each. */
static uint32_t write_cycles(const board_t *board) {
    uint32_t us = board->store.mode ? 1800 : 3400;
    return (uint32_t)((uint64_t)us * board->frequency / 1000000);
}

static uint8_t outcome(const store_t *store) {
    uint8_t old = store->cells[store->address];
    if (store->mode == 0x10) {
        return 0xFF;
    }
    return store->mode == 0x20 ? (uint8_t)(old & store->data) : store->data;
}

void store_levels(board_t *board) {
    store_t *store = &board->store;
    bool wanted = board->avr->data[EECR] & EERIE && !store->busy;
    if (!wanted) {
        unraise(&store->simavr->ready);
    } else if (!store->simavr->ready.pending) {
        avr_raise_interrupt(board->avr, &store->simavr->ready);
    }
}

static avr_cycle_count_t on_written(avr_t *avr, avr_cycle_count_t when, void *param) {
    board_t *board = param;
    store_t *store = &board->store;
    uint8_t old = store->cells[store->address];
    (void)avr;
    store->cells[store->address] = outcome(store);
    store->busy = false;
    log_event_at(board, when, EVENT_EEPROM, store->address,
                 (uint32_t)(old | store->cells[store->address] << 8));
    store_levels(board);
    return 0;
}

static avr_cycle_count_t on_master_end(avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)when;
    (void)param;
    avr->data[EECR] &= (uint8_t)~EEMPE;
    return 0;
}

static uint8_t on_control_read(avr_t *avr, avr_io_addr_t address, void *param) {
    const board_t *board = param;
    return (uint8_t)((avr->data[address] & ~(EEPE | EERE)) | (board->store.busy ? EEPE : 0));
}

static void on_control_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    board_t *board = param;
    store_t *store = &board->store;
    bool master = avr->data[address] & EEMPE;
    uint16_t where =
        (uint16_t)((avr->data[EEARL] | avr->data[EEARH] << 8) % board->chip->eeprom_bytes);
    avr->data[address] = value & (EEPM | EERIE | (master ? 0 : EEMPE));
    if (value & EEMPE && !master) {
        avr_cycle_timer_register(avr, 5, on_master_end, board);
    }
    if (value & EEPE && master && !store->busy) {
        store->busy = true;
        store->address = where;
        store->data = avr->data[EEDR];
        store->mode = value & EEPM;
        avr->cycle += 2;
        avr_cycle_timer_register(avr, write_cycles(board), on_written, board);
    }
    if (value & EERE && !store->busy) {
        avr->data[EEDR] = store->cells[where];
        avr->cycle += 4;
    }
    store_levels(board);
}

void board_eeprom(const board_t *board, uint8_t *into) {
    memcpy(into, board->store.cells, board->chip->eeprom_bytes);
}

bool board_writing(const board_t *board) { return board->store.busy; }

/* What a cell may hold whose write was cut: any value. */
void board_tear(board_t *board, uint8_t value) {
    if (board->store.busy) {
        board->store.cells[board->store.address] = value;
    }
}

void store_attach(board_t *board) {
    for (avr_io_t *io = board->avr->io_port; io; io = io->next) {
        if (io->kind && !strcmp(io->kind, "eeprom")) {
            board->store.simavr = (avr_eeprom_t *)io;
        }
    }
    watch_read(board, EECR, on_control_read);
    watch_write(board, EECR, on_control_write);
}
