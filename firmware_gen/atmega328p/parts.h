/* What this chip calls otherwise than its relatives, and its channels' compare registers. */
#ifndef PARTS_H
#define PARTS_H

#include <stdint.h>

#include <avr/io.h>

#include "bc_chip.h"

#define LINK_RX_vect USART_RX_vect
#define LINK_UDRE_vect USART_UDRE_vect

/* Received bytes that wait, a power of two: more than come while a strip of 100 pixels goes out,
 * which a test measures. */
enum { RX_ROOM = 128 };

/* Here, so that the handler in lamps.c has no call: it holds up the edges of pulses. */
__attribute__((always_inline)) static inline void channels_set(const uint8_t values[BC_LAMPS]) {
    OCR0A = values[0];
    OCR0B = values[1];
    OCR2A = values[2];
    OCR2B = values[3];
}

#endif
