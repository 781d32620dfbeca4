/*
 * Every offset is compared with the end before a byte is read there, and every rule on which the
 * player relies is checked here, so that the player checks nothing.
 */
#include "bc_check.h"

#include <stdbool.h>

#include "bc_link.h"
#include "bc_math.h"
#include "bc_ops.h"
#include "bc_player.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { SHORTEST = BC_HEADER_SIZE + BC_CRC_SIZE, ADDRESS_MAX = 254, ANY = 0xFF };

/* What is known of the table as the check goes on. */
struct check {
    uint16_t end;  /* where the CRC starts */
    uint16_t code; /* where the code starts */
    uint16_t cues; /* where the cues start */
    uint8_t servos;
    uint8_t strips;
    uint8_t pixels;
};

/* The least and the most of each byte in a row. */
static const uint8_t header_limits[] BC_FLASH = {
    0, BC_OUTPUTS, 0, BC_COLOURS, 0, BC_INPUTS, 0, BC_BINDINGS, 0, BC_CUES, 1, BC_LAWS, 0, ANY,
    0, ANY, 0, ANY, 0, BC_BUTTONS, 1, ANY, 0, ANY, 0, 0, 0, 0};
static const uint8_t lamp_limits[] BC_FLASH = {0, BC_LEVEL_MAX};
static const uint8_t strip_limits[] BC_FLASH = {1, BC_PIXELS, 0, BC_ORDERS - 1, 0, ANY, 0, ANY};
static const uint8_t switch_limits[] BC_FLASH = {0, BC_ACTIVE_HIGH | BC_ON_WHEN_SAFE};
static const uint8_t colour_limits[] BC_FLASH = {0, BC_LEVEL_MAX, 0, BC_LEVEL_MAX, 0, BC_LEVEL_MAX};

/* Whether the next bytes keep to their limits; `size` of the list. All are read. */
static bool keeps_to(const uint8_t *limits, uint8_t size) {
    bool good = true;
    for (; size > 0; size = (uint8_t)(size - 2)) {
        uint8_t byte = bc_next_u8();
        if (byte < bc_flash_u8(limits) || byte > bc_flash_u8(limits + 1)) {
            good = false;
        }
        limits += 2;
    }
    return good;
}

/* Between two steps: cells may be written, and whatever is due be done, with the table that plays. */
static void pause(void) {
    uint16_t cursor = bc_table_tell();
    uint8_t checked = bc_table_choose(bc_player_source());
    bc_table_release();
    bc_listen();
    bc_hal_pause();
    bc_table_choose(checked);
    bc_table_seek(cursor);
}

uint16_t bc_check_crc(uint16_t size) {
    uint16_t crc = BC_CRC_START;
    bc_table_seek(0);
    for (; size > 0; size--) {
        crc = bc_crc(crc, bc_next_u8());
        if ((size & 15) == 0) {
            pause();
        }
    }
    return crc;
}

/* Whether an index of the header is that of a cue, or none. */
static bool is_cue_or_none(uint8_t at) {
    uint8_t cue = bc_table_u8(at);
    return cue == BC_NONE || cue < bc_table_u8(BC_AT_CUES);
}

static uint8_t header(struct check *check, uint16_t size) {
    if (size < SHORTEST || bc_table_u16(BC_AT_LENGTH) != size) {
        return BC_REFUSAL_LENGTH;
    }
    check->end = (uint16_t)(size - BC_CRC_SIZE);
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
    bc_table_seek(BC_AT_OUTPUTS);
    if (!keeps_to(header_limits, sizeof header_limits) || !is_cue_or_none(BC_AT_IDLE) ||
        !is_cue_or_none(BC_AT_LOST)) {
        return BC_REFUSAL_COUNTS;
    }
    return BC_REFUSAL_ACCEPTED;
}

/* Whether `size` bytes from the cursor on lie before the CRC. */
static bool fits(const struct check *check, uint16_t size) {
    return size <= (uint16_t)(check->end - bc_table_tell());
}

