/* Motion laws in integers, TABLE.md section 3.1. */
#ifndef BC_LAWS_H
#define BC_LAWS_H

#include <stdint.h>

/* A law as it stands in a table. */
struct bc_law {
    uint8_t id;
    uint16_t alpha; /* Q16; for the laws that have one */
    uint16_t beta;
    uint16_t peak; /* where it is fastest, Q16 */
};

/* A law's coefficients; see there. */
struct bc_coefficients {
    uint16_t speed;        /* Cv, Q12 */
    uint32_t acceleration; /* Ca, Q12 */
    uint16_t overlap;      /* K, Q8 */
};

/* Position (Q16, 0 to 65536) and slope (Q14) at progress x (Q16, 0 to 65536). */
uint32_t bc_law_position(const struct bc_law *law, uint32_t x);
uint16_t bc_law_slope(const struct bc_law *law, uint32_t x);

void bc_law_coefficients(const struct bc_law *law, struct bc_coefficients *found);

#endif
