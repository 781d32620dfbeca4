#include "bc_light.h"

#include <string.h>

#include "bc_bar.h"
#include "bc_board.h"
#include "bc_flash.h"
#include "bc_math.h"
#include "bc_player.h"
#include "bc_shine.h"
#include "bellcrank.h"

enum { LIGHTS = BC_LAMPS + BC_STRIPS, FULL = BC_EFFECT_ONE, UNTRIMMED = 0xFF };

/* Levels in half percents of L*. */
struct channel {
    uint16_t from; /* Q8 */
    uint8_t to;
};

/* What lamps and strips have in common. */
struct light {
    uint16_t record;   /* where it stands in the table; 0: there is no such light */
    uint32_t start;    /* of its fade */
    uint16_t duration; /* ms; 0 when the fade is over */
    uint8_t law;       /* index in the table; BC_NONE: uniform */
    uint16_t effect;   /* where it stands in the table; 0: steady */
    uint16_t age;      /* ms since the effect's last beat */
    uint16_t beat;     /* the beats' part of the noise: their number times BC_BEAT_NOISE */
    uint8_t weight;    /* how much of the effect is there, in BC_EFFECT_STEPS */
    bool leaves;       /* the effect goes, frame by frame */
    uint16_t coming;   /* the one that takes its place then, as `effect` */
    uint16_t waited;   /* ms since that one was laid */
#if BC_CHIP_SENSES
    bool is_tracked;
    uint16_t tracked; /* level that is followed, in place of that of the fade */
#endif
};

static struct light lights[LIGHTS]; /* lamps first, then strips */
static struct channel lamp_channels[BC_LAMPS];
static struct channel strip_channels[BC_STRIPS][BC_PRIMARIES];

/* Which byte of a pixel is red, green, blue, by order, as in TABLE.md 1.2. */
static const uint8_t byte_orders[BC_ORDERS][BC_PRIMARIES] BC_FLASH = BC_BYTE_ORDERS;

void bc_lights_clear(void) { memset(lights, 0, sizeof lights); }

void bc_light_add(const struct bc_output *output) { lights[output->index].record = output->at; }

static bool is_strip(uint8_t light) { return light >= BC_LAMPS; }

static uint8_t channels_of(uint8_t light) { return is_strip(light) ? BC_PRIMARIES : 1; }

static struct channel *first_channel(uint8_t light) {
    return is_strip(light) ? strip_channels[light - BC_LAMPS] : &lamp_channels[light];
}

/* -- fades ---------------------------------------------------------------------------------- */

/* How far a light's fade is at a time, 0 to BC_SHARE_ONE; one that has ended rests from now on. */
static uint32_t share_at(struct light *light, uint32_t time) {
    uint32_t share;
    struct bc_law law;
    if (light->duration == 0) {
        return BC_SHARE_ONE;
    }
    share = bc_progress(time - light->start, (uint32_t)light->duration * BC_MS);
    if (share == BC_SHARE_ONE) {
        light->duration = 0;
    } else if (light->law != BC_NONE) {
        bc_table_law(light->law, &law);
        share = bc_law_position(&law, share);
    }
    return share;
}

static uint16_t level_of(const struct channel *channel, uint32_t share) {
    int32_t way = ((int32_t)channel->to * 256) - channel->from;
    return (uint16_t)(channel->from + bc_scale(way, share));
}

/* What is seen of it, without an effect. */
static uint16_t seen_level(uint8_t number, const struct channel *channel, uint32_t share,
                           uint32_t time) {
    uint16_t level = level_of(channel, share);
#if BC_CHIP_SENSES
    return bc_shine_level(number, level, time);
#else
    (void)number;
    (void)time;
    return level;
#endif
}

static void drop_effect(struct light *light) {
    light->effect = 0;
    light->weight = 0;
    light->leaves = false;
}

/* From where the light is at the start. One within a frame leaves nothing of an effect that goes.
 */
