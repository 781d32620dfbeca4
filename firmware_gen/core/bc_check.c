/*
 * Every offset is compared with the end before a byte is read there, and every rule on which the
 * player relies is checked here, so that the player checks nothing. Section numbers are TABLE.md's.
 */
#include "bc_check.h"

#include <stdbool.h>
#include <string.h>

#include "bc_bits.h"
#include "bc_flash.h"
#include "bc_link.h"
#include "bc_math.h"
#include "bc_ops.h"
#include "bc_player.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { SHORTEST = BC_HEADER_SIZE + BC_CRC_SIZE };

/* Threads whose starts are compared with the pointers at once: as many as there is room for on the
 * stack. */
enum { THREADS_AT_ONCE = 24 };

/* What is known of the table as the check goes on. */
struct check {
    uint16_t end; /* where the CRC starts */
    uint8_t servos;
    uint8_t strips;
    uint8_t pixels;
    uint8_t strands;
    uint8_t strand_threads; /* of all strands */
    uint16_t strand_outputs;
    uint8_t taken[BC_PORTS]; /* pins, a bit each */
    bool pin_is_bad;         /* told after faults of records */
#if BC_CHIP_SENSES
    uint16_t cues_end;
    uint8_t lamps[BC_PORTS]; /* pins that are lamps, a bit each */
    uint8_t channels;
    uint8_t bands;
    uint8_t sensor_count;
    uint16_t sensors; /* which sources are sensors, a bit each */
    bool has_watch;
    uint16_t followers; /* outputs that follow, a bit each */
    uint16_t bars;      /* strips that show a level, a bit each */
    bool has_radio;
    uint8_t answers; /* records of boards that do */
    uint32_t scaled; /* cues, a bit each */
#endif
    uint16_t pointers_end; /* behind the last op that points to a thread; 0: there is none */
};

/* Between two steps: cells may be written, and whatever is due be done, with the table that plays.
 */
static void pause(void) {
    uint16_t cursor = bc_table_tell();
    uint8_t checked = bc_table_choose(bc_player_source());
    bc_table_release();
    bc_listen();
    bc_hal_pause();
    bc_table_choose(checked);
    bc_table_seek(cursor);
}

/* -- header: 1.1 ---------------------------------------------------------------------------- */

/* CRC of the bytes up to `end`, byte 0 being `byte`. */
static uint16_t crc_of(uint8_t byte, uint16_t end) {
    enum { BYTES_BETWEEN_PAUSES = 16 };
    struct bc_crc crc = BC_CRC_START;
    uint16_t at;
    crc = bc_crc(crc, byte);
    for (at = 1; at < end; at++) {
        if (at % BYTES_BETWEEN_PAUSES == 0) {
            pause();
        }
        crc = bc_crc(crc, bc_table_u8(at));
    }
    return bc_u16(crc.low, crc.high);
}

static bool is_index(uint8_t value, uint8_t count_at) { return value < bc_header(count_at); }

static bool role_is_good(void) {
    uint8_t role = bc_header(BC_AT_ROLE);
    return role <= BC_ROLE_FOLLOWS && (BC_CHIP_LEADS || role != BC_ROLE_LEADS) &&
           (BC_CHIP_FOLLOWS || role != BC_ROLE_FOLLOWS);
}

static bool counts_are_good(void) {
    uint8_t lost = bc_header(BC_AT_LOST);
    uint8_t laws = bc_header(BC_AT_LAWS);
    return bc_header(BC_AT_OUTPUTS) <= BC_OUTPUTS && bc_header(BC_AT_COLOURS) <= BC_COLOURS &&
           bc_header(BC_AT_INPUTS) <= BC_INPUTS && bc_header(BC_AT_BINDINGS) <= BC_BINDINGS &&
           bc_header(BC_AT_CUES) <= BC_CUES && laws >= 1 && laws <= BC_LAWS &&
           (lost == BC_NONE || is_index(lost, BC_AT_CUES)) &&
           bc_header(BC_AT_STOP_BUTTON) <= BC_BUTTONS && bc_header(BC_AT_STOP_TIME) >= 1 &&
           role_is_good() && bc_header(BC_AT_SENSES) <= (BC_CHIP_SENSES ? BC_SENSES : 0);
}

static uint8_t check_header(const struct check *check, uint8_t first, uint16_t crc) {
    uint8_t address = bc_header(BC_AT_ADDRESS);
    if (bc_table_u16(BC_AT_LENGTH) != (uint16_t)(check->end + BC_CRC_SIZE)) {
        return BC_REFUSAL_LENGTH;
    }
    if (first != BC_MAGIC) {
        return BC_REFUSAL_MAGIC;
    }
    if (bc_header(BC_AT_VERSION) != BC_VERSION) {
        return BC_REFUSAL_VERSION;
    }
    if (bc_table_u16(check->end) != crc) {
        return BC_REFUSAL_CRC;
    }
    if (bc_header(BC_AT_CHIP) != BC_CHIP) {
        return BC_REFUSAL_CHIP;
    }
    if (address < 1 || address > BC_ADDRESS_MAX) {
        return BC_REFUSAL_ADDRESS;
    }
    return counts_are_good() ? BC_REFUSAL_ACCEPTED : BC_REFUSAL_COUNTS;
}

