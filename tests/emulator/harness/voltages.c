/* Voltages at the inputs of simavr's own converter, and at the chip's supply. */
#include "harness.h"

static void raise(const board_t *board, uint8_t input) {
    avr_raise_irq(avr_io_getirq(board->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + input),
                  board->voltages_mv[input]);
}

void board_voltage(board_t *board, uint8_t input, uint16_t millivolts) {
    board->voltages_mv[input] = millivolts;
    raise(board, input);
}

void board_supply(board_t *board, uint16_t millivolts) {
    board->supply_mv = millivolts;
    board->avr->vcc = board->avr->avcc = board->avr->aref = millivolts;
}

void voltages_attach(board_t *board) {
    board_supply(board, board->supply_mv);
    for (uint8_t input = 0; input < MOST_VOLTAGES; input++) {
        raise(board, input);
    }
}
