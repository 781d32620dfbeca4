#include "host.h"

#include <setjmp.h>
#include <stdbool.h>
#include <string.h>

#include "bc_check.h"
#include "bc_frames.h"
#include "bc_laws.h"
#include "bc_math.h"
#include "bc_player.h"
#include "bc_presses.h"
#include "bc_runs.h"
#include "bc_sensors.h"
#include "bc_store.h"
#include "bc_table.h"
#include "bc_threads.h"
#include "bc_watch.h"
#include "bellcrank.h"

enum { PINS = 8 * BC_PORTS, SENT = 1 << 20, NEVER = -1 };

static uint8_t cells[HOST_CELLS];
static uint8_t merged[HOST_MERGED];
static const uint8_t *fed;
static uint32_t fed_left;
static uint8_t sent[SENT];
static uint32_t sent_count;
static uint8_t row = 100; /* bytes given out at once, as a ring has an end */
static uint32_t line;
static uint32_t line_busy;
static uint8_t ports[BC_PORTS];
static int32_t writes_left = NEVER;
static int32_t torn = NEVER;
static uint32_t writes;
static uint32_t slow;
static uint32_t busy;
static uint8_t counts[5];
static uint8_t pixels[2];
static uint8_t switch_pins[16];
static uint8_t levels[PINS];
static uint32_t pulled_up;
static uint32_t inputs;
static uint16_t *recorded;
static uint32_t recorded_room;
static uint32_t pauses_per_frame;
static uint32_t pauses;
static uint32_t pauses_offered;
static bool within_frame;
static jmp_buf power;

/* -- what the core asks of a chip ----------------------------------------------------------- */

uint8_t bc_hal_received(const uint8_t **bytes) {
    *bytes = fed;
    return (uint8_t)(fed_left < row ? fed_left : row);
}

void bc_hal_taken(uint8_t count) {
    fed += count;
    fed_left -= count;
}

void bc_hal_send(const uint8_t *bytes, uint8_t count) {
    while (count > 0 && sent_count < SENT) {
        sent[sent_count++] = *bytes++;
        count--;
    }
    line_busy = line;
}

bool bc_hal_sending(void) {
    if (line_busy == 0) {
        return false;
    }
    line_busy--;
    return true;
}

static uint16_t moment;

uint16_t bc_hal_moment(void) { return moment; }

#if BC_CHIP_LEADS
static uint8_t told[256];
static uint8_t told_count;

void bc_hal_line(uint8_t role, uint8_t rate, bool both_ways) {
    (void)role;
    (void)rate;
    (void)both_ways;
}
uint8_t bc_line_room(void) { return (uint8_t)(sizeof told - 1 - told_count); }
void bc_line_send(uint8_t byte) { told[told_count++] = byte; }
bool bc_hal_line_is_free(void) { return told_count == 0; }
#endif

uint16_t bc_hal_lost_bytes(void) { return 0; }
uint16_t bc_hal_watchdog_resets(void) { return 0; }
uint16_t bc_hal_brown_out_resets(void) { return 0; }

bool bc_hal_cell_busy(void) {
    if (busy == 0) {
        return false;
    }
    busy--;
    return true;
}

/* On a chip a read during a write gives rubbish, and a write during a write is lost. */
uint8_t bc_hal_cell_read(uint16_t address) { return busy > 0 ? 0xA5 : cells[address]; }

void bc_hal_cell_write(uint16_t address, uint8_t value) {
    if (busy > 0) {
        return;
    }
    if (writes_left == 0) {
        if (torn != NEVER) {
            cells[address] = (uint8_t)torn;
        }
        longjmp(power, 1);
    }
    if (writes_left > 0) {
        writes_left--;
    }
    cells[address] = value;
    writes++;
    busy = slow;
}

uint8_t bc_hal_merged_read(uint16_t offset) { return offset < HOST_MERGED ? merged[offset] : 0xFF; }

