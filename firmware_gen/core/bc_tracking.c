/*
 * A part that follows takes in each frame the quickest speed from which it can still halt where its
 * source wants it. So it never goes beyond that place, whatever the source does.
 */
#include "bc_tracking.h"

#if BC_CHIP_SENSES

#include <string.h>

#include "bc_board.h"
#include "bc_generated.h"
#include "bc_laws.h"
#include "bc_light.h"
#include "bc_math.h"
#include "bc_player.h"
#include "bc_runs.h"
#include "bc_servo.h"
#include "bc_sources.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { HALF_FRAME_MS = BC_FRAME_MS / 2 };

/* Places are positions (0.01 deg, Q15) of a servo or levels (Q8) of a lamp. */
struct follower {
    uint16_t from; /* values of the source */
    uint16_t to;
    int32_t at_from; /* places */
    int32_t at_to;
    int32_t rest;
    int32_t low; /* ends of the travel, or of all levels */
    int32_t high;
    int32_t most;      /* speed; of a lamp the change in a frame */
    int32_t gain;      /* of speed in a frame; 0 of a lamp */
    int32_t hard_gain; /* by which it may brake that came to following too fast */
    int32_t place;     /* while it follows */
    int32_t speed;
    int32_t next_place; /* in the frame to come */
    int32_t next_speed;
    uint32_t since; /* when it began to follow */
    uint16_t held;  /* the source's value without its tremble */
    uint8_t source;
    uint8_t output; /* number in the table */
    uint8_t index;  /* of the servo or the light */
    bool is_servo;
    bool is_mixed;
    bool has_source; /* which is live */
    bool follows;
};

static struct follower followers[BC_OUTPUTS];
static uint8_t count;
static uint32_t glide; /* time of the way over */

void bc_tracking_clear(void) {
    memset(followers, 0, sizeof followers);
    count = 0;
}

/* -- records -------------------------------------------------------------------------------- */

/* A number as a place, without shifting what is negative. */
static int32_t placed(const struct follower *follower, int16_t value) {
    return value * ((int32_t)1 << (follower->is_servo ? BC_ANGLE_BITS : BC_LEVEL_BITS));
}

/* Of deg/s2, and of deg/s. */
static int32_t gain_of(uint16_t acceleration) {
    return (int32_t)((uint32_t)acceleration * 8192 / 125);
}

static int32_t speed_of(uint16_t speed) {
    uint32_t most = (uint32_t)speed * 16384 / 5;
    return most < (uint32_t)BC_FASTEST_FOLLOWING ? (int32_t)most : BC_FASTEST_FOLLOWING;
}

static void read_servo(struct follower *follower, uint16_t record) {
    follower->rest = placed(follower, bc_table_i16((uint16_t)(record + BC_SERVO_SAFE_ANGLE)));
    follower->low = placed(follower, bc_table_i16((uint16_t)(record + BC_SERVO_TRAVEL_LOW)));
    follower->high = placed(follower, bc_table_i16((uint16_t)(record + BC_SERVO_TRAVEL_HIGH)));
    follower->hard_gain = gain_of(bc_table_u16((uint16_t)(record + BC_SERVO_ACCELERATION_LIMIT)));
}

static void read_lamp(struct follower *follower, uint16_t record) {
    follower->rest = placed(follower, bc_table_u8((uint16_t)(record + BC_LAMP_SAFE_LEVEL)));
    follower->low = 0;
    follower->high = placed(follower, BC_LEVEL_MAX);
}

void bc_tracking_add(uint8_t first) {
    struct follower *follower = &followers[count];
    struct bc_output output;
    int16_t at_from;
    int16_t at_to;
    uint16_t speed;
    uint8_t n = 0;
    count++;
    glide = (uint32_t)BC_GLIDE_STEP_MS * BC_MS * bc_header(BC_AT_GLIDE);
    follower->output = first & (uint8_t)~BC_FLAG;
    follower->is_mixed = (first & BC_FLAG) != 0;
    follower->source = bc_next_u8();
    follower->from = bc_next_u16();
    follower->to = bc_next_u16();
    at_from = bc_next_i16();
    at_to = bc_next_i16();
    speed = bc_next_u16();
    follower->gain = gain_of(bc_next_u16());
    bc_outputs_begin(&output);
    while (bc_outputs_next(&output) && n < follower->output) {
        n++;
    }
    follower->index = output.index;
    follower->is_servo = output.kind == BC_SERVO;
    follower->most = follower->is_servo ? speed_of(speed) : (int32_t)speed;
    follower->at_from = placed(follower, at_from);
    follower->at_to = placed(follower, at_to);
    if (follower->is_servo) {
        read_servo(follower, output.at);
    } else {
        read_lamp(follower, output.at);
    }
}

