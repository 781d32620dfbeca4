/* What a radio's channels press, on a chip with senses: TABLE.md section 9. */
#ifndef BC_CHANNELS_H
#define BC_CHANNELS_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

#if BC_CHIP_SENSES

/* Another table: no channel; then each in its order, and its bands. */
void bc_channels_clear(void);
void bc_channels_add(uint8_t pin);
void bc_channels_band(uint8_t channel, uint16_t from, uint16_t to, uint8_t button);

/* A channel's value in ticks; false if it is not live. */
bool bc_channel_value(uint8_t channel, uint16_t *value);

/* Once a frame, before its requests are taken: ask for what the newest pulses press. */
void bc_channels_frame(void);

#endif

#endif
