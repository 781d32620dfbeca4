#include "bc_table.h"

#include "bc_bits.h"
#include "bc_compiler.h"
#include "bc_link.h"
#include "bellcrank.h"

static struct {
    uint8_t source;
    uint16_t cell;      /* where it starts, if in a slot */
    bool held;          /* no cell is being written, and none will be until the release */
    uint16_t laws;      /* where sections start */
    uint16_t inputs;
    uint16_t cursor;
} table;

uint8_t bc_table_choose(uint8_t source) {
    uint8_t before = table.source;
    table.source = source;
    table.cell = bc_slot_cell(source);
    return before;
}

BC_APART uint16_t bc_slot_cell(uint8_t slot) {
    return (uint16_t)(BC_FIRST_CELL + (slot == BC_SOURCE_SLOT_0 ? 0 : BC_SLOT_BYTES));
}

uint8_t bc_cell(uint16_t address) {
    if (!table.held) {
        while (bc_hal_cell_busy()) {
            bc_listen();
        }
        table.held = true;
    }
    return bc_hal_cell_read(address);
}

uint8_t bc_table_u8(uint16_t at) {
    if (table.source == BC_SOURCE_MERGED) {
        return bc_hal_merged_read(at);
    }
    return bc_cell((uint16_t)(table.cell + at));
}

BC_APART uint8_t bc_header(uint8_t at) { return bc_table_u8(at); }

uint16_t bc_table_u16(uint16_t at) {
    uint8_t low = bc_table_u8(at);
    return (uint16_t)(low | (uint16_t)bc_table_u8((uint16_t)(at + 1)) << 8);
}

int16_t bc_table_i16(uint16_t at) { return (int16_t)bc_table_u16(at); }

void bc_table_release(void) { table.held = false; }

bool bc_table_is_held(void) { return table.held; }

/* Where the law with this index starts; of one too many: where the laws end. */
static BC_APART uint16_t law_at(uint8_t index) {
    uint16_t at = table.laws;
    for (; index > 0; index--) {
        at = (uint16_t)(at + bc_law_size(bc_table_u8(at)));
    }
    return at;
}

void bc_table_locate(uint16_t colours) {
    table.laws = (uint16_t)(colours + (uint16_t)(BC_COLOUR_SIZE * bc_header(BC_AT_COLOURS)));
    table.inputs = law_at(bc_header(BC_AT_LAWS));
}

uint16_t bc_table_colour(uint8_t index) {
    uint8_t behind = (uint8_t)(bc_header(BC_AT_COLOURS) - index);
    return (uint16_t)(table.laws - (uint16_t)(BC_COLOUR_SIZE * behind));
}

/* Where bindings start. */
static BC_APART uint16_t first_binding(void) {
    uint8_t inputs = bc_header(BC_AT_INPUTS);
    return (uint16_t)(table.inputs + (uint16_t)(BC_INPUT_SIZE * inputs));
}

BC_APART uint16_t bc_table_cue(uint8_t index) {
    return (uint16_t)(first_binding() + (uint16_t)(BC_BINDING_SIZE * bc_header(BC_AT_BINDINGS)) +
                      (uint16_t)(BC_CUE_SIZE * index));
}

BC_APART uint8_t bc_table_inputs(void) {
    bc_table_seek(table.inputs);
    return bc_header(BC_AT_INPUTS);
}

BC_APART uint8_t bc_table_bindings(void) {
    bc_table_seek(first_binding());
    return bc_header(BC_AT_BINDINGS);
}

BC_APART uint8_t bc_law_size(uint8_t id) {
    return id == BC_LAW_DOUBLE_S ? 5 : id == BC_LAW_TRAPEZOID ? 3 : 1;
}

void bc_table_law(uint8_t index, struct bc_law *law) {
    uint16_t at = law_at(index);
    uint8_t size;
    law->id = bc_table_u8(at);
    law->alpha = 0;
    law->beta = 0;
    size = bc_law_size(law->id);
    if (size > 1) {
        law->alpha = bc_table_u16((uint16_t)(at + 1));
    }
    if (size > 3) {
        law->beta = bc_table_u16((uint16_t)(at + 3));
    }
}

uint16_t bc_output_size(uint16_t at) {
    switch (bc_table_u8(at)) {
    case BC_SERVO:
        return (uint16_t)(BC_SERVO_SIZE +
                         BC_POINT_SIZE * bc_table_u8((uint16_t)(at + BC_SERVO_POINTS)));
    case BC_STRIP:
        return BC_STRIP_SIZE;
    default:
        return BC_LAMP_SIZE; /* a switch has as many */
    }
}

void bc_outputs_begin(struct bc_output *output) {
    bc_clear(output, sizeof *output);
    output->end = BC_HEADER_SIZE;
    output->next[BC_STRIP] = BC_LAMPS;
    output->left = bc_header(BC_AT_OUTPUTS);
}

bool bc_outputs_next(struct bc_output *output) {
    if (output->left == 0) {
        return false;
    }
    output->left--;
    output->at = output->end;
    output->end = (uint16_t)(output->at + bc_output_size(output->at));
    output->kind = bc_table_u8(output->at);
    output->index = output->next[output->kind]++;
    return true;
}

BC_APART void bc_table_seek(uint16_t at) { table.cursor = at; }

BC_APART uint16_t bc_table_tell(void) { return table.cursor; }

uint8_t bc_next_u8(void) { return bc_table_u8(table.cursor++); }

uint16_t bc_next_u16(void) {
    table.cursor = (uint16_t)(table.cursor + 2);
    return bc_table_u16((uint16_t)(table.cursor - 2));
}

uint8_t bc_table_find_cue(uint16_t tag) {
    uint8_t cues = bc_header(BC_AT_CUES);
    uint8_t cue;
    for (cue = 0; cue < cues; cue++) {
        if (bc_table_u16(bc_table_cue(cue)) == tag) {
            return cue;
        }
    }
    return BC_CUES;
}
