/* How the parts take turns. */
#ifndef BC_BOARD_H
#define BC_BOARD_H

/* What bc_service does, but for work that takes long or changes what plays; from within a frame. */
void bc_service_within_frame(void);

#endif
