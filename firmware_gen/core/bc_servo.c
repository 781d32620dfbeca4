#include "bc_servo.h"

#include "bc_board.h"
#include "bc_math.h"
#include "bc_table.h"
#include "bellcrank.h"

/* TABLE.md section 3.2 names these values. Positions are in 0.01 deg, Q15; times in 1/256 ms. */
struct servo {
    uint16_t record;  /* where it stands in the table */
    uint16_t last;    /* pulse before pulses ended; 0: there was none */
    uint32_t start;   /* t0 */
    uint32_t total;   /* T; the end is always t0 + T */
    uint32_t brake;   /* tb */
    int32_t way;      /* D */
    int32_t residual; /* R */
    int16_t target;   /* 0.01 deg */
    uint8_t law_id;
    uint8_t law;          /* index in the table, BC_NONE: it has no parameters there */
    uint8_t run;          /* that the motion belongs to, or BC_NO_RUN */
    bool is_moving : 1;   /* the motion has not ended */
    bool brake_first : 1; /* the brake ends at t0, otherwise it starts there */
    bool is_shown : 1;    /* at rest, and the pulse is right */
    bool is_changed : 1;  /* within a frame: the pulse is yet to be worked out */
#if BC_CHIP_SENSES
    bool is_tracked;
    int32_t tracked; /* position that is followed, in place of that of the motion */
    int32_t tracked_speed;
#endif
};

static struct servo servos[BC_SERVOS];
static uint8_t count;

void bc_servos_clear(void) { count = 0; }

uint8_t bc_servos_count(void) { return count; }

void bc_servos_add(uint16_t record) {
    servos[count].record = record;
    servos[count].last = 0;
#if BC_CHIP_SENSES
    servos[count].is_tracked = false;
#endif
    count++;
}

/* -- where a servo is ----------------------------------------------------------------------- */

/* An angle as a position. */
static int32_t position_of(int16_t angle) { return (int32_t)angle * (1L << BC_ANGLE_BITS); }

static uint32_t size_of(int32_t value) {
    return value < 0 ? 0u - (uint32_t)value : (uint32_t)value;
}

static int32_t with_sign(uint32_t size, bool is_negative) {
    return is_negative ? -(int32_t)size : (int32_t)size;
}

/* Laws without parameters need not be read. */
static void find_law(const struct servo *servo, struct bc_law *law) {
    law->id = servo->law_id;
    law->alpha = 0;
    law->beta = 0;
    law->peak = BC_PEAK_MIDDLE;
    if (servo->law != BC_NONE) {
        bc_table_law(servo->law, law);
    }
}

/* How far a motion is, 0 to BC_SHARE_ONE: then it has ended. */
static uint32_t progress_at(struct servo *servo, uint32_t time) {
    uint32_t share = bc_progress(time - servo->start, servo->total);
    if (share == BC_SHARE_ONE) {
        servo->is_moving = false;
    }
    return share;
}

/* What is left of the brake at a time, 0 to BC_SHARE_ONE; 0 if it is over. */
static uint32_t brake_left_at(const struct servo *servo, uint32_t time) {
    uint32_t end = servo->brake_first ? servo->start : servo->start + servo->brake;
    return bc_progress(end - time, servo->brake);
}

/* One at rest stays so, however long: its times no longer count. */
static int32_t position_at(struct servo *servo, uint32_t time) {
    int32_t position = position_of(servo->target);
    struct bc_law law;
    uint32_t share;
    if (!servo->is_moving) {
        return position;
    }
    share = progress_at(servo, time);
    if (!servo->is_moving) {
        return position;
    }
    find_law(servo, &law);
    position += bc_scale(servo->way, bc_law_position(&law, share)) - servo->way;
    share = brake_left_at(servo, time);
    if (share > 0) {
        position -= bc_scale(servo->residual, (uint32_t)bc_scale((int32_t)share, share));
    }
    return position;
}

/* Speed, in 0.01 deg per ms, Q15, of a part that would go `way` in `total` at slope 1 (Q14). */
static int32_t speed_of(int32_t way, uint16_t slope, uint32_t total) {
    uint32_t size = bc_quotient((uint32_t)bc_scale((int32_t)size_of(way), slope), 1024, total);
    return with_sign(size, way < 0);
}

