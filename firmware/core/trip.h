/* SPDX-License-Identifier: MIT */
/* Over-current: limits in counts, the latch, and its event. */
#ifndef LOOMPROOF_TRIP_H
#define LOOMPROOF_TRIP_H

#include "hal.h"

/* [main] Nothing latched. */
void trip_reset(const struct hal_board *board);

/* [main] The limit of a channel's configuration in counts of the range that can see it. */
struct hal_limit trip_limit_of(uint8_t channel);

/* [isr] Everything off, the channel latched; the main loop reports it. */
void trip_now(uint8_t channel, uint16_t fine, uint16_t wide);

/* [main] Latched channels, bit 0 is channel 1; and clearing one. */
uint16_t trip_mask(void);
void trip_clear(uint8_t channel);

/* [main] Send what tripped. */
void trip_announce(void);

/* [any] Current of a channel from its counts, uA: fine unless near its end, else wide. Never below 0. */
uint32_t trip_current_ua(uint8_t channel, uint16_t fine, uint16_t wide);

/* [any] The same to be compared with one another, without a division: units of 10.24 nA. */
uint32_t trip_current_10na(uint8_t channel, uint16_t fine, uint16_t wide);

#endif
