/*
 * Every offset is compared with the end before a byte is read there, and every rule on which the
 * player relies is checked here, so that the player checks nothing.
 */
#include "bc_check.h"

#include <stdbool.h>

#include "bc_link.h"
#include "bc_math.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { SHORTEST = BC_HEADER_SIZE + BC_CRC_SIZE, ADDRESS_MAX = 254 };

/* What is known of the table as the check goes on. */
struct check {
    uint16_t at;
    uint16_t end;  /* where the CRC starts */
    uint16_t code; /* where the code starts */
    uint16_t cues; /* where the cues start */
    uint8_t servos;
    uint8_t strips;
    uint8_t pixels;
};

/* Between two steps: cells may be written, and whatever is due be done. */
static void pause(void) {
    bc_table_release();
    bc_listen();
    bc_hal_pause();
}

uint16_t bc_check_crc(uint16_t size) {
    uint16_t crc = BC_CRC_START;
    uint16_t at;
    for (at = 0; at < size; at++) {
        crc = bc_crc(crc, bc_table_u8(at));
        if ((at & 15) == 0) {
            pause();
        }
    }
    return crc;
}

static uint8_t header(struct check *check, uint16_t size) {
    uint8_t cues;
    if (size < SHORTEST || bc_table_u16(BC_AT_LENGTH) != size) {
        return BC_REFUSAL_LENGTH;
    }
    check->end = (uint16_t)(size - 2);
    if (bc_table_u8(BC_AT_MAGIC) != BC_MAGIC) {
        return BC_REFUSAL_MAGIC;
    }
    if (bc_table_u8(BC_AT_VERSION) != BC_VERSION) {
        return BC_REFUSAL_VERSION;
    }
    if (bc_check_crc(check->end) != bc_table_u16(check->end)) {
        return BC_REFUSAL_CRC;
    }
    if (bc_table_u8(BC_AT_CHIP) != BC_CHIP) {
        return BC_REFUSAL_CHIP;
    }
    if ((uint8_t)(bc_table_u8(BC_AT_ADDRESS) - 1) >= ADDRESS_MAX) {
        return BC_REFUSAL_ADDRESS;
    }
    cues = bc_table_u8(BC_AT_CUES);
    if (bc_table_u8(BC_AT_OUTPUTS) > BC_OUTPUTS || bc_table_u8(BC_AT_COLOURS) > BC_COLOURS ||
        bc_table_u8(BC_AT_INPUTS) > BC_INPUTS || bc_table_u8(BC_AT_BINDINGS) > BC_BINDINGS ||
        cues > BC_CUES || (uint8_t)(bc_table_u8(BC_AT_LAWS) - 1) >= BC_LAWS ||
        bc_table_u8(BC_AT_STOP_BUTTON) > BC_BUTTONS || bc_table_u8(BC_AT_STOP_TIME) == 0 ||
        bc_table_u16(BC_HEADER_SIZE - 2) != 0) {
        return BC_REFUSAL_COUNTS;
    }
    if ((bc_table_u8(BC_AT_IDLE) >= cues && bc_table_u8(BC_AT_IDLE) != BC_NONE) ||
        (bc_table_u8(BC_AT_LOST) >= cues && bc_table_u8(BC_AT_LOST) != BC_NONE)) {
        return BC_REFUSAL_COUNTS;
    }
    check->at = BC_HEADER_SIZE;
    return BC_REFUSAL_ACCEPTED;
}

/* Whether `size` bytes from here lie before the CRC. */
static bool fits(const struct check *check, uint16_t size) {
    return size <= check->end && check->at <= check->end - size;
}

static bool points_are_good(uint16_t at, uint8_t points) {
    uint16_t point = (uint16_t)(at + BC_SERVO_SIZE);
    int16_t angle = bc_table_i16(point);
    uint16_t pulse = bc_table_u16((uint16_t)(point + 2));
    bool falls = bc_table_u16((uint16_t)(point + BC_POINT_SIZE + 2)) < pulse;
    if (pulse < BC_PULSE_MIN || pulse > BC_PULSE_MAX) {
        return false;
    }
    while (--points > 0) {
        int16_t next_angle;
        uint16_t next_pulse;
        point = (uint16_t)(point + BC_POINT_SIZE);
        next_angle = bc_table_i16(point);
        next_pulse = bc_table_u16((uint16_t)(point + 2));
        if (next_angle <= angle || next_pulse < BC_PULSE_MIN || next_pulse > BC_PULSE_MAX ||
            next_pulse == pulse || (next_pulse < pulse) != falls) {
            return false;
        }
        angle = next_angle;
        pulse = next_pulse;
    }
    return true;
}

