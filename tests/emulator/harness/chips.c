/*
 * What the harness must know of each chip. Data sheets: ATmega48A to 328/P (14.3, 7.7.1, 31), and
 * ATmega640 to 2561 (Alternate Port Functions, Interrupt Response Time, Register Summary).
 */
#include "harness.h"

#include <string.h>

static const chip_t chips[] = {
    {
        .name = "atmega328p",
        .ports = "BCD",
        .ram_start = 0x100,
        .ram_bytes = 2048,
        .flash_bytes = 0x8000,
        .eeprom_bytes = 1024,
        .response_cycles = 4,
        .pwm_timers = 2,
        .pwm =
            {
                {'0', 2, {22, 21}, 0x44, 0x45, {0x47, 0x48}},
                {'2', 2, {3, 19}, 0xB0, 0xB1, {0xB3, 0xB4}},
            },
    },
    {
        .name = "atmega2560",
        .ports = "ABCDEFGHJKL",
        .ram_start = 0x200,
        .ram_bytes = 8192,
        .flash_bytes = 0x40000,
        .eeprom_bytes = 4096,
        .response_cycles = 5, /* the program counter has three bytes */
        .pwm_timers = 5,
        .pwm =
            {
                {'0', 2, {15, 53}, 0x44, 0x45, {0x47, 0x48}},
                {'2', 2, {12, 62}, 0xB0, 0xB1, {0xB3, 0xB4}},
                {'3', 3, {35, 36, 37}, 0x90, 0x91, {0x98, 0x9A, 0x9C}, 39, 0x96, 0x38, 0x71},
                {'4', 3, {59, 60, 61}, 0xA0, 0xA1, {0xA8, 0xAA, 0xAC}, 80, 0xA6, 0x39, 0x72},
                {'5', 3, {83, 84, 85}, 0x120, 0x121, {0x128, 0x12A, 0x12C}, 81, 0x126, 0x3A, 0x73},
            },
    },
};

const chip_t *chip_named(const char *name) {
    for (size_t i = 0; i < sizeof chips / sizeof chips[0]; i++) {
        if (!strcmp(chips[i].name, name)) {
            return &chips[i];
        }
    }
    return NULL;
}
