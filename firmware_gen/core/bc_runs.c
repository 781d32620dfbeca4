#include "bc_runs.h"

#include "bc_light.h"
#include "bc_link.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_player.h"
#include "bc_servo.h"
#include "bc_table.h"

enum { FOREVER = 0 };
static const uint16_t WHILE_HELD = 0xFFFF;

/* A cue that plays. */
struct run {
    uint16_t owned;   /* mask of outputs */
    uint16_t started; /* the last time it (re)started, without the higher bits: counts while YOUNG */
    uint8_t cue;      /* index in the table, and the bits below */
    uint8_t button;   /* that started it, 0: none; and YOUNG: it did so less than a few frames ago */
};
enum { ALIVE = 0x80, HELD = 0x40, AGAIN = 0x20, CUE = 0x1F };
enum { YOUNG = 0x80 };

struct loop {
    uint16_t start;
    uint16_t left; /* passes, as in the table */
};

struct thread {
    uint32_t time;
    uint16_t at;  /* next op */
    uint8_t state; /* run in the low half, NONE: not alive; open loops in the high one */
    struct loop loops[BC_LOOP_DEPTH];
};
enum { RUN = 0x0F, NONE = 0x0F, DEPTH = 4 };

static struct run runs[BC_RUNS];
BC_ASSERT(run, sizeof(struct run) == 6);
BC_ASSERT(thread, sizeof(struct thread) <= 20);
static struct thread threads[BC_THREADS];
static uint32_t down;             /* buttons, bit n */
static uint32_t waiting;          /* cues, bit n */
static uint32_t waiting_bindings; /* by which they wait, bit n; a cue without any: by no button */
static uint16_t refused;
static uint16_t overruns;

static uint32_t bit(uint8_t n) { return (uint32_t)1 << n; }

void bc_count(uint16_t *counter) {
    if (*counter != 0xFFFF) {
        (*counter)++;
    }
}

void bc_count_refused(void) { bc_count(&refused); }

uint16_t bc_refused(void) { return refused; }

uint16_t bc_overruns(void) { return overruns; }

/* -- records ------------------------------------------------------------------------------------ */

static uint8_t cue_of(uint8_t run) { return runs[run].cue & CUE; }

static uint16_t outputs_of(uint8_t cue) {
    return bc_table_u16((uint16_t)(bc_table_cue(cue) + BC_CUE_OUTPUTS));
}

static uint8_t flags_of(uint8_t cue) {
    return bc_table_u8((uint16_t)(bc_table_cue(cue) + BC_CUE_FLAGS));
}

static uint8_t threads_of(uint8_t cue) { return flags_of(cue) >> 4; }

static uint16_t code_of(uint8_t cue) {
    return bc_table_u16((uint16_t)(bc_table_cue(cue) + BC_CUE_OFFSET));
}

/* The first binding of this button to this cue; BC_NONE if there is none. */
static uint8_t binding_of(uint8_t button, uint8_t cue) {
    uint8_t count = bc_table_u8(BC_AT_BINDINGS);
    uint16_t at = bc_table_binding(0);
    uint8_t n;
    for (n = 0; button != 0 && n < count; n++) {
        if ((bc_table_u8(at) & ~BC_FLAG) == button &&
            bc_table_u8((uint16_t)(at + BC_BINDING_CUE)) == cue) {
            return n;
        }
        at = (uint16_t)(at + BC_BINDING_SIZE);
    }
    return BC_NONE;
}

/* -- starting and ending ------------------------------------------------------------------------ */

static bool is_alive(uint8_t run) { return (runs[run].cue & ALIVE) != 0; }

static bool thread_is_of(const struct thread *thread, uint8_t run) {
    return (thread->state & RUN) == run;
}

static void end_run(uint8_t run) {
    uint8_t n;
    runs[run].cue = 0;
    runs[run].owned = 0;
    for (n = 0; n < BC_THREADS; n++) {
        if (thread_is_of(&threads[n], run)) {
            threads[n].state = NONE;
        }
    }
    bc_servos_disown(run);
}

void bc_runs_end(void) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        end_run(n);
    }
    waiting = 0;
    waiting_bindings = 0;
}

void bc_runs_clear(void) {
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        threads[n].state = NONE;
    }
    bc_runs_end();
    down = 0;
    refused = 0;
    overruns = 0;
}

/* The lowest thread that is not alive; the reservations of runs see to it that there is one. */
static void spawn(uint8_t run, uint16_t code, uint32_t time) {
    struct thread *thread = threads;
    while ((thread->state & RUN) != NONE) {
        thread++;
    }
    thread->state = run;
    thread->at = code;
    thread->time = time;
}

static uint8_t threads_alive(uint8_t run) {
    uint8_t alive = 0;
    uint8_t n;
    for (n = 0; n < BC_THREADS; n++) {
        alive = (uint8_t)(alive + thread_is_of(&threads[n], run));
    }
    return alive;
}

