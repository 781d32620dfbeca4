#include "bc_relay.h"

#if BC_CHIP_LEADS

#include <string.h>

#include "bc_player.h"
#include "bellcrank.h"

enum { PARCELS = BC_WINDOW };

/* A frame that waits. */
struct parcel {
    struct bc_frame frame;
    uint8_t payload[BC_LONGEST_PAYLOAD];
};

/* The oldest comes first. */
struct queue {
    struct parcel parcels[PARCELS];
    uint8_t count;
};

static struct {
    struct queue outward; /* for boards that this one leads */
    struct queue inward;  /* for the host of a board that leads; for a board that follows itself */
    uint8_t answering[BC_ANSWERING]; /* addresses */
    uint8_t count;
    bool leads;
} relay;

void bc_relay_start(bool leads) {
    memset(&relay, 0, sizeof relay);
    relay.leads = leads;
}

void bc_relay_add(uint8_t address) {
    if (relay.count < BC_ANSWERING) {
        relay.answering[relay.count] = address;
        relay.count++;
    }
}

bool bc_relay_answers(void) { return relay.count > 0; }

static bool is_answering(uint8_t address) {
    uint8_t n;
    for (n = 0; n < relay.count; n++) {
        if (relay.answering[n] == address) {
            return true;
        }
    }
    return false;
}

/* What reads, what changes a stored table, and a jog. Whatever else starts or moves something is
 * asked of the board that leads, which decides for all. */
static bool may_pass(uint8_t kind) {
    switch (kind) {
    case BC_REQUEST_HELLO:
    case BC_REQUEST_OPEN:
    case BC_REQUEST_DATA:
    case BC_REQUEST_VERIFY:
    case BC_REQUEST_COMMIT:
    case BC_REQUEST_READ:
    case BC_REQUEST_STATUS:
    case BC_REQUEST_JOG:
    case BC_REQUEST_PULSE:
    case BC_REQUEST_SOURCE:
        return true;
    default:
        return false;
    }
}

bool bc_relay_passes(uint8_t to, uint8_t kind) {
    return relay.leads && may_pass(kind) && is_answering(to);
}

static void put(struct queue *queue, const struct bc_frame *frame) {
    struct parcel *parcel = &queue->parcels[queue->count];
    if (queue->count == PARCELS) {
        return;
    }
    parcel->frame = *frame;
    memcpy(parcel->payload, frame->payload, frame->length);
    queue->count++;
}

static const struct bc_frame *first(struct queue *queue) {
    struct parcel *parcel = &queue->parcels[0];
    parcel->frame.payload = parcel->payload;
    return queue->count > 0 ? &parcel->frame : 0;
}

static void drop_first(struct queue *queue) {
    queue->count--;
    memmove(&queue->parcels[0], &queue->parcels[1], queue->count * sizeof queue->parcels[0]);
}

/* What is longer than a board keeps is no request that any board takes. */
void bc_relay_outward(const struct bc_frame *frame) {
    if (frame->length <= BC_KEPT_PAYLOAD) {
        put(&relay.outward, frame);
    }
}

/* Replies to a board that leads; requests that ask for a reply to one that follows. */
void bc_relay_inward(const struct bc_frame *frame) {
    uint8_t kind = frame->kind & (uint8_t)~BC_REPLY;
    bool is_reply = (frame->kind & BC_REPLY) != 0;
    uint8_t least = is_reply ? 1 : 0;
    uint8_t most = is_reply ? BC_REPLY_PAYLOAD : BC_KEPT_PAYLOAD;
    if (is_answering(frame->to) && may_pass(kind) && is_reply == relay.leads &&
        frame->length >= least && frame->length <= most) {
        put(&relay.inward, frame);
    }
}

/* A jog that has waited until a stop came is never played. */
static bool is_too_late(const struct bc_frame *frame) {
    return frame->kind == BC_REQUEST_JOG && !bc_player_jogs_elsewhere();
}

/* Between two states there is room for a request, and nothing is begun for which there is not. */
static void step_outward(void) {
    const struct bc_frame *frame = first(&relay.outward);
    if (frame != 0 && bc_hal_line_is_free()) {
        if (!is_too_late(frame)) {
            bc_line_pass(frame);
        }
        drop_first(&relay.outward);
    }
}

static void step_inward(void) {
    const struct bc_frame *frame = first(&relay.inward);
    uint8_t n;
    if (frame == 0 || !bc_reply_begin()) {
        return;
    }
    for (n = 1; n < frame->length; n++) {
        bc_reply_u8(frame->payload[n]);
    }
    bc_reply_send(frame->to, frame->kind, frame->seq, frame->payload[0]);
    drop_first(&relay.inward);
}

void bc_relay_step(void) {
    if (relay.count > 0 && relay.leads) {
        step_outward();
        step_inward();
    }
}

const struct bc_frame *bc_relay_request(void) {
    return relay.inward.count > 0 && !relay.leads ? first(&relay.inward) : 0;
}

void bc_relay_done(void) { drop_first(&relay.inward); }

#endif
