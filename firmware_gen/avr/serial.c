/*
 * The link's port: USART0 at 250,000 baud, 8N1 (19.10; UBRR 3 is exact at 16 MHz, 19.11). A byte
 * comes every 40 us and the receiver holds two; its handler is short and nothing else keeps
 * interrupts off for longer than one pixel, 31 us.
 */
#include "chip.h"
#include "parts.h"

#include <avr/interrupt.h>
#include <avr/io.h>

enum { SERIAL_ON = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0) }; /* UCSR0B while nothing is to be sent */

/* Received bytes, a ring. It is full when one place is left. Its indices lie in registers that a
 * handler reads in one cycle (8.5.1). */
static uint8_t received[RX_ROOM];
#define rx_in GPIOR1
#define rx_out GPIOR2

static const uint8_t *volatile tx_next;
static volatile uint8_t tx_left;

/* Bytes that were lost: lately, counted by the handler in one byte, and all before, which stops at
 * its highest. */
static volatile uint8_t lost_lately;
static uint16_t lost_before;

void serial_start(void) {
    link_pull_up();
    UBRR0 = BC_LINK_DIVISOR;
    UCSR0A = 0;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = SERIAL_ON;
}

/*
 * A byte came in. In assembly because it runs 25,000 times a second: what a compiler makes of it in
 * C takes 68 cycles with entry and return, 10.6 % of the processor's time, this 46. It is the
 * chip's only handler whose cost shows. UCSR0A belongs to the byte and is read first (19.7.4). The
 * place at rx_in is always free, so the byte is written before the ring is looked at.
 */
ISR(LINK_RX_vect, ISR_NAKED) {
    __asm__ volatile(
        "push r30 \n"
        "in   r30, __SREG__ \n"
        "push r30 \n"
        "push r31 \n"
        "push r25 \n"
        "lds  r25, %[status] \n"
        "sbrc r25, %[overrun] \n"
        "rcall 3f \n" /* one was lost before this one */
        "lds  r25, %[data] \n"
        "in   r30, %[in] \n"
        "ldi  r31, 0 \n"
        "subi r30, lo8(-(%[ring])) \n"
        "sbci r31, hi8(-(%[ring])) \n"
        "st   Z, r25 \n"
        "cpi  r25, 0 \n"
        "brne 1f \n"
        "sbi  %[news], %[frame] \n"
        "1: in r30, %[in] \n"
        "inc  r30 \n"
        "andi r30, %[last] \n"
        "in   r25, %[out] \n"
        "cpse r30, r25 \n"
        "out  %[in], r30 \n"
        "cp   r30, r25 \n"
        "brne 2f \n"
        "rcall 3f \n" /* the ring is full */
        "2: pop r25 \n"
        "pop  r31 \n"
        "pop  r30 \n"
        "out  __SREG__, r30 \n"
        "pop  r30 \n"
        "reti \n"
        "3: lds r31, %[lost] \n"
        "inc  r31 \n"
        "sts  %[lost], r31 \n"
        "ret \n"
        :
        : [status] "n"(_SFR_MEM_ADDR(UCSR0A)), [data] "n"(_SFR_MEM_ADDR(UDR0)), [overrun] "n"(DOR0),
          [in] "I"(_SFR_IO_ADDR(rx_in)), [out] "I"(_SFR_IO_ADDR(rx_out)), [ring] "i"(received),
          [last] "M"(RX_ROOM - 1), [lost] "i"(&lost_lately), [news] "I"(_SFR_IO_ADDR(NEWS)),
          [frame] "I"(NEWS_FRAME));
}

uint8_t serial_waiting(void) { return (uint8_t)(rx_in - rx_out) % RX_ROOM; }

static void count_lost(void) {
    uint8_t lately;
    cli();
    lately = lost_lately;
    lost_lately = 0;
    sei();
    lost_before = lost_before > UINT16_MAX - lately ? UINT16_MAX : lost_before + lately;
}

/* Bytes in a row end where the ring does. */
uint8_t bc_hal_received(const uint8_t **bytes) {
    uint8_t in = rx_in;
    uint8_t out = rx_out;
    if (lost_lately != 0) {
        count_lost();
    }
    *bytes = received + out;
    return (uint8_t)((in >= out ? in : RX_ROOM) - out);
}

void bc_hal_taken(uint8_t count) { rx_out = (uint8_t)((rx_out + count) % RX_ROOM); }

/* After the last byte it turns itself off. */
ISR(LINK_UDRE_vect) {
    UDR0 = *tx_next;
    tx_next++;
    tx_left--;
    if (tx_left == 0) {
        UCSR0B = SERIAL_ON;
        NEWS |= _BV(NEWS_SENT);
    }
}

void bc_hal_send(const uint8_t *bytes, uint8_t count) {
    tx_next = bytes;
    tx_left = count;
    UCSR0B = SERIAL_ON | _BV(UDRIE0);
}

bool bc_hal_sending(void) { return tx_left != 0; }

uint16_t bc_hal_lost_bytes(void) { return lost_before; }