/* -- outputs: 1.2 --------------------------------------------------------------------------- */

/* Bad pins are only noted. */
static void take_pin(struct check *check, uint8_t pin, uint8_t job) {
    if (!(bc_hal_pin(pin) & job) || bc_bit_is_set(check->taken, pin)) {
        check->pin_is_bad = true;
    } else {
        bc_bit_put(check->taken, pin, true);
    }
}

#if BC_CHIP_SENSES
static void take_lamp(struct check *check) {
    uint8_t pin = bc_next_u8();
    take_pin(check, pin, BC_PIN_LAMP);
    if (bc_hal_pin(pin) & BC_PIN_LAMP) {
        bc_bit_put(check->lamps, pin, true);
    }
}
#endif

/* The points, whose number is `left`, from the cursor on: they hold what travel needs. */
static bool points_are_good(uint8_t left, int16_t low, int16_t high) {
    int16_t angle = bc_next_i16();
    uint16_t pulse = bc_next_u16();
    bool rises = false;
    bool falls = false;
    if (angle > low || pulse < BC_PULSE_MIN || pulse > BC_PULSE_MAX) {
        return false;
    }
    for (left--; left > 0; left--) {
        int16_t last_angle = angle;
        uint16_t last_pulse = pulse;
        angle = bc_next_i16();
        pulse = bc_next_u16();
        if (angle <= last_angle || pulse == last_pulse || pulse < BC_PULSE_MIN ||
            pulse > BC_PULSE_MAX) {
            return false;
        }
        if (pulse > last_pulse) {
            rises = true;
        } else {
            falls = true;
        }
    }
    return angle >= high && !(rises && falls);
}

/* From here on functions named for a record look at it from the cursor on, which stands behind what
 * comes first. */
static bool servo_is_good(struct check *check) {
    uint8_t points = bc_next_u8();
    int16_t low = bc_next_i16();
    int16_t high = bc_next_i16();
    uint16_t speed_limit = bc_next_u16();
    uint16_t acceleration_limit = bc_next_u16();
    int16_t safe = bc_next_i16();
    check->servos++;
    return check->servos <= BC_SERVOS && points >= 2 && points <= BC_POINTS && speed_limit > 0 &&
           acceleration_limit > 0 && low <= safe && safe <= high &&
           points_are_good(points, low, high);
}

static bool strip_is_good(struct check *check) {
    uint8_t pixels = bc_next_u8();
    uint8_t order = bc_next_u8();
    (void)bc_next_u16(); /* any cap will do */
    check->strips++;
    if (check->strips > BC_STRIPS || pixels < 1 || pixels > BC_PIXELS ||
        pixels > BC_PIXELS - check->pixels) {
        return false;
    }
    check->pixels = (uint8_t)(check->pixels + pixels);
    return order < BC_ORDERS && is_index(bc_next_u8(), BC_AT_COLOURS);
}

static bool output_is_good(struct check *check, uint8_t kind) {
    switch (kind) {
    case BC_SERVO:
        take_pin(check, bc_next_u8(), BC_PIN_SERVO);
        return servo_is_good(check);
    case BC_LAMP:
#if BC_CHIP_SENSES
        take_lamp(check);
#else
        take_pin(check, bc_next_u8(), BC_PIN_LAMP);
#endif
        return bc_next_u8() <= BC_LEVEL_MAX;
    case BC_STRIP:
        take_pin(check, bc_next_u8(), BC_PIN_STRIP);
        return strip_is_good(check);
    default:
        take_pin(check, bc_next_u8(), BC_PIN_SWITCH);
        return bc_next_u8() <= (BC_ACTIVE_HIGH | BC_ON_WHEN_SAFE);
    }
}

/* Whether so many bytes from the cursor on lie before the end. */
static bool fits(const struct check *check, uint16_t size) {
    return size <= (uint16_t)(check->end - bc_table_tell());
}

