#include "bc_perform.h"

#include "bc_light.h"
#include "bc_math.h"
#include "bc_player.h"
#include "bc_servo.h"
#include "bellcrank.h"

BC_ASSERT(flags, (int)BC_SWITCH_FLAGS == (int)BC_LAMP_SAFE_LEVEL);

static void turn(uint16_t record, bool on) {
    bool active_high = (bc_table_u8((uint16_t)(record + BC_SWITCH_FLAGS)) & BC_ACTIVE_HIGH) != 0;
    bc_hal_switch(bc_table_u8((uint16_t)(record + BC_OUTPUT_PIN)), on == active_high);
}

/* An angle, a level, a colour, or a switch's flags. */
static int16_t safe_state(const struct bc_output *output) {
    if (output->kind == BC_SERVO) {
        return bc_table_i16((uint16_t)(output->at + BC_SERVO_SAFE_ANGLE));
    }
    return bc_table_u8((uint16_t)(output->at + (output->kind == BC_STRIP ? BC_STRIP_SAFE_COLOUR : BC_LAMP_SAFE_LEVEL)));
}

bool bc_perform(const struct bc_step *op, uint8_t run, uint32_t *time) {
    uint32_t start = *time;
    if (op->code == BC_OP_EFFECT) {
        bc_light_effect(op, start);
    } else if (op->output.kind == BC_SWITCH) {
        turn(op->output.at, (op->code & BC_ACT_F) != 0);
    } else if (op->output.kind != BC_SERVO) {
        bc_light_fade(op, start);
    } else if (bc_servo_is_busy(op->output.index, run, start, time)) {
        return false;
    } else {
        bc_servo_move(op, start, run);
    }
    return true;
}

static void make_safe(const struct bc_step *act) {
    uint32_t start = bc_player_time() - BC_FRAME;
    uint8_t kind = act->output.kind;
    if (kind == BC_SWITCH) {
        turn(act->output.at, (act->target & BC_ON_WHEN_SAFE) != 0);
    } else if (kind != BC_SERVO) {
        bc_light_fade(act, start);
        bc_light_steady(bc_light_of(&act->output));
    } else if (act->operand == 0) {
        bc_servo_rest(act);
    } else {
        bc_servo_move(act, start, BC_NO_RUN);
    }
}

void bc_to_safety(uint8_t kind, uint16_t duration_ms) {
    struct bc_outputs walk;
    struct bc_step act;
    act.operand = duration_ms;
    act.law = BC_NONE;
    bc_outputs_begin(&walk);
    while (bc_outputs_next(&walk)) {
        if (walk.here.kind >= kind) {
            act.output = walk.here;
            act.target = safe_state(&walk.here);
            make_safe(&act);
        }
    }
}
