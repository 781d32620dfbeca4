#include "bc_perform.h"

#include "bc_compiler.h"
#include "bc_light.h"
#include "bc_math.h"
#include "bc_player.h"
#include "bc_servo.h"
#include "bellcrank.h"

enum { ALL = 0xFFFF };

BC_ASSERT(flags, (int)BC_SWITCH_FLAGS == (int)BC_LAMP_SAFE_LEVEL);

static void turn(uint16_t record, uint8_t on) {
    uint8_t pin;
    bc_table_seek((uint16_t)(record + BC_OUTPUT_PIN));
    pin = bc_next_u8();
    bc_hal_switch(pin, (on != 0) == ((bc_next_u8() & BC_ACTIVE_HIGH) != 0));
}

/* An angle; or in the low byte a level, a colour, or a switch's flags. */
static int16_t safe_state(const struct bc_output *output) {
    uint8_t place = BC_LAMP_SAFE_LEVEL;
    if (output->kind == BC_SERVO) {
        place = BC_SERVO_SAFE_ANGLE;
    } else if (output->kind == BC_STRIP) {
        place = BC_STRIP_SAFE_COLOUR;
    }
    return bc_table_i16((uint16_t)(output->at + place));
}

BC_APART void bc_perform(const struct bc_step *op, uint8_t run, uint32_t time) {
    if (op->code == BC_OP_EFFECT) {
        bc_light_effect(op, time);
    } else if (op->output.kind == BC_SWITCH) {
        turn(op->output.at, op->code & BC_ACT_F);
    } else if (op->output.kind != BC_SERVO) {
        bc_light_fade(op, time);
    } else {
        bc_servo_move(op, time, run);
    }
}

BC_APART void bc_make_steady(uint16_t outputs) {
    struct bc_output output;
    bc_outputs_begin(&output);
    while (bc_outputs_next(&output)) {
        if ((outputs & 1) && (output.kind == BC_LAMP || output.kind == BC_STRIP)) {
            bc_light_steady(output.index);
        }
        outputs >>= 1;
    }
}

BC_APART void bc_to_safety(uint8_t kind, uint8_t steps) {
    struct bc_step act;
    act.operand = (uint16_t)(BC_SAFETY_STEP_MS * steps);
    act.law = BC_NONE;
    bc_outputs_begin(&act.output);
    while (bc_outputs_next(&act.output)) {
        if (act.output.kind >= kind) {
            act.target = safe_state(&act.output);
            act.code = act.target & BC_ON_WHEN_SAFE ? BC_ACT_F : 0;
            if (act.output.kind == BC_SERVO && steps == 0) {
                bc_servo_rest(&act);
            } else {
                bc_perform(&act, BC_NO_RUN, bc_player_time() - BC_FRAME);
            }
        }
    }
    if (kind == BC_SERVO) {
        bc_make_steady(ALL);
    }
}
