/*
 * A channel at the edge of its range misses pulses at random. So it is live only after a row of
 * good pulses, and lost only after a silence; what stands in a band as it comes alive presses
 * nothing.
 */
#include "bc_channels.h"

#if BC_CHIP_SENSES

#include <stdbool.h>
#include <string.h>

#include "bc_generated.h"
#include "bc_player.h"
#include "bellcrank.h"

enum { MEMORY = 3 }; /* widths, of which the middle one counts */

struct channel {
    uint16_t last[MEMORY]; /* good widths, the oldest first */
    uint8_t missing;       /* frames since the last good pulse, up to the silence that loses it */
    uint8_t good;          /* good pulses without a gap, up to those that it takes */
    bool is_live;
};

struct band {
    uint16_t from;
    uint16_t to;
    uint8_t channel;
    uint8_t button;
    bool is_inside;
    bool is_pressed;
};

static struct channel channels[BC_CHANNELS];
static struct band bands[BC_BANDS];
static uint8_t channel_count;
static uint8_t band_count;

void bc_channels_clear(void) {
    memset(channels, 0, sizeof channels);
    memset(bands, 0, sizeof bands);
    channel_count = 0;
    band_count = 0;
}

void bc_channels_add(uint8_t pin) {
    bc_hal_input(pin, true); /* an open wire is silent */
    bc_hal_channel_pin(channel_count, pin);
    channel_count++;
}

void bc_channels_band(uint8_t channel, uint16_t from, uint16_t to, uint8_t button) {
    struct band *band = &bands[band_count];
    band->channel = channel;
    band->from = from;
    band->to = to;
    band->button = button;
    band_count++;
}

/* The middle one of the last widths. */
static uint16_t value_of(const struct channel *channel) {
    uint16_t a = channel->last[0];
    uint16_t b = channel->last[1];
    uint16_t c = channel->last[2];
    uint16_t low = a < b ? a : b;
    uint16_t high = a < b ? b : a;
    if (c <= low) {
        return low;
    }
    return c < high ? c : high;
}

bool bc_channel_value(uint8_t channel, uint16_t *value) {
    *value = value_of(&channels[channel]);
    return channels[channel].is_live;
}

static void take(struct channel *channel, uint16_t width) {
    if (width >= BC_CHANNEL_MIN && width <= BC_CHANNEL_MAX) {
        channel->last[0] = channel->last[1];
        channel->last[1] = channel->last[2];
        channel->last[2] = width;
        channel->missing = 0;
        if (channel->good < BC_CHANNEL_GOOD) {
            channel->good++;
        }
        return;
    }
    if (channel->missing < BC_CHANNEL_LOST_FRAMES) {
        channel->missing++;
    }
    if (channel->missing > BC_CHANNEL_GAP_FRAMES) {
        channel->good = 0;
    }
}

static bool is_in(const struct band *band, uint16_t value, uint16_t slack) {
    return value + slack >= band->from && value <= band->to + slack;
}

/* What does not find room among the requests is asked for again in the next frame. */
static void cross(struct band *band, uint16_t value) {
    if (!band->is_inside && is_in(band, value, 0)) {
        if (bc_player_ask(BC_ASK_DOWN, band->button)) {
            band->is_inside = true;
            band->is_pressed = true;
        }
    } else if (band->is_inside && !is_in(band, value, BC_CHANNEL_SLACK)) {
        if (!band->is_pressed || bc_player_ask(BC_ASK_UP, band->button)) {
            band->is_inside = false;
            band->is_pressed = false;
        }
    }
}

/* A channel is lost: what it holds down goes up. */
static void let_go(struct band *band) {
    if (!band->is_pressed || bc_player_ask(BC_ASK_UP, band->button)) {
        band->is_inside = false;
        band->is_pressed = false;
    }
}

static void look(uint8_t number) {
    struct channel *channel = &channels[number];
    bool comes_alive = !channel->is_live && channel->good >= BC_CHANNEL_GOOD;
    bool goes = channel->is_live && channel->missing >= BC_CHANNEL_LOST_FRAMES;
    uint16_t value = value_of(channel);
    uint8_t n;
    channel->is_live = (channel->is_live || comes_alive) && !goes;
    for (n = 0; n < band_count; n++) {
        struct band *band = &bands[n];
        if (band->channel != number) {
            continue;
        }
        if (comes_alive) {
            band->is_inside = is_in(band, value, 0);
        } else if (channel->is_live) {
            cross(band, value);
        } else {
            let_go(band);
        }
    }
    if (channel->is_live && channel->missing == 0) {
        bc_player_heard();
    }
}

void bc_channels_frame(void) {
    uint8_t n;
    for (n = 0; n < channel_count; n++) {
        take(&channels[n], bc_hal_channel(n));
        look(n);
    }
}

#endif
