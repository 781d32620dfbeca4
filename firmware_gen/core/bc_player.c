#include "bc_player.h"

#include "bc_inputs.h"
#include "bc_light.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_runs.h"
#include "bc_servo.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { QUEUE = 16, KEPT = 4, ARGUMENT = 0x1F };
enum { LOST_STEP = 5, STOP_STEP_MS = 20 }; /* frames in 100 ms; the stop time's unit */

static struct {
    uint32_t frames;
    uint32_t clock;        /* the time of frame 0 */
    uint16_t silence;      /* frames */
    uint16_t starting;     /* frames since the quiet start began */
    uint8_t queue[QUEUE];  /* requests, the oldest first */
    uint8_t queued;
    uint8_t mode;
    uint8_t source;
    uint8_t idle;      /* copies of the table's header, so that most frames need not read it */
    uint8_t lost;
    uint8_t lost_time;
    uint8_t interval;
    bool heard;        /* since the last frame */
    bool armed;        /* the lost cue is */
} player;

struct bc_image bc_image;

uint8_t bc_player_source(void) { return player.source; }

uint8_t bc_player_mode(void) { return player.mode; }

uint8_t bc_player_idle(void) { return player.idle; }

uint32_t bc_player_frames(void) { return player.frames; }

uint32_t bc_player_time(void) { return player.clock + player.frames * BC_FRAME; }

void bc_player_set_clock(uint32_t offset) { player.clock = offset; }

void bc_player_heard(void) { player.heard = true; }

bool bc_player_ask(uint8_t asked, uint8_t argument) {
    uint8_t room = asked == BC_ASK_STOP || asked == BC_ASK_LIMP ? QUEUE : QUEUE - KEPT;
    if (player.queued >= room) {
        return false;
    }
    player.queue[player.queued++] = asked | argument;
    return true;
}

bool bc_player_is_asked(void) { return player.queued > 0; }

uint32_t bc_player_show(void) {
    uint8_t before = bc_table_choose(player.source);
    uint32_t show = 0;
    if (player.source != BC_SOURCE_NONE) {
        show = bc_table_u16(BC_AT_SHOW) | (uint32_t)bc_table_u16(BC_AT_SHOW + 2) << 16;
        bc_table_release();
    }
    bc_table_choose(before);
    return show;
}

uint8_t bc_player_left(uint16_t offset, uint8_t count) {
    uint8_t before = bc_table_choose(player.source);
    uint16_t length = bc_table_u16(BC_AT_LENGTH);
    bc_table_release();
    bc_table_choose(before);
    if (offset >= length) {
        return 0;
    }
    return count < length - offset ? count : (uint8_t)(length - offset);
}

uint8_t bc_player_byte(uint16_t offset) {
    uint8_t before = bc_table_choose(player.source);
    uint8_t byte = bc_table_u8(offset);
    bc_table_release();
    bc_table_choose(before);
    return byte;
}

uint8_t bc_player_find_cue(uint16_t tag) {
    uint8_t before = bc_table_choose(player.source);
    uint8_t cue = bc_table_find_cue(tag);
    bc_table_release();
    bc_table_choose(before);
    return cue;
}

/* -- starting ----------------------------------------------------------------------------------- */

static void enter_starting(void) {
    player.mode = BC_MODE_STARTING;
    player.starting = 0;
    bc_servos_rest();
    bc_lights_dark();
}

/* Whether the pulses of the n-th servo are on; of one too many: whether all are ready. */
static bool is_enabled(uint8_t servo) {
    return player.starting >= (uint16_t)servo * player.interval;
}

static void add_output(const struct bc_output *output) {
    uint8_t pin = bc_table_u8((uint16_t)(output->at + BC_OUTPUT_PIN));
    uint8_t detail = 0;
    switch (output->kind) {
    case BC_SERVO:
        bc_servos_add();
        break;
    case BC_LAMP:
        bc_lights_add(output);
        break;
    case BC_STRIP:
        bc_lights_add(output);
        detail = bc_table_u8((uint16_t)(output->at + BC_STRIP_PIXELS));
        break;
    default:
        break;
    }
    bc_hal_output(output->kind, output->index, pin, detail);
}

static void add_outputs(void) {
    struct bc_outputs walk;
    bc_servos_clear();
    bc_lights_clear();
    bc_outputs_begin(&walk);
    while (bc_outputs_next(&walk)) {
        add_output(&walk.here);
    }
}

static void add_input(uint8_t pin, bool active_low) {
    bc_hal_input(pin, active_low);
    bc_inputs_add(pin, active_low);
}

static void add_inputs(void) {
    uint8_t left = bc_table_u8(BC_AT_INPUTS);
    while (left > 0) {
        uint16_t at;
        left--;
        at = bc_table_input(left);
        add_input(bc_table_u8(at), (bc_table_u8((uint16_t)(at + BC_INPUT_BUTTON)) & BC_FLAG) != 0);
    }
}

static void clear_image(void) {
    uint16_t n;
    for (n = 0; n < sizeof bc_image; n++) {
        ((uint8_t *)&bc_image)[n] = 0;
    }
}