static bool points_are_good(uint8_t points) {
    int16_t angle = 0;
    uint16_t pulse = 0;
    bool falls = false;
    uint8_t n;
    for (n = 0; n < points; n++) {
        int16_t next_angle = (int16_t)bc_next_u16();
        uint16_t next_pulse = bc_next_u16();
        if (n == 1) {
            falls = next_pulse < pulse;
        }
        if (next_pulse < BC_PULSE_MIN || next_pulse > BC_PULSE_MAX) {
            return false;
        }
        if (n > 0 &&
            (next_angle <= angle || next_pulse == pulse || (next_pulse < pulse) != falls)) {
            return false;
        }
        angle = next_angle;
        pulse = next_pulse;
    }
    return true;
}

/* The cursor stands behind kind and pin. */
static bool servo_is_good(struct check *check) {
    uint8_t points = bc_next_u8();
    int16_t low = (int16_t)bc_next_u16();
    int16_t high = (int16_t)bc_next_u16();
    uint16_t speed = bc_next_u16();
    uint16_t acceleration = bc_next_u16();
    int16_t safe = (int16_t)bc_next_u16();
    uint16_t first = bc_table_tell();
    check->servos++;
    return points >= 2 && points <= BC_POINTS && speed != 0 && acceleration != 0 &&
           points_are_good(points) && bc_table_i16(first) <= low && low <= safe && safe <= high &&
           high <= bc_table_i16((uint16_t)(bc_table_tell() - BC_POINT_SIZE)) &&
           check->servos <= BC_SERVOS;
}

static bool strip_is_good(struct check *check) {
    uint8_t pixels = bc_table_u8(bc_table_tell());
    check->strips++;
    if (!keeps_to(strip_limits, sizeof strip_limits) || check->strips > BC_STRIPS ||
        pixels > BC_PIXELS - check->pixels) {
        return false;
    }
    check->pixels = (uint8_t)(check->pixels + pixels);
    return bc_next_u8() < bc_table_u8(BC_AT_COLOURS);
}

static uint8_t output(struct check *check) {
    uint16_t start = bc_table_tell();
    uint16_t size;
    uint8_t kind;
    bool good;
    if (!fits(check, 1)) {
        return BC_REFUSAL_COUNTS;
    }
    kind = bc_table_u8(start);
    if (kind < BC_SERVO || kind > BC_SWITCH) {
        return BC_REFUSAL_OUTPUT;
    }
    if ((kind == BC_SERVO && !fits(check, BC_SERVO_SIZE)) ||
        !fits(check, size = bc_output_size(start))) {
        return BC_REFUSAL_COUNTS;
    }
    bc_table_seek((uint16_t)(start + BC_OUTPUT_SIZE));
    if (kind == BC_SERVO) {
        good = servo_is_good(check);
    } else if (kind == BC_STRIP) {
        good = strip_is_good(check);
    } else {
        good = keeps_to(kind == BC_LAMP ? lamp_limits : switch_limits, sizeof lamp_limits);
    }
    bc_table_seek((uint16_t)(start + size));
    return good ? BC_REFUSAL_ACCEPTED : BC_REFUSAL_OUTPUT;
}

static bool colour(struct check *check) {
    (void)check;
    return keeps_to(colour_limits, sizeof colour_limits);
}

/* The next two bytes are a share of at most a half. */
static bool is_half_share(uint16_t least) {
    uint16_t share = bc_next_u16();
    return share >= least && share <= 0x8000u;
}

static uint8_t law(struct check *check) {
    uint8_t size;
    uint8_t id;
    if (!fits(check, 1)) {
        return BC_REFUSAL_COUNTS;
    }
    id = bc_table_u8(bc_table_tell());
    if (id > BC_LAW_DOUBLE_S) {
        return BC_REFUSAL_RECORD;
    }
    size = bc_law_size(id);
    if (!fits(check, size)) {
        return BC_REFUSAL_COUNTS;
    }
    bc_next_u8();
    if ((size >= 3 && !is_half_share(BC_ALPHA_LEAST)) || (size >= 5 && !is_half_share(1))) {
        return BC_REFUSAL_RECORD;
    }
    return BC_REFUSAL_ACCEPTED;
}

