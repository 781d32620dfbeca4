#include "bc_runs.h"

#include <string.h>

#include "bc_bits.h"
#include "bc_idle.h"
#include "bc_lead.h"
#include "bc_link.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_player.h"
#include "bc_run_state.h"
#include "bc_servo.h"
#include "bc_table.h"

#define FOREVER 0
#define WHILE_HELD 0xFFFFu

struct loop {
    uint16_t start;
    uint16_t left; /* passes, as in the table */
};

struct thread {
    uint32_t time;
    uint16_t at;   /* next op */
    uint8_t run;   /* BC_FREE: this place is free */
    uint8_t depth; /* loops that are open */
    struct loop loops[BC_LOOP_DEPTH];
    uint8_t calls;                   /* that are open */
    uint16_t returns[BC_CALL_DEPTH]; /* where the thread goes on after each */
    uint16_t left;                   /* of a long wait that has begun, in s; 0: none has */
    uint16_t rounds;                 /* loop ends so far: draws go by it */
};

struct bc_run bc_runs[BC_RUNS];
#if BC_CHIP_FOLLOWS
uint8_t bc_runs_followed;
#endif
#if BC_CHIP_JOINS
uint8_t bc_runs_silent;
#endif

static struct thread threads[BC_THREADS];
BC_ASSERT(no_run_is_none, (int)BC_RUNS <= (int)BC_NO_RUN);

static uint8_t waits_by[BC_CUES]; /* the button by which a cue waits; BC_FREE: it does not wait */
static uint8_t down[BC_BUTTONS / 8 + 1]; /* buttons, a bit each */
static uint16_t refused;
static uint16_t overruns;

void bc_count(uint16_t *counter) {
    if (*counter != 0xFFFF) {
        (*counter)++;
    }
}

void bc_count_refused(void) { bc_count(&refused); }

uint16_t bc_refused(void) { return refused; }

uint16_t bc_overruns(void) { return overruns; }

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

/* End what a run still does; its motions go on and belong to no run. */
static void end_threads(uint8_t run) {
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        if (threads[n].run == run) {
            threads[n].run = BC_FREE;
        }
    }
    bc_servos_disown(run);
}

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
static bool is_silent(uint8_t run) {
    return bc_runs_silent != 0 && (bc_runs_silent & bit_of(run)) != 0;
}

static void end_run(uint8_t run) {
    end_threads(run);
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
    for (n = 0; n < BC_THREADS; n++) {
        threads[n].run = BC_FREE;
    }
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
    overruns = 0;
}

/* -- starting ------------------------------------------------------------------------------- */

/* Start the lowest free thread; the reservations of runs see to it that there is one. */
static void spawn(uint8_t run, uint16_t at, uint32_t time, uint16_t rounds) {
    struct thread *thread = threads;
    while (thread->run != BC_FREE) {
        thread++;
    }
    thread->run = run;
    thread->time = time;
    thread->at = at;
    thread->depth = 0;
    thread->calls = 0;
    thread->left = 0;
    thread->rounds = rounds;
}

/* Let a run begin at a time, for the first time or over. */
static void begin(uint8_t run, uint32_t time, uint16_t rounds) {
    bc_runs[run].started = time;
    seek_cue(bc_runs[run].cue, BC_CUE_OFFSET);
    spawn(run, bc_next_u16(), time, rounds);
}

void bc_run_begin(uint8_t run, uint32_t time) {
    end_threads(run);
    begin(run, time, 0);
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
    waits_by[cue] = BC_FREE;
    begin((uint8_t)(run - bc_runs), bc_player_time() - BC_FRAME, 0);
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
            begin((uint8_t)(run - bc_runs), bc_player_time() - BC_FRAME, 0);
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
    end_threads(number);
    run->cue++;
    run->kind = BC_ONCE;
    bc_make_steady((uint16_t)(bc_demand_of(run->cue).outputs & run->owned));
    begin(number, time, 0);
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

/* -- executing ------------------------------------------------------------------------------ */

uint8_t bc_run_threads(uint8_t run) {
    uint8_t alive = 0;
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        if (threads[n].run == run) {
            alive++;
        }
    }
    return alive;
}

