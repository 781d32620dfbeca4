/*
 * The line between boards: USART1, 8N1, at 250,000 baud like the link's over a cable, or at the
 * rate of the radio in its place (USART, Baud Rate Generation). A board that leads sends on PD3,
 * one that follows receives on PD2 (Alternate Functions of Port D). In other shows USART1 is off
 * and has no clock (PRR1, Power Reduction Register), so both pins are free.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

enum {
    ROOM = 64, /* two frames of the state, and some more */
    SENDS = _BV(TXEN1),
    RECEIVES = _BV(RXEN1) | _BV(RXCIE1)
};

/* A board either leads or follows: bytes to send, or bytes that came. A ring, full when one place
 * is left. */
static volatile uint8_t ring[ROOM];
static volatile uint8_t in;
static volatile uint8_t out;
static bool is_heard;

static const uint8_t divisors[BC_RATES] = BC_RATE_DIVISORS;

/*
 * The role of the show that begins; 0 between two. The receiver's pin is pulled up, as an open line
 * is silent.
 */
void bc_hal_line(uint8_t role, uint8_t rate) {
    PRR1 &= (uint8_t)~_BV(PRUSART1);
    UCSR1B = 0;
    in = 0;
    out = 0;
    is_heard = role == BC_ROLE_FOLLOWS;
    if (role == BC_ROLE_LEADS || is_heard) {
        UBRR1 = divisors[rate];
        UCSR1A = BC_RATES_DOUBLE >> rate & 1 ? _BV(U2X1) : 0;
        UCSR1C = _BV(UCSZ11) | _BV(UCSZ10);
        if (role == BC_ROLE_LEADS) {
            UCSR1B = SENDS;
        } else {
            PORTD |= _BV(PORTD2);
            UCSR1B = RECEIVES;
        }
    } else {
        PRR1 |= _BV(PRUSART1);
    }
}

static uint8_t waiting(void) { return (uint8_t)(in - out) % ROOM; }

uint8_t bc_line_room(void) { return (uint8_t)(ROOM - 1 - waiting()); }

void bc_line_send(uint8_t byte) {
    ring[in] = byte;
    in = (uint8_t)((in + 1) % ROOM);
    UCSR1B = SENDS | _BV(UDRIE1);
}

/* After the last byte it turns itself off (USART Data Register Empty interrupt). */
ISR(USART1_UDRE_vect) {
    uint8_t place = out;
    UDR1 = ring[place];
    place = (uint8_t)((place + 1) % ROOM);
    out = place;
    if (place == in) {
        UCSR1B = SENDS;
    }
}

/* Where the ring is full the byte is lost: the frame's check finds it, and the next frame says it
 * all again. */
ISR(USART1_RX_vect) {
    uint8_t place = in;
    uint8_t byte = UDR1;
    ring[place] = byte;
    place = (uint8_t)((place + 1) % ROOM);
    if (place != out) {
        in = place;
    }
    if (byte == 0) {
        NEWS |= _BV(NEWS_LINE);
    }
}

void line_listen(void) {
    while (is_heard && waiting() > 0) {
        uint8_t byte = ring[out];
        out = (uint8_t)((out + 1) % ROOM);
        bc_line_byte(byte, bc_hal_moment());
    }
}
