/*
 * The board's day. A frame takes ten ticks of 2 ms; tick 0 is when its pulses start:
 *
 *     tick -3 .. 0   bc_frame plays the frame, pulses first
 *     tick  0 .. 2   pulses of eight servos, the next eight from 2 to 4; lamps and pixels are
 *                    worked out meanwhile
 *     then           strips go out, then rest
 *
 * A request that comes too late for a frame, but before its pulses, would wait for more than 20 ms.
 * The next frame is then played EARLY_TICKS early, and the one after it in its own time again:
 * pulses stay 50 a second, and nothing drifts.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

enum {
    PLAY_TICKS = 3,   /* from a frame's play to its pulses */
    EARLY_TICKS = 4,  /* how much earlier a frame may be */
    LISTEN_TICKS = 1, /* after the pulses' start: until then a request makes the next early */
    MOST_BEHIND = 40, /* see listen */
    LOOK_TICKS = BC_LOOK_MS / TICK_MS, /* between two looks at the inputs */
    TICKS_AHEAD = 128, /* half of what a tick's byte holds: farther ahead is in the past */
    SHORTEST_FRAME = BC_MIN_FRAME + 2, /* bytes on the line, its last zero included */
};

/*
 * Ticks. A frame is listened for once, LISTEN_TICKS after the pulses of the one before it were due
 * in its own time; that decides when its own are.
 */
static uint8_t began;       /* when the last frame was to be played */
static uint8_t due;         /* when the pulses of the frame to come are */
static uint8_t next_listen; /* LISTEN_TICKS after a frame's own time */
static uint8_t next_look;
static bool strips_due;
enum { STARTING, BETWEEN_FRAMES, PLAYING };
static uint8_t phase;

static bool is_past(uint8_t tick) { return (uint8_t)(clock_tick() - tick) < TICKS_AHEAD; }

void bc_hal_pulses_ready(void) {
    while (pulses_pending()) {
        /* only after a frame that came far too late: at most 6 ms; the receiver's ring holds 5 */
    }
    pulses_prepare(due);
}

void bc_hal_pixels_ready(void) { strips_due = true; }

static void look_at_inputs(void) {
    if (is_past(next_look)) {
        next_look = (uint8_t)(next_look + LOOK_TICKS);
        bc_sample_inputs();
    }
}

#if BC_CHIP_LEADS
/* 62.5 for each 1/256 ms. */
static int16_t cycles_of(int16_t moments) { return (int16_t)(125 * moments / 2); }
#endif

/* In the middle of a frame, if all is well: what is short of the next one is cut off. */
uint16_t bc_hal_moment(void) {
#if BC_CHIP_LEADS
    enum { LAST = FRAME_TICKS * TICK_MOMENTS - 1 };
    uint16_t moment = clock_since(began);
    return moment < LAST ? moment : LAST;
#else /* whole ticks, where program memory is short */
    return (uint16_t)(TICK_MOMENTS * (uint8_t)(clock_tick() - began));
#endif
}

/*
 * Frames that come late are made good: the ones after them follow at once. But where a table keeps
 * frames longer than 20 ms for good, that would never end, and after TICKS_AHEAD a frame would look
 * as if it lay ahead. So beyond MOST_BEHIND the show goes on from now, and loses that time. A frame
 * of the most ops, and of moves that are planned the slowest, takes some 55 ticks.
 */
static void listen(void) {
    uint8_t now = clock_tick();
    uint8_t behind = (uint8_t)(now - next_listen);
    if (behind < TICKS_AHEAD) {
        if (behind > MOST_BEHIND) {
            next_listen = now;
        }
        next_listen = (uint8_t)(next_listen + FRAME_TICKS);
        due = (uint8_t)(next_listen - LISTEN_TICKS);
        if (bc_requests_waiting()) {
            due = (uint8_t)(due - EARLY_TICKS);
        }
#if BC_CHIP_LEADS
        clock_stretch(cycles_of(bc_frame_stretch()));
#endif
    }
}

#if BC_CHIP_LEADS
/* Until it was listened for, the next frame may still become an early one. */
uint8_t ticks_until_frame(void) {
    bool is_decided = (uint8_t)(next_listen - due) - 1 < TICKS_AHEAD;
    uint8_t earliest =
        is_decided ? due : (uint8_t)(next_listen + FRAME_TICKS - LISTEN_TICKS - EARLY_TICKS);
    earliest = (uint8_t)(earliest - PLAY_TICKS);
    return phase == PLAYING || is_past(earliest) ? 0 : (uint8_t)(earliest - clock_tick());
}
#endif

static void play(void) {
    phase = PLAYING;
    began = (uint8_t)(due - PLAY_TICKS);
    bc_frame();
    phase = BETWEEN_FRAMES;
    resets_played(bc_mode());
    due = (uint8_t)(due + FRAME_TICKS); /* until listening says */
}

/*
 * Whatever is due; false if nothing is. Strips block pulses, so they wait until those are through;
 * and the next frame, which makes new pixels, waits for them.
 */
static bool work(void) {
    line_listen();
    voltages_look();
    look_at_inputs();
    listen();
    bool is_due = is_past((uint8_t)(due - PLAY_TICKS));
    if (strips_due) {
        if (pulses_pending()) {
            return false;
        }
        /* The ring takes what comes while a strip goes out, if it is empty before: no request
         * waits, if there is time for it. */
        if (!bc_has_heard() || is_due) {
            strips_due = false;
            strips_send();
        }
        return true;
    }
    if (is_due) {
        play();
    }
    return is_due;
}

/* The show goes on while the core checks a table. */
void bc_hal_pause(void) {
    if (phase == STARTING) {
        resets_alive();
    } else if (phase == BETWEEN_FRAMES) {
        work();
    }
}

/* Sleep until interrupts have news (10.3), and take them. Interrupts are off from each look to the
 * sleep instruction, so none is missed. */
static uint8_t sleep(void) {
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
    return news;
}

/*
 * Until there is something to do; whether the core has a part in it. Most interrupts bring nothing,
 * most frames of a shared line are for other boards, and a round through the core costs some 600
 * cycles.
 */
static bool rest(void) {
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

/* The analogue comparator is off as well (23.3.2). The sleep instruction idles (10.2). */
static void save_power(void) {
    unused_parts_off();
    ACSR = _BV(ACD);
    set_sleep_mode(SLEEP_MODE_IDLE);
    sleep_enable();
}

static void begin(void) {
    uint8_t cause;
    cli(); /* a boot loader may have left them on */
    cause = resets_begin();
    save_power();
    clock_start();
    lamps_start();
    serial_start();
    sei();
    bc_start(cause);
    if (resets_stop_holds(cause)) {
        bc_stay_limp();
    }
    phase = BETWEEN_FRAMES;
    next_look = clock_tick();
    /* the first frame is due at once */
    next_listen = (uint8_t)(next_look + PLAY_TICKS + 1 + LISTEN_TICKS - FRAME_TICKS);
}

int main(void) {
    begin();
    for (;;) {
        bc_service();
        while (!work() && !rest()) {
        }
    }
}
