/*
 * Reads a script from standard input, does it and writes what the board shows and says: for the
 * build with sanitizers, which cannot be loaded into another program. A step is a letter, a u16
 * length and that many bytes:
 *
 *     c  the cells      m  the merged table    s  start
 *     f  one frame for each byte               l  bytes from the link
 *     p  levels of three ports, looked at four times
 */
#include <stdio.h>
#include <string.h>

#include "host.h"

static uint8_t bytes[65536];
static uint8_t shown[HOST_RAW];
static uint8_t sent[65536];

static void do_step(int letter, uint32_t length) {
    uint32_t n;
    switch (letter) {
    case 'c':
        memcpy(host_cells(), bytes, length);
        break;
    case 'm':
        memcpy(host_merged(), bytes, length);
        break;
    case 's':
        host_start(1);
        break;
    case 'f':
        for (n = 0; n < length; n++) {
            host_frame();
            fwrite(shown, 1, host_raw(shown), stdout);
        }
        break;
    case 'l':
        host_feed(bytes, length);
        host_settle();
        fwrite(sent, 1, host_take(sent, sizeof sent), stdout);
        break;
    default:
        for (n = 0; n < 12; n++) {
            host_port((uint8_t)(n % 3), bytes[n % 3]);
            if (n % 3 == 2) {
                host_sample_inputs();
            }
        }
        break;
    }
}

int main(void) {
    uint8_t head[3];
    memset(host_cells(), 0xFF, HOST_CELLS);
    memset(host_merged(), 0xFF, HOST_MERGED);
    while (fread(head, 1, sizeof head, stdin) == sizeof head) {
        uint32_t length = head[1] | (uint32_t)head[2] << 8;
        if (fread(bytes, 1, length, stdin) != length) {
            return 1;
        }
        do_step(head[0], length);
    }
    return 0;
}
