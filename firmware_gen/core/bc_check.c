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
    uint16_t start;   /* of the record that is being looked at */
    uint8_t left;     /* records of its section, this one included */
    uint8_t servos;
    uint8_t strips;
    uint8_t pixels;
    uint8_t loops;    /* see nest */
    uint8_t taken[4]; /* pins, a bit each */
    bool pin_is_bad;  /* told after faults of records */
};

/* -- bytes -------------------------------------------------------------------------------------- */

/*
 * Each byte of a header or a record has the least and the most that it may be. Instead of the least there may
 * be a mark; the lowest bit of those for an index is the least of what is then compared.
 */
enum mark {
    NUMBER = 0xFB,        /* the high byte of a number; instead of the most stands which limits it has */
    BELOW_OR_NONE = 0xFC, /* an index, or none; the most is where the header counts them */
    BELOW = 0xFD,         /* an index; likewise */
    PIN = 0xFE,           /* a pin for the job that stands instead of the most */
    BUTTON = 0xFF         /* a button, with or without the flag */
};

/* The limits of numbers of 16 bits. */
enum number { SOME, ALPHA, BETA, PERIOD, PULSE };
static const uint16_t number_limits[][2] BC_FLASH = {
    {1, 0xFFFF}, {BC_ALPHA_LEAST, MOST_SHARE}, {1, MOST_SHARE}, {BC_PERIOD_MIN, 0xFFFF}, {BC_PULSE_MIN, BC_PULSE_MAX}};

/* The header, then servo (without its points), lamp, strip, switch, colour, law, input, binding, cue, effect. */
static const uint8_t limits[][2] BC_FLASH = {
    {BC_MAGIC, BC_MAGIC}, {BC_VERSION, BC_VERSION}, {0, ANY}, {0, ANY}, {BC_CHIP, BC_CHIP},
    {1, ADDRESS_MAX}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY},
    {0, BC_OUTPUTS}, {0, BC_COLOURS}, {0, BC_INPUTS}, {0, BC_BINDINGS}, {0, BC_CUES}, {1, BC_LAWS},
    {BELOW_OR_NONE, BC_AT_CUES}, {BELOW_OR_NONE, BC_AT_CUES}, {0, ANY}, {0, BC_BUTTONS}, {1, ANY}, {0, ANY},
    {0, 0}, {0, 0},
    {1, 0}, /* no output */
    {0, ANY}, {PIN, BC_PIN_SERVO}, {2, BC_POINTS}, {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY},
    {0, ANY}, {NUMBER, SOME}, {0, ANY}, {NUMBER, SOME}, {0, ANY}, {0, ANY},
    {0, ANY}, {PIN, BC_PIN_LAMP}, {0, BC_LEVEL_MAX},
    {0, ANY}, {PIN, BC_PIN_STRIP}, {1, BC_PIXELS}, {0, BC_ORDERS - 1}, {0, ANY}, {0, ANY}, {BELOW, BC_AT_COLOURS},
    {0, ANY}, {PIN, BC_PIN_SWITCH}, {0, BC_ACTIVE_HIGH | BC_ON_WHEN_SAFE},
    {0, BC_LEVEL_MAX}, {0, BC_LEVEL_MAX}, {0, BC_LEVEL_MAX},
    {0, BC_LAW_DOUBLE_S}, {0, ANY}, {NUMBER, ALPHA}, {0, ANY}, {NUMBER, BETA},
    {PIN, BC_PIN_INPUT}, {BUTTON, BC_BUTTONS},
    {BUTTON, BC_BUTTONS}, {BELOW, BC_AT_CUES},
    {0, ANY}, {0, ANY}, {0, ANY}, {0, ANY}, {1 << 4, BC_THREADS << 4 | (BC_CONFLICTS - 1)}, {0, ANY}, {0, ANY},
    {0, BC_EFFECTS - 1}, {0, ANY}, {NUMBER, PERIOD}, {0, BC_LEVEL_MAX}, {0, ANY}, {0, ANY}};

/* The records in that order; outputs first, with their kinds. */
enum shape { NO_OUTPUT, SERVO, LAMP, STRIP, SWITCH, COLOUR, LAW, INPUT, BINDING, CUE, EFFECT };
BC_ASSERT(kinds_are_shapes, (int)SERVO == (int)BC_SERVO && (int)SWITCH == (int)BC_SWITCH);

