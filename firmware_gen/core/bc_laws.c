#include "bc_laws.h"

#include <stdbool.h>

#include "bc_math.h"

#define BC_WANT_LAW_LISTS
#include "bc_generated.h"

static const uint16_t HALF = 32768;
static const uint32_t ONE = 65536;

/* Value i of a listed law's positions or slopes, i at most LIST_LENGTH - 1. */
static uint16_t listed(uint8_t list, uint8_t i) {
    const uint16_t *knot = &bc_law_knots[list][i >> 2];
    uint16_t value = bc_flash_u16(knot);
    uint8_t k = i & 3;
    if (k != 0) {
        /* Lists rise, so the difference is not negative; it has at most 13 bits. */
        value = (uint16_t)(value + ((uint16_t)((uint16_t)(bc_flash_u16(knot + 1) - value) * k) >> 2));
        value = (uint16_t)((int16_t)value + bc_flash_i8(&bc_law_bends[list][i]));
    }
    return value;
}

/* Between two neighbours of a list; x at most half. */
static uint16_t between(uint8_t list, uint16_t x) {
    uint8_t i = (uint8_t)(x >> 8);
    uint8_t f = (uint8_t)x;
    uint16_t low = listed(list, i);
    if (f == 0) {
        return low;
    }
    return (uint16_t)(low + (((uint32_t)(uint16_t)(listed(list, (uint8_t)(i + 1)) - low) * f + 128) >> 8));
}

/* 2^32 / d for 32768 <= d < 65536. */
static uint32_t reciprocal(uint16_t d) { return ONE + bc_share((uint16_t)(0u - d), d); }

/* Where the ramp's acceleration rises or falls, `side` of the ramp from its near end. */
static uint32_t corner_speed(uint16_t side, uint16_t beta, uint32_t w, bool of_way) {
    uint32_t square = bc_times(bc_share(side, beta), side);
    if (of_way) {
        return bc_times(bc_times(square, side), w) / 6;
    }
    return bc_times(square, w) >> 1;
}

/*
 * Of the ramp, u of its duration: the way covered, or the speed as a share of the cruise. u < 65536.
 */
static uint32_t ramp_share(uint16_t u, uint16_t beta, bool of_way) {
    uint32_t w;
    uint32_t found;
    if (beta == 0) {
        return of_way ? ((uint32_t)u * u) >> 17 : u;
    }
    w = reciprocal((uint16_t)(0u - beta));
    if (u < beta) {
        return corner_speed(u, beta, w, of_way);
    }
    if (u <= (uint16_t)(0u - beta)) {
        if (of_way) {
            found = (uint32_t)u * u / 2 - (uint32_t)beta * u / 2 + (uint32_t)beta * beta / 6;
            return bc_times(found >> 16, w);
        }
        return bc_times((uint16_t)(u - beta / 2), w);
    }
    found = corner_speed((uint16_t)(0u - u), beta, w, of_way);
    return of_way ? u - (uint32_t)HALF + found : ONE - found;
}

/* Way (Q16) or speed (Q14) at x in the first half. */
static uint32_t ramped(const struct bc_law *law, uint16_t x, bool of_way) {
    uint16_t alpha = law->id == BC_LAW_PARABOLIC ? HALF : law->alpha;
    uint32_t v = reciprocal((uint16_t)(0u - alpha));
    uint32_t share;
    if (x >= alpha) {
        return of_way ? bc_times(v, 2 * (uint32_t)x - alpha) >> 1 : v >> 2;
    }
    share = ramp_share((uint16_t)bc_share(x, alpha), law->id == BC_LAW_DOUBLE_S ? law->beta : 0, of_way);
    return of_way ? bc_times(bc_times(v, alpha), share) : bc_times(v, share) >> 2;
}

static bool is_listed(uint8_t id) {
    return id >= BC_LISTED_FIRST && id < BC_LISTED_FIRST + BC_LISTED;
}

static uint32_t first_half(const struct bc_law *law, uint16_t x, bool of_way) {
    if (is_listed(law->id)) {
        return between((uint8_t)(law->id - BC_LISTED_FIRST + (of_way ? 0 : BC_LISTED)), x);
    }
    return ramped(law, x, of_way);
}

uint32_t bc_law_position(const struct bc_law *law, uint32_t x) {
    if (law->id == BC_LAW_UNIFORM) {
        return x;
    }
    if (x > HALF) {
        return ONE - first_half(law, (uint16_t)(ONE - x), true);
    }
    return first_half(law, (uint16_t)x, true);
}

uint16_t bc_law_slope(const struct bc_law *law, uint32_t x) {
    if (law->id == BC_LAW_UNIFORM) {
        return 16384;
    }
    return (uint16_t)first_half(law, (uint16_t)(x > HALF ? ONE - x : x), false);
}

/* Of the laws with parameters; TABLE.md says the formulas. */
static void ramp_coefficients(uint16_t alpha, uint16_t beta, struct bc_coefficients *found) {
    uint32_t cruise = ONE - alpha;
    uint32_t swell = ONE - beta;
    uint32_t bend = beta == 0 ? ONE : bc_floor_root(0u - 2 * (beta * swell));
    uint16_t overlap = (uint16_t)(bc_times(alpha, ONE + bend) >> 8);
    found->speed = (uint16_t)(((1ul << 28) + cruise - 1) / cruise);
    /* 2^60 - 1 is (2^30 - 1)(2^30 + 1), and a quotient rounded up twice is rounded up once. */
    found->acceleration =
        (bc_quotient((1ul << 30) - 1, (1ul << 30) + 1, 0, cruise * swell) + alpha) / alpha;
    if (overlap >= BC_LEAST_OVERLAP) {
        found->overlap = overlap > 256 ? 256 : overlap;
    }
}

struct bc_coefficients bc_law_coefficients(const struct bc_law *law) {
    struct bc_coefficients found = {4096, 0, 0};
    if (is_listed(law->id)) {
        const uint16_t *row = bc_law_numbers[law->id - BC_LISTED_FIRST];
        found.speed = bc_flash_u16(row);
        found.acceleration = bc_flash_u16(row + 1);
        found.overlap = bc_flash_u16(row + 2);
    } else if (law->id != BC_LAW_UNIFORM) {
        ramp_coefficients(law->id == BC_LAW_PARABOLIC ? HALF : law->alpha,
                          law->id == BC_LAW_DOUBLE_S ? law->beta : 0, &found);
    }
    return found;
}