static bool is_button(uint8_t value) {
    value = (uint8_t)(value & ~BC_FLAG);
    return value >= 1 && value <= BC_BUTTONS;
}

static bool input(struct check *check) {
    (void)check;
    bc_next_u8();
    return is_button(bc_next_u8());
}

static bool binding(struct check *check) {
    bool good = is_button(bc_next_u8());
    (void)check;
    return bc_next_u8() < bc_table_u8(BC_AT_CUES) && good;
}

static bool cue(struct check *check) {
    uint16_t start = bc_table_tell();
    uint16_t tag = bc_next_u16();
    uint16_t used = bc_next_u16();
    uint8_t flags = bc_next_u8();
    uint8_t outputs = bc_table_u8(BC_AT_OUTPUTS);
    uint16_t other;
    bc_next_u16();
    for (other = check->cues; other < start; other = (uint16_t)(other + BC_CUE_SIZE)) {
        if (bc_table_u16(other) == tag) {
            return false;
        }
    }
    return (outputs == BC_OUTPUTS || used >> outputs == 0) && (flags & 0x0F) < BC_CONFLICTS &&
           (uint8_t)((flags >> 4) - 1) < BC_THREADS;
}

/* Check all records of a section whose records have one size. */
static uint8_t section(struct check *check, bool (*one)(struct check *), uint8_t size, uint8_t count) {
    for (; count > 0; count--) {
        if (!fits(check, size)) {
            return BC_REFUSAL_COUNTS;
        }
        if (!one(check)) {
            return BC_REFUSAL_RECORD;
        }
        pause();
    }
    return BC_REFUSAL_ACCEPTED;
}

static uint8_t outputs_and_laws(struct check *check) {
    uint8_t left = bc_table_u8(BC_AT_OUTPUTS);
    uint8_t refusal = BC_REFUSAL_ACCEPTED;
    for (; left > 0 && refusal == BC_REFUSAL_ACCEPTED; left--) {
        refusal = output(check);
        pause();
    }
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = section(check, colour, BC_COLOUR_SIZE, bc_table_u8(BC_AT_COLOURS));
    }
    left = bc_table_u8(BC_AT_LAWS);
    for (; left > 0 && refusal == BC_REFUSAL_ACCEPTED; left--) {
        refusal = law(check);
    }
    return refusal;
}

static uint8_t records(struct check *check) {
    uint8_t refusal = outputs_and_laws(check);
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = section(check, input, BC_INPUT_SIZE, bc_table_u8(BC_AT_INPUTS));
    }
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = section(check, binding, BC_BINDING_SIZE, bc_table_u8(BC_AT_BINDINGS));
    }
    check->cues = bc_table_tell();
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = section(check, cue, BC_CUE_SIZE, bc_table_u8(BC_AT_CUES));
    }
    check->code = bc_table_tell();
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

static bool act_is_good(const struct bc_step *op) {
    bool wide = (op->code & BC_ACT_F) != 0;
    uint16_t servo = op->output.at;
    if (op->number >= bc_table_u8(BC_AT_OUTPUTS)) {
        return false;
    }
    if (op->output.kind == BC_SWITCH) {
        return !(op->code & (BC_ACT_WAIT | BC_ACT_LAW));
    }
    if ((op->code & BC_ACT_LAW) && op->law >= bc_table_u8(BC_AT_LAWS)) {
        return false;
    }
    if (op->output.kind == BC_SERVO) {
        return bc_table_i16((uint16_t)(servo + BC_SERVO_TRAVEL_LOW)) <= op->target &&
               op->target <= bc_table_i16((uint16_t)(servo + BC_SERVO_TRAVEL_HIGH));
    }
    return !wide && (op->output.kind == BC_LAMP ? op->target <= BC_LEVEL_MAX
                                                : op->target < bc_table_u8(BC_AT_COLOURS));
}

