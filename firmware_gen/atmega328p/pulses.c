/*
 * Servo pulses, exact to the cycle on any pin.
 *
 * All pulses of a frame run within one window of at most 3.9 ms. They start one after another, each at the first moment
 * at which neither its rising nor its falling edge comes closer than EDGE_GAP to another edge; a servo measures
 * widths and does not mind when its pulse starts. Each edge has its own interrupt, PULSE_LEAD cycles early: longer than
 * anything but the tick can hold it up. Two handlers in a row could, and only the tick's goes before it (of several that wait the lower
 * vector is first); so edges keep EDGE_GAP from the tick within the window as well. The handler reads how early it is, waits just that
 * long, and toggles the pin. Rising and falling edges take the same way, so what is constant in it cancels in the width.
 */
#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>

enum {
    PULSE_LEAD = 176,
    EDGE_GAP = 320,
    FIRST_EDGE = 1024, /* after the tick, so that the tick's handler can set the first compare in time */
    EDGES = 2 * BC_SERVOS,
    WHOSE = 7, /* bits of an edge that tell its servo */
    PORT_STRIDE = 3,
};

/*
 * An edge in two bytes: when its interrupt comes, in cycles after the window's tick, which are a multiple of eight because widths
 * are; and in the bits that leaves, whose edge it is. The latest is first, so that the handler counts down. Before all stands the tick
 * within the window, which is kept clear like an edge. The latest edge ends before cycle 62,000: each edge there is keeps a
 * pulse from no more than twice 2 * EDGE_GAP of all moments, and 15 edges of that and the longest pulse, 41,600, are less.
 */
static uint16_t edges[1 + EDGES];
static volatile uint8_t edges_left; /* 0: no window is to come or runs */
static volatile uint8_t window_time; /* time of its tick */

/* Pins: 3 times the port in the low three bits, which is its PINx behind PINB's (31, Register Summary); then the bit. */
static uint8_t servos[BC_SERVOS];

#if BC_SERVOS > 8
#error "an edge has three bits for whose it is"
#endif

/* The first moment at which neither the pulse's rise nor its fall is close to an edge of the list up to `end`. */
static uint16_t place(uint16_t from, uint16_t width, const uint16_t *end)
{
    const uint16_t *edge = edges;
    while (edge != end) {
        uint16_t ahead = (uint16_t)((*edge++ & (uint16_t)~WHOSE) + EDGE_GAP - from);
        if ((uint16_t)(ahead - 1) >= 2 * EDGE_GAP - 1) {
            ahead -= width;
        }
        if ((uint16_t)(ahead - 1) < 2 * EDGE_GAP - 1) {
            from += ahead;
            edge = edges; /* look at all again */
        }
    }
    return from;
}

/* An edge more in the list, at its place; the list's new end. */
static NOINLINE uint16_t *insert(uint16_t *end, uint16_t new)
{
    uint16_t *edge = end;
    for (; edge != edges + 1 && edge[-1] < new; edge--) {
        *edge = edge[-1];
    }
    *edge = new;
    return end + 1;
}

/* Edges toggle, so a pin that a disturbance turned over would stay so: it is put low between windows, when it is low anyway. */
static void settle_low(uint8_t servo)
{
    uint8_t mask = 1;
    for (uint8_t bit = servo >> 3 & 7; bit > 0; bit--) {
        mask <<= 1;
    }
    volatile uint8_t *port = (volatile uint8_t *)(uint16_t)(_SFR_MEM_ADDR(PORTB) + (servo & 7));
    *port &= (uint8_t)~mask;
}

/*
 * However long the list takes, the tick is chosen when it stands; one that comes meanwhile is not missed, as its handler is yet
 * to come when interrupts are on again.
 */
void pulses_prepare(uint8_t due)
{
    uint16_t from = FIRST_EDGE - PULSE_LEAD;
    uint16_t *end = edges;
    *end++ = TICK_CYCLES - PULSE_LEAD;
    const uint16_t *pulse = bc_image.pulse;
    for (uint8_t i = 0; i < BC_SERVOS; i++) { /* 0 where there is no servo */
        uint16_t width = (uint16_t)(8 * *pulse++);
        if (width != 0) {
            settle_low(servos[i]);
            from = place(from, width, end);
            end = insert(end, from | i);
            end = insert(end, (uint16_t)(from + width) | i);
            from += EDGE_GAP;
        }
    }
    cli();
    uint8_t tick = (uint8_t)(clock_tick() + 1);
    if ((int8_t)(due - tick) > 0) {
        tick = due;
    }
    window_time = clock_time_of(tick);
    edges_left = (uint8_t)(end - edges - 1);
    sei();
}

bool pulses_pending(void)
{
    return edges_left != 0;
}

void pulses_clear(void)
{
    cli();
    edges_left = 0;
    TIMSK1 = _BV(OCIE1A);
    sei();
}

