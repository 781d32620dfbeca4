/* The formulas, and the letters that comments refer to, stand in TABLE.md section 3.1. */
#include "bc_laws.h"

#include <stdbool.h>

#include "bc_chip.h"
#include "bc_flash.h"
#include "bc_generated.h"
#include "bc_law_lists.h"
#include "bc_math.h"

#define ONE BC_SHARE_ONE
#define HALF (ONE / 2)
enum { SIXTH = 10923, THIRD = 2 * SIXTH };

/* What to work out of a law: either costs about as much as both have in common. */
enum what { POSITION, SLOPE };

static const struct bc_law_row *row_of(uint8_t id) { return &bc_law_rows[id - BC_LISTED_FIRST]; }

static bool is_listed(uint8_t id) {
    return id >= BC_LISTED_FIRST && id < BC_LISTED_FIRST + BC_LISTED;
}

/* -- listed laws, in the first half --------------------------------------------------------- */

static uint16_t listed(const uint16_t *gains, uint16_t x, enum what what) {
    uint32_t scaled = (uint32_t)x * (2 * BC_LIST_STEPS);
    uint16_t f = (uint16_t)scaled;
    uint8_t steps = (uint8_t)(scaled >> 16); /* n */
    uint16_t first = bc_flash_u16(gains);
    uint16_t speed = (uint16_t)(0u - (first >> 1));   /* v, modulo 2^16: below 0 only so far */
    int32_t way = -(int32_t)bc_product(first, SIXTH); /* c */
    uint16_t gain;                                    /* a */
    uint16_t p;
    uint16_t q;
    for (; steps > 0; steps--) {
        speed = (uint16_t)(speed + bc_flash_u16(gains));
        way += speed;
        gains++;
    }
    gain = bc_flash_u16(gains);
    speed = (uint16_t)(speed + gain - (gain >> 1));
    p = bc_product(gain, f);
    q = bc_product((uint16_t)(3 * gain - p + bc_product(bc_flash_u16(gains + 1), f)), f);
    if (what == SLOPE) {
        uint16_t w = (uint16_t)(speed + ((int16_t)(q - p) >> 1));
        return (uint16_t)(w - (w >> 2));
    }
    way += bc_product(speed, f);
    way += bc_product((uint16_t)(gain + bc_product(q, f)), SIXTH);
    return (uint16_t)((uint32_t)(way + 8) >> 4);
}

/* -- laws with parameters, in the first half ------------------------------------------------ */

/* d / (1 - d), Q16; d at most a half. */
static uint32_t over_rest(uint16_t d) { return d == 0 ? 0 : bc_share(d, (uint16_t)(ONE - d)); }

/* D: value / (1 - d), all Q16. */
static uint32_t divided(uint16_t value, uint16_t d) {
    return value + (uint32_t)bc_scale(value, over_rest(d));
}

/* R: twice the way within the ramp, u of its duration. */
static uint16_t ramp_way(uint16_t u, uint16_t beta) {
    uint16_t w = u < HALF ? u : (uint16_t)(ONE - u);
    uint16_t way;
    if (w < beta) {
        uint16_t g = bc_product((uint16_t)bc_share(w, beta), w);
        g = (uint16_t)divided(g, beta);
        way = bc_product(bc_product(g, w), THIRD);
    } else {
        uint16_t area = bc_product(w, (uint16_t)(w - beta));
        area = (uint16_t)(area + bc_product(bc_product(beta, beta), THIRD));
        way = (uint16_t)divided(area, beta);
    }
    return u < HALF ? way : (uint16_t)(2u * u - ONE + way);
}

/* r: the speed there, as a share of the cruise. */
static uint16_t ramp_speed(uint16_t u, uint16_t beta) {
    uint16_t w = u < HALF ? u : (uint16_t)(ONE - u);
    uint16_t speed;
    if (w < beta) {
        uint16_t g = bc_product((uint16_t)bc_share(w, beta), w);
        speed = (uint16_t)(divided(g, beta) >> 1);
    } else {
        speed = (uint16_t)divided((uint16_t)(w - beta / 2), beta);
    }
    return u < HALF ? speed : (uint16_t)(ONE - 1 - speed);
}

/* The parabolic law's alpha stands in no table. */
static uint16_t alpha_of(const struct bc_law *law) {
    return law->id == BC_LAW_PARABOLIC ? HALF : law->alpha;
}

static uint16_t ramped(const struct bc_law *law, uint16_t x, enum what what) {
    uint16_t alpha = alpha_of(law);
    uint16_t u;
    if (x >= alpha) {
        return what == POSITION ? (uint16_t)(divided((uint16_t)(2u * x - alpha), alpha) >> 1)
                                : (uint16_t)(divided(ONE - 1, alpha) >> 2);
    }
    u = (uint16_t)bc_share(x, alpha);
    if (what == POSITION) {
        return (uint16_t)(divided(bc_product(alpha, ramp_way(u, law->beta)), alpha) >> 1);
    }
    return (uint16_t)(divided(ramp_speed(u, law->beta), alpha) >> 2);
}

