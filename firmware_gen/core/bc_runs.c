#include "bc_runs.h"

#include <string.h>

#include "bc_bits.h"
#include "bc_idle.h"
#include "bc_link.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_player.h"
#include "bc_servo.h"
#include "bc_table.h"

#define FOREVER 0
#define WHILE_HELD 0xFFFFu

enum { NONE = 0xFF };

/* How a run goes on when it has come to its end. */
enum run_kind {
    ONCE,
    AGAIN, /* it starts over while it is held */
    STRAND /* of idle: it always starts over */
};

/* A cue that plays. */
struct run {
    uint32_t started; /* the last time it (re)started; moved along once it no longer matters */
    uint16_t owned;   /* mask of outputs */
    uint8_t cue;      /* index in the table; NONE: this place is free */
    uint8_t held_by;  /* the button that holds it; BC_NO_BUTTON: it is not held */
    uint8_t kind;     /* enum run_kind */
};

struct loop {
    uint16_t start;
    uint16_t left; /* passes, as in the table */
};

struct thread {
    uint32_t time;
    uint16_t at;   /* next op */
    uint8_t run;   /* NONE: this place is free */
    uint8_t depth; /* loops that are open */
    struct loop loops[BC_LOOP_DEPTH];
    uint8_t calls;                   /* that are open */
    uint16_t returns[BC_CALL_DEPTH]; /* where the thread goes on after each */
    uint16_t left;                   /* of a long wait that has begun, in s; 0: none has */
    uint16_t rounds;                 /* loop ends so far: draws go by it */
};

static struct run runs[BC_RUNS];
static struct thread threads[BC_THREADS];
BC_ASSERT(no_run_is_none, (int)BC_RUNS <= (int)BC_NO_RUN);

static uint8_t waits_by[BC_CUES]; /* the button by which a cue waits; NONE: it does not wait */
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

/* What a start needs to know of a cue's record. */
struct demand {
    uint16_t outputs; /* mask */
    uint8_t conflict; /* enum bc_conflict */
    uint8_t threads;
    bool is_strand;
};

/* Put the cursor to a place in the record of a cue. */
static void seek_cue(uint8_t cue, uint8_t place) {
    bc_table_seek((uint16_t)(bc_table_cue(cue) + place));
}

static struct demand demand_of(uint8_t cue) {
    struct demand demand;
    uint8_t flags;
    seek_cue(cue, BC_CUE_OUTPUTS);
    demand.outputs = bc_next_u16();
    flags = bc_next_u8();
    demand.conflict = flags & BC_CONFLICT;
    demand.threads = flags >> 4;
    demand.is_strand = (flags & BC_STRAND) != 0;
    return demand;
}

/* Whether the cue behind it is its part for letting go. */
static bool lets_go(uint8_t cue) {
    seek_cue(cue, BC_CUE_FLAGS);
    return (bc_next_u8() & BC_LETS_GO) != 0;
}

/* Whether the first binding of a button to a cue lets the cue start over while it is held. */
static bool starts_again(uint8_t cue, uint8_t button) {
    uint8_t left;
    for (left = bc_table_bindings(); left > 0; left--) {
        uint8_t by = bc_next_u8();
        if (bc_next_u8() == cue && (by & (uint8_t)~BC_FLAG) == button) {
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
            threads[n].run = NONE;
        }
    }
    bc_servos_disown(run);
}

static void end_run(uint8_t run) {
    end_threads(run);
    runs[run].cue = NONE;
    runs[run].owned = 0;
}

void bc_runs_end(void) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        runs[n].cue = NONE;
        runs[n].owned = 0;
    }
    for (n = 0; n < BC_THREADS; n++) {
        threads[n].run = NONE;
    }
    memset(waits_by, NONE, sizeof waits_by);
    bc_idle_clear();
}

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
    while (thread->run != NONE) {
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
    runs[run].started = time;
    seek_cue(runs[run].cue, BC_CUE_OFFSET);
    spawn(run, bc_next_u16(), time, rounds);
}

static bool is_strand(const struct run *run) { return run->cue != NONE && run->kind == STRAND; }

/* Whether a start that takes these outputs ends a run: it loses its last. Strands go on. */
static bool gives_way(const struct run *run, uint16_t outputs) {
    return !is_strand(run) && run->owned != 0 && (run->owned & ~outputs) == 0;
}

