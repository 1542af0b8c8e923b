/* SPDX-License-Identifier: MIT */
/* Bytes in, frames out: COBS and CRC undone byte by byte, as they come. */
#ifndef LOOMPROOF_RECEIVE_H
#define LOOMPROOF_RECEIVE_H

#include <stdbool.h>
#include <stdint.h>

#include "core_config.h"

/* Bodies longer than this are of no request; their size is kept, their bytes are not. */
#define RECEIVE_KEPT_BODY_BYTES 24U
#define RECEIVE_QUEUE CORE_FRAME_QUEUE

struct receive_frame {
    uint8_t kind;
    uint8_t stops; /* guard_stops() when it came */
    uint16_t sequence;
    uint16_t size; /* of the whole body */
    uint8_t body[RECEIVE_KEPT_BODY_BYTES];
};

/* [main] Forget everything. */
void receive_reset(void);

/* [isr] Take a byte. Returns the good frame that it completed, valid until the next byte, or NULL. */
const struct receive_frame *receive_byte(uint8_t byte);

/* [isr] Keep that frame for the main loop, with the number of stops so far; it is lost, and counted, when the queue is
 * full. */
void receive_keep(uint8_t stops);

/* [main, interrupts off] Take the oldest kept frame; false when there is none. */
bool receive_take(struct receive_frame *frame);

/* [any] Whether a frame is kept. */
bool receive_waiting(void);

/* [isr] A byte was lost: the frame under way is none. */
void receive_spoil(void);

/* [isr] Count what could not be used as a frame. */
void receive_count_bad(void);

/* [main] Count an old copy of a request. */
void receive_count_stale(void);

/* [main] Since the start: frames that were none, old copies, frames lost because the queue was full. All saturate. */
uint16_t receive_bad_frames(void);
uint16_t receive_stale_frames(void);
uint16_t receive_lost_frames(void);

#endif
