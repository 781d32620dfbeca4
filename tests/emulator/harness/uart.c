/*
 * USART0, and USART1 where there is one, as data sheet 19: a receive buffer of two bytes behind the
 * shift register, a transmit buffer of one byte before it, interrupts that stand as long as their
 * condition does.
 *
 * Stricter than the chip on one point: a byte that completes while two stand unread is lost, where
 * the chip keeps it in the shift register until the next start bit.
 */
#include "harness.h"

#include <stdlib.h>
#include <string.h>

/* From UCSRnA on; USART1 lies eight behind USART0 (Register Summary). */
enum { UCSRA = 0, UCSRB = 1, UCSRC = 2, UBRRL = 4, UBRRH = 5, UDR = 6 };
enum { USART0_REGISTERS = 0xC0, USART1_REGISTERS = 0xC8 };
enum { RXC = 0x80, TXC = 0x40, UDRE = 0x20, DOR = 0x08, U2X = 0x02 };
enum { RXCIE = 0x80, TXCIE = 0x40, UDRIE = 0x20, RXEN = 0x10, TXEN = 0x08 };

/* Start bit, eight bits, one stop bit (19.3.1 for the rate). */
static uint32_t cycles_per_byte(const uart_t *uart) {
    const uint8_t *data = uart->board->avr->data + uart->registers;
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
static void levels(const uart_t *uart) {
    uint8_t enable = uart->board->avr->data[uart->registers + UCSRB];
    settle(uart->board, &uart->simavr->rxc, enable & RXCIE && uart->waiting);
    settle(uart->board, &uart->simavr->udrc, enable & UDRIE && !uart->holding);
}

void uart_levels(board_t *board) {
    for (size_t i = 0; i < MOST_UARTS; i++) {
        if (board->uarts[i].simavr) {
            levels(&board->uarts[i]);
        }
    }
}

static bool is_line(const uart_t *uart) { return uart == &uart->board->uarts[LINE]; }

static uint8_t on_status_read(avr_t *avr, avr_io_addr_t address, void *param) {
    const uart_t *uart = param;
    uint8_t value = avr->data[address] & (U2X | 1);
    value |= (uint8_t)((uart->waiting ? RXC : 0) | (uart->complete ? TXC : 0) |
                       (uart->holding ? 0 : UDRE) | (uart->overrun ? DOR : 0));
    return value;
}

static void on_status_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    uart_t *uart = param;
    if (value & TXC) {
        uart->complete = false;
    }
    avr->data[address] = value & (U2X | 1);
}

static void on_control_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    uart_t *uart = param;
    avr->data[address] = value;
    if (!(value & RXEN)) {
        uart->waiting = 0;
    }
    levels(uart);
}

static void on_plain_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    (void)param;
    avr->data[address] = value;
}

static uint8_t on_data_read(avr_t *avr, avr_io_addr_t address, void *param) {
    uart_t *uart = param;
    (void)address;
    if (!uart->waiting) {
        return uart->last;
    }
    uart->last = uart->fifo[0].byte;
    if (!is_line(uart)) {
        log_event(uart->board, EVENT_RX_READ, uart->last,
                  (uint32_t)(avr->cycle - uart->fifo[0].cycle));
    }
    uart->fifo[0] = uart->fifo[1];
    uart->waiting--;
    uart->overrun = false;
    levels(uart);
    return uart->last;
}

static void deliver(uart_t *uart, uint64_t cycle, uint8_t byte) {
    if (!(uart->board->avr->data[uart->registers + UCSRB] & RXEN)) {
        return;
    }
    if (uart->waiting == RX_DEPTH) {
        uart->overrun = true;
        log_event_at(uart->board, cycle, is_line(uart) ? EVENT_LINE_LOST : EVENT_RX_LOST, byte, 0);
        return;
    }
    uart->fifo[uart->waiting++] = (arrival_t){cycle, byte};
    levels(uart);
}

