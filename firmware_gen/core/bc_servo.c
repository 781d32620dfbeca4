#include "bc_servo.h"

#include "bc_board.h"
#include "bc_compiler.h"
#include "bc_math.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { MOVING = 0x10, AHEAD = 0x20, SHOWN = 0x40, CHANGED = 0x80, RUN = 0x0F };

/* Positions are in 0.01 deg, Q15; times in 1/256 ms. */
struct servo {
    uint32_t start;    /* t0 */
    uint32_t total;    /* T; the end is always t0 + T */
    bc_u24 brake;      /* tb */
    int32_t way;       /* D */
    int32_t residual;  /* R */
    int16_t target;    /* 0.01 deg */
    uint8_t law;       /* id in the low half, index in the table in the high one */
    uint8_t flags;     /* RUN: that the motion belongs to; MOVING: it has not ended; AHEAD: the brake
                          starts at t0, otherwise it ends there; SHOWN: at rest, and the pulse is right;
                          CHANGED: within a frame, the pulse is yet to be worked out */
};

static struct servo servos[BC_SERVOS];
BC_ASSERT(servo, sizeof(struct servo) <= 24);
static uint8_t count;

void bc_servos_clear(void) { count = 0; }

uint8_t bc_servos_count(void) { return count; }

void bc_servos_add(void) { count++; }

/* The records of servos, one after another: false after the last. */
static bool next_servo(struct bc_output *servo) {
    while (bc_outputs_next(servo)) {
        if (servo->kind == BC_SERVO) {
            return true;
        }
    }
    return false;
}

/* The parameters of a law that has none are 0 already. */
static void law_of(const struct servo *servo, struct bc_law *law) {
    law->id = servo->law & 0x0F;
    if (law->id == BC_LAW_TRAPEZOID || law->id == BC_LAW_DOUBLE_S) {
        bc_table_law(servo->law >> 4, law);
    }
}

/* An angle as a position. */
BC_APART static int32_t whole(int16_t angle) {
#ifdef __AVR__
    /* 2^15 times it: one step to the right from 2^16 times. */
    int32_t found;
    __asm__("movw %C[found], %[angle] \n\t"
            "clr %A[found] \n\t"
            "clr %B[found] \n\t"
            "asr %D[found] \n\t"
            "ror %C[found] \n\t"
            "ror %B[found]"
            : [found] "=&r"(found)
            : [angle] "r"(angle));
    return found;
#else
    return (int32_t)angle * 32768;
#endif
}

/* How far a motion is, 0 to 65536: then it has ended, and is MOVING no more. */
BC_APART static uint32_t progress_of(struct servo *servo, uint32_t time) {
    uint32_t share = bc_progress(time - servo->start, servo->total);
    if ((uint8_t)(share >> 16)) {
        servo->flags = (uint8_t)(servo->flags & ~MOVING);
    }
    return share;
}

/* What is left of the brake at a time, 0 to 65536; 0 if it is over. */
static uint32_t brake_left(const struct servo *servo, uint32_t time) {
    uint32_t left = servo->start - time;
    uint32_t brake = servo->brake;
    if (servo->flags & AHEAD) {
        left += brake;
    }
    return bc_progress(left, brake);
}

/* By its highest byte: asked about four, avr-gcc makes four of the answer. */
static bool is_negative(int32_t value) { return (uint8_t)((uint32_t)value >> 24) >= 0x80; }

BC_APART static uint32_t size_of(int32_t value) {
    return value < 0 ? 0u - (uint32_t)value : (uint32_t)value;
}

BC_APART static int32_t signed_as(uint32_t size, bool down) { return down ? -(int32_t)size : (int32_t)size; }

/* Speed, in 0.01 deg per ms, Q15, of a part that would go `way` in `total` at slope 1 (Q14). */
BC_APART static int32_t speed_of(int32_t way, uint16_t slope, uint32_t total) {
    return signed_as(bc_quotient((uint32_t)bc_scale((int32_t)size_of(way), slope), 1024, total), way < 0);
}

/* Position at a time, or else the speed, which limits keep below 2^30. A motion that has ended is MOVING no more. */
static int32_t state_at(struct servo *servo, uint32_t time, bool of_way) {
    int32_t found = of_way ? whole(servo->target) : 0;
    struct bc_law law = {0, 0, 0};
    uint32_t share = progress_of(servo, time);
    if (!(servo->flags & MOVING)) {
        return found;
    }
    law_of(servo, &law);
    if (of_way) {
        found += bc_scale(servo->way, bc_law_at(&law, share, true)) - servo->way;
    } else if (share > 0) {
        found = speed_of(servo->way, (uint16_t)bc_law_at(&law, share, false), servo->total);
    }
    share = brake_left(servo, time);
    if (share > 0) {
        if (of_way) {
            found -= bc_scale(servo->residual, (uint32_t)bc_scale((int32_t)share, share));
        } else {
            found += speed_of(servo->residual, (uint16_t)(share >> 1), servo->brake);
        }
    }
    return found;
}

