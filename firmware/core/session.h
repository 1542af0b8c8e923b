/* SPDX-License-Identifier: MIT */
/* Sessions, sequence numbers, the remembered answer. */
#ifndef LOOMPROOF_SESSION_H
#define LOOMPROOF_SESSION_H

#include <stdbool.h>
#include <stdint.h>

#include "receive.h"

void session_reset(void);

/* [isr] A whole frame came. Stop and heartbeat act here; the rest is kept for session_poll, which answers a stop before
 * what came earlier. */
void session_frame_isr(const struct receive_frame *frame);

/* [main] Answer stops, then one kept frame. */
void session_poll(void);

/* [any] Whether there is something to answer. */
bool session_waiting(void);

#endif
