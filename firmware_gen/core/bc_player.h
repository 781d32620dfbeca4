/* Modes, requests and the frame: TABLE.md section 2. */
#ifndef BC_PLAYER_H
#define BC_PLAYER_H

#include <stdbool.h>
#include <stdint.h>

#include "bc_chip.h"

/* What a request asks; its argument is a cue or a button. */
enum bc_asked {
    BC_ASK_CUE = 0x00,
    BC_ASK_DOWN = 0x20,
    BC_ASK_UP = 0x40,
    BC_ASK_STANDBY = 0x60,
    BC_ASK_STOP = 0x80, /* from here on those that have places kept for them */
    BC_ASK_LIMP = 0xA0
};

/*
 * Queue a request for the next frame; false if there is no room. The last places are kept for
 * stop and limp.
 */
bool bc_player_ask(uint8_t asked, uint8_t argument);

/*
 * While the board is limp: bring one servo's pulse there, and end after a while. False if a stop
 * button is down, or for a while after a jog was ended.
 */
bool bc_player_jog(uint8_t servo, uint16_t pulse);

#if BC_CHIP_LEADS
/*
 * The same of a servo of another board, to which the jog passes. What would end a jog here is told
 * to all boards for some frames: they are limp as well, and would not notice one more limp.
 */
bool bc_player_jog_elsewhere(void);
bool bc_player_jogs_elsewhere(void);
bool bc_player_tells_stop(void);
#endif

/* The controller was heard; to a board that follows that is the one that leads, and no other. */
void bc_player_heard(void);
void bc_player_heard_hub(void);

/* Play the chosen table from the quiet start; or, for BC_SOURCE_NONE, none. */
void bc_player_start(uint8_t source);

/* What plays: enum bc_source. */
uint8_t bc_player_source(void);

/* Play one frame and bring bc_image up to date. */
void bc_player_frame(void);

/* State. */
uint8_t bc_player_mode(void);
uint32_t bc_player_frames(void);
uint32_t bc_player_time(void); /* of the frame that is being played */

/* What the link asks of the table that plays, which is the chosen one whenever a request is acted
 * on. */
uint32_t bc_player_show(void); /* the show's number, 0: none plays */
uint8_t bc_player_left(uint16_t offset,
                       uint8_t count); /* of `count` bytes from there: how many there are */
uint8_t bc_player_byte(uint16_t offset);
uint8_t bc_player_find_cue(uint16_t tag); /* its index, BC_CUES: no such cue */

/* Whether requests wait for the next frame. */
bool bc_player_is_asked(void);

/* For tests of long runs: let the player's time begin this many 1/256 ms later from the next start
 * on. */
void bc_player_set_clock(uint32_t offset);

/* Likewise: so many frames in which nothing happened; their time should be near a multiple of 2^32,
 * so that nothing is late. */
void bc_player_pass_over(uint32_t frames);

#endif
