/* SPDX-License-Identifier: MIT */
/* The scan: resting drain voltage, then one sense pulse where allowed, one channel after another. */
#ifndef LOOMPROOF_SCAN_H
#define LOOMPROOF_SCAN_H

#include "activity.h"
#include "core_config.h"
#include "hal.h"
#include "trace.h"
#include "wire_gen.h"

/* The scan under way; scan.c's own. */
struct scan_run {
    uint16_t sequence;
    uint8_t step;
    uint8_t channel;
    uint8_t widths_us[CORE_CHANNELS];
    bool noted;
    uint32_t on_ticks;
    uint32_t off_ticks;
    struct wire_scan_result result;
};

void scan_reset(const struct hal_board *board);

/* [main] Begin. `widths_us`: sense pulse of each channel, [0] is channel 1; 0 = none. */
void scan_begin(uint16_t sequence, const struct wire_scan *request, const uint8_t *widths_us);

/* [main] Answer: the result, or refused when it was broken off (a channel not reached would look like an open one). */
void scan_tell_end(bool complete);

/* [isr] From activity.c. */
void scan_edge(void);
void scan_over_current(const struct hal_set *set);
void scan_set(const struct hal_set *set);

#endif
