/*
 * The link's port: USART0 at 250,000 baud, 8N1 (19.10; UBRR 3 is exact at 16 MHz, 19.11). A byte comes every 40 us and the
 * receiver holds two; its handler is short and nothing else keeps interrupts off for longer than one pixel, 31 us.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

enum { RX_ROOM = 128, TX_ROOM = 32 };

static uint8_t received[RX_ROOM], sending[TX_ROOM];
static volatile uint8_t rx_in, rx_out, tx_in, tx_out;
static volatile uint16_t lost;

void serial_start(void)
{
    PORTD |= _BV(PORTD0); /* pull-up: an open line is silent (14.3.3) */
    UBRR0 = 3;
    UCSR0A = 0;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

static inline void count_lost(void)
{
    if (lost != UINT16_MAX) {
        lost++;
    }
}

ISR(USART_RX_vect)
{
    uint8_t status = UCSR0A; /* belongs to the byte, so it is read first (19.7.4) */
    uint8_t byte = UDR0;
    uint8_t in = rx_in;
    uint8_t next = (in + 1) & (RX_ROOM - 1);
    if (status & _BV(DOR0)) {
        count_lost();
    }
    if (next == rx_out) {
        count_lost();
        return;
    }
    received[in] = byte;
    rx_in = next;
}

bool bc_hal_receive(uint8_t *byte)
{
    uint8_t out = rx_out;
    if (out == rx_in) {
        return false;
    }
    *byte = received[out];
    rx_out = (out + 1) & (RX_ROOM - 1);
    return true;
}

bool serial_idle(void)
{
    return rx_in == rx_out;
}

ISR(USART_UDRE_vect)
{
    uint8_t out = tx_out;
    UDR0 = sending[out];
    out = (out + 1) & (TX_ROOM - 1);
    tx_out = out;
    if (out == tx_in) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    }
}

bool bc_hal_send(uint8_t byte)
{
    uint8_t in = tx_in;
    uint8_t next = (in + 1) & (TX_ROOM - 1);
    if (next == tx_out) {
        return false;
    }
    sending[in] = byte;
    uint8_t status = hold_interrupts();
    tx_in = next;
    UCSR0B |= _BV(UDRIE0);
    release_interrupts(status);
    return true;
}

uint16_t bc_hal_lost_bytes(void)
{
    uint8_t status = hold_interrupts();
    uint16_t count = lost;
    release_interrupts(status);
    return count;
}
