/* SPDX-License-Identifier: MIT */
/* What a channel may be asked for: hazards bound to load classes, ceilings, and the channel's own configuration. */
#ifndef LOOMPROOF_LIMITS_H
#define LOOMPROOF_LIMITS_H

#include "hal.h"
#include "refusal.h"
#include "wire_gen.h"

/* Ceilings of one channel, whatever is configured. */
struct ceilings {
    uint32_t max_on_time_us;
    uint16_t max_hold_ms;
    uint16_t max_duty_permille;
    uint16_t max_count;
    uint16_t max_current_ma;
    uint16_t max_sense_us;
};

/* Forget every configuration and trip. */
void limits_reset(const struct hal_board *board);

/* Ceilings by the kind of driver. */
struct ceilings limits_ceilings(uint8_t channel);

/* Channels of the board; kind of a channel's driver. */
uint8_t limits_channel_count(void);
uint8_t limits_kind_of(uint8_t channel);

/* Refuse a channel that the board lacks. */
struct refusal limits_check_channel(uint8_t channel);

/* Take a configuration, or refuse one that raises a ceiling or contradicts itself about fuel. */
struct refusal limits_configure(const struct wire_configure *request);

/* What is held; all zeros but the number for a channel never configured. */
const struct wire_channel_config *limits_config(uint8_t channel);

/* CRC-32 over the channel_config bodies of all channels. */
uint32_t limits_digest(void);

/* Hazard classes that must be armed to drive a channel; bit n is class n. */
uint8_t limits_hazards(uint8_t channel);

/* Longest sense pulse of a channel at a supply voltage, us; 0 = none. */
uint16_t limits_sense_cap_us(uint8_t channel, uint16_t supply_mv);

/* Held against the channel's configuration. */
struct refusal limits_check_pulses(uint8_t channel, uint16_t count, uint32_t period_us, uint32_t on_time_us);
struct refusal limits_check_hold(uint8_t channel, uint32_t duration_ms);
struct refusal limits_check_step(uint8_t channel, int16_t steps, uint32_t step_us);

#endif
