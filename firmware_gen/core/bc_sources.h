/* What channels and sensors stand at, on a chip with senses: TABLE.md section 10. */
#ifndef BC_SOURCES_H
#define BC_SOURCES_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

#if BC_CHIP_SENSES

/* Another table: no source; then each in its order. */
void bc_sources_clear(void);
void bc_sources_add(bool is_sensor);

uint8_t bc_sources_count(void);

/* A source's value in this frame; false if it is not live. */
bool bc_source_value(uint8_t source, uint16_t *value);

#endif

#endif
