/*
 * One board inside a page: what stands in for a chip, and what the page calls.
 *
 * The page writes the table, what the pins can do, and the levels of the input pins into this
 * memory, and reads the outputs from it. Time stands still between two calls of page_frame. All
 * state lies in the program's memory: a copy of that is the board at that moment.
 */
#ifndef PAGE_H
#define PAGE_H

#include <stdint.h>

#define PAGE_CALL(name) __attribute__((export_name(#name))) name

/* The table, as if merged behind the firmware, and a byte of BC_PIN_* for each pin. */
uint8_t *PAGE_CALL(page_table)(void);
uint32_t PAGE_CALL(page_table_room)(void);
uint8_t *PAGE_CALL(page_pins)(void);

/* A board with erased cells, at power-on. */
void PAGE_CALL(page_start)(void);

/* Act on what was received, look at the inputs, play one frame (20 ms). */
void PAGE_CALL(page_frame)(void);

/*
 * The line: bytes to the board lie from page_line on when page_receive is called with their number,
 * at most page_line_room; the next page_frame takes them. Returns how many found room.
 */
uint8_t *PAGE_CALL(page_line)(void);
uint32_t PAGE_CALL(page_line_room)(void);
uint32_t PAGE_CALL(page_receive)(uint32_t count);

/* What the board has said since page_said was called last: bytes, then their number. */
uint8_t *PAGE_CALL(page_words)(void);
uint32_t PAGE_CALL(page_said)(void);

/*
 * The line between boards: bytes to this one lie from page_wire on when page_hear is called with
 * their number, at most page_wire_room; it takes them at once. What a board that leads has told
 * since page_tells was called last: bytes, then their number; 0 of any other.
 */
uint8_t *PAGE_CALL(page_wire)(void);
uint32_t PAGE_CALL(page_wire_room)(void);
void PAGE_CALL(page_hear)(uint32_t count);
uint8_t *PAGE_CALL(page_told)(void);
uint32_t PAGE_CALL(page_tells)(void);

/*
 * A channel, in the order of the table, gives a pulse of so many ticks in each frame from the next
 * one on; 0: none. Nothing happens on a chip that has no channels.
 */
void PAGE_CALL(page_channel)(uint32_t channel, uint32_t ticks);

/* A level per pin: of those that are inputs, written by the page; of switches, read by it. */
uint8_t *PAGE_CALL(page_levels)(void);

/* The newest reading of a sensor, by its number, or of the watch (BC_WATCH_SLOT); 65535: none. */
void PAGE_CALL(page_voltage)(uint32_t slot, uint32_t reading);

/* The outputs, in the order of the table within each kind; see bc_image and bc_hal_lamp. */
uint16_t *PAGE_CALL(page_pulses)(void);
uint16_t *PAGE_CALL(page_duties)(void);
uint8_t *PAGE_CALL(page_pixels)(void);

/*
 * What each servo did in the last frame, one struct bc_motion behind the other, in the order of the
 * table; and the speeds of those that follow in the frame before, to tell their acceleration by.
 */
int32_t *PAGE_CALL(page_motions)(void);
int32_t *PAGE_CALL(page_speeds_before)(void);

/* enum bc_mode; the refusal of the table, 0: it plays; the cues that run, bit n; frames played. */
uint32_t PAGE_CALL(page_mode)(void);
uint32_t PAGE_CALL(page_refusal)(void);
uint32_t PAGE_CALL(page_running)(void);
uint32_t PAGE_CALL(page_frames)(void);

/* Counters of the state report. */
uint32_t PAGE_CALL(page_refused)(void);
uint32_t PAGE_CALL(page_overruns)(void);
uint32_t PAGE_CALL(page_live)(void);

/* Requests past the link, as the shared vectors state them: enum bc_asked. */
uint32_t PAGE_CALL(page_ask)(uint32_t asked, uint32_t argument);
void PAGE_CALL(page_jog)(uint32_t servo, uint32_t pulse); /* does nothing unless limp */
void PAGE_CALL(page_heard)(void);

#endif
