#define BC_WANT_LIGHTNESS
#include "bc_light.h"

#include "bc_board.h"
#include "bc_math.h"
#include "bc_player.h"
#include "bellcrank.h"

enum { LIGHTS = BC_LAMPS + BC_STRIPS, CHANNELS = 3, FRAME_MS = 20, FULL = 256 };
static const uint16_t LEVEL_TOP = 51200; /* Q8 of half percents */

struct effect {
    uint16_t period; /* ms */
    uint16_t age;    /* ms since the last beat */
    uint16_t beat;   /* beats since the start, modulo 65536 */
    uint8_t kind;
    uint8_t depth; /* level */
    uint8_t seed;
    uint8_t width;
};

/* A fade goes on while `law` is not RESTING. Levels are in half percents of L*. */
struct fade {
    uint32_t start;
    uint16_t duration; /* ms */
    uint8_t law;       /* id in the low half, index in the table in the high one */
};

/* What lamps and strips have in common. */
struct light {
    struct fade fade;
    struct effect effect;
};

struct strip {
    uint16_t from[CHANNELS]; /* Q8 */
    uint8_t to[CHANNELS];
    uint8_t pixels;
    uint8_t order;
    uint16_t cap;
};

enum { RESTING = 0x0F };

static struct light lights[LIGHTS]; /* lamps first, then strips */
BC_ASSERT(light, sizeof(struct light) <= 20);
BC_ASSERT(strip, sizeof(struct strip) <= 14);
static uint16_t lamp_from[BC_LAMPS]; /* Q8 */
static uint8_t lamp_to[BC_LAMPS];
static struct strip strips[BC_STRIPS];
static uint8_t lamp_count;
static uint8_t strip_count;