static uint16_t bit_of(const struct follower *follower) {
    return (uint16_t)(1u << follower->output);
}

uint16_t bc_tracking_outputs(void) {
    uint16_t outputs = 0;
    uint8_t n;
    for (n = 0; n < count; n++) {
        outputs |= bit_of(&followers[n]);
    }
    return outputs;
}

bool bc_tracking_rest(uint8_t output, int16_t *target) {
    uint8_t n;
    for (n = 0; n < count; n++) {
        if (followers[n].output == output) {
            *target =
                (int16_t)(followers[n].rest /
                          ((int32_t)1 << (followers[n].is_servo ? BC_ANGLE_BITS : BC_LEVEL_BITS)));
            return true;
        }
    }
    return false;
}

/* -- where it is wanted --------------------------------------------------------------------- */

static void listen(struct follower *follower) {
    uint16_t value;
    bool was_live = follower->has_source;
    follower->has_source = bc_source_value(follower->source, &value);
    if (!follower->has_source) {
        return;
    }
    if (!was_live || value > follower->held + BC_FOLLOW_PLAY) {
        follower->held = was_live ? (uint16_t)(value - BC_FOLLOW_PLAY) : value;
    } else if (value + BC_FOLLOW_PLAY < follower->held) {
        follower->held = (uint16_t)(value + BC_FOLLOW_PLAY);
    }
}

static int32_t inside(const struct follower *follower, int64_t place) {
    if (place < follower->low) {
        return follower->low;
    }
    return place > follower->high ? follower->high : (int32_t)place;
}

/* By the source, and by what idle moves. */
static int32_t asked(const struct follower *follower, int32_t own) {
    uint16_t value = follower->held;
    int64_t place = follower->at_from;
    if (value >= follower->to) {
        place = follower->at_to;
    } else if (value > follower->from) {
        uint16_t part = (uint16_t)(value - follower->from);
        uint16_t whole = (uint16_t)(follower->to - follower->from);
        place += bc_scale(follower->at_to - follower->at_from, bc_share(part, whole));
    }
    if (follower->is_mixed) {
        place += (int64_t)own - follower->rest;
    }
    return inside(follower, place);
}

/* How much of the way over to the source is behind, 0 to BC_SHARE_ONE. What began together asks the
 * same.
 */
static uint32_t gone_over(uint32_t elapsed) {
    static const struct bc_law law = {BC_LAW_3_4_5, 0, 0, BC_PEAK_MIDDLE};
    static uint32_t asked_last;
    static uint32_t share;
    static uint32_t whole;
    if (elapsed >= glide) {
        return BC_SHARE_ONE;
    }
    if (elapsed != asked_last || whole != glide) {
        asked_last = elapsed;
        whole = glide;
        share = bc_law_position(&law, bc_progress(elapsed, whole));
    }
    return share;
}

static int32_t wanted(const struct follower *follower, int32_t own, uint32_t over) {
    int32_t place = asked(follower, own);
    return over == BC_SHARE_ONE ? place : own + bc_scale(place - own, over);
}

/* -- one step ------------------------------------------------------------------------------- */

static int32_t within(int32_t value, int32_t low, int32_t high) {
    if (value < low) {
        return low;
    }
    return value > high ? high : value;
}

/* The greatest n with n (n + 1) <= x; of few digits it takes half as long. */
static uint16_t steps_in(uint32_t x) {
    uint16_t root;
    x = 4 * x + 1;
    root = (uint16_t)(x < 65536 ? bc_root(x << 16, 8) : bc_root(x, 16));
    return (uint16_t)((root - 1) / 2);
}

/* The quickest speed at the end of a frame after which a part can halt at a place, if it would be
 * at `gone` without any. */
static int32_t reaching(int32_t gone, int32_t place, int32_t gain) {
    bool is_back = place < gone;
    uint32_t size = is_back ? (uint32_t)gone - (uint32_t)place : (uint32_t)place - (uint32_t)gone;
    uint16_t steps = steps_in(size / ((uint32_t)HALF_FRAME_MS * (uint32_t)gain));
    uint32_t speed = size / (uint16_t)(HALF_FRAME_MS * (steps + 1));
    speed = (speed + steps * (uint32_t)gain) / 2;
    return is_back ? -(int32_t)speed : (int32_t)speed;
}

