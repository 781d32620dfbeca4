#include "bc_perform.h"

#include "bc_compiler.h"
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

BC_APART void bc_perform(const struct bc_step *op, uint8_t run, uint32_t time) {
    if (op->code == BC_OP_EFFECT) {
        bc_light_effect(op, time);
    } else if (op->output.kind == BC_SWITCH) {
        turn(op->output.at, (op->code & BC_ACT_F) != 0);
    } else if (op->output.kind != BC_SERVO) {
        bc_light_fade(op, time);
    } else {
        bc_servo_move(op, time, run);
    }
}

BC_APART void bc_make_steady(uint16_t outputs) {
    struct bc_outputs walk;
    bc_outputs_begin(&walk);
    while (bc_outputs_next(&walk)) {
        if ((outputs & 1) && (walk.here.kind == BC_LAMP || walk.here.kind == BC_STRIP)) {
            bc_light_steady(bc_light_of(&walk.here));
        }
        outputs >>= 1;
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
            act.code = act.target & BC_ON_WHEN_SAFE ? BC_ACT_F : 0;
            if (walk.here.kind == BC_SERVO && duration_ms == 0) {
                bc_servo_rest(&act);
            } else {
                bc_perform(&act, BC_NO_RUN, bc_player_time() - BC_FRAME);
            }
        }
    }
}