static int32_t speed_at(struct servo *servo, uint32_t time) {
    int32_t speed = 0;
    struct bc_law law;
    uint32_t share;
    if (!servo->is_moving) {
        return 0;
    }
    share = progress_at(servo, time);
    if (!servo->is_moving) {
        return 0;
    }
    if (share > 0) {
        find_law(servo, &law);
        speed = speed_of(servo->way, bc_law_slope(&law, share), servo->total);
    }
    share = brake_left_at(servo, time);
    if (share > 0) {
        speed += speed_of(servo->residual, (uint16_t)(share >> 1), servo->brake);
    }
    return speed;
}

#if BC_CHIP_SENSES
int32_t bc_servo_position(uint8_t number, uint32_t time) {
    struct servo *servo = &servos[number];
    return servo->is_tracked ? servo->tracked : position_at(servo, time);
}

int32_t bc_servo_speed(uint8_t number, uint32_t time) {
    struct servo *servo = &servos[number];
    return servo->is_tracked ? servo->tracked_speed : speed_at(servo, time);
}
#endif

#ifdef BC_TELLS_MOTION
void bc_servo_motion(uint8_t number, uint32_t time, struct bc_motion *found) {
    const struct servo *servo = &servos[number];
    struct bc_law law;
    uint32_t brake_end = servo->brake_first ? servo->start : servo->start + servo->brake;
    int32_t left = (int32_t)(brake_end - time);
    find_law(servo, &law);
    found->is_moving = servo->is_moving;
    found->law_id = law.id;
    found->alpha = law.alpha;
    found->beta = law.beta;
    found->peak = law.peak;
    found->target = position_of(servo->target);
    found->way = servo->way;
    found->elapsed = (int32_t)(time - servo->start);
    found->total = (int32_t)servo->total;
    found->residual = servo->residual;
    found->brake_left = left > 0 ? left : 0;
    found->brake = (int32_t)servo->brake;
    found->is_tracked = 0;
    found->tracked = 0;
    found->tracked_speed = 0;
#if BC_CHIP_SENSES
    found->is_tracked = servo->is_tracked;
    found->tracked = servo->tracked;
    found->tracked_speed = servo->tracked_speed;
#endif
}
#endif

/* -- planning a move ------------------------------------------------------------------------ */

/* What a motion is planned from. */
struct plan {
    struct bc_law law;
    int32_t position; /* at the start */
    int32_t speed;
    int16_t travel_low; /* the servo's record */
    int16_t travel_high;
    uint16_t speed_limit;
    uint16_t acceleration_limit;
};

static void read_limits(struct plan *plan, uint16_t record) {
    bc_table_seek((uint16_t)(record + BC_SERVO_TRAVEL_LOW));
    plan->travel_low = bc_next_i16();
    plan->travel_high = bc_next_i16();
    plan->speed_limit = bc_next_u16();
    plan->acceleration_limit = bc_next_u16();
}
BC_ASSERT(limits_stand_in_a_row, BC_SERVO_TRAVEL_HIGH == BC_SERVO_TRAVEL_LOW + 2 &&
                                     BC_SERVO_SPEED_LIMIT == BC_SERVO_TRAVEL_HIGH + 2 &&
                                     BC_SERVO_ACCELERATION_LIMIT == BC_SERVO_SPEED_LIMIT + 2);

/* How far it is from the position to the end of travel ahead; 0 if that lies behind. */
static uint32_t room_ahead(const struct plan *plan) {
    int32_t room = plan->speed < 0 ? plan->position - position_of(plan->travel_low)
                                   : position_of(plan->travel_high) - plan->position;
    return room < 0 ? 0 : (uint32_t)room;
}

/* Step 1: brake at the acceleration limit, harder if travel would end before. */
static void plan_brake(struct servo *servo, const struct plan *plan) {
    uint32_t speed = size_of(plan->speed);
    uint32_t brake = 0;
    uint32_t way = 0;
    uint32_t room = room_ahead(plan);
    if (speed > 0) {
        brake = bc_quotient(speed, 625, (uint32_t)plan->acceleration_limit << 3);
        way = bc_quotient(speed, brake, 512);
    }
    if (way > room + ((uint32_t)1 << BC_BRAKE_SLACK_BITS)) {
        way = room;
        brake = bc_quotient(512, way, speed);
    }
    if (brake == 0) {
        way = 0;
    }
    servo->brake = brake;
    servo->residual = with_sign(way, plan->speed < 0);
}

