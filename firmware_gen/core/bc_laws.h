/* Motion laws in integers, TABLE.md section 3.1. */
#ifndef BC_LAWS_H
#define BC_LAWS_H

#include <stdbool.h>
#include <stdint.h>

/* A law as it stands in a table. */
struct bc_law {
    uint8_t id;
    uint16_t alpha; /* Q16; for the laws that have one */
    uint16_t beta;
};

/* A law's coefficients; see there. */
struct bc_coefficients {
    uint16_t speed;        /* Cv, Q12 */
    uint32_t acceleration; /* Ca, Q12 */
    uint16_t overlap;      /* K, Q8 */
};

/* At progress x (Q16, 0 to 65536): the position (Q16, 0 to 65536), or else the slope (Q14). */
uint32_t bc_law_at(const struct bc_law *law, uint32_t x, bool of_way);

static inline uint32_t bc_law_position(const struct bc_law *law, uint32_t x) {
    return bc_law_at(law, x, true);
}

void bc_law_coefficients(const struct bc_law *law, struct bc_coefficients *found);

#endif
