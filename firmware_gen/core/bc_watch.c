/*
 * A battery sags under load and recovers, so only what lasts counts: a voltage that was low for
 * seconds without a break, of a mean that follows within a second.
 */
#include "bc_watch.h"

#if BC_CHIP_SENSES

#include <string.h>

#include "bc_generated.h"
#include "bc_link.h"
#include "bc_player.h"
#include "bellcrank.h"

static struct {
    struct bc_watch_record record;
    uint32_t memory; /* BC_WATCH_PART times the mean */
    uint16_t low_frames;
    uint16_t empty_frames;
    uint16_t to_reminder; /* frames until the cue is asked for again; 0: it is asked for at once */
    bool is_used;
    bool has_read;
    bool is_low;
    bool is_empty;
} watch;

void bc_watch_clear(void) { memset(&watch, 0, sizeof watch); }

void bc_watch_begin(const struct bc_watch_record *record) {
    watch.record = *record;
    watch.is_used = true;
    bc_hal_voltage_pin(BC_WATCH_SLOT, record->pin);
}

uint16_t bc_watch_millivolts(void) { return (uint16_t)(watch.memory / BC_WATCH_PART); }

bool bc_watch_is_empty(void) { return watch.is_empty; }

static bool is_blind(void) {
    return watch.has_read && bc_watch_millivolts() < watch.record.stop >> 1;
}

uint8_t bc_watch_told(void) {
    if (!watch.is_used) {
        return 0;
    }
    return (uint8_t)(BC_BATTERY_WATCHED | (watch.is_low ? BC_BATTERY_LOW : 0) |
                     (watch.is_empty ? BC_BATTERY_EMPTY : 0) | (is_blind() ? BC_BATTERY_BLIND : 0));
}

/* The chip's own reference is the smaller a share of its supply the more that is. */
static uint16_t millivolts_of(uint16_t reading) {
    uint32_t scale = watch.record.scale;
    uint32_t found = UINT16_MAX;
    if (watch.record.pin != BC_OWN_REFERENCE) {
        return (uint16_t)(scale * reading / BC_SENSOR_ONE);
    }
    if (reading > 0) {
        found = scale * BC_SENSOR_ONE / reading;
    }
    return found < UINT16_MAX ? (uint16_t)found : UINT16_MAX;
}

static void take(uint16_t reading) {
    uint16_t volts = millivolts_of(reading);
    bool finds_contact = is_blind() && volts >= watch.record.stop >> 1;
    if (watch.has_read && !finds_contact) {
        watch.memory += (uint32_t)volts - watch.memory / BC_WATCH_PART;
    } else {
        watch.has_read = true;
        watch.memory = (uint32_t)BC_WATCH_PART * volts;
    }
}

/* Above a limit by so much that it has recovered. */
static bool is_clear_of(uint16_t volts, uint16_t limit) {
    return volts >= (uint32_t)limit + limit / BC_WATCH_SLACK_PART;
}

static void judge_low(uint16_t volts) {
    if (volts < watch.record.low) {
        if (watch.low_frames < BC_LOW_FRAMES) {
            watch.low_frames++;
        }
    } else if (!watch.is_low || is_clear_of(volts, watch.record.low)) {
        watch.low_frames = 0;
        watch.to_reminder = 0;
        watch.is_low = false;
    }
    watch.is_low = watch.is_low || watch.low_frames == BC_LOW_FRAMES;
}

static void judge_empty(uint16_t volts, uint16_t frames) {
    if (volts < watch.record.stop && !is_blind()) {
        if (watch.empty_frames < BC_EMPTY_FRAMES) {
            watch.empty_frames++;
        }
        watch.is_empty = watch.is_empty || watch.empty_frames >= frames;
    } else if (!watch.is_empty || is_clear_of(volts, watch.record.stop)) {
        watch.empty_frames = 0;
        watch.is_empty = false;
    }
}

/* Now, and then once a minute. What finds no room among the requests is asked for in the next
 * frame. */
static void remind(void) {
    if (watch.to_reminder == 0) {
        if (watch.record.cue != BC_NONE && !bc_player_ask(BC_ASK_CUE, watch.record.cue)) {
            return;
        }
        watch.to_reminder = BC_REMIND_FRAMES;
    }
    watch.to_reminder--;
}

void bc_watch_frame(uint8_t mode, bool may_start) {
    uint16_t reading;
    if (!watch.is_used) {
        return;
    }
    reading = bc_hal_voltage(BC_WATCH_SLOT);
    if (reading != BC_NO_READING) {
        take(reading);
        judge_low(bc_watch_millivolts());
        judge_empty(bc_watch_millivolts(),
                    mode == BC_MODE_STARTING ? BC_EMPTY_IN_STARTING_FRAMES : BC_EMPTY_FRAMES);
    }
    if (watch.is_low && may_start) {
        remind();
    }
    if (watch.is_empty && (mode == BC_MODE_STARTING || mode == BC_MODE_READY)) {
        bc_player_ask(BC_ASK_STOP, 0);
    }
}

#endif
