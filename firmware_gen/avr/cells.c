/*
 * EEPROM (8.6.3). A write takes 3.4 ms and goes on by itself; its end wakes the processor, so that
 * the next can begin at once.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

ISR(EE_READY_vect) {
    EECR &= (uint8_t)~_BV(EERIE);
    NEWS |= _BV(NEWS_CELL);
}

uint8_t bc_hal_cell_read(uint16_t address) {
    EEAR = address;
    EECR |= _BV(EERE);
    return EEDR;
}

/*
 * The write begins within four cycles of EEMPE (8.6.3): one instruction each, and no interrupt
 * comes between. EEPM is 0: erase and write in one operation, as one cut must not leave half of it.
 */
void bc_hal_cell_write(uint16_t address, uint8_t value) {
    EEAR = address;
    EEDR = value;
    cli();
    EECR = _BV(EERIE) | _BV(EEMPE);
    EECR |= _BV(EEPE);
    sei();
}

bool bc_hal_cell_busy(void) { return (EECR & _BV(EEPE)) != 0; }
