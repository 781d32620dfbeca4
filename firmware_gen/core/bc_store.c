#include "bc_store.h"

#include "bc_check.h"
#include "bc_table.h"
#include "bellcrank.h"

enum {
    MARK_CELL = BC_FIRST_CELL + BC_SLOTS * BC_SLOT_BYTES,
    WITNESS_CELL = MARK_CELL + 1, /* u16: the stamp of the merged table that slots are newer than */
    ERASED = 0xFF,
    MERGED_MAX = 0x3800
};

/* A piece of a table on its way to its slot. */
struct chunk {
    uint16_t cell; /* the next one to write */
    uint8_t left;
    uint8_t at; /* the next byte to write */
    uint8_t bytes[BC_CHUNK];
};

/* What is to be written once the pieces are, in this order. */
enum final { NOTHING, FIRST_BYTE, MARK, WITNESS_LOW, WITNESS_HIGH };

static struct {
    struct chunk chunks[BC_WINDOW];
    uint8_t next;    /* the chunk that is being written */
    uint8_t waiting; /* chunks not yet written */
    uint8_t final;   /* enum final: the next one */
    uint8_t first;   /* byte 0 of the table being received */
    uint8_t current; /* slot, BC_MERGED_SLOT, BC_NO_SLOT */
    uint8_t refusal;
    bool repair;     /* the mark is to name the current slot */
    bool erase;      /* byte 0 of the slot to be filled is to be erased */
    bool merged;     /* there is a merged table that can be played */
} store;

static uint8_t target(void) { return store.current == 0 ? 1 : 0; }

static uint8_t mark_of(uint8_t slot) { return slot == 0 ? BC_MARK_0 : BC_MARK_1; }

/* The slot that the mark names. */
static uint8_t named(void) {
    uint8_t mark = bc_cell(MARK_CELL);
    return mark == BC_MARK_0 ? 0 : mark == BC_MARK_1 ? 1 : BC_NO_SLOT;
}

uint8_t bc_store_current(void) { return store.current; }

uint8_t bc_store_refusal(void) { return store.refusal; }

/* -- choosing ----------------------------------------------------------------------------------- */

/* Whether the table in a place is accepted; the reason if not. */
static uint8_t refusal_of(uint8_t source, uint16_t room) {
    uint8_t before = bc_table_choose(source);
    uint16_t length = bc_table_u16(BC_AT_LENGTH);
    uint8_t refusal = length > room ? BC_REFUSAL_LENGTH : bc_check(length);
    bc_table_release();
    bc_table_choose(before);
    return refusal;
}

static uint16_t merged_u16(uint16_t offset) {
    return (uint16_t)(bc_hal_merged_read(offset) |
                      (uint16_t)bc_hal_merged_read((uint16_t)(offset + 1)) << 8);
}

/* A number behind the merged table that is drawn anew for each merging. */
static uint16_t stamp(void) { return merged_u16(merged_u16(BC_AT_LENGTH)); }

static bool merged_is_newer(void) {
    uint16_t witness =
        (uint16_t)(bc_cell(WITNESS_CELL) | (uint16_t)bc_cell(WITNESS_CELL + 1) << 8);
    return store.merged && witness != stamp();
}

static uint8_t choose_merged(void) {
    store.current = BC_MERGED_SLOT;
    store.refusal = BC_REFUSAL_ACCEPTED;
    return BC_SOURCE_MERGED;
}

uint8_t bc_store_choose(void) {
    uint8_t slot = named() == 1 ? 1 : 0;
    uint8_t tries;
    store.merged = refusal_of(BC_SOURCE_MERGED, MERGED_MAX) == BC_REFUSAL_ACCEPTED;
    if (merged_is_newer()) {
        return choose_merged();
    }
    for (tries = 0; tries < BC_SLOTS; tries++) {
        uint8_t refusal = refusal_of((uint8_t)(BC_SOURCE_SLOT_0 + slot), BC_SLOT_BYTES);
        if (refusal == BC_REFUSAL_ACCEPTED) {
            store.current = slot;
            store.refusal = refusal;
            return (uint8_t)(BC_SOURCE_SLOT_0 + slot);
        }
        if (tries == 0) {
            store.refusal = refusal;
        }
        slot ^= 1;
    }
    if (store.merged) {
        return choose_merged();
    }
    store.current = BC_NO_SLOT;
    return BC_SOURCE_NONE;
}

