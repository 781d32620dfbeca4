/*
 * EEPROM (8.6.3). A write takes 3.4 ms and goes on by itself; its end wakes the processor (start.c), so that the next can begin at once.
 * The write begins within four cycles of EEMPE, so no interrupt may come between.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

uint8_t bc_hal_cell_read(uint16_t address)
{
    EEAR = address;
    EECR |= _BV(EERE);
    return EEDR;
}

void bc_hal_cell_write(uint16_t address, uint8_t value)
{
    EEAR = address;
    EEDR = value;
    cli();
    EECR = _BV(EERIE) | _BV(EEMPE); /* EEPM 0: erase and write in one operation, as one cut must not leave half of it */
    EECR = _BV(EERIE) | _BV(EEMPE) | _BV(EEPE);
    sei();
}

bool bc_hal_cell_busy(void)
{
    return (EECR & _BV(EEPE)) != 0;
}
