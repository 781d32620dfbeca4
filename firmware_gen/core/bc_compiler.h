/* What the core tells a compiler beyond C99; each says what it is good for, and is nothing to other compilers. */
#ifndef BC_COMPILER_H
#define BC_COMPILER_H

#include <stdint.h>

/*
 * A function that stays one: small chips have more time than room for copies of it, and avr-gcc copies what is
 * short or called from few places.
 */
#ifdef __GNUC__
#define BC_APART __attribute__((noinline))
#else
#define BC_APART
#endif

/*
 * Reach a static through this pointer: on the AVR a byte so reached takes two bytes of code, by its address four,
 * and avr-gcc takes the address wherever it knows it. After each step of a loop: the loop then counts a byte down, instead of
 * comparing addresses.
 */
#ifdef __AVR__
#define BC_REACH(pointer) __asm__("" : "+b"(pointer))
#else
#define BC_REACH(pointer) (void)(pointer)
#endif

/* Let a factor not be known to be a power of two: the AVR multiplies in two cycles, which is less than most shifts. */
#ifdef __AVR__
#define BC_HIDE(byte) __asm__("" : "+r"(byte))
#else
#define BC_HIDE(byte) (void)(byte)
#endif

/* Numbers below 2^24, in three bytes where a compiler can. */
#ifdef __AVR__
typedef __uint24 bc_u24;
#else
typedef uint32_t bc_u24;
#endif

#endif