/* Speed after this frame. A part that came too fast to halt in its travel brakes harder; one that
 * can halt where it is wanted can do so in its travel. */
static int32_t new_speed(const struct follower *follower, int32_t gone, int32_t place) {
    int32_t gain = follower->gain;
    int32_t hard = follower->hard_gain;
    int32_t old = follower->speed;
    int32_t wished = reaching(gone, place, gain);
    int32_t speed = within(wished, -follower->most, follower->most);
    speed = within(speed, old - gain, old + gain);
    if (speed > 0 && speed > wished && speed > reaching(gone, follower->high, gain)) {
        int32_t most = reaching(gone, follower->high, hard);
        most = most > old - hard ? most : old - hard;
        return speed < most ? speed : most;
    }
    if (speed < 0 && speed < wished && speed < reaching(gone, follower->low, gain)) {
        int32_t least = reaching(gone, follower->low, hard);
        least = least < old + hard ? least : old + hard;
        return speed > least ? speed : least;
    }
    return speed;
}

static void begin_servo(struct follower *follower, uint32_t time) {
    int32_t speed = bc_servo_speed(follower->index, time);
    follower->place = inside(follower, bc_servo_position(follower->index, time));
    follower->speed = within(speed, -BC_FASTEST_FOLLOWING, BC_FASTEST_FOLLOWING);
}

static void begin(struct follower *follower, uint32_t time) {
    follower->since = time;
    follower->follows = true;
    if (follower->is_servo) {
        begin_servo(follower, time);
    } else {
        follower->place = bc_light_at(follower->index, time);
    }
}

void bc_tracking_frame(uint16_t taken) {
    uint8_t n;
    for (n = 0; n < count; n++) {
        struct follower *follower = &followers[n];
        if (!follower->has_source || (taken & bit_of(follower))) {
            continue;
        }
        if (follower->follows) {
            follower->place = follower->next_place;
            follower->speed = follower->next_speed;
        } else {
            begin(follower, bc_player_time());
        }
        if (follower->is_servo) {
            bc_servo_track(follower->index, follower->place, follower->speed);
        } else {
            bc_light_track(follower->index, (uint16_t)follower->place);
        }
    }
    bc_table_release();
}

/* Where its own motion is matters only while it goes over, or if it is mixed. */
static void prepare_servo(struct follower *follower, uint32_t time) {
    uint32_t over = gone_over(time - follower->since);
    bool needs_own = over < BC_SHARE_ONE || follower->is_mixed;
    int32_t own = inside(follower, bc_servo_own(follower->index, time, needs_own));
    int32_t gone = follower->place + HALF_FRAME_MS * follower->speed;
    int32_t speed = new_speed(follower, gone, wanted(follower, own, over));
    int32_t end = gone + HALF_FRAME_MS * speed;
    follower->next_place = inside(follower, end);
    follower->next_speed = follower->next_place == end ? speed : 0;
}

static void prepare_lamp(struct follower *follower, uint32_t time) {
    int32_t own = bc_light_at(follower->index, time);
    int32_t change = wanted(follower, own, gone_over(time - follower->since)) - follower->place;
    follower->next_place = follower->place + within(change, -follower->most, follower->most);
}

void bc_tracking_prepare(void) {
    uint8_t n;
    for (n = 0; n < count; n++) {
        if (!followers[n].follows) {
            continue;
        }
        if (followers[n].is_servo) {
            prepare_servo(&followers[n], bc_player_time());
        } else {
            prepare_lamp(&followers[n], bc_player_time());
        }
        bc_service_within_frame();
    }
    bc_table_release();
}

/* -- leaving -------------------------------------------------------------------------------- */

void bc_tracking_hold(uint16_t outputs) {
    uint32_t time = bc_player_time() - BC_FRAME;
    uint8_t n;
    for (n = 0; n < count; n++) {
        struct follower *follower = &followers[n];
        if (!follower->follows || !(outputs & bit_of(follower))) {
            continue;
        }
        if (follower->is_servo) {
            bc_servo_halt(follower->index, follower->place, follower->speed, time);
        } else {
            bc_light_halt(follower->index, (uint16_t)follower->place, time);
        }
        follower->follows = false;
    }
}

void bc_tracking_listen(void) {
    uint8_t n;
    for (n = 0; n < count; n++) {
        struct follower *follower = &followers[n];
        listen(follower);
        if (follower->follows && !follower->has_source) {
            bc_tracking_hold(bit_of(follower));
            bc_runs_source_is_lost(follower->output);
        }
    }
}

#endif