static bool has_room(const struct demand *demand) {
    uint8_t wanted = demand->threads;
    bool is_free = false;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (runs[n].cue == NONE || gives_way(&runs[n], demand->outputs)) {
            is_free = true;
        } else {
            wanted = (uint8_t)(wanted + demand_of(runs[n].cue).threads);
        }
    }
    return is_free && wanted <= BC_THREADS;
}

/* Take the outputs from all runs, end those that give way; the lowest run that is free then. */
static uint8_t make_room(uint16_t outputs) {
    uint8_t lowest = NONE;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (gives_way(&runs[n], outputs)) {
            end_run(n);
        }
        runs[n].owned &= (uint16_t)~outputs;
        if (runs[n].cue == NONE && lowest == NONE) {
            lowest = n;
        }
    }
    return lowest;
}

/* The lowest run that is free then owns the outputs of a cue. */
static struct run *own(uint8_t cue, uint16_t outputs) {
    struct run *run = &runs[make_room(outputs)];
    bc_make_steady(outputs);
    run->cue = cue;
    run->owned = outputs;
    return run;
}

/* Take over the cue's outputs and begin; false if there is no room. */
static bool take_over(uint8_t cue, const struct demand *demand, uint8_t button) {
    struct run *run;
    if (!has_room(demand)) {
        return false;
    }
    bc_idle_is_held_off(demand->outputs);
    run = own(cue, demand->outputs);
    run->held_by = bc_bit_is_set(down, button) ? button : BC_NO_BUTTON;
    run->kind = starts_again(cue, button) ? AGAIN : ONCE;
    waits_by[cue] = NONE;
    begin((uint8_t)(run - runs), bc_player_time() - BC_FRAME, 0);
    return true;
}

void bc_runs_start_strands(void) {
    uint8_t cues = bc_header(BC_AT_CUES);
    uint8_t cue;
    for (cue = 0; cue < cues; cue++) {
        struct demand demand = demand_of(cue);
        if (demand.is_strand) {
            struct run *run = own(cue, demand.outputs);
            run->held_by = BC_NO_BUTTON;
            run->kind = STRAND;
            begin((uint8_t)(run - runs), bc_player_time() - BC_FRAME, 0);
        }
    }
}

/* Whether a run owns one of these outputs; strands do not count. */
static bool conflicts(uint16_t outputs) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if ((runs[n].owned & outputs) != 0 && !is_strand(&runs[n])) {
            return true;
        }
    }
    return false;
}

bool bc_cue_start(uint8_t cue, uint8_t button) {
    struct demand demand = demand_of(cue);
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
        if (waits_by[cue] != NONE) {
            struct demand demand = demand_of(cue);
            if (!conflicts(demand.outputs)) {
                take_over(cue, &demand, waits_by[cue]);
            }
        }
    }
}

/* -- letting go ----------------------------------------------------------------------------- */

/* The part for letting go goes on in a cue's place, from wherever everything is. */
static void let_go(uint8_t number, uint32_t time) {
    struct run *run = &runs[number];
    end_threads(number);
    run->cue++;
    run->kind = ONCE;
    bc_make_steady(demand_of(run->cue).outputs & run->owned);
    begin(number, time, 0);
}

void bc_button_is_down(uint8_t button) { bc_bit_put(down, button, true); }

void bc_button_is_up(uint8_t button) {
    uint8_t n;
    bc_bit_put(down, button, false);
    for (n = 0; n < BC_CUES; n++) {
        if (waits_by[n] == button && lets_go(n)) {
            waits_by[n] = NONE;
        }
    }
    for (n = 0; n < BC_RUNS; n++) {
        if (runs[n].held_by == button) {
            runs[n].held_by = BC_NO_BUTTON;
            if (runs[n].cue != NONE && lets_go(runs[n].cue)) {
                let_go(n, bc_player_time() - BC_FRAME);
            }
        }
    }
}

/* -- executing ------------------------------------------------------------------------------ */

static uint8_t threads_alive(uint8_t run) {
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
        back = runs[thread->run].held_by != BC_NO_BUTTON;
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
static void give_back(const struct run *run, uint32_t time) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (is_strand(&runs[n])) {
            uint16_t back = run->owned & demand_of(runs[n].cue).outputs;
            runs[n].owned |= back;
            bc_idle_takes_back(back, time);
        }
    }
}

/*
 * A run's threads end in the order of their times, so the last to end says when the run does. That
 * one waits for the run's motions.
 */
