#include "bc_perform.h"

#include "bc_light.h"
#include "bc_math.h"
#include "bc_servo.h"
#include "bellcrank.h"

static void turn(uint16_t record, bool on) {
    bool active_high = (bc_table_u8((uint16_t)(record + BC_SWITCH_FLAGS)) & BC_ACTIVE_HIGH) != 0;
    bc_hal_switch(bc_table_u8((uint16_t)(record + BC_OUTPUT_PIN)), on == active_high);
}

static struct bc_law law_of(const struct bc_step *op) {
    struct bc_law uniform = {BC_LAW_UNIFORM, 0, 0};
    if (op->law == BC_NONE && op->output.kind != BC_SERVO) {
        return uniform;
    }
    return bc_table_law(op->law == BC_NONE ? 0 : op->law);
}

static bool move(const struct bc_step *op, uint8_t run, uint32_t *time) {
    struct bc_law law;
    struct bc_move move;
    uint32_t end;
    if (bc_servo_is_busy(op->output.index, run, *time, &end)) {
        *time = end;
        return false;
    }
    law = law_of(op);
    move.start = *time;
    move.nominal = (uint32_t)op->operand * BC_MS;
    move.record = op->output.at;
    move.target = op->target;
    move.index = op->law == BC_NONE ? 0 : op->law;
    move.run = run;
    bc_servo_move(op->output.index, &move, &law);
    return true;
}

static void fade(const struct bc_step *op, uint32_t time) {
    struct bc_law law = law_of(op);
    struct bc_fade fade;
    fade.start = time;
    fade.duration_ms = op->operand;
    fade.target = (uint8_t)op->target;
    fade.index = op->law;
    bc_light_fade(bc_light_of(&op->output), &fade, &law);
}

bool bc_perform(const struct bc_step *op, uint8_t run, uint32_t *time) {
    if (op->code == BC_OP_EFFECT) {
        bc_light_effect(bc_light_of(&op->output), op->operand, *time);
    } else if (op->output.kind == BC_SERVO) {
        return move(op, run, time);
    } else if (op->output.kind == BC_SWITCH) {
        turn(op->output.at, (op->code & BC_ACT_F) != 0);
    } else {
        fade(op, *time);
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
