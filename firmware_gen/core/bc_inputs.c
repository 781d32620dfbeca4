/*
 * Contacts bounce for some milliseconds (common practice, no source) and long wires catch pulses: a
 * pin's new level counts when four looks in a row agree. The looks are counted for a port's pins at
 * once, in two bits that lie in two bytes (a counter turned on its side).
 */
#include "bc_inputs.h"

#include "bc_bits.h"
#include "bc_player.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { PORTS = 3 };

/* Each a bit per pin. */
static struct {
    uint8_t mask[PORTS];    /* pins that are inputs */
    uint8_t level[PORTS];   /* as it counts */
    uint8_t ones[PORTS];    /* looks that differed from it, in a row, modulo 4 */
    uint8_t twos[PORTS];
} pins;

void bc_inputs_clear(void) { bc_clear(&pins, sizeof pins); }

void bc_inputs_add(uint8_t pin, bool high) {
    bc_bit(pins.mask, pin, BC_BIT_SET);
    if (high) {
        bc_bit(pins.level, pin, BC_BIT_SET);
    }
}

/*
 * Tell the player what the pins that changed mean, in the order of the table. One that finds no room there will be seen again.
 */
static void tell(uint8_t *changed) {
    uint8_t left;
    for (left = bc_table_inputs(); left > 0; left--) {
        uint8_t pin = bc_next_u8();
        uint8_t button = bc_next_u8();
        if (!bc_bit(changed, pin, BC_BIT_KEEP)) {
            continue;
        }
        if (bc_bit(pins.level, pin, BC_BIT_KEEP)) {
            button ^= BC_FLAG; /* which is set for those that are active low: from here on for those that are let go */
        }
        if (bc_player_ask(button & BC_FLAG ? BC_ASK_UP : BC_ASK_DOWN, button & (uint8_t)~BC_FLAG)) {
            bc_bit(pins.level, pin, BC_BIT_FLIP);
            bc_player_heard();
        }
    }
    bc_table_release();
}

void bc_sample_inputs(void) {
    uint8_t changed[PORTS];
    uint8_t any = 0;
    uint8_t port;
    for (port = 0; port < PORTS; port++) {
        uint8_t differs = (uint8_t)((bc_hal_port(port) ^ pins.level[port]) & pins.mask[port]);
        uint8_t ones = pins.ones[port];
        uint8_t twos = (uint8_t)((pins.twos[port] ^ ones) & differs);
        ones = (uint8_t)(~ones & differs);
        pins.ones[port] = ones;
        pins.twos[port] = twos;
        /* Both back at 0 with a difference: that was the fourth. */
        changed[port] = (uint8_t)(differs & ~(ones | twos));
        any |= changed[port];
    }
    if (any != 0) {
        tell(changed);
    }
}
