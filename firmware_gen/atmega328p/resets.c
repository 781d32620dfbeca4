/*
 * Why the chip started, and a watchdog. MCUSR tells the cause and is cleared at once, because after a watchdog reset the
 * watchdog stays on at its shortest time, 16 ms, until WDRF is cleared (11.9.1, 11.9.2); the start-up code takes one.
 *
 * The counters live in RAM that the start-up code leaves alone. They hold over every reset but power-on; a balance, which with both of
 * them comes to WHOLE, says whether they did, for a brown-out can spoil RAM.
 */
#include "chip.h"

#include <avr/io.h>
#include <avr/wdt.h>

enum { WHOLE = 0xBE11 };

static struct counters {
    uint16_t watchdog, brown_out, balance;
} counters __attribute__((section(".noinit")));

/* One more, if there is; a counter stops at its highest. */
static uint16_t raised(uint16_t counter)
{
    return counter == UINT16_MAX ? counter : (uint16_t)(counter + 1);
}

uint8_t resets_begin(void)
{
    uint8_t cause = MCUSR & (_BV(PORF) | _BV(EXTRF) | _BV(BORF) | _BV(WDRF));
    MCUSR = 0;
    WDTCSR = _BV(WDCE) | _BV(WDE); /* the second write within four cycles (11.9.2); no interrupt comes here yet */
    WDTCSR = _BV(WDE) | WDTO_250MS;
    struct counters *held = &counters;
    BY_POINTER(held);
    uint16_t watchdog = held->watchdog, brown_out = held->brown_out;
    if (cause & _BV(PORF) || (uint16_t)(watchdog + brown_out + held->balance) != WHOLE) {
        watchdog = brown_out = 0;
    }
    if (cause & _BV(WDRF)) {
        watchdog = raised(watchdog);
    }
    if ((cause & (_BV(BORF) | _BV(PORF))) == _BV(BORF)) {
        brown_out = raised(brown_out);
    }
    held->watchdog = watchdog;
    held->brown_out = brown_out;
    held->balance = (uint16_t)(WHOLE - watchdog - brown_out);
    return cause;
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
