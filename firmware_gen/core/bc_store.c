#include "bc_store.h"

#include <string.h>

#include "bc_check.h"
#include "bc_chip.h"
#include "bc_math.h"
#include "bc_table.h"
#include "bellcrank.h"

enum {
    MARK_CELL = BC_FIRST_CELL + BC_SLOTS * BC_SLOT_BYTES,
    WITNESS_CELL = MARK_CELL + 1, /* u16: the stamp of the merged table that slots are newer than */
    ERASED = 0xFF
};

/* A piece of a table on its way to its slot. */
struct chunk {
    uint16_t cell; /* the next one to write */
    uint8_t at;    /* of the next one, in the bytes */
    uint8_t count; /* of the bytes; 0: the chunk is free */
    uint8_t bytes[BC_CHUNK];
};

/* A transfer's writes, in their order. All but the pieces are one byte each. */
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
    uint8_t writing; /* the chunk that is being written; they take turns */
    uint8_t step;    /* enum step: the next write */
    uint8_t first;   /* byte 0 of the table being received */
    uint8_t current; /* enum bc_source */
    uint8_t refusal;
    bool merged; /* there is a merged table that can be played */
} store;

BC_ASSERT(slots_are_two, BC_SLOTS == 2);

/* Where the next table goes. */
static uint8_t target(void) {
    return store.current == BC_SOURCE_SLOT_0 ? BC_SOURCE_SLOT_1 : BC_SOURCE_SLOT_0;
}

static uint8_t mark_of(uint8_t slot) { return slot == BC_SOURCE_SLOT_0 ? BC_MARK_0 : BC_MARK_1; }

/* Sources count so that slots are numbered as hello states them. */
BC_ASSERT(merged_has_its_number, (uint8_t)(BC_SOURCE_MERGED - BC_SOURCE_SLOT_0) == BC_MERGED_SLOT);
BC_ASSERT(none_has_its_number, (uint8_t)(BC_SOURCE_NONE - BC_SOURCE_SLOT_0) == BC_NO_SLOT);

uint8_t bc_store_current(void) { return (uint8_t)(store.current - BC_SOURCE_SLOT_0); }

uint8_t bc_store_refusal(void) { return store.refusal; }

/* -- choosing ------------------------------------------------------------------------------- */

/* Choose the table in a place; the reason why it cannot be played, 0 if it can. */
static uint8_t refusal_of(uint8_t source) {
    uint16_t room = source == BC_SOURCE_MERGED ? BC_MERGED_MAX : BC_SLOT_BYTES;
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

static uint16_t merged_u16(uint16_t offset) {
    return bc_u16(bc_hal_merged_read(offset), bc_hal_merged_read((uint16_t)(offset + 1)));
}

/* A number behind the merged table that is drawn anew for each merging. */
static uint16_t stamp(void) { return merged_u16(merged_u16(BC_AT_LENGTH)); }

/* The one that slots are newer than. */
static uint16_t witness(void) { return bc_u16(bc_cell(WITNESS_CELL), bc_cell(WITNESS_CELL + 1)); }

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
    slot = slot == BC_SOURCE_SLOT_0 ? BC_SOURCE_SLOT_1 : BC_SOURCE_SLOT_0;
    if (refusal_of(slot) == BC_REFUSAL_ACCEPTED) {
        return slot;
    }
    return store.merged ? BC_SOURCE_MERGED : BC_SOURCE_NONE;
}

uint8_t bc_store_choose(void) {
    store.current = choice();
    if (store.current != BC_SOURCE_NONE) {
        store.refusal = BC_REFUSAL_ACCEPTED;
    }
    return store.current;
}

/* -- receiving ------------------------------------------------------------------------------ */

static void drop_pieces(void) {
    for (uint8_t n = 0; n < BC_WINDOW; n++) {
        store.chunks[n].count = 0;
    }
}

static uint8_t chunk_after(uint8_t n) { return (uint8_t)(n + 1 < BC_WINDOW ? n + 1 : 0); }

/* The free chunk whose turn it is to be filled; BC_WINDOW if none is free. */
static uint8_t free_chunk(void) {
    uint8_t chunk = store.writing;
    for (uint8_t n = 0; n < BC_WINDOW; n++) {
        if (store.chunks[chunk].count == 0) {
            return chunk;
        }
        chunk = chunk_after(chunk);
    }
    return BC_WINDOW;
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

bool bc_store_has_room(void) { return free_chunk() != BC_WINDOW; }

void bc_store_put(uint16_t offset, const uint8_t *bytes, uint8_t count) {
    struct chunk *chunk = &store.chunks[free_chunk()];
    if (offset == 0) {
        store.first = bytes[0];
        offset++;
        bytes++;
        count--;
    }
    chunk->cell = (uint16_t)(bc_slot_cell(target()) + offset);
    chunk->at = 0;
    chunk->count = count;
    memcpy(chunk->bytes, bytes, count);
}

void bc_store_commit(void) { store.step = FIRST_BYTE; }

bool bc_store_is_idle(void) {
    return store.chunks[store.writing].count == 0 && store.step == PIECES && !bc_hal_cell_busy();
}

void bc_store_judge(uint16_t length, struct bc_verdict *verdict) {
    uint8_t before = bc_table_choose(target());
    verdict->refusal = bc_check(length, store.first, &verdict->crc);
    verdict->stated = bc_table_u16((uint16_t)(length - BC_CRC_SIZE));
    verdict->address = bc_header(BC_AT_ADDRESS);
    bc_table_release();
    bc_table_choose(before);
}

/* -- writing -------------------------------------------------------------------------------- */

struct write {
    uint16_t cell;
    uint8_t value;
};

/* The next byte of the piece that is being written. */
static struct write next_of_piece(void) {
    struct chunk *chunk = &store.chunks[store.writing];
    struct write write = {chunk->cell, chunk->bytes[chunk->at]};
    chunk->cell++;
    chunk->at++;
    if (chunk->at == chunk->count) {
        chunk->count = 0;
        store.writing = chunk_after(store.writing);
    }
    return write;
}

/* The write of a step that is no piece. */
static struct write single(uint8_t step) {
    struct write write = {MARK_CELL, 0};
    switch (step) {
    case REPAIR:
        write.value = mark_of(store.current);
        break;
    case ERASE:
        write.cell = bc_slot_cell(target());
        write.value = ERASED;
        break;
    case FIRST_BYTE:
        write.cell = bc_slot_cell(target());
        write.value = store.first;
        break;
    case MARK:
        write.value = mark_of(target());
        break;
    case WITNESS_LOW:
        write.cell = WITNESS_CELL;
        write.value = (uint8_t)stamp();
        break;
    default:
        write.cell = WITNESS_CELL + 1;
        write.value = (uint8_t)(stamp() >> 8);
        break;
    }
    return write;
}

/* Only where there is a merged table a slot has to be newer than it. */
static uint8_t step_after(uint8_t step) {
    if (step == WITNESS_HIGH || (step == MARK && !store.merged)) {
        return PIECES;
    }
    return (uint8_t)(step + 1);
}

/* What a cell holds already is not written again. */
void bc_store_step(void) {
    if (bc_hal_cell_busy() || bc_table_is_held()) {
        return;
    }
    while (store.step != PIECES || store.chunks[store.writing].count > 0) {
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
