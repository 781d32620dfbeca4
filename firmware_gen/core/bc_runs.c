#include "bc_runs.h"

#include "bc_bits.h"
#include "bc_compiler.h"
#include "bc_link.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_player.h"
#include "bc_servo.h"
#include "bc_table.h"

enum { FOREVER = 0, FRAME_MS = 20 };
static const uint16_t WHILE_HELD = 0xFFFF;

/* A cue that plays. */
struct run {
    uint16_t owned;   /* mask of outputs */
    uint16_t started; /* the last time it (re)started, without the higher bits; as `grow_old` leaves it */
    uint8_t cue;      /* index in the table, and ALIVE; 0: this place is free */
    uint8_t held;     /* by whose binding, as in the table (BC_FLAG: then it starts over); 0: it is not held */
};
enum { ALIVE = 0x80 };

struct loop {
    uint16_t start;
    uint16_t left; /* passes, as in the table */
};

struct thread {
    bc_u24 time;   /* without its highest byte, as it lies less than 2^16 ms ahead and less than 256 ms behind */
    uint16_t at;   /* next op */
    uint8_t state; /* number of the run, from 1 on, in the low half, 0: not alive; open loops in the high bits */
    struct loop loops[BC_LOOP_DEPTH];
};
enum { RUN = 0x0F, ONE_DEEPER = 0x40 };

/* Places of the marks below: each set has 32. There is no 32nd binding: it stands for none. */
enum { WAITING = 0, BY = 32, DOWN = 64, MARKS = 96, NO_BINDING = 31 };

/* Instead of the button by which a cue starts: it starts because it has been waiting. */
enum { WAITED = 0xFF };

static struct {
    struct run runs[BC_RUNS];
    struct thread threads[BC_THREADS];
    uint8_t marks[MARKS / 8]; /* cues that wait, the bindings by which they do or last did, buttons that are down */
    uint16_t refused;
    uint16_t overruns;
} now;
BC_ASSERT(run, sizeof(struct run) == 6);
BC_ASSERT(thread, sizeof(struct thread) <= 20);
BC_ASSERT(wait, (uint32_t)BC_DURATION_MAX * BC_MS <= (uint32_t)BC_FAR << 16);
BC_ASSERT(loop, sizeof(struct loop) * 0x10 == ONE_DEEPER);
BC_ASSERT(effect, ((int)BC_OP_EFFECT & (int)BC_ACT_WAIT) == 0);

BC_APART void bc_count(uint16_t *counter) {
    if (*counter != 0xFFFF) {
        (*counter)++;
    }
}

BC_APART void bc_count_refused(void) { bc_count(&now.refused); }

uint16_t bc_refused(void) { return now.refused; }

uint16_t bc_overruns(void) { return now.overruns; }

static BC_APART uint8_t mark(uint8_t place, uint8_t change) { return bc_bit(now.marks, place, change); }

/* -- records ------------------------------------------------------------------------------------ */

/* Put the cursor to a place in the record of a cue, with or without ALIVE. */
static BC_APART void seek_cue(uint8_t cue, uint8_t place) {
    bc_table_seek((uint16_t)(bc_table_cue(cue & (uint8_t)~ALIVE) + place));
}

static BC_APART uint8_t threads_of(const struct run *run) {
    seek_cue(run->cue, BC_CUE_FLAGS);
    return bc_next_u8() >> 4;
}

/*
 * The first binding of a button to a cue; or, for WAITED, the one by which the cue waits or last did: its first byte in the
 * table, and its index in the high one. 0 and NO_BINDING if there is none.
 */
static BC_APART uint16_t find_binding(uint8_t cue, uint8_t button) {
    uint8_t count = bc_table_bindings();
    uint8_t n;
    for (n = 0; n < count; n++) {
        uint8_t by = bc_next_u8();
        if (bc_next_u8() == cue) {
            uint8_t other = by ^ button;
            if (button == WAITED ? mark(BY + n, BC_BIT_KEEP) : !(other & (uint8_t)~BC_FLAG)) {
                return (uint16_t)((uint16_t)n << 8 | by);
            }
        }
    }
    return NO_BINDING << 8;
}

/* -- starting and ending ------------------------------------------------------------------------ */

