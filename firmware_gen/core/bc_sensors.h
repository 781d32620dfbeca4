/* Voltages at pins as values that parts follow: TABLE.md section 10. */
#ifndef BC_SENSORS_H
#define BC_SENSORS_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

#if BC_CHIP_SENSES

/* Another table: no sensor; then each in its order. `rise` and `fall`: of 65536, 0 is all. */
void bc_sensors_clear(void);
void bc_sensors_add(uint8_t pin, uint16_t quiet, uint16_t rise, uint16_t fall);

/* Once a frame, before its requests are taken. */
void bc_sensors_frame(void);

/* The value of a sensor; false: it has not been measured yet. */
bool bc_sensor_value(uint8_t number, uint16_t *value);

#endif

#endif
