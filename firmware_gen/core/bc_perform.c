#include "bc_perform.h"

#include "bc_light.h"
#include "bc_math.h"
#include "bc_servo.h"
#include "bellcrank.h"

static void turn(uint16_t record, bool on) {
    bool active_high = (bc_table_u8((uint16_t)(record + BC_SWITCH_FLAGS)) & BC_ACTIVE_HIGH) != 0;
    bc_hal_switch(bc_table_u8((uint16_t)(record + BC_OUTPUT_PIN)), on == active_high);
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

void bc_switches_to_safety(void) {
    struct bc_outputs walk;
    bc_outputs_begin(&walk);
    while (bc_outputs_next(&walk)) {
        if (walk.here.kind == BC_SWITCH) {
            turn(walk.here.at,
                 (bc_table_u8((uint16_t)(walk.here.at + BC_SWITCH_FLAGS)) & BC_ON_WHEN_SAFE) != 0);
        }
    }
}
