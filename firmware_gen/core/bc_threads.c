#include "bc_threads.h"

#include "bc_idle.h"
#include "bc_link.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_player.h"
#include "bc_run_state.h"
#include "bc_runs.h"
#include "bc_scaling.h"
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

static struct thread threads[BC_THREADS];
static uint16_t overruns;

uint16_t bc_overruns(void) { return overruns; }

void bc_overruns_clear(void) { overruns = 0; }

void bc_threads_clear(void) {
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        threads[n].run = BC_FREE;
    }
}

/* -- starting and ending -------------------------------------------------------------------- */

void bc_thread_spawn(uint8_t run, uint16_t at, uint32_t time, uint16_t rounds) {
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

void bc_threads_end(uint8_t run) {
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        if (threads[n].run == run) {
            threads[n].run = BC_FREE;
        }
    }
    bc_servos_disown(run);
}

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
        bc_run_enter(n, bc_before(time, earliest) ? earliest : time,
                     (uint16_t)(thread->rounds + 1));
    } else if (!bc_cue_lets_go(run->cue)) {
        bc_run_comes_to_end(n, time);
    } else if (run->held_by == BC_NO_BUTTON) {
        bc_run_let_go(n, time);
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
#if BC_CHIP_SENSES
    bc_scaling_apply(op, run->scale);
#endif
    if (run->kind == BC_FOR_EVER) {
        bc_idle_remembers(op);
    }
#if BC_CHIP_JOINS
    else if (is_owned && bc_run_is_silent(thread->run)) {
        bc_joined_remembers(op);
    }
#endif
    if (!is_owned || bc_run_is_silent(thread->run)) {
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
            bc_thread_spawn(thread->run, op.operand, thread->time, thread->rounds);
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
        if (is_due(thread) && bc_run_is_silent(thread->run) == silent &&
            (first == 0 || bc_before(thread->time, first->time))) {
            first = thread;
        }
    }
    return first;
}

/* All that is still due becomes due now. */
static void catch_up(void) {
    uint8_t n;
    bc_count(&overruns);
    for (n = 0; n < BC_THREADS; n++) {
        if (is_due(&threads[n]) && !bc_run_is_silent(threads[n].run)) {
            threads[n].time = bc_player_time();
        }
    }
}

#if BC_CHIP_JOINS
static bool has_due_thread(uint8_t run) {
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        if (threads[n].run == run && is_due(&threads[n])) {
            return true;
        }
    }
    return false;
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
        if (bc_run_is_silent(n) && !has_due_thread(n)) {
            bc_run_lands(n);
        }
    }
}
#endif

void bc_threads_play(void) {
    uint16_t ops = 0;
    struct thread *thread;
    bc_runs_let_starts_grow_old();
#if BC_CHIP_JOINS
    if (bc_runs_silent != 0) {
        carry_forward();
    }
#endif
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
