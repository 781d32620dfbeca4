/*
 * The board's day. A frame takes ten ticks of 2 ms; tick 0 is when its pulses start:
 *
 *     tick -3 .. 0   bc_frame plays the frame, pulses first
 *     tick  0 .. 2   pulses; lamps and pixels are worked out meanwhile
 *     then           strips go out, then rest
 *
 * A request that comes too late for a frame, but before its pulses, would wait for more than 20 ms. The next frame is then
 * played EARLY_TICKS early, and the one after it in its own time again: pulses stay 50 a second, and nothing drifts.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

enum {
    PLAY_TICKS = 3,   /* from a frame's play to its pulses */
    EARLY_TICKS = 4,  /* how much earlier a frame may be */
    LISTEN_TICKS = 1, /* a request until this long after the pulses' start makes the next frame early */
    LOOK_TICKS = 4,   /* between two looks at the inputs; four looks make a change: 24 to 32 ms */
    PREPARE_TIME = 41, /* 256 cycles each; more than it takes to prepare the pulses' edges */
    TICKS_AHEAD = 128,
    SHORTEST_FRAME = 7, /* bytes on the line, its last zero included (LINK.md section 1) */
};

static uint8_t grid;        /* tick at which the pulses of the frame to come are due */
static uint8_t last_grid;   /* and those of the frame before */
static bool early, listened, strips_due;
static uint8_t next_look;
static bool started, playing;

static bool is_past(uint8_t tick)
{
    return (uint8_t)(clock_tick() - tick) < TICKS_AHEAD;
}

void bc_hal_pulses_ready(void)
{
    uint8_t wanted = (uint8_t)(grid - (early ? EARLY_TICKS : 0));
    uint8_t soonest = (uint8_t)(clock_tick() + 1);
    if ((int8_t)(clock_time_of(soonest) - clock_time()) < PREPARE_TIME) {
        soonest++;
    }
    while (pulses_pending()) {
        /* only after a frame that came far too late; at most 6 ms, and the receiver's ring holds 5 */
    }
    pulses_prepare((int8_t)(wanted - soonest) > 0 ? wanted : soonest);
}

void bc_hal_pixels_ready(void)
{
    lamps_show();
    strips_due = true;
}

static void play(void)
{
    playing = true;
    bc_frame();
    playing = false;
    resets_alive();
    last_grid = grid;
    grid = (uint8_t)(grid + FRAME_TICKS);
    early = listened = false;
}

/* Strips block pulses, so they wait until those are through; and the next frame, which makes new pixels, waits for them. */
static bool strips_may_go(void)
{
    return strips_due && !pulses_pending();
}

static void look_at_inputs(void)
{
    if (is_past(next_look)) {
        next_look = (uint8_t)(next_look + LOOK_TICKS);
        bc_sample_inputs();
    }
}

static void listen(void)
{
    if (!listened && is_past((uint8_t)(last_grid + LISTEN_TICKS))) {
        listened = true;
        early = bc_requests_waiting();
    }
}

/* Whatever is due; false if nothing is. */
static bool work(void)
{
    look_at_inputs();
    listen();
    if (strips_may_go()) {
        strips_due = false;
        strips_send();
        return true;
    }
    if (!strips_due && is_past((uint8_t)(grid - PLAY_TICKS - (early ? EARLY_TICKS : 0)))) {
        play();
        return true;
    }
    return false;
}

/* The show goes on while the core checks a table. */
void bc_hal_pause(void)
{
    if (!started) {
        resets_alive();
    } else if (!playing) {
        work();
    }
}

/* Sleep until interrupts have news (10.3), and take them. Interrupts are off from each look to the sleep instruction, so none is missed. */
static uint8_t sleep(void)
{
    sleep_enable();
    for (;;) {
        cli();
        if (NEWS != 0) {
            if (NEWS != _BV(NEWS_FRAME) || serial_waiting() >= SHORTEST_FRAME) {
                break;
            }
            NEWS = 0; /* the zero before a frame */
        }
        sei();
        sleep_cpu();
    }
    uint8_t news = NEWS;
    NEWS = 0;
    sei();
    sleep_disable();
    return news;
}

/*
 * Until there is something to do; whether the core has a part in it. Most interrupts bring nothing, most frames of a shared line are for
 * other boards, and a round through the core costs some 600 cycles.
 */
static bool rest(void)
{
    for (;;) {
        uint8_t news = sleep();
        if ((news & ~(_BV(NEWS_TICK) | _BV(NEWS_FRAME))) != 0 || bc_has_heard()) {
            return true;
        }
        if (news & _BV(NEWS_TICK)) {
            return false;
        }
    }
}

static void begin(void)
{
    uint8_t cause = resets_cause();
    pins_start();
    lamps_start();
    clock_start();
    serial_start();
    resets_guard();
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    bc_start(cause);
    started = true;
    uint8_t now = clock_tick();
    last_grid = now;
    grid = (uint8_t)(now + PLAY_TICKS + 1);
    next_look = now;
}

int main(void)
{
    begin();
    for (;;) {
        bc_service();
        while (!work() && !rest()) {
        }
    }
}
