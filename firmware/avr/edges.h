/* SPDX-License-Identifier: MIT */
/* Time in ticks of 0.5 us, and the planned edges of the pulses under way.
 *
 * An edge is made ready when it is planned; the interrupt comes LEAD_TICKS early, waits for the very tick, and writes
 * the pins. What kept it waiting meanwhile (another interrupt, a few instructions with interrupts off) is absorbed, as
 * long as it is shorter than the lead. The main loop and the core have no part in it. */
#ifndef EDGES_H
#define EDGES_H

#include <avr/io.h>
#include <stdbool.h>
#include <stdint.h>

#include "hal.h"

/* Starts timer 1. */
void edges_begin(void);

/* Ticks since edges_begin, modulo 2^32. Callable from anywhere. */
uint32_t edges_now(void);

/* The whole tick count of an instant at most 30 ms ago, from its lower half. */
uint32_t edges_whole(uint16_t low);

/* Keeps the upper half of the tick count; to be called at least every 30 ms. */
void edges_keep_count(void);

/* As hal_edge_at and hal_edge_cancel. */
void edges_plan(const struct hal_edge *edge);
void edges_cancel(void);

/* [later] Aims the interrupt at the first edge when that is near; to be called every 5 ms at least. */
void edges_aim(void);

/* Edges planned and not yet carried out. */
extern volatile uint8_t edges_ahead;

/* [interrupt] Drops the plan; those carried out are still told. */
static inline void edges_drop(void)
{
    edges_ahead = 0;
    TIMSK1 &= (uint8_t)~_BV(OCIE1A);
}

/* Number of edges carried out, modulo 256. */
extern volatile uint8_t edges_done;

/* [later] Number of edges told to the core, modulo 256. */
extern volatile uint8_t edges_told;

#endif
