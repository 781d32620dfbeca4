#include "bc_idle.h"

#include <string.h>

#include "bc_light.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_servo.h"
#include "bc_tracking.h"
#include "bellcrank.h"

struct wants {
    uint16_t known;                         /* outputs that have a target */
    int16_t targets[BC_OUTPUTS];            /* as in an act; of a switch its new state */
    uint16_t effects[BC_LAMPS + BC_STRIPS]; /* where each stands in the table; 0: steady */
};

static struct {
    struct wants wants; /* what strands want */
    uint16_t gliding;   /* outputs on their way back */
} idle;
#if BC_CHIP_JOINS
static struct wants joined; /* what cues want that are carried forward in silence */
#endif

static uint16_t bit_of(uint8_t output) { return (uint16_t)((uint16_t)1 << output); }

void bc_idle_clear(void) {
    memset(&idle, 0, sizeof idle);
#if BC_CHIP_JOINS
    memset(&joined, 0, sizeof joined);
#endif
}

static void remember(struct wants *wants, const struct bc_step *op) {
    if (op->code == BC_OP_EFFECT) {
        wants->effects[op->output.index] = op->operand;
        return;
    }
    wants->known |= bit_of(op->number);
    wants->targets[op->number] = op->output.kind == BC_SWITCH ? op->code & BC_ACT_F : op->target;
}

void bc_idle_remembers(const struct bc_step *op) { remember(&idle.wants, op); }

void bc_idle_is_held_off(uint16_t outputs) {
    idle.gliding &= (uint16_t)~outputs;
#if BC_CHIP_SENSES
    bc_tracking_hold(outputs);
#endif
}

/* The effect that is wanted of a light, or none. */
static void lay_effect(const struct wants *wants, struct bc_step *act, uint32_t time) {
    uint16_t effect = wants->effects[act->output.index];
    bc_light_steady(act->output.index);
    if (effect != 0) {
        act->code = BC_OP_EFFECT;
        act->operand = effect;
        bc_perform(act, BC_NO_RUN, time);
    }
}

static void glide(const struct wants *wants, struct bc_step *act, uint32_t time) {
    act->target = wants->targets[act->number];
    act->code = act->output.kind == BC_SWITCH ? (uint8_t)act->target : 0;
    act->operand = (uint16_t)(BC_GLIDE_STEP_MS * bc_header(BC_AT_GLIDE));
    act->law = BC_NONE;
    bc_perform(act, BC_NO_RUN, time);
    idle.gliding |= bit_of(act->number);
}

static void bring(struct wants *wants, uint16_t outputs, uint32_t time) {
    struct bc_step act;
    if (outputs == 0) {
        return;
    }
    act.number = 0;
    bc_outputs_begin(&act.output);
    while (bc_outputs_next(&act.output)) {
        uint16_t bit = bit_of(act.number);
        if ((outputs & bit) && (act.output.kind == BC_LAMP || act.output.kind == BC_STRIP)) {
            lay_effect(wants, &act, time);
        }
        if (outputs & wants->known & bit) {
            glide(wants, &act, time);
        }
#if BC_CHIP_SENSES
        if ((outputs & ~wants->known & bit) != 0 &&
            bc_tracking_rest(act.number, &wants->targets[act.number])) {
            glide(wants, &act, time);
        }
#endif
        act.number++;
    }
}

void bc_idle_takes_back(uint16_t outputs, uint32_t time) { bring(&idle.wants, outputs, time); }

#if BC_CHIP_JOINS
void bc_joined_remembers(const struct bc_step *op) { remember(&joined, op); }

void bc_joined_forgets(uint16_t outputs) {
    struct bc_output output;
    uint16_t left = outputs;
    joined.known &= (uint16_t)~outputs;
    bc_outputs_begin(&output);
    while (bc_outputs_next(&output)) {
        if ((left & 1) && (output.kind == BC_LAMP || output.kind == BC_STRIP)) {
            joined.effects[output.index] = 0;
        }
        left >>= 1;
    }
}

void bc_joined_lands(uint16_t outputs, uint32_t time) {
    bring(&joined, outputs, time);
    bc_joined_forgets(outputs);
}
#endif

static uint32_t left(const struct bc_step *op, uint32_t time) {
    switch (op->output.kind) {
    case BC_SERVO:
        return bc_servo_left(op->output.index, BC_NO_RUN, time);
    case BC_SWITCH:
        return 0;
    default:
        return bc_light_left(op->output.index, time);
    }
}

uint16_t bc_idle_glide_left(const struct bc_step *op, uint32_t time) {
    uint32_t ms;
    if (op->code == BC_OP_EFFECT || !(idle.gliding & bit_of(op->number))) {
        return 0;
    }
    ms = (left(op, time) + BC_MS - 1) / BC_MS;
    if (ms > BC_DURATION_MAX) {
        ms = BC_DURATION_MAX;
    }
    if (ms <= op->operand) {
        idle.gliding &= (uint16_t)~bit_of(op->number);
        return 0;
    }
    return (uint16_t)ms;
}
