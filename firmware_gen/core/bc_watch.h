/* The watch of the board's battery: TABLE.md section 11. */
#ifndef BC_WATCH_H
#define BC_WATCH_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

#if BC_CHIP_SENSES

/* What the record says; limits in mV. */
struct bc_watch_record {
    uint8_t pin; /* BC_OWN_REFERENCE: the chip runs from the battery itself */
    uint16_t scale;
    uint16_t low;
    uint16_t stop;
    uint8_t cue; /* BC_NONE: none */
};

/* Another table: nothing is watched; then what its record says, if it has one. */
void bc_watch_clear(void);
void bc_watch_begin(const struct bc_watch_record *record);

/* Once a frame, before its requests are taken: ask for what the battery's voltage asks. */
void bc_watch_frame(uint8_t mode, bool may_start);

bool bc_watch_is_empty(void);

/* For the state report: mV, and bits of LINK.md section 5. */
uint16_t bc_watch_millivolts(void);
uint8_t bc_watch_told(void);

#endif

#endif
