#include "bc_laws.h"

#include <stdbool.h>

#include "bc_math.h"

#define BC_WANT_LAW_LISTS
#include "bc_generated.h"

static const uint16_t HALF = 32768;
static const uint32_t ONE = 65536;

/* Between two neighbours of a list; x at most half. */
static uint16_t between(const uint16_t *list, uint16_t x) {
    const uint16_t *at = list + (x >> 8);
    uint8_t f = (uint8_t)x;
    uint16_t low = bc_flash_u16(at);
    if (f == 0) {
        return low;
    }
    /* Lists rise, so the difference is not negative. */
    return (uint16_t)(low + (((uint32_t)(uint16_t)(bc_flash_u16(at + 1) - low) * f + 128) >> 8));
}

/* (a b) >> 16 for factors of up to 17 bits whose product may need more than 32. */
static uint32_t times(uint32_t a, uint32_t b) { return (uint32_t)(((uint64_t)a * b) >> 16); }

/* 2^32 / d for 32768 <= d < 65536; of these only the first divides 2^32. */
static uint32_t reciprocal(uint32_t d) { return d == HALF ? 2 * ONE : 0xFFFFFFFFu / d; }

/* The parameters of a law that accelerates, cruises and slows down. */
struct ramp {
    uint16_t alpha;
    uint16_t beta;
};

static struct ramp ramp_of(const struct bc_law *law) {
    struct ramp ramp;
    ramp.alpha = law->id == BC_LAW_PARABOLIC ? HALF : law->alpha;
    ramp.beta = law->id == BC_LAW_DOUBLE_S ? law->beta : 0;
    return ramp;
}

/* ((q side) >> 16), q the share of side in beta: both of Q16. */
static uint32_t square(uint32_t side, uint16_t beta) {
    return times((side << 16) / beta, side);
}

/* Way within the ramp, u of its duration. */
static uint32_t ramp_way(uint32_t u, uint16_t beta) {
    uint32_t w;
    if (beta == 0) {
        return (u * u) >> 17;
    }
    w = reciprocal(ONE - beta);
    if (u < beta) {
        return times(times(square(u, beta), u), w) / 6;
    }
    if (u <= ONE - beta) {
        uint32_t area = u * u / 2 - beta * u / 2 + (uint32_t)beta * beta / 6;
        return times(area >> 16, w);
    }
    return u - HALF + times(times(square(ONE - u, beta), ONE - u), w) / 6;
}

/* Speed within the ramp as a share of the cruise. */
static uint32_t ramp_speed(uint32_t u, uint16_t beta) {
    uint32_t w;
    if (beta == 0) {
        return u;
    }
    w = reciprocal(ONE - beta);
    if (u < beta) {
        return times(square(u, beta), w) >> 1;
    }
    if (u <= ONE - beta) {
        return times(u - beta / 2, w);
    }
    return ONE - (times(square(ONE - u, beta), w) >> 1);
}

static uint32_t ramp_position(struct ramp ramp, uint16_t x) {
    uint32_t v = reciprocal(ONE - ramp.alpha);
    if (x >= ramp.alpha) {
        return (uint32_t)(((uint64_t)v * (2 * (uint32_t)x - ramp.alpha)) >> 17);
    }
    return times(times(v, ramp.alpha), ramp_way(((uint32_t)x << 16) / ramp.alpha, ramp.beta));
}

static bool is_listed(uint8_t id) {
    return id >= BC_LISTED_FIRST && id < BC_LISTED_FIRST + BC_LISTED;
}

uint32_t bc_law_position(const struct bc_law *law, uint32_t x) {
    bool second = x > HALF;
    uint16_t first = (uint16_t)(second ? ONE - x : x);
    uint32_t s;
    if (law->id == BC_LAW_UNIFORM) {
        return x;
    }
    if (is_listed(law->id)) {
        s = between(bc_law_positions[law->id - BC_LISTED_FIRST], first);
    } else {
        s = ramp_position(ramp_of(law), first);
    }
    return second ? ONE - s : s;
}

uint16_t bc_law_slope(const struct bc_law *law, uint32_t x) {
    uint16_t first = (uint16_t)(x > HALF ? ONE - x : x);
    struct ramp ramp;
    uint32_t v;
    if (law->id == BC_LAW_UNIFORM) {
        return 16384;
    }
    if (is_listed(law->id)) {
        return between(bc_law_slopes[law->id - BC_LISTED_FIRST], first);
    }
    ramp = ramp_of(law);
    v = reciprocal(ONE - ramp.alpha);
    if (first >= ramp.alpha) {
        return (uint16_t)(v >> 2);
    }
    return (uint16_t)(((uint64_t)v * ramp_speed(((uint32_t)first << 16) / ramp.alpha, ramp.beta)) >>
                      18);
}

struct bc_coefficients bc_law_coefficients(const struct bc_law *law) {
    struct bc_coefficients found = {4096, 0, 0};
    uint32_t cruise;
    uint32_t swell;
    struct ramp ramp;
    if (law->id == BC_LAW_UNIFORM) {
        return found;
    }
    if (is_listed(law->id)) {
        const uint16_t *row = bc_law_numbers[law->id - BC_LISTED_FIRST];
        found.speed = bc_flash_u16(row);
        found.acceleration = bc_flash_u16(row + 1);
        found.overlap = bc_flash_u16(row + 2);
        return found;
    }
    ramp = ramp_of(law);
    cruise = ONE - ramp.alpha;
    swell = ONE - ramp.beta;
    found.speed = (uint16_t)(((1ul << 28) + cruise - 1) / cruise);
    {
        uint64_t product = (uint64_t)(cruise * ramp.alpha) * swell;
        uint32_t bend = bc_floor_root(((uint64_t)1 << 32) - 2 * (uint64_t)(ramp.beta * swell));
        found.acceleration = (uint32_t)((((uint64_t)1 << 60) + product - 1) / product);
        found.overlap = (uint16_t)(((uint64_t)ramp.alpha * (ONE + bend)) >> 24);
    }
    if (found.overlap < BC_LEAST_OVERLAP) {
        found.overlap = 0;
    } else if (found.overlap > 256) {
        found.overlap = 256;
    }
    return found;
}