/* How far it is from the position that `way` holds to the limit ahead; 0 if that lies behind. */
BC_APART static uint32_t room_of(const struct servo *servo, uint16_t record, bool down) {
    int32_t room = whole(bc_table_i16(
        (uint16_t)(record + (down ? BC_SERVO_TRAVEL_LOW : BC_SERVO_TRAVEL_HIGH))));
    room = signed_as((uint32_t)room - (uint32_t)servo->way, down);
    return room < 0 ? 0 : (uint32_t)room;
}

/* Plan the brake from the position that `way` holds, at a speed and its sign: sets residual and brake. */
BC_APART static void plan_brake(struct servo *servo, uint16_t record, uint32_t speed, bool down) {
    uint32_t brake = bc_quotient(speed, 625,
                                 (uint32_t)bc_table_u16((uint16_t)(record + BC_SERVO_ACCELERATION_LIMIT)) << 3);
    uint32_t way = bc_quotient(speed, brake, 512);
    uint32_t room = room_of(servo, record, down);
    if (way > room) {
        way = room;
        brake = bc_quotient(512, way, speed);
    }
    if (brake == 0) {
        way = 0;
    }
    servo->brake = (bc_u24)brake;
    servo->residual = signed_as(way, down);
}

enum { MOST_FOURS = 30 }; /* only no way has so many */

/*
 * How long a way takes at least under a limit of acceleration. What is divided is multiplied by as many
 * fours before as go into 32 bits, so that it keeps its digits.
 */
BC_APART static uint32_t time_by(uint16_t limit, uint32_t way, uint32_t coefficient) {
    uint8_t fours = 0;
    bool divided = false;
    for (;;) {
        while (way < 1ul << 30 && fours < MOST_FOURS) {
            way <<= 2;
            fours++;
        }
        if (divided) {
            return (bc_root(bc_quotient(coefficient, way, 1ul << 24), 30) >> fours) + 1;
        }
        way = bc_quotient(way, 625, (uint32_t)limit << 11);
        divided = true;
    }
}

BC_APART static void at_least(struct servo *servo, uint32_t duration) {
    if (servo->total < duration) {
        servo->total = duration;
    }
}

/* Fit the move over the brake, if it may be (AHEAD), or else behind it: sets start, total and AHEAD. */
BC_APART static void plan_move(struct servo *servo, uint16_t record, const struct bc_law *law) {
    struct bc_coefficients c;
    uint32_t way = size_of(servo->way);
    uint32_t brake = servo->brake;
    uint32_t by_speed;
    bc_law_coefficients(law, &c);
    by_speed = bc_quotient(way, (uint16_t)(5 * c.speed),
                           (uint32_t)bc_table_u16((uint16_t)(record + BC_SERVO_SPEED_LIMIT)) << 16) >>
               2;
    if (brake > 0 && (servo->flags & AHEAD) && (uint16_t)(way >> 16) >= 1u << (BC_AHEAD_BITS - 16) &&
        c.overlap > 0) {
        by_speed = bc_quotient(by_speed, 256, c.overlap);
        at_least(servo, 2 * brake);
    } else {
        servo->flags = (uint8_t)(servo->flags & ~AHEAD);
        at_least(servo, brake + BC_MS);
        servo->start += brake;
        servo->total -= brake;
    }
    at_least(servo, by_speed);
    if (c.acceleration != 0) {
        at_least(servo, time_by(bc_table_u16((uint16_t)(record + BC_SERVO_ACCELERATION_LIMIT)), way,
                                c.acceleration));
    }
}

void bc_servo_move(const struct bc_step *act, uint32_t start, uint8_t run) {
    struct servo *servo = &servos[act->output.index];
    struct bc_law law = {BC_LAW_3_4_5, 0, 0};
    int32_t position;
    int32_t speed;
    bool down;
    BC_REACH(servo);
    if (act->law != BC_NONE) {
        bc_table_law(act->law, &law);
    }
    position = state_at(servo, start, true);
    speed = state_at(servo, start, false);
    servo->way = position;
    down = is_negative(speed);
    plan_brake(servo, act->output.at, size_of(speed), down);
    servo->target = act->target;
    servo->way = whole(act->target) - (servo->way + servo->residual);
    servo->law = (uint8_t)(act->law << 4 | law.id);
    servo->flags = (uint8_t)((down == is_negative(servo->way) ? MOVING | AHEAD : MOVING) | run);
    servo->start = start;
    servo->total = (uint32_t)act->operand * BC_MS;
    plan_move(servo, act->output.at, &law);
}

