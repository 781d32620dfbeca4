#include "bc_player.h"

#include <string.h>

#include "bc_bar.h"
#include "bc_channels.h"
#include "bc_follow.h"
#include "bc_inputs.h"
#include "bc_lead.h"
#include "bc_light.h"
#include "bc_math.h"
#include "bc_perform.h"
#include "bc_presses.h"
#include "bc_relay.h"
#include "bc_runs.h"
#include "bc_sensors.h"
#include "bc_servo.h"
#include "bc_shine.h"
#include "bc_sources.h"
#include "bc_table.h"
#include "bc_threads.h"
#include "bc_tracking.h"
#include "bc_watch.h"
#include "bellcrank.h"

enum { QUEUE = BC_REQUESTS + BC_STOPS, ARGUMENT = 0x1F, ALL_OUTPUTS = 0xFFFF };
BC_ASSERT(cues_are_arguments, (int)BC_CUES <= (int)ARGUMENT + 1);
BC_ASSERT(buttons_are_arguments, (int)BC_BUTTONS <= (int)ARGUMENT);

static struct {
    uint32_t frames;
    uint8_t mode;
    uint8_t source;
    uint8_t lost_time; /* copies of the table's header, so that most frames need not read it; 0 also
                          if there is no lost cue */
    uint8_t interval;
#if BC_CHIP_LEADS
    uint8_t line_rate; /* of the line between boards, an index */
#endif
    uint8_t enabled_servos;  /* have pulses; in the end of a start one more than there are */
    uint8_t frames_to_next;  /* of the quiet start, until one more is enabled */
    bool lights_are_shown;   /* the quiet start came to its end */
    bool heard;              /* since the last frame */
    uint16_t frames_to_lost; /* of silence, until the lost cue starts; 0: it is not armed */
    uint8_t jog_left;        /* frames until the jog ends; 0 or 1: there is none. Only in limp */
    uint8_t jog_rest;        /* frames in which no jog is taken: one was ended */
    uint8_t jog_servo;
    uint16_t jog_pulse;
    uint8_t queued;
    uint8_t queue[QUEUE]; /* requests, the oldest first */
} player;

static uint32_t first_time; /* of frame 0 */

struct bc_image bc_image;

uint8_t bc_player_source(void) { return player.source; }

uint8_t bc_player_mode(void) { return player.mode; }

uint32_t bc_player_frames(void) { return player.frames; }

uint32_t bc_player_time(void) { return first_time + player.frames * BC_FRAME; }

void bc_player_set_clock(uint32_t offset) { first_time = offset; }

void bc_player_pass_over(uint32_t frames) { player.frames += frames; }

void bc_player_heard_hub(void) { player.heard = true; }

void bc_player_heard(void) {
    if (!bc_is_follower()) {
        player.heard = true;
    }
}

bool bc_player_ask(uint8_t asked, uint8_t argument) {
    uint8_t room = asked >= BC_ASK_STOP ? QUEUE : BC_REQUESTS;
    if (player.queued >= room) {
        return false;
    }
    player.queue[player.queued++] = asked | argument;
    return true;
}

bool bc_player_jog(uint8_t servo, uint16_t pulse) {
    bool stop_is_down = bc_is_button_down(bc_header(BC_AT_STOP_BUTTON));
    bc_table_release();
    if (stop_is_down || player.jog_rest > 0) {
        return false;
    }
    player.jog_left = BC_HELD_FRAMES;
    player.jog_servo = servo;
    player.jog_pulse = pulse;
    return true;
}

#if BC_CHIP_LEADS
enum { ELSEWHERE = 0xFF }; /* for the servo that is jogged: it is one of another board's */

bool bc_player_jog_elsewhere(void) { return bc_player_jog(ELSEWHERE, 0); }

bool bc_player_jogs_elsewhere(void) { return player.jog_left > 1 && player.jog_servo == ELSEWHERE; }

bool bc_player_tells_stop(void) {
    return player.mode == BC_MODE_LIMP && player.jog_rest > BC_HELD_FRAMES - BC_STOP_TELLINGS;
}
#endif

bool bc_player_is_asked(void) { return player.queued > 0; }