static bool servo_is_good(uint16_t at) {
    uint8_t points = bc_table_u8((uint16_t)(at + BC_SERVO_POINTS));
    uint16_t last = (uint16_t)(at + BC_SERVO_SIZE + (uint16_t)(BC_POINT_SIZE * (points - 1)));
    int16_t low = bc_table_i16((uint16_t)(at + BC_SERVO_TRAVEL_LOW));
    int16_t high = bc_table_i16((uint16_t)(at + BC_SERVO_TRAVEL_HIGH));
    int16_t safe = bc_table_i16((uint16_t)(at + BC_SERVO_SAFE_ANGLE));
    return points >= 2 && points <= BC_POINTS && points_are_good(at, points) &&
           bc_table_i16((uint16_t)(at + BC_SERVO_SIZE)) <= low && low <= safe &&
           safe <= high && high <= bc_table_i16(last) &&
           bc_table_u16((uint16_t)(at + BC_SERVO_SPEED_LIMIT)) != 0 &&
           bc_table_u16((uint16_t)(at + BC_SERVO_ACCELERATION_LIMIT)) != 0;
}

static bool strip_is_good(struct check *check) {
    uint8_t pixels = bc_table_u8((uint16_t)(check->at + BC_STRIP_PIXELS));
    if (pixels == 0 || pixels > BC_PIXELS - check->pixels || check->strips == BC_STRIPS) {
        return false;
    }
    check->pixels = (uint8_t)(check->pixels + pixels);
    check->strips++;
    return bc_table_u8((uint16_t)(check->at + BC_STRIP_ORDER)) < BC_ORDERS &&
           bc_table_u8((uint16_t)(check->at + BC_STRIP_SAFE_COLOUR)) < bc_table_u8(BC_AT_COLOURS);
}

static uint8_t output(struct check *check) {
    uint16_t size;
    bool good;
    if (!fits(check, 1)) {
        return BC_REFUSAL_COUNTS;
    }
    switch (bc_table_u8(check->at)) {
    case BC_SERVO:
        if (!fits(check, BC_SERVO_SIZE)) {
            return BC_REFUSAL_COUNTS;
        }
        size = (uint16_t)(BC_SERVO_SIZE +
                          BC_POINT_SIZE * bc_table_u8((uint16_t)(check->at + BC_SERVO_POINTS)));
        break;
    case BC_STRIP:
        size = BC_STRIP_SIZE;
        break;
    case BC_LAMP:
    case BC_SWITCH:
        size = BC_LAMP_SIZE;
        break;
    default:
        return BC_REFUSAL_OUTPUT;
    }
    if (!fits(check, size)) {
        return BC_REFUSAL_COUNTS;
    }
    switch (bc_table_u8(check->at)) {
    case BC_SERVO:
        good = servo_is_good(check->at) && ++check->servos <= BC_SERVOS;
        break;
    case BC_STRIP:
        good = strip_is_good(check);
        break;
    case BC_LAMP:
        good = bc_table_u8((uint16_t)(check->at + BC_LAMP_SAFE_LEVEL)) <= BC_LEVEL_MAX;
        break;
    default:
        good = bc_table_u8((uint16_t)(check->at + BC_SWITCH_FLAGS)) <=
               (BC_ACTIVE_HIGH | BC_ON_WHEN_SAFE);
        break;
    }
    check->at = (uint16_t)(check->at + size);
    return good ? BC_REFUSAL_ACCEPTED : BC_REFUSAL_OUTPUT;
}

static uint8_t colour(struct check *check) {
    uint8_t n;
    if (!fits(check, BC_COLOUR_SIZE)) {
        return BC_REFUSAL_COUNTS;
    }
    for (n = 0; n < BC_COLOUR_SIZE; n++) {
        if (bc_table_u8(check->at++) > BC_LEVEL_MAX) {
            return BC_REFUSAL_RECORD;
        }
    }
    return BC_REFUSAL_ACCEPTED;
}

static bool is_half_share(uint16_t at, uint16_t least) {
    uint16_t share = bc_table_u16(at);
    return share >= least && share <= 0x8000u;
}