/* How many rows of limits come before each. */
enum {
    NO_OUTPUT_LIMITS = BC_HEADER_SIZE,
    SERVO_LIMITS = NO_OUTPUT_LIMITS + 1,
    LAMP_LIMITS = SERVO_LIMITS + BC_SERVO_SIZE,
    STRIP_LIMITS = LAMP_LIMITS + BC_LAMP_SIZE,
    SWITCH_LIMITS = STRIP_LIMITS + BC_STRIP_SIZE,
    COLOUR_LIMITS = SWITCH_LIMITS + BC_SWITCH_SIZE,
    LAW_LIMITS = COLOUR_LIMITS + BC_COLOUR_SIZE,
    INPUT_LIMITS = LAW_LIMITS + 5, /* the longest law has these */
    BINDING_LIMITS = INPUT_LIMITS + BC_INPUT_SIZE,
    CUE_LIMITS = BINDING_LIMITS + BC_BINDING_SIZE,
    EFFECT_LIMITS = CUE_LIMITS + BC_CUE_SIZE,
    EFFECT_SIZE = 6,
    ALL_LIMITS = EFFECT_LIMITS + EFFECT_SIZE
};
static const uint8_t rows[] BC_FLASH = {NO_OUTPUT_LIMITS, SERVO_LIMITS, LAMP_LIMITS,  STRIP_LIMITS,
                                        SWITCH_LIMITS,    COLOUR_LIMITS, LAW_LIMITS,   INPUT_LIMITS,
                                        BINDING_LIMITS,   CUE_LIMITS,   EFFECT_LIMITS};
BC_ASSERT(rows_are_all, sizeof limits == 2 * ALL_LIMITS);

/* Where the header counts outputs, then the records from colours on. */
static const uint8_t counted_at[] BC_FLASH = {BC_AT_OUTPUTS, BC_AT_COLOURS,  BC_AT_LAWS,
                                              BC_AT_INPUTS,  BC_AT_BINDINGS, BC_AT_CUES};

static void take_pin(struct check *check, uint8_t pin, uint8_t job) {
    if (!(bc_hal_pin(pin) & job) || bc_bit(check->taken, pin & PIN_MASK, BC_BIT_SET)) {
        check->pin_is_bad = true;
    }
}

/* Whether a number is neither less nor more than it may be. */
static BC_APART bool number_is_good(uint8_t number, uint16_t value) {
    const uint16_t *limit = number_limits[number];
    return value >= bc_flash_u16(limit) && value <= bc_flash_u16(limit + 1);
}

/*
 * How many of the next `count` bytes are left where one does not keep to the limits from this row on, that one included;
 * 0: all do. Bad pins are only noted.
 */
