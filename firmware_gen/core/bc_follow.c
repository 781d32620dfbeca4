#include "bc_follow.h"

#include "bellcrank.h"

#if BC_CHIP_FOLLOWS

#include <string.h>

#include "bc_idle.h"
#include "bc_lead.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_player.h"
#include "bc_run_state.h"
#include "bc_runs.h"
#include "bc_scaling.h"
#include "bc_table.h"
#include "bc_threads.h"

/* What was heard since the last frame. */
enum { NOTHING, OUR_SHOW, OTHER_SHOW };

static struct {
    uint8_t state[BC_HUB_SIZE]; /* the newest */
    uint8_t heard;
    uint8_t since; /* frames since our show was heard, up to BC_FOLLOWED_FRAMES */
    bool is_follower;
    bool stopped_here;
    int8_t stretch;
#if BC_CHIP_SENSES
    uint16_t late; /* by which a radio brings each state later, in 1/256 ms */
#endif
    uint16_t ahead; /* frames by which this board's count is ahead of the other's */
    uint16_t frame; /* of the state, in this board's count */
    uint16_t idle_start;
#if BC_CHIP_JOINS
    uint16_t starts[BC_RUNS]; /* frames in which runs that are followed started */
#endif
    uint8_t orders[BC_RUNS];
} follow;

void bc_follow_start(void) {
    memset(&follow, 0, sizeof follow);
    follow.is_follower = bc_header(BC_AT_ROLE) == BC_ROLE_FOLLOWS;
    follow.since = BC_FOLLOWED_FRAMES;
}

#if BC_CHIP_SENSES
void bc_follow_over_radio(uint16_t late) { follow.late = late; }
#endif

bool bc_is_follower(void) { return follow.is_follower; }

bool bc_follows(void) { return follow.is_follower && follow.since < BC_FOLLOWED_FRAMES; }

void bc_follow_stopped_here(bool stopped) { follow.stopped_here = stopped; }

void bc_follow_idle_begins(void) { follow.idle_start = (uint16_t)bc_player_frames(); }

static uint16_t u16_of(uint8_t place) {
    return bc_u16(follow.state[place], follow.state[place + 1]);
}

/* -- hearing -------------------------------------------------------------------------------- */

/* How far this board is from being in step, and so how long its next frames are. */
static void keep_in_step(uint16_t moment) {
    uint16_t frames = (uint16_t)bc_player_frames();
    uint16_t ahead;
    int16_t wrong;
    int16_t late;
    bool jumps;
#if BC_CHIP_SENSES
    for (; moment < follow.late; moment = (uint16_t)(moment + BC_FRAME)) {
        frames--; /* over a cable it would have come in a frame before */
    }
    moment = (uint16_t)(moment - follow.late);
#endif
    ahead = (uint16_t)(frames - u16_of(BC_HUB_FRAME));
    wrong = (int16_t)(ahead - follow.ahead);
    late = (int16_t)(moment - BC_ARRIVAL);
    jumps = !bc_follows() || wrong > 2 || wrong < -1; /* those are too far at any moment */
    if (!jumps) {
        late = (int16_t)(late + wrong * BC_FRAME);
        jumps = late > BC_FARTHEST || late < -BC_FARTHEST;
    }
    if (jumps) {
        wrong = (uint8_t)(moment >> 8) < (BC_ARRIVAL - BC_FRAME / 2) >>
                8; /* nearer to the frame before */
        follow.ahead = (uint16_t)(ahead - (uint16_t)wrong);
        bc_runs_followed = 0;
        late = (int16_t)(moment - BC_ARRIVAL + wrong * BC_FRAME);
    }
    follow.frame = (uint16_t)(frames - (uint16_t)wrong);
    late = (int16_t)(late >> BC_GENTLENESS_BITS); /* toward minus infinity, as TABLE.md writes it */
    follow.stretch = (int8_t)(late > BC_MOST_STRETCH    ? BC_MOST_STRETCH
                              : late < -BC_MOST_STRETCH ? -BC_MOST_STRETCH
                                                        : late);
}

void bc_follow_hear(const struct bc_frame *frame, uint16_t moment) {
    uint16_t show;
    if (!follow.is_follower || frame->length != BC_HUB_SIZE) {
        return;
    }
    show = bc_table_u16(BC_AT_SHOW);
    bc_table_release();
    memcpy(follow.state, frame->payload, BC_HUB_SIZE);
    follow.heard = OTHER_SHOW;
    if (u16_of(BC_HUB_SHOW) == show) {
        follow.heard = OUR_SHOW;
        bc_player_heard_hub();
        keep_in_step(moment);
    }
}

int16_t bc_frame_stretch(void) { return bc_follows() ? follow.stretch : 0; }

/* -- modes ---------------------------------------------------------------------------------- */

