/* SPDX-License-Identifier: MIT */
/* How many edges are planned, carried out and reported: what the edges and the sampler must know of each other. */
#ifndef EDGE_COUNT_H
#define EDGE_COUNT_H

#include <avr/io.h>
#include <stdint.h>

/* Edges planned and not yet carried out. */
extern volatile uint8_t edge_count_ahead;

/* [interrupt] Drops the plan; those carried out are still reported. */
static inline void edge_count_drop(void)
{
    edge_count_ahead = 0;
    TIMSK1 &= (uint8_t)~_BV(OCIE1A);
}

/* Number of edges carried out, modulo 256. */
extern volatile uint8_t edge_count_done;

/* [later] Number of edges reported to the core, modulo 256. */
extern volatile uint8_t edge_count_reported;

#endif
