#include "bc_runs.h"

#include <string.h>

#include "bc_bits.h"
#include "bc_idle.h"
#include "bc_lead.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_player.h"
#include "bc_run_state.h"
#include "bc_scaling.h"
#include "bc_servo.h"
#include "bc_table.h"
#include "bc_threads.h"
#include "bc_tracking.h"

struct bc_run bc_runs[BC_RUNS];
#if BC_CHIP_FOLLOWS
uint8_t bc_runs_followed;
#endif
#if BC_CHIP_JOINS
uint8_t bc_runs_silent;
#endif

BC_ASSERT(no_run_is_none, (int)BC_RUNS <= (int)BC_NO_RUN);

static uint8_t waits_by[BC_CUES]; /* the button by which a cue waits; BC_FREE: it does not wait */
static uint8_t down[BC_BUTTONS / 8 + 1]; /* buttons, a bit each */
static uint16_t refused;

void bc_count(uint16_t *counter) {
    if (*counter != 0xFFFF) {
        (*counter)++;
    }
}

void bc_count_refused(void) { bc_count(&refused); }

uint16_t bc_refused(void) { return refused; }

/* -- records -------------------------------------------------------------------------------- */

/* Put the cursor to a place in the record of a cue. */
static void seek_cue(uint8_t cue, uint8_t place) {
    bc_table_seek((uint16_t)(bc_table_cue(cue) + place));
}

struct bc_demand bc_demand_of(uint8_t cue) {
    struct bc_demand demand;
    uint8_t flags;
    seek_cue(cue, BC_CUE_OUTPUTS);
    demand.outputs = bc_next_u16();
#if BC_CHIP_LEADS
    if (bc_header(BC_AT_ROLE) == BC_ROLE_LEADS) {
        seek_cue(cue, BC_CUE_SIZE); /* where its claims stand */
        demand.outputs |= (bc_outputs)bc_next_u16() << BC_OUTPUTS;
        seek_cue(cue, BC_CUE_FLAGS);
    }
#endif
    flags = bc_next_u8();
    demand.conflict = flags & BC_CONFLICT;
    demand.threads = flags >> 4;
    demand.is_strand = (flags & BC_STRAND) != 0;
    return demand;
}

/* Whether the cue behind it is its part for letting go. */
bool bc_cue_lets_go(uint8_t cue) {
    seek_cue(cue, BC_CUE_FLAGS);
    return (bc_next_u8() & BC_LETS_GO) != 0;
}

/* What stands above cue and button in a binding. */
#if BC_CHIP_SENSES
enum { CUE_STEP = BC_MANNER_STEP, BUTTON_STEP = BC_PRESS_STEP };
#else
enum { CUE_STEP = 0x100, BUTTON_STEP = BC_FLAG };
#endif

/* Whether the first binding of a button to a cue lets the cue start over while it is held. */
static bool starts_again(uint8_t cue, uint8_t button) {
    uint8_t left;
    for (left = bc_table_bindings(); left > 0; left--) {
        uint8_t by = bc_next_u8();
        if (bc_next_u8() % CUE_STEP == cue && by % BUTTON_STEP == button) {
            return (by & BC_FLAG) != 0;
        }
    }
    return false;
}

/* -- ending --------------------------------------------------------------------------------- */

static uint8_t bit_of(uint8_t run) { return (uint8_t)(1u << run); }

bool bc_run_be_silent(uint8_t run, bool silent) {
#if BC_CHIP_JOINS
    bc_runs_silent &= (uint8_t)~bit_of(run);
    if (silent) {
        bc_runs_silent |= bit_of(run);
    }
    return silent;
#else
    (void)run;
    (void)silent;
    return false;
#endif
}

/* Asked of each thread for each op, and hardly ever true. */
bool bc_run_is_silent(uint8_t run) {
    return bc_runs_silent != 0 && (bc_runs_silent & bit_of(run)) != 0;
}