/* Whether a thread is one of the run with this number; 0: whether it is not alive. */
static bool is_of(const struct thread *thread, uint8_t number) { return ((thread->state ^ number) & RUN) == 0; }

static BC_APART struct run *run_of(uint8_t number) { return &now.runs[(uint8_t)(number - 1)]; }

static BC_APART void end_run(uint8_t number) {
    struct run *run = run_of(number);
    struct thread *thread = now.threads;
    uint8_t n;
    run->cue = 0;
    run->owned = 0;
    for (n = BC_THREADS; n > 0; n--) {
        if (is_of(thread, number)) {
            thread->state = 0;
        }
        thread++;
        BC_REACH(thread);
    }
    bc_servos_disown(number);
}

BC_APART void bc_runs_end(void) { bc_clear(&now, sizeof now.runs + sizeof now.threads + DOWN / 8); }

void bc_runs_clear(void) { bc_clear(&now, sizeof now); }

/* Start the lowest thread that is not alive, without code; the reservations of runs see to it that there is one. */
static BC_APART struct thread *spawn(uint8_t number, bc_u24 time) {
    struct thread *thread = now.threads;
    while (!is_of(thread, 0)) {
        thread++;
    }
    thread->state = number;
    thread->time = time;
    return thread;
}

/* Let a run begin at a time, for the first time or over. */
static BC_APART void begin(uint8_t number, bc_u24 time) {
    struct thread *thread = spawn(number, time);
    struct run *run = run_of(number);
    run->started = (uint16_t)thread->time;
    seek_cue(run->cue, BC_CUE_OFFSET);
    thread->at = bc_next_u16();
}

static BC_APART uint8_t threads_alive(uint8_t number) {
    const struct thread *thread = now.threads;
    uint8_t alive = 0;
    uint8_t n;
    for (n = BC_THREADS; n > 0; n--) {
        if (is_of(thread, number)) {
            alive++;
        }
        thread++;
        BC_REACH(thread);
    }
    return alive;
}

/* End the runs of this mask (bit 7: the last); the others only keep these outputs. Returns the lowest run that is free then. */
static uint8_t make_room(uint16_t kept, uint8_t leaving) {
    uint8_t lowest = 0;
    uint8_t number;
    for (number = BC_RUNS; number > 0; number--) {
        if (leaving & 0x80) {
            end_run(number);
            lowest = number;
        }
        run_of(number)->owned &= kept;
        leaving = (uint8_t)(leaving << 1);
    }
    return lowest;
}

static void mark_binding(uint8_t cue, uint8_t button, uint8_t change) {
    mark((uint8_t)(BY + (find_binding(cue, button) >> 8)), change);
}

/* Let a cue wait, and no longer by another button. */
static void let_wait(uint8_t cue, uint8_t button) {
    mark_binding(cue, WAITED, BC_BIT_CLEAR);
    mark_binding(cue, button, BC_BIT_SET);
    mark(WAITING + cue, BC_BIT_SET);
}

BC_APART bool bc_cue_start(uint8_t cue, uint8_t button) {
    uint16_t outputs;
    uint8_t held;
    uint8_t rule;
    uint8_t wanted;      /* threads, also by the runs that stay */
    uint8_t leaving = 0; /* mask of the runs that the start ends, and of free ones; bit 7: the last */
    uint8_t number;
    struct run *run = now.runs;
    seek_cue(cue, BC_CUE_OUTPUTS);
    outputs = bc_next_u16();
    rule = bc_next_u8();
    wanted = rule >> 4;
    rule &= 3;
    for (number = BC_RUNS; number > 0; number--) {
        uint16_t owned = run->owned;
        uint16_t taken = owned & outputs;
        bool is_idle = run->cue == (bc_player_idle() | ALIVE);
        if (taken != 0 && rule != BC_CONFLICT_TAKE && (!is_idle || button == WAITED)) {
            if (rule == BC_CONFLICT_REFUSE) {
                return false;
            }
            if (button != WAITED) {
                let_wait(cue, button);
            }
            return true;
        }
        leaving >>= 1;
        if (run->cue == 0 || is_idle || (owned != 0 && owned == taken)) {
            leaving |= 0x80;
        } else {
            wanted = (uint8_t)(wanted + threads_of(run));
        }
        run++;
        BC_REACH(run);
    }
    if (leaving == 0 || wanted > BC_THREADS) {
        return false;
    }
    mark(WAITING + cue, BC_BIT_CLEAR);
    held = (uint8_t)find_binding(cue, button);
    if (!mark((uint8_t)(DOWN + (held & (uint8_t)~BC_FLAG)), BC_BIT_KEEP)) {
        held = 0;
    }
    bc_make_steady(outputs);
    number = make_room((uint16_t)~outputs, leaving);
    run = run_of(number);
    run->cue = cue | ALIVE;
    run->owned = outputs;
    run->held = held;
    begin(number, (bc_u24)(bc_player_time() - BC_FRAME));
    return true;
}

