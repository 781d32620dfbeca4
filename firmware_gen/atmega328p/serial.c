/*
 * The link's port: USART0 at 250,000 baud, 8N1 (19.10; UBRR 3 is exact at 16 MHz, 19.11). A byte comes every 40 us and the
 * receiver holds two; its handler is short and nothing else keeps interrupts off for longer than one pixel, 31 us.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

/* More than come while a strip of 100 pixels goes out, which a test measures. */
enum { RX_ROOM = 112 };

/* Where image.py has the linker put it: at the start of RAM. */
static uint8_t received[RX_ROOM] __attribute__((section(".ring,\"aw\",@nobits;")));
#define rx_in GPIOR1
#define rx_out GPIOR2
static const uint8_t *volatile tx_next;
static volatile uint8_t tx_left;
static volatile uint16_t lost; /* stops at its highest */

/*
 * In assembly because it runs 25,000 times a second: 43 cycles with entry and return. UCSR0A belongs to the byte and is read first
 * (19.7.4). The slot at rx_in is always free, so the byte is written before the ring is looked at. rx_in and rx_out lie in
 * GPIOR1 and GPIOR2 (8.5.1), which take one cycle where RAM takes two; and the ring at the start of RAM, where an index is an address.
 */
HANDLER(USART_RX_vect)
{
    __asm__ volatile(
        "push r30 \n"
        "in   r30, 0x3F \n"
        "push r30 \n"
        "push r25 \n"
        "push r31 \n"
        "lds  r31, %[status] \n"
        "lds  r25, %[data] \n"
        "sbrc r31, %[overrun] \n"
        "rjmp 3f \n"
        "1: in r30, %[in] \n"
        "ldi  r31, hi8(%[ring]) \n"
        "st   Z+, r25 \n"
        "cpi  r25, 0 \n"
        "brne 5f \n"
        "sbi  %[news], %[frame] \n"
        "5: cpi r30, %[room] \n"
        "brne 8f \n"
        "ldi  r30, 0 \n"
        "8: \n"
        "in   r25, %[out] \n"
        "cp   r30, r25 \n"
        "breq 4f \n"
        "out  %[in], r30 \n"
        ".global serial_leave \n"
        "serial_leave: \n"
        "2: pop r31 \n"
        "pop  r25 \n"
        "pop  r30 \n"
        "out  0x3F, r30 \n"
        "pop  r30 \n"
        "reti \n"
        /* Rare: one byte was lost before this one, or this one finds the ring full. */
        "3: rcall 6f \n"
        "rjmp 1b \n"
        "4: rcall 6f \n"
        "rjmp 2b \n"
        "6: lds r30, %[lost] \n"
        "lds  r31, %[lost]+1 \n"
        "adiw r30, 1 \n"
        "breq 7f \n"
        "sts  %[lost]+1, r31 \n"
        "sts  %[lost], r30 \n"
        "7: ret \n"
        :
        : [status] "n"(_SFR_MEM_ADDR(UCSR0A)), [data] "n"(_SFR_MEM_ADDR(UDR0)), [overrun] "n"(DOR0),
          [in] "I"(_SFR_IO_ADDR(GPIOR1)), [out] "I"(_SFR_IO_ADDR(GPIOR2)), [ring] "i"(received),
          [room] "M"(RX_ROOM), [lost] "i"(&lost), [news] "I"(_SFR_IO_ADDR(NEWS)), [frame] "I"(NEWS_FRAME));
}

uint8_t serial_waiting(void)
{
    uint8_t in = rx_in, out = rx_out;
    return (uint8_t)(in - out + (in >= out ? 0 : RX_ROOM));
}

uint8_t bc_hal_received(const uint8_t **bytes)
{
    uint8_t in = rx_in, out = rx_out;
    *bytes = received + out;
    return (uint8_t)((in >= out ? in : RX_ROOM) - out);
}

void bc_hal_taken(uint8_t count)
{
    uint8_t out = (uint8_t)(rx_out + count); /* bytes in a row end where the ring does */
    rx_out = out == RX_ROOM ? 0 : out;
}

/* 50 cycles a byte; after the last one it turns itself off. */
HANDLER(USART_UDRE_vect)
{
    __asm__ volatile(
        "push r30 \n"
        "in   r30, 0x3F \n"
        "push r30 \n"
        "push r25 \n"
        "push r31 \n"
        "lds  r30, %[next] \n"
        "lds  r31, %[next]+1 \n"
        "ld   r25, Z+ \n"
        "sts  %[data], r25 \n"
        "sts  %[next]+1, r31 \n"
        "sts  %[next], r30 \n"
        "lds  r25, %[left] \n"
        "dec  r25 \n"
        "sts  %[left], r25 \n"
        "brne 1f \n"
        "ldi  r25, %[on] \n"
        "sts  %[control], r25 \n"
        "sbi  %[news], %[sent] \n"
        "1: jmp serial_leave \n"
        :
        : [next] "i"(&tx_next), [left] "i"(&tx_left), [data] "n"(_SFR_MEM_ADDR(UDR0)),
          [control] "n"(_SFR_MEM_ADDR(UCSR0B)), [on] "M"(SERIAL_ON), [news] "I"(_SFR_IO_ADDR(NEWS)),
          [sent] "I"(NEWS_SENT));
}

void bc_hal_send(const uint8_t *bytes, uint8_t count)
{
    tx_next = bytes;
    tx_left = count;
    UCSR0B = SERIAL_ON | _BV(UDRIE0);
}

bool bc_hal_sending(void)
{
    return tx_left != 0;
}

uint16_t bc_hal_lost_bytes(void)
{
    cli();
    uint16_t now = lost;
    sei();
    return now;
}