static void end_run(uint8_t run) {
    bc_threads_end(run);
    bc_runs[run].cue = BC_FREE;
    bc_runs[run].owned = 0;
#if BC_CHIP_FOLLOWS
    bc_runs_followed &= (uint8_t)~bit_of(run);
#endif
    bc_run_be_silent(run, false);
    bc_lead_ended(run);
}

void bc_runs_end(void) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        bc_runs[n].cue = BC_FREE;
        bc_runs[n].owned = 0;
    }
    bc_threads_clear();
    bc_runs_wait_no_more();
#if BC_CHIP_FOLLOWS
    bc_runs_followed = 0;
#endif
#if BC_CHIP_JOINS
    bc_runs_silent = 0;
#endif
    bc_lead_forget();
    bc_idle_clear();
}

bool bc_is_button_down(uint8_t button) { return bc_bit_is_set(down, button); }

void bc_runs_wait_no_more(void) { memset(waits_by, BC_FREE, sizeof waits_by); }

void bc_runs_clear(void) {
    bc_runs_end();
    memset(down, 0, sizeof down);
    refused = 0;
    bc_overruns_clear();
}

/* -- starting ------------------------------------------------------------------------------- */

void bc_run_enter(uint8_t run, uint32_t time, uint16_t rounds) {
    bc_runs[run].started = time;
    seek_cue(bc_runs[run].cue, BC_CUE_OFFSET);
    bc_thread_spawn(run, bc_next_u16(), time, rounds);
}

void bc_run_begin(uint8_t run, uint32_t time) {
    bc_threads_end(run);
    bc_run_enter(run, time, 0);
}

static bool is_strand(const struct bc_run *run) {
    return run->cue != BC_FREE && run->kind == BC_FOR_EVER;
}

bool bc_run_is_strand(uint8_t run) { return is_strand(&bc_runs[run]); }

/* Whether a start that takes these outputs ends a run: it loses its last. Strands go on. */
static bool gives_way(const struct bc_run *run, bc_outputs outputs) {
    return !is_strand(run) && run->owned != 0 && (run->owned & ~outputs) == 0;
}

static bool has_room(const struct bc_demand *demand) {
    uint8_t wanted = demand->threads;
    bool is_free = false;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_runs[n].cue == BC_FREE || gives_way(&bc_runs[n], demand->outputs)) {
            is_free = true;
        } else {
            wanted = (uint8_t)(wanted + bc_demand_of(bc_runs[n].cue).threads);
        }
    }
    return is_free && wanted <= BC_THREADS;
}

/* Take the outputs from all runs, end those that give way; the lowest run that is free then. A
 * board that leads prefers one of which it has nothing to tell any more. */
static uint8_t make_room(bc_outputs outputs) {
    uint8_t untold = BC_FREE;
    uint8_t lowest = BC_FREE;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (gives_way(&bc_runs[n], outputs)) {
            end_run(n);
        }
        if (bc_runs[n].cue == BC_FREE && lowest == BC_FREE) {
            lowest = n;
        }
        if (bc_runs[n].cue == BC_FREE && untold == BC_FREE && !bc_lead_tells(n)) {
            untold = n;
        }
    }
    bc_runs_lose(outputs);
    return untold == BC_FREE ? lowest : untold;
}

void bc_runs_lose(bc_outputs outputs) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        bc_runs[n].owned &= (bc_outputs)~outputs;
    }
}

/* The lowest run that is free then owns the outputs of a cue. */
static struct bc_run *own(uint8_t cue, bc_outputs outputs) {
    struct bc_run *run = &bc_runs[make_room(outputs)];
    bc_make_steady((uint16_t)outputs);
    run->cue = cue;
    run->owned = outputs;
    return run;
}

static bool is_held(uint8_t button) {
#if BC_CHIP_SENSES
    if (button & BC_TOGGLED) {
        return true;
    }
#endif
    return bc_is_button_down(button);
}

