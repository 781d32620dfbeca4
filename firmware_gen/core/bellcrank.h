/*
 * Bellcrank's firmware core: plays one byte table (TABLE.md) and speaks the link (LINK.md).
 *
 * The core knows no chip. It is plain C99 without heap, recursion or unbounded loops; its state is
 * static, one board per program. What it needs of a chip stands in a folder of the chip's own:
 *
 *     bc_chip.h    how much the chip holds: generated from its entry in the Python chips
 *     bc_flash.h   how constant lists are kept in program memory and read there
 *     *.c          the functions named bc_hal_* below
 *
 * What it offers are the functions named bc_*.
 *
 * The chip layer's main loop:
 *
 *     bc_start(cause);
 *     for (;;) {
 *         bc_service();                       as often as possible, at least once a millisecond
 *         if (a frame is due) bc_frame();     every 20 ms; calls bc_service() itself while it works
 *         if (BC_LOOK_MS have passed) bc_sample_inputs();
 *     }
 *
 * Nothing here may be called from an interrupt. Interrupts only receive and send the bytes behind
 * bc_hal_received and bc_hal_send and turn bc_image into edges.
 */
#ifndef BELLCRANK_H
#define BELLCRANK_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"
#include "bc_generated.h"

/* -- outputs -------------------------------------------------------------------------------- */

/*
 * What the pins shall do, written by bc_frame (and by bc_start: everything at rest).
 * Servos, lamps and strips are counted in the order of the table.
 */
struct bc_image {
    uint16_t pulse[BC_SERVOS];     /* width in 0.5 us; 0: no pulse */
    uint8_t pixels[3 * BC_PIXELS]; /* bytes in the order they go out, one strip behind the other */
};

extern struct bc_image bc_image;

/* -- for the chip layer --------------------------------------------------------------------- */

/*
 * Begin: choose a slot, check its table, enter the quiet start. `cause`: bits of LINK.md section 5.
 * Takes some tens of milliseconds (a CRC and a check over one or two slots).
 */
void bc_start(uint8_t cause);

/* After bc_start: go limp in the first frame, for the board was stopped before the reset. */
void bc_stay_limp(void);

/*
 * Play one frame (20 ms) and bring bc_image up to date. Calls bc_service while it works, and
 * bc_hal_pixels_ready, bc_hal_switch as things change. Frames must not be left out: after a delay,
 * call it until time is made good.
 */
void bc_frame(void);

/* Move link bytes, answer requests, store the next byte of a transfer. Never waits. */
void bc_service(void);

/*
 * Take received bytes; whether a request waits for bc_service. So a chip layer that sleeps between
 * interrupts need not call bc_service for frames that are for other boards.
 */
bool bc_has_heard(void);

/* Look at the input pins; a change counts when BC_LOOKS in a row agree. Every BC_LOOK_MS. */
void bc_sample_inputs(void);

/* Whether requests wait for the next frame. */
bool bc_requests_waiting(void);

/* Where the player is: enum bc_mode of LINK.md section 2. */
uint8_t bc_mode(void);

/*
 * By how much the next frame should be longer than 20 ms to stay in step with the board that leads,
 * in 1/256 ms, at most BC_MOST_STRETCH either way; 0 on a board that follows none. To be asked once
 * a frame. Pulses keep their widths.
 */
int16_t bc_frame_stretch(void);

#if BC_CHIP_LEADS
/*
 * A byte of the line between boards, where that is a line of its own, and its moment in the frame
 * (as bc_hal_moment tells it).
 */
void bc_line_byte(uint8_t byte, uint16_t moment);

/* Pass on what waits for a turn on that line. As often as possible, at least every 2 ms. */
void bc_line_turn(void);
#endif

/* -- what the chip layer defines ------------------------------------------------------------ */

/* How many received bytes lie in a row, from *bytes on; 0 if none waits. They stay until taken. */
uint8_t bc_hal_received(const uint8_t **bytes);
void bc_hal_taken(uint8_t count);

/* Send these bytes, which stay as they are until bc_hal_sending is false; only while it is. */
void bc_hal_send(const uint8_t *bytes, uint8_t count);
bool bc_hal_sending(void);

/* Where in its frame the board is: 1/256 ms since bc_frame was last due, less than BC_FRAME. */
uint16_t bc_hal_moment(void);

