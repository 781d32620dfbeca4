/* Boards beside one another, and a pseudo-terminal in the host's time. */
#define _GNU_SOURCE
#include "harness.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

enum { POLL_US = 500, AT_ONCE = 64 };

static double host_seconds(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static size_t add_wire(board_t *from, wire_t wire) {
    if (from->wire_count == sizeof from->wires / sizeof from->wires[0]) {
        abort();
    }
    from->wires[from->wire_count] = wire;
    return from->wire_count++;
}

/* Whatever `from` sends, `to` receives. */
void board_connect(board_t *from, board_t *to) {
    add_wire(from, (wire_t){.to = to, .uart = HOST, .to_uart = HOST, .random = 1});
}

/* The line of a board that leads, to where the other hears it; its number, for what follows. */
size_t board_wire(board_t *from, board_t *to) {
    uint8_t in = to->uarts[LINE].simavr ? LINE : HOST;
    return add_wire(from, (wire_t){.to = to, .uart = LINE, .to_uart = in, .random = 1});
}

/* From a board that follows back to the one that leads it; its number, for what follows. */
size_t board_answer(board_t *from, board_t *to) {
    uint8_t out = from->uarts[LINE].simavr ? LINE : HOST;
    return add_wire(from, (wire_t){.to = to, .uart = out, .to_uart = LINE, .random = 1});
}

/* Whether it is unplugged. */
void board_wire_cut(board_t *from, size_t wire, bool cut) { from->wires[wire].cut = cut; }

/* How many frames get lost, and how many bytes have a bit turned over. */
void board_wire_trouble(board_t *from, size_t wire, uint32_t seed, uint32_t lost_per_1000,
                        uint32_t flips_per_million) {
    wire_t *one = &from->wires[wire];
    one->random = seed ? seed : 1;
    one->lost_per_1000 = lost_per_1000;
    one->flips_per_million = flips_per_million;
}

/* Marsaglia, Xorshift RNGs (2003): 13, 17, 5. */
static uint32_t draw(wire_t *wire, uint32_t below) {
    uint32_t x = wire->random;
    x ^= x << 13;
    x ^= x >> 17;
    x ^= x << 5;
    wire->random = x;
    return x % below;
}

static void carry(const board_t *from, wire_t *wire, uint64_t cycle, uint8_t byte) {
    board_t *to = wire->to;
    double seconds =
        (double)(from->base + cycle) / (from->frequency * (1 + from->clock_ppm * 1e-6));
    if (wire->flips_per_million && draw(wire, 1000000) < wire->flips_per_million) {
        byte ^= (uint8_t)(1 << draw(wire, 8));
    }
    uint64_t end = (uint64_t)(seconds * to->frequency * (1 + to->clock_ppm * 1e-6));
    uart_send(&to->uarts[wire->to_uart], end, 1, &byte, 1);
}

/* A byte that comes later than half a byte's time after the last one begins a frame. */
void wires_carry(board_t *from, uint8_t uart, uint64_t cycle, uint8_t byte, uint32_t byte_cycles) {
    for (size_t i = 0; i < from->wire_count; i++) {
        wire_t *wire = &from->wires[i];
        if (wire->uart != uart) {
            continue;
        }
        if (from->base + cycle > wire->last + byte_cycles + byte_cycles / 2) {
            wire->losing = wire->lost_per_1000 && draw(wire, 1000) < wire->lost_per_1000;
        }
        wire->last = from->base + cycle;
        if (!wire->cut && !wire->losing) {
            carry(from, wire, cycle, byte);
        }
    }
}

/* How much faster than its nominal frequency a board's clock is, in parts per million. */
void board_clock(board_t *board, double ppm) { board->clock_ppm = ppm; }

/* Run boards side by side up to a time; they exchange bytes with a grain below one byte's length.
 */
int boards_run(board_t **boards, size_t count, double seconds) {
    const double grain = 10e-6;
    double now = 1e30;
    for (size_t i = 0; i < count; i++) {
        double rate = boards[i]->frequency * (1 + boards[i]->clock_ppm * 1e-6);
        double at = (double)board_cycle(boards[i]) / rate;
        now = at < now ? at : now;
    }
    while (now < seconds) {
        now = now + grain < seconds ? now + grain : seconds;
        for (size_t i = 0; i < count; i++) {
            double rate = boards[i]->frequency * (1 + boards[i]->clock_ppm * 1e-6);
            int state = board_run(boards[i], (uint64_t)(now * rate));
            if (state) {
                return state;
            }
        }
    }
    return 0;
}

static void keep_pace(const board_t *board, double start, uint64_t start_cycle) {
    double emulated = (double)(board_cycle(board) - start_cycle) / board->frequency / board->pace;
    double ahead = emulated - (host_seconds() - start);
    if (ahead > 0.001) {
        struct timespec pause = {(time_t)ahead, (long)((ahead - (double)(time_t)ahead) * 1e9)};
        nanosleep(&pause, NULL);
    }
}

static avr_cycle_count_t on_poll(avr_t *avr, avr_cycle_count_t when, void *param) {
    static const double restart = 0.2;
    board_t *board = param;
    static __thread const board_t *paced;
    static __thread double start;
    static __thread uint64_t start_cycle;
    (void)avr;
    if (board->pace > 0) {
        double emulated =
            (double)(board_cycle(board) - start_cycle) / board->frequency / board->pace;
        if (paced != board || host_seconds() - start - emulated > restart) {
            paced = board;
            start = host_seconds();
            start_cycle = board_cycle(board);
        }
        keep_pace(board, start, start_cycle);
    }
    uint8_t bytes[AT_ONCE];
    if (board_sending(board) < AT_ONCE) {
        ssize_t got = read(board->pty, bytes, sizeof bytes);
        if (got > 0) {
            board_send(board, 0, 0, bytes, (size_t)got);
        }
    }
    return when + (uint64_t)POLL_US * board->frequency / 1000000;
}

void pty_put(board_t *board, uint8_t byte) {
    while (write(board->pty, &byte, 1) < 0 && errno == EINTR) {
    }
}

void pty_attach(board_t *board) { avr_cycle_timer_register(board->avr, 1000, on_poll, board); }

/* Offer the link as a pseudo-terminal and give its name. Returns 0, or an errno. */
int board_pty(board_t *board, char *name, size_t room, double pace) {
    int fd = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (fd < 0 || grantpt(fd) || unlockpt(fd) || ptsname_r(fd, name, room)) {
        return errno;
    }
    int other =
        open(name, O_RDWR | O_NOCTTY); /* kept open: no hang-up between two users of the port */
    struct termios settings;
    if (other < 0 || tcgetattr(other, &settings)) {
        return errno;
    }
    cfmakeraw(&settings);
    tcsetattr(other, TCSANOW, &settings);
    board->pty = fd;
    board->pace = pace;
    pty_attach(board);
    return 0;
}