/* The record at the cursor, which moves behind it. */
static uint8_t check_output(struct check *check) {
    uint16_t start = bc_table_tell();
    uint8_t first = bc_table_u8(start);
    uint8_t kind = first & (uint8_t)~BC_FLAG;
    bool may_be_trimmed = kind == BC_LAMP || kind == BC_STRIP;
    uint16_t size = bc_output_size(start, first);
    if (!fits(check, 1)) {
        return BC_REFUSAL_COUNTS;
    }
    if (kind < BC_SERVO || kind > BC_SWITCH || (first != kind && !may_be_trimmed)) {
        return BC_REFUSAL_OUTPUT;
    }
    if (!fits(check, size)) {
        return BC_REFUSAL_COUNTS;
    }
    bc_table_seek((uint16_t)(start + BC_OUTPUT_PIN));
    if (!output_is_good(check, kind)) {
        return BC_REFUSAL_OUTPUT;
    }
    bc_table_seek((uint16_t)(start + size));
    return BC_REFUSAL_ACCEPTED;
}

/* -- colours, laws, inputs, bindings, cues: 1.3 --------------------------------------------- */

static bool is_share(uint16_t value, uint16_t least) {
    return value >= least && value <= BC_SHARE_MOST;
}

static bool is_button(uint8_t value) {
    uint8_t button = value & (uint8_t)~BC_FLAG;
    return button >= 1 && button <= BC_BUTTONS;
}

static bool colour_is_good(void) {
    bool red = bc_next_u8() <= BC_LEVEL_MAX;
    bool green = bc_next_u8() <= BC_LEVEL_MAX;
    bool blue = bc_next_u8() <= BC_LEVEL_MAX;
    return red && green && blue;
}

static bool law_id_is_good(uint8_t kind) {
    return (kind & (uint8_t)~BC_FLAG) <= BC_LAW_DOUBLE_S && kind != (BC_LAW_UNIFORM | BC_FLAG);
}

static bool law_is_good(void) {
    uint8_t kind = bc_next_u8();
    uint8_t id = (uint8_t)(kind & ~BC_FLAG);
    uint16_t peak;
    if (!law_id_is_good(kind) ||
        ((id == BC_LAW_TRAPEZOID || id == BC_LAW_DOUBLE_S) &&
         !is_share(bc_next_u16(), BC_ALPHA_LEAST)) ||
        (id == BC_LAW_DOUBLE_S && !is_share(bc_next_u16(), 1))) {
        return false;
    }
    peak = (kind & BC_FLAG) != 0 ? bc_next_u16() : BC_PEAK_MIDDLE;
    return peak >= BC_PEAK_LEAST && peak <= BC_PEAK_MOST;
}

static bool input_is_good(struct check *check) {
    take_pin(check, bc_next_u8(), BC_PIN_INPUT);
    return is_button(bc_next_u8());
}

static bool binding_is_good(void) {
#if BC_CHIP_SENSES
    uint8_t button = bc_next_u8() % BC_PRESS_STEP;
    uint8_t cue = bc_next_u8();
    return is_button(button) && cue / BC_MANNER_STEP < BC_MANNERS &&
           is_index(cue % BC_MANNER_STEP, BC_AT_CUES);
#else
    return is_button(bc_next_u8()) && is_index(bc_next_u8(), BC_AT_CUES);
#endif
}

#if BC_CHIP_SENSES
static bool is_between(uint8_t value, uint8_t least, uint8_t most) {
    return value >= least && value <= most;
}

/* A channel takes a timer from the lamps that hang on it. */
static bool channel_is_good(struct check *check) {
    uint8_t pin = bc_next_u8();
    uint8_t place;
    take_pin(check, pin, BC_PIN_CHANNEL);
    for (place = 0; place < BC_DISPLACED && (bc_hal_pin(pin) & BC_PIN_CHANNEL); place++) {
        if (bc_bit_is_set(check->lamps, bc_hal_channel_displaces(pin, place))) {
            check->pin_is_bad = true;
        }
    }
    check->channels++;
    return check->channels <= BC_CHANNELS;
}

static bool band_is_good(struct check *check) {
    uint8_t channel = bc_next_u8();
    uint16_t from = bc_next_u16();
    uint16_t to = bc_next_u16();
    check->bands++;
    return check->bands <= BC_BANDS && channel < check->channels && from >= BC_CHANNEL_MIN &&
           from <= to && to <= BC_CHANNEL_MAX && is_between(bc_next_u8(), 1, BC_BUTTONS);
}

static bool sensor_is_good(struct check *check) {
    take_pin(check, bc_next_u8(), BC_PIN_SENSOR);
    check->sensors = (uint16_t)(check->sensors | 1u << (check->channels + check->sensor_count));
    check->sensor_count++;
    return check->sensor_count <= BC_SENSORS && bc_next_u16() < BC_SENSOR_ONE;
}
BC_ASSERT(sources_are_bits, BC_CHANNELS + BC_SENSORS <= 16);

