/*
 * USART0 as data sheet 19: a receive buffer of two bytes behind the shift register, a transmit
 * buffer of one byte before it, interrupts that stand as long as their condition does.
 *
 * Stricter than the chip on one point: a byte that completes while two stand unread is lost, where
 * the chip keeps it in the shift register until the next start bit.
 */
#include "harness.h"

#include <stdlib.h>
#include <string.h>

enum { UCSRA = 0xC0, UCSRB = 0xC1, UCSRC = 0xC2, UBRRL = 0xC4, UBRRH = 0xC5, UDR = 0xC6 };
enum { RXC = 0x80, TXC = 0x40, UDRE = 0x20, DOR = 0x08, U2X = 0x02 };
enum { RXCIE = 0x80, TXCIE = 0x40, UDRIE = 0x20, RXEN = 0x10, TXEN = 0x08 };

/* Start bit, eight bits, one stop bit (19.3.1 for the rate). */
static uint32_t cycles_per_byte(const board_t *board) {
    const uint8_t *data = board->avr->data;
    uint32_t divisor = (uint32_t)(data[UBRRL] | (data[UBRRH] & 15) << 8) + 1;
    return 10 * divisor * (data[UCSRA] & U2X ? 8 : 16);
}

static void settle(board_t *board, avr_int_vector_t *vector, bool wanted) {
    if (!wanted) {
        unraise(vector);
    } else if (!vector->pending) {
        avr_raise_interrupt(board->avr, vector);
    }
}

/* RXC and UDRE interrupts stand as long as their flag does. */
void uart_levels(board_t *board) {
    const uart_t *uart = &board->uart;
    uint8_t enable = board->avr->data[UCSRB];
    settle(board, &uart->simavr->rxc, enable & RXCIE && uart->waiting);
    settle(board, &uart->simavr->udrc, enable & UDRIE && !uart->holding);
}

static uint8_t on_status_read(avr_t *avr, avr_io_addr_t address, void *param) {
    const uart_t *uart = &((board_t *)param)->uart;
    uint8_t value = avr->data[address] & (U2X | 1);
    value |= (uint8_t)((uart->waiting ? RXC : 0) | (uart->complete ? TXC : 0) |
                       (uart->holding ? 0 : UDRE) | (uart->overrun ? DOR : 0));
    return value;
}

static void on_status_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    uart_t *uart = &((board_t *)param)->uart;
    if (value & TXC) {
        uart->complete = false;
    }
    avr->data[address] = value & (U2X | 1);
}

static void on_control_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    board_t *board = param;
    avr->data[address] = value;
    if (!(value & RXEN)) {
        board->uart.waiting = 0;
    }
    uart_levels(board);
}

static void on_plain_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    (void)param;
    avr->data[address] = value;
}

static uint8_t on_data_read(avr_t *avr, avr_io_addr_t address, void *param) {
    board_t *board = param;
    uart_t *uart = &board->uart;
    (void)address;
    if (!uart->waiting) {
        return uart->last;
    }
    uart->last = uart->fifo[0].byte;
    log_event(board, EVENT_RX_READ, uart->last, (uint32_t)(avr->cycle - uart->fifo[0].cycle));
    uart->fifo[0] = uart->fifo[1];
    uart->waiting--;
    uart->overrun = false;
    uart_levels(board);
    return uart->last;
}

static void deliver(board_t *board, uint64_t cycle, uint8_t byte) {
    uart_t *uart = &board->uart;
    if (!(board->avr->data[UCSRB] & RXEN)) {
        return;
    }
    if (uart->waiting == RX_DEPTH) {
        uart->overrun = true;
        log_event_at(board, cycle, EVENT_RX_LOST, byte, 0);
        return;
    }
    uart->fifo[uart->waiting++] = (arrival_t){cycle, byte};
    uart_levels(board);
}