/* Whether a run other than one of the idle cue owns some of these outputs. */
static bool is_owned(uint16_t outputs, uint8_t idle) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if ((runs[n].owned & outputs) && cue_of(n) != idle) {
            return true;
        }
    }
    return false;
}

/* Whether a start of a cue with these outputs ends the run. */
static bool leaves(uint8_t run, uint16_t outputs) {
    uint16_t owned = runs[run].owned;
    return is_alive(run) && (cue_of(run) == bc_player_idle() || (owned != 0 && !(owned & ~outputs)));
}

static bool has_room(uint16_t outputs, uint8_t wanted) {
    uint8_t staying = 0;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (is_alive(n) && !leaves(n, outputs)) {
            staying++;
            wanted = (uint8_t)(wanted + threads_of(cue_of(n)));
        }
    }
    return staying < BC_RUNS && wanted <= BC_THREADS;
}

static void set_started(struct run *run, uint32_t time) {
    run->started = (uint16_t)time;
    run->button |= YOUNG;
}

/* The outputs' former owners let go of them, their effects end. */
static void take_over(uint16_t outputs) {
    struct bc_outputs walk;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (leaves(n, outputs)) {
            end_run(n);
        } else {
            runs[n].owned = (uint16_t)(runs[n].owned & ~outputs);
        }
    }
    bc_outputs_begin(&walk);
    while (bc_outputs_next(&walk)) {
        if ((outputs & 1) && (walk.here.kind == BC_LAMP || walk.here.kind == BC_STRIP)) {
            bc_light_steady(bc_light_of(&walk.here));
        }
        outputs >>= 1;
    }
}

/* The cue waits no longer. */
static void forget_waiting(uint8_t cue) {
    uint8_t n;
    waiting &= ~bit(cue);
    for (n = 0; n < BC_BINDINGS; n++) {
        if ((waiting_bindings & bit(n)) &&
            bc_table_u8((uint16_t)(bc_table_binding(n) + BC_BINDING_CUE)) == cue) {
            waiting_bindings &= ~bit(n);
        }
    }
}

static void begin(uint8_t cue, uint16_t outputs, uint32_t time, uint8_t button) {
    uint8_t binding = binding_of(button, cue);
    uint8_t n = 0;
    take_over(outputs);
    while (is_alive(n)) {
        n++;
    }
    runs[n].cue = cue | ALIVE;
    runs[n].owned = outputs;
    runs[n].button = button;
    set_started(&runs[n], time - BC_FRAME);
    if (button != 0 && (down & bit(button))) {
        runs[n].cue |= HELD;
    }
    if (binding != BC_NONE && (bc_table_u8(bc_table_binding(binding)) & BC_FLAG)) {
        runs[n].cue |= AGAIN;
    }
    spawn(n, code_of(cue), time - BC_FRAME);
    forget_waiting(cue);
}

bool bc_cue_start(uint8_t cue, uint32_t time, uint8_t button) {
    uint16_t outputs = outputs_of(cue);
    uint8_t flags = flags_of(cue);
    if (is_owned(outputs, bc_player_idle())) {
        if ((flags & 3) == BC_CONFLICT_WAIT) {
            uint8_t binding = binding_of(button, cue);
            forget_waiting(cue);
            waiting |= bit(cue);
            waiting_bindings |= binding == BC_NONE ? 0 : bit(binding);
            return true;
        }
        if ((flags & 3) == BC_CONFLICT_REFUSE) {
            bc_count(&refused);
            return false;
        }
    }
    if (!has_room(outputs, flags >> 4)) {
        bc_count(&refused);
        return false;
    }
    begin(cue, outputs, time, button);
    return true;
}

/* The button by which a cue waits; 0: none. */
static uint8_t waiting_button(uint8_t cue) {
    uint8_t n;
    for (n = 0; n < BC_BINDINGS; n++) {
        if (waiting_bindings & bit(n)) {
            uint16_t at = bc_table_binding(n);
            if (bc_table_u8((uint16_t)(at + BC_BINDING_CUE)) == cue) {
                return (uint8_t)(bc_table_u8(at) & ~BC_FLAG);
            }
        }
    }
    return 0;
}

void bc_runs_start_waiting(uint32_t time) {
    uint8_t cue;
    for (cue = 0; waiting >> cue != 0; cue++) {
        if (waiting & bit(cue)) {
            uint16_t outputs = outputs_of(cue);
            if (!is_owned(outputs, BC_NONE) && has_room(outputs, threads_of(cue))) {
                begin(cue, outputs, time, waiting_button(cue));
            }
        }
        if (cue == BC_CUES - 1) {
            break;
        }
    }
}

void bc_runs_start_idle(uint32_t time, uint8_t idle) {
    if (idle != BC_NONE && waiting == 0 && bc_runs_live() == 0) {
        bc_cue_start(idle, time, 0);
    }
}

void bc_button_is_down(uint8_t button) { down |= bit(button); }

