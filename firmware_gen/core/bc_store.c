#include "bc_store.h"

#include "bc_check.h"
#include "bc_compiler.h"
#include "bc_math.h"
#include "bc_table.h"
#include "bellcrank.h"

enum {
    MARK_CELL = BC_FIRST_CELL + BC_SLOTS * BC_SLOT_BYTES,
    WITNESS_CELL = MARK_CELL + 1, /* u16: the stamp of the merged table that slots are newer than */
    ERASED = 0xFF,
    MERGED_MAX = 0x4000
};

/* A piece of a table on its way to its slot. */
struct chunk {
    uint16_t cell; /* the next one to write */
    uint8_t left;  /* 0: the chunk is free */
    uint8_t bytes[BC_CHUNK]; /* those left are the last ones */
};

/* A transfer's writes, in their order. All but the pieces are one byte each; the last three stand in a row of cells. */
enum step {
    REPAIR, /* the mark names the current slot */
    ERASE,  /* byte 0 of the slot to be filled */
    PIECES, /* as they come */
    FIRST_BYTE,
    MARK,
    WITNESS_LOW,
    WITNESS_HIGH
};

static struct {
    struct chunk chunks[BC_WINDOW];
    uint8_t next;    /* the chunk that is being written; counts on */
    uint8_t step;    /* enum step: the next write */
    uint8_t first;   /* byte 0 of the table being received */
    uint8_t current; /* enum bc_source */
    uint8_t refusal;
    bool merged;     /* there is a merged table that can be played */
} store;

BC_ASSERT(the_window_is_two_chunks, BC_WINDOW == 2);

/* The n-th of all chunks ever: they take turns. */
static BC_APART struct chunk *chunk_at(uint8_t n) { return (n & 1) ? &store.chunks[1] : &store.chunks[0]; }

/* Where the next table goes. */
static BC_APART uint8_t target(void) {
    return store.current == BC_SOURCE_SLOT_0 ? BC_SOURCE_SLOT_1 : BC_SOURCE_SLOT_0;
}

static uint8_t mark_of(uint8_t slot) { return slot == BC_SOURCE_SLOT_0 ? BC_MARK_0 : BC_MARK_1; }

/* Sources count so that slots are numbered as hello states them. */
BC_ASSERT(merged_has_its_number, (uint8_t)(BC_SOURCE_MERGED - BC_SOURCE_SLOT_0) == BC_MERGED_SLOT);
BC_ASSERT(none_has_its_number, (uint8_t)(BC_SOURCE_NONE - BC_SOURCE_SLOT_0) == BC_NO_SLOT);

uint8_t bc_store_current(void) { return (uint8_t)(store.current - BC_SOURCE_SLOT_0); }

uint8_t bc_store_refusal(void) { return store.refusal; }

/* -- choosing ----------------------------------------------------------------------------------- */

/* Choose the table in a place; the reason why it cannot be played, 0 if it can. */
static BC_APART uint8_t refusal_of(uint8_t source) {
    uint16_t room = source == BC_SOURCE_MERGED ? MERGED_MAX : BC_SLOT_BYTES;
    uint16_t length;
    uint16_t crc;
    uint8_t refusal = BC_REFUSAL_LENGTH;
    bc_table_choose(source);
    length = bc_table_u16(BC_AT_LENGTH);
    if (length <= room) {
        refusal = bc_check(length, bc_header(BC_AT_MAGIC), &crc);
    }
    bc_table_release();
    return refusal;
}

static BC_APART uint16_t merged_u16(uint16_t offset) {
    return (uint16_t)(bc_hal_merged_read(offset) |
                      (uint16_t)bc_hal_merged_read((uint16_t)(offset + 1)) << 8);
}

/* A number behind the merged table that is drawn anew for each merging. */
static uint16_t stamp(void) { return merged_u16(merged_u16(BC_AT_LENGTH)); }

/* The one that slots are newer than. */
static uint16_t witness(void) {
    return (uint16_t)(bc_cell(WITNESS_CELL) | (uint16_t)bc_cell(WITNESS_CELL + 1) << 8);
}

