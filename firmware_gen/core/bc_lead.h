/* The board that leads: what it tells the others once a frame. TABLE.md 7, LINK.md 7. */
#ifndef BC_LEAD_H
#define BC_LEAD_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"
#include "bc_generated.h"

#if BC_CHIP_LEADS

/* Another table is played. */
void bc_lead_start(void);

/* A run began, had its button go up, ended. */
void bc_lead_began(uint8_t run);
void bc_lead_released(uint8_t run, bool lets_go);
void bc_lead_ended(uint8_t run);

/* All runs have ended. */
void bc_lead_forget(void);

/* Whether something is told of a run; only where the board leads. */
bool bc_lead_tells(uint8_t run);

/* The strands began in this frame. */
void bc_lead_idle_begins(void);

/* Let the strands begin anew when they have played for very long. */
void bc_lead_minds_idle(void);

/* The board is limp: because somebody wanted it, or at the end of a stop. */
void bc_lead_limp(bool asked);

/* Send the state after a frame. */
void bc_lead_tell(void);

#else

#define bc_lead_start() ((void)0)
#define bc_lead_began(run) ((void)(run))
#define bc_lead_released(run, lets_go) ((void)(run), (void)(lets_go))
#define bc_lead_ended(run) ((void)(run))
#define bc_lead_forget() ((void)0)
#define bc_lead_tells(run) ((void)(run), false)
#define bc_lead_idle_begins() ((void)0)
#define bc_lead_minds_idle() ((void)0)
#define bc_lead_limp(asked) ((void)(asked))
#define bc_lead_tell() ((void)0)

#endif

#endif
