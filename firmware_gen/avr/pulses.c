/*
 * Servo pulses, exact to the cycle on any pin.
 *
 * The pulses of eight servos run within one window of at most 3.9 ms; where a chip drives more, the
 * next eight have a window of their own right behind. In a window they start one after another,
 * each at the first moment at which neither its rising nor its falling edge comes closer than
 * EDGE_GAP to another edge; a servo measures widths and does not mind when its pulse starts. Each
 * edge has its own interrupt, PULSE_LEAD cycles early: longer than anything but the tick can hold
 * it up, the way to the toggle included. Two handlers in a row could, and only the tick's goes
 * before it (of several that wait the lower vector is first, 12.4); so edges keep EDGE_GAP from the
 * tick within the window as well. The handler reads how early it is, waits just that long, and
 * toggles the pin. Rising and falling edges take the same way, so what is constant in it cancels in
 * the width.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

/*
 * The longest handler is that of the lamps: each channel takes four cycles of it. Between two edges
 * EDGE_GAP apart the edges' handler takes PULSE_LEAD and some 70 cycles: what is left is a turn for
 * the receiver's.
 */
enum {
    PULSE_LEAD = BC_LAMPS > 4 ? 224 : 192,
    EDGE_GAP = PULSE_LEAD + 128,
    FIRST_EDGE = 1024, /* after the tick: its handler must set the first compare in time */
    EDGES = 2 * BC_SERVOS,
    WINDOW_EDGES = 16, /* of eight servos */
    WINDOW_TICKS = 2,
};

/*
 * Edges, each WINDOW_EDGES of them of a window: when their interrupts come, in cycles after the
 * window's tick. The latest ends before the next window's tick, cycle 64,000: each edge there is
 * keeps a pulse from no more than twice 2 * EDGE_GAP of all moments, and 15 edges of that and the
 * longest pulse, 41,600, are less.
 */
static uint16_t edge_times[EDGES]; /* ascending within a window */
static uint8_t edge_servos[EDGES];
static uint8_t next_edge;           /* the one whose interrupt is to come */
static volatile uint8_t edges_left; /* of all windows; 0: none is to come or runs */
static uint8_t window_tick;         /* of the window to come or running */
static uint16_t window_time;        /* timer 1's count at that tick, once it has been */

static struct pin_place servos[BC_SERVOS];

/* -- where edges go ------------------------------------------------------------------------- */

/* How much later `time` must be to be clear of another edge; 0: it is clear. */
static uint16_t delay_for(uint16_t time, uint16_t other) {
    uint16_t delay = (uint16_t)(other + EDGE_GAP - time);
    return delay < 2 * EDGE_GAP ? delay : 0;
}

/* How much later a pulse must start for neither of its edges to be close to a moment. */
static uint16_t pulse_delay(uint16_t start, uint16_t width, uint16_t moment) {
    uint16_t delay = delay_for(start, moment);
    return delay > 0 ? delay : delay_for((uint16_t)(start + width), moment);
}

/* The same for the tick within the window and the window's edges so far, which are those from
 * `first` to `count`: what the first that is too close asks for. */
static uint16_t first_delay(uint16_t start, uint16_t width, uint8_t first, uint8_t count) {
    uint16_t delay = pulse_delay(start, width, TICK_CYCLES - PULSE_LEAD);
    for (uint8_t n = first; n < count && delay == 0; n++) {
        delay = pulse_delay(start, width, edge_times[n]);
    }
    return delay;
}

/* The first moment from `start` on at which a pulse is clear of all. */
static uint16_t find_start(uint16_t start, uint16_t width, uint8_t first, uint8_t count) {
    uint16_t delay;
    do {
        delay = first_delay(start, width, first, count);
        start = (uint16_t)(start + delay);
    } while (delay > 0);
    return start;
}

/* One more edge in the window's list, at its place. */
static void insert(uint8_t first, uint8_t count, uint16_t time, uint8_t servo) {
    uint8_t n = count;
    while (n > first && edge_times[n - 1] > time) {
        edge_times[n] = edge_times[n - 1];
        edge_servos[n] = edge_servos[n - 1];
        n--;
    }
    edge_times[n] = time;
    edge_servos[n] = servo;
}

/* Edges toggle, so a pin that a disturbance turned over would stay so: it is put low between
 * windows, when it is low anyway. */
static void settle_low(struct pin_place pin) { pin.registers[PORT_REGISTER] &= (uint8_t)~pin.mask; }

