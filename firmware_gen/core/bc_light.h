/* Lamps and strips: TABLE.md sections 3.3 and 3.4. A light is one of either, lamps first. */
#ifndef BC_LIGHT_H
#define BC_LIGHT_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_ops.h"
#include "bc_table.h"

/* Forget all lights; then add one for each record. */
void bc_lights_clear(void);
void bc_light_add(const struct bc_output *output);

/* Begin an act's fade to a level (lamp) or a colour (strip). Reads the table. */
void bc_light_fade(const struct bc_step *act, uint32_t start);

#if BC_CHIP_SENSES
/* The level that a lamp's own fade has at a time. */
uint16_t bc_light_at(uint8_t lamp, uint32_t time);

/* Let a lamp be at a level that is followed, whatever its own fade does. */
void bc_light_track(uint8_t lamp, uint16_t level);

/* Let it go from there to the next whole level by a fade of its own. */
void bc_light_halt(uint8_t lamp, uint16_t level, uint32_t start);
#endif

/* How long from the time on its fade lasts; 0 if it has ended. */
uint32_t bc_light_left(uint8_t light, uint32_t time);

/* Lay an effect over its light; it starts at `time`. Reads the table. */
void bc_light_effect(const struct bc_step *op, uint32_t time);
void bc_light_steady(uint8_t light);

/* Bring duties, then pixels up to date for a frame; to be called once per frame. */
void bc_lights_show(uint32_t time);

#endif
