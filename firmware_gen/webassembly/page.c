/*
 * The hardware of a board that lives in a page. Cells are written at once, the line takes no time,
 * and everything that a frame needs has been received when it begins.
 */
#include "page.h"

#include <string.h>

#include "bc_follow.h"
#include "bc_frames.h"
#include "bc_perform.h"
#include "bc_player.h"
#include "bc_runs.h"
#include "bc_servo.h"
#include "bc_store.h"
#include "bc_table.h"
#include "bc_threads.h"
#include "bellcrank.h"

enum {
    PINS = 8 * BC_PORTS,
    CELLS = BC_FIRST_CELL + BC_SLOTS * BC_SLOT_BYTES + 64,
    LINE = 1024,
    ROW = 255,                   /* bytes that bc_hal_received can name */
    WIRE = 64,                   /* two frames of the line between boards */
    SERVICES = 16,               /* after the line is empty: replies and cells, one at a time */
    LOOKS_A_FRAME = BC_LOOKS + 1 /* at the inputs in a frame: more than make a change */
};

static uint8_t table[BC_MERGED_MAX];
static uint8_t abilities[PINS];
static uint8_t cells[CELLS];
static uint8_t line[LINE];
static uint32_t line_from;
static uint32_t line_to;
static uint8_t words[LINE];
static uint32_t said;
static uint8_t heard[WIRE];
#if BC_CHIP_LEADS
static uint8_t told[WIRE];
static uint8_t told_count;
#endif
static uint8_t levels[PINS];
static uint16_t duties[BC_LAMPS];
static struct bc_motion motions[BC_SERVOS];
static int32_t speeds_before[BC_SERVOS];

/* -- what the core asks of a chip ----------------------------------------------------------- */

uint8_t bc_hal_received(const uint8_t **bytes) {
    uint32_t left = line_to - line_from;
    *bytes = line + line_from;
    return (uint8_t)(left < ROW ? left : ROW);
}

void bc_hal_taken(uint8_t count) { line_from += count; }

void bc_hal_send(const uint8_t *bytes, uint8_t count) {
    if (count <= LINE - said) {
        memcpy(words + said, bytes, count);
        said += count;
    }
}

bool bc_hal_sending(void) { return false; }

/* Frames are played when the page says, so whatever is heard comes when it should (LINK.md 7). */
uint16_t bc_hal_moment(void) { return 4 * BC_FRAME / 5; }
#if BC_CHIP_LEADS
void bc_hal_line(uint8_t role, uint8_t rate, bool both_ways) {
    (void)role;
    (void)rate;
    (void)both_ways;
    told_count = 0;
}
uint8_t bc_line_room(void) { return (uint8_t)(WIRE - told_count); }
void bc_line_send(uint8_t byte) { told[told_count++] = byte; }
bool bc_hal_line_is_free(void) { return false; } /* the page asks each board itself */
#endif
uint16_t bc_hal_lost_bytes(void) { return 0; }
uint16_t bc_hal_watchdog_resets(void) { return 0; }
uint16_t bc_hal_brown_out_resets(void) { return 0; }

uint8_t bc_hal_cell_read(uint16_t address) { return address < CELLS ? cells[address] : 0xFF; }

void bc_hal_cell_write(uint16_t address, uint8_t value) {
    if (address < CELLS) {
        cells[address] = value;
    }
}

bool bc_hal_cell_busy(void) { return false; }

uint8_t bc_hal_merged_read(uint16_t offset) {
    return offset < BC_MERGED_MAX ? table[offset] : 0xFF;
}

uint8_t bc_hal_pin(uint8_t pin) { return pin < PINS ? abilities[pin] : 0; }

uint8_t bc_hal_port(uint8_t port) {
    uint8_t found = 0;
    uint8_t bit;
    for (bit = 0; bit < 8; bit++) {
        found |= (uint8_t)((levels[8 * port + bit] != 0) << bit);
    }
    return found;
}

void bc_hal_release(void) { memset(duties, 0, sizeof duties); }

void bc_hal_output(uint8_t kind, uint8_t index, uint8_t pin, uint8_t pixels) {
    (void)kind;
    (void)index;
    (void)pin;
    (void)pixels;
}

/* A contact that nobody closes: the level at which it is open. */
void bc_hal_input(uint8_t pin, bool pull_up) { levels[pin] = pull_up; }

#if BC_CHIP_SENSES
static uint16_t pulses_in[BC_CHANNELS];

void bc_hal_channel_pin(uint8_t channel, uint8_t pin) {
    (void)pin;
    pulses_in[channel] = 0;
}

/* A pulse in every frame, until the page says otherwise. */
uint16_t bc_hal_channel(uint8_t channel) { return pulses_in[channel]; }

/* The page has tables that were checked. */
uint8_t bc_hal_channel_displaces(uint8_t pin, uint8_t place) {
    (void)place;
    return pin;
}

static uint16_t voltages[BC_VOLTAGE_SLOTS];

void bc_hal_voltage_pin(uint8_t slot, uint8_t pin) {
    (void)pin;
    voltages[slot] = BC_NO_READING;
}