static void wait(struct thread *thread, uint16_t ms) { thread->time += (uint32_t)ms * BC_MS; }

/* The op at `at`: in pieces, as a time so far ahead could not be told from one that is over. */
static void long_wait(struct thread *thread, uint16_t at, uint16_t seconds) {
    enum { PIECE = BC_DURATION_MAX / BC_LONG_WAIT_STEP_MS };
    uint16_t piece;
    if (thread->left == 0) {
        thread->left = seconds;
    }
    piece = thread->left;
    if (piece > PIECE) {
        piece = PIECE;
        thread->at = at; /* it is tried again */
    }
    thread->left = (uint16_t)(thread->left - piece);
    wait(thread, (uint16_t)(piece * BC_LONG_WAIT_STEP_MS));
}

static void loop_start(struct thread *thread, uint16_t passes) {
    struct loop *loop = &thread->loops[thread->depth];
    loop->start = thread->at;
    loop->left = passes;
    thread->depth++;
}

/* Back to the start of the innermost loop, or out of it. */
static void loop_end(struct thread *thread) {
    struct loop *loop = &thread->loops[thread->depth - 1];
    bool back = true;
    thread->rounds++;
    if (loop->left == WHILE_HELD) {
        back = bc_runs[thread->run].held_by != BC_NO_BUTTON;
    } else if (loop->left != FOREVER) {
        loop->left--;
        back = loop->left != 0;
    }
    if (back) {
        thread->at = loop->start;
    } else {
        thread->depth--;
    }
}

/* Give the outputs of a run that ends back to the strands that use them. */
static void give_back(const struct bc_run *run, uint32_t time) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_run_is_strand(n)) {
            bc_outputs back = run->owned & bc_demand_of(bc_runs[n].cue).outputs;
            bc_runs[n].owned |= back;
            if (!is_silent(n)) {
                bc_idle_takes_back((uint16_t)back, time);
            }
        }
    }
}

void bc_run_part_with(uint8_t run) {
    give_back(&bc_runs[run], bc_player_time() - BC_FRAME);
    end_run(run);
}