static uint8_t law(struct check *check) {
    uint8_t id;
    uint8_t size;
    bool good;
    if (!fits(check, 1)) {
        return BC_REFUSAL_COUNTS;
    }
    id = bc_table_u8(check->at);
    if (id > BC_LAW_DOUBLE_S) {
        return BC_REFUSAL_RECORD;
    }
    size = bc_law_size(id);
    if (!fits(check, size)) {
        return BC_REFUSAL_COUNTS;
    }
    good = (size < 3 || is_half_share((uint16_t)(check->at + 1), BC_ALPHA_LEAST)) &&
           (size < 5 || is_half_share((uint16_t)(check->at + 3), 1));
    check->at = (uint16_t)(check->at + size);
    return good ? BC_REFUSAL_ACCEPTED : BC_REFUSAL_RECORD;
}

static bool is_button(uint8_t value) {
    value = (uint8_t)(value & ~BC_FLAG);
    return value >= 1 && value <= BC_BUTTONS;
}

static uint8_t input(struct check *check) {
    bool good;
    if (!fits(check, BC_INPUT_SIZE)) {
        return BC_REFUSAL_COUNTS;
    }
    good = is_button(bc_table_u8((uint16_t)(check->at + 1)));
    check->at = (uint16_t)(check->at + BC_INPUT_SIZE);
    return good ? BC_REFUSAL_ACCEPTED : BC_REFUSAL_RECORD;
}

static uint8_t binding(struct check *check) {
    bool good;
    if (!fits(check, BC_BINDING_SIZE)) {
        return BC_REFUSAL_COUNTS;
    }
    good = is_button(bc_table_u8(check->at)) &&
           bc_table_u8((uint16_t)(check->at + 1)) < bc_table_u8(BC_AT_CUES);
    check->at = (uint16_t)(check->at + BC_BINDING_SIZE);
    return good ? BC_REFUSAL_ACCEPTED : BC_REFUSAL_RECORD;
}

static uint8_t cue(struct check *check) {
    uint8_t flags;
    uint8_t outputs;
    uint16_t other;
    if (!fits(check, BC_CUE_SIZE)) {
        return BC_REFUSAL_COUNTS;
    }
    for (other = check->cues; other < check->at; other = (uint16_t)(other + BC_CUE_SIZE)) {
        if (bc_table_u16(other) == bc_table_u16(check->at)) {
            return BC_REFUSAL_RECORD;
        }
    }
    outputs = bc_table_u8(BC_AT_OUTPUTS);
    flags = bc_table_u8((uint16_t)(check->at + BC_CUE_FLAGS));
    if ((outputs < BC_OUTPUTS &&
         bc_table_u16((uint16_t)(check->at + BC_CUE_OUTPUTS)) >> outputs != 0) ||
        (flags & 0x0F) >= BC_CONFLICTS || (uint8_t)((flags >> 4) - 1) >= BC_THREADS) {
        return BC_REFUSAL_RECORD;
    }
    check->at = (uint16_t)(check->at + BC_CUE_SIZE);
    return BC_REFUSAL_ACCEPTED;
}

/* Run a check over `count` records in a row. */
static uint8_t each(struct check *check, uint8_t (*one)(struct check *), uint8_t count) {
    uint8_t refusal = BC_REFUSAL_ACCEPTED;
    while (count > 0 && refusal == BC_REFUSAL_ACCEPTED) {
        refusal = one(check);
        count--;
        pause();
    }
    return refusal;
}

static uint8_t records(struct check *check) {
    uint8_t refusal = each(check, output, bc_table_u8(BC_AT_OUTPUTS));
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = each(check, colour, bc_table_u8(BC_AT_COLOURS));
    }
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = each(check, law, bc_table_u8(BC_AT_LAWS));
    }
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = each(check, input, bc_table_u8(BC_AT_INPUTS));
    }
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = each(check, binding, bc_table_u8(BC_AT_BINDINGS));
    }
    check->cues = check->at;
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = each(check, cue, bc_table_u8(BC_AT_CUES));
    }
    check->code = check->at;
    return refusal;
}

/* Take a pin for a job; false if it cannot do it or is taken. */
static bool take_pin(uint32_t *taken, uint8_t pin, uint8_t job) {
    uint32_t bit;
    if (!(bc_hal_pin(pin) & job) || pin > 31) {
        return false;
    }
    bit = (uint32_t)1 << pin;
    if (*taken & bit) {
        return false;
    }
    *taken |= bit;
    return true;
}

