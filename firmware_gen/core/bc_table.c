#include "bc_table.h"

#include <string.h>

#include "bc_chip.h"
#include "bc_link.h"
#include "bc_math.h"
#include "bellcrank.h"

/* The chosen table. */
static struct {
    uint8_t source;      /* enum bc_source */
    bool held;           /* no cell is being written, and none will be until the release */
    uint16_t first_cell; /* if it lies in a slot */
    uint16_t colours;    /* where sections start */
    uint16_t laws;
    uint16_t inputs;
    uint16_t cursor;
} table;

#if BC_CHIP_KEEPS
/* Outputs of the table that was located: stepping over records takes long, and each act would. */
static struct {
    uint8_t source; /* enum bc_source */
    struct {
        uint16_t at;
        uint8_t kind;
        uint8_t index;
    } outputs[BC_OUTPUTS];
} located;
#endif

uint8_t bc_table_choose(uint8_t source) {
    uint8_t before = table.source;
    table.source = source;
    table.first_cell = bc_slot_cell(source);
    return before;
}

uint16_t bc_slot_cell(uint8_t slot) {
    return slot == BC_SOURCE_SLOT_0 ? BC_FIRST_CELL : BC_FIRST_CELL + BC_SLOT_BYTES;
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
    return bc_cell((uint16_t)(table.first_cell + at));
}

uint8_t bc_header(uint8_t at) { return bc_table_u8(at); }

uint16_t bc_table_u16(uint16_t at) {
    uint8_t low = bc_table_u8(at);
    return bc_u16(low, bc_table_u8((uint16_t)(at + 1)));
}

int16_t bc_table_i16(uint16_t at) { return (int16_t)bc_table_u16(at); }

void bc_table_release(void) { table.held = false; }

bool bc_table_is_held(void) { return table.held; }

/* Where the law with this index starts; of one too many: where the laws end. */
static uint16_t law_at(uint8_t index) {
    uint16_t at = table.laws;
    for (; index > 0; index--) {
        at = (uint16_t)(at + bc_law_size(bc_table_u8(at)));
    }
    return at;
}

#if BC_CHIP_KEEPS
static void keep_outputs(void) {
    struct bc_output output;
    uint8_t n;
    bc_outputs_begin(&output);
    for (n = 0; n < BC_OUTPUTS; n++) { /* behind the last one it again */
        bc_outputs_next(&output);
        located.outputs[n].at = output.at;
        located.outputs[n].kind = output.kind;
        located.outputs[n].index = output.index;
    }
    located.source = table.source;
}
#endif

void bc_table_forget(void) {
#if BC_CHIP_KEEPS
    located.source = BC_SOURCE_NONE;
#endif
}

void bc_table_locate(uint16_t colours) {
#if BC_CHIP_KEEPS
    keep_outputs();
#endif
    table.colours = colours;
    table.laws = (uint16_t)(colours + (uint16_t)(BC_COLOUR_SIZE * bc_header(BC_AT_COLOURS)));
    table.inputs = law_at(bc_header(BC_AT_LAWS));
}

uint16_t bc_table_colour(uint8_t index) {
    return (uint16_t)(table.colours + (uint16_t)(BC_COLOUR_SIZE * index));
}

/* Where bindings start. */
static uint16_t first_binding(void) {
    uint8_t inputs = bc_header(BC_AT_INPUTS);
    return (uint16_t)(table.inputs + (uint16_t)(BC_INPUT_SIZE * inputs));
}

uint8_t bc_cue_size(void) {
#if BC_CHIP_LEADS
    if (bc_header(BC_AT_ROLE) == BC_ROLE_LEADS) {
        return BC_CUE_SIZE + BC_CLAIMS_SIZE;
    }
#endif
    return BC_CUE_SIZE;
}

uint16_t bc_table_cue(uint8_t index) {
    return (uint16_t)(first_binding() + (uint16_t)(BC_BINDING_SIZE * bc_header(BC_AT_BINDINGS)) +
                      (uint16_t)(bc_cue_size() * index));
}

uint8_t bc_table_inputs(void) {
    bc_table_seek(table.inputs);
    return bc_header(BC_AT_INPUTS);
}

uint8_t bc_table_bindings(void) {
    bc_table_seek(first_binding());
    return bc_header(BC_AT_BINDINGS);
}

#if BC_CHIP_SENSES
uint8_t bc_table_senses(void) {
    bc_table_seek(bc_table_cue(bc_header(BC_AT_CUES)));
    return bc_header(BC_AT_SENSES);
}