/* Whether an output can be at both places, and go so fast; the cursor stands at its limits. */
static bool output_can_follow(uint8_t number, int16_t from, int16_t to) {
    uint16_t speed = bc_next_u16();
    uint16_t acceleration = bc_next_u16();
    struct bc_output output;
    int16_t low = 0;
    int16_t high = BC_LEVEL_MAX;
    uint16_t fastest = UINT16_MAX;
    uint16_t hardest = 0;
    uint8_t n = 0;
    bc_outputs_begin(&output);
    while (bc_outputs_next(&output) && n < number) {
        n++;
    }
    if (output.kind == BC_SERVO) {
        low = bc_table_i16((uint16_t)(output.at + BC_SERVO_TRAVEL_LOW));
        high = bc_table_i16((uint16_t)(output.at + BC_SERVO_TRAVEL_HIGH));
        fastest = bc_table_u16((uint16_t)(output.at + BC_SERVO_SPEED_LIMIT));
        hardest = bc_table_u16((uint16_t)(output.at + BC_SERVO_ACCELERATION_LIMIT));
    } else if (output.kind != BC_LAMP) {
        return false;
    }
    return low <= from && from <= high && low <= to && to <= high && speed > 0 &&
           speed <= fastest && (acceleration > 0) == (hardest > 0) && acceleration <= hardest;
}

/* A source and its values. */
static bool source_is_good(const struct check *check, uint8_t source, uint16_t from, uint16_t to) {
    bool is_sensor = check->sensors >> source & 1;
    uint16_t least = is_sensor ? 0 : BC_CHANNEL_MIN;
    uint16_t most = is_sensor ? BC_SENSOR_ONE - 1 : BC_CHANNEL_MAX;
    return least <= from && from < to && to <= most;
}

static bool follow_is_good(struct check *check) {
    uint8_t first = bc_next_u8();
    uint8_t number = first & (uint8_t)~BC_FLAG;
    uint8_t source = bc_next_u8();
    uint16_t from = bc_next_u16();
    uint16_t to = bc_next_u16();
    int16_t at_from = bc_next_i16();
    int16_t at_to = bc_next_i16();
    if (!is_index(number, BC_AT_OUTPUTS) || source >= check->channels + check->sensor_count ||
        !source_is_good(check, source, from, to) || (check->followers >> number & 1)) {
        return false;
    }
    check->followers = (uint16_t)(check->followers | 1u << number);
    return output_can_follow(number, at_from, at_to);
}

static bool patience_is_good(void) {
    uint8_t button = bc_next_u8();
    uint8_t long_frames = bc_next_u8();
    uint8_t twice = bc_next_u8();
    return is_between(button, 1, BC_BUTTONS) && long_frames <= BC_LONG_FRAMES_MAX && twice <= 1 &&
           (long_frames | twice) != 0;
}

/* Whether an output is there and of that kind. */
static bool is_of_kind(uint8_t number, uint8_t kind) {
    struct bc_output output;
    bc_outputs_begin(&output);
    while (bc_outputs_next(&output)) {
        if (number == 0) {
            return output.kind == kind;
        }
        number--;
    }
    return false;
}

static bool watch_is_good(struct check *check) {
    uint8_t pin = bc_next_u8();
    uint16_t scale = bc_next_u16();
    uint16_t low = bc_next_u16();
    uint16_t stop = bc_next_u16();
    uint8_t cue = bc_next_u8();
    bool is_first = !check->has_watch;
    check->has_watch = true;
    if (pin != BC_OWN_REFERENCE) {
        take_pin(check, pin, BC_PIN_SENSOR);
    }
    return is_first && scale > 0 && stop > 0 && low >= stop &&
           (cue == BC_NONE || is_index(cue, BC_AT_CUES));
}

/* A lamp shines with one move only, and follows nothing else. */
static bool shine_is_good(struct check *check) {
    uint8_t lamp = bc_next_u8();
    uint8_t servo = bc_next_u8();
    int16_t from = bc_next_i16();
    int16_t to = bc_next_i16();
    uint8_t from_level = bc_next_u8();
    uint8_t to_level = bc_next_u8();
    if (!is_of_kind(lamp, BC_LAMP) || (check->followers >> lamp & 1)) {
        return false;
    }
    check->followers = (uint16_t)(check->followers | 1u << lamp);
    return is_of_kind(servo & (uint8_t)~BC_FLAG, BC_SERVO) && from < to &&
           (from >= 0 || !(servo & BC_FLAG)) && from_level <= BC_LEVEL_MAX &&
           to_level <= BC_LEVEL_MAX;
}

/* A strip shows one level only. */
static bool bar_is_good(struct check *check) {
    uint8_t strip = bc_next_u8();
    uint8_t lamp = bc_next_u8();
    if (!is_of_kind(strip, BC_STRIP) || (check->bars >> strip & 1)) {
        return false;
    }
    check->bars = (uint16_t)(check->bars | 1u << strip);
    return is_of_kind(lamp, BC_LAMP) && bc_next_u8() < BC_BAR_ENDS;
}

