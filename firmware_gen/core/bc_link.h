/* The board's end of the link: LINK.md. */
#ifndef BC_LINK_H
#define BC_LINK_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_frames.h" /* bc_listen */

/* Begin anew, as after a reset; `cause` is for the state report. */
void bc_link_start(uint8_t cause);

/* Another table plays, or none. */
void bc_link_show_changed(void);

/* Act on a complete frame, if there is one; whether it has been dealt with. */
bool bc_answer(void);

/* Answer a verify or commit whose bytes are all stored by now; a commit starts the new show. */
void bc_link_finish(void);

/* A frame begins: what was held over a link that has died is let go. */
void bc_link_frame(void);

#endif
