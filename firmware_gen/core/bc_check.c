/*
 * Every offset is compared with the end before a byte is read there, and every rule on which the
 * player relies is checked here, so that the player checks nothing.
 */
#include "bc_check.h"

#include <stdbool.h>

#include "bc_bits.h"
#include "bc_compiler.h"
#include "bc_link.h"
#include "bc_math.h"
#include "bc_ops.h"
#include "bc_player.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { SHORTEST = BC_HEADER_SIZE + BC_CRC_SIZE, ADDRESS_MAX = 254, PIN_MASK = 31, ANY = 0xFF };

/* Of a law's parameters: a half. */
#define MOST_SHARE 0x8000u

/* What is known of the table as the check goes on. */
struct check {
    uint16_t end;     /* where the CRC starts */
    uint16_t section; /* where the section starts whose records are being looked at */
    uint16_t from;    /* where the thread starts that the last cue points to */
    uint8_t servos;
    uint8_t strips;
    uint8_t pixels;
    uint8_t loops;    /* see nest */
    uint8_t taken[4]; /* pins, a bit each */
    bool pin_is_bad;  /* both are told after faults of records */
    bool cue_is_bad;
};

/* -- bytes -------------------------------------------------------------------------------------- */

/*
 * Each byte of a header or a record has the least and the most that it may be. Instead of the least there may
 * be a mark; the lowest bit of the first three is the least of what is then compared.
 */
enum mark {
    BELOW_OR_NONE = 0xFC, /* an index, or none; the most is where the header counts them */
    BELOW = 0xFD,         /* an index; likewise */
    PIN = 0xFE,           /* a pin for the job that stands instead of the most */
    BUTTON = 0xFF         /* a button, with or without the flag */
};

/* The header, then servo (without its points), lamp, strip, switch, colour, law, input, binding, cue. */
static const uint8_t limits[][2] BC_FLASH = {
    {BC_MAGIC, BC_MAGIC}, {BC_VERSION, BC_VERSION}, {0, ANY}, {0, ANY}, {BC_CHIP, BC_CHIP},
    {1, ADDRESS_MAX}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY},
    {0, BC_OUTPUTS}, {0, BC_COLOURS}, {0, BC_INPUTS}, {0, BC_BINDINGS}, {0, BC_CUES}, {1, BC_LAWS},
    {BELOW_OR_NONE, BC_AT_CUES}, {BELOW_OR_NONE, BC_AT_CUES}, {0, ANY}, {0, BC_BUTTONS}, {1, ANY}, {0, ANY},
    {0, 0}, {0, 0},
    {0, ANY}, {PIN, BC_PIN_SERVO}, {2, BC_POINTS}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY},
    {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY},
    {0, ANY}, {PIN, BC_PIN_LAMP}, {0, BC_LEVEL_MAX},
    {0, ANY}, {PIN, BC_PIN_STRIP}, {1, BC_PIXELS}, {0, BC_ORDERS - 1}, {0, ANY}, {0, ANY}, {BELOW, BC_AT_COLOURS},
    {0, ANY}, {PIN, BC_PIN_SWITCH}, {0, BC_ACTIVE_HIGH | BC_ON_WHEN_SAFE},
    {0, BC_LEVEL_MAX}, {0, BC_LEVEL_MAX}, {0, BC_LEVEL_MAX},
    {0, BC_LAW_DOUBLE_S}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY},
    {PIN, BC_PIN_INPUT}, {BUTTON, BC_BUTTONS},
    {BUTTON, BC_BUTTONS}, {BELOW, BC_AT_CUES},
    {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY}};

/* The records in that order; the first four are the outputs, in the order of their kinds. */
enum shape { SERVO, LAMP, STRIP, SWITCH, COLOUR, LAW, INPUT, BINDING, CUE };