void bc_light_fade(const struct bc_step *act, uint32_t start) {
    uint8_t number = act->output.index;
    struct light *light = &lights[number];
    struct channel *channel = first_channel(number);
    uint32_t share = share_at(light, start);
    uint8_t left;
    light->start = start;
    light->duration = act->operand;
    light->law = act->law;
    if (act->operand < BC_FRAME_MS && light->leaves && light->coming == 0) {
        drop_effect(light);
    }
    if (is_strip(number)) {
        bc_table_seek(bc_table_colour((uint8_t)act->target));
    }
    for (left = channels_of(number); left > 0; left--) {
        channel->from = seen_level(number, channel, share, start);
        channel->to = is_strip(number) ? bc_next_u8() : (uint8_t)act->target;
        channel++;
    }
#if BC_CHIP_SENSES
    bc_shine_ends(number);
#endif
}

uint32_t bc_light_left(uint8_t number, uint32_t time) {
    struct light *light = &lights[number];
    if (share_at(light, time) == BC_SHARE_ONE) {
        return 0;
    }
    return light->start + (uint32_t)light->duration * BC_MS - time;
}

#if BC_CHIP_SENSES
uint16_t bc_light_at(uint8_t lamp, uint32_t time) {
    return level_of(first_channel(lamp), share_at(&lights[lamp], time));
}

void bc_light_track(uint8_t lamp, uint16_t level) {
    lights[lamp].is_tracked = true;
    lights[lamp].tracked = level;
}

void bc_light_halt(uint8_t lamp, uint16_t level, uint32_t start) {
    struct channel *channel = first_channel(lamp);
    channel->from = level;
    channel->to = (uint8_t)((uint16_t)(level + 128) >> 8);
    lights[lamp].start = start;
    lights[lamp].duration = BC_FRAME_MS;
    lights[lamp].law = BC_NONE;
    lights[lamp].is_tracked = false;
}
#endif

/* -- effects -------------------------------------------------------------------------------- */

void bc_light_steady(uint8_t light) {
    lights[light].leaves = lights[light].effect != 0;
    lights[light].coming = 0;
}

/* Whether two effects in the table have all values alike. */
static bool are_alike(uint16_t one, uint16_t other) {
    uint8_t n;
    for (n = 0; n < BC_EFFECT_SIZE; n++) {
        if (bc_table_u8((uint16_t)(one + n)) != bc_table_u8((uint16_t)(other + n))) {
            return false;
        }
    }
    return true;
}

/* An effect takes its place; it was laid so many ms ago. */
static void take_place(struct light *light, uint16_t effect, uint16_t age) {
    light->effect = effect;
    light->age = age;
    light->beat = 0;
    light->weight = 0;
    light->leaves = false;
}

void bc_light_effect(const struct bc_step *op, uint32_t time) {
    struct light *light = &lights[op->output.index];
    uint16_t age = (uint16_t)((bc_player_time() - time) / BC_MS);
    if (bc_table_u8(op->operand) == BC_EFFECT_STEADY) {
        bc_light_steady(op->output.index);
    } else if (light->effect == 0) {
        take_place(light, op->operand, age);
    } else if (are_alike(light->effect, op->operand)) {
        light->leaves = false;
    } else {
        light->leaves = true;
        light->coming = op->operand;
        light->waited = age;
    }
}

/* One frame more or less of the effect. */
static void weigh(struct light *light) {
    if (!light->leaves) {
        if (light->weight < BC_EFFECT_STEPS) {
            light->weight++;
        }
        return;
    }
    if (light->weight > 0) {
        light->weight--;
    }
    if (light->weight == 0) {
        take_place(light, light->coming, light->waited);
    } else {
        light->waited = (uint16_t)(light->waited + BC_FRAME_MS);
    }
}

/* An effect at one frame. */
struct moment {
    uint16_t depth; /* z, 0 to 256 */
    uint16_t noise; /* of this beat and of the next, without the pixel's part */
    uint16_t next_noise;
    uint8_t kind;
    uint8_t share; /* h, of the beat */
    uint8_t width;
    uint8_t pixels;
};

/* `common` is what the seed and the beat give. */
BC_INLINE uint8_t noise(uint16_t common, uint8_t pixel) {
    return (uint8_t)bc_mixed((uint16_t)(common ^ (uint16_t)(pixel * BC_PIXEL_NOISE)));
}