/* Multiply a value by as many fours as go into 32 bits, and tell how many. */
static uint8_t take_fours(uint32_t *value) {
    enum { MOST = 15 }; /* 0 could take any number */
    uint8_t fours = 0;
    while (*value < (uint32_t)1 << 30 && fours < MOST) {
        *value <<= 2;
        fours++;
    }
    return fours;
}

/* How long a way takes at least under a limit of acceleration; fours keep the digits of what is
 * divided. */
static uint32_t time_by_acceleration(uint16_t limit, uint32_t way, uint32_t coefficient) {
    uint8_t fours = take_fours(&way);
    uint32_t share = bc_quotient(way, 625, (uint32_t)limit << 11);
    fours = (uint8_t)(fours + take_fours(&share));
    return (bc_root(bc_quotient(coefficient, share, (uint32_t)1 << 24), 30) >> fours) + 1;
}

static uint32_t time_by_speed(uint16_t limit, uint32_t way, uint16_t coefficient) {
    return bc_quotient(way, (uint16_t)(5 * coefficient), (uint32_t)limit << 16) >> 2;
}

static uint32_t larger(uint32_t a, uint32_t b) { return a > b ? a : b; }

/* In how long a move's speed still grows while the brake dies. */
static uint32_t time_to_rise(uint32_t brake, uint16_t peak) {
    return bc_quotient(brake, BC_SHARE_ONE, peak) + (peak != BC_PEAK_MIDDLE ? 1 : 0);
}

/*
 * Whether a move of a duration surely keeps to a limit. Most moves have time to spare, and
 * quotients and a root take far longer than these products. Both ask for a little more time than
 * the move needs, so that the time by that limit is no longer than the duration.
 */
static bool surely_keeps_speed(uint32_t total, uint16_t limit, uint32_t way, uint16_t coefficient) {
    int16_t needed = (int16_t)(bc_scale((int32_t)way, (uint16_t)(5 * coefficient)) >> 16);
    return needed >> 2 < bc_scale((int32_t)total, limit);
}

/* 5 for 625 / 128, and no law's coefficient is below 4 (Q12): that is more than what is cut off. */
static bool surely_keeps_acceleration(uint32_t total, uint16_t limit, uint32_t way,
                                      uint32_t coefficient) {
    enum { LONGEST = 32768 }; /* its square is a signed number, too */
    uint32_t time = total >> 4 < LONGEST ? total >> 4 : LONGEST;
    uint32_t factor = 5 * coefficient >> 4;
    return factor < BC_SHARE_ONE &&
           bc_scale((int32_t)way, factor) >> 4 < bc_scale((int32_t)(time * time), limit);
}

/* Steps 3 and 4: over the brake if the target lies far enough ahead, else behind it. */
static void plan_times(struct servo *servo, const struct plan *plan, uint32_t start,
                       uint32_t duration) {
    uint32_t way = size_of(servo->way);
    bool is_ahead = (plan->speed < 0) == (servo->way < 0) && way >= (uint32_t)1 << BC_AHEAD_BITS;
    struct bc_coefficients law;
    uint32_t at_speed; /* the total, or a time below K of it */
    uint32_t by_speed;
    bc_law_coefficients(&plan->law, &law);
    servo->start = start;
    servo->brake_first = servo->brake == 0 || !is_ahead || law.overlap == 0;
    if (servo->brake_first) {
        servo->total = larger(duration, servo->brake + BC_MS) - servo->brake;
        servo->start += servo->brake;
        law.overlap = BC_OVERLAP_ONE; /* 1: nothing is laid over it */
        at_speed = servo->total;
    } else {
        servo->total = larger(duration, time_to_rise(servo->brake, plan->law.peak));
        at_speed = servo->total >> 1;
    }
    if (!surely_keeps_speed(at_speed, plan->speed_limit, way, law.speed)) {
        by_speed = time_by_speed(plan->speed_limit, way, law.speed);
        servo->total = larger(servo->total, bc_quotient(by_speed, BC_OVERLAP_ONE, law.overlap));
    }
    if (!surely_keeps_acceleration(servo->total, plan->acceleration_limit, way, law.acceleration)) {
        servo->total = larger(
            servo->total, time_by_acceleration(plan->acceleration_limit, way, law.acceleration));
    }
}

