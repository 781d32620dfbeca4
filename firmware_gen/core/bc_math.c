#include "bc_math.h"

#include "bc_compiler.h"

int32_t bc_scale(int32_t value, uint32_t share) {
    uint16_t part = (uint16_t)share;
    uint32_t product;
#ifdef __AVR__
    uint8_t bits;
#endif
    if (share > 0xFFFF) {
        return value;
    }
#ifdef __AVR__
    /*
     * Bit by bit, the share's lowest first: a half of what is there, and of the value where the bit is set. Both together may have 33
     * bits; their sign, which S holds after tst and adc alike, comes in from above.
     */
    __asm__("clr %A[product] \n\t"
            "clr %B[product] \n\t"
            "movw %C[product], %A[product] \n\t"
            "ldi %[bits], 16 \n\t"
            "1: lsr %B[part] \n\t"
            "ror %A[part] \n\t"
            "brcs 2f \n\t"
            "tst %D[product] \n\t"
            "rjmp 3f \n\t"
            "2: add %A[product], %A[value] \n\t"
            "adc %B[product], %B[value] \n\t"
            "adc %C[product], %C[value] \n\t"
            "adc %D[product], %D[value] \n\t"
            "3: sec \n\t"
            "brlt 4f \n\t"
            "clc \n\t"
            "4: ror %D[product] \n\t"
            "ror %C[product] \n\t"
            "ror %B[product] \n\t"
            "ror %A[product] \n\t"
            "dec %[bits] \n\t"
            "brne 1b"
            : [product] "=&r"(product), [bits] "=&d"(bits), [part] "+r"(part)
            : [value] "r"(value));
#else
    product = (uint32_t)(uint16_t)((uint32_t)value >> 16) * part;
    if (value < 0) {
        product -= (uint32_t)part << 16;
    }
    product += ((uint32_t)(uint16_t)value * part) >> 16;
#endif
    return (int32_t)product;
}

BC_APART uint16_t bc_product(uint16_t a, uint16_t b) {
#ifdef __AVR__
    uint16_t found;
    uint8_t low;
    __asm__("mul %A[a], %A[b] \n\t"
            "mov %[low], r1 \n\t"
            "mul %B[a], %B[b] \n\t"
            "movw %[found], r0 \n\t"
            "mul %A[a], %B[b] \n\t"
            "add %[low], r0 \n\t"
            "adc %A[found], r1 \n\t"
            "brcc 1f \n\t"
            "inc %B[found] \n\t"
            "1: \n\t"
            "mul %B[a], %A[b] \n\t"
            "add %[low], r0 \n\t"
            "adc %A[found], r1 \n\t"
            "clr r1 \n\t"
            "adc %B[found], r1"
            : [found] "=&r"(found), [low] "=&r"(low)
            : [a] "r"(a), [b] "r"(b)
            : "r0");
    return found;
#else
    return (uint16_t)(((uint32_t)a * b) >> 16);
#endif
}

BC_APART uint32_t bc_quotient(uint32_t a, uint32_t b, uint32_t c) {
#ifdef __AVR__
    /*
     * The compiler keeps a 64-bit number in eight registers that each call must save. Here it lies
     * in a and, above it, in `middle` and `top`: the product grows from above, one bit of a falling
     * out below at a time; then the quotient's bits come in below, one for each shift.
     */
    uint16_t middle;
    uint16_t top;
    __asm__("mov r0, %A[a] \n\t" /* nothing to do for 0, which is frequent */
            "or r0, %B[a] \n\t"
            "or r0, %C[a] \n\t"
            "or r0, %D[a] \n\t"
            "breq 8f \n\t"
            "ldi %A[middle], 33 \n\t"
            "mov r0, %A[middle] \n\t"
            "clr %B[middle] \n\t"
            "clr %A[top] \n\t"
            "clr %B[top] \n\t"
            "sub %A[middle], %A[middle] \n\t" /* clears the carry as well */
            "1: \n\t"
            "ror %B[top] \n\t"
            "ror %A[top] \n\t"
            "ror %B[middle] \n\t"
            "ror %A[middle] \n\t"
            "ror %D[a] \n\t"
            "ror %C[a] \n\t"
            "ror %B[a] \n\t"
            "ror %A[a] \n\t"
            "brcc 2f \n\t"
            "add %A[middle], %A[b] \n\t"
            "adc %B[middle], %B[b] \n\t"
            "adc %A[top], %C[b] \n\t"
            "adc %B[top], %D[b] \n\t"
            "2: \n\t"
            "dec r0 \n\t"
            "brne 1b \n\t"
            "ldi %A[b], 33 \n\t"
            "rjmp 4f \n\t"
            "3: \n\t"
            "lsl %A[a] \n\t"
            "rol %B[a] \n\t"
            "rol %C[a] \n\t"
            "rol %D[a] \n\t"
            "rol %A[middle] \n\t"
            "rol %B[middle] \n\t"
            "rol %A[top] \n\t"
            "rol %B[top] \n\t"
            "brcs 5f \n\t"
            "4: \n\t"
            "cp %A[middle], %A[c] \n\t"
            "cpc %B[middle], %B[c] \n\t"
            "cpc %A[top], %C[c] \n\t"
            "cpc %B[top], %D[c] \n\t"
            "brcs 6f \n\t"
            "5: \n\t"
            "sub %A[middle], %A[c] \n\t"
            "sbc %B[middle], %B[c] \n\t"
            "sbc %A[top], %C[c] \n\t"
            "sbc %B[top], %D[c] \n\t"
            "inc %A[a] \n\t"
            "cpi %A[b], 33 \n\t"
            "breq 7f \n\t"
            "6: \n\t"
            "dec %A[b] \n\t"
            "brne 3b \n\t"
            "rjmp 8f \n\t"
            "7: \n\t" /* it was not below c before the first shift: too much */
            "ldi %A[a], 0xFF \n\t"
            "mov %B[a], %A[a] \n\t"
            "mov %C[a], %A[a] \n\t"
            "mov %D[a], %A[a] \n\t"
            "8:"
            : [a] "+d"(a), [b] "+d"(b), [middle] "=&x"(middle), [top] "=&z"(top)
            : [c] "r"(c)
            : "r0");
    return a;
#else
    uint64_t product = (uint64_t)a * b;
    if (a == 0) {
        return 0;
    }
    return product >> 32 >= c ? 0xFFFFFFFFu : (uint32_t)(product / c);
#endif
}