static avr_cycle_count_t on_arrival(avr_t *avr, avr_cycle_count_t when, void *param) {
    board_t *board = param;
    uart_t *uart = &board->uart;
    (void)avr;
    deliver(board, when, uart->queue[uart->head].byte);
    uart->head++;
    if (uart->head == uart->count) {
        uart->head = uart->count = 0;
        return 0;
    }
    uint64_t next = uart->queue[uart->head].cycle;
    return next > when ? next : when + 1;
}

/* Put bytes on the wire: the first one's stop bit ends at `first_end` (0: as soon as the line is
 * free), then one every `spacing` cycles (0: at the rate the chip is set to). */
void board_send(board_t *board, uint64_t first_end, uint32_t spacing, const uint8_t *bytes,
                size_t count) {
    uart_t *uart = &board->uart;
    uint32_t step = spacing ? spacing : cycles_per_byte(board);
    uint64_t now = board->avr->cycle;
    uint64_t end = first_end > board->base ? first_end - board->base : 0;
    uint64_t earliest = (uart->line_free > now ? uart->line_free : now) + step;
    end = end > earliest ? end : earliest;
    bool idle = uart->head == uart->count;
    for (size_t i = 0; i < count; i++, end += step) {
        if (uart->count == uart->room) {
            uart->room = uart->room ? 2 * uart->room : 1024;
            uart->queue = realloc(uart->queue, uart->room * sizeof(arrival_t));
        }
        uart->queue[uart->count++] = (arrival_t){end, bytes[i]};
        uart->line_free = end;
    }
    if (idle && count) {
        avr_cycle_timer_register(board->avr, uart->queue[uart->head].cycle - now, on_arrival,
                                 board);
    }
}

size_t board_sending(const board_t *board) { return board->uart.count - board->uart.head; }

static void hand_on(board_t *board, uint64_t cycle, uint8_t byte) {
    log_event_at(board, cycle, EVENT_TX, byte, 0);
    if (board->pty >= 0) {
        pty_put(board, byte);
    }
    for (size_t i = 0; i < board->peer_count; i++) {
        board_t *peer = board->peers[i];
        double seconds =
            (double)(board->base + cycle) / (board->frequency * (1 + board->clock_ppm * 1e-6));
        uint64_t end = (uint64_t)(seconds * peer->frequency * (1 + peer->clock_ppm * 1e-6));
        board_send(peer, end, 1, &byte, 1);
    }
}

static avr_cycle_count_t on_sent(avr_t *avr, avr_cycle_count_t when, void *param) {
    board_t *board = param;
    uart_t *uart = &board->uart;
    hand_on(board, when, uart->shift);
    if (uart->holding) {
        uart->shift = uart->hold;
        uart->holding = false;
        uart_levels(board);
        return when + cycles_per_byte(board);
    }
    uart->shifting = false;
    uart->complete = true;
    if (avr->data[UCSRB] & TXCIE) {
        avr_raise_interrupt(avr, &uart->simavr->txc);
    }
    return 0;
}

static void on_data_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    board_t *board = param;
    uart_t *uart = &board->uart;
    (void)address;
    if (!(avr->data[UCSRB] & TXEN)) {
        return;
    }
    if (!uart->shifting) {
        uart->shifting = true;
        uart->shift = value;
        avr_cycle_timer_register(avr, cycles_per_byte(board), on_sent, board);
    } else {
        uart->hold = value;
        uart->holding = true;
    }
    uart_levels(board);
}

void uart_attach(board_t *board) {
    for (avr_io_t *io = board->avr->io_port; io; io = io->next) {
        if (io->kind && !strcmp(io->kind, "uart") && ((avr_uart_t *)io)->name == '0') {
            board->uart.simavr = (avr_uart_t *)io;
        }
    }
    watch_read(board, UCSRA, on_status_read);
    watch_write(board, UCSRA, on_status_write);
    watch_write(board, UCSRB, on_control_write);
    watch_write(board, UCSRC, on_plain_write);
    watch_write(board, UBRRL, on_plain_write);
    watch_write(board, UBRRH, on_plain_write);
    watch_read(board, UDR, on_data_read);
    watch_write(board, UDR, on_data_write);
    board->avr->data[UCSRC] = 6; /* 8N1 after reset, 19.10.4 */
}
