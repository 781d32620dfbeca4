/*
 * The records stay in the table and are looked for when a cue starts, which is seldom.
 */
#include "bc_scaling.h"

#if BC_CHIP_SENSES

#include <stdbool.h>

#include "bc_generated.h"
#include "bc_math.h"
#include "bc_sources.h"
#include "bc_table.h"

/* Put the cursor behind the cue in the record of its scale; false if it has none. */
static bool find(uint8_t cue) {
    uint8_t left;
    for (left = bc_table_senses(); left > 0; left--) {
        uint16_t start = bc_table_tell();
        uint8_t kind = bc_next_u8();
        if (kind == BC_SENSE_SCALE && bc_next_u8() == cue) {
            return true;
        }
        bc_table_seek((uint16_t)(start + bc_sense_size(kind)));
    }
    return false;
}

/* The level at a value, Q8, as of a lamp that follows (section 10.2). */
static uint16_t level_at(uint16_t value, uint16_t from, uint16_t to) {
    uint8_t at_from = bc_next_u8();
    uint8_t at_to = bc_next_u8();
    int32_t way = ((int32_t)at_to - at_from) * (1 << BC_LEVEL_BITS);
    uint16_t part;
    if (value <= from) {
        part = 0;
    } else {
        part = (uint16_t)((value < to ? value : to) - from);
    }
    return (uint16_t)(((int32_t)at_from << BC_LEVEL_BITS) +
                      bc_scale(way, bc_share(part, (uint16_t)(to - from))));
}

uint16_t bc_scaling_of(uint8_t cue) {
    uint16_t cursor = bc_table_tell();
    uint16_t scale = BC_SCALE_FULL;
    uint16_t value;
    if (find(cue)) {
        uint8_t source = bc_next_u8();
        uint16_t from = bc_next_u16();
        uint16_t to = bc_next_u16();
        uint16_t level;
        if (bc_source_value(source, &value)) {
            level = level_at(value, from, to);
        } else {
            bc_table_seek((uint16_t)(bc_table_tell() + 2)); /* both levels */
            level = (uint16_t)(bc_next_u8() << BC_LEVEL_BITS);
        }
        scale = (uint16_t)((level + BC_LEVEL_MAX / 2) / BC_LEVEL_MAX);
    }
    bc_table_seek(cursor);
    return scale;
}
BC_ASSERT(a_full_level_is_a_full_scale, BC_SCALE_FULL == 1 << BC_LEVEL_BITS);

void bc_scaling_apply(struct bc_step *op, uint16_t scale) {
    int16_t safe;
    int32_t way;
    if (scale == BC_SCALE_FULL || op->code == BC_OP_EFFECT || op->output.kind != BC_SERVO) {
        return;
    }
    safe = bc_table_i16((uint16_t)(op->output.at + BC_SERVO_SAFE_ANGLE));
    way = (int32_t)op->target - safe;
    op->target = (int16_t)(safe + bc_scale(way, (uint32_t)scale << 8));
}
BC_ASSERT(a_scale_is_a_share, (uint32_t)BC_SCALE_FULL << 8 == 0x10000UL);

#endif