/* It takes the place of a line that there is. */
static bool radio_is_good(struct check *check) {
    uint8_t rate = bc_next_u8();
    bool is_second = check->has_radio;
    check->has_radio = true;
    return !is_second && check->answers == 0 && rate < BC_RATES && (BC_RATES_MADE >> rate & 1) &&
           bc_next_u16() <= BC_RADIO_LATE_MAX && bc_header(BC_AT_ROLE) != BC_ROLE_ALONE;
}

/* A board that leads knows who answers it; one that follows, that it does itself. */
static bool answers_is_good(struct check *check) {
    uint8_t address = bc_next_u8();
    uint8_t role = bc_header(BC_AT_ROLE);
    uint8_t most = role == BC_ROLE_LEADS ? BC_ANSWERING : 1;
    bool is_own = address == bc_header(BC_AT_ADDRESS);
    check->answers++;
    return address != BC_EVERYBODY && address != BC_NO_ADDRESS && !check->has_radio &&
           role != BC_ROLE_ALONE && is_own == (role == BC_ROLE_FOLLOWS) && check->answers <= most;
}

/* A cue has one scale only. */
static bool scale_is_good(struct check *check) {
    uint8_t cue = bc_next_u8();
    uint8_t source = bc_next_u8();
    uint16_t from = bc_next_u16();
    uint16_t to = bc_next_u16();
    uint32_t bit;
    if (!is_index(cue, BC_AT_CUES) || source >= check->channels + check->sensor_count ||
        !source_is_good(check, source, from, to)) {
        return false;
    }
    bit = (uint32_t)1 << cue;
    if (check->scaled & bit) {
        return false;
    }
    check->scaled |= bit;
    return bc_next_u8() <= BC_LEVEL_MAX && bc_next_u8() <= BC_LEVEL_MAX &&
           bc_next_u8() <= BC_LEVEL_MAX;
}
BC_ASSERT(cues_are_bits, BC_CUES <= 32);

static bool sense_is_good(struct check *check) {
    switch (bc_next_u8()) {
    case BC_SENSE_PATIENCE:
        return patience_is_good();
    case BC_SENSE_SETTLING:
        return is_index(bc_next_u8(), BC_AT_INPUTS) &&
               is_between(bc_next_u8(), 1, BC_SETTLE_TIMES_MAX);
    case BC_SENSE_CHANNEL:
        return channel_is_good(check);
    case BC_SENSE_BAND:
        return band_is_good(check);
    case BC_SENSE_SENSOR:
        return sensor_is_good(check);
    case BC_SENSE_FOLLOW:
        return follow_is_good(check);
    case BC_SENSE_WATCH:
        return watch_is_good(check);
    case BC_SENSE_SHINE:
        return shine_is_good(check);
    case BC_SENSE_BAR:
        return bar_is_good(check);
    case BC_SENSE_RADIO:
        return radio_is_good(check);
    case BC_SENSE_ANSWERS:
        return answers_is_good(check);
    case BC_SENSE_SCALE:
        return scale_is_good(check);
    default:
        return false;
    }
}
#endif

/* Of `count` cues from `at` on: how many have this number in their first two bytes; in others, if
 * `at` is in others. */
static uint8_t cues_with(uint16_t number, uint16_t at, uint8_t count) {
    uint8_t found = 0;
    for (; count > 0; count--) {
        if (bc_table_u16(at) == number) {
            found++;
        }
        at = (uint16_t)(at + bc_cue_size());
    }
    return found;
}

/* A strand keeps its outputs, its threads and a run to itself. */
static bool strand_is_good(struct check *check, uint16_t outputs, uint8_t threads) {
    bool shares = (check->strand_outputs & outputs) != 0;
    check->strand_outputs |= outputs;
    check->strand_threads = (uint8_t)(check->strand_threads + threads);
    check->strands++;
    return !shares && check->strand_threads <= BC_THREADS && check->strands <= BC_STRANDS;
}

/* `before`: cues in front of this one. */
static bool cue_is_good(struct check *check, uint8_t before) {
    uint16_t start = bc_table_tell();
    uint16_t tag = bc_next_u16();
    uint16_t outputs = bc_next_u16();
    uint8_t flags = bc_next_u8();
    uint8_t threads = flags >> 4;
    uint8_t most = BC_THREADS;
    uint16_t first = (uint16_t)(start - (uint16_t)(bc_cue_size() * before));
    if (before > 0) {
        uint8_t earlier = bc_table_u8((uint16_t)(start - bc_cue_size() + BC_CUE_FLAGS));
        if (earlier & BC_LETS_GO) {
            most = earlier >> 4;
        }
    }
    if ((flags & BC_LETS_GO) && !is_index((uint8_t)(before + 1), BC_AT_CUES)) {
        return false;
    }
    return (uint32_t)outputs >> bc_header(BC_AT_OUTPUTS) == 0 &&
           (flags & 0x0F & ~(BC_LETS_GO | BC_STRAND)) < BC_CONFLICTS && threads >= 1 &&
           threads <= most && cues_with(tag, first, before) == 0 &&
           (!(flags & BC_STRAND) || strand_is_good(check, outputs, threads));
}

