/*
 * Why the chip started, and a watchdog. MCUSR tells the cause and is cleared at once, because after a watchdog reset the
 * watchdog stays on at its shortest time until WDRF is cleared (11.9.1, 11.9.2).
 *
 * The counters live in RAM that the start-up code leaves alone. They hold over every reset but power-on; a check word says
 * whether they did, for a brown-out can spoil RAM.
 */
#include "chip.h"

#include <avr/io.h>
#include <avr/wdt.h>

#define NOT_CLEARED __attribute__((section(".noinit")))

struct counters {
    uint16_t watchdog, brown_out, check;
};

static struct counters counters NOT_CLEARED;
static uint8_t cause NOT_CLEARED;

static uint16_t check_of(const struct counters *c)
{
    return (uint16_t)(0xBE11 ^ c->watchdog ^ (uint16_t)(c->brown_out * 3));
}

/* Runs before RAM is set up: no call, no stack beyond its own. */
__attribute__((naked, used, section(".init3"))) static void note_cause(void)
{
    cause = MCUSR & (_BV(PORF) | _BV(EXTRF) | _BV(BORF) | _BV(WDRF));
    MCUSR = 0;
    wdt_disable();
}

static void count(uint16_t *counter)
{
    if (*counter != UINT16_MAX) {
        (*counter)++;
    }
}

uint8_t resets_cause(void)
{
    if (cause & _BV(PORF) || counters.check != check_of(&counters)) {
        counters.watchdog = counters.brown_out = 0;
    }
    if (cause & _BV(WDRF)) {
        count(&counters.watchdog);
    }
    if (cause & _BV(BORF) && !(cause & _BV(PORF))) {
        count(&counters.brown_out);
    }
    counters.check = check_of(&counters);
    return cause;
}

void resets_guard(void)
{
    wdt_enable(WDTO_250MS);
}

void resets_alive(void)
{
    wdt_reset();
}

uint16_t bc_hal_watchdog_resets(void)
{
    return counters.watchdog;
}

uint16_t bc_hal_brown_out_resets(void)
{
    return counters.brown_out;
}