void bc_player_start(uint8_t source) {
    player.source = source;
    player.mode = BC_MODE_BLANK;
    player.frames = 0;
    player.silence = 0;
    player.queued = 0;
    player.heard = false;
    player.armed = false;
    bc_runs_clear();
    clear_image();
    bc_hal_release();
    bc_inputs_clear();
    if (source == BC_SOURCE_NONE) {
        return;
    }
    bc_table_choose(source);
    bc_table_locate();
    player.idle = bc_table_u8(BC_AT_IDLE);
    player.lost = bc_table_u8(BC_AT_LOST);
    player.lost_time = bc_table_u8(BC_AT_LOST_TIME);
    player.interval = bc_table_u8(BC_AT_ENABLE_INTERVAL);
    add_outputs();
    add_inputs();
    bc_switches_to_safety();
    enter_starting();
    bc_table_release();
}

/* -- requests ----------------------------------------------------------------------------------- */

static void enter_limp(void) {
    if (player.mode != BC_MODE_LIMP) {
        player.mode = BC_MODE_LIMP;
        bc_runs_end();
        bc_switches_to_safety();
    }
}

static void stop(uint32_t time) {
    uint16_t duration_ms;
    if (player.mode != BC_MODE_READY) {
        enter_limp();
        return;
    }
    player.mode = BC_MODE_STOPPING;
    bc_runs_end();
    bc_switches_to_safety();
    duration_ms = (uint16_t)(STOP_STEP_MS * bc_table_u8(BC_AT_STOP_TIME));
    bc_servos_to_safety(time - BC_FRAME, (uint32_t)duration_ms * BC_MS);
    bc_lights_to_safety(time - BC_FRAME, duration_ms);
}

static void button_down(uint8_t button, uint32_t time) {
    uint8_t count = bc_table_u8(BC_AT_BINDINGS);
    uint16_t at = bc_table_binding(0);
    bc_button_is_down(button);
    if (button == bc_table_u8(BC_AT_STOP_BUTTON)) {
        stop(time);
        return;
    }
    while (count > 0) {
        if ((bc_table_u8(at) & ~BC_FLAG) == button) {
            if (player.mode != BC_MODE_READY) {
                bc_count_refused();
                return;
            }
            bc_cue_start(bc_table_u8((uint16_t)(at + BC_BINDING_CUE)), time, button);
        }
        at = (uint16_t)(at + BC_BINDING_SIZE);
        count--;
    }
}

static void obey(uint8_t request, uint32_t time) {
    uint8_t argument = request & ARGUMENT;
    switch (request & ~ARGUMENT) {
    case BC_ASK_CUE:
        if (player.mode == BC_MODE_READY) {
            bc_cue_start(argument, time, 0);
        } else {
            bc_count_refused();
        }
        break;
    case BC_ASK_DOWN:
        button_down(argument, time);
        break;
    case BC_ASK_UP:
        bc_button_is_up(argument);
        break;
    case BC_ASK_STOP:
        stop(time);
        break;
    case BC_ASK_LIMP:
        enter_limp();
        break;
    default:
        if (player.mode == BC_MODE_LIMP) {
            enter_starting();
        } else {
            bc_count_refused();
        }
        break;
    }
}

/* -- the frame ---------------------------------------------------------------------------------- */

static void take_requests(uint32_t time) {
    uint8_t n;
    for (n = 0; n < player.queued; n++) {
        obey(player.queue[n], time);
    }
    player.queued = 0;
}

static void mind_silence(uint32_t time) {
    if (player.heard) {
        player.heard = false;
        player.armed = true;
        player.silence = 0;
    } else if (player.silence != 0xFFFF) {
        player.silence++;
    }
    if (player.mode == BC_MODE_READY && player.armed && player.lost_time > 0 &&
        player.lost != BC_NONE && player.silence >= (uint16_t)(LOST_STEP * player.lost_time)) {
        player.armed = !bc_cue_start(player.lost, time, 0);
    }
}

/* How many servos have pulses. */
static uint8_t enabled_servos(void) {
    uint8_t count = bc_servos_count();
    uint8_t n;
    if (player.mode == BC_MODE_LIMP) {
        return 0;
    }
    if (player.mode == BC_MODE_STARTING) {
        for (n = 0; n < count; n++) {
            if (!is_enabled(n)) {
                return n;
            }
        }
    }
    return count;
}

static void control(uint32_t time) {
    if (player.mode == BC_MODE_STARTING && is_enabled(bc_servos_count())) {
        player.mode = BC_MODE_READY;
        bc_lights_safe();
    }
    take_requests(time);
    mind_silence(time);
    if (player.mode == BC_MODE_READY) {
        bc_runs_start_waiting(time);
        bc_runs_start_idle(time, player.idle);
    }
    bc_runs_play(time);
    if (player.mode == BC_MODE_STOPPING && bc_servos_have_ended(time)) {
        enter_limp();
    }
    bc_table_release();
}

void bc_player_frame(void) {
    uint32_t time;
    uint16_t cursor = bc_table_tell();
    uint8_t before;
    if (player.mode == BC_MODE_BLANK) {
        return;
    }
    before = bc_table_choose(player.source);
    time = bc_player_time();
    control(time);
    bc_servos_show(time, enabled_servos());
    bc_hal_pulses_ready();
    bc_lights_show(time);
    bc_hal_pixels_ready();
    if (player.mode == BC_MODE_STARTING) {
        player.starting++;
    }
    player.frames++;
    bc_table_choose(before);
    bc_table_seek(cursor);
}