void bc_servo_move(const struct bc_step *act, uint32_t start, uint8_t run) {
    struct servo *servo = &servos[act->output.index];
    struct plan plan = {{BC_LAW_3_4_5, 0, 0, BC_PEAK_MIDDLE}, 0, 0, 0, 0, 0, 0};
    plan.position = position_at(servo, start);
    plan.speed = speed_at(servo, start);
    if (act->law != BC_NONE) {
        bc_table_law(act->law, &plan.law);
    }
    read_limits(&plan, act->output.at);
    plan_brake(servo, &plan);
    servo->target = act->target;
    servo->way = position_of(act->target) - (plan.position + servo->residual); /* step 2 */
    servo->law_id = plan.law.id;
    servo->law = plan.law.alpha == 0 && plan.law.peak == BC_PEAK_MIDDLE ? BC_NONE : act->law;
    servo->run = run;
    servo->is_moving = true;
    servo->is_shown = false;
    plan_times(servo, &plan, start, (uint32_t)act->operand * BC_MS);
}

void bc_servo_rest(const struct bc_step *act) {
    struct servo *servo = &servos[act->output.index];
    servo->target = act->target;
    servo->run = BC_NO_RUN;
    servo->is_moving = false;
    servo->is_shown = false;
}

#if BC_CHIP_SENSES
int32_t bc_servo_own(uint8_t number, uint32_t time, bool is_needed) {
    struct servo *servo = &servos[number];
    if (is_needed) {
        return position_at(servo, time);
    }
    if (servo->is_moving) {
        progress_at(servo, time);
    }
    return position_of(servo->target);
}

void bc_servo_track(uint8_t servo, int32_t position, int32_t speed) {
    servos[servo].is_tracked = true;
    servos[servo].tracked = position;
    servos[servo].tracked_speed = speed;
}

static int32_t nearest_angle(const struct plan *plan, int32_t position) {
    int32_t angle = (position + (1 << (BC_ANGLE_BITS - 1))) >> BC_ANGLE_BITS;
    if (angle < plan->travel_low) {
        return plan->travel_low;
    }
    return angle > plan->travel_high ? plan->travel_high : angle;
}

void bc_servo_halt(uint8_t number, int32_t position, int32_t speed, uint32_t start) {
    struct servo *servo = &servos[number];
    struct plan plan = {{BC_LAW_3_4_5, 0, 0, BC_PEAK_MIDDLE}, 0, 0, 0, 0, 0, 0};
    plan.position = position;
    plan.speed = speed;
    read_limits(&plan, servo->record);
    plan_brake(servo, &plan);
    servo->target = (int16_t)nearest_angle(&plan, position + servo->residual);
    servo->way = position_of(servo->target) - (position + servo->residual);
    servo->law_id = plan.law.id;
    servo->law = BC_NONE;
    servo->run = BC_NO_RUN;
    servo->is_moving = true;
    servo->is_shown = false;
    servo->is_tracked = false;
    plan_times(servo, &plan, start, 0);
}
#endif

/* -- motions and runs ----------------------------------------------------------------------- */

uint32_t bc_servo_left(uint8_t number, uint8_t run, uint32_t time) {
    struct servo *servo = &servos[number];
    if (!servo->is_moving || servo->run != run || progress_at(servo, time) == BC_SHARE_ONE) {
        return 0;
    }
    return servo->start + servo->total - time;
}

uint32_t bc_servos_left(uint8_t run, uint32_t time) {
    uint32_t longest = 0;
    uint8_t n;
    for (n = 0; n < count; n++) {
        longest = larger(longest, bc_servo_left(n, run, time));
    }
    return longest;
}

void bc_servos_disown(uint8_t run) {
    uint8_t n;
    for (n = 0; n < BC_SERVOS; n++) {
        if (servos[n].run == run) {
            servos[n].run = BC_NO_RUN;
        }
    }
}