void bc_runs_start_others(uint8_t idle) {
    const uint8_t *waiting = now.marks;
    uint8_t cue;
    BC_REACH(waiting);
    if (waiting[0] | waiting[1] | waiting[2] | waiting[3]) {
        for (cue = 0; cue < BC_CUES; cue++) {
            if (mark(WAITING + cue, BC_BIT_KEEP)) {
                bc_cue_start(cue, WAITED);
            }
        }
    } else if (idle != BC_NONE && bc_runs_live() == 0) {
        bc_cue_start(idle, 0);
    }
}

void bc_button_is_down(uint8_t button) { mark(DOWN + button, BC_BIT_SET); }

void bc_button_is_up(uint8_t button) {
    struct run *run = now.runs;
    uint8_t n;
    mark(DOWN + button, BC_BIT_CLEAR);
    for (n = BC_RUNS; n > 0; n--) {
        uint8_t other = run->held ^ button;
        if (!(other & (uint8_t)~BC_FLAG)) {
            run->held = 0;
        }
        run++;
        BC_REACH(run);
    }
}

/* -- executing ---------------------------------------------------------------------------------- */

/* Where the next loop goes that opens; the innermost open one lies before it. Its offset stands in the state. */
static struct loop *next_loop(struct thread *thread) {
    uint8_t offset = (uint8_t)(thread->state >> 4) & 0x0C;
    return (struct loop *)(void *)((uint8_t *)thread->loops + offset);
}

/* Where the thread goes on at a loop's end: back, or at the next op. */
static uint16_t loop_end(struct thread *thread, uint8_t held, uint16_t next) {
    struct loop *loop = next_loop(thread) - 1;
    bool back = true;
    if (loop->left == WHILE_HELD) {
        back = held != 0;
    } else if (loop->left != FOREVER) {
        loop->left--;
        back = loop->left != 0;
    }
    if (back) {
        return loop->start;
    }
    thread->state = (uint8_t)(thread->state - ONE_DEEPER);
    return next;
}

static void loop_start(struct thread *thread, uint16_t passes, uint16_t next) {
    struct loop *loop = next_loop(thread);
    thread->state = (uint8_t)(thread->state + ONE_DEEPER);
    loop->left = passes;
    loop->start = next;
}

/* A run's threads end in the order of their times, so the last to end says when the run does. */
static void thread_end(struct thread *thread, uint8_t number) {
    struct run *run = run_of(number);
    bc_u24 time = thread->time;
    int16_t too_early;
    thread->state = 0;
    if (threads_alive(number) > 0) {
        return;
    }
    if (!(run->held & BC_FLAG)) {
        end_run(number);
        return;
    }
    too_early = (int16_t)(uint16_t)(run->started + BC_FRAME - (uint16_t)time);
    if (too_early >= 0) {
        time += (uint16_t)too_early;
    }
    begin(number, time);
}

/* The time of a thread that is due. */
static uint32_t time_of(const struct thread *thread) {
    uint32_t now = bc_player_time();
    return now - (uint16_t)((uint16_t)now - (uint16_t)thread->time);
}

/* An act or an effect, on an output that the run has; false if it must wait, for which the thread has a new time. */
static bool act(struct thread *thread, uint8_t number, const struct bc_step *op) {
    uint32_t time = time_of(thread);
    if (op->output.kind == BC_SERVO) {
        uint32_t left = bc_servo_left(op->output.index, number, time);
        if (left > 0) {
            if ((uint16_t)(left >> 16) > BC_FAR) { /* as far as three bytes reach; then it is tried again */
                left = (uint32_t)BC_FAR << 16;
            }
            thread->time = (bc_u24)(thread->time + left);
            return false;
        }
    }
    bc_perform(op, number, time);
    return true;
}