static uint8_t breathing(uint8_t h) {
    const struct bc_law harmonic = {BC_LAW_HARMONIC, 0, 0, BC_PEAK_MIDDLE};
    uint8_t y = (uint8_t)(h < 128 ? 2 * h : 510 - 2 * h);
    return (uint8_t)(bc_law_position(&harmonic, (uint32_t)y << 8) >> 8);
}

/* (256 level + 100) / 200 */
static uint16_t depth_of(uint8_t level) {
    return (uint16_t)((uint16_t)(level * 256u + BC_LEVEL_MAX / 2) / (uint16_t)BC_LEVEL_MAX);
}

/* Whole beats of an effect that has waited. */
static void catch_up(struct light *light, uint16_t period) {
    while (light->age >= period) {
        light->age = (uint16_t)(light->age - period);
        light->beat = (uint16_t)(light->beat + BC_BEAT_NOISE);
    }
}

/* The effect now, from the table. */
static void read_effect(struct light *light, uint16_t *period, struct moment *moment) {
    uint16_t seed; /* its part of the noise */
    bc_table_seek(light->effect);
    moment->kind = bc_next_u8();
    *period = bc_next_u16();
    catch_up(light, *period);
    moment->depth = (uint16_t)(depth_of(bc_next_u8()) * light->weight / BC_EFFECT_STEPS);
    seed = (uint16_t)(bc_next_u8() * BC_SEED_NOISE);
    moment->width = bc_next_u8();
    moment->share = (uint8_t)(bc_share(light->age, *period) >> 8);
    moment->noise = (uint16_t)(seed ^ light->beat);
    moment->next_noise = (uint16_t)(seed ^ (uint16_t)(light->beat + BC_BEAT_NOISE));
    if (moment->kind == BC_EFFECT_BREATHE) {
        moment->share = breathing(moment->share);
    }
}

/* A frame later. The shortest period is longer than a frame. */
BC_ASSERT(period, (int)BC_PERIOD_MIN > (int)BC_FRAME_MS);
static void let_grow_older(struct light *light, uint16_t period) {
    if (light->age < period - BC_FRAME_MS) {
        light->age = (uint16_t)(light->age + BC_FRAME_MS);
    } else {
        light->age = (uint16_t)(light->age - (period - BC_FRAME_MS));
        light->beat = (uint16_t)(light->beat + BC_BEAT_NOISE);
    }
}

static void take_effect(struct light *light, struct moment *moment) {
    uint16_t period;
    moment->kind = BC_EFFECT_STEADY;
    moment->depth = 0;
    moment->share = 0;
    if (light->effect != 0) {
        weigh(light);
    }
    if (light->effect != 0) {
        read_effect(light, &period, moment);
        let_grow_older(light, period);
    }
}

/* a + (((b - a) h) >> 8), which is (a (256 - h) + b h) >> 8 and has nothing negative. */
static uint8_t blend(uint8_t a, uint8_t b, uint8_t h) {
    uint16_t sum = (uint16_t)((uint16_t)a << 8);
    sum = (uint16_t)(sum + (uint16_t)((uint16_t)b * h));
    sum = (uint16_t)(sum - (uint16_t)((uint16_t)a * h));
    return (uint8_t)(sum >> 8);
}

/* b of `run`: a front runs over the pixels, dark behind it over a width. */
static uint16_t behind_front(const struct moment *moment, uint8_t pixel) {
    uint16_t behind = (uint16_t)((uint16_t)moment->share * moment->pixels); /* in 1/256 pixel */
    uint16_t distance = (uint16_t)((uint16_t)pixel << 8);
    if (behind < distance) {
        behind = (uint16_t)(behind + ((uint16_t)moment->pixels << 8));
    }
    behind = (uint16_t)(behind - distance);
    if (behind >> 8 >= moment->width) {
        return FULL;
    }
    return (uint16_t)(behind / moment->width);
}

