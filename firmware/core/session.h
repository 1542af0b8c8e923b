/* SPDX-License-Identifier: MIT */
/* Sessions, sequence numbers, the remembered answer. */
#ifndef LOOMPROOF_SESSION_H
#define LOOMPROOF_SESSION_H

#include <stdbool.h>
#include <stdint.h>

#include "receive.h"

void session_reset(void);

/* [isr] A whole frame came. Stop and heartbeat act here; the rest is kept for session_poll. */
void session_frame_isr(const struct receive_frame *frame);

/* [main] Answer one kept frame; false when there was none. */
bool session_poll(void);

/* [main] The answer to a request that was carried on with, and its refusal. */
void session_answer_late(uint16_t sequence, uint8_t kind, const uint8_t *body, uint16_t size);
void session_refuse_late(uint16_t sequence, uint8_t request_kind, uint8_t reason);

/* [main] Old copies dropped; frames lost because the queue was full. Both saturate. */
uint16_t session_stale_frames(void);
uint16_t session_overruns(void);

#endif
