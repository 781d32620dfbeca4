/* Port pins: what the chip drives is logged, what the outside drives is set at given cycles. */
#include "harness.h"

#include <stdlib.h>

static void on_port(struct avr_irq_t *irq, uint32_t value, void *param) {
    board_t *board = param;
    for (int i = 0; board->chip->ports[i]; i++) {
        if (irq == avr_io_getirq(board->avr, AVR_IOCTL_IOPORT_GETIRQ(board->chip->ports[i]),
                                 IOPORT_IRQ_REG_PORT) &&
            board->port[i] != value) {
            board->port[i] = (uint8_t)value;
            log_event(board, EVENT_PORT, (uint16_t)i,
                      (uint32_t)(board->port[i] | board->ddr[i] << 8));
        }
    }
}

static void on_direction(struct avr_irq_t *irq, uint32_t value, void *param) {
    board_t *board = param;
    for (int i = 0; board->chip->ports[i]; i++) {
        if (irq == avr_io_getirq(board->avr, AVR_IOCTL_IOPORT_GETIRQ(board->chip->ports[i]),
                                 IOPORT_IRQ_DIRECTION_ALL) &&
            board->ddr[i] != value) {
            board->ddr[i] = (uint8_t)value;
            log_event(board, EVENT_PORT, (uint16_t)i,
                      (uint32_t)(board->port[i] | board->ddr[i] << 8));
        }
    }
}

static avr_cycle_count_t on_press(avr_t *avr, avr_cycle_count_t when, void *param) {
    board_t *board = param;
    for (size_t i = 0; i < board->press_count; i++) {
        const press_t *press = &board->presses[i];
        if (press->cycle == when) {
            avr_raise_irq(avr_io_getirq(avr,
                                        AVR_IOCTL_IOPORT_GETIRQ(board->chip->ports[press->pin / 8]),
                                        press->pin % 8),
                          press->level);
            timers_edge(board, press->pin, press->level);
        }
    }
    uint64_t next = 0;
    for (size_t i = 0; i < board->press_count; i++) {
        uint64_t cycle = board->presses[i].cycle;
        if (cycle > when && (!next || cycle < next)) {
            next = cycle;
        }
    }
    return next;
}

/* From `cycle` on the outside drives a pin to a level. */
void board_press(board_t *board, uint64_t cycle, uint8_t pin, uint8_t level) {
    uint64_t now = board->avr->cycle;
    uint64_t at = cycle > board->base + now ? cycle - board->base : now + 1;
    if (board->press_count == board->press_room) {
        board->press_room = board->press_room ? 2 * board->press_room : 64;
        board->presses = realloc(board->presses, board->press_room * sizeof(press_t));
    }
    board->presses[board->press_count++] = (press_t){at, pin, level};
    avr_cycle_timer_cancel(board->avr, on_press, board);
    uint64_t next = at;
    for (size_t i = 0; i < board->press_count; i++) {
        uint64_t other = board->presses[i].cycle;
        if (other > now && other < next) {
            next = other;
        }
    }
    avr_cycle_timer_register(board->avr, next - now, on_press, board);
}

void pins_attach(board_t *board) {
    for (int i = 0; board->chip->ports[i]; i++) {
        board->port[i] = board->ddr[i] = 0;
        uint32_t base = AVR_IOCTL_IOPORT_GETIRQ(board->chip->ports[i]);
        avr_irq_register_notify(avr_io_getirq(board->avr, base, IOPORT_IRQ_REG_PORT), on_port,
                                board);
        avr_irq_register_notify(avr_io_getirq(board->avr, base, IOPORT_IRQ_DIRECTION_ALL),
                                on_direction, board);
    }
}
