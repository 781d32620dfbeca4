#include "bc_laws.h"

#include "bc_math.h"

#define BC_WANT_LAW_LISTS
#include "bc_generated.h"

static const uint16_t HALF = 32768;
enum { SIXTH = 10923, THIRD = 2 * SIXTH };

/* The row of a listed law; none for others. */
BC_APART static const struct bc_law_row *row_of(uint8_t id) {
    uint8_t number = (uint8_t)(id - BC_LISTED_FIRST);
    return number < BC_LISTED ? &bc_law_rows[number] : 0;
}

/* The gain after one, from how it rises. */
static uint16_t risen_from(uint16_t gain, uint8_t rise) {
    return (uint16_t)(gain + (uint16_t)((int8_t)rise * BC_LIST_GRAIN));
}

/* A listed law in the first half. */
BC_APART static uint32_t listed(const struct bc_law_row *row, uint16_t x, bool of_way) {
    const uint8_t *at = &row->first; /* the rises follow it */
    uint8_t steps = (uint8_t)bc_product(x, 2 * BC_LIST_STEPS);
    uint16_t t = (uint16_t)(x * (uint16_t)(2 * BC_LIST_STEPS));
    uint16_t here = (uint16_t)(bc_flash_next_u8(&at) * BC_LIST_START_GRAIN);
    uint16_t speed = (uint16_t)(0u - (here >> 1));
    bc_u24 way = (bc_u24)8 - bc_product(here, SIXTH);
    uint16_t risen;
    uint16_t bent;
    for (; steps > 0; steps--) {
        speed = (uint16_t)(speed + here);
        way += speed;
        here = risen_from(here, bc_flash_next_u8(&at));
    }
    speed = (uint16_t)(speed + here - (here >> 1));
    risen = bc_product(here, t);
    bent = bc_product(risen_from(here, bc_flash_u8(at)), t); /* behind the last step, where t is 0, whatever stands there */
    bent = bc_product((uint16_t)(3 * here - risen + bent), t);
    if (of_way) {
        way += bc_product(speed, t);
        way += bc_product((uint16_t)(here + bc_product(bent, t)), SIXTH);
        return way >> 4;
    }
    speed = (uint16_t)(speed + ((uint16_t)(bent - risen) >> 1));
    return (uint16_t)(speed - (speed >> 2));
}

/* value / (1 - d), all Q16; d at most a half. */
BC_APART static uint32_t over_rest(uint16_t value, uint16_t d) {
    uint32_t found = value;
    if (d > 0) {
        found += (uint32_t)bc_scale((int32_t)found, bc_share(d, (uint16_t)(0u - d)));
    }
    return found;
}

/* Of the ramp, u of its duration: twice the way covered, or the speed as a share of the cruise. */
static uint16_t ramp_share(uint16_t u, uint16_t beta, bool of_way) {
    bool late = u >= HALF;
    uint16_t near = (uint16_t)(late ? 0u - u : u); /* to its nearer end */
    uint16_t found;
    if (near < beta) {
        found = bc_product((uint16_t)bc_share(near, beta), near);
        found = (uint16_t)over_rest(found, beta);
        found = of_way ? bc_product(bc_product(found, near), THIRD) : found >> 1;
    } else {
        found = (uint16_t)(near - beta / 2);
        if (of_way) {
            found = (uint16_t)(bc_product(near, (uint16_t)(near - beta)) + bc_product(bc_product(beta, beta), THIRD));
        }
        found = (uint16_t)over_rest(found, beta);
    }
    if (late) {
        found = (uint16_t)(of_way ? 2 * u + found : ~found);
    }
    return found;
}

/* 0 stands for the parabolic law's alpha. */
static uint16_t alpha_of(const struct bc_law *law) { return law->alpha == 0 ? HALF : law->alpha; }

/* A law with parameters in the first half. */
BC_APART static uint32_t ramped(const struct bc_law *law, uint16_t x, bool of_way) {
    uint16_t alpha = alpha_of(law);
    uint16_t found = of_way ? (uint16_t)(2 * x - alpha) : 0xFFFF;
    if (x < alpha) {
        found = ramp_share((uint16_t)bc_share(x, alpha), law->beta, of_way);
        if (of_way) {
            found = bc_product(found, alpha);
        }
    }
    return over_rest(found, alpha) >> (of_way ? 1 : 2);
}

uint32_t bc_law_at(const struct bc_law *law, uint32_t x, bool of_way) {
    const struct bc_law_row *row = row_of(law->id);
    bool late = x > HALF;
    uint16_t near = (uint16_t)(late ? 0u - x : x); /* to its nearer end */
    uint32_t found;
    if (law->id == BC_LAW_UNIFORM) {
        return of_way ? x : 16384;
    }
    found = row ? listed(row, near, of_way) : ramped(law, near, of_way);
    return late && of_way ? 65536 - found : found;
}

/* 2^32 / (65536 - d), rounded up; d at most a half. Only for none and a half it is whole. */
BC_APART static uint32_t reciprocal(uint16_t d) {
    uint32_t found = 65536;
    if (d > 0) {
        found += bc_share(d, (uint16_t)(0u - d));
        if (d < HALF) {
            found++;
        }
    }
    return found;
}

/* Of the laws with parameters; TABLE.md says the formulas. */
BC_APART static void ramp_coefficients(uint16_t alpha, uint16_t beta, struct bc_coefficients *found) {
    uint32_t v = reciprocal(alpha);
    uint32_t bend = 2 * ((uint32_t)beta * (uint16_t)(0u - beta));
    uint16_t overlap = alpha >> 7; /* without beta */
    found->speed = (uint16_t)((v + 15) >> 4);
    found->acceleration = bc_quotient(v, reciprocal(beta), (uint32_t)alpha << 4);
    if (beta > 0) {
        overlap = (uint16_t)((uint32_t)bc_scale((int32_t)(65536 + bc_root(0u - bend, 16)), alpha) >> 8);
    }
    if (beta > 0 || alpha < HALF) { /* the parabolic law's is whole */
        found->acceleration++;
    }
    if (overlap >= BC_LEAST_OVERLAP) {
        found->overlap = overlap;
    }
}

void bc_law_coefficients(const struct bc_law *law, struct bc_coefficients *found) {
    const struct bc_law_row *row = row_of(law->id);
    found->speed = 4096;
    found->acceleration = 0;
    found->overlap = 0;
    if (row) {
        const uint16_t *at = &row->speed; /* the others follow it */
        found->speed = bc_flash_next_u16(&at);
        found->acceleration = bc_flash_next_u16(&at);
        found->overlap = bc_flash_next_u16(&at);
    } else if (law->id != BC_LAW_UNIFORM) {
        ramp_coefficients(alpha_of(law), law->beta, found);
    }
}
