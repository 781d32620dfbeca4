#include "bc_sources.h"

#if BC_CHIP_SENSES

#include "bc_channels.h"
#include "bc_sensors.h"

static uint16_t sensors; /* which sources are sensors, a bit each */
static uint8_t count;

void bc_sources_clear(void) {
    sensors = 0;
    count = 0;
}

void bc_sources_add(bool is_sensor) {
    sensors = (uint16_t)(sensors | (uint16_t)is_sensor << count);
    count++;
}

uint8_t bc_sources_count(void) { return count; }

static bool is_sensor(uint8_t source) { return (sensors >> source & 1) != 0; }

/* The place of a source among those of its kind. */
static uint8_t place_of(uint8_t source) {
    uint8_t found = 0;
    uint8_t n;
    for (n = 0; n < source; n++) {
        if (is_sensor(n) == is_sensor(source)) {
            found++;
        }
    }
    return found;
}

bool bc_source_value(uint8_t source, uint16_t *value) {
    uint8_t place = place_of(source);
    return is_sensor(source) ? bc_sensor_value(place, value) : bc_channel_value(place, value);
}

#endif
