#include "bc_ops.h"

static uint16_t next_duration(void) {
    uint8_t first = bc_next_u8();
    if (first < BC_DURATION_STEPS) {
        return (uint16_t)(BC_DURATION_STEP_MS * (first + 1));
    }
    if (first < BC_DURATION_MS) {
        return (uint16_t)(BC_DURATION_BIG_STEP_MS * (first - BC_DURATION_BIG_BASE));
    }
    if (first < BC_DURATION_LONG) {
        return (uint16_t)((uint16_t)(first - BC_DURATION_MS) << 8 | bc_next_u8());
    }
    return bc_next_u16();
}

static void read_act(struct bc_step *op) {
    op->number = op->code & BC_ACT_OUTPUT;
    op->output = bc_table_output(op->number);
    if (op->output.kind == BC_SWITCH) {
        return;
    }
    op->operand = next_duration();
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
    op->code = bc_next_u8();
    op->operand = 0;
    op->law = BC_NONE;
    if (op->code < BC_OP_END) {
        read_act(op);
    } else if (op->code >= BC_OP_SHORT_WAIT) {
        op->operand = (uint16_t)(BC_DURATION_STEP_MS * (op->code - BC_OP_SHORT_WAIT + 1));
        op->code = BC_OP_WAIT;
    } else if (op->code == BC_OP_WAIT) {
        op->operand = next_duration();
    } else if (op->code == BC_OP_LOOP || op->code == BC_OP_FORK || op->code == BC_OP_GO_ON) {
        op->operand = bc_next_u16();
    } else if (op->code == BC_OP_EFFECT) {
        op->number = bc_next_u8();
        op->output = bc_table_output(op->number);
        op->operand = bc_table_tell();
        if (bc_next_u8() != BC_EFFECT_STEADY) {
            bc_table_seek((uint16_t)(bc_table_tell() + 5));
        }
    }
}
