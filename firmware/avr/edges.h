/* SPDX-License-Identifier: MIT
 * Time in ticks of 0.5 us, and the one pending edge of the pulse under way.
 *
 * The interrupt comes some time early and then waits for the very tick, so that whatever kept it waiting is absorbed. While
 * it waits the main loop stands still, so nothing there can hold interrupts off; other interrupts run until QUIET_TICKS
 * before the edge. Where edges follow one another closely the lead shrinks, so that the main loop gets its share.
 */
#ifndef EDGES_H
#define EDGES_H

#include <stdbool.h>
#include <stdint.h>

#define TICKS_PER_US 2U
#define PIN_TICKS 10U  /* 5 us from the end of the waiting to the pin: the core decides what to switch meanwhile */
#define LEAD_TICKS 320U /* 160 us: longer than the main loop holds interrupts off */
#define QUIET_TICKS 130U /* longer than a byte or a sample takes the core */
#define LEAD_SHARE 4U  /* the lead is at most this part of the time to the edge */
#define NEAR_TICKS 24U /* 12 us: an edge as near as this is waited for without leaving the interrupt */

#define SOON_FOR_LONG_TICKS 400U /* 200 us: longer than the core's millisecond takes, and the quiet time */

/* Starts timer 1. */
void edges_begin(void);

/* Ticks since edges_begin, modulo 2^32. Callable from anywhere. */
uint32_t edges_now(void);

/* Keeps the upper half of the tick count; to be called at least every 30 ms, from the 1 ms interrupt. */
void edges_keep_count(void);

/* Plans the next edge; a plan not yet carried out is replaced. An instant nearer than the lead comes as soon as it can. */
void edges_plan(uint32_t tick);

/* The instant that the program is to believe in: in edges_due that of the edge, otherwise now. */
uint32_t edges_anchor(void);

/* Drops the plan. */
void edges_cancel(void);

/* Whether an edge is so near that something long had better wait for it. */
bool edges_soon(void);

/* To be provided: an edge was carried out; what waited for it may go on. Called in the interrupt. */
void edges_past(void);

/* To be provided: the planned instant has come. Called in the interrupt; may plan the next. */
void edges_due(void);

#endif
