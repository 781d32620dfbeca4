/* Which cue runs, on which outputs, and what it does next: TABLE.md section 2. */
#ifndef BC_RUNS_H
#define BC_RUNS_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"
#include "bc_generated.h"

/* Instead of the button by which a cue starts: none. */
enum { BC_NO_BUTTON = 0 };

/* Beside the button by which a cue starts: it is held until the button is pressed again. */
enum { BC_TOGGLED = 0x40 };

enum { BC_CUE_SET = BC_CUES / 8 }; /* bytes that hold a bit for each cue */

/* End all runs, forget waiting cues. */
void bc_runs_end(void);

/* Forget everything, the buttons that are down as well: another table. */
void bc_runs_clear(void);

/*
 * Start a cue in the frame that is being played, by a button or BC_NO_BUTTON, or leave it waiting.
 * False if it was refused.
 */
bool bc_cue_start(uint8_t cue, uint8_t button);

/* A button goes down or up. */
void bc_button_is_down(uint8_t button);
void bc_button_is_up(uint8_t button);
bool bc_is_button_down(uint8_t button);

#if BC_CHIP_SENSES
/*
 * Whether a cue that was started by a toggled button is on, or waits to be. Then it is let go, or
 * ended, or waits no more.
 */
bool bc_cue_is_on(uint8_t cue, uint8_t by, bool ends);
#endif

#if BC_CHIP_SENSES
/* The outputs that cues have, and no strand of idle. */
uint16_t bc_runs_taken(void);

/* An output followed a source that is lost, and was held: it glides to idle or to rest. */
void bc_runs_source_is_lost(uint8_t output);
#endif

/* Start the strands of idle. Nothing runs yet. */
void bc_runs_start_strands(void);

/* Start the waiting cues whose outputs no other cue owns. */
void bc_runs_start_waiting(void);

/* State. */
uint8_t bc_runs_live(void);
void bc_runs_cues(uint8_t cues[BC_CUE_SET]); /* the cues that run, bit n of byte 0 first */

/* Counters; they stop at 65535. */
uint16_t bc_refused(void);
void bc_count(uint16_t *counter);
void bc_count_refused(void);

#endif