#define NEXT_BIT /* of the value, into what is left */                                                     \
    "lsl %A[value] \n\t rol %B[value] \n\t rol %C[value] \n\t rol %D[value] \n\t"                        \
    "rol %A[left] \n\t rol %B[left] \n\t rol %A[above] \n\t rol %B[above] \n\t"

uint32_t bc_root(uint32_t value, uint8_t bits) {
    uint32_t twice; /* the root so far */
    /* Two bits of the value, which come into what is left, give one of the root. */
#ifdef __AVR__
    uint16_t left;
    uint16_t above;
    __asm__("clr %A[left] \n\t"
            "clr %B[left] \n\t"
            "movw %[above], %[left] \n\t"
            "movw %A[twice], %[left] \n\t"
            "movw %C[twice], %[left] \n\t"
            "1: \n\t"
            NEXT_BIT NEXT_BIT
            "lsl %A[twice] \n\t"
            "rol %B[twice] \n\t"
            "rol %C[twice] \n\t"
            "rol %D[twice] \n\t"
            "cp %A[twice], %A[left] \n\t"
            "cpc %B[twice], %B[left] \n\t"
            "cpc %C[twice], %A[above] \n\t"
            "cpc %D[twice], %B[above] \n\t"
            "brcc 3f \n\t"
            "sbc %A[left], %A[twice] \n\t" /* with the 1 that is the carry */
            "sbc %B[left], %B[twice] \n\t"
            "sbc %A[above], %C[twice] \n\t"
            "sbc %B[above], %D[twice] \n\t"
            "ori %A[twice], 2 \n\t"
            "3: \n\t"
            "dec %[bits] \n\t"
            "brne 1b"
            : [value] "+r"(value), [twice] "=&d"(twice), [left] "=&x"(left), [above] "=&z"(above), [bits] "+r"(bits));
#else
    uint32_t left = 0;
    twice = 0;
    for (; bits > 0; bits--) {
        left = left << 2 | value >> 30;
        value <<= 2;
        twice <<= 1;
        if (left > twice) {
            left -= twice + 1;
            twice += 2;
        }
    }
#endif
    return twice >> 1;
}

uint32_t bc_share(uint16_t part, uint16_t whole) {
    uint16_t share = 0;
    uint8_t bits;
    if (part >= whole) {
        return 65536;
    }
    /* Bit by bit: a 32-bit division takes the chip three times as long. */
    for (bits = 16; bits > 0; bits--) {
        bool carry = (part & 0x8000u) != 0;
        part = (uint16_t)(part << 1);
        share = (uint16_t)(share << 1);
        if (carry || part >= whole) {
            part = (uint16_t)(part - whole);
            share |= 1;
        }
    }
    return share;
}

BC_APART uint32_t bc_progress(uint32_t elapsed, uint32_t total) {
    if (elapsed > 1ul << 31) {
        return 0;
    }
    if (elapsed >= total) {
        return total == 0 ? 0 : 65536;
    }
    while (total > 0xFFFF) {
        total >>= 1;
        elapsed >>= 1;
    }
    return bc_share((uint16_t)elapsed, (uint16_t)total);
}

uint16_t bc_crc(uint16_t crc, uint8_t byte) {
    uint8_t x = (uint8_t)((uint8_t)(crc >> 8) ^ byte);
    uint8_t factor = 1 << 5; /* shifts a byte up 5 and down 3 at once */
    uint16_t spread;
    BC_HIDE(factor);
    x = (uint8_t)(x ^ (x >> 4));
    spread = (uint16_t)((uint16_t)x * factor);
    /* (crc << 8) ^ (x << 12) ^ (x << 5) ^ x, byte by byte */
    return (uint16_t)((uint16_t)((uint8_t)crc ^ (uint8_t)(x << 4) ^ (uint8_t)(spread >> 8)) << 8 |
                      ((uint8_t)spread ^ x));
}
