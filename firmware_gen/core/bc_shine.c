#include "bc_shine.h"

#if BC_CHIP_SENSES

#include "bc_generated.h"
#include "bc_math.h"
#include "bc_servo.h"
#include "bc_table.h"
#include "bellcrank.h"

/* TABLE.md section 12 names these values. */
struct shine {
    uint32_t since; /* when it began to shine with its move */
    int16_t from;   /* 0.01 deg, or deg/s */
    int16_t to;
    uint8_t from_level; /* half percents of L* */
    uint8_t to_level;
    uint8_t output; /* the lamp's number among the outputs */
    uint8_t lamp;   /* among the lamps */
    uint8_t servo;  /* among the servos */
    bool by_speed;
    bool is_on;
    bool is_there; /* it has come all the way from the lamp's own level */
};

static struct shine shines[BC_LAMPS];
static uint8_t count;

void bc_shines_clear(void) { count = 0; }

void bc_shines_add(uint8_t lamp) {
    struct shine *shine = &shines[count];
    uint8_t servo = bc_next_u8();
    shine->from = bc_next_i16();
    shine->to = bc_next_i16();
    shine->from_level = bc_next_u8();
    shine->to_level = bc_next_u8();
    shine->output = lamp;
    shine->lamp = bc_output_place(lamp);
    shine->servo = bc_output_place((uint8_t)(servo & ~BC_FLAG));
    shine->by_speed = (servo & BC_FLAG) != 0;
    shine->is_on = false;
    count++;
}

void bc_shines_end(void) {
    uint8_t n;
    for (n = 0; n < count; n++) {
        shines[n].is_on = false;
    }
}

void bc_shines_frame(bool is_ready, uint16_t taken, uint32_t time) {
    uint8_t n;
    for (n = 0; n < count; n++) {
        struct shine *shine = &shines[n];
        if (!shine->is_on && is_ready && !(taken >> shine->output & 1)) {
            shine->is_on = true;
            shine->is_there = false;
            shine->since = time;
        }
    }
}

/* How far a position, or ten times a speed, is from `from` to `to`, 0 to BC_SHARE_ONE. */
static uint32_t share_of(const struct shine *shine, int32_t place) {
    int32_t from = (int32_t)shine->from * (1L << 15);
    uint32_t whole = (uint32_t)((int32_t)shine->to - shine->from) << 7;
    if (place <= from) {
        return 0;
    }
    return bc_progress(((uint32_t)place - (uint32_t)from) >> 8, whole);
}

/* Ten times a speed in 0.01 deg per ms, which is deg/s; either way, and no more than fits. */
static int32_t pace_of(int32_t speed) {
    enum { MOST = 0x7FFFFFFF };
    int32_t size = speed < 0 ? -speed : speed;
    return size > MOST / 10 ? MOST : 10 * size;
}

/* The level that the move gives, Q8. */
static uint16_t wanted(const struct shine *shine, uint32_t time) {
    int32_t place = shine->by_speed ? pace_of(bc_servo_speed(shine->servo, time))
                                    : bc_servo_position(shine->servo, time);
    int32_t way = ((int32_t)shine->to_level - shine->from_level) * 256;
    return (uint16_t)(shine->from_level * 256 + bc_scale(way, share_of(shine, place)));
}

/* How much of that has come, 0 to BC_SHARE_ONE. */
static uint32_t arrived(struct shine *shine, uint32_t time) {
    uint32_t whole = (uint32_t)bc_header(BC_AT_GLIDE) * BC_GLIDE_STEP_MS * BC_MS;
    uint32_t share = BC_SHARE_ONE;
    if (!shine->is_there && whole > 0) {
        share = bc_progress(time - shine->since, whole);
    }
    shine->is_there = share == BC_SHARE_ONE;
    return share;
}

static struct shine *shine_of(uint8_t lamp) {
    uint8_t n;
    for (n = 0; n < count; n++) {
        if (shines[n].lamp == lamp && shines[n].is_on) {
            return &shines[n];
        }
    }
    return 0;
}

uint16_t bc_shine_level(uint8_t lamp, uint16_t level, uint32_t time) {
    struct shine *shine = shine_of(lamp);
    int32_t way;
    if (shine == 0) {
        return level;
    }
    way = (int32_t)wanted(shine, time) - level;
    return (uint16_t)(level + bc_scale(way, arrived(shine, time)));
}

void bc_shine_ends(uint8_t lamp) {
    struct shine *shine = shine_of(lamp);
    if (shine != 0) {
        shine->is_on = false;
    }
}

#endif
