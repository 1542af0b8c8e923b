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

#endif