uint16_t bc_hal_voltage(uint8_t slot) { return voltages[slot]; }
#endif

void bc_hal_lamp(uint8_t index, uint16_t duty) { duties[index] = duty; }

void bc_hal_switch(uint8_t pin, bool high) { levels[pin] = high; }

void bc_hal_pulses_ready(void) {}
void bc_hal_pixels_ready(void) {}
void bc_hal_pause(void) {}

/* -- what the page calls -------------------------------------------------------------------- */

uint8_t *page_table(void) { return table; }
uint32_t page_table_room(void) { return BC_MERGED_MAX; }
uint8_t *page_pins(void) { return abilities; }

void page_start(void) {
    enum { POWER_ON = 1 };
    memset(cells, 0xFF, sizeof cells);
    line_from = 0;
    line_to = 0;
    said = 0;
    bc_start(POWER_ON);
}

static void serve(void) {
    uint32_t left = SERVICES;
    while (left > 0) {
        uint32_t before = line_from;
        bc_service();
        left = line_from == before ? left - 1 : SERVICES;
    }
    line_from = 0;
    line_to = 0;
}

/* Of the frame that has just been played. */
static void tell_motions(void) {
    uint32_t time = bc_player_time() - BC_FRAME;
    uint8_t n;
    for (n = 0; n < bc_servos_count(); n++) {
        speeds_before[n] = motions[n].is_tracked ? motions[n].tracked_speed : 0;
        bc_servo_motion(n, time, &motions[n]);
    }
    bc_table_release();
}

void page_frame(void) {
    uint8_t look;
    serve();
    for (look = 0; look < LOOKS_A_FRAME; look++) {
        bc_sample_inputs();
    }
    bc_frame();
    tell_motions();
}

uint8_t *page_line(void) { return line + line_to; }
uint32_t page_line_room(void) { return LINE - line_to; }

uint32_t page_receive(uint32_t count) {
    uint32_t room = LINE - line_to;
    uint32_t taken = count < room ? count : room;
    line_to += taken;
    return taken;
}

uint8_t *page_words(void) { return words; }

uint32_t page_said(void) {
    uint32_t count = said;
    said = 0;
    return count;
}

uint8_t *page_wire(void) { return heard; }
uint32_t page_wire_room(void) { return WIRE; }

void page_hear(uint32_t count) {
#if BC_CHIP_LEADS
    uint32_t n;
    bc_follow_over_radio(0); /* this line brings all at once, whatever takes its place on a rig */
    for (n = 0; n < count && n < WIRE; n++) {
        bc_line_byte(heard[n], bc_hal_moment());
    }
#else /* the line is the one to the host */
    if (count <= WIRE && count <= LINE - line_to) {
        memcpy(line + line_to, heard, count);
        line_to += count;
    }
#endif
}

uint8_t *page_told(void) {
#if BC_CHIP_LEADS
    return told;
#else
    return heard;
#endif
}

uint32_t page_tells(void) {
    uint32_t count = 0;
#if BC_CHIP_LEADS
    count = told_count;
    told_count = 0;
#endif
    return count;
}

void page_channel(uint32_t channel, uint32_t ticks) {
#if BC_CHIP_SENSES
    if (channel < BC_CHANNELS) {
        pulses_in[channel] = (uint16_t)ticks;
    }
#else
    (void)channel;
    (void)ticks;
#endif
}

void page_voltage(uint32_t slot, uint32_t reading) {
#if BC_CHIP_SENSES
    voltages[slot % BC_VOLTAGE_SLOTS] = (uint16_t)reading;
#else
    (void)slot;
    (void)reading;
#endif
}

uint8_t *page_levels(void) { return levels; }
uint16_t *page_pulses(void) { return bc_image.pulse; }
uint16_t *page_duties(void) { return duties; }
uint8_t *page_pixels(void) { return bc_image.pixels; }

int32_t *page_motions(void) { return &motions[0].is_moving; }
int32_t *page_speeds_before(void) { return speeds_before; }

uint32_t page_mode(void) { return bc_mode(); }
uint32_t page_refusal(void) { return bc_store_refusal(); }

uint32_t page_running(void) {
    uint8_t cues[BC_CUE_SET];
    uint32_t found = 0;
    uint8_t at;
    bc_runs_cues(cues);
    for (at = 0; at < BC_CUE_SET; at++) {
        found |= (uint32_t)cues[at] << (8 * at);
    }
    return found;
}

uint32_t page_frames(void) { return bc_player_frames(); }
uint32_t page_refused(void) { return bc_refused(); }
uint32_t page_overruns(void) { return bc_overruns(); }
uint32_t page_live(void) { return bc_runs_live(); }

uint32_t page_ask(uint32_t asked, uint32_t argument) {
    return bc_player_ask((uint8_t)asked, (uint8_t)argument);
}

void page_jog(uint32_t servo, uint32_t pulse) {
    if (bc_mode() == BC_MODE_LIMP) {
        bc_player_jog((uint8_t)servo, (uint16_t)pulse);
    }
}

void page_heard(void) { bc_player_heard(); }
