#include "bc_sensors.h"

#if BC_CHIP_SENSES

#include <string.h>

#include "bc_generated.h"
#include "bc_math.h"
#include "bellcrank.h"

struct sensor {
    uint16_t quiet;
    uint16_t rise;
    uint16_t fall;
    uint16_t value; /* Q6 */
    bool is_live;
};
BC_ASSERT(values_have_16_bits, (uint32_t)BC_SENSOR_ONE << BC_SENSOR_BITS == 0x10000UL);

static struct sensor sensors[BC_SENSORS];
static uint8_t sensor_count;

void bc_sensors_clear(void) {
    memset(sensors, 0, sizeof sensors);
    sensor_count = 0;
}

void bc_sensors_add(uint8_t pin, uint16_t quiet, uint16_t rise, uint16_t fall) {
    struct sensor *sensor = &sensors[sensor_count];
    sensor->quiet = quiet;
    sensor->rise = rise;
    sensor->fall = fall;
    bc_hal_voltage_pin(sensor_count, pin);
    sensor_count++;
}

/* What a value takes of its way in a frame, rounded up: so it always arrives. */
static uint16_t part_of(uint16_t way, uint16_t share) {
    return share == 0 ? way : (uint16_t)(((uint32_t)way * share + UINT16_MAX) >> 16);
}

static void look(struct sensor *sensor, uint16_t reading) {
    uint16_t aim = reading < sensor->quiet ? 0 : (uint16_t)(reading << BC_SENSOR_BITS);
    if (!sensor->is_live) {
        sensor->is_live = true;
        sensor->value = aim;
    } else if (aim > sensor->value) {
        sensor->value += part_of((uint16_t)(aim - sensor->value), sensor->rise);
    } else {
        sensor->value -= part_of((uint16_t)(sensor->value - aim), sensor->fall);
    }
}

void bc_sensors_frame(void) {
    uint8_t n;
    for (n = 0; n < sensor_count; n++) {
        uint16_t reading = bc_hal_voltage(n);
        if (reading != BC_NO_READING) {
            look(&sensors[n], reading);
        }
    }
}

bool bc_sensor_value(uint8_t number, uint16_t *value) {
    *value = sensors[number].value >> BC_SENSOR_BITS;
    return sensors[number].is_live;
}

#endif
