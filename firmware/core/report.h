/* SPDX-License-Identifier: MIT */
/* What the box says about itself: bodies of identity, channel_info, status and telemetry. */
#ifndef LOOMPROOF_REPORT_H
#define LOOMPROOF_REPORT_H

#include "hal.h"

void report_reset(const struct hal_board *board);

/* Each writes a body and returns its size. */
uint16_t report_identity(uint8_t *body);
uint16_t report_channel_info(uint8_t channel, uint8_t *body);
uint16_t report_status(uint8_t *body);

/* [main] A session was opened: telemetry from now on. */
void report_begin_telemetry(void);

/* [main] Send telemetry when it is due. */
void report_poll(void);

#endif