void bc_button_is_up(uint8_t button) {
    uint8_t n;
    down &= ~bit(button);
    for (n = 0; n < BC_RUNS; n++) {
        if ((runs[n].button & ~YOUNG) == button) {
            runs[n].cue = (uint8_t)(runs[n].cue & ~HELD);
        }
    }
}

/* -- executing ---------------------------------------------------------------------------------- */

static void loop_end(struct thread *thread, uint8_t run) {
    uint8_t depth = thread->state >> DEPTH;
    struct loop *loop = &thread->loops[depth - 1];
    bool back = true;
    if (loop->left == WHILE_HELD) {
        back = (runs[run].cue & HELD) != 0;
    } else if (loop->left != FOREVER) {
        loop->left--;
        back = loop->left != 0;
    }
    if (back) {
        thread->at = loop->start;
    } else {
        thread->state = (uint8_t)(thread->state - (1 << DEPTH));
    }
}

static void loop_start(struct thread *thread, uint16_t passes) {
    struct loop *loop = &thread->loops[thread->state >> DEPTH];
    thread->state = (uint8_t)(thread->state + (1 << DEPTH));
    loop->left = passes;
    loop->start = thread->at;
}

/* A run's threads end in the order of their times, so the last to end says when the run does. */
static void thread_end(struct thread *thread, uint8_t number) {
    struct run *run = &runs[number];
    uint32_t time = thread->time;
    thread->state = NONE;
    if (threads_alive(number) > 0) {
        return;
    }
    if ((run->cue & (AGAIN | HELD)) != (AGAIN | HELD)) {
        end_run(number);
        return;
    }
    if (run->button & YOUNG) {
        uint16_t lasted = (uint16_t)((uint16_t)time - run->started);
        if (lasted < BC_FRAME) {
            time += (uint16_t)(BC_FRAME - lasted);
        }
    }
    spawn(number, code_of(run->cue & CUE), time);
    set_started(run, time);
}

/* Do what concerns an output, if the run owns it; false if it must be tried again, at a new time. */
static bool perform(struct thread *thread, uint8_t run, const struct bc_step *op) {
    uint32_t later;
    if (((uint16_t)(runs[run].owned >> op->number) & 1) &&
        !bc_perform(op, thread->time, run, &later)) {
        thread->time = later;
        return false;
    }
    return true;
}

/* Execute the thread's next op. */
static void step(struct thread *thread) {
    uint8_t run = thread->state & RUN;
    uint16_t here = thread->at;
    struct bc_step op;
    bc_table_seek(here);
    bc_op_read(&op);
    thread->at = bc_table_tell();
    switch (op.code) {
    case BC_OP_WAIT:
        break;
    case BC_OP_LOOP:
        loop_start(thread, op.operand);
        return;
    case BC_OP_LOOP_END:
        loop_end(thread, run);
        return;
    case BC_OP_FORK:
        if (threads_alive(run) < threads_of(cue_of(run))) {
            spawn(run, op.operand, thread->time);
        } else {
            thread->at = here;
            thread->time += BC_FRAME;
        }
        return;
    case BC_OP_GO_ON:
        thread->at = op.operand;
        return;
    case BC_OP_END:
        thread_end(thread, run);
        return;
    default: /* an act or an effect */
        if (!perform(thread, run, &op)) {
            thread->at = here;
            return;
        }
        if (op.code == BC_OP_EFFECT || !(op.code & BC_ACT_WAIT)) {
            return;
        }
        break;
    }
    thread->time += (uint32_t)op.operand * BC_MS;
}

/* The live thread with the earliest time up to now, the lowest of several; null if none is due. */
static struct thread *next_due(uint32_t now) {
    struct thread *first = 0;
    struct thread *thread;
    for (thread = threads; thread < threads + BC_THREADS; thread++) {
        if ((thread->state & RUN) != NONE && !bc_before(now, thread->time) &&
            (first == 0 || bc_before(thread->time, first->time))) {
            first = thread;
        }
    }
    return first;
}

/* Before the time without its higher bits comes round. */
static void grow_old(uint32_t now) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if ((int16_t)((uint16_t)now - runs[n].started) > 2 * BC_FRAME) {
            runs[n].button = (uint8_t)(runs[n].button & ~YOUNG);
        }
    }
}

void bc_runs_play(uint32_t now) {
    uint16_t ops;
    struct thread *thread;
    grow_old(now);
    for (ops = 0; ops < BC_OPS_PER_FRAME; ops++) {
        thread = next_due(now);
        if (thread == 0) {
            return;
        }
        step(thread);
        bc_listen();
    }
    if (next_due(now) == 0) {
        return;
    }
    bc_count(&overruns);
    while ((thread = next_due(now - 1)) != 0) {
        thread->time = now;
    }
}

/* -- state -------------------------------------------------------------------------------------- */

uint8_t bc_runs_live(void) {
    uint8_t live = 0;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        live = (uint8_t)(live + is_alive(n));
    }
    return live;
}

uint32_t bc_runs_cues(void) {
    uint32_t cues = 0;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (is_alive(n)) {
            cues |= bit(cue_of(n));
        }
    }
    return cues;
}
