/* How servos move: TABLE.md section 3.2. Servos are counted within the table. */
#ifndef BC_SERVO_H
#define BC_SERVO_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"
#include "bc_ops.h"

enum { BC_NO_RUN = 15 };

/* Forget all servos; then add one for each record. */
void bc_servos_clear(void);
void bc_servos_add(uint16_t record);
uint8_t bc_servos_count(void);

/* Begin an act's move, which belongs to a run or BC_NO_RUN; one that names no law moves by 3-4-5.
 * Reads the table. */
void bc_servo_move(const struct bc_step *act, uint32_t start, uint8_t run);

/* Stand at an act's target from now on. */
void bc_servo_rest(const struct bc_step *act);

#if BC_CHIP_SENSES
/* Where the own motion of a servo that follows has it at a time; if that is not needed, anything. A
 * motion that has ended is at rest from then on. */
int32_t bc_servo_own(uint8_t servo, uint32_t time, bool is_needed);

/* Let it be at a position that is followed, at a speed, whatever its own motion does. */
void bc_servo_track(uint8_t servo, int32_t position, int32_t speed);

/* Let its own motion brake from a position and a speed, and stay there. Reads the table. */
void bc_servo_halt(uint8_t servo, int32_t position, int32_t speed, uint32_t start);
#endif

/* How long from the time on the run's motion lasts; 0 if there is none. */
uint32_t bc_servo_left(uint8_t servo, uint8_t run, uint32_t time);

/* The same of all servos: how long the last one moves. */
uint32_t bc_servos_left(uint8_t run, uint32_t time);

/* The run's motions belong to no run from now on. */
void bc_servos_disown(uint8_t run);

/* Whether all motions have ended at the time. */
bool bc_servos_have_ended(uint32_t time);

/* Bring the pulses of the first `enabled` servos up to date, 0 for the others. */
void bc_servos_show(uint32_t time, uint8_t enabled);

#ifdef BC_TELLS_MOTION
/* What a servo does at a time, for whoever wants to know how hard that is: no chip tells it. Times
 * are in 1/256 ms, from the time asked for; ways and positions in 0.01 deg, Q15, speeds per ms. */
struct bc_motion {
    int32_t is_moving;
    int32_t is_tracked;
    int32_t law_id;
    int32_t alpha;
    int32_t beta;
    int32_t peak;
    int32_t target;
    int32_t way;
    int32_t elapsed; /* since the way began; below 0 it is yet to begin */
    int32_t total;
    int32_t residual;
    int32_t brake_left; /* 0: it does not brake */
    int32_t brake;
    int32_t tracked;
    int32_t tracked_speed;
};
void bc_servo_motion(uint8_t servo, uint32_t time, struct bc_motion *found);
#endif

#if BC_CHIP_SENSES
/* Where a servo is at a time, in 0.01 deg, Q15, and how fast, in 0.01 deg per ms, Q15; of one that
 * follows, in the last frame. */
int32_t bc_servo_position(uint8_t servo, uint32_t time);
int32_t bc_servo_speed(uint8_t servo, uint32_t time);
#endif

/* The pulse that a servo gets; if it gets none the last one, or that of its safe angle. Reads the
 * table. */
uint16_t bc_servo_stood(uint8_t servo);

/* After bc_servos_show, which cut its pulse: bring a servo one step nearer to a pulse. */
void bc_servo_jog(uint8_t servo, uint16_t wanted);

#endif