void pulses_attach(uint8_t index, uint8_t pin)
{
    servos[index] = (uint8_t)(PORT_STRIDE * (pin >> 3) | (uint8_t)(pin << 3));
}

/* From r24, which edge of the list, to its address in Z. */
#define EDGE_ADDRESS                                                                                          \
    "mov  r30, r24 \n lsl r30 \n ldi r31, 0 \n subi r30, lo8(-(%[edges])) \n sbci r31, hi8(-(%[edges])) \n"

/*
 * The end of the tick's handler, r25 the time of its tick: if it is the window's, the first edge's interrupt is set as the
 * edges' handler sets the ones that follow.
 */
void __attribute__((naked, used, externally_visible, section(".lowtext"))) pulses_tick(void)
{
    __asm__ volatile(
        "lds  r26, %[time] \n"
        "cp   r26, r25 \n"
        "brne 1f \n"
        "lds  r24, %[left] \n"
        "tst  r24 \n"
        "breq 1f \n"
        "inc  r24 \n" EDGE_ADDRESS
        "ldi  r24, %[matched] \n"
        "out  %[flags], r24 \n"
        "ldi  r24, %[both] \n"
        "sts  %[mask], r24 \n"
        "jmp  pulses_next \n"
        "1: jmp pulses_leave \n"
        :
        : [time] "i"(&window_time), [left] "i"(&edges_left), [edges] "i"(edges), [matched] "M"(_BV(OCF1B)),
          [flags] "I"(_SFR_IO_ADDR(TIFR1)), [both] "M"(_BV(OCIE1A) | _BV(OCIE1B)), [mask] "n"(_SFR_MEM_ADDR(TIMSK1))
        : "memory");
}

/*
 * Writing a one to PINx toggles the pin (14.2.2). From the read of TCNT1L to that write every way through this takes the same
 * number of cycles but for the wait: the loop takes three a turn, and the two branches to the next instruction, one cycle more if
 * taken, make up for the remainder (subi, brcc: 6.2 and the instruction set summary, 32). An edge that is late, which
 * PULSE_LEAD excludes, is written at once.
 */
#define READ_TO_WRITE 12

HANDLER(TIMER1_COMPB_vect)
{
    __asm__ volatile(
        HANDLER_ENTRY
        "lds  r24, %[left] \n"
        EDGE_ADDRESS
        "dec  r24 \n"
        "sts  %[left], r24 \n"
        "ld   r25, Z \n" /* the low byte: time and servo */
        "mov  r26, r25 \n"
        "andi r26, %[whose] \n"
        "ldi  r27, 0 \n"
        "subi r26, lo8(-(%[servos])) \n"
        "sbci r27, hi8(-(%[servos])) \n"
        "ld   r27, X \n"
        "mov  r26, r27 \n"
        "andi r26, 7 \n"
        "subi r26, -%[pinb] \n" /* its port */
        "ldi  r24, 1 \n" /* and its pin's mask, by its bit */
        "sbrc r27, 4 \n"
        "ldi  r24, 4 \n"
        "sbrc r27, 3 \n"
        "lsl  r24 \n"
        "sbrc r27, 5 \n"
        "swap r24 \n"
        "andi r25, 0xFF ^ %[whose] \n"
        "lds  r27, %[count] \n"
        "sub  r25, r27 \n"
        "ldi  r27, 0 \n"
        "subi r25, lo8(%[fixed]) \n"
        "cpi  r25, 232 \n"
        "brlo 1f \n"
        "clr  r25 \n"
        "1: subi r25, 3 \n"
        "brcc 1b \n"
        "cpi  r25, 0xFE \n"
        "brsh 2f \n"
        "2: cpi r25, 0xFF \n"
        "brsh 3f \n"
        "3: st X, r24 \n"
        "cpi  r30, lo8(%[edges]+2) \n"
        "breq 4f \n"
        ".global pulses_next \n"
        "pulses_next: \n"
        "ld   r25, -Z \n"
        "lds  r24, %[time] \n"
        "add  r25, r24 \n"
        "ld   r24, -Z \n"
        "andi r24, 0xFF ^ %[whose] \n"
        "sts  %[compare]+1, r25 \n"
        "sts  %[compare], r24 \n"
        ".global pulses_leave \n"
        "pulses_leave: \n"
        HANDLER_EXIT
        "4: ldi r24, %[only] \n"
        "sts  %[mask], r24 \n"
        "rjmp pulses_leave \n"
        :
        : [count] "n"(_SFR_MEM_ADDR(TCNT1L)), [compare] "n"(_SFR_MEM_ADDR(OCR1BL)), [mask] "n"(_SFR_MEM_ADDR(TIMSK1)),
          [only] "M"(_BV(OCIE1A)), [fixed] "n"(READ_TO_WRITE - PULSE_LEAD), [whose] "M"(WHOSE), [time] "i"(&window_time),
          [left] "i"(&edges_left), [edges] "i"(edges), [servos] "i"(servos), [pinb] "n"(_SFR_MEM_ADDR(PINB))
        : "memory");
}
