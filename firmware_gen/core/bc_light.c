#include "bc_light.h"

#include "bc_bits.h"
#include "bc_board.h"
#include "bc_compiler.h"
#include "bc_math.h"
#include "bc_player.h"
#include "bellcrank.h"

enum { LIGHTS = BC_LAMPS + BC_STRIPS, COLOURS = 3, CHANNELS = BC_LAMPS + COLOURS * BC_STRIPS };
enum { FRAME_MS = 20, FULL = 256 };
static const uint16_t SEED_NOISE = 0x9E37;
static const uint16_t BEAT_NOISE = 0x85EB;
static const uint16_t PIXEL_NOISE = 0xC2B3;
enum { DEPTH_GROWTH = 18350 }; /* 56 / 200, Q16 */

/* Levels in half percents of L*. */
struct channel {
    uint16_t from; /* Q8 */
    uint8_t to;
};

/* What lamps and strips have in common. */
struct light {
    bc_u24 start;      /* of its fade; without the highest byte, as fades are shorter than 2^16 ms */
    uint16_t duration; /* ms; 0 when the fade is over */
    uint8_t law;       /* index in the table; BC_NONE: uniform */
    uint16_t effect;   /* where it stands in the table; 0: steady */
    uint16_t age;      /* ms since the effect's last beat */
    uint16_t beat;     /* the beats' part of the noise */
};
BC_ASSERT(light, sizeof(struct light) <= 16);

static struct light lights[LIGHTS]; /* lamps first, then strips */

/* A light's first channel has its number; those of a strip's other colours follow in steps of BC_STRIPS. */
static struct channel channels[CHANNELS];

/* Where a strip's red, green and blue go, by order, as in TABLE.md 1.2: two bits each, red in the lowest. */
static const uint8_t places[6] BC_FLASH = {0x24, 0x18, 0x21, 0x12, 0x09, 0x06};

static BC_APART struct light *light_at(uint8_t number) { return &lights[number]; }

void bc_lights_clear(void) { bc_clear(lights, sizeof lights); }

/* -- fades --------------------------------------------------------------------------------------- */

/* How far a light's fade is at a time, 0 to 65536; one that has ended rests from now on. */
static BC_APART uint32_t share_at(struct light *light, uint32_t time) {
    uint32_t share = 65536;
    struct bc_law law;
    if (light->duration != 0) {
        share = bc_progress((time - light->start) & 0xFFFFFF, (uint32_t)light->duration * BC_MS);
    }
    if ((uint8_t)(share >> 16)) {
        light->duration = 0;
    } else if (light->law != BC_NONE) {
        bc_table_law(light->law, &law);
        share = bc_law_position(&law, share);
    }
    return share;
}

/* A way down counts as one up that is 65536 too long. */
static BC_APART uint16_t level_of(const struct channel *channel, uint32_t share) {
    uint16_t from = channel->from;
    uint16_t to = (uint16_t)((uint16_t)channel->to << 8);
    uint16_t level;
    if ((uint8_t)(share >> 16)) {
        return to;
    }
    level = bc_product((uint16_t)(to - from), (uint16_t)share);
    if (to < from) {
        level = (uint16_t)(level - (uint16_t)share);
    }
    return (uint16_t)(from + level);
}

/* From where the light is at the start. */
void bc_light_fade(const struct bc_step *act, uint32_t start) {
    uint8_t number = act->output.index;
    struct light *light = light_at(number);
    struct channel *channel = &channels[number];
    uint32_t share = share_at(light, start);
    uint8_t target = (uint8_t)act->target;
    uint8_t left = 1;
    light->start = (bc_u24)start;
    light->duration = act->operand;
    light->law = act->law;
    if (number >= BC_LAMPS) {
        left = COLOURS;
        bc_table_seek(bc_table_colour(target));
    }
    for (; left > 0; left--) {
        channel->from = level_of(channel, share);
        channel->to = number >= BC_LAMPS ? bc_next_u8() : target;
        channel += BC_STRIPS;
    }
}

/* -- effects ------------------------------------------------------------------------------------- */

void bc_light_steady(uint8_t light) { light_at(light)->effect = 0; }

void bc_light_effect(const struct bc_step *op, uint32_t time) {
    struct light *light = light_at(op->output.index);
    light->effect = bc_table_u8(op->operand) == BC_EFFECT_STEADY ? 0 : op->operand;
    light->age = (uint8_t)((bc_player_time() - time) / BC_MS);
    light->beat = 0;
}

