/*
 * The line to the boards that follow: USART1 at 250,000 baud, 8N1, like the link's; it sends on
 * PD3. Only a board that leads turns it on, so that other shows have the pin to themselves.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

enum {
    ROOM = 32, /* a frame of the state, and some more */
    ON = _BV(TXEN1),
};

static volatile uint8_t queue[ROOM]; /* a ring, full when one place is left */
static volatile uint8_t in;
static volatile uint8_t out;

void bc_hal_line(uint8_t role) {
    UCSR1B = 0;
    in = 0;
    out = 0;
    if (role == BC_ROLE_LEADS) {
        PRR1 &= (uint8_t)~_BV(PRUSART1);
        UBRR1 = 3; /* exact at 16 MHz (Examples of Baud Rate Setting) */
        UCSR1A = 0;
        UCSR1C = _BV(UCSZ11) | _BV(UCSZ10);
        UCSR1B = ON;
    }
}

uint8_t bc_line_room(void) { return (uint8_t)(ROOM - 1 - (uint8_t)(in - out) % ROOM); }

void bc_line_send(uint8_t byte) {
    queue[in] = byte;
    in = (uint8_t)((in + 1) % ROOM);
    UCSR1B = ON | _BV(UDRIE1);
}

/* After the last byte it turns itself off. */
ISR(USART1_UDRE_vect) {
    UDR1 = queue[out];
    out = (uint8_t)((out + 1) % ROOM);
    if (out == in) {
        UCSR1B = ON;
    }
}
