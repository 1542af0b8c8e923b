/* SPDX-License-Identifier: MIT */
/* While nothing is driven: whether every driver is really off, and every current reading alive. */
#ifndef LOOMPROOF_LOOK_H
#define LOOMPROOF_LOOK_H

#include <stdbool.h>

#include "hal.h"

void look_reset(const struct hal_board *board);

/* [isr] Every ms: look at the next channel, unless something is driven or sensed. */
void look_tick(bool busy);

/* [isr] A sample set that nothing under way asked for. */
void look_set(const struct hal_set *set);

#endif
