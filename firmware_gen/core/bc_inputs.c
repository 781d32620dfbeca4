/*
 * Contacts bounce for some milliseconds (common practice, no source) and long wires catch pulses: a
 * pin's new level counts when four looks in a row agree. The looks are counted for a port's pins at
 * once, in two bits that lie in two bytes (a counter turned on its side).
 */
#include "bc_inputs.h"

#include "bc_board.h"
#include "bc_player.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { PORTS = 3, PINS = 8 };

static struct {
    uint8_t mask;    /* pins that are inputs */
    uint8_t level;   /* as it counts */
    uint8_t ones;    /* looks that differed from it, in a row, modulo 4 */
    uint8_t twos;
} ports[PORTS];

void bc_inputs_clear(void) {
    uint8_t port;
    for (port = 0; port < PORTS; port++) {
        ports[port].mask = 0;
        ports[port].ones = 0;
        ports[port].twos = 0;
    }
}

void bc_inputs_add(uint8_t pin, uint8_t high) {
    uint8_t bit = (uint8_t)(1 << (pin & 7));
    ports[pin >> 3].mask |= bit;
    ports[pin >> 3].level =
        (uint8_t)(high ? ports[pin >> 3].level | bit : ports[pin >> 3].level & ~bit);
}

/* The request that a pin's new level is; false if there is no room for it now. */
static bool ask(uint8_t pin, bool high) {
    uint8_t before = bc_table_choose(bc_player_source());
    uint8_t left = bc_table_u8(BC_AT_INPUTS);
    uint8_t button = 0;
    while (left > 0) {
        uint16_t at;
        left--;
        at = bc_table_input(left);
        if (bc_table_u8((uint16_t)(at + BC_INPUT_PIN)) == pin) {
            button = bc_table_u8((uint16_t)(at + BC_INPUT_BUTTON));
            break;
        }
    }
    bc_table_release();
    bc_table_choose(before);
    return bc_player_ask(high == ((button & BC_FLAG) != 0) ? BC_ASK_UP : BC_ASK_DOWN,
                         (uint8_t)(button & ~BC_FLAG));
}

static void change(uint8_t port, uint8_t changed) {
    uint8_t n;
    for (n = 0; n < PINS; n++) {
        uint8_t bit = (uint8_t)(1 << n);
        if ((changed & bit) &&
            ask((uint8_t)(port * PINS + n), (ports[port].level & bit) == 0)) {
            ports[port].level ^= bit;
            bc_player_heard();
        }
    }
}

void bc_sample_inputs(void) {
    uint8_t port;
    for (port = 0; port < PORTS; port++) {
        uint8_t differs;
        uint8_t carry;
        if (ports[port].mask == 0) {
            continue;
        }
        differs = (uint8_t)((bc_hal_port(port) ^ ports[port].level) & ports[port].mask);
        carry = ports[port].ones & differs;
        ports[port].ones = (uint8_t)(~ports[port].ones & differs);
        ports[port].twos = (uint8_t)((ports[port].twos & differs) ^ carry);
        /* Both back at 0 with a difference: that was the fourth. */
        change(port, (uint8_t)(differs & ~(ports[port].ones | ports[port].twos)));
    }
}
