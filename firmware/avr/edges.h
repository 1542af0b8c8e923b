/* SPDX-License-Identifier: MIT */
/* The planned edges of the pulses under way.
 *
 * An edge is made ready when it is planned; the interrupt comes LEAD_TICKS early, waits for the very tick, and writes
 * the pins. What kept it waiting meanwhile (another interrupt, a few instructions with interrupts off) is absorbed, as
 * long as it is shorter than the lead. The main loop and the core have no part in it. */
#ifndef EDGES_H
#define EDGES_H

#include "hal.h"

/* As hal_edge_at and hal_edge_cancel. */
void edges_plan(const struct hal_edge *edge);
void edges_cancel(void);

/* [later] Whether the first edge should have come a millisecond ago. */
bool edges_are_overdue(void);

/* [later] Aims the interrupt at the first edge when that is near; to be called every 5 ms at least. */
void edges_aim(void);

#endif