/* Windows are filled one after another, so only the last may have fewer edges. */
static uint8_t place_edges(void) {
    uint16_t start = 0;
    uint8_t first = 0;
    uint8_t count = 0;
    for (uint8_t servo = 0; servo < BC_SERVOS; servo++) {
        uint16_t width = (uint16_t)(8 * bc_image.pulse[servo]); /* 0 where there is no servo */
        if (width != 0) {
            if (count % WINDOW_EDGES == 0) {
                first = count;
                start = FIRST_EDGE - PULSE_LEAD;
            }
            settle_low(servos[servo]);
            start = find_start(start, width, first, count);
            insert(first, count, start, servo);
            insert(first, (uint8_t)(count + 1), (uint16_t)(start + width), servo);
            count = (uint8_t)(count + 2);
            start = (uint16_t)(start + EDGE_GAP);
        }
    }
    return count;
}

/*
 * However long the list takes, the tick is chosen when it stands; one that comes meanwhile is not
 * missed, as its handler is yet to come when interrupts are on again.
 */
void pulses_prepare(uint8_t due) {
    uint8_t count = place_edges();
    uint8_t tick;
    next_edge = 0;
    cli();
    tick = (uint8_t)(clock_tick() + 1);
    if ((int8_t)(due - tick) > 0) {
        tick = due;
    }
    window_tick = tick;
    edges_left = count;
    sei();
}

bool pulses_pending(void) { return edges_left != 0; }

void pulses_clear(void) {
    cli();
    edges_left = 0;
    TIMSK1 = _BV(OCIE1A);
    sei();
}

void pulses_attach(uint8_t index, uint8_t pin) { servos[index] = pin_place(pin); }

/* -- edges ---------------------------------------------------------------------------------- */

static void expect_next_edge(void) { OCR1B = window_time + edge_times[next_edge]; }

void pulses_tick(uint8_t tick, uint16_t time) {
    if (edges_left != 0 && tick == window_tick) {
        window_time = time;
        expect_next_edge();
        TIFR1 = _BV(OCF1B);
        TIMSK1 = _BV(OCIE1A) | _BV(OCIE1B);
    }
}

#if BC_CHIP_LEADS
/* From the first window's tick to the last one's end: the second begins whole ticks after the
 * first, before it edges are left but not all of them. */
bool pulses_run(void) { return edges_left != 0 && (next_edge != 0 || (TIMSK1 & _BV(OCIE1B)) != 0); }
#endif

/*
 * Wait until timer 1's low byte is `moment`, which is less than 232 cycles ahead, and toggle the
 * pin: writing a one to PINx does (14.2.2). In assembly because the instruction that writes must
 * come at its very cycle, whatever a compiler makes of the rest: from the read of TCNT1L to the
 * write every way through this takes the same number of cycles but for the wait. The loop takes
 * three a turn, and the two branches to the next instruction, one cycle more if taken, make up for
 * the remainder (instruction set summary, 32). A moment that has passed, which PULSE_LEAD excludes,
 * is now.
 */
static inline void toggle_at(volatile uint8_t *toggles, uint8_t mask, uint8_t moment) {
    uint8_t count;
    __asm__ volatile("lds  %[count], %[timer] \n"
                     "sub  %[moment], %[count] \n"
                     "cpi  %[moment], 232 \n"
                     "brlo 1f \n"
                     "clr  %[moment] \n"
                     "1: subi %[moment], 3 \n"
                     "brcc 1b \n"
                     "cpi  %[moment], 0xFE \n"
                     "brsh 2f \n"
                     "2: cpi %[moment], 0xFF \n"
                     "brsh 3f \n"
                     "3: st %a[toggles], %[mask] \n"
                     : [moment] "+d"(moment), [count] "=&r"(count)
                     : [timer] "n"(_SFR_MEM_ADDR(TCNT1L)), [toggles] "e"(toggles), [mask] "r"(mask)
                     : "memory");
}

ISR(TIMER1_COMPB_vect) {
    const struct pin_place *pin = &servos[edge_servos[next_edge]];
    uint8_t moment = (uint8_t)(OCR1BL + PULSE_LEAD);
    toggle_at(&pin->registers[PIN_REGISTER], pin->mask, moment);
    next_edge++;
    edges_left--;
    if (edges_left > 0 && next_edge % WINDOW_EDGES != 0) {
        expect_next_edge();
    } else { /* the window is over; the tick of the next one, if there is one, is yet to come */
        window_tick = (uint8_t)(window_tick + WINDOW_TICKS);
        TIMSK1 = _BV(OCIE1A);
    }
}