/* How many rows of limits come before each. */
enum {
    SERVO_LIMITS = BC_HEADER_SIZE,
    LAMP_LIMITS = SERVO_LIMITS + BC_SERVO_SIZE,
    STRIP_LIMITS = LAMP_LIMITS + BC_LAMP_SIZE,
    SWITCH_LIMITS = STRIP_LIMITS + BC_STRIP_SIZE,
    COLOUR_LIMITS = SWITCH_LIMITS + BC_SWITCH_SIZE,
    LAW_LIMITS = COLOUR_LIMITS + BC_COLOUR_SIZE,
    INPUT_LIMITS = LAW_LIMITS + 5, /* the longest law has these */
    BINDING_LIMITS = INPUT_LIMITS + BC_INPUT_SIZE,
    CUE_LIMITS = BINDING_LIMITS + BC_BINDING_SIZE,
    ALL_LIMITS = CUE_LIMITS + BC_CUE_SIZE
};
static const uint8_t rows[] BC_FLASH = {SERVO_LIMITS, LAMP_LIMITS,  STRIP_LIMITS,   SWITCH_LIMITS, COLOUR_LIMITS,
                                        LAW_LIMITS, INPUT_LIMITS, BINDING_LIMITS, CUE_LIMITS,    ALL_LIMITS};
BC_ASSERT(rows_are_all, sizeof limits == 2 * ALL_LIMITS);

/* Where the header counts outputs, then the records from colours on. */
static const uint8_t counted_at[] BC_FLASH = {BC_AT_OUTPUTS, BC_AT_COLOURS,  BC_AT_LAWS,
                                              BC_AT_INPUTS,  BC_AT_BINDINGS, BC_AT_CUES};

static void take_pin(struct check *check, uint8_t pin, uint8_t job) {
    if (!(bc_hal_pin(pin) & job) || bc_bit(check->taken, pin & PIN_MASK, BC_BIT_SET)) {
        check->pin_is_bad = true;
    }
}

/* Whether a byte keeps to its limits; a bad pin is only noted. */
static bool byte_is_good(struct check *check, uint8_t least, uint8_t most, uint8_t byte) {
    if (least == PIN) {
        take_pin(check, byte, most);
        return true;
    }
    if (least >= BELOW_OR_NONE) {
        if (least == BUTTON) {
            byte = (uint8_t)(byte & ~BC_FLAG);
        } else {
            byte++; /* so that none is 0 */
            most = bc_table_u8(most);
        }
        least &= 1;
    }
    return byte >= least && byte <= most;
}

/* Whether the next `count` bytes keep to the limits from this row on. All are read. */
static BC_APART bool keeps_to(struct check *check, uint8_t row, uint8_t count) {
    const uint8_t *limit = limits[row];
    bool good = true;
    for (; count > 0; count--) {
        uint8_t least = bc_flash_u8(limit++);
        uint8_t most = bc_flash_u8(limit++);
        if (!byte_is_good(check, least, most, bc_next_u8())) {
            good = false;
        }
    }
    return good;
}