/* b: how much of the effect's depth a pixel has, 0 to 256. */
static uint16_t dimming(const struct moment *moment, uint8_t pixel) {
    uint8_t a;
    switch (moment->kind) {
    case BC_EFFECT_BREATHE:
        return moment->share;
    case BC_EFFECT_EMBER:
        a = noise(moment->noise, pixel);
        return blend(a, noise(moment->next_noise, pixel), moment->share);
    case BC_EFFECT_SPARKLE:
        a = noise(moment->noise, pixel);
        return (uint8_t)((uint16_t)((uint16_t)BC_WIDTH_MAX * a) >> 8) < moment->width
                   ? moment->share
                   : FULL;
    case BC_EFFECT_RUN:
        return behind_front(moment, pixel);
    default:
        return 0;
    }
}

/* -- what is seen --------------------------------------------------------------------------- */

/* A lightness in two bytes, each of which a chip of eight bits multiplies in one instruction. */
struct lightness {
    uint8_t low;
    uint8_t high;
    uint8_t trim; /* what follows from it is multiplied by (trim + 1) / 256 */
};

static struct lightness lightness_of(uint16_t level) {
    uint16_t u = (uint16_t)(level + bc_product(level, BC_LIGHTNESS_GROWTH));
    struct lightness lightness = {(uint8_t)u, (uint8_t)(u >> 8), UNTRIMMED};
    return lightness;
}

/* (u part) >> 8 */
static uint16_t part_of(struct lightness u, uint8_t part) {
    uint16_t low = (uint16_t)((uint16_t)u.low * part);
    uint16_t high = (uint16_t)((uint16_t)u.high * part);
    return (uint16_t)(high + (uint8_t)(low >> 8));
}

/* u under a multiplier, 0 to 256. */
BC_INLINE uint16_t dimmed(struct lightness u, uint16_t m) {
    return m == FULL ? bc_u16(u.low, u.high) : part_of(u, (uint8_t)m);
}

/* m of a pixel, 0 to 256. */
static uint16_t multiplier(const struct moment *moment, uint8_t pixel) {
    uint16_t cut = dimming(moment, pixel);
    if (cut == FULL) {
        cut = moment->depth;
    } else { /* a product of 16 bits, which takes half as long as one of 32 */
        cut = (uint16_t)((uint16_t)(cut * moment->depth) >> 8);
    }
    return (uint16_t)(FULL - cut);
}

/* The duty of a lightness: CIE's line, and its cube. */
BC_INLINE uint16_t duty_of(uint16_t u) {
    if (u < BC_CUBE_START) {
        return (uint16_t)((uint16_t)((uint32_t)u * 33 >> 8) - (u >> 11));
    }
    return (uint16_t)(bc_cube((uint16_t)(u + BC_CUBE_OFFSET)) + 2);
}

/* The duty of a lightness under a multiplier and its trim. */
BC_INLINE uint16_t seen(struct lightness u, uint16_t m) {
    uint16_t duty = duty_of(dimmed(u, m));
    if (u.trim != UNTRIMMED) {
        duty = (uint16_t)((uint32_t)duty * (uint16_t)(u.trim + 1u) >> 8);
    }
    return duty;
}

/* One of a light's trims, which stand behind its record. */
static uint8_t trim_of(const struct light *light, uint8_t size, uint8_t number) {
    if (!(bc_table_u8(light->record) & BC_FLAG)) {
        return UNTRIMMED;
    }
    return bc_table_u8((uint16_t)(light->record + size + number));
}

static uint8_t channel_byte(uint16_t duty) {
    return (uint8_t)((uint16_t)(duty - (duty >> 8) + 128) >> 8);
}

/* The level at which a lamp is shown, without an effect. */
static uint16_t shown_level(uint8_t number, uint32_t time) {
    struct light *light = &lights[number];
    uint16_t level = seen_level(number, first_channel(number), share_at(light, time), time);
#if BC_CHIP_SENSES
    if (light->is_tracked) {
        level = light->tracked;
    }
#endif
    return level;
}

