/* Reading the current table where it lies: TABLE.md section 1. No byte of it is copied. */
#ifndef BC_TABLE_H
#define BC_TABLE_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"
#include "bc_generated.h"
#include "bc_laws.h"

/* Where a table lies. */
enum bc_source { BC_SOURCE_MERGED, BC_SOURCE_NONE, BC_SOURCE_SLOT_0, BC_SOURCE_SLOT_1 };

/* Which table is read from now on; returns which was before. */
uint8_t bc_table_choose(uint8_t source);

/*
 * Bytes of the chosen table. If a cell is being written the first read waits for it, listening to
 * the link; no other write starts until bc_table_release.
 */
uint8_t bc_table_u8(uint16_t at);
uint16_t bc_table_u16(uint16_t at);
int16_t bc_table_i16(uint16_t at);
uint8_t bc_header(uint8_t at); /* of the table's header */
void bc_table_release(void);
bool bc_table_is_held(void);

/* A cell of the non-volatile memory, read as above; and the cell where a slot (of enum bc_source)
 * starts. */
uint8_t bc_cell(uint16_t address);
uint16_t bc_slot_cell(uint8_t slot);

/* Find the sections of the chosen table, which has been checked; `colours`: where outputs end.
 * Until it is forgotten it stays as it is: what is known of it may be kept. */
void bc_table_locate(uint16_t colours);
void bc_table_forget(void);

/* Where a record starts. */
uint16_t bc_table_colour(uint8_t index);
uint16_t bc_table_cue(uint8_t index);

/* Bytes of a cue's record: claims stand behind it in the table of a board that leads. */
uint8_t bc_cue_size(void);

/* Bytes of a law's record, by its first; 1 of one that there is not. */
uint8_t bc_law_size(uint8_t kind);

/* Read the law with this index. */
void bc_table_law(uint8_t index, struct bc_law *law);

/* An output's record and what it is; and what it takes to step on from it. */
struct bc_output {
    uint16_t at;
    uint16_t end; /* where the next one starts */
    uint8_t kind;
    uint8_t index; /* among those of its kind; strips go on where lamps may end, so that a light has
                      one number */
    uint8_t left;  /* outputs behind it */
    uint8_t next[BC_KINDS + 1]; /* index, of each kind */
};

/* Find an output by its number, the last one for a number that is too high: record, kind, index. */
void bc_table_output(uint8_t number, struct bc_output *output);

/* Bytes of an output record of a kind. */
uint16_t bc_output_size(uint16_t at, uint8_t kind);

/* Step over outputs in the order of the table: begin, then next until it is false, which leaves the
 * last. */
void bc_outputs_begin(struct bc_output *output);
bool bc_outputs_next(struct bc_output *output);

/* Put the cursor to the first; how many there are. */
uint8_t bc_table_inputs(void);
uint8_t bc_table_bindings(void);
#if BC_CHIP_SENSES
uint8_t bc_table_senses(void);

/* The place of an output among those of its kind, by its number among all; strips as in `index`. */
uint8_t bc_output_place(uint8_t number);

/* Bytes of a sense's record, by its kind; 1 of one that there is not. */
uint8_t bc_sense_size(uint8_t kind);
#endif

/* A cursor: where it is, and the bytes from there on. */
void bc_table_seek(uint16_t at);
uint16_t bc_table_tell(void);
uint8_t bc_next_u8(void);
uint16_t bc_next_u16(void);
int16_t bc_next_i16(void);

/* Index of the cue with this tag; BC_CUES if there is none. */
uint8_t bc_table_find_cue(uint16_t tag);

#endif