/* Take over the cue's outputs and begin; false if there is no room. */
static bool take_over(uint8_t cue, const struct bc_demand *demand, uint8_t button) {
    struct bc_run *run;
    if (!has_room(demand)) {
        return false;
    }
    bc_idle_is_held_off((uint16_t)demand->outputs);
    run = own(cue, demand->outputs);
    run->held_by = is_held(button) ? button : BC_NO_BUTTON;
    run->kind = starts_again(cue, button) ? BC_AGAIN : BC_ONCE;
#if BC_CHIP_SENSES
    run->scale = bc_scaling_of(cue);
#endif
    waits_by[cue] = BC_FREE;
    bc_run_enter((uint8_t)(run - bc_runs), bc_player_time() - BC_FRAME, 0);
    bc_lead_began((uint8_t)(run - bc_runs));
    return true;
}

void bc_runs_start_strands(void) {
    uint8_t cues = bc_header(BC_AT_CUES);
    uint8_t cue;
    for (cue = 0; cue < cues; cue++) {
        struct bc_demand demand = bc_demand_of(cue);
        if (demand.is_strand) {
            struct bc_run *run = own(cue, demand.outputs);
            run->held_by = BC_NO_BUTTON;
            run->kind = BC_FOR_EVER;
#if BC_CHIP_SENSES
            run->scale = BC_SCALE_FULL;
#endif
            bc_run_enter((uint8_t)(run - bc_runs), bc_player_time() - BC_FRAME, 0);
        }
    }
}

/* Whether a run owns one of these outputs; strands do not count. */
static bool conflicts(bc_outputs outputs) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if ((bc_runs[n].owned & outputs) != 0 && !bc_run_is_strand(n)) {
            return true;
        }
    }
    return false;
}

bool bc_cue_start(uint8_t cue, uint8_t button) {
    struct bc_demand demand = bc_demand_of(cue);
    if (demand.conflict != BC_CONFLICT_TAKE && conflicts(demand.outputs)) {
        if (demand.conflict == BC_CONFLICT_REFUSE) {
            return false;
        }
        waits_by[cue] = button;
        return true;
    }
    return take_over(cue, &demand, button);
}

void bc_runs_start_waiting(void) {
    uint8_t cue;
    for (cue = 0; cue < BC_CUES; cue++) {
        if (waits_by[cue] != BC_FREE) {
            struct bc_demand demand = bc_demand_of(cue);
            if (!conflicts(demand.outputs)) {
                take_over(cue, &demand, waits_by[cue]);
            }
        }
    }
}

/* -- letting go ----------------------------------------------------------------------------- */

/* The part for letting go goes on in a cue's place, from wherever everything is. */
static void let_go(uint8_t number, uint32_t time) {
    struct bc_run *run = &bc_runs[number];
    bc_threads_end(number);
    run->cue++;
    run->kind = BC_ONCE;
    bc_make_steady((uint16_t)(bc_demand_of(run->cue).outputs & run->owned));
    bc_run_enter(number, time, 0);
}

void bc_run_let_go(uint8_t run, uint32_t time) { let_go(run, time); }

void bc_run_release(uint8_t run) {
    bool has_part = bc_cue_lets_go(bc_runs[run].cue);
    bc_runs[run].held_by = BC_NO_BUTTON;
    bc_lead_released(run, has_part);
    if (has_part) {
        let_go(run, bc_player_time() - BC_FRAME);
    }
}

void bc_button_is_down(uint8_t button) { bc_bit_put(down, button, true); }

void bc_button_is_up(uint8_t button) {
    uint8_t n;
    bc_bit_put(down, button, false);
    for (n = 0; n < BC_CUES; n++) {
        if (waits_by[n] == button && bc_cue_lets_go(n)) {
            waits_by[n] = BC_FREE;
        }
    }
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_runs[n].cue != BC_FREE && bc_runs[n].held_by == button) {
            bc_run_release(n);
        }
    }
}