static void show_lamp(uint8_t number, uint32_t time) {
    struct light *light = &lights[number];
    struct moment moment;
    struct lightness lightness = lightness_of(shown_level(number, time));
    lightness.trim = trim_of(light, BC_LAMP_SIZE, 0);
    moment.pixels = 1;
    take_effect(light, &moment);
    bc_hal_lamp(number, seen(lightness, multiplier(&moment, 0)));
}

static void paint_pixel(uint8_t *bytes, const struct lightness *lightness, uint16_t m) {
    uint8_t left;
    for (left = BC_PRIMARIES; left > 0; left--) {
        *bytes = channel_byte(seen(*lightness, m));
        bytes++;
        lightness++;
    }
}

/* All pixels of a strip; those that look like the one before are copied. */
static void paint(uint8_t *bytes, const struct lightness *lightness, const struct moment *moment) {
    enum { NONE_SO_FAR = FULL + 1, PIXELS_BETWEEN_SERVICES = 16 };
    uint16_t last = NONE_SO_FAR; /* the multiplier of the pixel before */
    uint8_t pixel;
    for (pixel = 0; pixel < moment->pixels; pixel++) {
        uint16_t m = multiplier(moment, pixel);
        if (pixel % PIXELS_BETWEEN_SERVICES == 0) {
            bc_service_within_frame();
        }
        if (m == last) {
            memcpy(bytes, bytes - BC_PRIMARIES, BC_PRIMARIES);
        } else {
            paint_pixel(bytes, lightness, m);
        }
        bytes += BC_PRIMARIES;
        last = m;
    }
}

/* Keep the sum of all bytes under the cap, which is in units of 256. */
static void limit(uint8_t *bytes, uint16_t count, uint16_t cap) {
    uint32_t sum = 0;
    uint8_t factor;
    uint16_t n;
    for (n = 0; n < count; n++) {
        sum += bytes[n];
    }
    if (sum <= (uint32_t)cap << 8) {
        return;
    }
    factor = (uint8_t)(((uint32_t)cap << 15) / ((sum + 1) >> 1));
    for (n = 0; n < count; n++) {
        bytes[n] = (uint8_t)((uint16_t)((uint16_t)bytes[n] * factor) >> 8);
    }
}

/* How many bytes it has. */
static uint16_t show_strip(uint8_t number, uint32_t time, uint8_t *bytes) {
    struct light *light = &lights[number];
    const struct channel *channels = first_channel(number);
    uint32_t share = share_at(light, time);
    struct lightness lightness[BC_PRIMARIES]; /* in the order of the bytes */
    struct moment moment;
    uint8_t order;
    uint16_t cap;
    uint16_t count;
    uint8_t n;
    bc_table_seek((uint16_t)(light->record + BC_STRIP_PIXELS));
    moment.pixels = bc_next_u8();
    order = bc_next_u8();
    cap = bc_next_u16();
    for (n = 0; n < BC_PRIMARIES; n++) {
        uint8_t place = bc_flash_u8(&byte_orders[order][n]);
        lightness[place] = lightness_of(level_of(&channels[n], share));
        lightness[place].trim = trim_of(light, BC_STRIP_SIZE, n);
    }
    take_effect(light, &moment);
    paint(bytes, lightness, &moment);
#if BC_CHIP_SENSES
    if (bc_bar_of(number, &n)) {
        bc_bar_cut(number, bytes, moment.pixels, shown_level(n, time));
    }
#endif
    count = (uint16_t)(BC_PRIMARIES * moment.pixels);
    if (cap != 0) {
        limit(bytes, count, cap);
    }
    return count;
}
BC_ASSERT(strip_fields_stand_in_a_row,
          BC_STRIP_ORDER == BC_STRIP_PIXELS + 1 && BC_STRIP_CAP == BC_STRIP_ORDER + 1);

void bc_lights_show(uint32_t time) {
    uint8_t *bytes = bc_image.pixels;
    uint8_t n;
    for (n = 0; n < LIGHTS; n++) {
        if (lights[n].record != 0) {
            if (is_strip(n)) {
                bytes += show_strip(n, time, bytes);
            } else {
                show_lamp(n, time);
            }
        }
    }
    bc_table_release();
}
