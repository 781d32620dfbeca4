#include "bc_perform.h"

#include "bc_light.h"
#include "bc_math.h"
#include "bc_player.h"
#include "bc_servo.h"
#include "bellcrank.h"

enum { ALL_OUTPUTS = 0xFFFF };

static void turn_switch(uint16_t record, bool on) {
    uint8_t pin = bc_table_u8((uint16_t)(record + BC_OUTPUT_PIN));
    bool active_high = bc_table_u8((uint16_t)(record + BC_SWITCH_FLAGS)) & BC_ACTIVE_HIGH;
    bc_hal_switch(pin, on == active_high);
}

void bc_perform(const struct bc_step *op, uint8_t run, uint32_t time) {
    if (op->code == BC_OP_EFFECT) {
        bc_light_effect(op, time);
        return;
    }
    switch (op->output.kind) {
    case BC_SERVO:
        bc_servo_move(op, time, run);
        break;
    case BC_SWITCH:
        turn_switch(op->output.at, op->code & BC_ACT_F);
        break;
    default:
        bc_light_fade(op, time);
        break;
    }
}

void bc_make_steady(uint16_t outputs) {
    struct bc_output output;
    bc_outputs_begin(&output);
    while (bc_outputs_next(&output)) {
        if ((outputs & 1) && (output.kind == BC_LAMP || output.kind == BC_STRIP)) {
            bc_light_steady(output.index);
        }
        outputs >>= 1;
    }
}

/* The act that takes an output to its safe state. */
static void read_safe_state(struct bc_step *act) {
    uint16_t at = act->output.at;
    switch (act->output.kind) {
    case BC_SERVO:
        act->target = bc_table_i16((uint16_t)(at + BC_SERVO_SAFE_ANGLE));
        break;
    case BC_LAMP:
        act->target = bc_table_u8((uint16_t)(at + BC_LAMP_SAFE_LEVEL));
        break;
    case BC_STRIP:
        act->target = bc_table_u8((uint16_t)(at + BC_STRIP_SAFE_COLOUR));
        break;
    default:
        if (bc_table_u8((uint16_t)(at + BC_SWITCH_FLAGS)) & BC_ON_WHEN_SAFE) {
            act->code = BC_ACT_F;
        }
        break;
    }
}

void bc_to_safety(uint8_t first_kind, uint8_t steps) {
    struct bc_step act;
    if (first_kind == BC_SERVO) {
        bc_make_steady(ALL_OUTPUTS);
    }
    act.operand = (uint16_t)(BC_STOP_STEP_MS * steps);
    act.law = BC_NONE;
    bc_outputs_begin(&act.output);
    while (bc_outputs_next(&act.output)) {
        if (act.output.kind < first_kind) {
            continue;
        }
        act.code = 0;
        read_safe_state(&act);
        if (act.output.kind == BC_SERVO && steps == 0) {
            bc_servo_rest(&act);
        } else {
            bc_perform(&act, BC_NO_RUN, bc_player_time() - BC_FRAME);
        }
    }
}
