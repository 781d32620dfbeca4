/* Two places for tables, and the merged one; one of them current: LINK.md section 6. */
#ifndef BC_STORE_H
#define BC_STORE_H

#include <stdbool.h>
#include <stdint.h>

/* What hello says of the current slot, if it is none or the table merged behind the firmware. */

/*
 * Find the current table, as at every start: its source (enum bc_source), BC_SOURCE_NONE if there
 * is none to play. Checks one table after another until one is accepted.
 */
uint8_t bc_store_choose(void);

/* The current slot as hello states it, and why no table plays (0: one does). */
uint8_t bc_store_current(void);
uint8_t bc_store_refusal(void);

/* Prepare the slot that is not current; drops what was under way. */
void bc_store_open(void);

/* Whether a piece can be taken. */
bool bc_store_has_room(void);

/* Take a piece of a table for the slot being filled; it has room. At most BC_CHUNK bytes. */
void bc_store_put(uint16_t offset, const uint8_t *bytes, uint8_t count);

/* Queue the writes that make the filled slot a table, and current; all its pieces are stored. */
void bc_store_commit(void);

/* Whether all is stored. */
bool bc_store_is_idle(void);

/* CRC and refusal of the `length` bytes stored in the slot being filled. */
struct bc_verdict {
    uint16_t crc;    /* of all but the last two bytes */
    uint16_t stated; /* those two */
    uint8_t refusal;
    uint8_t address;
};
void bc_store_judge(uint16_t length, struct bc_verdict *verdict);

/* Start the next write, if none is in progress and the table is not being read. */
void bc_store_step(void);

/* Forget what was under way. */
void bc_store_start(void);

#endif
