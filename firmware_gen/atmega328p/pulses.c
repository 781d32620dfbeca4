/*
 * Servo pulses, exact to the cycle on any pin.
 *
 * All pulses of a frame run within one window of at most 3.9 ms. They start one after another, each at the first moment
 * at which neither its rising nor its falling edge comes closer than EDGE_GAP to another edge; a servo measures
 * widths and does not mind when its pulse starts. Each edge has its own interrupt, PULSE_LEAD cycles early: longer than
 * anything but the tick can hold it up. Two handlers in a row could, and only the tick's goes before it (of several that wait the lower
 * vector is first); so edges keep EDGE_GAP from the tick within the window as well. The handler reads how early it is, waits just that
 * long, and writes the port. Rising and falling edges take the same way, so what is constant in it cancels in the width.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

enum {
    PULSE_LEAD = 176,
    EDGE_GAP = 320,
    WINDOW_START = 1024, /* after the tick, so that the tick's handler can set the first compare in time */
    EDGES = 2 * BC_SERVOS,
    SHORTEST_PULSE = 6400, /* 800 ticks of 0.5 us, TABLE.md 1.2 */
    PORT_OFFSET = 2, /* PORTx behind PINx */
};

/* One edge: when (timer 1), the port's address, FALLS if it falls, the pin's bit. The handler knows the layout. */
struct edge {
    uint16_t when;
    uint8_t port, mask;
};
enum { FALLS = 0x80 };

static struct edge edges[EDGES];
static uint8_t edge_count;
static uint16_t window_start;
static uint8_t servo_pins[BC_SERVOS];
static uint8_t servo_count;
static volatile uint8_t start_tick;
static volatile bool waiting;

static struct edge *volatile next_edge;
static volatile uint8_t edges_left;

static bool is_close(uint16_t a, uint16_t b)
{
    return (uint16_t)(a - b + EDGE_GAP - 1) < 2 * EDGE_GAP - 1;
}

/* A window is longer than half of timer 1's range: its times are ordered by their distance from its start. */
static bool is_after(uint16_t a, uint16_t b)
{
    return (uint16_t)(a - window_start) > (uint16_t)(b - window_start);
}

static void insert(uint16_t when, uint8_t pin, bool rising)
{
    struct edge *edge = edges + edge_count;
    while (edge > edges && is_after(edge[-1].when, when)) {
        *edge = edge[-1];
        edge--;
    }
    edge->when = when;
    edge->port = (uint8_t)(((uint16_t)pin_register(pin) + PORT_OFFSET) | (rising ? 0 : FALLS));
    edge->mask = pin_mask(pin);
    edge_count++;
}

/* Falls in order, so that they need no moving among the edges; and the tick among them, which is kept clear likewise. */
enum { FALLS_ROOM = BC_SERVOS + 1, TICK = 0xFF };
struct falls {
    uint16_t when[FALLS_ROOM];
    uint8_t pin[FALLS_ROOM]; /* or TICK */
    uint8_t count;
};

static void add_fall(struct falls *falls, uint16_t when, uint8_t pin)
{
    uint8_t i = falls->count++;
    while (i > 0 && is_after(falls->when[i - 1], when)) {
        falls->when[i] = falls->when[i - 1];
        falls->pin[i] = falls->pin[i - 1];
        i--;
    }
    falls->when[i] = when;
    falls->pin[i] = pin;
}

/*
 * The first moment at which neither the pulse's rise nor its fall is close to an edge that stands. Rises follow one another at
 * EDGE_GAP or more, so only falls need to be looked at, and no fall comes before the shortest pulse is over.
 */
static uint16_t place(uint16_t from, uint16_t width, const struct falls *falls)
{
    bool early = (uint16_t)(from - window_start) < SHORTEST_PULSE - EDGE_GAP;
    for (uint8_t i = 0; i < falls->count; i++) {
        uint16_t fall = falls->when[i];
        if (is_close(fall, (uint16_t)(from + width)) || (!early && is_close(fall, from))) {
            from += EDGE_GAP / 2;
            early = false;
            i = (uint8_t)-1; /* look at all again */
        }
    }
    return from;
}

void pulses_prepare(uint8_t tick)
{
    struct falls falls;
    falls.count = 0;
    edge_count = 0;
    window_start = (uint16_t)(clock_time_of(tick) + WINDOW_START);
    uint16_t from = window_start;
    add_fall(&falls, (uint16_t)(from + TICK_CYCLES - WINDOW_START), TICK);
    for (uint8_t i = 0; i < servo_count; i++) {
        if (bc_image.pulse[i] != 0) {
            uint16_t width = (uint16_t)(8 * bc_image.pulse[i]);
            from = place(from, width, &falls);
            insert(from, servo_pins[i], true);
            add_fall(&falls, (uint16_t)(from + width), servo_pins[i]);
            from += EDGE_GAP;
        }
    }
    for (uint8_t i = 0; i < falls.count; i++) {
        if (falls.pin[i] != TICK) {
            insert(falls.when[i], falls.pin[i], false);
        }
    }
    if (edge_count == 0) {
        return;
    }
    start_tick = tick;
    waiting = true;
}