static avr_cycle_count_t on_arrival(avr_t *avr, avr_cycle_count_t when, void *param) {
    uart_t *uart = param;
    (void)avr;
    deliver(uart, when, uart->queue[uart->head].byte);
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
void uart_send(uart_t *uart, uint64_t first_end, uint32_t spacing, const uint8_t *bytes,
               size_t count) {
    board_t *board = uart->board;
    uint32_t step = spacing ? spacing : cycles_per_byte(uart);
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
        avr_cycle_timer_register(board->avr, uart->queue[uart->head].cycle - now, on_arrival, uart);
    }
}

void board_send(board_t *board, uint64_t first_end, uint32_t spacing, const uint8_t *bytes,
                size_t count) {
    uart_send(&board->uarts[HOST], first_end, spacing, bytes, count);
}

/* Noise, or whatever else comes on the line of a board that follows, at its chip's rate. */
void board_line(board_t *board, const uint8_t *bytes, size_t count) {
    uart_t *uart = &board->uarts[board->uarts[LINE].simavr ? LINE : HOST];
    uart_send(uart, 0, 0, bytes, count);
}

size_t board_sending(const board_t *board) {
    return board->uarts[HOST].count - board->uarts[HOST].head;
}

static void hand_on(uart_t *uart, uint64_t cycle, uint8_t byte) {
    board_t *board = uart->board;
    log_event_at(board, cycle, is_line(uart) ? EVENT_LINE : EVENT_TX, byte, 0);
    if (board->pty >= 0 && !is_line(uart)) {
        pty_put(board, byte);
    }
    wires_carry(board, is_line(uart) ? LINE : HOST, cycle, byte, cycles_per_byte(uart));
}

static avr_cycle_count_t on_sent(avr_t *avr, avr_cycle_count_t when, void *param) {
    uart_t *uart = param;
    hand_on(uart, when, uart->shift);
    if (uart->holding) {
        uart->shift = uart->hold;
        uart->holding = false;
        levels(uart);
        return when + cycles_per_byte(uart);
    }
    uart->shifting = false;
    uart->complete = true;
    if (avr->data[uart->registers + UCSRB] & TXCIE) {
        avr_raise_interrupt(avr, &uart->simavr->txc);
    }
    return 0;
}

static void on_data_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    uart_t *uart = param;
    (void)address;
    if (!(avr->data[uart->registers + UCSRB] & TXEN)) {
        return;
    }
    if (!uart->shifting) {
        uart->shifting = true;
        uart->shift = value;
        avr_cycle_timer_register(avr, cycles_per_byte(uart), on_sent, uart);
    } else {
        uart->hold = value;
        uart->holding = true;
    }
    levels(uart);
}

static void attach(uart_t *uart) {
    board_t *board = uart->board;
    uint16_t at = uart->registers;
    watch_read(board, at + UCSRA, on_status_read);
    watch_write(board, at + UCSRA, on_status_write);
    watch_write(board, at + UCSRB, on_control_write);
    watch_write(board, at + UCSRC, on_plain_write);
    watch_write(board, at + UBRRL, on_plain_write);
    watch_write(board, at + UBRRH, on_plain_write);
    watch_read(board, at + UDR, on_data_read);
    watch_write(board, at + UDR, on_data_write);
    for (uint16_t n = at; n <= at + UDR; n++) { /* all of them know which it is */
        board->avr->io[AVR_DATA_TO_IO(n)].r.param = uart;
        board->avr->io[AVR_DATA_TO_IO(n)].w.param = uart;
    }
    board->avr->data[at + UCSRC] = 6; /* 8N1 after reset, 19.10.4 */
}

void uart_attach(board_t *board) {
    for (avr_io_t *io = board->avr->io_port; io; io = io->next) {
        char name = io->kind && !strcmp(io->kind, "uart") ? ((avr_uart_t *)io)->name : 0;
        if (name == '0' || name == '1') {
            uart_t *uart = &board->uarts[name == '0' ? HOST : LINE];
            uart->board = board;
            uart->simavr = (avr_uart_t *)io;
            uart->registers = name == '0' ? USART0_REGISTERS : USART1_REGISTERS;
            attach(uart);
        }
    }
}
