#include "bc_laws.h"

#include "bc_math.h"

#define BC_WANT_LAW_LISTS
#include "bc_generated.h"

static const uint16_t HALF = 32768;
static const uint32_t ONE = 65536;
enum { SIXTH = 10923, THIRD = 2 * SIXTH };

/* (a * b) >> 16 */
BC_CALLED static uint16_t product(uint16_t a, uint16_t b) {
#ifdef __AVR__
    uint16_t found;
    uint8_t low;
    __asm__("mul %A[a], %A[b] \n\t"
            "mov %[low], r1 \n\t"
            "mul %B[a], %B[b] \n\t"
            "movw %[found], r0 \n\t"
            "mul %A[a], %B[b] \n\t"
            "add %[low], r0 \n\t"
            "adc %A[found], r1 \n\t"
            "brcc 1f \n\t"
            "inc %B[found] \n\t"
            "1: \n\t"
            "mul %B[a], %A[b] \n\t"
            "add %[low], r0 \n\t"
            "adc %A[found], r1 \n\t"
            "clr r1 \n\t"
            "adc %B[found], r1"
            : [found] "=&r"(found), [low] "=&r"(low)
            : [a] "r"(a), [b] "r"(b)
            : "r0");
    return found;
#else
    return (uint16_t)(((uint32_t)a * b) >> 16);
#endif
}

/* The row of a listed law: its list, then its coefficients; none for others. */
static const uint16_t *row_of(uint8_t id) {
    uint8_t number = (uint8_t)(id - BC_LISTED_FIRST);
    return number < BC_LISTED ? bc_law_rows[number] : 0;
}

/* A listed law in the first half; `gain` points to its row. */
BC_CALLED static uint32_t listed(const uint16_t *gain, uint16_t x, bool of_way) {
    uint32_t place = (uint32_t)x * (2 * BC_LIST_STEPS);
    uint8_t steps = (uint8_t)(place >> 16);
    uint16_t t = (uint16_t)place;
    uint16_t here = bc_flash_next_u16(&gain);
    uint16_t speed = (uint16_t)(0u - (here >> 1));
    uint32_t way = 0u - (uint32_t)product(here, SIXTH);
    uint16_t risen;
    uint16_t bent;
    for (; steps > 0; steps--) {
        speed = (uint16_t)(speed + here);
        way += speed;
        here = bc_flash_next_u16(&gain);
    }
    speed = (uint16_t)(speed + here - (here >> 1));
    risen = product(here, t);
    /* Behind the last step, where t is 0, a coefficient stands. */
    bent = product(bc_flash_u16(gain), t);
    bent = product((uint16_t)(3 * here - risen + bent), t);
    if (of_way) {
        way += product(speed, t);
        way += product((uint16_t)(here + product(bent, t)), SIXTH);
        return (way + 8) >> 4;
    }
    speed = (uint16_t)(speed + ((uint16_t)(bent - risen) >> 1));
    return (uint16_t)((speed >> 1) + (speed >> 2));
}

/* 2^32 / (65536 - d) for d <= 32768. */
static uint32_t reciprocal(uint16_t d) { return d == 0 ? ONE : ONE + bc_share(d, (uint16_t)(0u - d)); }

/* Of the ramp, u of its duration: twice the way covered, or the speed as a share of the cruise. */
static uint32_t ramp_share(uint32_t u, uint16_t beta, bool of_way) {
    bool late = u > HALF;
    uint16_t near = (uint16_t)(late ? 0u - u : u); /* to its nearer end */
    uint32_t w = reciprocal(beta);
    uint32_t found;
    if (near < beta) {
        found = (uint32_t)bc_scale((int32_t)w, product((uint16_t)bc_share(near, beta), near));
        found = of_way ? product(product((uint16_t)found, near), THIRD) : found >> 1;
    } else {
        uint16_t share = (uint16_t)(near - beta / 2);
        if (of_way) {
            found = (uint32_t)near * (uint16_t)(near - beta);
            found += (uint32_t)bc_scale((int32_t)((uint32_t)beta * beta), THIRD);
            share = (uint16_t)(found >> 16);
        }
        found = (uint32_t)bc_scale((int32_t)w, share);
    }
    if (late) {
        found = of_way ? 2 * u - ONE + found : ONE - found;
    }
    return found;
}

/* 0 stands for the parabolic law's alpha. */
static uint16_t alpha_of(const struct bc_law *law) { return law->alpha == 0 ? HALF : law->alpha; }

/* A law with parameters in the first half. */
BC_CALLED static uint32_t ramped(const struct bc_law *law, uint16_t x, bool of_way) {
    uint16_t alpha = alpha_of(law);
    int32_t v = (int32_t)reciprocal(alpha);
    uint32_t share = ramp_share(bc_share(x, alpha), law->beta, of_way);
    if (!of_way) {
        return (uint32_t)bc_scale(v, share) >> 2;
    }
    share = (uint32_t)bc_scale(alpha, share);
    if (x > alpha) {
        share += 2 * (uint32_t)(x - alpha);
    }
    return (uint32_t)bc_scale(v, share) >> 1;
}

uint32_t bc_law_at(const struct bc_law *law, uint32_t x, bool of_way) {
    const uint16_t *row = row_of(law->id);
    bool late = x > HALF;
    uint32_t found;
    if (law->id == BC_LAW_UNIFORM) {
        return of_way ? x : 16384;
    }
    if (late) {
        x = ONE - x;
    }
    found = row ? listed(row, (uint16_t)x, of_way) : ramped(law, (uint16_t)x, of_way);
    return late && of_way ? ONE - found : found;
}

/* Of the laws with parameters; TABLE.md says the formulas. */
static void ramp_coefficients(uint16_t alpha, uint16_t beta, struct bc_coefficients *found) {
    uint32_t cruise = ONE - alpha;
    uint32_t swell = ONE - beta;
    uint32_t bend = beta == 0 ? ONE : bc_root(0u - 2 * (beta * swell)) >> 14;
    uint16_t overlap = (uint16_t)((uint32_t)bc_scale((int32_t)(ONE + bend), alpha) >> 8);
    found->speed = (uint16_t)bc_quotient((1ul << 28) + cruise - 1, 1, cruise);
    /* 2^60 - 1 is (2^30 - 1)(2^30 + 1), and a quotient rounded up twice is rounded up once. */
    found->acceleration =
        bc_quotient(bc_quotient((1ul << 30) - 1, (1ul << 30) + 1, cruise * swell) + alpha, 1, alpha);
    if (overlap >= BC_LEAST_OVERLAP) {
        found->overlap = overlap > 256 ? 256 : overlap;
    }
}

void bc_law_coefficients(const struct bc_law *law, struct bc_coefficients *found) {
    const uint16_t *row = row_of(law->id);
    found->speed = 4096;
    found->acceleration = 0;
    found->overlap = 0;
    if (row) {
        row += BC_LIST_STEPS + 1;
        found->speed = bc_flash_u16(row);
        found->acceleration = bc_flash_u16(row + 1);
        found->overlap = bc_flash_u16(row + 2);
    } else if (law->id != BC_LAW_UNIFORM) {
        ramp_coefficients(alpha_of(law), law->beta, found);
    }
}