static bool pins_are_good(const struct check *check) {
    struct bc_outputs walk;
    uint32_t taken = 0;
    uint16_t at = (uint16_t)(check->cues - (uint16_t)(BC_BINDING_SIZE * bc_table_u8(BC_AT_BINDINGS)));
    uint8_t left = bc_table_u8(BC_AT_INPUTS);
    bc_outputs_begin(&walk);
    while (bc_outputs_next(&walk)) {
        /* BC_PIN_* are bits in the order of the kinds. */
        if (!take_pin(&taken, bc_table_u8((uint16_t)(walk.here.at + 1)),
                      (uint8_t)(1 << (walk.here.kind - 1)))) {
            return false;
        }
    }
    at = (uint16_t)(at - (uint16_t)(BC_INPUT_SIZE * left));
    while (left > 0) {
        if (!take_pin(&taken, bc_table_u8(at), BC_PIN_INPUT)) {
            return false;
        }
        at = (uint16_t)(at + BC_INPUT_SIZE);
        left--;
    }
    return true;
}

/* -- code -------------------------------------------------------------------------------------- */

/* An op's bytes, as far as the check needs them. */
struct op {
    uint16_t wait_ms;
    uint16_t target; /* of a fork */
    uint8_t code;
};

/* Bytes left between here and the CRC are at least `count`. */
static bool has(const struct check *check, uint8_t count) { return fits(check, count); }

static bool duration(struct check *check, uint16_t *ms) {
    uint8_t first;
    if (!has(check, 1)) {
        return false;
    }
    first = bc_table_u8(check->at);
    if (!has(check, (uint8_t)(first < 200 ? 1 : first < 255 ? 2 : 3))) {
        return false;
    }
    *ms = bc_table_duration(&check->at);
    return true;
}

static bool servo_target_is_good(struct check *check, uint16_t output_at, bool wide) {
    int16_t target;
    if (!has(check, wide ? 2 : 1)) {
        return false;
    }
    if (wide) {
        target = bc_table_i16(check->at);
    } else {
        target = (int16_t)(100 * (int8_t)bc_table_u8(check->at));
    }
    check->at = (uint16_t)(check->at + (wide ? 2 : 1));
    return bc_table_i16((uint16_t)(output_at + BC_SERVO_TRAVEL_LOW)) <= target &&
           target <= bc_table_i16((uint16_t)(output_at + BC_SERVO_TRAVEL_HIGH));
}

static bool below(struct check *check, uint8_t limit) {
    return has(check, 1) && bc_table_u8(check->at++) < limit;
}

static bool act(struct check *check, struct op *op) {
    struct bc_output on;
    bool wide = (op->code & BC_ACT_F) != 0;
    uint16_t ms;
    if ((op->code & BC_ACT_OUTPUT) >= bc_table_u8(BC_AT_OUTPUTS)) {
        return false;
    }
    on = bc_table_output(op->code & BC_ACT_OUTPUT);
    if (on.kind == BC_SWITCH) {
        return !(op->code & (BC_ACT_WAIT | BC_ACT_LAW));
    }
    if ((wide && on.kind != BC_SERVO) || !duration(check, &ms)) {
        return false;
    }
    if (op->code & BC_ACT_WAIT) {
        op->wait_ms = ms;
    }
    if ((op->code & BC_ACT_LAW) && !below(check, bc_table_u8(BC_AT_LAWS))) {
        return false;
    }
    switch (on.kind) {
    case BC_SERVO:
        return servo_target_is_good(check, on.at, wide);
    case BC_LAMP:
        return below(check, BC_LEVEL_MAX + 1);
    default:
        return below(check, bc_table_u8(BC_AT_COLOURS));
    }
}

static bool effect(struct check *check) {
    uint8_t output_number;
    uint8_t kind;
    bool good;
    if (!has(check, 2)) {
        return false;
    }
    output_number = bc_table_u8(check->at++);
    kind = bc_table_u8(check->at++);
    if (output_number >= bc_table_u8(BC_AT_OUTPUTS) || kind >= BC_EFFECTS) {
        return false;
    }
    switch (bc_table_output(output_number).kind) {
    case BC_LAMP:
    case BC_STRIP:
        break;
    default:
        return false;
    }
    if (kind == BC_EFFECT_STEADY) {
        return true;
    }
    if (!has(check, 5)) {
        return false;
    }
    good = bc_table_u16(check->at) >= BC_PERIOD_MIN &&
           bc_table_u8((uint16_t)(check->at + 2)) <= BC_LEVEL_MAX;
    check->at = (uint16_t)(check->at + 5);
    return good;
}