void bc_servo_rest(const struct bc_step *act) {
    struct servo *servo = &servos[act->output.index];
    servo->target = act->target;
    servo->flags = BC_NO_RUN;
}

uint32_t bc_servo_left(uint8_t number, uint8_t run, uint32_t time) {
    struct servo *servo = &servos[number];
    progress_of(servo, time);
    if (((servo->flags ^ run) & (MOVING | RUN)) != MOVING) {
        return 0;
    }
    return servo->start + servo->total - time;
}

void bc_servos_disown(uint8_t run) {
    struct servo *servo = servos;
    uint8_t n;
    for (n = BC_SERVOS; n > 0; n--) {
        if (((servo->flags ^ run) & RUN) == 0) {
            servo->flags |= BC_NO_RUN;
        }
        servo++;
        BC_REACH(servo);
    }
}

bool bc_servos_have_ended(uint32_t time) {
    struct servo *servo = servos;
    uint8_t moving = 0;
    uint8_t left;
    for (left = count; left > 0; left--) {
        progress_of(servo, time);
        moving |= servo->flags;
        servo++;
        BC_REACH(servo);
    }
    return !(moving & MOVING);
}

/* Pulse width at a position, from the calibration points. */
BC_APART static uint16_t pulse_at(uint16_t record, int32_t position) {
    uint8_t points;
    int16_t angle;
    int16_t next_angle;
    uint16_t pulse;
    uint16_t next_pulse;
    uint16_t wide;
    int32_t limit;
    uint32_t share;
    bc_table_seek((uint16_t)(record + BC_SERVO_POINTS));
    points = bc_next_u8();
    limit = whole((int16_t)bc_next_u16());
    position = position < limit ? limit : position;
    limit = whole((int16_t)bc_next_u16());
    position = position > limit ? limit : position;
    bc_table_seek((uint16_t)(record + BC_SERVO_SIZE));
    next_angle = (int16_t)bc_next_u16();
    next_pulse = bc_next_u16();
    do {
        angle = next_angle;
        pulse = next_pulse;
        next_angle = (int16_t)bc_next_u16();
        next_pulse = bc_next_u16();
        points--;
    } while (points > 1 && whole(next_angle) <= position);
    position -= whole(angle);
    wide = (uint16_t)((uint16_t)next_angle - (uint16_t)angle);
    share = bc_progress((uint32_t)position >> 8, (uint32_t)wide << 7);
    /* Half ticks, so that the result is the nearest. */
    position = bc_scale((int16_t)(uint16_t)(2 * (uint16_t)(next_pulse - pulse)), share);
    return (uint16_t)(pulse + (uint16_t)((int16_t)(position + 1) >> 1));
}

/* What a servo does now; whether its pulse must be worked out anew, which CHANGED says as well. */
static bool settle(struct servo *servo) {
    uint8_t flags = servo->flags;
    if (flags & SHOWN) {
        return false;
    }
    if (!(flags & MOVING)) {
        flags |= SHOWN;
    }
    servo->flags = flags | CHANGED;
    return true;
}

void bc_servos_show(uint32_t time, uint8_t enabled) {
    int32_t positions[BC_SERVOS];
    int32_t *position = positions;
    uint16_t *pulse = bc_image.pulse;
    struct servo *servo = servos;
    struct bc_output output;
    bool any = false;
    uint8_t left;
    /* First what takes long, while cells may be written; then what needs the table, in one go. */
    for (left = count; left > 0; left--) {
        *position++ = state_at(servo, time, true);
        if (enabled == 0) {
            *pulse = 0;
            servo->flags = (uint8_t)(servo->flags & ~SHOWN);
        } else {
            enabled--;
            if (settle(servo)) {
                any = true;
            }
        }
        bc_service_within_frame();
        pulse++;
        servo++;
        BC_REACH(servo);
    }
    if (any) {
        position = positions;
        pulse = bc_image.pulse;
        servo = servos;
        bc_outputs_begin(&output);
        while (next_servo(&output)) {
            if (servo->flags & CHANGED) {
                servo->flags = (uint8_t)(servo->flags & ~CHANGED);
                *pulse = pulse_at(output.at, *position);
            }
            position++;
            pulse++;
            servo++;
            BC_REACH(servo);
        }
    }
    bc_table_release();
}
