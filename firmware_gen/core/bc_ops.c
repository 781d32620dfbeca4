#include "bc_ops.h"

#include "bc_math.h"

/* The duration that starts with this byte, in ms. */
static uint16_t duration(uint8_t first) {
    uint8_t low;
    if (first < BC_DURATION_STEPS) {
        return (uint16_t)(BC_DURATION_STEP_MS * (first + 1));
    }
    if (first < BC_DURATION_MS) {
        return (uint16_t)(BC_DURATION_BIG_STEP_MS * (first - BC_DURATION_BIG_BASE));
    }
    low = bc_next_u8();
    if (first == BC_DURATION_LONG) {
        return bc_u16(low, bc_next_u8());
    }
    return bc_u16(low, (uint8_t)(first - BC_DURATION_MS));
}

/* The target of an act, in its own form. */
static int16_t target(const struct bc_step *op) {
    if (op->output.kind != BC_SERVO) {
        return bc_next_u8();
    }
    if (op->code & BC_ACT_F) {
        return bc_next_i16();
    }
    return (int16_t)(BC_ANGLE_STEPS * (int8_t)bc_next_u8());
}

/* What follows in an act; nothing for a switch. */
static void read_act(struct bc_step *op) {
    bool is_servo = op->output.kind == BC_SERVO;
    if (op->output.kind == BC_SWITCH) {
        return;
    }
    op->operand = duration(bc_next_u8());
    if (op->code & BC_ACT_LAW) {
        op->law = bc_next_u8();
    } else if (is_servo) {
        op->law = 0;
    }
    op->target = target(op);
}

/* What stands behind an act or a wait that draws something. */
static void read_most(struct bc_step *op) {
    if (op->time_key != 0) {
        op->most = duration(bc_next_u8());
    }
    if (op->target_key != 0) {
        op->most_target = target(op);
    }
}

static void read_effect(struct bc_step *op) {
    op->operand = bc_table_tell();
    if (bc_next_u8() != BC_EFFECT_STEADY) {
        bc_table_seek((uint16_t)(op->operand + BC_EFFECT_SIZE));
    }
}

static void find_output(struct bc_step *op, uint8_t number) {
    op->number = number;
    bc_table_output(number, &op->output);
}

void bc_op_read(struct bc_step *op) {
    uint8_t code = bc_next_u8();
    op->time_key = 0;
    op->target_key = 0;
    if (code == BC_OP_DRAW) {
        op->time_key = bc_next_u8();
        op->target_key = bc_next_u8();
        code = bc_next_u8();
        if ((op->time_key | op->target_key) == 0 || (code >= BC_OP_END && code != BC_OP_WAIT)) {
            op->code = BC_OP_DRAW; /* no op of its own */
            return;
        }
    }
    op->code = code;
    op->operand = 0;
    op->law = BC_NONE;
    if (code >= BC_OP_SHORT_WAIT) {
        op->code = BC_OP_WAIT;
        op->operand = (uint16_t)(BC_DURATION_STEP_MS * (code - BC_OP_SHORT_WAIT + 1));
        return;
    }
    if (code < BC_OP_END) {
        find_output(op, code & BC_ACT_OUTPUT);
        read_act(op);
        read_most(op);
        return;
    }
    if (code >= BC_OP_CALL) {
        op->operand = bc_next_u16();
        return;
    }
    switch (code) {
    case BC_OP_WAIT:
        op->operand = duration(bc_next_u8());
        read_most(op);
        break;
    case BC_OP_LOOP:
    case BC_OP_FORK:
    case BC_OP_GO_ON:
    case BC_OP_LONG_WAIT:
        op->operand = bc_next_u16();
        break;
    case BC_OP_CHOOSE: /* the number of a call is drawn, up to that of the last */
        op->time_key = bc_next_u8();
        op->most = bc_next_u8();
        break;
    case BC_OP_EFFECT:
        find_output(op, bc_next_u8());
        read_effect(op);
        break;
    default: /* end, loop end */
        break;
    }
}