/* The source to play from. The refusal is left as that of the slot which the mark names. */
static uint8_t choice(void) {
    uint8_t slot = bc_cell(MARK_CELL) == BC_MARK_1 ? BC_SOURCE_SLOT_1 : BC_SOURCE_SLOT_0;
    store.merged = refusal_of(BC_SOURCE_MERGED) == BC_REFUSAL_ACCEPTED;
    if (store.merged && witness() != stamp()) {
        return BC_SOURCE_MERGED;
    }
    store.refusal = refusal_of(slot);
    if (store.refusal == BC_REFUSAL_ACCEPTED) {
        return slot;
    }
    slot ^= BC_SOURCE_SLOT_0 ^ BC_SOURCE_SLOT_1;
    if (refusal_of(slot) == BC_REFUSAL_ACCEPTED) {
        return slot;
    }
    return store.merged ? BC_SOURCE_MERGED : BC_SOURCE_NONE;
}

BC_APART uint8_t bc_store_choose(void) {
    store.current = choice();
    if (store.current != BC_SOURCE_NONE) {
        store.refusal = BC_REFUSAL_ACCEPTED;
    }
    return store.current;
}

/* -- receiving ---------------------------------------------------------------------------------- */

static void drop_pieces(void) {
    store.chunks[0].left = 0;
    store.chunks[1].left = 0;
}

void bc_store_start(void) {
    drop_pieces();
    store.step = PIECES;
}

void bc_store_open(void) {
    drop_pieces();
    store.step = store.current >= BC_SOURCE_SLOT_0 ? REPAIR : ERASE;
    store.first = ERASED;
}

bool bc_store_has_room(void) { return store.chunks[0].left == 0 || store.chunks[1].left == 0; }

BC_APART void bc_store_put(uint16_t offset, const uint8_t *bytes, uint8_t count) {
    struct chunk *chunk = chunk_at(store.next);
    uint8_t *to;
    if (chunk->left > 0) {
        chunk = chunk_at((uint8_t)(store.next + 1));
    }
    if (offset == 0) {
        store.first = bytes[0];
        offset++;
        bytes++;
        count--;
    }
    if (count == 0) {
        return;
    }
    chunk->cell = (uint16_t)(bc_slot_cell(target()) + offset);
    chunk->left = count;
    for (to = chunk->bytes + BC_CHUNK - count; count > 0; count--) {
        *to++ = *bytes++;
    }
}

void bc_store_commit(void) { store.step = FIRST_BYTE; }

bool bc_store_is_idle(void) {
    return (store.chunks[0].left | store.chunks[1].left) == 0 && store.step == PIECES && !bc_hal_cell_busy();
}

void bc_store_judge(uint16_t length, struct bc_verdict *verdict) {
    uint8_t before = bc_table_choose(target());
    verdict->refusal = bc_check(length, store.first, &verdict->crc);
    verdict->stated = bc_table_u16((uint16_t)(length - BC_CRC_SIZE));
    verdict->address = bc_header(BC_AT_ADDRESS);
    bc_table_release();
    bc_table_choose(before);
}

/* -- writing ------------------------------------------------------------------------------------ */

struct write {
    uint16_t cell;
    uint8_t value;
};

/* The next byte of the piece that is being written. */
static struct write next_of_piece(void) {
    struct chunk *chunk = chunk_at(store.next);
    struct write write = {chunk->cell++, chunk->bytes[BC_CHUNK - chunk->left]};
    chunk->left--;
    if (chunk->left == 0) {
        store.next++;
    }
    return write;
}

/* The write of a step that is no piece. */
static struct write single(uint8_t step) {
    struct write write = {MARK_CELL, 0};
    if (step == ERASE || step == FIRST_BYTE) {
        write.cell = bc_slot_cell(target());
        write.value = step == ERASE ? ERASED : store.first;
    } else if (step <= MARK) {
        write.value = mark_of(step == MARK ? target() : store.current);
    } else {
        uint8_t offset = (uint8_t)(step - WITNESS_LOW);
        write.cell = (uint16_t)(WITNESS_CELL + offset);
        write.value = bc_hal_merged_read((uint16_t)(merged_u16(BC_AT_LENGTH) + offset));
    }
    return write;
}

/* Only where there is a merged table a slot has to be newer than it. */
static uint8_t step_after(uint8_t step) {
    return step == WITNESS_HIGH || (step == MARK && !store.merged) ? PIECES : (uint8_t)(step + 1);
}

/* What a cell holds already is not written again. */
void bc_store_step(void) {
    if (bc_hal_cell_busy() || bc_table_is_held()) {
        return;
    }
    while (store.step != PIECES || chunk_at(store.next)->left > 0) {
        struct write write;
        if (store.step == PIECES) {
            write = next_of_piece();
        } else {
            write = single(store.step);
            store.step = step_after(store.step);
        }
        if (bc_hal_cell_read(write.cell) != write.value) {
            bc_hal_cell_write(write.cell, write.value);
            return;
        }
    }
}
