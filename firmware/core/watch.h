/* SPDX-License-Identifier: MIT */
/* The watch: one channel followed for as long as asked, every dropout reported. */
#ifndef LOOMPROOF_WATCH_H
#define LOOMPROOF_WATCH_H

#include "hal.h"
#include "wire_gen.h"

void watch_reset(const struct hal_board *board);

/* [main] Begin a checked watch. */
void watch_begin(const struct wire_watch *request, uint8_t hazards, bool pump);

/* [main] Look for dropouts in the samples taken so far, and report them. */
void watch_look(void);

/* [main] Report a dropout still on, then send drive_ended. */
void watch_report_end(uint8_t reason);

/* [isr] End it when its time is up. */
void watch_tick(uint32_t now_ticks);

/* [isr] Its events. */
void watch_over_current(const struct hal_set *set, uint32_t off_ticks);
void watch_set(const struct hal_set *set);
void watch_lost(uint8_t sets);

/* [main] Sample sets lost because the main loop was late; saturates. */
uint16_t watch_overruns(void);

#endif
