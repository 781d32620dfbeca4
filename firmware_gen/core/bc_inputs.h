/* Buttons and receiver outputs on input pins. */
#ifndef BC_INPUTS_H
#define BC_INPUTS_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

/* No inputs; then each input pin of the show, whose level at rest is `high`. */
void bc_inputs_clear(void);
void bc_inputs_add(uint8_t pin, bool high);

#if BC_CHIP_SENSES
/* An input, by its index, is looked at only every so manyth time. */
void bc_inputs_settle(uint8_t input, uint8_t times);
#endif

#endif
