/*
 * The line between boards: USART1, 8N1, at 250,000 baud like the link's over a cable, or at the
 * rate of the radio in its place (USART, Baud Rate Generation). A board that leads sends on PD3,
 * one that follows receives on PD2 (Alternate Functions of Port D). Where boards that follow answer
 * both pins are in use on either. In other shows USART1 is off and has no clock (PRR1, Power
 * Reduction Register), so both pins are free.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

enum {
    ROOM = 64, /* two frames of the state, and some more; the longest reply */
    SENDS = _BV(TXEN1),
    RECEIVES = _BV(RXEN1) | _BV(RXCIE1)
};

/* A ring, full when one place is left. */
struct ring {
    uint8_t bytes[ROOM];
    uint8_t in;
    uint8_t out;
};

static volatile struct ring heard;
static volatile struct ring to_say;
static uint8_t works; /* UCSR1B while nothing is to be sent */

static const uint8_t divisors[BC_RATES] = BC_RATE_DIVISORS;

static uint8_t waiting(const volatile struct ring *ring) {
    return (uint8_t)(ring->in - ring->out) % ROOM;
}

static uint8_t next(uint8_t place) { return (uint8_t)((place + 1) % ROOM); }

/*
 * The role of the show that begins; 0 between two. What is still to be said is said first: the last
 * two bytes are with the transmitter, which ends by itself after them (Disabling the Transmitter).
 * The receiver's pin is pulled up, as an open line is silent.
 */
void bc_hal_line(uint8_t role, uint8_t rate, bool both_ways) {
    bool leads = role == BC_ROLE_LEADS;
    bool follows = role == BC_ROLE_FOLLOWS;
    while (waiting(&to_say) > 0) {
        /* at most 3 ms, and nothing plays */
    }
    PRR1 &= (uint8_t)~_BV(PRUSART1);
    UCSR1B = 0;
    heard.in = heard.out = 0;
    to_say.in = to_say.out = 0;
    works = (leads || (follows && both_ways) ? SENDS : 0) |
            (follows || (leads && both_ways) ? RECEIVES : 0);
    if (works == 0) {
        PRR1 |= _BV(PRUSART1);
        return;
    }
    UBRR1 = divisors[rate];
    UCSR1A = BC_RATES_DOUBLE >> rate & 1 ? _BV(U2X1) : 0;
    UCSR1C = _BV(UCSZ11) | _BV(UCSZ10);
    if (works & RECEIVES) {
        PORTD |= _BV(PORTD2);
    }
    UCSR1B = works;
}

uint8_t bc_line_room(void) { return (uint8_t)(ROOM - 1 - waiting(&to_say)); }

void bc_line_send(uint8_t byte) {
    to_say.bytes[to_say.in] = byte;
    to_say.in = next(to_say.in);
    UCSR1B = works | _BV(UDRIE1);
}

bool bc_hal_line_is_free(void) {
    return waiting(&to_say) == 0 &&
           ticks_until_frame() > (BC_PASS_MOMENTS + TICK_MOMENTS - 1) / TICK_MOMENTS;
}

/* After the last byte it turns itself off (USART Data Register Empty interrupt). */
ISR(USART1_UDRE_vect) {
    uint8_t place = to_say.out;
    UDR1 = to_say.bytes[place];
    place = next(place);
    to_say.out = place;
    if (place == to_say.in) {
        UCSR1B = works;
    }
}

/* Where the ring is full the byte is lost: the frame's check finds it, and the next frame says it
 * all again. */
ISR(USART1_RX_vect) {
    uint8_t place = heard.in;
    uint8_t byte = UDR1;
    heard.bytes[place] = byte;
    place = next(place);
    if (place != heard.out) {
        heard.in = place;
    }
    if (byte == 0) {
        NEWS |= _BV(NEWS_LINE);
    }
}

void line_listen(void) {
    while (waiting(&heard) > 0) {
        uint8_t byte = heard.bytes[heard.out];
        heard.out = next(heard.out);
        bc_line_byte(byte, bc_hal_moment());
    }
    bc_line_turn();
}