/* The sections behind outputs, in their order, by where the header counts them. */
static bool record_is_good(struct check *check, uint8_t section, uint8_t before) {
    switch (section) {
    case BC_AT_COLOURS:
        return colour_is_good();
    case BC_AT_LAWS:
        return law_is_good();
    case BC_AT_INPUTS:
        return input_is_good(check);
    case BC_AT_BINDINGS:
        return binding_is_good();
#if BC_CHIP_SENSES
    case BC_AT_SENSES:
        return sense_is_good(check);
#endif
    default:
        return cue_is_good(check, before);
    }
}

static uint8_t size_of(uint8_t section) {
    switch (section) {
    case BC_AT_COLOURS:
        return BC_COLOUR_SIZE;
    case BC_AT_LAWS:
        return bc_law_size(bc_table_u8(bc_table_tell()));
    case BC_AT_INPUTS:
        return BC_INPUT_SIZE;
    case BC_AT_BINDINGS:
        return BC_BINDING_SIZE;
#if BC_CHIP_SENSES
    case BC_AT_SENSES:
        return bc_sense_size(bc_table_u8(bc_table_tell()));
#endif
    default:
        return bc_cue_size();
    }
}

static uint8_t check_section(struct check *check, uint8_t section) {
    uint8_t count = bc_header(section);
    uint8_t n;
    for (n = 0; n < count; n++) {
        uint8_t size = size_of(section);
        uint16_t next = (uint16_t)(bc_table_tell() + size);
        if (!fits(check, size)) {
            return BC_REFUSAL_COUNTS;
        }
        if (!record_is_good(check, section, n)) {
            return BC_REFUSAL_RECORD;
        }
        bc_table_seek(next);
        pause();
    }
    return BC_REFUSAL_ACCEPTED;
}

static uint8_t check_outputs(struct check *check) {
    uint8_t left;
    for (left = bc_header(BC_AT_OUTPUTS); left > 0; left--) {
        uint8_t refusal = check_output(check);
        if (refusal != BC_REFUSAL_ACCEPTED) {
            return refusal;
        }
        pause();
    }
    return BC_REFUSAL_ACCEPTED;
}

static uint8_t check_records(struct check *check) {
    static const uint8_t sections[] BC_FLASH = {BC_AT_COLOURS,  BC_AT_LAWS, BC_AT_INPUTS,
                                                BC_AT_BINDINGS, BC_AT_CUES,
#if BC_CHIP_SENSES
                                                BC_AT_SENSES
#endif
    };
    uint8_t refusal = check_outputs(check);
    uint8_t n;
    for (n = 0; n < sizeof sections && refusal == BC_REFUSAL_ACCEPTED; n++) {
#if BC_CHIP_SENSES
        check->cues_end = bc_table_tell(); /* as senses come last */
#endif
        refusal = check_section(check, bc_flash_u8(&sections[n]));
    }
    if (refusal == BC_REFUSAL_ACCEPTED && check->pin_is_bad) {
        refusal = BC_REFUSAL_PIN;
    }
    return refusal;
}

/* -- code: 1.4 ------------------------------------------------------------------------------ */

static bool takes_light(const struct bc_step *op) {
    return op->output.kind == BC_LAMP || op->output.kind == BC_STRIP;
}

/* The target, or the least of those that are drawn; and the greatest. */
static bool servo_target_is_good(const struct bc_step *op, int16_t most) {
    uint16_t record = op->output.at;
    return bc_table_i16((uint16_t)(record + BC_SERVO_TRAVEL_LOW)) <= op->target &&
           most <= bc_table_i16((uint16_t)(record + BC_SERVO_TRAVEL_HIGH));
}

static bool target_is_good(const struct bc_step *op) {
    int16_t most = op->target_key != 0 ? op->most_target : op->target;
    if (op->target > most) {
        return false;
    }
    switch (op->output.kind) {
    case BC_SERVO:
        return servo_target_is_good(op, most);
    case BC_LAMP:
        return !(op->code & BC_ACT_F) && most <= BC_LEVEL_MAX;
    case BC_STRIP:
        return !(op->code & BC_ACT_F) && op->target_key == 0 &&
               is_index((uint8_t)op->target, BC_AT_COLOURS);
    default:
        return !(op->code & (BC_ACT_WAIT | BC_ACT_LAW)) && (op->time_key | op->target_key) == 0;
    }
}

static bool time_is_good(const struct bc_step *op) {
    uint16_t most = op->time_key != 0 ? op->most : op->operand;
    return op->operand <= most && most <= BC_DURATION_MAX;
}

