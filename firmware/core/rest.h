/* SPDX-License-Identifier: MIT */
/* The rest that a drive owes its channel, so that no order of drives exceeds the duty. Only a reset forgets it. */
#ifndef LOOMPROOF_REST_H
#define LOOMPROOF_REST_H

#include "refusal.h"

void rest_reset(void);

/* [main] A channel was last on for `on_us`, beginning `ago_us` before now. */
void rest_owe(uint8_t channel, uint32_t on_us, uint32_t ago_us);

/* [main] Refuse a channel that still rests. */
struct refusal rest_check(uint8_t channel);

/* [main] Each turn of the main loop: forget what is over, before the count of milliseconds comes round. */
void rest_poll(void);

#endif
