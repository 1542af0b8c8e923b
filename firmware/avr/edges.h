/* SPDX-License-Identifier: MIT
 * Time in ticks of 0.5 us, and the one pending edge of the pulse under way.
 *
 * The interrupt comes some time early and then waits for the very tick: whatever kept it waiting (another interrupt, a
 * few instructions with interrupts off) is absorbed as long as it takes less than that lead. Where edges follow one
 * another closely the lead shrinks, so that the processor is never spent on waiting alone.
 */
#ifndef EDGES_H
#define EDGES_H

#include <stdbool.h>
#include <stdint.h>

#define TICKS_PER_US 2U
#define PIN_TICKS 10U  /* 5 us from the end of the waiting to the pin: the core decides what to switch meanwhile */
#define LEAD_TICKS 44U /* 22 us: 7 us of preparation, and what other interrupts may take */
#define LEAD_SHARE 4U  /* the lead is at most this part of the time to the edge */
#define NEAR_TICKS 24U /* 12 us: an edge as near as this is waited for without leaving the interrupt */

/* Starts timer 1. */
void edges_begin(void);

/* Ticks since edges_begin, modulo 2^32. Callable from anywhere. */
uint32_t edges_now(void);

/* Keeps the upper half of the tick count; to be called at least every 30 ms, from the 1 ms interrupt. */
void edges_keep_count(void);

/* Plans the next edge; a plan not yet carried out is replaced. An instant nearer than the lead comes as soon as it can. */
void edges_plan(uint32_t tick);

/* The instant to count samples from: in edges_due that of the edge, whatever the program has done since; otherwise now. */
uint32_t edges_anchor(void);

/* Drops the plan. */
void edges_cancel(void);

/* To be provided: the planned instant has come. Called in the interrupt; may plan the next. */
void edges_due(void);

#endif
