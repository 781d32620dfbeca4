/* The core on the machine that runs the tests: what stands in for a chip, and ways to look at it.
 */
#ifndef HOST_H
#define HOST_H

#include <stdint.h>

enum { HOST_CELLS = 4096, HOST_MERGED = 16384, HOST_RAW = 2048 };

/* Start the board with its cells as they are. Returns 1 if the power failed meanwhile. */
int host_start(uint8_t cause);

/* Call the core's functions; 1 if the power failed. */
int host_service(void);
int host_settle(void); /* service until nothing is stored any more and nothing received waits */
int host_frame(void);
int host_frames(uint32_t count);
void host_sample_inputs(void);

/* Bytes to the board, and those that it sent since the last call (their number; at most `room`). */
void host_feed(const uint8_t *bytes, uint32_t count);
uint32_t host_take(uint8_t *bytes, uint32_t room);

/* Outputs in the table's order: pulses and duties as u16, strips' bytes, a level per switch pin. */
uint32_t host_raw(uint8_t *bytes);
/* The pulses of all frames played by host_frames since the last call go to `pulses`, 8 a frame. */
void host_record(uint16_t *pulses, uint32_t frames);

/* The world around. */
uint8_t *host_cells(void);
uint8_t *host_merged(void);
void host_port(uint8_t port, uint8_t levels);
void host_cut(int32_t writes, int32_t torn); /* writes that succeed before the power fails, -1: all;
                                                what the cut cell then holds, -1: as before */
uint32_t host_writes(void);                  /* cells written since the last call */
void host_slow(uint32_t polls); /* how often a cell is busy after a write, at most from now on */
/* How often the line is still busy after a reply, and how many received bytes are given out at
 * once. */
void host_slow_line(uint32_t polls, uint8_t bytes_in_a_row);
/* A frame in every so manieth pause that the core offers; 0: in none. */
void host_play_in_pauses(uint32_t every);
uint32_t host_pauses(void); /* how many it offered since the last call */
/* Where in its frame the board is; what it wants to add to frames; bytes of the line of its own,
 * and those that it sent on it since the last call (at most 255). */
void host_moment(uint16_t moment);
int16_t host_stretch(void);
void host_line(const uint8_t *bytes, uint32_t count);
uint32_t host_told(uint8_t *bytes);
void host_set_clock(uint32_t offset); /* where the player's time begins at the next start */
void host_pass_over(uint32_t frames); /* see bc_player_pass_over */
uint32_t host_pulled_up(void);        /* input pins with a pull-up, bit n */
uint32_t host_inputs(void);           /* input pins */

/* Whether requests may be asked for without the link. */
int host_ask(uint8_t asked, uint8_t argument);
void host_jog(uint8_t servo, uint16_t pulse); /* does nothing unless limp */
void host_heard(void);
void host_channel(uint8_t channel, uint16_t ticks); /* a pulse, for the next frame */
void host_voltage(uint8_t slot, uint16_t reading);  /* from now on, of 1024 */

/* State. */
uint8_t host_mode(void);
uint32_t host_played(void);
uint8_t host_live(void);
uint32_t host_running(void);
uint16_t host_refused(void);
uint16_t host_overruns(void);
uint32_t host_battery(void);          /* mV << 8 | bits of the state report */
uint16_t host_sensor(uint8_t number); /* a sensor's value; 65535: it has none */
uint32_t host_stuck(void);            /* 0 on a chip without senses */
uint16_t host_bad(void);
uint8_t host_refusal(void);
uint8_t host_current(void);

/* The reason why the core refuses these bytes as a merged table. */
uint8_t host_check(const uint8_t *table, uint32_t size);

/* Arithmetic by itself. */
uint32_t host_law_position(uint8_t id, uint16_t alpha, uint16_t beta, uint16_t peak, uint32_t x);
uint32_t host_law_slope(uint8_t id, uint16_t alpha, uint16_t beta, uint16_t peak, uint32_t x);
void host_law_numbers(uint8_t id, uint16_t alpha, uint16_t beta, uint16_t peak, uint32_t *numbers);
uint32_t host_progress(uint32_t elapsed, uint32_t total);
uint32_t host_quotient(uint32_t a, uint32_t b, uint32_t c);
uint32_t host_root(uint32_t value, uint8_t bits);
int32_t host_scale(int32_t value, uint32_t share);
uint16_t host_crc(const uint8_t *bytes, uint32_t count);

#endif