/* Whether it is neither less nor more. */
static bool is_within(uint16_t value, uint16_t least, uint16_t most) {
    return value >= least && value <= most;
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

/* CRC of the bytes up to `end`, byte 0 being `byte`. */
static uint16_t crc_of(uint8_t byte, uint16_t end) {
    uint16_t crc = BC_CRC_START;
    bc_table_seek(1);
    for (;;) {
        uint16_t at = bc_table_tell();
        crc = bc_crc(crc, byte);
        if (at == end) {
            return crc;
        }
        if (((uint8_t)at & 15) == 0) {
            pause();
        }
        byte = bc_next_u8();
    }
}

/* Behind the magic: how many bytes are looked at for each refusal, from that for the version on. */
static const uint8_t header_parts[] BC_FLASH = {1, BC_AT_CHIP - BC_AT_LENGTH, 1, 1, BC_HEADER_SIZE - BC_AT_SHOW};

static uint8_t header(struct check *check, uint8_t first, uint16_t crc) {
    uint8_t refusal;
    if (bc_table_u16(BC_AT_LENGTH) != (uint16_t)(check->end + BC_CRC_SIZE)) {
        return BC_REFUSAL_LENGTH;
    }
    if (first != BC_MAGIC) {
        return BC_REFUSAL_MAGIC;
    }
    bc_table_seek(BC_AT_VERSION);
    for (refusal = BC_REFUSAL_VERSION; refusal <= BC_REFUSAL_COUNTS; refusal++) {
        uint8_t at = (uint8_t)bc_table_tell();
        if (!keeps_to(check, at, bc_flash_u8(&header_parts[refusal - BC_REFUSAL_VERSION])) ||
            (refusal == BC_REFUSAL_CRC && bc_table_u16(check->end) != crc)) {
            return refusal;
        }
    }
    return BC_REFUSAL_ACCEPTED;
}

/* -- code -------------------------------------------------------------------------------------- */

static bool act_is_good(const struct bc_step *op) {
    uint8_t kind = op->output.kind;
    if (kind == BC_SWITCH) {
        return !(op->code & (BC_ACT_WAIT | BC_ACT_LAW));
    }
    if ((op->code & BC_ACT_LAW) && op->law >= bc_table_u8(BC_AT_LAWS)) {
        return false;
    }
    if (kind == BC_SERVO) {
        bc_table_seek((uint16_t)(op->output.at + BC_SERVO_TRAVEL_LOW));
        return (int16_t)bc_next_u16() <= op->target && op->target <= (int16_t)bc_next_u16();
    }
    if (op->code & BC_ACT_F) {
        return false;
    }
    /* the target is one byte */
    return kind == BC_LAMP ? (uint8_t)op->target <= BC_LEVEL_MAX : (uint8_t)op->target < bc_table_u8(BC_AT_COLOURS);
}

static bool effect_is_good(const struct bc_step *op) {
    uint8_t kind = bc_table_u8(op->operand);
    return (op->output.kind == BC_LAMP || op->output.kind == BC_STRIP) && kind < BC_EFFECTS &&
           (kind == BC_EFFECT_STEADY ||
            (bc_table_u16((uint16_t)(op->operand + 1)) >= BC_PERIOD_MIN &&
             bc_table_u8((uint16_t)(op->operand + 3)) <= BC_LEVEL_MAX));
}

static bool ends_thread(const struct bc_step *op) {
    return op->code == BC_OP_END || op->code == BC_OP_GO_ON;
}

/*
 * Whether a thread starts at `target`, looking from the cursor on; `start`: one starts there. Leads astray
 * where ops are bad, and those are found for themselves.
 */
static BC_APART bool starts_thread(const struct check *check, bool start, uint16_t target) {
    struct bc_step op;
    if (target >= check->end) {
        return false;
    }
    while (bc_table_tell() < target) {
        bc_op_read(&op);
        start = ends_thread(&op);
        pause();
    }
    return bc_table_tell() == target && start;
}

/* `next`: where the next op starts. An op that reaches beyond the end is read there, which does no harm, and then found out. */
static bool op_is_good(const struct check *check, const struct bc_step *op, uint16_t next) {
    if (next > check->end || op->code > BC_OP_GO_ON) {
        return false;
    }
    if (op->code < BC_OP_END || op->code == BC_OP_EFFECT) {
        return op->number < bc_table_u8(BC_AT_OUTPUTS) &&
               (op->code < BC_OP_END ? act_is_good(op) : effect_is_good(op));
    }
    if (op->code == BC_OP_FORK || op->code == BC_OP_GO_ON) {
        return op->operand >= next && starts_thread(check, op->code == BC_OP_GO_ON, op->operand);
    }
    return true;
}

/*
 * The loops open in a thread, in one byte: from the lowest bit on whether each has waited, the innermost first, and the
 * thread itself last; a 1 above.
 */
enum { NO_LOOP = 2, A_LOOP = NO_LOOP << 1, TOO_DEEP = NO_LOOP << (BC_LOOP_DEPTH + 1), HAS_WAITED = 1 };

static bool nest(struct check *check, const struct bc_step *op) {
    uint8_t loops = check->loops;
    bool good = true;
    if (op->code == BC_OP_LOOP) {
        loops = (uint8_t)(loops << 1);
        good = loops < TOO_DEEP;
    } else if (op->code == BC_OP_LOOP_END) {
        good = loops >= A_LOOP && (loops & HAS_WAITED);
        loops = (uint8_t)(loops >> 1 | HAS_WAITED); /* the loop around it has waited with it */
    } else if (ends_thread(op)) {
        good = loops < A_LOOP;
        loops = NO_LOOP;
    } else if (op->operand > 0 && (op->code == BC_OP_WAIT ||
                                   (op->code < BC_OP_END && (op->code & BC_ACT_WAIT)))) {
        loops |= HAS_WAITED;
    }
    check->loops = loops;
    return good;
}

/* All ops from the cursor on, and that threads fill the code. */
static bool code_is_good(struct check *check) {
    struct bc_step op;
    op.code = BC_OP_END;
    while (bc_table_tell() < check->end) {
        uint16_t next;
        bc_op_read(&op);
        next = bc_table_tell();
        if (!op_is_good(check, &op, next) || !nest(check, &op)) {
            return false;
        }
        bc_table_seek(next);
        pause();
    }
    return ends_thread(&op);
}

/* -- records ------------------------------------------------------------------------------------ */

/* What each byte's limits leave open. The cursor stands at the third byte of the record. */
static bool servo_is_good(struct check *check) {
    enum { RISES = 1, FALLS = 2 };
    uint8_t ways = 0; /* of the pulses, from point to point */
    uint8_t left = bc_next_u8();
    int16_t low = (int16_t)bc_next_u16();
    int16_t high = (int16_t)bc_next_u16();
    bool good = bc_next_u16() != 0 && bc_next_u16() != 0; /* the limits of speed and acceleration */
    int16_t safe = (int16_t)bc_next_u16();
    int16_t angle = (int16_t)bc_next_u16();
    uint16_t pulse = bc_next_u16();
    check->servos++;
    if (!good || check->servos > BC_SERVOS || low > safe || safe > high || angle > low) {
        return false;
    }
    for (;;) {
        int16_t last_angle = angle;
        uint16_t last_pulse = pulse;
        if (!is_within(pulse, BC_PULSE_MIN, BC_PULSE_MAX)) {
            return false;
        }
        left--;
        if (left == 0) {
            return high <= angle;
        }
        angle = (int16_t)bc_next_u16();
        pulse = bc_next_u16();
        if (angle <= last_angle || pulse == last_pulse) {
            return false;
        }
        ways |= pulse > last_pulse ? RISES : FALLS;
        if (ways == (RISES | FALLS)) {
            return false;
        }
    }
}

static bool strip_is_good(struct check *check) {
    uint8_t pixels = (uint8_t)(check->pixels + bc_next_u8());
    check->pixels = pixels;
    check->strips++;
    return check->strips <= BC_STRIPS && pixels <= BC_PIXELS;
}

/* Its parameters. */
static bool law_is_good(uint16_t start, uint8_t size) {
    return (size < 3 || is_within(bc_table_u16((uint16_t)(start + 1)), BC_ALPHA_LEAST, MOST_SHARE)) &&
           (size < 5 || is_within(bc_table_u16((uint16_t)(start + 3)), 1, MOST_SHARE));
}

/* Look at the cue's start, which is told after faults of the other records; `code`: where the code starts. */
static void look_at_thread(struct check *check, uint16_t code, uint16_t target) {
    /* Cues mostly stand in the order of their code: go on from where the last one started. */
    if (target < check->from) {
        check->from = code;
    }
    bc_table_seek(check->from);
    if (!starts_thread(check, true, target)) {
        check->cue_is_bad = true;
    }
    check->from = target;
}

/* `start`: of the record; `code`: of the code. */
static bool cue_is_good(struct check *check, uint16_t start, uint16_t code) {
    uint16_t used = bc_next_u16();
    uint8_t flags = bc_next_u8();
    uint8_t outputs;
    uint16_t other = start;
    look_at_thread(check, code, bc_next_u16());
    while (other != check->section) {
        other = (uint16_t)(other - BC_CUE_SIZE);
        if (bc_table_u16(other) == bc_table_u16(start)) {
            return false;
        }
    }
    for (outputs = bc_table_u8(BC_AT_OUTPUTS); outputs > 0; outputs--) {
        used >>= 1;
    }
    return used == 0 && (flags & 0x0F) < BC_CONFLICTS && (uint8_t)((flags >> 4) - 1) < BC_THREADS;
}

/* Whether what depends on more than one byte of a record is good. */
static BC_APART bool agrees(struct check *check, uint8_t shape, uint16_t start, uint8_t size, uint8_t left) {
    bc_table_seek((uint16_t)(start + 2));
    switch (shape) {
    case SERVO:
        return servo_is_good(check);
    case STRIP:
        return strip_is_good(check);
    case LAW:
        return law_is_good(start, size);
    case CUE:
        return cue_is_good(check, start, (uint16_t)(start + (uint16_t)(BC_CUE_SIZE * left)));
    default:
        return true;
    }
}

/* Look at the record at the cursor, and go behind it. `left`: as many follow, this one included. */
static uint8_t record(struct check *check, uint8_t section, uint8_t left) {
    uint16_t start = bc_table_tell();
    uint16_t room = (uint16_t)(check->end - start);
    uint8_t shape = (uint8_t)(section + SWITCH);
    uint8_t refusal = BC_REFUSAL_RECORD;
    uint8_t row;
    uint8_t size;
    uint16_t whole; /* a servo's points included */
    if (room == 0) {
        return BC_REFUSAL_COUNTS;
    }
    if (section == 0) {
        refusal = BC_REFUSAL_OUTPUT;
        shape = (uint8_t)(bc_table_u8(start) - BC_SERVO);
        if (shape > SWITCH) {
            return refusal;
        }
    }
    row = bc_flash_u8(&rows[shape]);
    size = (uint8_t)(bc_flash_u8(&rows[shape + 1]) - row);
    if (shape == LAW) {
        size = bc_law_size(bc_table_u8(start));
    }
    whole = size;
    if (shape == SERVO && size <= room) {
        whole = bc_output_size(start);
    }
    if (whole > room) {
        return BC_REFUSAL_COUNTS;
    }
    if (!keeps_to(check, row, size) || !agrees(check, shape, start, size, left)) {
        return refusal;
    }
    bc_table_seek((uint16_t)(start + whole));
    return BC_REFUSAL_ACCEPTED;
}

static uint8_t records(struct check *check) {
    uint8_t section;
    for (section = 0; section < sizeof counted_at; section++) {
        uint8_t left = bc_table_u8(bc_flash_u8(&counted_at[section]));
        check->section = bc_table_tell();
        for (; left > 0; left--) {
            uint8_t refusal = record(check, section, left);
            if (refusal != BC_REFUSAL_ACCEPTED) {
                return refusal;
            }
            pause();
        }
    }
    return BC_REFUSAL_ACCEPTED;
}

/* After the header. */
static uint8_t body(struct check *check) {
    uint8_t refusal = records(check);
    if (refusal == BC_REFUSAL_ACCEPTED && check->pin_is_bad) {
        refusal = BC_REFUSAL_PIN;
    }
    if (refusal == BC_REFUSAL_ACCEPTED && (!code_is_good(check) || check->cue_is_bad)) {
        refusal = BC_REFUSAL_CODE;
    }
    return refusal;
}

uint8_t bc_check(uint16_t size, uint8_t first, uint16_t *crc) {
    struct check check;
    uint8_t refusal;
    uint8_t n;
    for (n = 0; n < sizeof check; n++) {
        ((uint8_t *)&check)[n] = 0;
    }
    if (size < SHORTEST) {
        return BC_REFUSAL_LENGTH;
    }
    check.end = (uint16_t)(size - BC_CRC_SIZE);
    check.from = 0xFFFF;
    check.loops = NO_LOOP;
    *crc = crc_of(first, check.end);
    refusal = header(&check, first, *crc);
    return refusal == BC_REFUSAL_ACCEPTED ? body(&check) : refusal;
}
