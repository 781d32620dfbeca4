/* The way back into idle: what its strands want of each output, whoever holds it. TABLE.md 2.6. */
#ifndef BC_IDLE_H
#define BC_IDLE_H

#include <stdint.h>

#include "bc_ops.h"

/* Forget everything. */
void bc_idle_clear(void);

/* A strand comes to an act or an effect, whether it owns the output or not. */
void bc_idle_remembers(const struct bc_step *op);

/* A cue takes these outputs: they glide back no longer. */
void bc_idle_is_held_off(uint16_t outputs);

/* Bring these outputs to where their strands have wanted them last, from a time on. */
void bc_idle_takes_back(uint16_t outputs, uint32_t time);

/* How long the output of an act of a strand glides on, in whole ms, rounded up; one that glides no
 * longer than the act takes is back in idle, and then this is 0. */
uint16_t bc_idle_glide_left(const struct bc_step *op, uint32_t time);

#if BC_CHIP_JOINS
/* The same of cues that are carried forward in silence; what they want is kept apart. Once a cue
 * has landed, cues want nothing of its outputs any more. */
void bc_joined_remembers(const struct bc_step *op);
void bc_joined_forgets(uint16_t outputs);
void bc_joined_lands(uint16_t outputs, uint32_t time);
#endif

#endif
