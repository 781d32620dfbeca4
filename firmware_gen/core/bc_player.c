#include "bc_player.h"

#include "bc_bits.h"
#include "bc_compiler.h"
#include "bc_inputs.h"
#include "bc_light.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_runs.h"
#include "bc_servo.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { QUEUE = 16, KEPT = 4, ARGUMENT = 0x1F };
enum { LOST_STEP = 5 }; /* frames in 100 ms */

static struct player {
    uint32_t frames;
    uint16_t patience;    /* frames of silence until the lost cue starts, at least 1; 0: it is not armed */
    uint8_t enabled;      /* servos that have pulses, and one too many when all are ready; 0 in limp */
    uint8_t enable_next;  /* frames of the quiet start until one more does; 0: there was an end to it, and lights are seen */
    uint8_t queued;
    uint8_t mode;
    uint8_t source;
    uint8_t idle;         /* copies of the table's header, so that most frames need not read it */
    uint8_t lost_time;    /* 0 also if there is no lost cue */
    uint8_t interval;
    bool heard;           /* since the last frame */
    uint8_t queue[QUEUE]; /* requests, the oldest first */
} player;

static struct player *reach_player(void) {
    struct player *me = &player;
    BC_REACH(me);
    return me;
}

static uint32_t first_time; /* of frame 0 */

struct bc_image bc_image;

uint8_t bc_player_source(void) { return player.source; }

uint8_t bc_player_mode(void) { return player.mode; }

uint8_t bc_player_idle(void) { return player.idle; }

uint32_t bc_player_frames(void) { return player.frames; }

BC_APART uint32_t bc_player_time(void) {
    const struct player *me = reach_player();
    return first_time + me->frames * BC_FRAME;
}

void bc_player_set_clock(uint32_t offset) { first_time = offset; }

void bc_player_heard(void) { player.heard = true; }

bool bc_player_ask(uint8_t asked, uint8_t argument) {
    uint8_t room = asked >= BC_ASK_STOP ? QUEUE : QUEUE - KEPT;
    if (player.queued >= room) {
        return false;
    }
    player.queue[player.queued++] = asked | argument;
    return true;
}

bool bc_player_is_asked(void) { return player.queued > 0; }

uint32_t bc_player_show(void) {
    uint32_t show = 0;
    if (player.source != BC_SOURCE_NONE) {
        show = bc_table_u16(BC_AT_SHOW) | (uint32_t)bc_table_u16(BC_AT_SHOW + 2) << 16;
        bc_table_release();
    }
    return show;
}

uint8_t bc_player_left(uint16_t offset, uint8_t count) {
    uint16_t length = bc_table_u16(BC_AT_LENGTH);
    bc_table_release();
    if (offset >= length) {
        return 0;
    }
    return count < length - offset ? count : (uint8_t)(length - offset);
}

uint8_t bc_player_byte(uint16_t offset) {
    uint8_t byte = bc_table_u8(offset);
    bc_table_release();
    return byte;
}

uint8_t bc_player_find_cue(uint16_t tag) {
    uint8_t cue = bc_table_find_cue(tag);
    bc_table_release();
    return cue;
}

/* -- starting ----------------------------------------------------------------------------------- */

static BC_APART void darken(void) {
    uint8_t lamp;
    bc_clear(&bc_image, sizeof bc_image);
    for (lamp = 0; lamp < BC_LAMPS; lamp++) {
        bc_hal_lamp(lamp, 0);
    }
}

static BC_APART void enter_starting(void) {
    struct player *me = reach_player();
    me->mode = BC_MODE_STARTING;
    me->enable_next = 1;
    me->enabled = BC_SERVOS + 1;
    if (me->interval != 0) {
        me->enable_next = me->interval;
        me->enabled = 1;
    }
    bc_to_safety(BC_SERVO, 0);
    darken();
}

static void add_output(const struct bc_output *output) {
    uint8_t pin;
    bc_table_seek((uint16_t)(output->at + BC_OUTPUT_PIN));
    pin = bc_next_u8();
    if (output->kind == BC_SERVO) {
        bc_servos_add();
    }
    bc_hal_output(output->kind, output->index, pin, bc_next_u8());
}

static void add_outputs(void) {
    struct bc_output output;
    bc_servos_clear();
    bc_lights_clear();
    bc_outputs_begin(&output);
    while (bc_outputs_next(&output)) {
        add_output(&output);
    }
    bc_table_locate(output.end);
}

static void add_inputs(void) {
    uint8_t left;
    for (left = bc_table_inputs(); left > 0; left--) {
        uint8_t pin = bc_next_u8();
        bool active_low = (bc_next_u8() & BC_FLAG) != 0;
        bc_hal_input(pin, active_low);
        bc_inputs_add(pin, active_low);
    }
}