static BC_APART uint8_t astray(struct check *check, uint8_t row, uint8_t count) {
    const uint8_t *limit = limits[row];
    uint8_t byte = 0;
    for (; count > 0; count--) {
        uint8_t least = bc_flash_u8(limit++);
        uint8_t most = bc_flash_u8(limit++);
        uint8_t before = byte;
        byte = bc_next_u8();
        if (least == PIN) {
            take_pin(check, byte, most);
            continue;
        }
        if (least == NUMBER) {
            if (!number_is_good(most, (uint16_t)((uint16_t)byte << 8 | before))) {
                break;
            }
            continue;
        }
        if (least == BUTTON) {
            byte = (uint8_t)(byte & ~BC_FLAG);
            least = 1;
        } else if (least >= BELOW_OR_NONE) {
            byte++; /* so that none is 0 */
            most = bc_header(most);
            least &= 1;
        }
        if (byte < least || byte > most) {
            break;
        }
    }
    return count;
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

static uint8_t header(struct check *check, uint8_t first, uint16_t crc) {
    enum { BEHIND_ADDRESS = BC_HEADER_SIZE - BC_AT_SHOW, FROM_VERSION = BC_HEADER_SIZE - BC_AT_VERSION };
    uint8_t left;
    if (bc_table_u16(BC_AT_LENGTH) != (uint16_t)(check->end + BC_CRC_SIZE)) {
        return BC_REFUSAL_LENGTH;
    }
    if (first != BC_MAGIC) {
        return BC_REFUSAL_MAGIC;
    }
    bc_table_seek(BC_AT_VERSION);
    left = astray(check, BC_AT_VERSION, FROM_VERSION);
    if (left == FROM_VERSION) {
        return BC_REFUSAL_VERSION;
    }
    if (bc_table_u16(check->end) != crc) {
        return BC_REFUSAL_CRC;
    }
    if (left > BEHIND_ADDRESS) { /* at the address one more, at the chip two */
        return (uint8_t)(BC_REFUSAL_ADDRESS + BEHIND_ADDRESS + 1 - left);
    }
    return left > 0 ? BC_REFUSAL_COUNTS : BC_REFUSAL_ACCEPTED;
}

/* -- code -------------------------------------------------------------------------------------- */

/* `next`: where the next op starts. */
static bool act_is_good(struct check *check, const struct bc_step *op, uint16_t next) {
    uint8_t kind = op->output.kind;
    if (kind == BC_SWITCH) {
        return !(op->code & (BC_ACT_WAIT | BC_ACT_LAW));
    }
    if ((op->code & BC_ACT_LAW) && op->law >= bc_header(BC_AT_LAWS)) {
        return false;
    }
    if (kind == BC_SERVO) {
        bc_table_seek((uint16_t)(op->output.at + BC_SERVO_TRAVEL_LOW));
        return (int16_t)bc_next_u16() <= op->target && op->target <= (int16_t)bc_next_u16();
    }
    bc_table_seek((uint16_t)(next - 1)); /* a target like the level or colour of a record */
    return !(op->code & BC_ACT_F) &&
           !astray(check, kind == BC_LAMP ? LAMP_LIMITS + BC_LAMP_SAFE_LEVEL : STRIP_LIMITS + BC_STRIP_SAFE_COLOUR, 1);
}

static bool effect_is_good(struct check *check, const struct bc_step *op, uint16_t next) {
    bc_table_seek(op->operand);
    return (op->output.kind == BC_LAMP || op->output.kind == BC_STRIP) &&
           !astray(check, EFFECT_LIMITS, (uint8_t)(next - op->operand));
}

static bool ends_thread(const struct bc_step *op) {
    return op->code == BC_OP_END || op->code == BC_OP_GO_ON;
}

/*
 * Whether a thread starts where a fork or go on points to, looking from behind it on; reads over the op. Leads astray where
 * ops are bad, and those are found for themselves.
 */
static bool points_to_thread(const struct check *check, struct bc_step *op) {
    uint16_t target = op->operand;
    if (target >= check->end) {
        return false;
    }
    while (bc_table_tell() < target) {
        bc_op_read(op);
        pause();
    }
    return bc_table_tell() == target && ends_thread(op);
}

/*
 * `next`: where the next op starts. An op that reaches beyond the end is read there, which does no harm, and then found
 * out. May read over the op.
 */
static bool op_is_good(struct check *check, struct bc_step *op, uint16_t next) {
    if (next > check->end || op->code > BC_OP_GO_ON || (op->operand > BC_DURATION_MAX && op->code != BC_OP_LOOP)) {
        return false;
    }
    if (op->code < BC_OP_END || op->code == BC_OP_EFFECT) {
        return op->number < bc_header(BC_AT_OUTPUTS) &&
               (op->code < BC_OP_END ? act_is_good(check, op, next) : effect_is_good(check, op, next));
    }
    if (op->code == BC_OP_FORK || op->code == BC_OP_GO_ON) {
        return points_to_thread(check, op);
    }
    return true;
}

/*
 * The loops open in a thread, in one byte: from the lowest bit on whether each has waited, the innermost first, and the
 * thread itself last; a 1 above. Between threads 0.
 */
enum {
    BETWEEN_THREADS = 0,
    HAS_WAITED = 1,
    NO_LOOP = 2,
    A_LOOP = NO_LOOP << 1,
    TOO_DEEP = NO_LOOP << (BC_LOOP_DEPTH + 1)
};

static bool nest(struct check *check, const struct bc_step *op) {
    uint8_t loops = check->loops == BETWEEN_THREADS ? NO_LOOP : check->loops;
    bool good = true;
    if (op->code == BC_OP_LOOP) {
        loops = (uint8_t)(loops << 1);
        good = loops < TOO_DEEP;
    } else if (op->code == BC_OP_LOOP_END) {
        good = loops >= A_LOOP && (loops & HAS_WAITED);
        loops = (uint8_t)(loops >> 1 | HAS_WAITED); /* the loop around it has waited with it */
    } else if (ends_thread(op)) {
        good = loops < A_LOOP;
        loops = BETWEEN_THREADS;
    } else if (op->operand > 0 && (op->code == BC_OP_WAIT ||
                                   (op->code < BC_OP_END && (op->code & BC_ACT_WAIT)))) {
        loops |= HAS_WAITED;
    }
    check->loops = loops;
    return good;
}

/* Of the `count` cues before `at`: how many have this number in their first bytes; in those further on, if `at` is further. */
static uint8_t cues_with(uint16_t number, uint16_t at, uint8_t count) {
    uint8_t found = 0;
    for (; count > 0; count--) {
        at = (uint16_t)(at - BC_CUE_SIZE);
        if (bc_table_u16(at) == number) {
            found++;
        }
    }
    return found;
}

/* All ops from the cursor on, that threads fill the code, and that each cue starts with one. */
static bool code_is_good(struct check *check) {
    uint16_t code = bc_table_tell();
    uint8_t cues = bc_header(BC_AT_CUES);
    uint8_t started = 0;
    for (;;) {
        struct bc_step op;
        uint16_t next = bc_table_tell();
        if (next >= check->end) {
            return check->loops == BETWEEN_THREADS && started == cues;
        }
        if (check->loops == BETWEEN_THREADS) {
            started = (uint8_t)(started + cues_with(next, (uint16_t)(code + BC_CUE_OFFSET), cues));
        }
        bc_op_read(&op);
        next = bc_table_tell();
        if (!nest(check, &op) || !op_is_good(check, &op, next)) {
            return false;
        }
        bc_table_seek(next);
        pause();
    }
}

/* -- records ------------------------------------------------------------------------------------ */

/* What each byte's limits leave open. The cursor stands at the third byte of the record. */
static bool servo_is_good(struct check *check) {
    enum { RISES = 1, FALLS = 2 };
    uint8_t ways = 0; /* of the pulses, from point to point */
    uint8_t left = bc_next_u8();
    int16_t low = (int16_t)bc_next_u16();
    int16_t high = (int16_t)bc_next_u16();
    int16_t safe;
    int16_t angle;
    uint16_t pulse;
    bc_table_seek((uint16_t)(check->start + BC_SERVO_SAFE_ANGLE));
    safe = (int16_t)bc_next_u16();
    angle = (int16_t)bc_next_u16();
    pulse = bc_next_u16();
    check->servos++;
    if (check->servos > BC_SERVOS || low > safe || safe > high || angle > low) {
        return false;
    }
    for (;;) {
        int16_t last_angle = angle;
        uint16_t last_pulse = pulse;
        if (!number_is_good(PULSE, pulse)) {
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

static bool cue_is_good(const struct check *check) {
    uint16_t used = bc_next_u16();
    uint8_t flags = bc_next_u8();
    uint8_t outputs;
    for (outputs = bc_header(BC_AT_OUTPUTS); outputs > 0; outputs--) {
        used >>= 1;
    }
    return used == 0 && (flags & 0x0F) < BC_CONFLICTS &&
           cues_with(bc_table_u16(check->start), check->start, (uint8_t)(bc_header(BC_AT_CUES) - check->left)) == 0;
}

/* Whether what depends on more than the limits of a record is good. */
static bool agrees(struct check *check, uint8_t shape) {
    bc_table_seek((uint16_t)(check->start + 2));
    switch (shape) {
    case SERVO:
        return servo_is_good(check);
    case STRIP:
        return strip_is_good(check);
    case CUE:
        return cue_is_good(check);
    default:
        return true;
    }
}

/* Look at the record at the cursor, and go behind it. Of what is no output only the first byte counts. */
static uint8_t record(struct check *check, uint8_t section) {
    uint16_t start = bc_table_tell();
    uint8_t first = bc_table_u8(start);
    uint8_t shape = (uint8_t)(section + SWITCH);
    uint8_t row;
    uint8_t size;
    uint16_t whole; /* a servo's points included */
    if (section == 0) {
        shape = first;
        if (shape > SWITCH) {
            shape = NO_OUTPUT;
        }
    }
    row = bc_flash_u8(&rows[shape]);
    size = (uint8_t)(bc_flash_u8(&rows[shape + 1]) - row);
    if (shape == LAW) {
        size = bc_law_size(first);
    }
    whole = shape == SERVO ? bc_output_size(start) : size;
    check->start = start;
    if (whole > (uint16_t)(check->end - start)) {
        return BC_REFUSAL_COUNTS;
    }
    if (astray(check, row, size) || !agrees(check, shape)) {
        return section == 0 ? BC_REFUSAL_OUTPUT : BC_REFUSAL_RECORD;
    }
    bc_table_seek((uint16_t)(start + whole));
    return BC_REFUSAL_ACCEPTED;
}

static uint8_t records(struct check *check) {
    uint8_t section;
    for (section = 0; section < sizeof counted_at; section++) {
        for (check->left = bc_header(bc_flash_u8(&counted_at[section])); check->left > 0; check->left--) {
            uint8_t refusal = record(check, section);
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
    if (refusal == BC_REFUSAL_ACCEPTED && !code_is_good(check)) {
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
    *crc = crc_of(first, check.end);
    refusal = header(&check, first, *crc);
    return refusal == BC_REFUSAL_ACCEPTED ? body(&check) : refusal;
}