static bool act_is_good(const struct bc_step *op) {
    bool law_is_there = !(op->code & BC_ACT_LAW) || is_index(op->law, BC_AT_LAWS);
    return is_index(op->number, BC_AT_OUTPUTS) && time_is_good(op) && law_is_there &&
           target_is_good(op);
}

static bool effect_is_good(const struct bc_step *op) {
    uint8_t kind;
    if (!is_index(op->number, BC_AT_OUTPUTS) || !takes_light(op)) {
        return false;
    }
    bc_table_seek(op->operand);
    kind = bc_next_u8();
    if (kind == BC_EFFECT_STEADY) {
        return true;
    }
    return kind < BC_EFFECTS && bc_next_u16() >= BC_PERIOD_MIN && bc_next_u8() <= BC_LEVEL_MAX;
}

static bool ends_thread(const struct bc_step *op) {
    return op->code == BC_OP_END || op->code == BC_OP_GO_ON;
}

static bool is_call(const struct bc_step *op) {
    return op->code >= BC_OP_CALL; /* a wait has its own code */
}

static bool is_pointer(const struct bc_step *op) {
    return is_call(op) || op->code == BC_OP_FORK || op->code == BC_OP_GO_ON;
}

/* What a call states of the thread that it calls. */
static uint8_t called_loops(uint8_t call) {
    return (uint8_t)((call & BC_CALL_LOOPS) / BC_CALL_LOOP);
}

static uint8_t called_calls(uint8_t call) { return call & BC_CALL_CALLS; }

static bool waits(const struct bc_step *op) {
    if (is_call(op)) {
        return op->code & BC_CALL_WAITS;
    }
    return op->operand > 0 && (op->code == BC_OP_WAIT || op->code == BC_OP_LONG_WAIT ||
                               (op->code < BC_OP_END && (op->code & BC_ACT_WAIT)));
}

/* To what lies behind the op. Whether a thread starts there is found out later. */
static bool points_forward(struct check *check, const struct bc_step *op) {
    check->pointers_end = bc_table_tell();
    return op->operand >= bc_table_tell() && op->operand < check->end;
}

/*
 * The cursor stands behind the op, and may be moved. An op that reaches beyond the end is read
 * there, which does no harm, and then found out.
 */
static bool op_is_good(struct check *check, const struct bc_step *op) {
    if (bc_table_tell() > check->end) {
        return false;
    }
    if (op->code < BC_OP_END) {
        return act_is_good(op);
    }
    switch (op->code) {
    case BC_OP_END:
    case BC_OP_LOOP:
    case BC_OP_LOOP_END:
        return true;
    case BC_OP_WAIT:
        return op->target_key == 0 && time_is_good(op);
    case BC_OP_FORK:
    case BC_OP_GO_ON:
        return points_forward(check, op);
    case BC_OP_LONG_WAIT:
        return op->operand > 0;
    case BC_OP_CHOOSE:
        return op->time_key != 0 && op->most > 0 && op->most < BC_CHOICES;
    case BC_OP_EFFECT:
        return effect_is_good(op);
    default:
        return is_call(op) && called_calls(op->code) < BC_CALL_DEPTH && points_forward(check, op);
    }
}

/* The loops that are open in a thread, and whether each has waited; the thread itself is the
 * outermost. */
struct nesting {
    bool within_thread;
    uint8_t depth;
    bool has_waited[BC_LOOP_DEPTH + 1];
    uint8_t to_choose; /* calls that still belong to a choice */
};

static bool nests_well(struct nesting *nesting, const struct bc_step *op) {
    nesting->within_thread = true;
    if (nesting->to_choose > 0) {
        if (!is_call(op) || !waits(op)) {
            return false;
        }
        nesting->to_choose--;
    }
    if (op->code == BC_OP_CHOOSE) {
        nesting->to_choose = (uint8_t)(op->most + 1);
    } else if (op->code == BC_OP_LOOP) {
        if (nesting->depth == BC_LOOP_DEPTH) {
            return false;
        }
        nesting->depth++;
        nesting->has_waited[nesting->depth] = false;
    } else if (op->code == BC_OP_LOOP_END) {
        if (nesting->depth == 0 || !nesting->has_waited[nesting->depth]) {
            return false;
        }
        nesting->depth--;
        nesting->has_waited[nesting->depth] = true; /* the loop around it has waited with it */
    } else if (ends_thread(op)) {
        nesting->within_thread = false;
        return nesting->depth == 0;
    } else if (waits(op)) {
        nesting->has_waited[nesting->depth] = true;
    }
    return !is_call(op) || nesting->depth + called_loops(op->code) <= BC_LOOP_DEPTH;
}

/* All ops from the cursor on, but for where pointers lead; that threads fill the code, and that
 * each cue starts with one. */
