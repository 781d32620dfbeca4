#include "bc_perform.h"

#include "bc_light.h"
#include "bc_math.h"
#include "bc_servo.h"
#include "bellcrank.h"

static int16_t read_target(const struct bc_act *act, uint8_t op, uint16_t *at) {
    int16_t target;
    if (act->output.kind != BC_SERVO) {
        target = bc_table_u8(*at);
    } else if (op & BC_ACT_F) {
        target = bc_table_i16(*at);
        (*at)++;
    } else {
        target = (int16_t)(100 * (int8_t)bc_table_u8(*at));
    }
    (*at)++;
    return target;
}

void bc_act_read(struct bc_act *act, uint8_t op, uint16_t *at) {
    act->output = bc_table_output(op & BC_ACT_OUTPUT);
    act->on = (op & BC_ACT_F) != 0;
    act->duration_ms = 0;
    act->index = 0;
    if (act->output.kind == BC_SWITCH) {
        return;
    }
    act->duration_ms = bc_table_duration(at);
    act->law.id = BC_LAW_UNIFORM;
    if (op & BC_ACT_LAW) {
        act->index = bc_table_u8(*at);
        (*at)++;
    }
    if ((op & BC_ACT_LAW) || act->output.kind == BC_SERVO) {
        act->law = bc_table_law(act->index);
    }
    act->target = read_target(act, op, at);
}

static void turn(uint16_t record, bool on) {
    bool active_high = (bc_table_u8((uint16_t)(record + BC_SWITCH_FLAGS)) & BC_ACTIVE_HIGH) != 0;
    bc_hal_switch(bc_table_u8((uint16_t)(record + BC_OUTPUT_PIN)), on == active_high);
}

static bool move(const struct bc_act *act, uint32_t time, uint8_t run, uint32_t *later) {
    struct bc_move move;
    if (bc_servo_is_busy(act->output.index, run, time, later)) {
        return false;
    }
    move.start = time;
    move.nominal = (uint32_t)act->duration_ms * BC_MS;
    move.target = act->target;
    move.index = act->index;
    move.run = run;
    bc_servo_move(act->output.index, &move, &act->law);
    return true;
}

bool bc_act_perform(const struct bc_act *act, uint32_t time, uint8_t run, uint32_t *later) {
    struct bc_fade fade;
    switch (act->output.kind) {
    case BC_SERVO:
        return move(act, time, run, later);
    case BC_SWITCH:
        turn(act->output.at, act->on);
        return true;
    default:
        fade.start = time;
        fade.duration_ms = act->duration_ms;
        fade.target = (uint8_t)act->target;
        fade.index = act->index;
        bc_light_fade(bc_light_of(&act->output), &fade, &act->law);
        return true;
    }
}

void bc_effect_perform(uint8_t number, uint16_t at, uint8_t age_ms) {
    struct bc_output output = bc_table_output(number);
    bc_light_effect(bc_light_of(&output), at, age_ms);
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