uint8_t bc_follow_mode(uint8_t mode) {
    uint8_t other = follow.state[BC_HUB_MODE];
    bool at_once = (other & BC_HUB_LIMP_ASKED) != 0;
    if (follow.heard == NOTHING) {
        return BC_ASK_CUE;
    }
    other &= BC_HUB_MODES;
    at_once = at_once && other == BC_MODE_LIMP;
    if (other == BC_MODE_STOPPING || other == BC_MODE_LIMP) {
        if (other == BC_MODE_LIMP) {
            follow.stopped_here = false;
        }
        if ((mode == BC_MODE_READY && !at_once) ||
            (mode == BC_MODE_LIMP && other == BC_MODE_STOPPING)) {
            return BC_ASK_STOP;
        }
        return mode == BC_MODE_STARTING || at_once ? BC_ASK_LIMP : BC_ASK_CUE;
    }
    return mode == BC_MODE_LIMP && !follow.stopped_here && follow.heard == OUR_SHOW ? BC_ASK_STANDBY
                                                                                    : BC_ASK_CUE;
}

/* -- runs ----------------------------------------------------------------------------------- */

static uint8_t bit_of(uint8_t run) { return (uint8_t)(1u << run); }

/* How many frames ago something was, by its age in the state; a board that cannot join need not
 * know what is longer ago than it can make good. */
#if BC_CHIP_JOINS
typedef int32_t frames;

static frames frames_ago(uint8_t place) {
    uint32_t age = (uint32_t)follow.state[place + 2] << 16 | u16_of(place);
    if (age > BC_IDLE_ERA) {
        age = BC_IDLE_ERA;
    }
    return (int16_t)((uint16_t)bc_player_frames() - follow.frame) + (int32_t)age;
}
#else
typedef int8_t frames;

static frames frames_ago(uint8_t place) {
    enum { LONG_AGO = 100 };
    uint8_t age = follow.state[place];
    if ((follow.state[place + 1] | follow.state[place + 2]) != 0 || age >= LONG_AGO) {
        return LONG_AGO;
    }
    return (int8_t)((uint8_t)((uint8_t)bc_player_frames() - (uint8_t)follow.frame) + age);
}
#endif

/* The time at which a thread begins that should have begun so many frames ago. */
static uint32_t time_of(frames ago) {
#if BC_CHIP_JOINS
    return bc_player_time() - (uint32_t)(ago + 1) * BC_FRAME;
#else
    return bc_player_time() - (uint16_t)((uint16_t)(ago + 1) * (uint16_t)BC_FRAME);
#endif
}

/* A run that has to make good more than a few frames does so in silence. */
static bool be_silent(uint8_t run, frames ago) {
    return bc_run_be_silent(run, ago > BC_LATE_FRAMES);
}

/* Whether a board can make good what began so many frames ago. */
static bool is_too_late(frames ago) { return !BC_CHIP_JOINS && ago > BC_LATE_FRAMES; }

static void follow_idle(void) {
    frames ago = frames_ago(BC_HUB_IDLE);
    uint16_t start = (uint16_t)((uint16_t)bc_player_frames() - (uint16_t)ago);
    uint16_t off = (uint16_t)(start - follow.idle_start + 1);
    uint8_t n;
    if (off <= 2 || is_too_late(ago)) {
        return;
    }
    follow.idle_start = start;
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_run_is_strand(n)) {
            bc_run_begin(n, time_of(ago));
            be_silent(n, ago);
        }
    }
}

#if BC_CHIP_JOINS

/* Frames since a run started, as far as they still tell one from another. */
static int16_t age_of(uint8_t run) {
    return (int16_t)((uint16_t)bc_player_frames() - follow.starts[run]);
}

static void let_starts_grow_old(void) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (age_of(n) > BC_OLDEST_START) {
            follow.starts[n] = (uint16_t)(bc_player_frames() - BC_OLDEST_START);
        }
    }
}

/* The outputs of other runs that started after this one. */
static bc_outputs owned_later(uint8_t run) {
    bc_outputs later = 0;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        int16_t younger = (int16_t)(age_of(run) - age_of(n));
        if (n != run && (bc_runs_followed & bit_of(n)) &&
            (younger > 0 ||
             (younger == 0 && (int8_t)(follow.orders[n] - follow.orders[run]) > 0))) {
            later |= bc_runs[n].owned;
        }
    }
    return later;
}

#else

#define owned_later(run) 0u

#endif

/* Whether there is room for a cue's threads in the place of a run. */
static bool has_room(uint8_t run, uint8_t threads) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (n != run && bc_runs[n].cue != BC_FREE && bc_run_threads(n) > 0) {
            threads = (uint8_t)(threads + bc_demand_of(bc_runs[n].cue).threads);
        }
    }
    return threads <= BC_THREADS;
}

/* End all runs but strands and these, a bit each. */
static void end_all_but(uint8_t kept) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_runs[n].cue != BC_FREE && !bc_run_is_strand(n) && !(kept & bit_of(n))) {
            bc_run_part_with(n);
        }
    }
}