/* A run ends by itself. What another board has as well stays until that one lacks it. */
static void come_to_end(uint8_t run, uint32_t time) {
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

/*
 * A run's threads end in the order of their times, so the last to end says when the run does. That
 * one waits for the run's motions.
 */
static void thread_end(struct thread *thread, uint16_t at) {
    uint8_t n = thread->run;
    struct bc_run *run = &bc_runs[n];
    uint32_t time = thread->time;
    uint32_t earliest = run->started + BC_FRAME;
    uint32_t left = bc_run_threads(n) == 1 ? bc_servos_left(n, time) : 0;
    if (left > 0) {
        thread->at = at;
        thread->time += left;
        return;
    }
    thread->run = BC_FREE;
    if (bc_run_threads(n) > 0) {
        return;
    }
    if (run->kind == BC_FOR_EVER || (run->kind == BC_AGAIN && run->held_by != BC_NO_BUTTON)) {
        begin(n, bc_before(time, earliest) ? earliest : time, (uint16_t)(thread->rounds + 1));
    } else if (!bc_cue_lets_go(run->cue)) {
        come_to_end(n, time);
    } else if (run->held_by == BC_NO_BUTTON) {
        let_go(n, time);
    }
}

/* How far beyond the least of a range a draw is. */
static uint16_t drawn(uint16_t range, uint8_t key, uint16_t rounds) {
    uint16_t own = (uint16_t)(key * BC_SEED_NOISE);
    uint16_t share = bc_mixed(own ^ (uint16_t)(rounds * BC_BEAT_NOISE));
    share = bc_mixed((uint16_t)(share + own));
    return (uint16_t)(((uint32_t)range * share + share) >> 16);
}

/* Put what is drawn in the place of the least. */
static void draw(struct bc_step *op, uint16_t rounds) {
    if (op->time_key != 0) {
        op->operand = (uint16_t)(op->operand +
                                 drawn((uint16_t)(op->most - op->operand), op->time_key, rounds));
    }
    if (op->target_key != 0) {
        uint16_t range = (uint16_t)((uint16_t)op->most_target - (uint16_t)op->target);
        op->target = (int16_t)((uint16_t)op->target + drawn(range, op->target_key, rounds));
    }
}

/* Whether the output of an act belongs to a cue that is carried forward in silence. */
static bool is_caught_up_on(const struct bc_step *op) {
    uint8_t n;
    for (n = 0; n < BC_RUNS && bc_runs_silent != 0; n++) {
        if (is_silent(n) && !is_strand(&bc_runs[n]) && (bc_runs[n].owned >> op->number & 1)) {
            return true;
        }
    }
    return false;
}

/* What should have been done before the last frame is done from then on, in what is left of its
 * time. */
static uint32_t begin_of(struct bc_step *op, uint32_t time) {
    uint32_t last = bc_player_time() - BC_FRAME;
    uint32_t late;
    if (!BC_CHIP_FOLLOWS || !bc_before(time, last)) {
        return time;
    }
    late = (last - time) / BC_MS;
    if (op->code != BC_OP_EFFECT) {
        op->operand = late < op->operand ? (uint16_t)(op->operand - late) : 0;
    }
    return last;
}

/* An act or an effect; false if its servo is busy, for which the thread has a new time. */
static bool act(struct thread *thread, struct bc_step *op) {
    const struct bc_run *run = &bc_runs[thread->run];
    bool is_owned = (uint16_t)run->owned >> op->number & 1;
    uint8_t mover = thread->run; /* the motion belongs to it */
    uint16_t rest;
    uint32_t start;
    if (run->kind == BC_FOR_EVER ? !is_caught_up_on(op) : is_owned && is_silent(thread->run)) {
        bc_idle_remembers(op);
    }
    if (!is_owned || is_silent(thread->run)) {
        return true; /* the run has lost that output, or is behind the others */
    }
    start = begin_of(op, thread->time);
    rest = bc_idle_glide_left(op, start);
    if (rest > op->operand) {
        op->operand = rest;
        bc_perform(op, BC_NO_RUN, start);
        return true;
    }
    if (run->kind == BC_FOR_EVER && bc_header(BC_AT_ROLE) != BC_ROLE_ALONE) {
        mover = BC_NO_RUN; /* strands stay in step with those of other boards */
    } else if (op->output.kind == BC_SERVO) {
        uint32_t left = bc_servo_left(op->output.index, mover, thread->time);
        if (left > 0) {
            thread->time += left;
            return false;
        }
    }
    bc_perform(op, mover, start);
    return true;
}

/* Carry out the thread that starts at an offset; then go on at `back`. */
static void call(struct thread *thread, uint16_t offset, uint16_t back) {
    thread->returns[thread->calls] = back;
    thread->calls++;
    thread->at = offset;
}

/* Of the calls behind a choice, the one with this number. */
static void choose(struct thread *thread, uint16_t number, uint16_t last) {
    uint16_t first = thread->at;
    bc_table_seek((uint16_t)(first + BC_CALL_SIZE * number + 1));
    call(thread, bc_next_u16(), (uint16_t)(first + BC_CALL_SIZE * (last + 1)));
}

/* Execute the thread's next op; or let it stand, with a new time at which to try again. */
static void step(struct thread *thread) {
    uint16_t at = thread->at;
    uint16_t operand;
    struct bc_step op;
    bc_table_seek(at);
    bc_op_read(&op);
    thread->at = bc_table_tell();
    draw(&op, thread->rounds);
    operand = op.operand;
    switch (op.code) {
    case BC_OP_WAIT:
        wait(thread, op.operand);
        break;
    case BC_OP_LOOP:
        loop_start(thread, op.operand);
        break;
    case BC_OP_LOOP_END:
        loop_end(thread);
        break;
    case BC_OP_FORK:
        if (bc_run_threads(thread->run) < bc_demand_of(bc_runs[thread->run].cue).threads) {
            spawn(thread->run, op.operand, thread->time, thread->rounds);
        } else {
            thread->at = at;
            thread->time += BC_FRAME;
        }
        break;
    case BC_OP_GO_ON:
        thread->at = op.operand;
        break;
    case BC_OP_LONG_WAIT:
        long_wait(thread, at, op.operand);
        break;
    case BC_OP_CHOOSE:
        choose(thread, op.operand, op.most);
        break;
    case BC_OP_END:
        if (thread->calls > 0) {
            thread->calls--;
            thread->at = thread->returns[thread->calls];
        } else {
            thread_end(thread, at);
        }
        break;
    default:
        if (op.code >= BC_OP_CALL) { /* a wait has its own code */
            call(thread, op.operand, thread->at);
        } else if (!act(thread, &op)) {
            thread->at = at;
        } else if (op.code < BC_OP_END && (op.code & BC_ACT_WAIT)) {
            wait(thread, operand);
        }
        break;
    }
}

static bool is_due(const struct thread *thread) {
    return thread->run != BC_FREE && !bc_before(bc_player_time(), thread->time);
}

/* Of runs that are silent or are not: the thread with the earliest time up to now, the lowest of
 * several; null if none is due. */
static struct thread *next_due(bool silent) {
    struct thread *first = 0;
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        struct thread *thread = &threads[n];
        if (is_due(thread) && is_silent(thread->run) == silent &&
            (first == 0 || bc_before(thread->time, first->time))) {
            first = thread;
        }
    }
    return first;
}