/* -- receiving ---------------------------------------------------------------------------------- */

void bc_store_start(void) {
    store.waiting = 0;
    store.final = NOTHING;
    store.first = ERASED;
    store.repair = false;
    store.erase = false;
}

void bc_store_open(void) {
    bc_store_start();
    store.repair = store.current < BC_SLOTS && named() != store.current;
    store.erase = true;
    bc_table_release();
}

bool bc_store_has_room(void) { return store.waiting < BC_WINDOW; }

void bc_store_put(uint16_t offset, const uint8_t *bytes, uint8_t count) {
    struct chunk *chunk = &store.chunks[(store.next + store.waiting) % BC_WINDOW];
    uint8_t n;
    if (offset == 0) {
        store.first = bytes[0];
        offset++;
        bytes++;
        count--;
    }
    if (count == 0) {
        return;
    }
    for (n = 0; n < count; n++) {
        chunk->bytes[n] = bytes[n];
    }
    chunk->cell = (uint16_t)(bc_slot_cell(target()) + offset);
    chunk->left = count;
    chunk->at = 0;
    store.waiting++;
}

void bc_store_commit(void) { store.final = FIRST_BYTE; }

bool bc_store_is_idle(void) {
    return store.waiting == 0 && store.final == NOTHING && !store.repair && !store.erase &&
           !bc_hal_cell_busy();
}

struct bc_verdict bc_store_judge(uint16_t length) {
    struct bc_verdict verdict;
    uint8_t source = (uint8_t)(BC_SOURCE_SLOT_0 + target());
    uint8_t before = bc_table_choose(source);
    bc_table_first_byte(source, store.first);
    verdict.crc = bc_check_crc((uint16_t)(length - BC_CRC_SIZE));
    verdict.stated = bc_table_u16((uint16_t)(length - BC_CRC_SIZE));
    verdict.address = bc_table_u8(BC_AT_ADDRESS);
    verdict.refusal = bc_check(length);
    bc_table_first_byte(BC_SOURCE_NONE, 0);
    bc_table_release();
    bc_table_choose(before);
    return verdict;
}

/* -- writing ------------------------------------------------------------------------------------ */

/* Whether a write had to be started. */
static bool write(uint16_t cell, uint8_t value) {
    if (bc_hal_cell_read(cell) == value) {
        return false;
    }
    bc_hal_cell_write(cell, value);
    return true;
}

/* Go on with the chunk that is next; whether a write was started. */
static bool write_chunk(void) {
    struct chunk *chunk = &store.chunks[store.next];
    bool written = false;
    while (chunk->left > 0 && !written) {
        written = write(chunk->cell, chunk->bytes[chunk->at]);
        chunk->cell++;
        chunk->at++;
        chunk->left--;
    }
    if (chunk->left == 0) {
        store.waiting--;
        store.next = (uint8_t)((store.next + 1) % BC_WINDOW);
    }
    return written;
}

/* The next of the writes that come last; whether one was started. */
static bool write_final(void) {
    uint8_t now = store.final;
    store.final = now == WITNESS_HIGH || (now == MARK && !store.merged) ? NOTHING : (uint8_t)(now + 1);
    switch (now) {
    case FIRST_BYTE:
        return write(bc_slot_cell(target()), store.first);
    case MARK:
        return write(MARK_CELL, mark_of(target()));
    case WITNESS_LOW:
        return write(WITNESS_CELL, (uint8_t)stamp());
    default:
        return write(WITNESS_CELL + 1, (uint8_t)(stamp() >> 8));
    }
}

void bc_store_step(void) {
    bool written = false;
    if (bc_hal_cell_busy() || bc_table_is_held()) {
        return;
    }
    if (store.repair) {
        store.repair = false;
        written = write(MARK_CELL, mark_of(store.current));
    }
    if (!written && store.erase) {
        store.erase = false;
        written = write(bc_slot_cell(target()), ERASED);
    }
    while (!written && store.waiting > 0) {
        written = write_chunk();
    }
    while (!written && store.waiting == 0 && store.final != NOTHING) {
        written = write_final();
    }
}
