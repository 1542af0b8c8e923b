/* SPDX-License-Identifier: MIT */
/* The scan: resting drain voltage, then one sense pulse where allowed, one channel after another. */
#ifndef LOOMPROOF_SCAN_H
#define LOOMPROOF_SCAN_H

#include "hal.h"
#include "wire_gen.h"

void scan_reset(const struct hal_board *board);

/* [main] Begin. `widths_us`: sense pulse of each channel, [0] is channel 1; 0 = none. */
void scan_begin(uint16_t sequence, const struct wire_scan *request, const uint8_t *widths_us);

/* [main] Answer: the result, or refused when it was broken off (a channel not reached would look like an open one). */
void scan_report_end(uint8_t reason);

/* [isr] Its events. */
void scan_edge(void);
void scan_over_current(const struct hal_set *set, uint32_t off_ticks);
void scan_set(const struct hal_set *set);
void scan_lost(uint8_t sets);

#endif
