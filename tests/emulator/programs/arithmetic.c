/*
 * The core's arithmetic, run alone on the chip. EEPROM: which function (cell 0), then rows of three
 * numbers; RAM: a result for each row; GPIOR0: 1 when all are there. What the functions must give
 * stands in test_emulator_arithmetic.py.
 */
#include <stdint.h>

#include "bc_laws.h"
#include "bc_math.h"

#include <avr/eeprom.h>
#include <avr/io.h>

enum { ROWS = 85, FIRST_ROW = 4 };

struct row {
    uint32_t a;
    uint32_t b;
    uint32_t c;
};

volatile uint32_t results[ROWS] __attribute__((used));

static uint16_t crc_step(uint16_t before, uint8_t byte) {
    struct bc_crc crc = {(uint8_t)before, (uint8_t)(before >> 8)};
    crc = bc_crc(crc, byte);
    return bc_u16(crc.low, crc.high);
}

static uint32_t result(uint8_t function, const struct row *row) {
    struct bc_law law = {(uint8_t)row->a, (uint16_t)(row->a >> 8), (uint16_t)row->c,
                         (uint16_t)(row->c >> 16)};
    struct bc_coefficients found;
    switch (function) {
    case 0:
        return (uint32_t)bc_scale((int32_t)row->a, row->b);
    case 1:
        return bc_quotient(row->a, row->b, row->c);
    case 2:
        return bc_root(row->a, (uint8_t)row->b);
    case 3:
        return bc_product((uint16_t)row->a, (uint16_t)row->b);
    case 4:
        return bc_share((uint16_t)row->a, (uint16_t)row->b);
    case 5:
        return bc_progress(row->a, row->b);
    case 6:
        return bc_cube((uint16_t)row->a);
    case 7:
        return crc_step((uint16_t)row->a, (uint8_t)row->b);
    case 8:
        return bc_law_position(&law, row->b);
    case 9:
        return bc_law_slope(&law, row->b);
    default:
        bc_law_coefficients(&law, &found);
        return row->b == 0 ? found.speed : row->b == 1 ? found.acceleration : found.overlap;
    }
}

int main(void) {
    struct row row;
    uint8_t function = eeprom_read_byte((const uint8_t *)0);
    for (uint8_t n = 0; n < ROWS; n++) {
        eeprom_read_block(&row, (const void *)(FIRST_ROW + n * sizeof row), sizeof row);
        results[n] = result(function, &row);
    }
    GPIOR0 = 1; /* done */
    for (;;) {
    }
}