bool bc_servos_have_ended(uint32_t time) {
    uint8_t n;
    for (n = 0; n < count; n++) {
        if (servos[n].is_moving && progress_at(&servos[n], time) != BC_SHARE_ONE) {
            return false;
        }
    }
    return true;
}

/* -- pulses --------------------------------------------------------------------------------- */

/* A calibration point. */
struct point {
    int16_t angle;
    uint16_t pulse;
};

static struct point next_point(void) {
    struct point point;
    point.angle = bc_next_i16();
    point.pulse = bc_next_u16();
    return point;
}

/* Between two points: half ticks, so that the result is the nearest. */
static uint16_t between(struct point a, struct point b, int32_t position) {
    uint32_t part = (uint32_t)(position - position_of(a.angle)) >> 8;
    uint32_t whole = (uint32_t)(uint16_t)((uint16_t)b.angle - (uint16_t)a.angle) << 7;
    int16_t rise = (int16_t)(b.pulse - a.pulse);
    int32_t halves = bc_scale(2 * (int32_t)rise, bc_progress(part, whole));
    return (uint16_t)(a.pulse + ((int16_t)(halves + 1) >> 1));
}

/* Pulse width at a position, clamped to travel, from the calibration points. */
static uint16_t pulse_at(uint16_t record, int32_t position) {
    int32_t angle = position >> BC_ANGLE_BITS; /* whole 0.01 deg: points have no finer ones */
    uint8_t points;
    int16_t low;
    int16_t high;
    struct point a;
    struct point b;
    bc_table_seek((uint16_t)(record + BC_SERVO_POINTS));
    points = bc_next_u8();
    low = bc_next_i16();
    high = bc_next_i16();
    if (angle < low) {
        angle = low;
        position = position_of(low);
    } else if (angle >= high) {
        angle = high;
        position = position_of(high);
    }
    bc_table_seek((uint16_t)(record + BC_SERVO_SIZE));
    b = next_point();
    do {
        a = b;
        b = next_point();
        points--;
    } while (points > 1 && b.angle <= angle);
    return between(a, b, position);
}

/* First what takes long, while cells may be written; then what needs the table, in one go. */
void bc_servos_show(uint32_t time, uint8_t enabled) {
    int32_t positions[BC_SERVOS];
    uint8_t n;
    for (n = 0; n < count; n++) {
        struct servo *servo = &servos[n];
#if BC_CHIP_SENSES
        positions[n] = servo->tracked;
        if (servo->is_tracked) {
            servo->is_shown = false;
        } else {
            positions[n] = position_at(servo, time);
        }
#else
        positions[n] = position_at(servo, time);
#endif
        servo->is_changed = false;
        if (n >= enabled) {
            if (bc_image.pulse[n] != 0) {
                servo->last = bc_image.pulse[n];
            }
            bc_image.pulse[n] = 0;
            servo->is_shown = false;
        } else if (!servo->is_shown) {
            servo->is_shown = !servo->is_moving;
            servo->is_changed = true;
        }
        bc_service_within_frame();
    }
    for (n = 0; n < count; n++) {
        if (servos[n].is_changed) {
            bc_image.pulse[n] = pulse_at(servos[n].record, positions[n]);
        }
    }
    bc_table_release();
}

/* -- jogging -------------------------------------------------------------------------------- */

uint16_t bc_servo_stood(uint8_t number) {
    const struct servo *servo = &servos[number];
    uint16_t pulse = bc_image.pulse[number];
    if (pulse == 0) {
        pulse = servo->last;
    }
    if (pulse == 0) { /* then it has rested at its safe angle ever since the table began */
        pulse = pulse_at(servo->record, position_of(servo->target));
        bc_table_release();
    }
    return pulse;
}

void bc_servo_jog(uint8_t number, uint16_t wanted) {
    uint16_t stood = bc_servo_stood(number);
    if (wanted > stood + BC_JOG_STEP) {
        wanted = (uint16_t)(stood + BC_JOG_STEP);
    } else if (wanted + BC_JOG_STEP < stood) {
        wanted = (uint16_t)(stood - BC_JOG_STEP);
    }
    bc_image.pulse[number] = wanted;
}