static void thread_end(struct thread *thread, uint16_t at) {
    uint8_t n = thread->run;
    struct run *run = &runs[n];
    uint32_t time = thread->time;
    uint32_t earliest = run->started + BC_FRAME;
    uint32_t left = threads_alive(n) == 1 ? bc_servos_left(n, time) : 0;
    if (left > 0) {
        thread->at = at;
        thread->time += left;
        return;
    }
    thread->run = NONE;
    if (threads_alive(n) > 0) {
        return;
    }
    if (run->kind == STRAND || (run->kind == AGAIN && run->held_by != BC_NO_BUTTON)) {
        begin(n, bc_before(time, earliest) ? earliest : time, (uint16_t)(thread->rounds + 1));
    } else if (!lets_go(run->cue)) {
        give_back(run, time);
        end_run(n);
    } else if (run->held_by == BC_NO_BUTTON) {
        let_go(n, time);
    }
}

/* How far beyond the least of a range a draw is. */
static uint16_t drawn(uint16_t range, uint8_t key, uint16_t rounds) {
    uint16_t share = bc_mixed((uint16_t)(key * BC_SEED_NOISE) ^ (uint16_t)(rounds * BC_BEAT_NOISE));
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

/* An act or an effect; false if its servo is busy, for which the thread has a new time. */
static bool act(struct thread *thread, struct bc_step *op) {
    const struct run *run = &runs[thread->run];
    uint16_t rest;
    uint32_t left = 0;
    if (run->kind == STRAND) {
        bc_idle_remembers(op);
    }
    if (!((uint16_t)(run->owned >> op->number) & 1)) {
        return true; /* the run has lost that output */
    }
    rest = bc_idle_glide_left(op, thread->time);
    if (rest > op->operand) {
        uint16_t duration = op->operand;
        op->operand = rest;
        bc_perform(op, BC_NO_RUN, thread->time);
        op->operand = duration; /* for which the thread may wait */
        return true;
    }
    if (op->output.kind == BC_SERVO) {
        left = bc_servo_left(op->output.index, thread->run, thread->time);
    }
    if (left > 0) {
        thread->time += left;
        return false;
    }
    bc_perform(op, thread->run, thread->time);
    return true;
}

/* Execute the thread's next op; or let it stand, with a new time at which to try again. */
static void step(struct thread *thread) {
    uint16_t at = thread->at;
    struct bc_step op;
    bc_table_seek(at);
    bc_op_read(&op);
    thread->at = bc_table_tell();
    draw(&op, thread->rounds);
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
        if (threads_alive(thread->run) < demand_of(runs[thread->run].cue).threads) {
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
            thread->returns[thread->calls] = thread->at;
            thread->calls++;
            thread->at = op.operand;
        } else if (!act(thread, &op)) {
            thread->at = at;
        } else if (op.code < BC_OP_END && (op.code & BC_ACT_WAIT)) {
            wait(thread, op.operand);
        }
        break;
    }
}

static bool is_due(const struct thread *thread) {
    return thread->run != NONE && !bc_before(bc_player_time(), thread->time);
}

/* The thread with the earliest time up to now, the lowest of several; null if none is due. */
static struct thread *next_due(void) {
    struct thread *first = 0;
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        struct thread *thread = &threads[n];
        if (is_due(thread) && (first == 0 || bc_before(thread->time, first->time))) {
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
        if (bc_before(runs[n].started, recent)) {
            runs[n].started = recent;
        }
    }
}

/* All that is still due becomes due now. */
static void catch_up(void) {
    uint8_t n;
    bc_count(&overruns);
    for (n = 0; n < BC_THREADS; n++) {
        if (is_due(&threads[n])) {
            threads[n].time = bc_player_time();
        }
    }
}

void bc_runs_play(void) {
    uint16_t ops = 0;
    struct thread *thread;
    let_starts_grow_old();
    while ((thread = next_due()) != 0) {
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
        if (runs[n].cue != NONE) {
            live++;
        }
    }
    return live;
}

void bc_runs_cues(uint8_t cues[BC_CUE_SET]) {
    uint8_t n;
    memset(cues, 0, BC_CUE_SET);
    for (n = 0; n < BC_RUNS; n++) {
        if (runs[n].cue != NONE) {
            bc_bit_put(cues, runs[n].cue, true);
        }
    }
}
