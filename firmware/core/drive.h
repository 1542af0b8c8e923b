/* SPDX-License-Identifier: MIT */
/* Runs a drive: switch edges at exact ticks, supervision of its current, traces of its pulses. */
#ifndef LOOMPROOF_DRIVE_H
#define LOOMPROOF_DRIVE_H

#include "hal.h"
#include "workspace.h"

void drive_reset(void);

/* [main] A drive without anything in it; nothing else may be under way. */
struct drive_run *drive_blank(void);

/* [main] Begin it, its plan and its programme filled in. The programme starts at or just before now. */
void drive_begin(void);

/* [main] Send drive_ended. */
void drive_report_end(uint8_t reason);

/* [isr] Its events. */
void drive_edge(void);
void drive_over_current(const struct hal_set *set, uint32_t off_ticks);
void drive_set(const struct hal_set *set);
void drive_lost(uint8_t sets);

#endif
