#include "bc_presses.h"

#if BC_CHIP_SENSES

#include <string.h>

#include "bc_generated.h"
#include "bc_runs.h"
#include "bc_table.h"

/* Kinds of presses, in the order of a binding's bits. */
enum { DOWN, LONG, TWICE, UP };

/* What a press does with a cue, likewise. */
enum { START, NEXT, TOGGLE, TOGGLE_ENDS };

/* Where an undecided press is. */
enum { DECIDED, FIRST_DOWN, BETWEEN };

static struct {
    uint8_t long_frames[BC_BUTTONS + 1]; /* 0: no press of this button is long */
    bool twice[BC_BUTTONS + 1];
    uint8_t state[BC_BUTTONS + 1];
    uint8_t since[BC_BUTTONS + 1]; /* frames since an undecided press began: below 256, as a long
                                      press has at most BC_LONG_FRAMES_MAX */
    uint16_t down_for[BC_BUTTONS + 1]; /* frames, up to BC_STUCK_FRAMES */
    uint8_t turns[BC_BINDINGS];        /* of the list whose first binding this is */
    bool is_awake;                     /* a button is down, or a press undecided */
} presses;

struct binding {
    uint8_t button;
    uint8_t kind;
    uint8_t cue;
    uint8_t manner;
};

static struct binding binding_at(uint8_t index) {
    struct binding binding;
    uint8_t first;
    uint8_t second;
    (void)bc_table_bindings(); /* puts the cursor to the first */
    bc_table_seek((uint16_t)(bc_table_tell() + BC_BINDING_SIZE * index));
    first = bc_next_u8() & (uint8_t)~BC_FLAG;
    second = bc_next_u8();
    binding.button = first % BC_PRESS_STEP;
    binding.kind = first / BC_PRESS_STEP;
    binding.cue = second % BC_MANNER_STEP;
    binding.manner = second / BC_MANNER_STEP;
    return binding;
}

void bc_presses_clear(void) { memset(&presses, 0, sizeof presses); }

void bc_presses_wait(uint8_t button, uint8_t long_frames, bool twice) {
    if (presses.long_frames[button] == 0 && !presses.twice[button]) {
        presses.long_frames[button] = long_frames;
        presses.twice[button] = twice;
    }
}

void bc_presses_rewind(void) { memset(presses.turns, 0, sizeof presses.turns); }

/* -- what is bound -------------------------------------------------------------------------- */

static bool start(uint8_t cue, uint8_t by) {
    if (bc_cue_start(cue, by)) {
        return true;
    }
    bc_count_refused();
    return false;
}

/* Start the next cue of the list whose first binding this is. A cue that is refused stays next. */
static void start_next(uint8_t first) {
    struct binding list = binding_at(first);
    uint8_t count = bc_header(BC_AT_BINDINGS);
    uint8_t turn = presses.turns[first];
    uint8_t place = 0;
    uint8_t chosen = first;
    uint8_t n;
    for (n = first; n < count; n++) {
        struct binding one = binding_at(n);
        if (one.button == list.button && one.kind == list.kind && one.manner == NEXT) {
            if (place == turn) {
                chosen = n;
            }
            place++;
        }
    }
    if (start(binding_at(chosen).cue, list.button)) {
        presses.turns[first] = (uint8_t)((turn + 1) % place);
    }
}

/* Start a cue that goes on until this comes again; or, as it does, let it go or end it. */
static void toggle(const struct binding *bound) {
    uint8_t by = bound->button | BC_TOGGLED;
    if (!bc_cue_is_on(bound->cue, by, bound->manner == TOGGLE_ENDS)) {
        start(bound->cue, by);
    }
}

static void press(uint8_t button, uint8_t kind) {
    uint8_t count = bc_header(BC_AT_BINDINGS);
    bool is_listed = false;
    uint8_t n;
    for (n = 0; n < count; n++) {
        struct binding bound = binding_at(n);
        if (bound.button != button || bound.kind != kind) {
            continue;
        }
        if (bound.manner == START) {
            start(bound.cue, button);
        } else if (bound.manner != NEXT) {
            toggle(&bound);
        } else if (!is_listed) {
            is_listed = true;
            start_next(n);
        }
    }
}

/* -- what it is ----------------------------------------------------------------------------- */

void bc_press_is_noted(void) { presses.is_awake = true; }

void bc_press_begins(uint8_t button) {
    if (presses.long_frames[button] == 0 && !presses.twice[button]) {
        press(button, DOWN);
    } else if (presses.state[button] == DECIDED) {
        presses.state[button] = FIRST_DOWN;
        presses.since[button] = 0;
    } else if (presses.state[button] == BETWEEN) {
        presses.state[button] = DECIDED;
        press(button, TWICE);
    }
}

void bc_press_ends(uint8_t button, bool may_start) {
    bool ends = presses.state[button] == FIRST_DOWN;
    if (ends && presses.twice[button] && presses.since[button] < BC_TWICE_FRAMES) {
        presses.state[button] = BETWEEN;
        ends = false;
    }
    if (ends) {
        presses.state[button] = DECIDED;
    }
    if (!may_start || button == bc_header(BC_AT_STOP_BUTTON)) {
        return;
    }
    if (ends) {
        press(button, DOWN);
    }
    press(button, UP);
}

static void decide(uint8_t button) {
    bool is_long = presses.state[button] == FIRST_DOWN && presses.long_frames[button] > 0;
    uint8_t due = is_long ? presses.long_frames[button] : BC_TWICE_FRAMES;
    if (presses.state[button] != DECIDED && presses.since[button] >= due) {
        presses.state[button] = DECIDED;
        press(button, is_long ? LONG : DOWN);
    }
}

/* Every button is looked at until the frame after its last news. */
static void count_down(uint8_t button) {
    if (!bc_is_button_down(button)) {
        presses.down_for[button] = 0;
        presses.is_awake = presses.is_awake || presses.state[button] != DECIDED;
        return;
    }
    presses.is_awake = true;
    if (presses.down_for[button] < BC_STUCK_FRAMES) {
        presses.down_for[button]++;
    }
}

void bc_presses_decide(bool may_start) {
    uint8_t button;
    bool was_awake = presses.is_awake;
    presses.is_awake = false;
    for (button = 1; was_awake && button <= BC_BUTTONS; button++) {
        if (!may_start) {
            presses.state[button] = DECIDED;
        }
        decide(button);
        presses.since[button]++; /* means nothing where it is decided */
        count_down(button);
    }
}

uint32_t bc_presses_stuck(void) {
    uint32_t stuck = 0;
    uint8_t button;
    for (button = 1; button <= BC_BUTTONS; button++) {
        if (presses.down_for[button] == BC_STUCK_FRAMES) {
            stuck |= (uint32_t)1 << button;
        }
    }
    return stuck;
}

#endif
