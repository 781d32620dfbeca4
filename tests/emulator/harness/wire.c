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

/* Whatever `from` sends, `to` receives. */
void board_connect(board_t *from, board_t *to) {
    if (from->peer_count < sizeof from->peers / sizeof from->peers[0]) {
        from->peers[from->peer_count++] = to;
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