/* Execute the thread's next op; or let it stand, with a new time at which to try again. */
static void step(struct thread *thread) {
    uint8_t number = thread->state & RUN;
    struct run *run = run_of(number);
    uint16_t wait = 0; /* ms */
    uint16_t next;
    struct bc_step op;
    bc_table_seek(thread->at);
    bc_op_read(&op);
    next = bc_table_tell();
    switch (op.code) {
    case BC_OP_WAIT:
        wait = op.operand;
        break;
    case BC_OP_LOOP:
        loop_start(thread, op.operand, next);
        break;
    case BC_OP_LOOP_END:
        next = loop_end(thread, run->held, next);
        break;
    case BC_OP_FORK:
        if (threads_alive(number) < threads_of(run)) {
            spawn(number, thread->time)->at = op.operand;
        } else {
            next = thread->at;
            wait = FRAME_MS;
        }
        break;
    case BC_OP_GO_ON:
        next = op.operand;
        break;
    case BC_OP_END:
        thread_end(thread, number);
        return;
    default: /* an act or an effect, on an output that the run may have lost */
        if (((uint16_t)(run->owned >> op.number) & 1) && !act(thread, number, &op)) {
            return;
        }
        if (op.code & BC_ACT_WAIT) { /* no effect does */
            wait = op.operand;
        }
        break;
    }
    thread->at = next;
    thread->time = (bc_u24)(thread->time + (uint32_t)wait * BC_MS);
}

/*
 * The live thread with the earliest time up to now, the lowest of several; null if none is due. None has been due for long: of its
 * time, counted from just after now, the lower two bytes say it all, and the one above is all ones.
 */
static BC_APART struct thread *next_due(void) {
    uint32_t just_after = bc_player_time() + 1;
    int16_t earliest = 0;
    struct thread *first = 0;
    struct thread *thread = now.threads;
    uint8_t n;
    for (n = BC_THREADS; n > 0; n--) {
        if (!is_of(thread, 0)) {
            bc_u24 time = (bc_u24)(thread->time - just_after);
            if ((uint8_t)(time >> 16) == 0xFF && (int16_t)time < earliest) {
                earliest = (int16_t)time;
                first = thread;
            }
        }
        thread++;
        BC_REACH(thread);
    }
    return first;
}

/*
 * Before the time without its higher bits comes round. No thread ends before the last frame, so whatever (re)started a frame before
 * that, or earlier, has lasted long enough to start over.
 */
static void grow_old(void) {
    uint16_t recent = (uint16_t)((uint16_t)bc_player_time() - 2 * BC_FRAME);
    struct run *run = now.runs;
    uint8_t n;
    for (n = BC_RUNS; n > 0; n--) {
        if ((int16_t)(uint16_t)(run->started - recent) < 0) {
            run->started = recent;
        }
        run++;
        BC_REACH(run);
    }
}

BC_APART void bc_runs_play(void) {
    uint8_t n = 0;
    struct thread *thread;
    grow_old();
    while ((thread = next_due()) != 0) {
        step(thread);
        bc_listen();
        n++;
        if (n == (uint8_t)BC_OPS_PER_FRAME) {
            break;
        }
    }
    if (next_due() == 0) {
        return;
    }
    bc_count(&now.overruns);
    for (n = BC_THREADS; n > 0; n--) {
        next_due()->time = (bc_u24)bc_player_time(); /* the latest first; the rest are due now */
    }
}

/* -- state -------------------------------------------------------------------------------------- */

BC_APART uint8_t bc_runs_live(void) {
    const struct run *run = now.runs;
    uint8_t live = 0;
    uint8_t n;
    for (n = BC_RUNS; n > 0; n--) {
        if (run->cue != 0) {
            live++;
        }
        run++;
        BC_REACH(run);
    }
    return live;
}

void bc_runs_cues(uint8_t cues[4]) {
    const struct run *run = now.runs;
    uint8_t n;
    bc_clear(cues, 4);
    for (n = BC_RUNS; n > 0; n--) {
        if (run->cue != 0) {
            bc_bit(cues, run->cue & (uint8_t)~ALIVE, BC_BIT_SET);
        }
        run++;
        BC_REACH(run);
    }
}