static bool ops_are_good(struct check *check) {
    struct nesting nesting = {false, 0, {false}, 0};
    uint8_t cues = bc_header(BC_AT_CUES);
    uint16_t next = bc_table_tell();
#if BC_CHIP_SENSES
    uint16_t cues_end = check->cues_end;
#else
    uint16_t cues_end = next;
#endif
    uint16_t first_offset = (uint16_t)(cues_end - (uint16_t)(bc_cue_size() * cues) + BC_CUE_OFFSET);
    uint8_t started = 0;
    while (next < check->end) {
        struct bc_step op;
        if (!nesting.within_thread) {
            started = (uint8_t)(started + cues_with(next, first_offset, cues));
        }
        bc_op_read(&op);
        next = bc_table_tell();
        if (!nests_well(&nesting, &op) || !op_is_good(check, &op)) {
            return false;
        }
        bc_table_seek(next);
        pause();
    }
    return !nesting.within_thread && started == cues;
}

/* A thread, and the one first byte with which it may be called; 0: none, it goes on elsewhere. */
struct thread {
    uint16_t at;
    uint8_t call;
};

static uint8_t larger(uint8_t a, uint8_t b) { return a > b ? a : b; }

/*
 * The thread at the cursor, which moves behind it. What it calls in its turn is taken to be as
 * stated: those calls are looked at when it is their turn.
 */
static void read_thread(struct thread *thread) {
    uint8_t open = 0; /* loops */
    uint8_t loops = 0;
    uint8_t calls = 0;
    bool has_waited = false;
    struct bc_step op;
    thread->at = bc_table_tell();
    do {
        uint8_t inner;
        bc_op_read(&op);
        if (op.code == BC_OP_LOOP) {
            open++;
        } else if (op.code == BC_OP_LOOP_END) {
            open--;
        }
        inner = open;
        if (is_call(&op)) {
            inner = (uint8_t)(open + called_loops(op.code));
            calls = larger(calls, (uint8_t)(called_calls(op.code) + 1));
        }
        loops = larger(loops, inner);
        has_waited = has_waited || waits(&op);
        pause();
    } while (!ends_thread(&op));
    thread->call = 0;
    if (op.code == BC_OP_END) {
        thread->call = (uint8_t)(BC_OP_CALL | (has_waited ? BC_CALL_WAITS : 0) |
                                 (loops * BC_CALL_LOOP) | calls);
    }
}

/* Whether an op that points to one of these threads, or between them, does so well. */
static bool leads_to(const struct bc_step *op, const struct thread *threads, uint8_t count) {
    uint8_t n;
    for (n = 0; n < count; n++) {
        if (threads[n].at == op->operand) {
            return !is_call(op) || threads[n].call == op->code;
        }
    }
    return false;
}

/*
 * Whether all ops that point to threads do so well, from the first thread on. Ops are good in all
 * else. Some threads are read, and then the pointers before their end: were each pointer followed
 * for itself, a large table could keep the board from starting for minutes.
 */
static bool pointers_are_good(const struct check *check, uint16_t first) {
    struct thread threads[THREADS_AT_ONCE];
    struct bc_step op;
    uint16_t next = first;
    while (next < check->end && check->pointers_end != 0) {
        uint16_t start = next;
        uint8_t count = 0;
        bc_table_seek(next);
        while (count < THREADS_AT_ONCE && bc_table_tell() < check->end) {
            read_thread(&threads[count]);
            count++;
        }
        next = bc_table_tell();
        bc_table_seek(first);
        while (bc_table_tell() < next && bc_table_tell() < check->pointers_end) {
            bc_op_read(&op);
            if (is_pointer(&op) && op.operand >= start && op.operand < next &&
                !leads_to(&op, threads, count)) {
                return false;
            }
            pause();
        }
    }
    return true;
}

static bool code_is_good(struct check *check) {
    uint16_t first = bc_table_tell();
    return ops_are_good(check) && pointers_are_good(check, first);
}

/* -- all of it ------------------------------------------------------------------------------ */

uint8_t bc_check(uint16_t size, uint8_t first, uint16_t *crc) {
    struct check check;
    uint8_t refusal;
    memset(&check, 0, sizeof check);
    if (size < SHORTEST) {
        return BC_REFUSAL_LENGTH;
    }
    check.end = (uint16_t)(size - BC_CRC_SIZE);
    *crc = crc_of(first, check.end);
    refusal = check_header(&check, first, *crc);
    bc_table_seek(BC_HEADER_SIZE);
    if (refusal == BC_REFUSAL_ACCEPTED) {
        refusal = check_records(&check);
    }
    if (refusal == BC_REFUSAL_ACCEPTED && !code_is_good(&check)) {
        refusal = BC_REFUSAL_CODE;
    }
    return refusal;
}
