/* The lamps' channels of the ATmega328P: timers 0 and 2. */
#include "chip.h"
#include "parts.h"

#include <avr/io.h>
#include <avr/pgmspace.h>

/* In the order of the channels' names: OC0A, OC0B, OC2A and so on. */
static const uint8_t pins[BC_LAMPS] PROGMEM = BC_LAMP_PINS;

uint8_t channel_pin(uint8_t channel) { return pgm_read_byte(&pins[channel]); }

void channels_start(void) {
    GTCCR = _BV(TSM) | _BV(PSRASY) | _BV(PSRSYNC); /* both prescalers stand meanwhile (17.2) */
    TCCR0A = _BV(WGM00);
    TCCR2A = _BV(WGM20);
    TCCR0B = _BV(CS01); /* clock / 8 */
    TCCR2B = _BV(CS21);
    TCNT0 = 0;
    TCNT2 = 0;
    GTCCR = 0;
}

void channels_clear(void) {
    static const uint8_t dark[BC_LAMPS];
    TCCR0A = _BV(WGM00);
    TCCR2A = _BV(WGM20);
    channels_set(dark);
}

/* Not inverted (COMx1, 15.9.1 and 18.11.1). */
void channel_connect(uint8_t channel) {
    switch (channel) {
    case 0:
        TCCR0A |= _BV(COM0A1);
        break;
    case 1:
        TCCR0A |= _BV(COM0B1);
        break;
    case 2:
        TCCR2A |= _BV(COM2A1);
        break;
    default:
        TCCR2A |= _BV(COM2B1);
        break;
    }
}