#if BC_CHIP_SENSES
bool bc_cue_is_on(uint8_t cue, uint8_t by, bool ends) {
    bool is_on = false;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_runs[n].cue == cue && bc_runs[n].held_by == by) {
            is_on = true;
            if (ends) {
                bc_run_part_with(n);
            } else {
                bc_run_release(n);
            }
        }
    }
    if (!is_on && waits_by[cue] == by) {
        is_on = true;
        waits_by[cue] = BC_FREE;
    }
    return is_on;
}
#endif

/* Give the outputs of a run that ends back to the strands that use them. */
static void give_back(const struct bc_run *run, uint32_t time) {
    uint8_t n;
#if BC_CHIP_SENSES
    bc_outputs left = run->owned & bc_tracking_outputs(); /* which no strand uses */
#endif
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_run_is_strand(n)) {
            bc_outputs back = run->owned & bc_demand_of(bc_runs[n].cue).outputs;
            bc_runs[n].owned |= back;
            if (!bc_run_is_silent(n)) {
                bc_idle_takes_back((uint16_t)back, time);
            }
#if BC_CHIP_SENSES
            left &= (bc_outputs)~back;
#endif
        }
    }
#if BC_CHIP_SENSES
    bc_idle_takes_back((uint16_t)left, time);
#endif
}

#if BC_CHIP_SENSES
void bc_runs_source_is_lost(uint8_t output) {
    uint16_t bit = (uint16_t)(1u << output);
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_run_is_silent(n) && (bc_runs[n].owned & bit) != 0) {
            return; /* it lands in its own time */
        }
    }
    bc_idle_takes_back(bit, bc_player_time() - BC_FRAME);
}
#endif

void bc_run_part_with(uint8_t run) {
    give_back(&bc_runs[run], bc_player_time() - BC_FRAME);
    end_run(run);
}

void bc_run_comes_to_end(uint8_t run, uint32_t time) {
    uint32_t least = bc_player_time() - BC_FRAME;
    give_back(&bc_runs[run], bc_before(time, least) ? least : time);
    if (bc_runs_followed & bit_of(run)) {
        bc_runs[run].owned = 0;
        bc_run_be_silent(run, false);
    } else {
        bc_runs[run].kind = BC_ENDED_BY_ITSELF;
        end_run(run);
    }
}

#if BC_CHIP_JOINS
void bc_run_lands(uint8_t run) {
    uint16_t owned = (uint16_t)bc_runs[run].owned;
    uint32_t time = bc_player_time() - BC_FRAME;
    bc_run_be_silent(run, false);
    if (is_strand(&bc_runs[run])) {
        bc_idle_takes_back(owned, time);
    } else {
        bc_joined_lands(owned, time);
    }
}
#endif

void bc_runs_let_starts_grow_old(void) {
    uint32_t recent = bc_player_time() - 2 * BC_FRAME;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (!bc_run_is_silent(n) && bc_before(bc_runs[n].started, recent)) {
            bc_runs[n].started = recent;
        }
    }
}

#if BC_CHIP_SENSES
uint16_t bc_runs_taken(void) {
    bc_outputs taken = 0;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (!bc_run_is_strand(n)) {
            taken |= bc_runs[n].owned;
        }
    }
    return (uint16_t)taken;
}
#endif

/* -- state ---------------------------------------------------------------------------------- */

uint8_t bc_runs_live(void) {
    uint8_t live = 0;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_runs[n].cue != BC_FREE) {
            live++;
        }
    }
    return live;
}

void bc_runs_cues(uint8_t cues[BC_CUE_SET]) {
    uint8_t n;
    memset(cues, 0, BC_CUE_SET);
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_runs[n].cue != BC_FREE) {
            bc_bit_put(cues, bc_runs[n].cue, true);
        }
    }
}
