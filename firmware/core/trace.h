/* SPDX-License-Identifier: MIT */
/* Traces: filled in the converter's interrupt, held until newer ones push them out, read by chunk. */
#ifndef LOOMPROOF_TRACE_H
#define LOOMPROOF_TRACE_H

#include "hal.h"
#include "refusal.h"

void trace_reset(const struct hal_board *board);

/* [isr] Begin the trace of a pulse: `sets` sets, every `decimation`-th of those that the board takes; it reports no
 * others. An earlier one still being filled is closed first. */
void trace_begin(uint8_t channel, uint16_t pulse_index, uint8_t decimation, uint16_t sets, uint32_t on_ticks);

/* [isr] Whether one is being filled. */
bool trace_filling(void);

/* [isr] Offer the next sample set; returns whether the trace is full with it. */
bool trace_put(const struct hal_set *set);

/* [isr] The trace being filled ends with the sets that it has. */
void trace_end_here(void);

/* [isr] Whether the trace being filled has all its sets. */
bool trace_full(void);

/* [isr] The pulse ended, at this time (reported once), by over-current or not. */
void trace_pulse_off(uint32_t off_ticks, bool tripped);

/* [isr] Whether the end of the pulse was reported. */
bool trace_knows_off(void);

/* [isr] Hold what there is; the oldest held trace makes room. */
void trace_close(uint32_t now_ticks);

/* [main] Send trace_ready for what was closed. */
void trace_announce(void);

/* [main] Write the body of a trace_chunk; *size its length. Or refuse. */
struct refusal trace_chunk(uint16_t trace_id, uint16_t first_sample, uint8_t *body, uint16_t *size);

/* Most sample sets that a trace can hold on this board. */
uint16_t trace_max_samples(void);

/* [main] Traces that fit before one never read is pushed out; and how many were (saturates). */
uint8_t trace_free(void);
uint16_t trace_overruns(void);

#endif