/*
 * Whatever (re)started before the last frame has lasted long enough to start over: by then the
 * moment no longer matters, and time must not come round to it.
 */
static void let_starts_grow_old(void) {
    uint32_t recent = bc_player_time() - 2 * BC_FRAME;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (!is_silent(n) && bc_before(bc_runs[n].started, recent)) {
            bc_runs[n].started = recent;
        }
    }
}

/* All that is still due becomes due now. */
static void catch_up(void) {
    uint8_t n;
    bc_count(&overruns);
    for (n = 0; n < BC_THREADS; n++) {
        if (is_due(&threads[n]) && !is_silent(threads[n].run)) {
            threads[n].time = bc_player_time();
        }
    }
}

static bool has_due_thread(uint8_t run) {
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        if (threads[n].run == run && is_due(&threads[n])) {
            return true;
        }
    }
    return false;
}

/* What was carried forward has come to now: its outputs glide to where they should be. */
static void land(uint8_t run) {
    uint16_t owned = (uint16_t)bc_runs[run].owned;
    bc_run_be_silent(run, false);
    bc_idle_takes_back(owned, bc_player_time() - BC_FRAME);
    if (!is_strand(&bc_runs[run])) {
        bc_idle_forgets(owned);
    }
}

static void carry_forward(void) {
    uint8_t left;
    uint8_t n;
    for (left = BC_SILENT_OPS; left > 0; left--) {
        struct thread *thread = next_due(true);
        if (thread == 0) {
            break;
        }
        step(thread);
        bc_listen();
    }
    for (n = 0; n < BC_RUNS; n++) {
        if (is_silent(n) && !has_due_thread(n)) {
            land(n);
        }
    }
}

void bc_runs_play(void) {
    uint16_t ops = 0;
    struct thread *thread;
    let_starts_grow_old();
    if (bc_runs_silent != 0) {
        carry_forward();
    }
    while ((thread = next_due(false)) != 0) {
        if (ops == BC_OPS_PER_FRAME) {
            catch_up();
            return;
        }
        step(thread);
        bc_listen();
        ops++;
    }
}

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
