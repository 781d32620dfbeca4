/* What this chip calls otherwise than its relatives, and its channels' compare registers. */
#ifndef PARTS_H
#define PARTS_H

#include <stdint.h>

#include <avr/io.h>

#include "bc_chip.h"

#define LINK_RX_vect USART0_RX_vect
#define LINK_UDRE_vect USART0_UDRE_vect

/* Received bytes that wait, a power of two: more than come while a strip of 100 pixels goes out,
 * which a test measures; its frame's work is longer, too. */
enum { RX_ROOM = 256 };

/* Here, so that the handler in lamps.c has no call: it holds up the edges of pulses. */
__attribute__((always_inline)) static inline void channels_set(const uint8_t values[BC_LAMPS]) {
    OCR0A = values[0];
    OCR0B = values[1];
    OCR2A = values[2];
    OCR2B = values[3];
    OCR3AL = values[4];
    OCR3BL = values[5];
    OCR3CL = values[6];
    OCR4AL = values[7];
    OCR4BL = values[8];
    OCR4CL = values[9];
    OCR5AL = values[10];
    OCR5BL = values[11];
    OCR5CL = values[12];
}

#endif
