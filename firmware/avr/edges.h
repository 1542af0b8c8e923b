/* SPDX-License-Identifier: MIT
 * Time in ticks of 0.5 us, and the one pending edge of the pulse under way.
 *
 * The interrupt comes LEAD_TICKS early, gets everything ready and then waits for the very tick: whatever kept it waiting
 * (another interrupt, a few instructions with interrupts off) is absorbed as long as it takes less than the lead.
 */
#ifndef EDGES_H
#define EDGES_H

#include <stdbool.h>
#include <stdint.h>

#define TICKS_PER_US 2U
#define LEAD_TICKS 24U /* 12 us: longest wait of the interrupt plus its own preparation */

/* Starts timer 1. */
void edges_begin(void);

/* Ticks since edges_begin, modulo 2^32. Callable from anywhere. */
uint32_t edges_now(void);

/* Keeps the upper half of the tick count; to be called at least every 30 ms, from the 1 ms interrupt. */
void edges_keep_count(void);

/* Plans the next edge; a plan not yet carried out is replaced. An instant nearer than the lead comes as soon as it can. */
void edges_plan(uint32_t tick);

/* Drops the plan. */
void edges_cancel(void);

/* To be provided: the planned instant has come. Called in the interrupt; may plan the next. */
void edges_due(void);

#endif
