/* The threads of runs, and what each does next: TABLE.md section 2. */
#ifndef BC_THREADS_H
#define BC_THREADS_H

#include <stdint.h>

/* Start the lowest free thread; the reservations of runs see to it that there is one. */
void bc_thread_spawn(uint8_t run, uint16_t at, uint32_t time, uint16_t rounds);

/* How many threads a run has. */
uint8_t bc_run_threads(uint8_t run);

/* End what a run still does; its motions go on and belong to no run. */
void bc_threads_end(uint8_t run);

/* End all threads; of all runs. */
void bc_threads_clear(void);

/* Execute what is due up to the frame's time. */
void bc_threads_play(void);

/* Frames in which more was due than fits one; stops at 65535. */
uint16_t bc_overruns(void);
void bc_overruns_clear(void);

#endif