/* Where the channels' bytes go, by order; as in TABLE.md 1.2. */
static const uint8_t places[6][CHANNELS] BC_FLASH = {
    {0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {2, 0, 1}, {1, 2, 0}, {2, 1, 0}};

void bc_lights_clear(void) {
    lamp_count = 0;
    strip_count = 0;
}

uint8_t bc_light_of(const struct bc_output *output) {
    return (uint8_t)(output->kind == BC_LAMP ? output->index : BC_LAMPS + output->index);
}

void bc_lights_add(const struct bc_output *output) {
    if (output->kind == BC_LAMP) {
        lamp_count++;
    } else {
        struct strip *strip = &strips[strip_count++];
        strip->pixels = bc_table_u8((uint16_t)(output->at + BC_STRIP_PIXELS));
        strip->order = bc_table_u8((uint16_t)(output->at + BC_STRIP_ORDER));
        strip->cap = bc_table_u16((uint16_t)(output->at + BC_STRIP_CAP));
    }
}


/* The channels of a light: where they come from, where they go to, how many. */
static uint16_t *from_of(uint8_t light) {
    return light < BC_LAMPS ? &lamp_from[light] : strips[light - BC_LAMPS].from;
}

static uint8_t *to_of(uint8_t light) {
    return light < BC_LAMPS ? &lamp_to[light] : strips[light - BC_LAMPS].to;
}

static uint8_t channels_of(uint8_t light) { return light < BC_LAMPS ? 1 : CHANNELS; }

static struct bc_law law_of(const struct fade *fade) {
    struct bc_law law = {0, 0, 0};
    law.id = fade->law & 0x0F;
    if (law.id == BC_LAW_TRAPEZOID || law.id == BC_LAW_DOUBLE_S) {
        law = bc_table_law(fade->law >> 4);
    }
    return law;
}

/* How far a fade is at a time, 0 to 65536; one that has ended rests from now on. */
static uint32_t share_at(struct fade *fade, uint32_t time) {
    uint32_t elapsed;
    uint32_t total = (uint32_t)fade->duration * BC_MS;
    struct bc_law law;
    if ((fade->law & 0x0F) == RESTING) {
        return 65536;
    }
    elapsed = time - fade->start;
    if ((int32_t)elapsed >= (int32_t)total) {
        fade->law = RESTING;
        return 65536;
    }
    if ((int32_t)elapsed <= 0) {
        return 0;
    }
    law = law_of(fade);
    return bc_law_position(&law, bc_progress(elapsed, total));
}

static uint16_t level_at(uint16_t from, uint8_t to, uint32_t share) {
    int32_t way = (int32_t)to * 256 - from;
    return (uint16_t)(from + bc_scale(way, share));
}

/* The target that a table's byte means: a level, or a colour's three. */
static void set_target(uint8_t light, uint8_t target) {
    if (light < BC_LAMPS) {
        lamp_to[light] = target;
    } else {
        uint16_t at = bc_table_colour(target);
        uint8_t n;
        for (n = 0; n < CHANNELS; n++) {
            strips[light - BC_LAMPS].to[n] = bc_table_u8((uint16_t)(at + n));
        }
    }
}

void bc_light_fade(const struct bc_step *act, uint32_t start) {
    uint8_t light = bc_light_of(&act->output);
    struct fade *mine = &lights[light].fade;
    uint16_t *from = from_of(light);
    const uint8_t *to = to_of(light);
    uint32_t share = share_at(mine, start);
    uint8_t n;
    for (n = 0; n < channels_of(light); n++) {
        from[n] = level_at(from[n], to[n], share);
    }
    set_target(light, (uint8_t)act->target);
    mine->start = start;
    mine->duration = act->operand;
    mine->law = (uint8_t)(act->law << 4 | (act->law == BC_NONE ? BC_LAW_UNIFORM : bc_table_law(act->law).id));
}

void bc_lights_dark(void) {
    uint8_t light;
    uint8_t n;
    for (light = 0; light < LIGHTS; light++) {
        for (n = 0; n < channels_of(light); n++) {
            to_of(light)[n] = 0;
        }
        lights[light].fade.law = RESTING;
        bc_light_steady(light);
    }
}

/* -- effects ------------------------------------------------------------------------------------ */

void bc_light_steady(uint8_t light) { lights[light].effect.kind = BC_EFFECT_STEADY; }

void bc_light_effect(const struct bc_step *op, uint32_t time) {
    struct effect *effect = &lights[bc_light_of(&op->output)].effect;
    uint16_t at = op->operand;
    effect->kind = bc_table_u8(at);
    if (effect->kind != BC_EFFECT_STEADY) {
        effect->period = bc_table_u16((uint16_t)(at + 1));
        effect->depth = bc_table_u8((uint16_t)(at + 3));
        effect->seed = bc_table_u8((uint16_t)(at + 4));
        effect->width = bc_table_u8((uint16_t)(at + 5));
        effect->age = (uint8_t)((bc_player_time() - time) / BC_MS);
        effect->beat = 0;
    }
}

/* One frame later. The shortest period is longer than a frame. */
static void grow_older(struct effect *effect) {
    uint16_t left = (uint16_t)(effect->period - effect->age);
    if (left > FRAME_MS) {
        effect->age = (uint16_t)(effect->age + FRAME_MS);
    } else {
        effect->age = (uint16_t)(FRAME_MS - left);
        effect->beat++;
    }
}

/* The part of the noise that all pixels share. */
static uint16_t noise_of(uint8_t seed, uint16_t a) {
    return (uint16_t)((uint16_t)(seed * 0x9E37u) ^ (uint16_t)(a * 0x85EBu));
}

/*
 * `common` is what noise_of gives. All in 16 bits: a shift by 7 is one of 8 with the last bit put back,
 * which is cheaper on a chip that shifts by one bit at a time.
 */
static uint8_t noise(uint16_t common, uint8_t pixel) {
    uint16_t h = (uint16_t)(common ^ (uint16_t)(pixel * 0xC2B3u));
    h = (uint16_t)(h ^ (uint16_t)((uint16_t)(h << 1) >> 8) ^ (uint16_t)(h >> 15 << 8));
    h = (uint16_t)(h * 0x2C1Bu);
    h = (uint16_t)(h ^ (uint16_t)((uint8_t)(h >> 8) >> 1));
    h = (uint16_t)(h * 0x297Bu);
    return (uint8_t)(h ^ (h >> 8));
}

/* An effect at one frame: what all pixels share. */
struct moment {
    const struct effect *effect;
    uint16_t depth;  /* z, 0 to 256 */
    uint16_t common; /* the multiplier of effects that treat all pixels alike */
    uint16_t front;  /* of an effect that runs along the strip: where it is, in 1/256 pixel */
    uint16_t noise;  /* of this beat and of the next, without the pixel's part */
    uint16_t next_noise;
    uint8_t share;   /* h, of the beat */
    uint8_t pixels;
};

static uint16_t breathing(uint16_t depth, uint8_t share) {
    struct bc_law law = {BC_LAW_HARMONIC, 0, 0};
    uint16_t y = (uint16_t)(share < 128 ? 2 * share : 510 - 2 * share);
    uint16_t s = (uint16_t)(bc_law_position(&law, (uint32_t)y << 8) >> 8);
    return (uint16_t)(FULL - (uint16_t)(((uint32_t)depth * s) >> 8));
}

static struct moment moment_of(const struct effect *effect, uint8_t pixels) {
    struct moment moment = {0, 0, FULL, 0, 0, 0, 0, 0};
    moment.effect = effect;
    moment.pixels = pixels;
    if (effect->kind == BC_EFFECT_STEADY) {
        return moment;
    }
    moment.depth = (uint16_t)(((uint16_t)(effect->depth * 256u) + 100u) / 200u);
    moment.share = (uint8_t)(((uint32_t)effect->age << 8) / effect->period);
    moment.front = (uint16_t)(moment.share * pixels);
    moment.noise = noise_of(effect->seed, effect->beat);
    moment.next_noise = noise_of(effect->seed, (uint16_t)(effect->beat + 1));
    if (effect->kind == BC_EFFECT_BREATHE) {
        moment.common = breathing(moment.depth, moment.share);
    }
    return moment;
}

static uint16_t dimmed(uint16_t depth, uint16_t by) {
    return (uint16_t)(FULL - (by == FULL ? depth : bc_part(depth, (uint8_t)by)));
}

/* a + (((b - a) h) >> 8), by way of 256 a + (b - a) h, which is a (256 - h) + b h and never negative. */
static uint8_t blend(uint8_t a, uint8_t b, uint8_t h) {
    return (uint8_t)((uint16_t)(((uint16_t)a << 8) + (uint16_t)(b * h) - (uint16_t)(a * h)) >> 8);
}

/* Multiplier of a pixel, 0 to 256. */
static uint16_t multiplier(const struct moment *moment, uint8_t pixel) {
    const struct effect *effect = moment->effect;
    uint8_t h = moment->share;
    uint8_t a;
    uint16_t behind;
    switch (effect->kind) {
    case BC_EFFECT_EMBER: {
        uint8_t b;
        a = noise(moment->noise, pixel);
        b = noise(moment->next_noise, pixel);
        return dimmed(moment->depth, blend(a, b, h));
    }
    case BC_EFFECT_SPARKLE:
        a = noise(moment->noise, pixel);
        return dimmed(moment->depth, (uint16_t)(a * 100u) < (uint16_t)effect->width << 8 ? h : FULL);
    case BC_EFFECT_RUN:
        behind = (uint16_t)(moment->front - ((uint16_t)pixel << 8));
        if (moment->front < (uint16_t)pixel << 8) {
            behind = (uint16_t)(behind + ((uint16_t)moment->pixels << 8));
        }
        if (behind < (uint16_t)effect->width << 8) {
            return (uint16_t)(FULL - (uint16_t)((uint32_t)moment->depth * behind /
                                                ((uint32_t)effect->width << 8)));
        }
        return dimmed(moment->depth, FULL);
    default:
        return moment->common;
    }
}

/* -- what is seen ------------------------------------------------------------------------------- */

static uint16_t duty_of(uint16_t level) {
    const uint16_t *at = bc_lightness + ((uint8_t)(level >> 8) >> 1);
    uint16_t low = bc_flash_u16(at);
    uint16_t step;
    uint16_t part;
    if (level == LEVEL_TOP) {
        return low;
    }
    /* (step f) >> 9, f the level's last 9 bits, by way of (step f) >> 8, which needs no 32 bits */
    step = (uint16_t)(bc_flash_u16(at + 1) - low);
    part = bc_part(step, (uint8_t)level);
    if (level & 256) {
        part = (uint16_t)(part + step);
    }
    return (uint16_t)(low + (part >> 1));
}

static uint16_t modulated(uint16_t level, uint16_t m) {
    return m == FULL ? level : bc_part(level, (uint8_t)m);
}

static void show_lamp(uint8_t n, uint32_t time) {
    struct light *light = &lights[n];
    uint16_t level = level_at(lamp_from[n], lamp_to[n], share_at(&light->fade, time));
    if (light->effect.kind != BC_EFFECT_STEADY) {
        struct moment moment = moment_of(&light->effect, 1);
        level = modulated(level, multiplier(&moment, 0));
        grow_older(&light->effect);
    }
    bc_image.duty[n] = duty_of(level);
}

/*
 * The byte of a strip's channel: (duty 255 + 32767) >> 16. With d = 256 h + l that is h + ((256 l - d + 32767) >> 16), and
 * what is shifted there lies between -32768 and 97792.
 */
static uint8_t channel_of(uint16_t level) {
    uint16_t duty = duty_of(level);
    uint8_t high = (uint8_t)(duty >> 8);
    uint16_t low = (uint16_t)(duty << 8);
    if (low >= duty) {
        return (uint8_t)(high + ((uint16_t)(low - duty) > 32768u));
    }
    return (uint8_t)(high - ((uint16_t)(duty - low) > 32767u));
}

/* Keep the sum of all bytes under the cap. */
static void limit(uint8_t *bytes, uint16_t count, uint32_t sum, uint16_t cap) {
    uint16_t factor;
    if (cap == 0 || sum <= (uint32_t)cap << 8) {
        return;
    }
    factor = (uint16_t)(((uint32_t)cap << 16) / sum);
    while (count > 0) {
        *bytes = (uint8_t)((*bytes * factor) >> 8);
        bytes++;
        count--;
    }
}

/* The levels of a strip's channels at a time, in the order of its bytes. */
static void levels_of(const struct strip *strip, uint32_t share, uint16_t *levels) {
    uint8_t c;
    for (c = 0; c < CHANNELS; c++) {
        levels[bc_flash_u8(&places[strip->order][c])] = level_at(strip->from[c], strip->to[c], share);
    }
}

/* Most pixels of most effects differ from their neighbours, so this runs 60 times 50 times a second. */
static void show_strip(uint8_t n, uint8_t *bytes, uint32_t time) {
    struct light *light = &lights[BC_LAMPS + n];
    const struct strip *strip = &strips[n];
    struct moment moment = moment_of(&light->effect, strip->pixels);
    uint16_t levels[CHANNELS];
    uint16_t seen = FULL + 1; /* the multiplier of the pixel before */
    uint16_t pixel_sum = 0;
    uint32_t sum = 0;
    uint8_t *at = bytes;
    uint8_t pixel;
    uint8_t c;
    levels_of(strip, share_at(&light->fade, time), levels);
    for (pixel = 0; pixel < strip->pixels; pixel++) {
        uint16_t m = multiplier(&moment, pixel);
        if (m == seen) {
            for (c = 0; c < CHANNELS; c++) {
                *at = at[-CHANNELS];
                at++;
            }
        } else {
            pixel_sum = 0;
            for (c = 0; c < CHANNELS; c++) {
                uint8_t byte = channel_of(modulated(levels[c], m));
                pixel_sum = (uint16_t)(pixel_sum + byte);
                *at++ = byte;
            }
            seen = m;
        }
        sum += pixel_sum;
        if ((pixel & 15) == 15) {
            bc_service_within_frame();
        }
    }
    limit(bytes, (uint16_t)(CHANNELS * strip->pixels), sum, strip->cap);
    if (light->effect.kind != BC_EFFECT_STEADY) {
        grow_older(&light->effect);
    }
}

void bc_lights_show(uint32_t time) {
    uint8_t *bytes = bc_image.pixels;
    uint8_t n;
    for (n = 0; n < lamp_count; n++) {
        show_lamp(n, time);
        bc_service_within_frame();
    }
    for (n = 0; n < strip_count; n++) {
        show_strip(n, bytes, time);
        bytes += CHANNELS * strips[n].pixels;
    }
    bc_table_release();
}