/* A light at one frame: what all its pixels share. */
struct moment {
    uint16_t lightness[COLOURS]; /* in the order of the bytes */
    uint16_t depth;              /* z, 0 to 256 */
    uint16_t noise;              /* of this beat and of the next, without the pixel's part */
    uint16_t next_noise;
    uint8_t kind;
    uint8_t share; /* h, of the beat; b of effects that treat all pixels alike */
    uint8_t width;
    uint8_t pixels;
};

/* `common` is what the seed and the beat give; byte by byte, because the chip shifts words slowly. */
static BC_APART uint8_t noise(uint16_t common, uint8_t pixel) {
    uint16_t h = (uint16_t)(common ^ (uint16_t)(pixel * PIXEL_NOISE));
    uint8_t high = (uint8_t)(h >> 8);
    uint8_t low = (uint8_t)(h ^ (uint8_t)(high << 1) ^ (uint8_t)((uint8_t)h >> 7));
    high = (uint8_t)(high ^ (high >> 7));
    h = (uint16_t)((uint16_t)((uint16_t)high << 8 | low) * 0x2C1Bu);
    h = (uint16_t)(h ^ (uint8_t)((uint8_t)(h >> 8) >> 1));
    h = (uint16_t)(h * 0x297Bu);
    return (uint8_t)((uint8_t)h ^ (uint8_t)(h >> 8));
}

static uint8_t breathing(uint8_t share) {
    struct bc_law law;
    uint8_t y = (uint8_t)((share & 128 ? ~share : share) << 1);
    law.id = BC_LAW_HARMONIC;
    return (uint8_t)(bc_law_position(&law, (uint32_t)y << 8) >> 8);
}

/* (256 level + 100) / 200, as level + (56 level + 100) / 200. */
static uint16_t depth_of(uint8_t level) {
    return (uint16_t)(level + (uint8_t)((uint16_t)(bc_product((uint16_t)(level << 8), DEPTH_GROWTH) + 128) >> 8));
}

/* The effect now, from the table; then it is a frame older. The shortest period is longer than a frame. */
static void take_effect(struct light *light, struct moment *moment) {
    uint16_t age = light->age;
    uint16_t period;
    uint16_t seed; /* its part of the noise */
    moment->kind = BC_EFFECT_STEADY;
    moment->depth = 0;
    moment->share = 0;
    if (light->effect == 0) {
        return;
    }
    bc_table_seek(light->effect);
    moment->kind = bc_next_u8();
    period = bc_next_u16();
    moment->depth = depth_of(bc_next_u8());
    seed = (uint16_t)(bc_next_u8() * SEED_NOISE);
    moment->width = bc_next_u8();
    moment->share = (uint8_t)((uint16_t)bc_share(age, period) >> 8);
    moment->noise = (uint16_t)(seed ^ light->beat);
    moment->next_noise = (uint16_t)(seed ^ (uint16_t)(light->beat + BEAT_NOISE));
    if (moment->kind == BC_EFFECT_BREATHE) {
        moment->share = breathing(moment->share);
    }
    period = (uint16_t)(period - FRAME_MS);
    if (age < period) {
        age = (uint16_t)(age + FRAME_MS);
    } else {
        age = (uint16_t)(age - period);
        light->beat = (uint16_t)(light->beat + BEAT_NOISE);
    }
    light->age = age;
}

/* a + (((b - a) h) >> 8), by way of 256 a + (b - a) h, which is a (256 - h) + b h and never negative. */
static uint8_t blend(uint8_t a, uint8_t b, uint8_t h) {
    return (uint8_t)((uint16_t)(((uint16_t)a << 8) + (uint16_t)(b * h) - (uint16_t)(a * h)) >> 8);
}

/* How much of the effect's depth a pixel has, 0 to 256. */
static uint16_t dimming(const struct moment *moment, uint8_t pixel) {
    uint8_t a;
    if (moment->kind < BC_EFFECT_EMBER) {
        return moment->share;
    }
    if (moment->kind == BC_EFFECT_RUN) {
        uint16_t front = (uint16_t)(moment->share * moment->pixels); /* in 1/256 pixel */
        uint8_t behind = (uint8_t)(front >> 8);                      /* whole pixels */
        if (behind < pixel) {
            behind = (uint8_t)(behind + moment->pixels);
        }
        behind = (uint8_t)(behind - pixel);
        if (behind >= moment->width) {
            return FULL;
        }
        return (uint8_t)(bc_share((uint16_t)((uint16_t)behind << 8 | (uint8_t)front),
                                  (uint16_t)(moment->width << 8)) >>
                         8);
    }
    a = noise(moment->noise, pixel);
    if (moment->kind == BC_EFFECT_SPARKLE) {
        return (uint8_t)((uint16_t)(a * 100u) >> 8) < moment->width ? moment->share : FULL;
    }
    return blend(a, noise(moment->next_noise, pixel), moment->share);
}

