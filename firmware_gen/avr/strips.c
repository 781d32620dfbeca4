/*
 * Addressable strips: 800 kHz, one wire, bit-banged. A bit takes 20 cycles of 62.5 ns:
 *
 *     0: high 5 (312 ns), low 15 (938 ns)        1: high 12 (750 ns), low 8 (500 ns)
 *
 * which lies in the windows of both 2812-type data sheets that FIRMWARE.md names. Interrupts are
 * off for one pixel, 30 us; between two pixels the handlers that wait get their turn, and the line
 * stays low some microseconds longer, far below the 50 us at which the earliest pixels take what
 * they have.
 */
#include "chip.h"

#include <avr/cpufunc.h>
#include <avr/interrupt.h>
#include <avr/io.h>

static struct {
    uint8_t pin;
    uint8_t pixels;
} strips[BC_STRIPS];

void strips_clear(void) {
    for (uint8_t i = 0; i < BC_STRIPS; i++) {
        strips[i].pixels = 0;
    }
}

void strips_attach(uint8_t index, uint8_t pin, uint8_t pixels) {
    strips[index].pin = pin;
    strips[index].pixels = pixels;
}

/*
 * Send three bytes. Interrupts must be off. A bit is three writes: high, the bit's value, low, with
 * 3, 5 and 6 cycles between them and two for each write (st: 2 cycles, 32). In a byte's last bit
 * the next byte is fetched; that way takes as long as the other.
 */
static const uint8_t *send_pixel(const uint8_t *bytes, volatile uint8_t *port, uint8_t mask) {
    uint8_t high = *port | mask;
    uint8_t low = (uint8_t)(*port & ~mask);
    uint8_t left = 3, bits = 8;
    uint8_t value, byte;
    __asm__ volatile(
        "ld   %[byte], Z+ \n"
        "1: st X, %[high] \n"
        "mov  %[value], %[low] \n"
        "sbrc %[byte], 7 \n"
        "mov  %[value], %[high] \n"
        "st   X, %[value] \n"
        "lsl  %[byte] \n"
        "dec  %[bits] \n"
        "brne 3f \n"
        "ld   %[byte], Z+ \n"
        "st   X, %[low] \n"
        "ldi  %[bits], 8 \n"
        "dec  %[left] \n"
        "breq 4f \n"
        "2: nop \n"
        "rjmp 1b \n"
        "3: nop \n"
        "st   X, %[low] \n"
        "nop \n"
        "rjmp 2b \n"
        "4: \n"
        : [byte] "=&r"(byte), [value] "=&r"(value), [bits] "+&d"(bits), [left] "+&r"(left),
          "+&z"(bytes)
        : [high] "r"(high), [low] "r"(low), "x"(port)
        : "memory");
    return bytes - 1; /* one was fetched ahead */
}

void strips_send(void) {
    const uint8_t *bytes = bc_image.pixels;
    for (uint8_t i = 0; i < BC_STRIPS; i++) {
        struct pin_place place = pin_place(strips[i].pin);
        for (uint8_t left = strips[i].pixels; left > 0; left--) {
            cli();
            bytes = send_pixel(bytes, &place.registers[PORT_REGISTER], place.mask);
            sei();
            /* Before each handler that waits the processor runs one instruction (7.7). These may
             * wait together: the tick's, the lamps', the transmitter's, and the receiver's for two
             * bytes. */
            _NOP();
            _NOP();
            _NOP();
            _NOP();
            _NOP();
        }
    }
}
