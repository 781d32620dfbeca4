/* The runs of a board, for those parts of the core that play them. TABLE.md section 2. */
#ifndef BC_RUN_STATE_H
#define BC_RUN_STATE_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"
#include "bc_generated.h"

/* A set of outputs, a bit each; where a board may lead, from bit 16 on what its cues claim on
 * other boards. */
#if BC_CHIP_LEADS
typedef uint32_t bc_outputs;
#else
typedef uint16_t bc_outputs;
#endif

/* Instead of an index: this place is free. */
enum { BC_FREE = 0xFF };

/* Instead of a button: a board that leads says that the run is held. */
enum { BC_HELD_ELSEWHERE = 0xFE };

/* How a run goes on when it has come to its end. */
enum bc_run_kind {
    BC_ONCE,
    BC_AGAIN,    /* it starts over while it is held */
    BC_FOR_EVER, /* a strand of idle: it always starts over */
    BC_ENDED_BY_ITSELF
};

/* A cue that plays. */
struct bc_run {
    uint32_t started; /* the last time it (re)started; moved along once it no longer matters */
    bc_outputs owned;
    uint8_t cue;     /* index in the table; BC_FREE: this place is free */
    uint8_t held_by; /* the button that holds it; BC_NO_BUTTON: it is not held */
    uint8_t kind;    /* enum bc_run_kind */
#if BC_CHIP_SENSES
    uint16_t scale; /* how far its servos go, BC_SCALE_FULL: as far as is written */
#endif
};

extern struct bc_run bc_runs[BC_RUNS];

/* What a start needs to know of a cue's record. */
struct bc_demand {
    bc_outputs outputs;
    uint8_t conflict; /* enum bc_conflict */
    uint8_t threads;
    bool is_strand;
};

struct bc_demand bc_demand_of(uint8_t cue);

/* Whether the cue behind it is its part for letting go. */
bool bc_cue_lets_go(uint8_t cue);

bool bc_run_is_strand(uint8_t run);

/* Let a run begin its cue anew at a time; what it did before it does no longer. */
void bc_run_begin(uint8_t run, uint32_t time);

/* Let a run begin its cue at a time, after so many rounds of its draws. It has no thread yet. */
void bc_run_enter(uint8_t run, uint32_t time, uint16_t rounds);

/* A run ends by itself. What another board has as well stays until that one lacks it. */
void bc_run_comes_to_end(uint8_t run, uint32_t time);

/*
 * Whatever (re)started before the last frame has lasted long enough to start over: by then the
 * moment no longer matters, and time must not come round to it.
 */
void bc_runs_let_starts_grow_old(void);

/* The part for letting go goes on in a cue's place, from wherever everything is. */
void bc_run_let_go(uint8_t run, uint32_t time);

/* Nothing holds a run any more. */
void bc_run_release(uint8_t run);

/* Take outputs from all runs. None ends. */
void bc_runs_lose(bc_outputs outputs);

/* End a run, and give its outputs back to the strands that use them from the last frame on. */
void bc_run_part_with(uint8_t run);

/* Forget the cues that wait. */
void bc_runs_wait_no_more(void);

/*
 * Runs of a board that follows, a bit each: those that the other board has as well, which stay
 * when they have come to their end until they are parted with; and those that are carried forward
 * in silence.
 */
#if BC_CHIP_FOLLOWS
extern uint8_t bc_runs_followed;
#else
enum { bc_runs_followed = 0 };
#endif
#if BC_CHIP_JOINS
extern uint8_t bc_runs_silent;
#else
enum { bc_runs_silent = 0 };
#endif

/* Whether a run has to make good so many frames that it is carried forward in silence. */
bool bc_run_be_silent(uint8_t run, bool silent);
bool bc_run_is_silent(uint8_t run);

/* What was carried forward has come to now: its outputs glide to where they should be. */
void bc_run_lands(uint8_t run);

#endif
