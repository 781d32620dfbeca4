/*
 * Why the chip started, and a watchdog. MCUSR tells the cause and is cleared at once, because after
 * a watchdog reset the watchdog stays on at its shortest time, 16 ms, until WDRF is cleared
 * (11.9.1, 11.9.2); the start-up code takes one.
 *
 * The counters live in RAM that the start-up code leaves alone. They hold over every reset but
 * power-on; a balance, which with both of them comes to WHOLE, says whether they did, for a
 * brown-out can spoil RAM.
 */
#include "chip.h"

#include <avr/io.h>
#include <avr/wdt.h>

#define WHOLE 0xBE11u

static struct {
    uint16_t watchdog;
    uint16_t brown_out;
    uint16_t balance;
} counters __attribute__((section(".noinit")));

/* Where the player was in its last frame; holds over the same resets. */
static uint8_t last_mode __attribute__((section(".noinit")));

static bool counters_hold(void) {
    return (uint16_t)(counters.watchdog + counters.brown_out + counters.balance) == WHOLE;
}

/* One more, if there is; a counter stops at its highest. */
static void raise(uint16_t *counter) {
    if (*counter != UINT16_MAX) {
        (*counter)++;
    }
}

uint8_t resets_begin(void) {
    uint8_t cause = MCUSR & (_BV(PORF) | _BV(EXTRF) | _BV(BORF) | _BV(WDRF));
    MCUSR = 0;
    wdt_enable(WDTO_250MS);
    if (cause & _BV(PORF) || !counters_hold()) {
        counters.watchdog = 0;
        counters.brown_out = 0;
    }
    if (cause & _BV(WDRF)) {
        raise(&counters.watchdog);
    }
    if (cause & _BV(BORF) && !(cause & _BV(PORF))) {
        raise(&counters.brown_out);
    }
    counters.balance = WHOLE - counters.watchdog - counters.brown_out;
    return cause;
}

void resets_alive(void) { wdt_reset(); }

void resets_played(uint8_t mode) {
    resets_alive();
    last_mode = mode;
}

/* A reset that nobody asked for does not undo a stop. If a boot loader has hidden the cause, it may
 * have been asked for. A byte that a brown-out has spoilt hardly ever names one of these modes. */
bool resets_stop_holds(uint8_t cause) {
    uint8_t beyond = (uint8_t)(last_mode - BC_MODE_STOPPING);
    return cause != 0 && (cause & (_BV(PORF) | _BV(EXTRF))) == 0 &&
           beyond <= BC_MODE_LIMP - BC_MODE_STOPPING;
}

uint16_t bc_hal_watchdog_resets(void) { return counters.watchdog; }

uint16_t bc_hal_brown_out_resets(void) { return counters.brown_out; }