uint8_t bc_hal_pin(uint8_t pin) {
    static const uint32_t taken = 1u << 6 | 1u << 7 | 1u << 14 | 1u << 15 | 1u << 16 | 1u << 17;
    static const uint32_t lamps = 1u << 3 | 1u << 19 | 1u << 21 | 1u << 22;
    if (pin >= 8 * BC_PORTS) {
        return 0;
    }
    if (BC_PORTS > 3) { /* a larger chip: any pin can do anything, but a few alone measure */
        bool measures = pin == 39 || pin == 80 || pin == 81;
        bool is_analog = (pin >= 40 && pin < 48) || (pin >= 72 && pin < 80); /* ports F, K */
        return (uint8_t)(0xFF &
                         ~((measures ? 0 : BC_PIN_CHANNEL) | (is_analog ? 0 : BC_PIN_SENSOR)));
    }
    if (pin >= PINS || (taken >> pin & 1)) {
        return 0;
    }
    return (uint8_t)(BC_PIN_SERVO | BC_PIN_STRIP | BC_PIN_SWITCH | BC_PIN_INPUT |
                     ((lamps >> pin & 1) ? BC_PIN_LAMP : 0));
}

uint8_t bc_hal_port(uint8_t port) { return ports[port]; }

#if BC_CHIP_SENSES
static uint16_t widths[BC_CHANNELS];

void bc_hal_channel_pin(uint8_t channel, uint8_t pin) {
    (void)pin;
    widths[channel] = 0;
}

uint16_t bc_hal_channel(uint8_t channel) {
    uint16_t width = widths[channel];
    widths[channel] = 0;
    return width;
}

uint8_t bc_hal_channel_displaces(uint8_t pin, uint8_t place) {
    uint8_t first = pin == 39 ? 35 : pin == 80 ? 59 : 83;
    return (uint8_t)(first + place);
}

static uint16_t voltages[BC_VOLTAGE_SLOTS];

void bc_hal_voltage_pin(uint8_t slot, uint8_t pin) {
    (void)pin;
    voltages[slot] = BC_NO_READING;
}

uint16_t bc_hal_voltage(uint8_t slot) { return voltages[slot]; }
#endif

void host_channel(uint8_t channel, uint16_t ticks) {
#if BC_CHIP_SENSES
    widths[channel] = ticks;
#else
    (void)channel;
    (void)ticks;
#endif
}

void host_voltage(uint8_t slot, uint16_t reading) {
#if BC_CHIP_SENSES
    voltages[slot] = reading;
#else
    (void)slot;
    (void)reading;
#endif
}

uint32_t host_battery(void) {
#if BC_CHIP_SENSES
    return (uint32_t)bc_watch_millivolts() << 8 | bc_watch_told();
#else
    return 0;
#endif
}

uint16_t host_sensor(uint8_t number) {
    uint16_t value = 0;
    bool is_live = false;
#if BC_CHIP_SENSES
    is_live = bc_sensor_value(number, &value);
#else
    (void)number;
#endif
    return is_live ? value : UINT16_MAX;
}

void bc_hal_release(void) {
    memset(counts, 0, sizeof counts);
    memset(levels, 0, sizeof levels);
    pulled_up = 0;
    inputs = 0;
}

void bc_hal_output(uint8_t kind, uint8_t index, uint8_t pin, uint8_t strip_pixels) {
    if (kind == BC_STRIP) {
        index = (uint8_t)(index - BC_LAMPS);
        pixels[index] = strip_pixels;
    }
    if (kind == BC_SWITCH) {
        switch_pins[index] = pin;
    }
    counts[kind] = (uint8_t)(index + 1);
}

void bc_hal_input(uint8_t pin, bool pull_up) {
    if (pin < 32) {
        inputs |= (uint32_t)1 << pin;
        pulled_up |= (uint32_t)pull_up << pin;
    }
}

static uint16_t duties[BC_LAMPS];

void bc_hal_lamp(uint8_t index, uint16_t duty) { duties[index] = duty; }

void bc_hal_switch(uint8_t pin, bool high) { levels[pin] = high; }

void bc_hal_pulses_ready(void) {
    uint8_t n;
    if (recorded_room == 0) {
        return;
    }
    for (n = 0; n < BC_SERVOS; n++) {
        *recorded++ = bc_image.pulse[n];
    }
    recorded_room--;
}

void bc_hal_pixels_ready(void) {}