#if BC_CHIP_LEADS
/*
 * The show that begins plays alone, leads or follows (BC_ROLE_*): what the line between boards is
 * for, and at which of the chip's rates. `both_ways`: boards that follow answer. Called after its
 * outputs and inputs; with 0 when it ends, and then what is still to be sent goes out first.
 */
void bc_hal_line(uint8_t role, uint8_t rate, bool both_ways);

/*
 * The line to the other boards: how many bytes it has room for, and one to go out, without
 * waiting. bc_frame sends the state of a board that leads, always at the same moment of a frame.
 */
uint8_t bc_line_room(void);
void bc_line_send(uint8_t byte);

/* Whether nothing is to be sent there, and BC_PASS_MOMENTS / 256 ms are left until bc_frame. */
enum { BC_PASS_MOMENTS = 512 };
bool bc_hal_line_is_free(void);
#endif

/* Received bytes that were lost (overrun of hardware or queue) since the last reset. */
uint16_t bc_hal_lost_bytes(void);

/* Resets since power-on, for the state report. */
uint16_t bc_hal_watchdog_resets(void);
uint16_t bc_hal_brown_out_resets(void);

/* Non-volatile cells (LINK.md section 6). A read is only made while no write is in progress. */
uint8_t bc_hal_cell_read(uint16_t address);
void bc_hal_cell_write(uint16_t address, uint8_t value); /* starts; takes 3.4 ms */
bool bc_hal_cell_busy(void);

/* The table merged behind the firmware image, if any; its bytes from its start. */
uint8_t bc_hal_merged_read(uint16_t offset);

/* What a pin (TABLE.md 1.2) can be used for: bits of enum bc_pin; 0: not at all, or no such pin. */
uint8_t bc_hal_pin(uint8_t pin);

/* The levels of a port's pins, numbered as in a pin's code (pin = 8 * port + bit); bit n is pin n.
 */
uint8_t bc_hal_port(uint8_t port);

/* Set all pins free (inputs without pull-up): the show ends, another may begin. */
void bc_hal_release(void);

/*
 * One output of the show that begins. `index` counts within its kind from 0, strips from BC_LAMPS;
 * `pixels`: of a strip. Called once for each after bc_hal_release, in the order of the table.
 * A switch's pin is set by bc_hal_switch, right after.
 */
void bc_hal_output(uint8_t kind, uint8_t index, uint8_t pin, uint8_t pixels);

/* An input pin of the show that begins; pulled up if it is active low. */
void bc_hal_input(uint8_t pin, bool pull_up);

#if BC_CHIP_SENSES
/* A pin at which the pulses of a radio's channel arrive; channels count from 0. */
void bc_hal_channel_pin(uint8_t channel, uint8_t pin);

/* The newest pulse that has ended on a channel since the last call, in 0.5 us; 0: none has. */
uint16_t bc_hal_channel(uint8_t channel);

/* The pins that cannot be lamps where this one measures a channel, the first to the third. */
uint8_t bc_hal_channel_displaces(uint8_t pin, uint8_t place);

/*
 * A voltage that is measured from now on: that of a pin, or (BC_OWN_REFERENCE) that of the chip's
 * own reference. Sensors have the slots from 0, the watch of the battery has the last.
 */
enum { BC_WATCH_SLOT = BC_SENSORS, BC_VOLTAGE_SLOTS = BC_SENSORS + 1, BC_NO_READING = 0xFFFF };
void bc_hal_voltage_pin(uint8_t slot, uint8_t pin);

/* The newest reading, of BC_SENSOR_ONE that are the chip's supply; BC_NO_READING: there is none
 * yet. */
uint16_t bc_hal_voltage(uint8_t slot);
#endif

/* A lamp's duty from now on: of 65535, linear in light. */
void bc_hal_lamp(uint8_t index, uint16_t duty);

/* Drive a switch's pin. */
void bc_hal_switch(uint8_t pin, bool high);

/*
 * bc_image.pixels is complete for this frame and stays untouched until the next bc_frame. bc_frame
 * finishes pulses first (bc_hal_pulses_ready), then lamps and pixels.
 */
void bc_hal_pulses_ready(void);
void bc_hal_pixels_ready(void);

/*
 * Long work (the check of a table) offers a pause, some times a millisecond: the chip layer pets
 * the watchdog and, if one is due and bc_start has returned, may call bc_frame from here.
 * bc_service does nothing but listen meanwhile.
 */
void bc_hal_pause(void);

#endif
