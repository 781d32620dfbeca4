#include "bc_board.h"

#include "bc_link.h"
#include "bc_player.h"
#include "bc_relay.h"
#include "bc_store.h"
#include "bc_table.h"
#include "bellcrank.h"

void bc_start(uint8_t cause) {
    bc_table_forget();
    bc_link_start(cause);
    bc_store_start();
    bc_player_start(bc_store_choose());
    bc_link_show_changed();
}

void bc_stay_limp(void) { bc_player_ask(BC_ASK_LIMP, 0); }

/* Long work calls this rarely, so that more than one frame may have come meanwhile. */
void bc_service_within_frame(void) {
    enum { MOST_FRAMES = 3 };
    uint8_t left = MOST_FRAMES;
    do {
        bc_listen();
        left--;
    } while (bc_answer() && left > 0);
    bc_relay_step();
    bc_store_step();
}

void bc_service(void) {
    bc_service_within_frame();
    bc_link_finish();
}

void bc_frame(void) {
    bc_link_frame();
    bc_player_frame();
}

uint8_t bc_mode(void) { return bc_player_mode(); }

bool bc_requests_waiting(void) { return bc_player_is_asked(); }