uint32_t bc_player_show(void) {
    uint32_t show = 0;
    if (player.source != BC_SOURCE_NONE) {
        show = (uint32_t)bc_table_u16(BC_AT_SHOW + 2) << 16 | bc_table_u16(BC_AT_SHOW);
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

/* -- starting ------------------------------------------------------------------------------- */

static void darken(void) {
    uint8_t lamp;
    memset(&bc_image, 0, sizeof bc_image);
    for (lamp = 0; lamp < BC_LAMPS; lamp++) {
        bc_hal_lamp(lamp, 0);
    }
}

/* Whoever wants another jog must want it some time later: a host asks for one again and again. */
static void end_jog(void) {
    if (player.jog_left > 1 || player.jog_rest > 0) {
        player.jog_rest = BC_HELD_FRAMES;
    }
    player.jog_left = 0;
}

static void enter_starting(void) {
    player.mode = BC_MODE_STARTING;
    end_jog();
    player.enabled_servos = player.interval == 0 ? BC_SERVOS + 1 : 1;
    player.frames_to_next = player.interval;
    player.lights_are_shown = false;
    bc_to_safety(BC_SERVO, 0);
    darken();
#if BC_CHIP_SENSES
    bc_presses_rewind();
    bc_shines_end();
#endif
}

static void add_output(const struct bc_output *output) {
    uint8_t pin = bc_table_u8((uint16_t)(output->at + BC_OUTPUT_PIN));
    uint8_t pixels = 0;
    if (output->kind == BC_SERVO) {
        bc_servos_add(output->at);
    } else if (output->kind == BC_LAMP) {
        bc_light_add(output);
    } else if (output->kind == BC_STRIP) {
        bc_light_add(output);
        pixels = bc_table_u8((uint16_t)(output->at + BC_STRIP_PIXELS));
    }
    bc_hal_output(output->kind, output->index, pin, pixels);
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

#if BC_CHIP_SENSES
static void add_watch(uint8_t pin) {
    struct bc_watch_record record;
    record.pin = pin;
    record.scale = bc_next_u16();
    record.low = bc_next_u16();
    record.stop = bc_next_u16();
    record.cue = bc_next_u8();
    bc_watch_begin(&record);
}

/* The record behind its kind. */
static void add_sense(uint8_t kind) {
    uint8_t first = bc_next_u8();
    uint16_t from;
    uint16_t to;
    uint16_t rise;
    uint8_t second;
    switch (kind) {
    case BC_SENSE_PATIENCE:
        second = bc_next_u8();
        bc_presses_wait(first, second, bc_next_u8() != 0);
        break;
    case BC_SENSE_SETTLING:
        bc_inputs_settle(first, bc_next_u8());
        break;
    case BC_SENSE_CHANNEL:
        bc_channels_add(first);
        bc_sources_add(false);
        break;
    case BC_SENSE_SHINE:
        bc_shines_add(first);
        break;
    case BC_SENSE_BAR:
        bc_bars_add(first);
        break;
    case BC_SENSE_BAND:
        from = bc_next_u16();
        to = bc_next_u16();
        bc_channels_band(first, from, to, bc_next_u8());
        break;
    case BC_SENSE_WATCH:
        add_watch(first);
        break;
    case BC_SENSE_SENSOR:
        from = bc_next_u16();
        rise = bc_next_u16();
        bc_sensors_add(first, from, rise, bc_next_u16());
        bc_sources_add(true);
        break;
#if BC_CHIP_LEADS
    case BC_SENSE_RADIO:
        player.line_rate = first;
        bc_follow_over_radio(bc_next_u16());
        break;
    case BC_SENSE_ANSWERS:
        bc_relay_add(first);
        break;
#endif
    case BC_SENSE_FOLLOW:
        bc_tracking_add(first);
        break;
    default: /* a scale is looked for when its cue starts */
        break;
    }
}

static void add_senses(void) {
    uint8_t left;
    bc_presses_clear();
    bc_channels_clear();
    bc_shines_clear();
    bc_bars_clear();
    bc_sensors_clear();
    bc_sources_clear();
    bc_tracking_clear();
    bc_watch_clear();
    for (left = bc_table_senses(); left > 0; left--) {
        uint16_t start = bc_table_tell();
        uint8_t kind = bc_next_u8();
        add_sense(kind);
        bc_table_seek((uint16_t)(start + bc_sense_size(kind)));
    }
}
#endif

void bc_player_start(uint8_t source) {
    memset(&player, 0, sizeof player);
    player.mode = BC_MODE_BLANK;
    darken();
    player.source = source;
    bc_runs_clear();
    bc_hal_release();
#if BC_CHIP_LEADS
    bc_hal_line(0, BC_RATE_OF_CABLE, false);
    bc_relay_start(false);
    player.line_rate = BC_RATE_OF_CABLE;
#endif
    bc_inputs_clear();
    bc_table_forget();
    bc_table_choose(source);
    if (source == BC_SOURCE_NONE) {
        return;
    }
    player.interval = bc_header(BC_AT_ENABLE_INTERVAL);
    if (bc_header(BC_AT_LOST) != BC_NONE) {
        player.lost_time = bc_header(BC_AT_LOST_TIME);
    }
    bc_follow_start();
    bc_lead_start();
    add_outputs();
    add_inputs();
    bc_relay_start(bc_header(BC_AT_ROLE) == BC_ROLE_LEADS);
#if BC_CHIP_SENSES
    add_senses();
#endif
#if BC_CHIP_LEADS
    bc_hal_line(bc_header(BC_AT_ROLE), player.line_rate, bc_relay_answers());
#endif
    enter_starting();
    bc_table_release();
}

/* -- requests ------------------------------------------------------------------------------- */

/* `asked`: somebody wants it; otherwise a stop has come to its end. */
static void enter_limp(bool asked) {
    if (player.mode != BC_MODE_LIMP) {
        bc_lead_limp(asked);
#if BC_CHIP_SENSES
        bc_tracking_hold(ALL_OUTPUTS);
#endif
        player.mode = BC_MODE_LIMP;
        player.enabled_servos = 0;
        bc_runs_end();
        bc_to_safety(BC_SWITCH, 0);
    }
}

static void stop(void) {
    end_jog();
    if (player.mode != BC_MODE_READY) {
        enter_limp(true);
        return;
    }
    player.mode = BC_MODE_STOPPING;
    bc_runs_end();
#if BC_CHIP_SENSES
    bc_tracking_hold(ALL_OUTPUTS);
#endif
    bc_to_safety(BC_SERVO, bc_header(BC_AT_STOP_TIME));
}

static bool may_start(void) { return player.mode == BC_MODE_READY && !bc_follows(); }

/* Start a cue by a button or BC_NO_BUTTON. False if it was refused, which has then been counted. */
static bool start(uint8_t cue, uint8_t button) {
    if (bc_cue_start(cue, button)) {
        return true;
    }
    bc_count_refused();
    return false;
}

/* What stands above the button in a binding. */
enum { BUTTON_STEP = BC_CHIP_SENSES ? BC_PRESS_STEP : BC_FLAG };

static void button_down(uint8_t button) {
    uint8_t left;
    bc_button_is_down(button);
#if BC_CHIP_SENSES
    bc_press_is_noted();
#endif
    if (button == bc_header(BC_AT_STOP_BUTTON)) {
        bc_follow_stopped_here(true);
        stop();
        return;
    }
#if BC_CHIP_SENSES
    if (may_start()) {
        bc_press_begins(button);
        return;
    }
#endif
    for (left = bc_table_bindings(); left > 0; left--) {
        uint8_t its_button = bc_next_u8() % BUTTON_STEP;
        uint8_t cue = bc_next_u8();
        if (its_button == button) {
            uint16_t next = bc_table_tell();
            if (!may_start()) {
                bc_count_refused();
                return;
            }
            start(cue, button);
            bc_table_seek(next);
        }
    }
}

static void obey(uint8_t request) {
    uint8_t argument = request & ARGUMENT;
    switch (request & (uint8_t)~ARGUMENT) {
    case BC_ASK_CUE:
        if (may_start()) {
            start(argument, BC_NO_BUTTON);
        } else {
            bc_count_refused();
        }
        break;
    case BC_ASK_DOWN:
        button_down(argument);
        break;
    case BC_ASK_UP:
        bc_button_is_up(argument);
#if BC_CHIP_SENSES
        bc_press_ends(argument, may_start());
#endif
        break;
    case BC_ASK_STOP:
        bc_follow_stopped_here(true);
        stop();
        break;
    case BC_ASK_STANDBY:
#if BC_CHIP_SENSES
        if (bc_watch_is_empty()) {
            bc_count_refused();
            break;
        }
#endif
        bc_follow_stopped_here(false);
        if (player.mode == BC_MODE_LIMP) {
            enter_starting();
        } else {
            bc_count_refused();
        }
        break;
    default:
        bc_follow_stopped_here(true);
        end_jog();
        enter_limp(true);
        break;
    }
}

/* Do what the board that leads says. */
static void follow(void) {
    switch (bc_follow_mode(player.mode)) {
    case BC_ASK_STOP:
        stop();
        break;
    case BC_ASK_LIMP:
        enter_limp(true);
        break;
    case BC_ASK_STANDBY:
        enter_starting();
        break;
    default:
        break;
    }
    bc_follow_runs(player.mode == BC_MODE_READY);
}

/* -- the frame ------------------------------------------------------------------------------ */

static void take_requests(void) {
    uint8_t n;
    for (n = 0; n < player.queued; n++) {
        obey(player.queue[n]);
    }
    player.queued = 0;
}

/* The silence itself is not counted, only what is left of it until it has lasted too long. */
static void mind_silence(void) {
    bool starts = false;
    if (player.heard) {
        player.heard = false;
        player.frames_to_lost = (uint16_t)(BC_LOST_STEP_FRAMES * player.lost_time);
        return;
    }
    if (player.frames_to_lost > 1) {
        player.frames_to_lost--;
    } else if (player.frames_to_lost == 1) {
        if (player.mode == BC_MODE_READY) {
            starts = start(bc_header(BC_AT_LOST), BC_NO_BUTTON);
        }
        player.frames_to_lost = starts ? 0 : 1; /* else it is tried again */
    }
}

static void enable_next_servo(void) {
    if (player.frames_to_next > 0) {
        player.frames_to_next--;
        if (player.frames_to_next == 0) {
            player.frames_to_next = player.interval;
            player.enabled_servos++;
        }
    }
}

static void jog(void) {
    if (player.jog_rest > 0) {
        player.jog_rest--;
    }
    if (player.jog_left > 1) {
        player.jog_left--;
#if BC_CHIP_LEADS
        if (player.jog_servo == ELSEWHERE) {
            return;
        }
#endif
        bc_servo_jog(player.jog_servo, player.jog_pulse);
    }
}

static void control(void) {
#if BC_CHIP_SENSES
    bc_watch_frame(player.mode, may_start());
#endif
    if (player.mode == BC_MODE_STARTING && player.enabled_servos > bc_servos_count()) {
        player.mode = BC_MODE_READY;
        player.lights_are_shown = true;
        bc_to_safety(BC_SERVO, 0); /* lights; the others are there */
        bc_lead_idle_begins();
        bc_follow_idle_begins();
        bc_runs_start_strands();
    }
    bc_lead_minds_idle();
#if BC_CHIP_SENSES
    bc_channels_frame();
    bc_sensors_frame();
    bc_tracking_listen();
#endif
    take_requests();
#if BC_CHIP_SENSES
    bc_presses_decide(may_start());
#endif
    follow();
    mind_silence();
    if (player.mode == BC_MODE_READY) {
        bc_runs_start_waiting();
    }
    bc_threads_play();
    bc_follow_end_others(player.mode == BC_MODE_READY);
    if (player.mode == BC_MODE_STOPPING && bc_servos_have_ended(bc_player_time())) {
        enter_limp(false);
    }
    bc_lead_tell();
    bc_table_release();
}

void bc_player_frame(void) {
    if (player.mode == BC_MODE_BLANK) {
        return;
    }
    control();
#if BC_CHIP_SENSES
    if (player.mode == BC_MODE_READY) {
        bc_tracking_frame(bc_runs_taken());
    }
#endif
    bc_servos_show(bc_player_time(), player.enabled_servos);
    jog();
    bc_hal_pulses_ready();
#if BC_CHIP_SENSES
    bc_shines_frame(player.mode == BC_MODE_READY, bc_runs_taken(), bc_player_time());
#endif
    if (player.lights_are_shown) {
        bc_lights_show(bc_player_time());
    }
    if (player.mode == BC_MODE_STARTING) {
        enable_next_servo();
    }
    bc_hal_pixels_ready();
#if BC_CHIP_SENSES
    bc_tracking_prepare();
#endif
    player.frames++;
}
