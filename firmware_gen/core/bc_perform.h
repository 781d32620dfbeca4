/* What the ops of a cue do to outputs. */
#ifndef BC_PERFORM_H
#define BC_PERFORM_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_laws.h"
#include "bc_table.h"

/* One act, read. */
struct bc_act {
    struct bc_output output;
    struct bc_law law;
    uint16_t duration_ms;
    int16_t target;
    uint8_t index; /* of the law in the table */
    bool on;       /* a switch's new state */
};

/* Read the act whose first byte is `op` and whose rest is at *at, which moves on behind it. */
void bc_act_read(struct bc_act *act, uint8_t op, uint16_t *at);

/* Do it at a thread's time for a run. False if it must be tried again at *later. */
bool bc_act_perform(const struct bc_act *act, uint32_t time, uint8_t run, uint32_t *later);

/* Lay the effect whose kind is at `at` over an output; it began `age_ms` ago. */
void bc_effect_perform(uint8_t output, uint16_t at, uint8_t age_ms);

/* All switches take their safe states. */
void bc_switches_to_safety(void);

#endif
