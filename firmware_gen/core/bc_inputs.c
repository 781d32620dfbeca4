/*
 * Contacts bounce for some milliseconds (common practice, no source) and long wires catch pulses: a
 * pin's new level counts when four looks in a row agree. The looks are counted for a port's pins at
 * once, in two bits that lie in two bytes (a counter turned on its side). A pin that must settle
 * for longer is looked at more seldom.
 */
#include "bc_inputs.h"

#include <string.h>

#include "bc_bits.h"
#include "bc_player.h"
#include "bc_table.h"
#include "bellcrank.h"

/* Each a bit per pin, the ports' one after another. */
static struct {
    uint8_t mask[BC_PORTS];  /* pins that are inputs */
    uint8_t level[BC_PORTS]; /* as it counts */
    uint8_t ones[BC_PORTS];  /* looks that differed from it, in a row, modulo 4: bit 0 */
    uint8_t twos[BC_PORTS];  /* and bit 1 */
} pins;

#if BC_CHIP_SENSES
/* By input: its pin, at every how manyth look it is looked at (0: at each), and how many are left
 * until then. */
static struct {
    uint8_t pin[BC_INPUTS];
    uint8_t times[BC_INPUTS];
    uint8_t left[BC_INPUTS];
    uint8_t count;
} slow;

void bc_inputs_settle(uint8_t input, uint8_t times) { slow.times[input] = times; }

/* The pins that are not looked at this time. */
static void pass_over(uint8_t *passed) {
    uint8_t n;
    for (n = 0; n < slow.count; n++) {
        if (slow.left[n] > 0) {
            slow.left[n]--;
            bc_bit_put(passed, slow.pin[n], true);
        } else if (slow.times[n] > 0) {
            slow.left[n] = (uint8_t)(slow.times[n] - 1);
        }
    }
}
#endif

void bc_inputs_clear(void) {
    memset(&pins, 0, sizeof pins);
#if BC_CHIP_SENSES
    memset(&slow, 0, sizeof slow);
#endif
}

void bc_inputs_add(uint8_t pin, bool high) {
    bc_bit_put(pins.mask, pin, true);
    bc_bit_put(pins.level, pin, high);
#if BC_CHIP_SENSES
    slow.pin[slow.count] = pin;
    slow.count++;
#endif
}

/* Tell the player what a pin's other level means; false if it finds no room, then it will be seen
 * again. */
static bool tell_one(uint8_t button, bool is_down) {
    if (!bc_player_ask(is_down ? BC_ASK_DOWN : BC_ASK_UP, button)) {
        return false;
    }
    bc_player_heard();
    return true;
}

/* The pins that changed, in the order of the table. */
static void tell(const uint8_t *changed) {
    uint8_t left;
    for (left = bc_table_inputs(); left > 0; left--) {
        uint8_t pin = bc_next_u8();
        uint8_t button = bc_next_u8();
        bool is_high = !bc_bit_is_set(pins.level, pin); /* from now on */
        bool active_low = (button & BC_FLAG) != 0;
        if (bc_bit_is_set(changed, pin) &&
            tell_one(button & (uint8_t)~BC_FLAG, is_high != active_low)) {
            bc_bit_put(pins.level, pin, is_high);
        }
    }
    bc_table_release();
}

void bc_sample_inputs(void) {
    uint8_t changed[BC_PORTS];
    uint8_t port;
#if BC_CHIP_SENSES
    uint8_t passed[BC_PORTS];
    memset(passed, 0, sizeof passed);
    pass_over(passed);
#endif
    for (port = 0; port < BC_PORTS; port++) {
        uint8_t differs = (uint8_t)((bc_hal_port(port) ^ pins.level[port]) & pins.mask[port]);
        uint8_t ones = pins.ones[port];
        uint8_t twos = (uint8_t)((pins.twos[port] ^ ones) & differs);
        ones = (uint8_t)(~ones & differs);
#if BC_CHIP_SENSES
        differs &= (uint8_t)~passed[port];
        ones = (uint8_t)((ones & ~passed[port]) | (pins.ones[port] & passed[port]));
        twos = (uint8_t)((twos & ~passed[port]) | (pins.twos[port] & passed[port]));
#endif
        pins.ones[port] = ones;
        pins.twos[port] = twos;
        /* Both back at 0 with a difference: that was the fourth. */
        changed[port] = (uint8_t)(differs & ~(ones | twos));
    }
    if (bc_bits_any(changed, BC_PORTS)) {
        tell(changed);
    }
}
