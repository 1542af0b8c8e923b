/* SPDX-License-Identifier: MIT */
/* The one thing that the box is doing: a drive (or a sense pulse), a scan or a watch. */
#ifndef LOOMPROOF_ACTIVITY_H
#define LOOMPROOF_ACTIVITY_H

#include <stdbool.h>
#include <stdint.h>

#include "hal.h"
#include "trace.h"

enum activity_kind { ACTIVITY_NONE, ACTIVITY_DRIVE, ACTIVITY_SCAN, ACTIVITY_WATCH };

void activity_reset(const struct hal_board *board);

/* [main] Take the stage. `channel` is what the status reports; `hazards` must stay armed. */
void activity_begin(uint8_t kind, uint8_t channel, uint8_t hazards, bool pump, uint8_t box_state);

/* [main] Whether there is one, and its facts. */
bool activity_busy(void);
uint8_t activity_channel(void);
uint8_t activity_hazards(void);
bool activity_pump(void);
uint8_t activity_state(void);

/* [isr] The channel reported changes (a scan moves on). */
void activity_at_channel(uint8_t channel);

/* [isr] It has done all it was to do. */
void activity_over(void);

/* [isr] Break it off now: outputs off, no more edges. The first reason stays. The main loop tells it later. */
void activity_cut(uint8_t end_reason);

/* [main] Break it off and tell it. Nothing happens without one. */
void activity_end(uint8_t end_reason);

/* [main] Tell what is over, cut or tripped. */
void activity_poll(void);

/* [isr] Every ms: a watch ends when its time is up. */
void activity_tick(uint32_t now_ticks);

/* [isr] From the board. */
void activity_edge(void);
void activity_over_current(const struct hal_set *set, uint32_t off_ticks);
void activity_set(const struct hal_set *set);
void activity_lost(uint8_t sets);

/* --- over-current ------------------------------------------------------------------------------------------------ */

/* [main] Nothing latched. */
void trip_reset(const struct hal_board *board);

/* [main] The limit of a channel's configuration in counts of the range that can see it. */
struct hal_limit trip_limit_of(uint8_t channel);

/* [isr] Everything off, the channel latched; the main loop tells it. */
void trip_now(uint8_t channel, uint16_t fine, uint16_t wide);

/* [main] Latched channels, bit 0 is channel 1; and clearing one. */
uint16_t trip_mask(void);
void trip_clear(uint8_t channel);

/* [main] Send what tripped. */
void trip_announce(void);

/* [any] Current of a channel from its counts, uA: fine unless near its end, else wide. Never below 0. */
uint32_t current_ua(uint8_t channel, uint16_t fine, uint16_t wide);

/* [any] The same to be compared with one another, without a division: units of 10.24 nA. */
uint32_t current_10na(uint8_t channel, uint16_t fine, uint16_t wide);

#endif