void pulses_tick(uint8_t tick)
{
    if (!waiting || tick != start_tick) {
        return;
    }
    waiting = false;
    next_edge = edges;
    edges_left = edge_count;
    OCR1B = edges[0].when - PULSE_LEAD;
    TIFR1 = _BV(OCF1B);
    TIMSK1 |= _BV(OCIE1B);
}

bool pulses_waiting(void)
{
    return waiting;
}

bool pulses_running(void)
{
    return edges_left != 0;
}

void pulses_clear(void)
{
    uint8_t status = hold_interrupts();
    waiting = false;
    edges_left = 0;
    TIMSK1 = (uint8_t)(TIMSK1 & ~_BV(OCIE1B));
    release_interrupts(status);
    servo_count = 0;
}

void pulses_attach(uint8_t index, uint8_t pin)
{
    servo_pins[index] = pin;
    servo_count = (uint8_t)(index + 1);
    pin_drive(pin, false);
}

/*
 * From the read of TCNT1L to the write of the port every way through this takes the same number of cycles but for the
 * wait: the loop takes three a turn, and the two branches to the next instruction, one cycle more if taken, make up for the
 * remainder (subi, brcc: 6.2 and the instruction set summary, 32). An edge that is late, which PULSE_LEAD excludes, is
 * written at once.
 */
#define READ_TO_WRITE 16

ISR(TIMER1_COMPB_vect, ISR_NAKED)
{
    __asm__ volatile(
        "push r24 \n"
        "in   r24, 0x3F \n"
        "push r24 \n"
        "push r25 \n"
        "push r18 \n"
        "push r19 \n"
        "push r26 \n"
        "push r27 \n"
        "push r30 \n"
        "push r31 \n"
        "lds  r30, %[next] \n"
        "lds  r31, %[next]+1 \n"
        "ldd  r26, Z+2 \n"
        "mov  r19, r26 \n"
        "andi r26, 0x7F \n"
        "ldi  r27, 0 \n"
        "ldd  r18, Z+3 \n"
        "ldd  r25, Z+0 \n"
        "lds  r24, %[count] \n"
        "sub  r25, r24 \n"
        "subi r25, %[fixed] \n"
        "cpi  r25, 232 \n"
        "brlo 1f \n"
        "clr  r25 \n"
        "1: subi r25, 3 \n"
        "brcc 1b \n"
        "cpi  r25, 0xFE \n"
        "brsh 2f \n"
        "2: cpi r25, 0xFF \n"
        "brsh 3f \n"
        "3: ld r25, X \n"
        "or   r25, r18 \n"
        "sbrc r19, 7 \n" /* skipped or not: two cycles with the next */
        "eor  r25, r18 \n"
        "st   X, r25 \n"
        "lds  r24, %[left] \n"
        "dec  r24 \n"
        "sts  %[left], r24 \n"
        "breq 4f \n"
        "ldd  r24, Z+4 \n"
        "ldd  r25, Z+5 \n"
        "subi r24, lo8(%[lead]) \n"
        "sbci r25, hi8(%[lead]) \n"
        "sts  %[compare]+1, r25 \n"
        "sts  %[compare], r24 \n"
        "adiw r30, 4 \n"
        "sts  %[next], r30 \n"
        "sts  %[next]+1, r31 \n"
        "rjmp 5f \n"
        "4: lds r24, %[mask] \n"
        "andi r24, %[keep] \n"
        "sts  %[mask], r24 \n"
        "5: pop r31 \n"
        "pop  r30 \n"
        "pop  r27 \n"
        "pop  r26 \n"
        "pop  r19 \n"
        "pop  r18 \n"
        "pop  r25 \n"
        "pop  r24 \n"
        "out  0x3F, r24 \n"
        "pop  r24 \n"
        "reti \n"
        :
        : [count] "n"(_SFR_MEM_ADDR(TCNT1L)), [compare] "n"(_SFR_MEM_ADDR(OCR1BL)),
          [mask] "n"(_SFR_MEM_ADDR(TIMSK1)), [keep] "M"(0xFF ^ _BV(OCIE1B)), [fixed] "M"(READ_TO_WRITE),
          [lead] "n"(PULSE_LEAD), [next] "i"(&next_edge), [left] "i"(&edges_left));
}
