/* Bytes in, frames out: COBS and CRC undone byte by byte, inside the line's interrupt. */
#ifndef LOOMPROOF_RECEIVE_H
#define LOOMPROOF_RECEIVE_H

#include <stdbool.h>
#include <stdint.h>

/* Bodies longer than this are of no request; their size is kept, their bytes are not. */
#define RECEIVE_KEPT_BODY_BYTES 24u
#define RECEIVE_QUEUE 4u

struct receive_frame {
    uint8_t kind;
    uint16_t sequence;
    uint16_t size; /* of the whole body */
    uint8_t body[RECEIVE_KEPT_BODY_BYTES];
};

/* [main] Forget everything. */
void receive_reset(void);

/* [isr] Take a byte. Returns whether it completed a good frame; then *frame is that frame (until the next byte). */
bool receive_byte(uint8_t byte, struct receive_frame *frame);

/* [isr] Keep a frame for the main loop; false when the queue is full. */
bool receive_keep(const struct receive_frame *frame);

/* [main] Take the oldest kept frame; false when there is none. */
bool receive_take(struct receive_frame *frame);

/* [isr] A byte was lost: the frame under way is none. */
void receive_spoil(void);

/* [isr] Count what could not be used as a frame. */
void receive_count_bad(void);

/* [main] Frames that were none, since the start; saturates. */
uint16_t receive_bad_frames(void);

#endif