static bool effect_is_good(const struct bc_step *op) {
    uint8_t kind = bc_table_u8(op->operand);
    return op->number < bc_table_u8(BC_AT_OUTPUTS) &&
           (op->output.kind == BC_LAMP || op->output.kind == BC_STRIP) && kind < BC_EFFECTS &&
           (kind == BC_EFFECT_STEADY ||
            (bc_table_u16((uint16_t)(op->operand + 1)) >= BC_PERIOD_MIN &&
             bc_table_u8((uint16_t)(op->operand + 3)) <= BC_LEVEL_MAX));
}

static bool ends_thread(const struct bc_step *op) {
    return op->code == BC_OP_END || op->code == BC_OP_GO_ON;
}

/* Whether the op names another thread. */
static bool points(const struct bc_step *op) {
    return op->code == BC_OP_FORK || op->code == BC_OP_GO_ON;
}

/* An op that reaches beyond the end is read there, which does no harm, and then found out. */
static bool op_is_good(const struct check *check, const struct bc_step *op) {
    if (bc_table_tell() > check->end) {
        return false;
    }
    if (op->code < BC_OP_END) {
        return act_is_good(op);
    }
    return op->code == BC_OP_EFFECT ? effect_is_good(op) : op->code <= BC_OP_GO_ON;
}

/* The loops open in a thread: how many, and a bit for each that has waited, the innermost lowest. */
struct loops {
    uint8_t depth;
    uint8_t waited;
};

static bool nest(struct loops *loops, const struct bc_step *op) {
    if (op->code == BC_OP_LOOP) {
        loops->depth++;
        loops->waited = (uint8_t)(loops->waited << 1);
        return loops->depth <= BC_LOOP_DEPTH;
    }
    if (op->code == BC_OP_LOOP_END) {
        if (loops->depth == 0 || !(loops->waited & 1)) {
            return false;
        }
        loops->depth--;
        /* The loop around it has waited with it. */
        loops->waited = (uint8_t)(loops->waited >> 1 | 1);
        return true;
    }
    if (ends_thread(op)) {
        loops->waited = 0;
        return loops->depth == 0;
    }
    if (op->operand > 0 && (op->code == BC_OP_WAIT ||
                            (op->code < BC_OP_END && (op->code & BC_ACT_WAIT)))) {
        loops->waited |= 1;
    }
    return true;
}

/* Whether a thread starts at `target`, looking from the cursor on; `start`: one starts there. */
static bool starts_thread(const struct check *check, bool start, uint16_t target) {
    struct bc_step op;
    while (bc_table_tell() < target && bc_table_tell() < check->end) {
        bc_op_read(&op);
        start = ends_thread(&op);
        pause();
    }
    return bc_table_tell() == target && target < check->end && start;
}

/* All ops on their own; returns whether threads fill the code. */
static bool ops_are_good(const struct check *check) {
    struct loops loops = {0, 0};
    struct bc_step op;
    op.code = BC_OP_END;
    while (bc_table_tell() < check->end) {
        bc_op_read(&op);
        if (!op_is_good(check, &op) || !nest(&loops, &op)) {
            return false;
        }
        pause();
    }
    return ends_thread(&op);
}

/* That each fork and each go on points forward, to a thread's start; all ops are known to be good. */
static bool forks_are_good(const struct check *check) {
    struct bc_step op;
    bc_table_seek(check->code);
    while (bc_table_tell() < check->end) {
        uint16_t next;
        bc_op_read(&op);
        next = bc_table_tell();
        if (points(&op) && (op.operand < next || !starts_thread(check, ends_thread(&op), op.operand))) {
            return false;
        }
        bc_table_seek(next);
    }
    return true;
}

static bool cues_are_good(const struct check *check) {
    uint16_t at;
    uint16_t from = check->code;
    for (at = check->cues; at < check->code; at = (uint16_t)(at + BC_CUE_SIZE)) {
        uint16_t target = bc_table_u16((uint16_t)(at + BC_CUE_OFFSET));
        /* Cues mostly stand in the order of their code: go on from where the last one started. */
        if (target < from) {
            from = check->code;
        }
        bc_table_seek(from);
        if (!starts_thread(check, true, target)) {
            return false;
        }
        from = target;
    }
    return true;
}

uint8_t bc_check(uint16_t size) {
    struct check check = {0, 0, 0, 0, 0, 0};
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
