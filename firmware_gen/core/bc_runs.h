/* Which cue runs, on which outputs, and what it does next: TABLE.md section 2. */
#ifndef BC_RUNS_H
#define BC_RUNS_H

#include <stdbool.h>
#include <stdint.h>

/* End all runs, forget waiting cues. */
void bc_runs_end(void);

/* Forget everything, the buttons that are down as well: another table. */
void bc_runs_clear(void);

/*
 * Start a cue in the frame of this time, by a button (0: none), or leave it waiting.
 * False if it was refused, which has then been counted.
 */
bool bc_cue_start(uint8_t cue, uint32_t time, uint8_t button);

/* A button goes down or up. */
void bc_button_is_down(uint8_t button);
void bc_button_is_up(uint8_t button);

/* Start the waiting cues whose outputs are free; then the idle cue if nothing runs or waits. */
void bc_runs_start_waiting(uint32_t time);
void bc_runs_start_idle(uint32_t time, uint8_t idle);

/* Execute what is due up to the frame's time. */
void bc_runs_play(uint32_t time);

/* State. */
uint8_t bc_runs_live(void);
uint32_t bc_runs_cues(void); /* mask of the cues that run */

/* Counters; they stop at 65535. */
uint16_t bc_refused(void);
uint16_t bc_overruns(void);
void bc_count(uint16_t *counter);
void bc_count_refused(void);

#endif
