/* Buttons and receiver outputs on input pins. */
#ifndef BC_INPUTS_H
#define BC_INPUTS_H

#include <stdbool.h>
#include <stdint.h>

/* No inputs; then each input pin of the show, whose level at rest is `high`. */
void bc_inputs_clear(void);
void bc_inputs_add(uint8_t pin, bool high);

#endif