static void end_others(void) { end_all_but(follow.state[BC_HUB_LIVE] & bc_runs_followed); }

/* Begin a run that the other board has, in the same place. */
static void join(uint8_t run, uint8_t cue, frames ago) {
    uint8_t flags = follow.state[BC_HUB_RUN];
    bool has_let_go = BC_CHIP_JOINS && (flags & BC_HUB_LET_GO) && bc_cue_lets_go(cue);
    struct bc_demand demand = bc_demand_of(cue);
    if (!has_room(run, demand.threads)) {
        end_others();
        if (!has_room(run, demand.threads)) {
            return;
        }
    }
    follow.orders[run] = follow.state[BC_HUB_ORDER];
#if BC_CHIP_JOINS
    follow.starts[run] =
        (uint16_t)(bc_player_frames() - (uint32_t)(ago < BC_OLDEST_START ? ago : BC_OLDEST_START));
#endif
    demand.outputs &= (bc_outputs)~owned_later(run);
    bc_runs_lose(demand.outputs);
    if (bc_runs[run].cue != BC_FREE) {
        bc_run_part_with(run);
    }
    bc_runs_followed |= bit_of(run);
    bc_idle_is_held_off((uint16_t)demand.outputs);
    bc_make_steady((uint16_t)demand.outputs);
    bc_runs[run].owned = demand.outputs;
    bc_runs[run].cue = has_let_go ? (uint8_t)(cue + 1) : cue;
#if BC_CHIP_SENSES
    bc_runs[run].scale = bc_scaling_of(cue);
#endif
    bc_runs[run].kind = BC_ONCE;
    bc_runs[run].held_by = BC_NO_BUTTON;
    if (!has_let_go) {
        bc_runs[run].kind = flags & BC_HUB_AGAIN ? BC_AGAIN : BC_ONCE;
        bc_runs[run].held_by = flags & BC_HUB_HELD ? BC_HELD_ELSEWHERE : BC_NO_BUTTON;
    }
    bc_run_begin(run, time_of(ago));
    be_silent(run, ago);
#if BC_CHIP_JOINS
    bc_joined_forgets((uint16_t)demand.outputs);
#endif
}

/* Whether a run is the one that the state tells of, whose cue this is. */
static bool is_known(uint8_t run, uint8_t cue) {
    uint8_t plays = bc_runs[run].cue;
    return (bc_runs_followed & bit_of(run)) && follow.orders[run] == follow.state[BC_HUB_ORDER] &&
           (plays == cue || (plays == cue + 1 && bc_cue_lets_go(cue)));
}

static void follow_run(void) {
    uint8_t flags = follow.state[BC_HUB_RUN];
    uint8_t run = flags & BC_HUB_NUMBER;
    uint8_t cue = bc_table_find_cue(u16_of(BC_HUB_TAG));
    frames ago = frames_ago(BC_HUB_AGE);
    if ((flags & BC_HUB_NO_RUN) || !(follow.state[BC_HUB_LIVE] & bit_of(run)) ||
        bc_run_is_strand(run)) {
        return;
    }
    if (cue == BC_CUES) {
        if (bc_runs[run].cue != BC_FREE) {
            bc_run_part_with(run);
        }
    } else if (bc_runs[run].cue == BC_FREE || !is_known(run, cue)) {
        if (!is_too_late(ago) && (BC_CHIP_JOINS || !(flags & BC_HUB_LET_GO))) {
            join(run, cue, ago);
        }
    } else if ((flags & BC_HUB_LET_GO) && bc_runs[run].cue == cue && bc_cue_lets_go(cue)) {
        bc_runs[run].held_by = BC_NO_BUTTON;
        bc_run_let_go(run, time_of(ago));
        be_silent(run, ago);
    } else {
        bc_runs[run].held_by = flags & BC_HUB_HELD ? BC_HELD_ELSEWHERE : BC_NO_BUTTON;
    }
}

void bc_follow_runs(bool is_ready) {
    if (!follow.is_follower) {
        return;
    }
#if BC_CHIP_JOINS
    let_starts_grow_old();
#endif
    if (follow.heard != OUR_SHOW) {
        if (follow.since < BC_FOLLOWED_FRAMES && ++follow.since == BC_FOLLOWED_FRAMES) {
            end_all_but((uint8_t)~bc_runs_followed); /* this board is alone */
        }
        return;
    }
    follow.since = 0;
    bc_runs_wait_no_more();
    if (is_ready && (follow.state[BC_HUB_MODE] & BC_HUB_MODES) == BC_MODE_READY) {
        follow_idle();
        follow_run();
    }
}

void bc_follow_end_others(bool is_ready) {
    if (follow.heard == OUR_SHOW && is_ready) {
        end_others();
    }
    follow.heard = NOTHING;
}

#else

int16_t bc_frame_stretch(void) { return 0; }

#endif
