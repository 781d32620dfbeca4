/*
 * Voltages at the inputs of simavr's own converter, and at the chip's supply. simavr holds eight
 * voltages and knows ADC8 to ADC15 (Input Channel Selections, MUX5 set) of no chip: so the one that
 * a conversion looks at is put in the place of the one eight below as it starts.
 */
#include "harness.h"

#include <string.h>

enum { ADCSRB_ADDRESS = 0x7B, ADMUX_ADDRESS = 0x7C, MUX5 = 0x08, EIGHT = 8 };

static void on_conversion(struct avr_irq_t *irq, uint32_t value, void *param) {
    board_t *board = param;
    const uint8_t *data = board->avr->data;
    unsigned place = data[ADMUX_ADDRESS] % EIGHT;
    unsigned input = place + (data[ADCSRB_ADDRESS] & MUX5 ? EIGHT : 0);
    (void)irq;
    (void)value;
    avr_raise_irq(avr_io_getirq(board->avr, AVR_IOCTL_ADC_GETIRQ, (int)(ADC_IRQ_ADC0 + place)),
                  board->voltages_mv[input]);
}

static void know_second_eight(board_t *board) {
    for (avr_io_t *io = board->avr->io_port; io; io = io->next) {
        avr_adc_t *adc = (avr_adc_t *)io;
        if (!strcmp(io->kind, "adc")) {
            memcpy(adc->muxmode + 4 * EIGHT, adc->muxmode, EIGHT * sizeof adc->muxmode[0]);
        }
    }
}

void board_voltage(board_t *board, uint8_t input, uint16_t millivolts) {
    board->voltages_mv[input] = millivolts;
}

void board_supply(board_t *board, uint16_t millivolts) {
    board->supply_mv = millivolts;
    board->avr->vcc = board->avr->avcc = board->avr->aref = millivolts;
}

void voltages_attach(board_t *board) {
    board_supply(board, board->supply_mv);
    know_second_eight(board);
    avr_irq_register_notify(avr_io_getirq(board->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER),
                            on_conversion, board);
}