/* -- all laws ------------------------------------------------------------------------------- */

static uint16_t first_half(const struct bc_law *law, uint16_t x, enum what what) {
    if (is_listed(law->id)) {
        return listed(row_of(law->id)->gains, x, what);
    }
    return ramped(law, x, what);
}

/* At x of a half that takes `peak` of the duration and of the stroke. */
static uint16_t up_to_peak(const struct bc_law *law, uint16_t x, uint16_t peak, enum what what) {
    uint16_t found;
    if (peak == HALF) {
        return first_half(law, x, what);
    }
    found = first_half(law, (uint16_t)((bc_share(x, peak) + 1) >> 1), what);
    return what == SLOPE ? found : (uint16_t)(((uint32_t)found * peak) >> 15);
}

uint32_t bc_law_position(const struct bc_law *law, uint32_t x) {
    uint16_t peak = law->peak;
    if (law->id == BC_LAW_UNIFORM) {
        return x;
    }
    if (x > peak) {
        return ONE - up_to_peak(law, (uint16_t)(ONE - x), (uint16_t)(ONE - peak), POSITION);
    }
    return up_to_peak(law, (uint16_t)x, peak, POSITION);
}

uint16_t bc_law_slope(const struct bc_law *law, uint32_t x) {
    uint16_t peak = law->peak;
    if (law->id == BC_LAW_UNIFORM) {
        return ONE / 4;
    }
    if (x > peak) {
        return up_to_peak(law, (uint16_t)(ONE - x), (uint16_t)(ONE - peak), SLOPE);
    }
    return up_to_peak(law, (uint16_t)x, peak, SLOPE);
}

/* -- coefficients --------------------------------------------------------------------------- */

/* 1 / (1 - d), Q16, rounded up; d at most a half, and only for none and a half it is whole. */
static uint32_t reciprocal(uint16_t d) { return ONE + over_rest(d) + (d > 0 && d < HALF ? 1 : 0); }

static void ramp_coefficients(uint16_t alpha, uint16_t beta, struct bc_coefficients *found) {
    uint32_t v = reciprocal(alpha);
    uint32_t bend; /* 2 beta (1 - beta) */
    found->speed = (uint16_t)((v + 15) >> 4);
    found->acceleration = bc_quotient(v, reciprocal(beta), (uint32_t)alpha << 4);
    if (beta > 0 || alpha < HALF) { /* the parabolic law's is whole */
        found->acceleration++;
    }
    found->overlap = (uint16_t)(alpha >> 7);
    if (beta > 0) {
        bend = 2 * ((uint32_t)beta * (ONE - beta));
        found->overlap = (uint16_t)((alpha * (ONE + bc_root(0u - bend, 16))) >> 24);
    }
    if (found->overlap < BC_LEAST_OVERLAP) {
        found->overlap = 0;
    }
}

#if BC_CHIP_KEEPS
/* Servos that begin to move together often do so by one law: the last one's are kept. */
static void kept_coefficients(uint16_t alpha, uint16_t beta, struct bc_coefficients *found) {
    static uint16_t kept_alpha; /* 0: none are */
    static uint16_t kept_beta;
    static struct bc_coefficients kept;
    if (alpha != kept_alpha || beta != kept_beta) {
        ramp_coefficients(alpha, beta, &kept);
        kept_alpha = alpha;
        kept_beta = beta;
    }
    *found = kept;
}
#endif

void bc_law_coefficients(const struct bc_law *law, struct bc_coefficients *found) {
    if (is_listed(law->id)) {
        const struct bc_law_row *row = row_of(law->id);
        found->speed = bc_flash_u16(&row->speed);
        found->acceleration = bc_flash_u16(&row->acceleration);
        found->overlap = bc_flash_u16(&row->overlap);
    } else if (law->id == BC_LAW_UNIFORM) {
        found->speed = BC_COEFFICIENT_ONE;
        found->acceleration = 0;
        found->overlap = 0;
    } else {
#if BC_CHIP_KEEPS
        kept_coefficients(alpha_of(law), law->beta, found);
#else
        ramp_coefficients(alpha_of(law), law->beta, found);
#endif
    }
    if (law->peak != HALF) {
        uint16_t shorter = law->peak < HALF ? law->peak : (uint16_t)(ONE - law->peak);
        found->acceleration = bc_quotient(found->acceleration, HALF, shorter) + 1;
    }
}
