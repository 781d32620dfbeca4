/* A board that follows another one: TABLE.md 7, LINK.md 7. */
#ifndef BC_FOLLOW_H
#define BC_FOLLOW_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_frames.h"
#include "bc_player.h"

#if BC_CHIP_FOLLOWS

/* Another table is played. */
void bc_follow_start(void);

/* A radio brings each state so much later than a cable would, in 1/256 ms. */
void bc_follow_over_radio(uint16_t late);

/* Whether the board's table says that it follows; and whether it does, as it has heard the other
 * within a second. */
bool bc_is_follower(void);
bool bc_follows(void);

/* A state of the board that leads came, at this moment of the frame. */
void bc_follow_hear(const struct bc_frame *frame, uint16_t moment);

/* Somebody stops this board itself, or lets it start again. */
void bc_follow_stopped_here(bool stopped);

/* In a frame, after the requests: what the state that was heard asks of the board in this mode, an
 * enum bc_asked, or BC_ASK_CUE for nothing. */
uint8_t bc_follow_mode(uint8_t mode);

/* Then: play what the other board plays. */
void bc_follow_runs(bool is_ready);

/* After the threads: end what the other board does not have. */
void bc_follow_end_others(bool is_ready);

/* The strands begin in this frame. */
void bc_follow_idle_begins(void);

#else

#define bc_follow_start() ((void)0)
#define bc_follow_over_radio(late) ((void)(late))
#define bc_is_follower() false
#define bc_follows() false
#define bc_follow_hear(frame, moment) ((void)(frame))
#define bc_follow_stopped_here(stopped) ((void)0)
#define bc_follow_mode(mode) BC_ASK_CUE
#define bc_follow_runs(is_ready) ((void)0)
#define bc_follow_end_others(is_ready) ((void)0)
#define bc_follow_idle_begins() ((void)0)

#endif

#endif
