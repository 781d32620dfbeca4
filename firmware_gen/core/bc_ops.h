/* The ops of cues, read: TABLE.md section 1.4. */
#ifndef BC_OPS_H
#define BC_OPS_H

#include <stdint.h>

#include "bc_table.h"

/* One op. Waits of either kind have the code BC_OP_WAIT. */
struct bc_step {
    struct bc_output output; /* of an act or an effect */
    uint16_t operand; /* ms of an act or a wait; s of a long wait; passes of a loop; where a fork,
                         go on or call points; where an effect's kind stands; of a choice the
                         number of the call */
    int16_t target;   /* of an act: 0.01 deg, a level or a colour's index */
    uint8_t code;     /* of a call: its first byte, from BC_OP_CALL on */
    uint8_t number;   /* of the output */
    uint8_t law;      /* index, BC_NONE: none (acts on servos have one) */
    uint8_t time_key; /* the operand is drawn, up to `most`; 0: it is not */
    uint8_t target_key;
    uint16_t most;
    int16_t most_target;
};

/* Read the op at the cursor of the chosen table, whether or not it is a good one. */
void bc_op_read(struct bc_step *op);

#endif
