/*
 * The lamps' channels of the ATmega2560: timers 0 and 2, and timers 3, 4 and 5 of 16 bits in their
 * phase correct mode of 8 bits (Waveform Generation Mode 1), which count alike. The high byte of a
 * compare register of 16 bits is what was last written to any high byte of its timer (Accessing
 * 16-bit Registers): 0, as only low bytes are written.
 */
#include "chip.h"
#include "parts.h"

#include <avr/io.h>
#include <avr/pgmspace.h>

/* In the order of the channels' names: OC0A, OC0B, OC2A and so on. */
static const uint8_t pins[BC_LAMPS] PROGMEM = BC_LAMP_PINS;

uint8_t channel_pin(uint8_t channel) { return pgm_read_byte(&pins[channel]); }

static void disconnect(void) {
    TCCR0A = _BV(WGM00);
    TCCR2A = _BV(WGM20);
    TCCR3A = _BV(WGM30);
    TCCR4A = _BV(WGM40);
    TCCR5A = _BV(WGM50);
}

void channels_start(void) {
    GTCCR = _BV(TSM) | _BV(PSRASY) | _BV(PSRSYNC); /* both prescalers stand meanwhile */
    disconnect();
    TCCR0B = _BV(CS01); /* clock / 8 */
    TCCR2B = _BV(CS21);
    TCCR3B = _BV(CS31);
    TCCR4B = _BV(CS41);
    TCCR5B = _BV(CS51);
    TCNT0 = 0;
    TCNT2 = 0;
    TCNT3 = 0;
    TCNT4 = 0;
    TCNT5 = 0;
    GTCCR = 0;
}

void channels_clear(void) {
    static const uint8_t dark[BC_LAMPS];
    disconnect();
    channels_set(dark);
}

/* Where a timer of 16 bits connects its channels A, B and C: COMnA1, COMnB1, COMnC1 are the same
 * bits in each. */
static void connect_16(volatile uint8_t *tccra, uint8_t channel) {
    static const uint8_t bits[] PROGMEM = {_BV(COM3A1), _BV(COM3B1), _BV(COM3C1)};
    *tccra |= pgm_read_byte(&bits[channel]);
}

/* Not inverted (COMx1). */
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
    case 3:
        TCCR2A |= _BV(COM2B1);
        break;
    case 4:
    case 5:
    case 6:
        connect_16(&TCCR3A, (uint8_t)(channel - 4));
        break;
    case 7:
    case 8:
    case 9:
        connect_16(&TCCR4A, (uint8_t)(channel - 7));
        break;
    default:
        connect_16(&TCCR5A, (uint8_t)(channel - 10));
        break;
    }
}