/* As a chip layer does it: a frame that is due is played from here, but not from within a frame. */
void bc_hal_pause(void) {
    pauses_offered++;
    if (pauses_per_frame == 0 || within_frame || ++pauses < pauses_per_frame) {
        return;
    }
    pauses = 0;
    within_frame = true;
    bc_frame();
    within_frame = false;
}

/* -- for the tests -------------------------------------------------------------------------- */

int host_start(uint8_t cause) {
    if (setjmp(power)) {
        return 1;
    }
    busy = 0;
    within_frame = false;
    line_busy = 0;
    fed_left = 0;
    bc_start(cause);
    return 0;
}

int host_service(void) {
    if (setjmp(power)) {
        return 1;
    }
    bc_service();
    return 0;
}

static void settle(void) {
    uint32_t quiet = 0;
    while (quiet < 4) {
        uint32_t before = writes;
        uint32_t sent_before = sent_count;
        uint32_t fed_before = fed_left;
        bc_service();
        quiet = !bc_hal_sending() && busy == 0 && before == writes && sent_before == sent_count &&
                        fed_before == fed_left
                    ? quiet + 1
                    : 0;
    }
}

int host_settle(void) {
    if (setjmp(power)) {
        return 1;
    }
    settle();
    return 0;
}

int host_frame(void) {
    if (setjmp(power)) {
        return 1;
    }
    bc_frame();
    return 0;
}

static void play(uint32_t count) {
    while (count > 0) {
        bc_service();
        bc_frame();
        count--;
    }
}

int host_frames(uint32_t count) {
    if (setjmp(power)) {
        return 1;
    }
    play(count);
    return 0;
}

void host_sample_inputs(void) { bc_sample_inputs(); }

void host_feed(const uint8_t *bytes, uint32_t count) {
    fed = bytes;
    fed_left = count;
}

uint32_t host_take(uint8_t *bytes, uint32_t room) {
    uint32_t count = sent_count < room ? sent_count : room;
    memcpy(bytes, sent, count);
    sent_count = 0;
    return count;
}

static uint8_t *put_u16(uint8_t *at, uint16_t value) {
    *at++ = (uint8_t)value;
    *at++ = (uint8_t)(value >> 8);
    return at;
}

uint32_t host_raw(uint8_t *bytes) {
    uint8_t *at = bytes;
    uint32_t n;
    uint32_t strip_bytes = 0;
    for (n = 0; n < counts[BC_SERVO]; n++) {
        at = put_u16(at, bc_image.pulse[n]);
    }
    for (n = 0; n < counts[BC_LAMP]; n++) {
        at = put_u16(at, duties[n]);
    }
    for (n = 0; n < counts[BC_STRIP]; n++) {
        strip_bytes += 3u * pixels[n];
    }
    memcpy(at, bc_image.pixels, strip_bytes);
    at += strip_bytes;
    for (n = 0; n < counts[BC_SWITCH]; n++) {
        *at++ = levels[switch_pins[n]];
    }
    return (uint32_t)(at - bytes);
}

void host_record(uint16_t *pulses, uint32_t frames) {
    recorded = pulses;
    recorded_room = frames;
}

uint8_t *host_cells(void) { return cells; }

uint8_t *host_merged(void) { return merged; }

void host_port(uint8_t port, uint8_t pins) { ports[port] = pins; }

void host_cut(int32_t count, int32_t value) {
    writes_left = count;
    torn = value;
}

uint32_t host_writes(void) {
    uint32_t count = writes;
    writes = 0;
    return count;
}

void host_slow(uint32_t polls) {
    slow = polls;
    busy = busy < polls ? busy : polls;
}

void host_slow_line(uint32_t polls, uint8_t bytes_in_a_row) {
    line = polls;
    row = bytes_in_a_row;
}

void host_play_in_pauses(uint32_t every) { pauses_per_frame = every; }

uint32_t host_pauses(void) {
    uint32_t count = pauses_offered;
    pauses_offered = 0;
    return count;
}

void host_moment(uint16_t now) { moment = now; }

int16_t host_stretch(void) { return bc_frame_stretch(); }

void host_line(const uint8_t *bytes, uint32_t count) {
#if BC_CHIP_LEADS
    for (; count > 0; count--) {
        bc_line_byte(*bytes++, moment);
    }
#else
    (void)bytes;
    (void)count;
#endif
}