uint8_t bc_output_place(uint8_t number) {
    struct bc_output output;
    bc_table_output(number, &output);
    return output.index;
}

uint8_t bc_sense_size(uint8_t kind) {
    switch (kind) {
    case BC_SENSE_PATIENCE:
        return BC_PATIENCE_SIZE;
    case BC_SENSE_SETTLING:
        return BC_SETTLING_SIZE;
    case BC_SENSE_CHANNEL:
        return BC_CHANNEL_SIZE;
    case BC_SENSE_BAND:
        return BC_BAND_SIZE;
    case BC_SENSE_SENSOR:
        return BC_SENSOR_SIZE;
    case BC_SENSE_FOLLOW:
        return BC_FOLLOW_SIZE;
    case BC_SENSE_WATCH:
        return BC_WATCH_SIZE;
    case BC_SENSE_SHINE:
        return BC_SHINE_SIZE;
    case BC_SENSE_RADIO:
        return BC_RADIO_SIZE;
    case BC_SENSE_BAR:
        return BC_BAR_SIZE;
    case BC_SENSE_ANSWERS:
        return BC_ANSWERS_SIZE;
    case BC_SENSE_SCALE:
        return BC_SCALE_SIZE;
    default:
        return 1;
    }
}
#endif

uint8_t bc_law_size(uint8_t kind) {
    uint8_t id = (uint8_t)(kind & ~BC_FLAG);
    bool has_peak = kind > (BC_LAW_UNIFORM | BC_FLAG) && id <= BC_LAW_DOUBLE_S;
    uint8_t peak = has_peak ? 2 : 0;
    switch (id) {
    case BC_LAW_DOUBLE_S:
        return (uint8_t)(5 + peak);
    case BC_LAW_TRAPEZOID:
        return (uint8_t)(3 + peak);
    default:
        return (uint8_t)(1 + peak);
    }
}

void bc_table_law(uint8_t index, struct bc_law *law) {
    uint8_t kind;
    bc_table_seek(law_at(index));
    kind = bc_next_u8();
    law->id = (uint8_t)(kind & ~BC_FLAG);
    law->alpha = 0;
    law->beta = 0;
    law->peak = BC_PEAK_MIDDLE;
    if (law->id == BC_LAW_TRAPEZOID || law->id == BC_LAW_DOUBLE_S) {
        law->alpha = bc_next_u16();
    }
    if (law->id == BC_LAW_DOUBLE_S) {
        law->beta = bc_next_u16();
    }
    if ((kind & BC_FLAG) != 0) {
        law->peak = bc_next_u16();
    }
}

uint16_t bc_output_size(uint16_t at, uint8_t kind) {
    bool is_trimmed = (kind & BC_FLAG) != 0;
    switch (kind & (uint8_t)~BC_FLAG) {
    case BC_SERVO:
        return (uint16_t)(BC_SERVO_SIZE +
                          BC_POINT_SIZE * bc_table_u8((uint16_t)(at + BC_SERVO_POINTS)));
    case BC_STRIP:
        return (uint16_t)(BC_STRIP_SIZE + (is_trimmed ? BC_STRIP_TRIMS : 0));
    case BC_LAMP:
        return (uint16_t)(BC_LAMP_SIZE + (is_trimmed ? BC_LAMP_TRIMS : 0));
    default:
        return BC_SWITCH_SIZE;
    }
}

void bc_outputs_begin(struct bc_output *output) {
    memset(output, 0, sizeof *output);
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
    output->kind = bc_table_u8(output->at);
    output->end = (uint16_t)(output->at + bc_output_size(output->at, output->kind));
    output->kind &= (uint8_t)~BC_FLAG;
    output->index = output->next[output->kind]++;
    return true;
}

void bc_table_output(uint8_t number, struct bc_output *output) {
    uint8_t n = 0;
#if BC_CHIP_KEEPS
    if (table.source == located.source && number < BC_OUTPUTS) {
        output->at = located.outputs[number].at;
        output->kind = located.outputs[number].kind;
        output->index = located.outputs[number].index;
        return;
    }
#endif
    bc_outputs_begin(output);
    while (bc_outputs_next(output) && n < number) {
        n++;
    }
}

void bc_table_seek(uint16_t at) { table.cursor = at; }

uint16_t bc_table_tell(void) { return table.cursor; }

uint8_t bc_next_u8(void) { return bc_table_u8(table.cursor++); }

uint16_t bc_next_u16(void) {
    uint8_t low = bc_next_u8();
    return bc_u16(low, bc_next_u8());
}

int16_t bc_next_i16(void) { return (int16_t)bc_next_u16(); }

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