void bc_player_start(uint8_t source) {
    struct player *me = reach_player();
    bc_clear(me, sizeof player); /* BC_MODE_BLANK as well */
    darken();
    me->source = source;
    bc_runs_clear();
    bc_hal_release();
    bc_inputs_clear();
    bc_table_choose(source);
    if (source == BC_SOURCE_NONE) {
        return;
    }
    me->idle = bc_header(BC_AT_IDLE);
    me->interval = bc_header(BC_AT_ENABLE_INTERVAL);
    if (bc_header(BC_AT_LOST) != BC_NONE) {
        me->lost_time = bc_header(BC_AT_LOST_TIME);
    }
    add_outputs();
    add_inputs();
    enter_starting();
    bc_table_release();
}

/* -- requests ----------------------------------------------------------------------------------- */

static BC_APART void enter_limp(void) {
    struct player *me = reach_player();
    if (me->mode != BC_MODE_LIMP) {
        me->mode = BC_MODE_LIMP;
        me->enabled = 0;
        bc_runs_end();
        bc_to_safety(BC_SWITCH, 0);
    }
}

static BC_APART void stop(void) {
    struct player *me = reach_player();
    if (me->mode != BC_MODE_READY) {
        enter_limp();
        return;
    }
    me->mode = BC_MODE_STOPPING;
    bc_runs_end();
    bc_to_safety(BC_SERVO, bc_header(BC_AT_STOP_TIME));
}

/* Start a cue by a button (0: none). False if it was refused, which has then been counted. */
static BC_APART bool start(uint8_t cue, uint8_t button) {
    if (player.mode == BC_MODE_READY && bc_cue_start(cue, button)) {
        return true;
    }
    bc_count_refused();
    return false;
}

static void button_down(struct player *me, uint8_t button) {
    uint8_t left;
    bc_button_is_down(button);
    if (button == bc_header(BC_AT_STOP_BUTTON)) {
        stop();
        return;
    }
    for (left = bc_table_bindings(); left > 0; left--) {
        uint8_t other = bc_next_u8() ^ button;
        uint8_t cue = bc_next_u8();
        if ((other & (uint8_t)~BC_FLAG) == 0) {
            uint16_t next = bc_table_tell();
            start(cue, button);
            if (me->mode != BC_MODE_READY) {
                return;
            }
            bc_table_seek(next);
        }
    }
}

static void obey(struct player *me, uint8_t request) {
    uint8_t argument = request & ARGUMENT;
    switch ((uint8_t)(request - argument)) {
    case BC_ASK_CUE:
        start(argument, 0);
        break;
    case BC_ASK_DOWN:
        button_down(me, argument);
        break;
    case BC_ASK_UP:
        bc_button_is_up(argument);
        break;
    case BC_ASK_STOP:
        stop();
        break;
    case BC_ASK_STANDBY:
        if (me->mode == BC_MODE_LIMP) {
            enter_starting();
        } else {
            bc_count_refused();
        }
        break;
    default:
        enter_limp();
        break;
    }
}

/* -- the frame ---------------------------------------------------------------------------------- */

static void take_requests(struct player *me) {
    uint8_t n;
    for (n = 0; n < me->queued; n++) {
        obey(me, me->queue[n]);
    }
    me->queued = 0;
}

/* The silence itself is not counted, only what is left of it until it has lasted too long. */
static void mind_silence(struct player *me) {
    if (me->heard) {
        me->heard = false;
        me->patience = (uint16_t)(LOST_STEP * me->lost_time);
    } else if (me->patience != 0) {
        me->patience--;
        if (me->patience == 0 && !(me->mode == BC_MODE_READY && start(bc_header(BC_AT_LOST), 0))) {
            me->patience = 1;
        }
    }
}

static BC_APART void control(struct player *me) {
    if (me->mode == BC_MODE_STARTING && me->enabled > bc_servos_count()) {
        me->mode = BC_MODE_READY;
        me->enable_next = 0;
        bc_to_safety(BC_SERVO, 0); /* lights; the others are there */
    }
    take_requests(me);
    mind_silence(me);
    if (me->mode == BC_MODE_READY) {
        bc_runs_start_others(me->idle);
    }
    bc_runs_play();
    if (me->mode == BC_MODE_STOPPING && bc_servos_have_ended(bc_player_time())) {
        enter_limp();
    }
    bc_table_release();
}

void bc_player_frame(void) {
    struct player *me = reach_player();
    if (me->mode == BC_MODE_BLANK) {
        return;
    }
    control(me);
    bc_servos_show(bc_player_time(), me->enabled);
    bc_hal_pulses_ready();
    if (me->enable_next == 0) {
        bc_lights_show(bc_player_time());
    } else if (me->mode == BC_MODE_STARTING && --me->enable_next == 0) {
        me->enable_next = me->interval;
        me->enabled++;
    }
    bc_hal_pixels_ready();
    me->frames++;
}