uint32_t host_told(uint8_t *bytes) {
    uint32_t count = 0;
#if BC_CHIP_LEADS
    count = told_count;
    memcpy(bytes, told, count);
    told_count = 0;
#else
    (void)bytes;
#endif
    return count;
}

void host_set_clock(uint32_t offset) { bc_player_set_clock(offset); }

void host_pass_over(uint32_t frames) { bc_player_pass_over(frames); }

uint32_t host_pulled_up(void) { return pulled_up; }

uint32_t host_inputs(void) { return inputs; }

int host_ask(uint8_t asked, uint8_t argument) { return bc_player_ask(asked, argument); }

void host_jog(uint8_t servo, uint16_t pulse) {
    if (bc_mode() == BC_MODE_LIMP) {
        bc_player_jog(servo, pulse);
    }
}

void host_heard(void) { bc_player_heard(); }

uint8_t host_mode(void) { return bc_mode(); }
uint32_t host_played(void) { return bc_player_frames(); }
uint8_t host_live(void) { return bc_runs_live(); }
uint32_t host_running(void) {
    uint8_t cues[BC_CUE_SET];
    bc_runs_cues(cues);
    return cues[0] | (uint32_t)cues[1] << 8 | (uint32_t)cues[2] << 16 | (uint32_t)cues[3] << 24;
}
uint16_t host_refused(void) { return bc_refused(); }
uint16_t host_overruns(void) { return bc_overruns(); }
uint32_t host_stuck(void) {
#if BC_CHIP_SENSES
    return bc_presses_stuck();
#else
    return 0;
#endif
}
uint16_t host_bad(void) { return bc_frames_bad(); }
uint8_t host_refusal(void) { return bc_store_refusal(); }
uint8_t host_current(void) { return bc_store_current(); }

uint8_t host_check(const uint8_t *table, uint32_t size) {
    uint8_t before;
    uint8_t refusal;
    uint16_t crc;
    memset(merged, 0xFF, sizeof merged);
    memcpy(merged, table, size);
    bc_table_forget(); /* what lay there before */
    before = bc_table_choose(BC_SOURCE_MERGED);
    refusal = bc_check((uint16_t)size, table[0], &crc);
    bc_table_choose(before);
    memset(merged, 0xFF, sizeof merged);
    return refusal;
}

static struct bc_law law_of(uint8_t id, uint16_t alpha, uint16_t beta, uint16_t peak) {
    struct bc_law law;
    law.id = id;
    law.alpha = alpha;
    law.beta = beta;
    law.peak = peak;
    return law;
}

uint32_t host_law_position(uint8_t id, uint16_t alpha, uint16_t beta, uint16_t peak, uint32_t x) {
    struct bc_law law = law_of(id, alpha, beta, peak);
    return bc_law_position(&law, x);
}

uint32_t host_law_slope(uint8_t id, uint16_t alpha, uint16_t beta, uint16_t peak, uint32_t x) {
    struct bc_law law = law_of(id, alpha, beta, peak);
    return bc_law_slope(&law, x);
}

void host_law_numbers(uint8_t id, uint16_t alpha, uint16_t beta, uint16_t peak, uint32_t *numbers) {
    struct bc_law law = law_of(id, alpha, beta, peak);
    struct bc_coefficients found;
    bc_law_coefficients(&law, &found);
    numbers[0] = found.speed;
    numbers[1] = found.acceleration;
    numbers[2] = found.overlap;
}

uint32_t host_progress(uint32_t elapsed, uint32_t total) { return bc_progress(elapsed, total); }

uint32_t host_quotient(uint32_t a, uint32_t b, uint32_t c) { return bc_quotient(a, b, c); }

uint32_t host_root(uint32_t value, uint8_t bits) { return bc_root(value, bits); }

int32_t host_scale(int32_t value, uint32_t share) { return bc_scale(value, share); }

uint16_t host_crc(const uint8_t *bytes, uint32_t count) {
    struct bc_crc crc = BC_CRC_START;
    while (count > 0) {
        crc = bc_crc(crc, *bytes++);
        count--;
    }
    return bc_u16(crc.low, crc.high);
}