/* -- what is seen -------------------------------------------------------------------------------- */

/* (value * share) >> 8, share 0 to 256. */
static inline uint16_t part_of(uint16_t value, uint16_t share) {
    return share == FULL ? value : bc_part(value, (uint8_t)share);
}

/* Multiplier of a pixel, 0 to 256. */
static BC_APART uint16_t multiplier(const struct moment *moment, uint8_t pixel) {
    return (uint16_t)(FULL - part_of(moment->depth, dimming(moment, pixel)));
}

/* The duty of a lightness under a multiplier: CIE's line, and its cube. */
static BC_APART uint16_t duty_of(uint16_t lightness, uint16_t m) {
    lightness = part_of(lightness, m);
    if (lightness < BC_CUBE_START) {
        return (uint16_t)(bc_part(lightness, 33) - (uint8_t)((uint8_t)(lightness >> 8) >> 3));
    }
    return (uint16_t)(bc_cube((uint16_t)(lightness + BC_CUBE_OFFSET)) + 2);
}

static uint8_t channel_byte(uint16_t duty) {
    return (uint8_t)((uint16_t)(duty - (duty >> 8) + 128) >> 8);
}

/*
 * Returns the bytes' end. Most pixels of most effects differ from their neighbours, so the loop runs 60 times 50 times a
 * second.
 */
static uint8_t *paint(const struct moment *moment, uint8_t *at) {
    uint16_t seen = FULL + 1; /* the multiplier of the pixel before */
    uint8_t pixel;
    for (pixel = 0; pixel < moment->pixels; pixel++) {
        uint16_t m = multiplier(moment, pixel);
        const uint16_t *lightness = moment->lightness;
        uint8_t left;
        if ((pixel & 15) == 0) {
            bc_service_within_frame();
        }
        for (left = COLOURS; left > 0; left--) {
            *at = m == seen ? at[-COLOURS] : channel_byte(duty_of(*lightness, m));
            lightness++;
            at++;
        }
        seen = m;
    }
    return at;
}

/* Keep the sum of all bytes under the cap. */
static void limit(uint8_t *bytes, const uint8_t *end, uint16_t cap) {
    uint32_t sum = 1; /* for its half to be rounded up */
    uint8_t factor;
    uint8_t *at;
    for (at = bytes; at < end; at++) {
        sum += *at;
    }
    sum = bc_share(cap, (uint16_t)(sum >> 1));
    factor = (uint8_t)((uint16_t)sum >> 1);
    if (sum >> 1 > 255) {
        return;
    }
    for (at = bytes; at < end; at++) {
        *at = (uint8_t)((uint16_t)(*at * factor) >> 8);
    }
}

/* Returns where the next strip's bytes go. */
static uint8_t *show(const struct bc_output *output, uint32_t time, uint8_t *bytes) {
    struct moment moment;
    uint8_t number = output->index;
    struct light *light = light_at(number);
    const struct channel *channel = &channels[number];
    uint32_t share = share_at(light, time);
    uint16_t cap = 0;
    uint8_t place = 0; /* two bits for each of the colours left */
    uint8_t left = 1;
    uint8_t *end;
    moment.pixels = 1;
    if (number >= BC_LAMPS) {
        bc_table_seek((uint16_t)(output->at + BC_STRIP_PIXELS));
        moment.pixels = bc_next_u8();
        place = bc_flash_u8(&places[bc_next_u8()]);
        cap = bc_next_u16();
        left = COLOURS;
    }
    for (; left > 0; left--) {
        uint16_t level = level_of(channel, share);
        moment.lightness[place & 3] = (uint16_t)(level + bc_product(level, BC_LIGHTNESS_GROWTH));
        place >>= 2;
        channel += BC_STRIPS;
    }
    take_effect(light, &moment);
    if (number < BC_LAMPS) {
        bc_hal_lamp(number, duty_of(*moment.lightness, multiplier(&moment, 0)));
        return bytes;
    }
    end = paint(&moment, bytes);
    if (cap != 0) {
        limit(bytes, end, cap);
    }
    return end;
}

void bc_lights_show(uint32_t time) {
    uint8_t *bytes = bc_image.pixels;
    struct bc_output output;
    bc_outputs_begin(&output);
    while (bc_outputs_next(&output)) {
        if (output.kind == BC_LAMP || output.kind == BC_STRIP) {
            bytes = show(&output, time, bytes);
        }
    }
    bc_table_release();
}
