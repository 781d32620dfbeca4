#include "bc_ops.h"

/* The duration that starts with this byte. */
static uint16_t duration(uint8_t first) {
    uint8_t low;
    if (first < BC_DURATION_STEPS) {
        return (uint16_t)(BC_DURATION_STEP_MS * (uint8_t)(first + 1));
    }
    if (first < BC_DURATION_MS) {
        return (uint16_t)(BC_DURATION_BIG_STEP_MS * (uint8_t)(first - BC_DURATION_BIG_BASE));
    }
    low = bc_next_u8();
    first = first == BC_DURATION_LONG ? bc_next_u8() : (uint8_t)(first - BC_DURATION_MS);
    return (uint16_t)((uint16_t)first << 8 | low);
}

/* What follows in an act, but for a switch. */
static void read_act(struct bc_step *op) {
    if (op->output.kind == BC_SERVO) {
        op->law = 0;
    }
    op->operand = duration(bc_next_u8());
    if (op->code & BC_ACT_LAW) {
        op->law = bc_next_u8();
    }
    if (op->output.kind != BC_SERVO) {
        op->target = bc_next_u8();
    } else if (op->code & BC_ACT_F) {
        op->target = (int16_t)bc_next_u16();
    } else {
        op->target = (int16_t)(100 * (int8_t)bc_next_u8());
    }
}

void bc_op_read(struct bc_step *op) {
    uint8_t code = bc_next_u8();
    uint8_t left;
    op->code = code;
    op->operand = 0;
    op->law = BC_NONE;
    op->number = code & BC_ACT_OUTPUT;
    if (code >= BC_OP_SHORT_WAIT) {
        op->code = BC_OP_WAIT;
        op->operand = duration((uint8_t)(code - BC_OP_SHORT_WAIT)); /* which is written as one byte is */
        return;
    }
    if (code == BC_OP_WAIT) {
        op->operand = duration(bc_next_u8());
        return;
    }
    if (code == BC_OP_EFFECT) {
        op->number = bc_next_u8();
    } else if (code >= BC_OP_END) {
        if (code == BC_OP_LOOP || code == BC_OP_FORK || code == BC_OP_GO_ON) {
            op->operand = bc_next_u16();
        }
        return;
    }
    bc_outputs_begin(&op->output);
    for (left = op->number; bc_outputs_next(&op->output) && left > 0; left--) {
    }
    if (code == BC_OP_EFFECT) {
        op->operand = bc_table_tell();
        if (bc_next_u8() != BC_EFFECT_STEADY) {
            bc_table_seek((uint16_t)(bc_table_tell() + 5));
        }
    } else if (op->output.kind != BC_SWITCH) {
        read_act(op);
    }
}