/* Read one op, leaving `at` behind it; false if it is none, or reaches beyond the end. */
static bool next_op(struct check *check, struct op *op) {
    op->wait_ms = 0;
    if (!has(check, 1)) {
        return false;
    }
    op->code = bc_table_u8(check->at++);
    if (op->code < BC_OP_END) {
        return act(check, op);
    }
    if (op->code >= BC_OP_SHORT_WAIT) {
        op->wait_ms = 10;
        return true;
    }
    switch (op->code) {
    case BC_OP_END:
    case BC_OP_LOOP_END:
        return true;
    case BC_OP_WAIT:
        return duration(check, &op->wait_ms);
    case BC_OP_LOOP:
    case BC_OP_FORK:
    case BC_OP_GO_ON:
        if (!has(check, 2)) {
            return false;
        }
        op->target = bc_table_u16(check->at);
        check->at = (uint16_t)(check->at + 2);
        return true;
    case BC_OP_EFFECT:
        return effect(check);
    default:
        return false;
    }
}

/* The loops open in a thread: how many, and a bit for each that has waited, the innermost lowest. */
struct loops {
    uint8_t depth;
    uint8_t waited;
};

static bool nest(struct loops *loops, const struct op *op) {
    switch (op->code) {
    case BC_OP_LOOP:
        loops->depth++;
        loops->waited = (uint8_t)(loops->waited << 1);
        return loops->depth <= BC_LOOP_DEPTH;
    case BC_OP_LOOP_END:
        if (loops->depth == 0 || !(loops->waited & 1)) {
            return false;
        }
        loops->depth--;
        /* The loop around it has waited with it. */
        loops->waited = (uint8_t)(loops->waited >> 1 | 1);
        return true;
    case BC_OP_END:
    case BC_OP_GO_ON:
        return loops->depth == 0;
    default:
        if (op->wait_ms > 0) {
            loops->waited |= 1;
        }
        return true;
    }
}

static bool ends_thread(const struct op *op) {
    return op->code == BC_OP_END || op->code == BC_OP_GO_ON;
}

/* Whether the op names another thread. */
static bool points(const struct op *op) {
    return op->code == BC_OP_FORK || op->code == BC_OP_GO_ON;
}

/* Whether a thread starts at `target`, looking from an op at `from` on; `start`: one starts there. */
static bool starts_thread(const struct check *known, uint16_t from, bool start, uint16_t target) {
    struct check look = *known;
    struct op op;
    look.at = from;
    while (look.at < target && look.at < look.end) {
        next_op(&look, &op);
        start = ends_thread(&op);
        pause();
    }
    return look.at == target && target < look.end && start;
}

/* All ops on their own, and that each fork points forward; returns whether threads fill the code. */
static bool ops_are_good(struct check *check) {
    struct loops loops = {0, 0};
    struct op op;
    op.code = BC_OP_END;
    while (check->at < check->end) {
        uint16_t here = check->at;
        if (!next_op(check, &op) || !nest(&loops, &op) ||
            (points(&op) && op.target <= here)) {
            return false;
        }
        if (ends_thread(&op)) {
            loops.waited = 0;
        }
        pause();
    }
    return ends_thread(&op);
}

/* That each fork and each go on points to a thread's start; all ops are known to be good. */
static bool forks_are_good(struct check *check) {
    struct op op;
    check->at = check->code;
    while (check->at < check->end) {
        next_op(check, &op);
        if (points(&op) && !starts_thread(check, check->at, ends_thread(&op), op.target)) {
            return false;
        }
    }
    return true;
}

static bool cues_are_good(struct check *check) {
    uint8_t left = bc_table_u8(BC_AT_CUES);
    uint16_t at = check->cues;
    uint16_t from = check->code;
    while (left > 0) {
        uint16_t target = bc_table_u16((uint16_t)(at + BC_CUE_OFFSET));
        /* Cues mostly stand in the order of their code: go on from where the last one started. */
        if (target < from) {
            from = check->code;
        }
        if (!starts_thread(check, from, true, target)) {
            return false;
        }
        from = target;
        at = (uint16_t)(at + BC_CUE_SIZE);
        left--;
    }
    return true;
}

uint8_t bc_check(uint16_t size) {
    struct check check = {0, 0, 0, 0, 0, 0, 0};
    uint8_t refusal = header(&check, size);
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = records(&check);
    }
    if (refusal == BC_REFUSAL_ACCEPTED && !pins_are_good(&check)) {
        refusal = BC_REFUSAL_PIN;
    }
    if (refusal == BC_REFUSAL_ACCEPTED &&
        !(ops_are_good(&check) && forks_are_good(&check) && cues_are_good(&check))) {
        refusal = BC_REFUSAL_CODE;
    }
    bc_table_release();
    return refusal;
}
