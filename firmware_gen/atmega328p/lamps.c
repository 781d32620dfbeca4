/*
 * Plain lamps: phase correct PWM of timers 0 and 2 (15.7.4, 18.7.4) at 16 MHz / 8 / 510 = 3,922 Hz. A compare value of 0 is
 * truly off and 255 truly on. Eight periods make a round of 490 Hz; in as many of them as the duty's three further bits say the
 * compare value is one higher, spread evenly. That gives 2041 levels, the darkest of which differ by 0.44 of L*.
 *
 * Both timers are started together (start.c) so that one handler serves both. The compare registers are taken over at the top, half a
 * period after the handler's time, so a delay of a pixel does no harm.
 */
#include "chip.h"

#include "bc_bits.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

enum { LAMP_PINS = 4, FRACTIONS = 8 };

/* Order: PD6 OC0A, PD5 OC0B, PB3 OC2A, PD3 OC2B (14.3). */
static const uint8_t lamp_pins[LAMP_PINS] PROGMEM = {22, 21, 3, 19};

/* Their compare registers (31, Register Summary). */
static const uint8_t compares[LAMP_PINS] PROGMEM = {
    _SFR_MEM_ADDR(OCR0A), _SFR_MEM_ADDR(OCR0B), _SFR_MEM_ADDR(OCR2A), _SFR_MEM_ADDR(OCR2B),
};

/* Bit 7 of `more` says whether the compare value is one higher in the period that begins; it turns left each period. */
static struct channel {
    uint8_t more, base;
    uint8_t lamp; /* which one it shows, if its pin is connected */
} channels[LAMP_PINS];

/* k of 8 periods, as evenly as can be. */
static const uint8_t spread[FRACTIONS] PROGMEM = {0x00, 0x01, 0x11, 0x25, 0x55, 0xDA, 0xEE, 0xFE};

/* One channel: turn its pattern left, add the bit that came out to the base value, and set the compare register. */
#define CHANNEL(n, set)                                                                                      \
    "ldd r25, Z+3*" #n " \n bst r25, 7 \n lsl r25 \n bld r25, 0 \n std Z+3*" #n ", r25 \n"                  \
    "ldd r25, Z+3*" #n "+1 \n adc r25, r24 \n " set " r25 \n"

/* 3,922 times a second while the show has a lamp. Of the four registers timer 0's two are near enough for `out`. */
HANDLER(TIMER0_OVF_vect)
{
    __asm__ volatile(
        "push r30 \n in r30, 0x3F \n push r30 \n push r25 \n push r31 \n push r24 \n"
        "ldi r24, 0 \n ldi r30, lo8(%[channels]) \n ldi r31, hi8(%[channels]) \n" /* no flag is set on the way to adc */
        CHANNEL(0, "out %[ocr0a],") CHANNEL(1, "out %[ocr0b],") CHANNEL(2, "sts %[ocr2a],") CHANNEL(3, "sts %[ocr2b],")
        "pop r24 \n jmp serial_leave \n" /* which takes back the others */
        :
        : [channels] "i"(channels), [ocr0a] "I"(_SFR_IO_ADDR(OCR0A)), [ocr0b] "I"(_SFR_IO_ADDR(OCR0B)),
          [ocr2a] "n"(_SFR_MEM_ADDR(OCR2A)), [ocr2b] "n"(_SFR_MEM_ADDR(OCR2B))
        : "memory");
}

void lamps_clear(void)
{
    TIMSK0 = 0;
    TCCR0A = _BV(WGM00);
    TCCR2A = _BV(WGM20);
    OCR0A = OCR0B = OCR2A = OCR2B = 0;
    bc_clear(channels, sizeof channels);
}

/* Connect a channel to its pin, not inverted (COMx1, 15.9.1 and 18.11.1). */
void lamps_attach(uint8_t index, uint8_t pin)
{
    struct channel *channel = channels;
    const uint8_t *its = lamp_pins;
    uint8_t n = 0;
    while (pgm_read_byte(its) != pin && n < LAMP_PINS - 1) { /* it is one of them, as pins.c says */
        its++;
        channel++;
        n++;
    }
    BY_POINTER(channel);
    channel->lamp = index;
    TIMSK0 = _BV(TOIE0);
    uint8_t connect = n & 1 ? _BV(COM0B1) : _BV(COM0A1);
    if (n < 2) {
        TCCR0A |= connect;
    } else {
        TCCR2A |= connect;
    }
}

/* How many of a pattern's periods are the higher: the fraction it stands for. */
static uint8_t ones_of(uint8_t pattern)
{
    uint8_t ones = 0;
    for (; pattern != 0; pattern >>= 1) {
        ones += pattern & 1;
    }
    return ones;
}

/* The handler is to find what belongs together. A fraction that stays goes on where its round is. */
void bc_hal_lamp(uint8_t index, uint16_t duty)
{
    /* Of 255, in 1/256: the base value above, and below, in the upper three bits, the nearest fraction. */
    uint16_t level = (uint16_t)(duty - (duty >> 8) + 0x100 / FRACTIONS / 2);
    uint8_t base = (uint8_t)(level >> 8);
    uint8_t fraction = (uint8_t)((uint8_t)level / (0x100 / FRACTIONS));
    struct channel *channel = channels;
    for (uint8_t i = 0; i < LAMP_PINS; i++) {
        BY_POINTER(channel);
        if (channel->lamp == index) { /* channels without a lamp follow the first one, unseen */
            cli();
            channel->base = base;
            if (ones_of(channel->more) != fraction) {
                channel->more = pgm_read_byte(&spread[fraction]);
            }
            *(volatile uint8_t *)(uint16_t)pgm_read_byte(&compares[i]) = (uint8_t)(base + (channel->more >> 7));
            sei();
        }
        channel++;
    }
}
