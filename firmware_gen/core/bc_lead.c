#include "bc_lead.h"

#if BC_CHIP_LEADS

#include <string.h>

#include "bc_frames.h"
#include "bc_player.h"
#include "bc_run_state.h"
#include "bc_runs.h"
#include "bc_table.h"
#include "bellcrank.h"

/* What is told of a run. */
struct told {
    uint32_t since; /* the frame in which it started or let go */
    uint8_t base;   /* the cue that was started; BC_FREE: nothing is told */
    uint8_t order;  /* of its start among all */
    uint8_t flags;  /* held, again, let go, as they are sent */
    uint8_t news;   /* how often it comes before those that are no news */
};

static struct {
    struct told told[BC_RUNS];
    uint32_t idle_since;
    uint8_t starts;
    uint8_t last; /* run that was told last */
    bool leads;
    bool limp_asked;
} lead;

void bc_lead_forget(void) {
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        lead.told[n].base = BC_FREE;
    }
}

void bc_lead_start(void) {
    memset(&lead, 0, sizeof lead);
    bc_lead_forget();
    lead.last = BC_RUNS - 1;
    lead.leads = bc_header(BC_AT_ROLE) == BC_ROLE_LEADS;
}

/* -- what happens --------------------------------------------------------------------------- */

void bc_lead_began(uint8_t run) {
    struct told *told = &lead.told[run];
    told->since = bc_player_frames();
    told->base = bc_runs[run].cue;
    told->order = lead.starts;
    told->flags = (uint8_t)((bc_runs[run].held_by != BC_NO_BUTTON ? BC_HUB_HELD : 0) |
                            (bc_runs[run].kind == BC_AGAIN ? BC_HUB_AGAIN : 0));
    told->news = BC_NEWS_TELLINGS;
    lead.starts++;
}

void bc_lead_released(uint8_t run, bool lets_go) {
    struct told *told = &lead.told[run];
    told->flags &= (uint8_t)~BC_HUB_HELD;
    told->news = BC_NEWS_TELLINGS;
    if (lets_go) {
        told->flags |= BC_HUB_LET_GO;
        told->since = bc_player_frames();
    }
}

void bc_lead_ended(uint8_t run) {
    if (bc_runs[run].kind == BC_ENDED_BY_ITSELF && lead.told[run].news > 0) {
        lead.told[run].flags &= (uint8_t)~BC_HUB_HELD;
        return; /* it may have been but a moment: it is told as long as it is news */
    }
    lead.told[run].base = BC_FREE;
}

bool bc_lead_tells(uint8_t run) { return lead.leads && lead.told[run].base != BC_FREE; }

void bc_lead_idle_begins(void) { lead.idle_since = bc_player_frames(); }

void bc_lead_minds_idle(void) {
    uint8_t n;
    if (!lead.leads || bc_player_mode() != BC_MODE_READY ||
        bc_player_frames() - lead.idle_since != BC_IDLE_ERA) {
        return;
    }
    bc_lead_idle_begins();
    for (n = 0; n < BC_RUNS; n++) {
        if (bc_run_is_strand(n)) {
            bc_run_begin(n, bc_player_time() - BC_FRAME);
        }
    }
}

void bc_lead_limp(bool asked) { lead.limp_asked = asked; }

/* -- what is told --------------------------------------------------------------------------- */

/* The newest run, the lowest of several; without news the next in turn; BC_RUNS: there is none. */
static uint8_t next_told(void) {
    uint8_t found = BC_RUNS;
    uint8_t news = 0;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (lead.told[n].base != BC_FREE && lead.told[n].news > news) {
            news = lead.told[n].news;
            found = n;
        }
    }
    for (n = 1; n <= BC_RUNS && found == BC_RUNS; n++) {
        uint8_t next = (uint8_t)((lead.last + n) % BC_RUNS);
        if (lead.told[next].base != BC_FREE) {
            found = next;
        }
    }
    return found;
}

static void put_u16(uint8_t *at, uint16_t value) {
    at[0] = (uint8_t)value;
    at[1] = (uint8_t)(value >> 8);
}

static void put_u24(uint8_t *at, uint32_t value) {
    if (value > BC_HUB_OLDEST) {
        value = BC_HUB_OLDEST;
    }
    put_u16(at, (uint16_t)value);
    at[2] = (uint8_t)(value >> 16);
}

static void put_run(uint8_t *state, uint8_t run) {
    struct told *told = &lead.told[run];
    state[BC_HUB_RUN] = run | told->flags;
    put_u16(state + BC_HUB_TAG, bc_table_u16(bc_table_cue(told->base)));
    state[BC_HUB_ORDER] = told->order;
    put_u24(state + BC_HUB_AGE, bc_player_frames() - told->since);
    lead.last = run;
    if (told->news > 0) {
        told->news--;
    }
    if (told->news == 0 && bc_runs[run].cue == BC_FREE) {
        told->base = BC_FREE;
    }
}

static uint8_t live_runs(void) {
    uint8_t live = 0;
    uint8_t n;
    for (n = 0; n < BC_RUNS; n++) {
        if (lead.told[n].base != BC_FREE) {
            live = (uint8_t)(live | 1u << n);
        }
    }
    return live;
}

void bc_lead_tell(void) {
    uint8_t state[BC_HUB_SIZE];
    uint8_t mode = bc_player_tells_stop() ? BC_MODE_STOPPING : bc_player_mode();
    uint8_t run;
    if (!lead.leads) {
        return;
    }
    memset(state, 0, sizeof state);
    put_u16(state + BC_HUB_FRAME, (uint16_t)bc_player_frames());
    put_u16(state + BC_HUB_SHOW, bc_table_u16(BC_AT_SHOW));
    state[BC_HUB_MODE] = mode;
    if (mode == BC_MODE_LIMP && lead.limp_asked) {
        state[BC_HUB_MODE] |= BC_HUB_LIMP_ASKED;
    }
    if (mode == BC_MODE_READY) {
        put_u24(state + BC_HUB_IDLE, bc_player_frames() - lead.idle_since);
    }
    state[BC_HUB_LIVE] = live_runs();
    run = next_told();
    state[BC_HUB_RUN] = BC_HUB_NO_RUN;
    if (run != BC_RUNS) {
        put_run(state, run);
    }
    bc_table_release();
    bc_line_tell(BC_HUB_KIND, (uint8_t)bc_player_frames(), state, sizeof state);
}

#endif
